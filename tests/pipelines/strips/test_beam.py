"""The strip beam and its trains against closed forms, the three-moment theorem and brute force."""

import itertools

import numpy as np
import pytest

from pipelines.strips.beam import (
    StripBeam,
    StripSupport,
    moment_lines,
    reaction_lines,
    shear_lines,
)
from pipelines.strips.piecewise import Piecewise, combine, critical, highest, resolved
from pipelines.strips.trains import (
    StripLoad,
    Train,
    WidthFunction,
    bay_sagging,
    response,
    support_hogging,
)
from plate.errors import SupportError
from tests.oracles.side_by_side import side_by_side

# Rounding only: a few hundred operations on numbers of order one.
EXACT = {"rtol": 1e-11, "atol": 1e-11}


def equal_spans(n: int, length: float = 1.0, **support: float) -> StripBeam:
    supports = tuple(StripSupport(at=i * length, **support) for i in range(n + 1))
    return StripBeam(supports, 0.0, n * length)


def by_three_moments(stations, end_spans, stiffness, x):
    """Support moments of a beam on rigid lines under a unit load at x, by Clapeyron's theorem.

    stations : of the supports; end_spans : strip from and to; stiffness : EI of each bay.
    """
    spans = np.diff(stations)
    n = len(stations)
    matrix, load = np.eye(n), np.zeros(n)
    load[0] = -(stations[0] - x) if x < stations[0] else 0.0
    load[-1] = -(x - stations[-1]) if x > stations[-1] else 0.0
    assert end_spans[0] <= x <= end_spans[1]
    for i in range(1, n - 1):
        left, right = spans[i - 1] / stiffness[i - 1], spans[i] / stiffness[i]
        matrix[i, i - 1 : i + 2] = left, 2 * (left + right), right
        if stations[i - 1] < x < stations[i]:
            a, b, span = x - stations[i - 1], stations[i] - x, spans[i - 1]
            load[i] -= a * b * (span + a) / span / stiffness[i - 1]
        if stations[i] < x < stations[i + 1]:
            a, b, span = x - stations[i], stations[i + 1] - x, spans[i]
            load[i] -= a * b * (span + b) / span / stiffness[i]
    return np.linalg.solve(matrix, load)


# Influence coefficients of equal spans by the theorem of three moments, to five digits: of two
# spans the moment over the support is -x (1 - x^2) / 4, so at 0.4 it is -0.084.
@pytest.mark.parametrize(
    ("spans", "at_04", "at_15", "hogging"),
    [
        (2, 0.20640, None, (-0.08400, -0.09375, -0.09600)),
        (3, 0.20416, 0.17500, (-0.08960, -0.10000, -0.10240)),
        (4, 0.20400, 0.17299, (-0.09000, -0.10045, -0.10286)),
        (5, 0.20399, None, None),
    ],
)
def test_equal_spans_match_the_theorem_of_three_moments(spans, at_04, at_15, hogging):
    beam = equal_spans(spans)
    assert moment_lines(beam, [0.4], "right").at(0.4)[0, 0] == pytest.approx(at_04, abs=6e-6)
    if at_15:
        assert moment_lines(beam, [1.5], "right").at(1.5)[0, 0] == pytest.approx(at_15, abs=6e-6)
    if hogging:
        found = moment_lines(beam, [1.0], "left").at(np.array([0.4, 0.5, 0.6]))[0]
        np.testing.assert_allclose(found, hogging, rtol=0, atol=6e-6)


def test_simple_span_lines_are_the_statics_triangles():
    length, s = 6.0, 2.2
    beam = equal_spans(1, length)
    x = np.linspace(0.0, length, 61)
    x = x[x != s]
    moment = np.where(x < s, x * (length - s) / length, s * (length - x) / length)
    shear = np.where(x < s, -x / length, 1 - x / length)
    np.testing.assert_allclose(moment_lines(beam, [s], "right").at(x)[0], moment, **EXACT)
    np.testing.assert_allclose(shear_lines(beam, [s], "right").at(x)[0], shear, **EXACT)
    x = x[:-1]  # at a station where a line jumps to zero the right limit is read
    np.testing.assert_allclose(reaction_lines(beam).at(x)[0], 1 - x / length, **EXACT)


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize("seed", range(4))
def test_unequal_spans_and_stiffness_match_three_moments(seed, side):
    rng = np.random.default_rng(seed)
    spans = rng.uniform(2.0, 6.0, 4)
    stations = 1.3 + np.concatenate([[0.0], np.cumsum(spans)])
    strip = (0.0, float(stations[-1] + 0.8))
    stiffness = rng.uniform(0.5, 3.0, 6)
    beam = StripBeam(tuple(StripSupport(at=float(s)) for s in stations), *strip, tuple(stiffness))
    x = rng.uniform(*strip, 40)
    expected = np.array([by_three_moments(stations, strip, stiffness[1:-1], at) for at in x]).T
    np.testing.assert_allclose(moment_lines(beam, stations, side).at(x), expected, **EXACT)

    # A section inside span 2 and the shears at its left support, by statics from those moments.
    left, right = stations[1], stations[2]
    s = left + 0.37 * (right - left)
    end_shear = (expected[2] - expected[1]) / (right - left)
    inside = (x > left) & (x < right)
    end_shear = end_shear + np.where(inside, (right - x) / (right - left), 0.0)
    moment = expected[1] + end_shear * (s - left) - np.where(inside, np.maximum(s - x, 0.0), 0.0)
    np.testing.assert_allclose(moment_lines(beam, [s], side).at(x)[0], moment, **EXACT)
    np.testing.assert_allclose(shear_lines(beam, [left], "right").at(x)[0], end_shear, **EXACT)
    jump = shear_lines(beam, [left], "right").at(x) - shear_lines(beam, [left], "left").at(x)
    np.testing.assert_allclose(reaction_lines(beam).at(x)[1], jump[0], **EXACT)


# Beam formulas of Roark, Formulas for Stress and Strain, table of beams under one load (from
# memory): a from the left end, b = L - a.
def test_clamped_ends_match_beam_formulas():
    length = 5.0
    a = np.linspace(0.3, 4.7, 9)
    b = length - a
    fixed = StripBeam(
        (StripSupport(at=0.0, k_rot=np.inf), StripSupport(at=length, k_rot=np.inf)), 0.0, length
    )
    ends = moment_lines(fixed, [0.0, length], "right").at(a)
    np.testing.assert_allclose(ends, [-a * b**2 / length**2, -(a**2) * b / length**2], **EXACT)
    np.testing.assert_allclose(
        reaction_lines(fixed).at(a)[0], b**2 * (3 * a + b) / length**3, **EXACT
    )
    propped = StripBeam((StripSupport(at=0.0, k_rot=np.inf), StripSupport(at=length)), 0.0, length)
    root = moment_lines(propped, [0.0], "right").at(a)[0]
    np.testing.assert_allclose(root, -a * b * (length + b) / (2 * length**2), **EXACT)
    cantilever = StripBeam((StripSupport(at=0.0, k_rot=np.inf),), 0.0, length)
    np.testing.assert_allclose(moment_lines(cantilever, [0.0], "right").at(a)[0], -a, **EXACT)


def test_spring_line_at_midspan_takes_its_share():
    # Prop of stiffness k under the middle of a span: R = P / (1 + 48 EI / (k L^3)).
    length, stiffness, k = 8.0, 3.0e6, 2.5e5
    beam = StripBeam(
        (StripSupport(at=0.0), StripSupport(at=length / 2, k=k), StripSupport(at=length)),
        0.0,
        length,
        stiffness,
    )
    expected = 1.0 / (1.0 + 48 * stiffness / (k * length**3))
    assert reaction_lines(beam).at(length / 2)[1, 0] == pytest.approx(expected, rel=1e-11)
    under = moment_lines(beam, [length / 2], "left").at(length / 2)[0, 0]
    assert under == pytest.approx((1 - expected) * length / 4, rel=1e-11)


def test_stiff_springs_tend_to_rigid_lines_and_rotation_springs_jump():
    x = np.linspace(0.1, 2.9, 15)
    rigid = moment_lines(equal_spans(3), [1.0, 1.5], "left").at(x)
    soft = moment_lines(equal_spans(3, k=1e7), [1.0, 1.5], "left").at(x)
    np.testing.assert_allclose(soft, rigid, rtol=0, atol=1e-5)  # error EI / (k L^3) = 1e-7 times 72
    assert np.abs(soft - rigid).max() > 1e-8
    clamped = equal_spans(2, k_rot=np.inf)
    both = [moment_lines(clamped, [1.0], side).at(0.5)[0, 0] for side in ("left", "right")]
    np.testing.assert_allclose(both, [-0.125, 0.0], **EXACT)


@pytest.mark.parametrize("k", [np.inf, 40.0])
def test_reactions_balance_load_and_moment(k):
    supports = tuple(StripSupport(at=at, k=k) for at in (0.5, 2.0, 4.5, 6.0))
    beam = StripBeam(supports, 0.0, 7.0, (1.0, 2.0, 1.5, 1.0, 0.7))
    x = np.linspace(0.0, 6.999, 30)
    reactions = reaction_lines(beam).at(x)
    np.testing.assert_allclose(reactions.sum(axis=0), 1.0, **EXACT)
    arms = np.array([s.at for s in supports])
    np.testing.assert_allclose(arms @ reactions, x, **EXACT)


@pytest.mark.parametrize(
    ("supports", "match"),
    [
        ((StripSupport(at=1.0),), "two supports"),
        ((StripSupport(at=1.0, k=0.0), StripSupport(at=2.0)), "two supports"),
        ((StripSupport(at=2.0), StripSupport(at=1.0)), "must rise"),
        ((StripSupport(at=-1.0), StripSupport(at=1.0)), "must rise"),
    ],
)
def test_impossible_supports_are_refused(supports, match):
    with pytest.raises(SupportError, match=match):
        StripBeam(supports, 0.0, 3.0)


def test_wrong_stiffness_and_sections_are_refused():
    supports = (StripSupport(at=0.0), StripSupport(at=1.0))
    with pytest.raises(SupportError, match="2 values for 1 lengths"):
        StripBeam(supports, 0.0, 1.0, (1.0, 2.0))
    with pytest.raises(SupportError, match="positive"):
        StripBeam(supports, 0.0, 1.0, 0.0)
    with pytest.raises(SupportError, match="off the strip"):
        moment_lines(StripBeam(supports, 0.0, 1.0), [1.2], "right")


# Piecewise polynomials ------------------------------------------------------------------------


def random_pieces(rng: np.random.Generator, rows: int, degree: int) -> Piecewise:
    knots = np.sort(rng.uniform(0.0, 5.0, (rows, 6)), axis=1)
    coef = rng.normal(size=(degree + 1, rows, 7))
    coef[:, :, [0, -1]] = 0.0
    return Piecewise(knots, coef)


@pytest.mark.parametrize("degree", [3, 4])
def test_combination_antiderivative_and_maximum_agree_with_sampling(degree):
    rng = np.random.default_rng(degree)
    f, g = random_pieces(rng, 5, degree), random_pieces(rng, 5, 3)
    total = combine([f, g], [0, 1, 0], [1.0, -0.7, 0.4], [0.0, 1.1, -2.3])
    x = np.linspace(-4.0, 8.0, 24001)
    sampled = f.at(x) - 0.7 * g.at(x - 1.1) + 0.4 * f.at(x + 2.3)
    np.testing.assert_allclose(total.at(x), sampled, rtol=0, atol=1e-10)
    value, station = highest(total)
    assert np.all(value >= sampled.max(axis=1) - 1e-10)
    # Steep pieces change by up to 0.1 over a sampling step of 5e-4.
    np.testing.assert_allclose(value, sampled.max(axis=1), rtol=0, atol=0.1)
    limits = np.maximum(total.at(station[:, None] - 1e-9), total.at(station[:, None] + 1e-9))
    np.testing.assert_allclose(limits[:, 0], value, rtol=0, atol=1e-5)
    trapezium = 0.5 * np.cumsum(sampled[:, 1:] + sampled[:, :-1], axis=1) * (x[1] - x[0])
    np.testing.assert_allclose(total.antiderivative().at(x[1:]), trapezium, rtol=0, atol=0.02)


def test_antiderivative_is_exact_and_stays_constant_beyond():
    one = Piecewise(np.array([[1.0, 2.0, 4.0]]), np.zeros((2, 1, 4)))
    one.coef[0, 0, 1:3] = 3.0, 1.0
    one.coef[1, 0, 2] = 0.5
    found = one.antiderivative().at(np.array([0.0, 1.5, 2.0, 3.0, 4.0, 9.0]))[0]
    np.testing.assert_allclose(found, [0.0, 1.5, 3.0, 4.25, 6.0, 6.0], **EXACT)


def test_nothing_positive_gives_zero_without_a_station():
    negative = Piecewise(np.array([[0.0, 1.0]]), np.array([[[0.0, -1.0, 0.0]]]))
    value, station = highest(negative)
    assert value[0] == 0.0
    assert np.isnan(station[0])


@pytest.mark.parametrize("degree", [3, 4])
def test_pruned_search_loses_no_maximum(degree):
    f = random_pieces(np.random.default_rng(7), 200, degree)
    np.testing.assert_allclose(
        critical(f, prune=True)[1].max(axis=1), critical(f)[1].max(axis=1), **EXACT
    )


# Trains ---------------------------------------------------------------------------------------


def test_two_axles_on_a_simple_span_stand_astride_the_middle():
    # Absolute maximum P (L - d/2)^2 / (2 L) under an axle d/4 from mid-span (d < 0.586 L).
    length, d = 10.0, 3.0
    found = bay_sagging(equal_spans(1, length), 0, Train((StripLoad(0.0, 2.0), StripLoad(d, 2.0))))
    assert found.value == pytest.approx(2.0 * (length - d / 2) ** 2 / (2 * length), rel=1e-8)
    # The moment is flat there: its relative loss 1e-8 allows 1e-4 of the span.
    assert abs(found.section - length / 2) == pytest.approx(d / 4, abs=1e-3)
    assert found.direction == "forward"


def test_a_patch_on_a_simple_span_is_integrated_exactly():
    length, c = 4.0, 0.9
    found = bay_sagging(equal_spans(1, length), 0, Train((StripLoad(0.0, 1.0, c),)))
    assert found.value == pytest.approx(length / 4 - c / 8, rel=1e-9)
    assert found.section == pytest.approx(length / 2, abs=1e-3)


def test_only_the_part_of_a_patch_on_the_strip_counts():
    beam = StripBeam((StripSupport(at=1.0), StripSupport(at=5.0)), 0.0, 5.0)
    train = Train((StripLoad(0.0, 10.0, 1.0),))
    root = moment_lines(beam, [1.0], "left")
    # 0.8 m of the patch on the strip, centre 0.6 m from the support.
    off = response(root, train, "forward").at(0.3)[0, 0]
    assert off == pytest.approx(-10.0 * 0.8 * 0.6, rel=1e-11)
    worst = support_hogging(beam, 0, train)
    assert worst.value == pytest.approx(-5.0, rel=1e-11)  # 10 kN at 0.5 m, all of it on the strip
    assert worst.station == pytest.approx(0.5, abs=1e-9)


def brute(beam, lines, train, sign, directions):
    """The largest effect on a grid of stations of 2 mm, each line sampled and summed as it is."""
    reach = max(load.at for load in train.loads) + 1.0
    x = np.arange(beam.start - 2 * reach, beam.end + 2 * reach, 2e-3)
    t = x[(x >= beam.start - reach) & (x <= beam.end + reach)]
    best = 0.0
    for row in lines.at(x):
        area = np.concatenate([[0.0], np.cumsum(0.5 * (row[1:] + row[:-1]) * np.diff(x))])
        for direction in directions:
            effect = np.zeros_like(t)
            for load in train.loads:
                centre = t - load.at if direction == "forward" else t + load.at
                if load.length == 0:
                    effect += load.load * np.interp(centre, x, row)
                else:
                    ends = [np.interp(centre + h * load.length, x, area) for h in (0.5, -0.5)]
                    effect += load.load * (ends[0] - ends[1]) / load.length
            best = max(best, float((sign * effect).max()))
    return sign * best


@pytest.mark.parametrize("length", [0.0, 0.7])
@pytest.mark.parametrize("directions", [("forward",), ("reverse",), ("forward", "reverse")])
def test_worst_place_of_a_train_beats_a_fine_grid(length, directions):
    rng = np.random.default_rng(11)
    stations = np.concatenate([[0.4], 0.4 + np.cumsum(rng.uniform(2.0, 4.0, 3))])
    beam = StripBeam(
        tuple(StripSupport(at=float(s)) for s in stations), 0.0, float(stations[-1]) + 1
    )
    axles = zip((0.0, 1.37, 4.42, 5.79), (170.0, 120.0, 90.0, 30.0), strict=True)
    train = Train(tuple(StripLoad(at, load, length) for at, load in axles))
    for support in (1, 2):
        lines = moment_lines(beam, [stations[support]], "left")
        found = support_hogging(beam, support, train, directions=directions)
        sampled = brute(beam, lines, train, -1.0, directions)
        # The grid of 2 mm loses the slope there, 400 kN x 1 mm at most, and smears the jump at
        # the strip's end over one cell: 1 mm x 0.4 m x 170 kN / 0.7 m for a patch across it.
        assert sampled - 0.1 <= found.value <= sampled + 0.1
        assert found.station is not None
        value = response(lines, train, found.direction).at(found.station)[0, 0]
        assert value == pytest.approx(found.value, rel=1e-9)
    found = bay_sagging(beam, 1, train, directions)
    sections = np.linspace(stations[1], stations[2], 41)
    sampled = brute(beam, moment_lines(beam, sections, "right"), train, 1.0, directions)
    assert sampled - 0.1 <= found.value <= sampled * 1.01


@pytest.mark.parametrize("length", [0.0, 0.5])
def test_section_of_largest_sagging_is_found_among_many(length):
    rng = np.random.default_rng(3)
    for _ in range(4):
        beam = equal_spans(3, float(rng.uniform(3.0, 12.0)))
        at = np.concatenate([[0.0], np.cumsum(rng.uniform(0.6, 4.0, 4))])
        loads = rng.uniform(20.0, 200.0, 5)
        train = Train(
            tuple(StripLoad(float(a), float(p), length) for a, p in zip(at, loads, strict=True))
        )
        found = bay_sagging(beam, 0, train)
        low, high = beam.bay(0)
        lines = moment_lines(beam, np.linspace(low, high, 501), "right")
        both = [response(lines, train, d) for d in ("forward", "reverse")]
        dense = max(highest(one)[0].max() for one in both)
        assert found.value >= dense * (1 - 1e-8)
        assert found.value <= dense * (1 + 5e-3)  # the grid of sections misses so much at a kink


def test_the_higher_of_two_peaks_is_found_where_coarse_sections_favour_the_other():
    beam = equal_spans(2, 3.22188)
    at, loads = (
        (0.0, 1.24247, 3.14183, 6.03588, 8.16957),
        (178.875, 57.346, 121.094, 160.007, 187.33),
    )
    train = Train(tuple(StripLoad(a, p) for a, p in zip(at, loads, strict=True)))
    found = bay_sagging(beam, 0, train).value
    lines = moment_lines(beam, np.linspace(0.0, 3.22188, 2001), "right")
    both = [highest(response(lines, train, d))[0].max() for d in ("forward", "reverse")]
    assert found == pytest.approx(max(both), rel=1e-5)


def test_mirrored_beam_and_turned_train_give_the_same():
    spans = (2.5, 4.0, 3.0)
    stations = np.concatenate([[0.0], np.cumsum(spans)])
    there = StripBeam(tuple(StripSupport(at=float(s)) for s in stations), 0.0, 9.5)
    back = StripBeam(tuple(StripSupport(at=float(9.5 - s)) for s in stations[::-1]), 0.0, 9.5)
    train = Train((StripLoad(0.0, 50.0), StripLoad(2.0, 80.0), StripLoad(3.1, 80.0)))
    one = support_hogging(there, 1, train, directions=("forward",))
    two = support_hogging(back, 2, train, directions=("reverse",))
    other = support_hogging(back, 2, train, directions=("forward",))
    assert one.value == pytest.approx(two.value, rel=1e-11)
    assert one.station == pytest.approx(9.5 - two.station, abs=1e-8)
    assert abs(one.value - other.value) > 1e-3 * abs(one.value)


def test_axles_off_the_strip_count_nothing():
    beam = equal_spans(1, 3.0)
    alone = bay_sagging(beam, 0, Train((StripLoad(0.0, 100.0),)))
    long = bay_sagging(beam, 0, Train((StripLoad(0.0, 100.0), StripLoad(50.0, 100.0))))
    assert alone.value == long.value == pytest.approx(75.0, rel=1e-9)


def test_hogging_at_the_faces_is_the_worse_of_two():
    beam = equal_spans(2, 4.0)
    train = Train((StripLoad(0.0, 100.0), StripLoad(4.0, 60.0)))
    face = support_hogging(beam, 1, train, offset=0.15)
    sections = [3.85, 4.15]
    lines = moment_lines(beam, sections, "left")
    tops = [
        highest(-response(lines, train, direction))[0].max() for direction in ("forward", "reverse")
    ]
    assert face.value == pytest.approx(-max(tops), rel=1e-11)
    assert abs(face.value) < abs(support_hogging(beam, 1, train).value)


def law_over(function, nodes):
    inner = [at for a, b in itertools.pairwise(nodes) for at in resolved(function, a, b)]
    return WidthFunction(function, np.unique([*nodes, *inner]))


def smooth_law(x):
    u = np.clip(x, 0.0, 12.4) % 3.1
    return 0.66 + 2.6 * u * (1 - u / 3.1)


def kinked_law(x):
    # clear span between faces 0.15 m from the supports, wheels 1.3 m apart, slab 3.6 m wide
    u = np.clip(x, 0.0, 12.4) % 3.1
    a = np.clip(np.minimum(u, 3.1 - u) - 0.15, 0.0, 1.4)
    wheel = 0.66 + 2.6 * a * (1 - a / 2.8)
    return np.minimum(wheel + np.minimum(wheel, 1.3), 3.6)


@pytest.mark.parametrize("length", [0.0, 0.7])
@pytest.mark.parametrize("section", [3.1, 4.65, 5.3])
@pytest.mark.parametrize("function", [smooth_law, kinked_law])
def test_width_laws_are_followed_within_the_stated_error(function, section, length):
    # Wheels of 0.5 m: as narrow as the library gets, so its steepest laws.
    beam = equal_spans(4, 3.1)
    law = law_over(function, beam.nodes)
    assert 20 < law.grid.size < 150
    lines = moment_lines(beam, [section], "right")
    with_law = response(lines, Train((StripLoad(0.0, 1.0, length, law),)), "forward")
    beam_only = response(lines, Train((StripLoad(0.0, 1.0, length),)), "forward")
    x = np.linspace(-0.3, 12.6, 20011)
    exact = beam_only.at(x) / function(x)
    assert np.abs(with_law.at(x) - exact).max() < 1e-5 * np.abs(exact).max()


def test_kinks_of_a_law_are_located():
    points = np.array(resolved(kinked_law, 0.0, 3.0999999))
    for wheel in (0.66, 1.3, 2.3):  # at the face, wheels touching, slab full
        kink = 0.15 + 1.4 - np.sqrt(1.96 - 2.8 * (wheel - 0.66) / 2.6)
        # Nearer than this the kink changes the reciprocal by less than the fit's tolerance.
        assert np.abs(points - kink).min() < 1e-4
        assert np.abs(points - (3.1 - kink)).min() < 1e-4


def test_a_constant_law_is_the_number_itself():
    beam = equal_spans(3, 3.0)
    loads = ((0.0, 70.0), (1.2, 70.0), (4.5, 30.0))
    number = Train(tuple(StripLoad(a, p, 0.4, 2.5) for a, p in loads))
    law = law_over(lambda x: np.full(np.shape(x), 2.5), beam.nodes)
    assert law.grid.size == beam.nodes.size
    function = Train(tuple(StripLoad(a, p, 0.4, law) for a, p in loads))
    one, two = bay_sagging(beam, 1, number), bay_sagging(beam, 1, function)
    assert one.value == pytest.approx(two.value, rel=1e-8)
    whole = bay_sagging(beam, 1, Train(tuple(StripLoad(a, p, 0.4) for a, p in loads)))
    assert one.value == pytest.approx(whole.value / 2.5, rel=1e-8)


def test_groups_side_by_side_beat_every_arrangement_on_a_grid():
    beam = StripBeam(tuple(StripSupport(at=2.7 * i) for i in range(5)), -1.0, 11.8)
    axle = Train((StripLoad(0.0, 1.0), StripLoad(-1.8, 1.0)))
    low, high, gap = -0.4, 9.4, 3.0
    t = np.linspace(low, high, 99)
    for section, sign in itertools.product((1.35, 2.7, 4.05, 5.4), (1.0, -1.0)):
        lines = moment_lines(beam, [section], "right")
        one = response(lines, axle, "forward")
        found = side_by_side(one if sign > 0 else -one, low, high, gap, 5)[0]
        effect = sign * one.at(t)[0]
        two = effect[:, None] + effect[None, :]
        apart = t[None, :] - t[:, None] >= gap - 1e-9
        sampled_two = two[apart].max()
        three = two[:, :, None] + effect
        sampled_three = three[apart[:, :, None] & apart[None, :, :]].max()
        for value, sampled in zip(found, (effect.max(), sampled_two, sampled_three), strict=False):
            assert sampled - 1e-9 <= value <= sampled + 0.1  # grid of 0.1 m, slopes below 1
        assert np.isfinite(found[3])  # 4 x 3.0 - 3.0 = 9.0 m fits in 9.8 m
        assert np.isneginf(found[4])  # 12.0 m does not
