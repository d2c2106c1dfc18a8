"""Series and closed forms against printed values, and against each other.

Printed sources, all cited from memory:
TWK : Timoshenko and Woinowsky-Krieger, Theory of Plates and Shells, 2nd ed., McGraw-Hill 1959
Roark : Young and Budynas, Roark's Formulas for Stress and Strain, 7th ed., table 11.4
Jaramillo : J. Appl. Mech. 17 (1950) 67-72, and TWK art. 78
Westergaard : Public Roads 11(1) (1930), eq. 119
Prints carry three or four digits: tolerances are one unit of the last printed digit unless a
comment says why the print is further off.
"""

import math
from dataclasses import replace

import numpy as np
import pytest

from plate.errors import GeometryError, LoadError
from plate.exact.circular import RingPlate
from plate.exact.clamped import clamped_rectangle
from plate.exact.common import Patch, Rigidity
from plate.exact.infinite_strips import Strip, half_plane_clamped, half_plane_simple
from plate.exact.levy import LevyPlate
from plate.exact.lines import Line, clamped, simple
from plate.exact.mindlin_ritz import MindlinRectangle
from plate.exact.navier import mindlin_hard, simply_supported
from plate.exact.polygons import PolygonPlate, rhombus
from plate.exact.thick import ThickPlate

THIN = Rigidity.isotropic(1.0, 0.3)
PLATES = [
    THIN,
    Rigidity.isotropic(1.0, 0.2, foundation=1000.0),
    Rigidity(1.0, 0.5, 0.1, 0.2),  # h < sqrt(d_x d_y): complex roots
    Rigidity(1.0, 0.1, 0.0, 0.5),  # h > sqrt(d_x d_y): real roots
    Rigidity(1.0, 0.3, 0.0, 0.6, foundation=500.0),
]


def free(y: float) -> Line:
    return Line(y=y)


def double_series(a, b, d, patch, x, y, terms=700):
    """Navier's double series term by term: slow, and written apart from the package."""
    m = np.arange(1, terms + 1)[:, None] * np.pi / a
    n = np.arange(1, terms + 1)[None, :] * np.pi / b
    load = np.sin(m * patch.x) * np.sinc(m * patch.a / 2 / np.pi)
    load = load * np.sin(n * patch.y) * np.sinc(n * patch.b / 2 / np.pi)
    h = d.d_1 + 2 * d.d_xy
    w = 4 * patch.load / (a * b) * load
    w = w / (d.d_x * m**4 + 2 * h * m**2 * n**2 + d.d_y * n**4 + d.foundation)
    ss, cc = np.sin(m * x) * np.sin(n * y), np.cos(m * x) * np.cos(n * y)
    cs, sc = np.cos(m * x) * np.sin(n * y), np.sin(m * x) * np.cos(n * y)
    return np.array(
        [
            np.sum(w * ss),
            np.sum(w * (d.d_x * m**2 + d.d_1 * n**2) * ss),
            np.sum(w * (d.d_1 * m**2 + d.d_y * n**2) * ss),
            np.sum(-2 * d.d_xy * w * m * n * cc),
            np.sum(w * (d.d_x * m**3 + h * m * n**2) * cs),
            np.sum(w * (d.d_y * n**3 + h * m**2 * n) * sc),
        ]
    )


# ---------------------------------------------------------------- simply supported rectangles


@pytest.mark.parametrize(
    ("b", "w", "m_x", "m_y", "q_x", "q_y"),
    [  # TWK table 8
        (1.0, 0.00406, 0.0479, 0.0479, 0.338, 0.338),
        (1.2, 0.00564, 0.0627, 0.0501, 0.380, 0.353),
        (1.5, 0.00772, 0.0812, 0.0498, 0.424, 0.363),
        (2.0, 0.01013, 0.1017, 0.0464, 0.465, 0.370),
        (3.0, 0.01223, 0.1189, 0.0406, 0.493, 0.372),
        (4.0, 0.01282, 0.1235, 0.0384, 0.498, 0.372),
    ],
)
def test_uniform_load_on_simple_supports(b, w, m_x, m_y, q_x, q_y):
    got = simply_supported(1.0, b, THIN, [Patch.uniform(1.0, b)], [0.5, 0, 0.5], [b / 2, b / 2, 0])
    assert got.w[0] == pytest.approx(w, abs=1.1e-5)
    assert got.m_x[0] == pytest.approx(m_x, abs=1e-4)
    assert got.m_y[0] == pytest.approx(m_y, abs=1e-4)
    assert got.q_x[1] == pytest.approx(q_x, abs=1.1e-3)
    # the print of q_y is a little rough: .353, .363, .372 stand for .35296, .36401, .3712
    assert got.q_y[2] == pytest.approx(q_y, abs=1.1e-3)


@pytest.mark.parametrize(
    ("b", "beta", "gamma"),  # Roark case 1a: m_x = beta/6, largest edge reaction gamma
    [(1.0, 0.2874, 0.420), (1.4, 0.4530, 0.478), (2.0, 0.6102, 0.503), (4.0, 0.7410, 0.502)],
)
def test_uniform_load_against_roark(b, beta, gamma):
    # the reaction along x = 0 is that of a Lévy plate turned round
    plate = LevyPlate(b, THIN, (simple(0.0), simple(1.0)))
    solution = plate.solve([Patch.uniform(b, 1.0)])
    assert 6 * solution.at(b / 2, 0.5).m_y == pytest.approx(beta, abs=3e-4)
    assert solution.reaction(0, [b / 2])[0] == pytest.approx(gamma, abs=6e-4)


def total_reaction(solution, row):
    """Of all lines along x, from the jumps of the shear force, row `row` of the state."""
    plate = solution.plate
    odd = np.arange(1, plate.modes + 1) % 2 == 1
    integral = np.where(odd, 2.0 / plate.alpha, 0.0)  # of sin(m pi x / a) over 0..a
    states = [
        solution.line_state(i, True)[row] - solution.line_state(i, False)[row]
        for i in range(len(plate.lines))
    ]
    return np.sum(states, axis=0) @ integral


def test_reactions_and_corner_forces_balance_the_load():
    b = 1.4
    plate = LevyPlate(1.0, THIN, (simple(0.0), simple(b)))
    turned = LevyPlate(b, THIN, (simple(0.0), simple(1.0)))
    along_x = plate.solve([Patch.uniform(1.0, b)])
    along_y = turned.solve([Patch.uniform(b, 1.0)])
    corner = 2 * along_x.at(0.0, 0.0).m_xy  # held down at all four
    total = total_reaction(along_x, 3) + total_reaction(along_y, 3) + 4 * corner
    assert total == pytest.approx(b, rel=1e-6)
    assert corner < 0


@pytest.mark.parametrize("d", PLATES)
@pytest.mark.parametrize(
    "at", [(0.37, 1.2), (0.39, 1.14), (0.2, 0.9), (0.42, 1.2), (0.37, 1.15), (0.9, 2.9)]
)
def test_patch_against_the_double_series(d, at):
    patch = Patch(0.37, 1.2, 0.1, 0.1, load=3.0)
    got = simply_supported(1.0, 3.0, d, [patch], *at).stack()
    want = double_series(1.0, 3.0, d, patch, *at)
    # cut at 700 terms the double series is good to 2e-5 in m, in q to 2e-2 near the patch or, on
    # its sides, to about (pressure 300) x a / (700 pi^2)
    on_side = 0.15 if at in ((0.42, 1.2), (0.37, 1.15)) else 2e-2
    bounds = [1e-9, 2e-5, 2e-5, 2e-5, on_side, on_side]
    np.testing.assert_array_less(np.abs(got - want), bounds)


@pytest.mark.parametrize("d", PLATES)
def test_both_directions_of_the_single_series_agree(d):
    patch = Patch(0.37, 1.2, 0.1, 0.1)
    x, y = np.array([0.37, 0.39, 0.2, 0.95, 0.5]), np.array([1.2, 1.16, 0.9, 2.5, 1.3])
    along_x = LevyPlate(1.0, d, (simple(0.0), simple(3.0)), 3000).solve([patch]).at(x, y)
    turned = LevyPlate(3.0, d.swapped(), (simple(0.0), simple(1.0)), 3000)
    along_y = turned.solve([patch.swapped()]).at(y, x).swapped()
    np.testing.assert_allclose(along_x.stack(), along_y.stack(), rtol=1e-8, atol=1e-9)


@pytest.mark.parametrize(
    ("b", "beta"),  # Roark case 1b: M/P = [(1+nu) ln(2a/(pi r)) + beta] / 4 pi, a small circle
    [(1.0, 0.435), (1.2, 0.650), (1.4, 0.789), (1.6, 0.875), (2.0, 0.958)],
)
def test_small_patch_against_roark(b, beta):
    side = 0.02
    radius = 0.57055 * side  # the circle of the same mean logarithm
    got = simply_supported(1.0, b, THIN, [Patch(0.5, b / 2, side, side)], 0.5, b / 2)
    want = (1.3 * math.log(2 / (math.pi * radius)) + beta) / (4 * math.pi)
    assert got.m_x == pytest.approx(want, abs=2e-4)


@pytest.mark.parametrize(
    ("b", "alpha"),  # Roark case 1b, w = alpha' P a^2/(10.92 D)
    [(1.0, 0.1267), (1.6, 0.1715), (1.8, 0.1770), (2.0, 0.1805)],
)
def test_central_point_load(b, alpha):
    got = simply_supported(1.0, b, THIN, [Patch(0.5, b / 2, 0.0, 0.0)], 0.5, b / 2)
    assert 10.92 * got.w == pytest.approx(alpha, abs=1.2e-4)


def test_point_load_on_a_long_plate_has_a_closed_form():
    zeta3 = 1.2020569031595942
    got = simply_supported(1.0, 12.0, THIN, [Patch(0.5, 6.0, 0.0, 0.0)], 0.5, 6.0, modes=4000)
    assert got.w == pytest.approx(7 * zeta3 / (16 * math.pi**3), rel=1e-7)


def test_huber_plate_is_an_isotropic_plate_stretched():
    # with d_1 = 0 and h = sqrt(d_x d_y): as an isotropic plate, nu = 0, of b (d_x/d_y)^(1/4)
    got = simply_supported(
        1.0, 1.0, Rigidity(1.0, 0.25, 0.0, 0.25), [Patch.uniform(1, 1)], 0.5, 0.5
    )
    b = math.sqrt(2)
    want = simply_supported(1.0, b, Rigidity.isotropic(1, 0), [Patch.uniform(1, b)], 0.5, b / 2)
    np.testing.assert_allclose([got.w, got.m_x], [want.w, want.m_x], rtol=1e-12)


def test_stiff_foundation_carries_the_load_itself():
    got = simply_supported(
        1.0, 1.0, Rigidity.isotropic(1.0, 0.3, 1e7), [Patch.uniform(1, 1)], 0.5, 0.5
    )
    assert got.w == pytest.approx(1e-7, rel=1e-6)


def test_point_load_on_a_wide_plate_on_a_foundation():
    # Hertz (1884): P / (8 sqrt(k D)); 8 decay lengths to the edges
    k = 4.0 * 100.0**2
    got = simply_supported(
        1.0, 1.0, Rigidity.isotropic(1.0, 0.3, k), [Patch(0.5, 0.5, 0, 0)], 0.5, 0.5, modes=3000
    )
    assert got.w == pytest.approx(1 / (8 * math.sqrt(k)), rel=2e-4)


@pytest.mark.parametrize(("t", "w"), [(0.1, 0.004273), (0.2, 0.004904)])
def test_mindlin_square_with_hard_edges(t, w):
    # Reddy, Mechanics of Laminated Composite Plates and Shells, 2nd ed. 2004 (from memory)
    shear = 6 * (5 / 6) * 0.7 / t**2
    thin = simply_supported(1.0, 1.0, THIN, [Patch.uniform(1, 1)], 0.5, 0.5)
    got = mindlin_hard(thin, 0.3, shear)
    assert got.w == pytest.approx(w, abs=6e-7)
    ritz = MindlinRectangle(
        a=1.0,
        b=1.0,
        d=1.0,
        poisson=0.3,
        shear_rigidity=shear,
        x_edges="hard",
        y_edges="hard",
        degree=24,
    ).at(0.5, 0.5)
    np.testing.assert_allclose(got.stack()[:3], ritz.stack()[:3], rtol=1e-6)


def test_a_patch_off_the_plate_is_refused():
    with pytest.raises(LoadError, match="outside"):
        simply_supported(1.0, 1.0, THIN, [Patch(0.98, 0.5, 0.1, 0.1)], 0.5, 0.5)
    with pytest.raises(GeometryError, match="growing"):
        LevyPlate(1.0, THIN, (simple(1.0), simple(0.0)))
    with pytest.raises(GeometryError, match="growing"):
        ThickPlate(a=1.0, d=1.0, poisson=0.3, shear_rigidity=100.0, lines=(simple(0.0),))


# ---------------------------------------------------------------- Lévy's plates


@pytest.mark.parametrize(
    ("b", "w", "m_x", "m_y", "w_edge", "m_edge"),
    [  # TWK table 47; at b = 1 the print of the free edge (.01509, .1318) is 0.5 % high
        (2.0, 0.01289, 0.1235, 0.0364, 0.01521, 0.1329),
        (1.0, 0.01309, 0.1225, 0.0271, None, None),
    ],
)
def test_two_free_edges(b, w, m_x, m_y, w_edge, m_edge):
    got = LevyPlate(1.0, THIN, (Line(y=0.0), Line(y=b))).solve([Patch.uniform(1, b)])
    mid, edge = got.at(0.5, b / 2), got.at(0.5, 0.0)
    assert mid.w == pytest.approx(w, abs=1e-5)
    assert mid.m_x == pytest.approx(m_x, abs=1e-4)
    assert mid.m_y == pytest.approx(m_y, abs=1e-4)
    assert edge.m_y == pytest.approx(0.0, abs=1e-9)
    if w_edge is not None:
        assert edge.w == pytest.approx(w_edge, abs=1e-5)
        assert edge.m_x == pytest.approx(m_edge, abs=1.1e-4)


def test_without_poissons_ratio_two_free_edges_make_a_beam():
    plate = LevyPlate(1.0, Rigidity.isotropic(1, 0), (Line(y=0.0), Line(y=0.7)))
    got = plate.solve([Patch.uniform(1, 0.7)]).at(0.5, [0.0, 0.2, 0.7])
    np.testing.assert_allclose(got.w, 5 / 384, rtol=1e-12)
    np.testing.assert_allclose(got.m_x, 1 / 8, rtol=1e-12)
    np.testing.assert_allclose(got.m_y, 0.0, atol=1e-13)


@pytest.mark.parametrize(
    ("edges", "b", "w", "m_x", "m_y", "m_edge"),
    [  # TWK tables 29 and 32
        ((clamped, clamped), 1.0, 0.00192, 0.0244, 0.0332, -0.0697),
        ((clamped, clamped), 2.0, 0.00844, 0.0869, 0.0474, -0.1191),
        ((simple, clamped), 1.0, 0.0028, 0.034, 0.039, -0.084),
        ((simple, clamped), 2.0, 0.0093, 0.094, 0.047, -0.122),
    ],
)
def test_clamped_and_simple_edges(edges, b, w, m_x, m_y, m_edge):
    got = LevyPlate(1.0, THIN, (edges[0](0.0), edges[1](b))).solve([Patch.uniform(1, b)])
    mid, edge = got.at(0.5, b / 2), got.at(0.5, b)
    # one unit of the last digit: 1e-5 and 1e-4, or 1e-4 and 1e-3
    coarse = 10.0 if edges[0] is simple else 1.0
    assert mid.w == pytest.approx(w, abs=1e-5 * coarse)
    assert mid.m_x == pytest.approx(m_x, abs=1e-4 * coarse)
    assert mid.m_y == pytest.approx(m_y, abs=1e-4 * coarse)
    assert edge.m_y == pytest.approx(m_edge, abs=2e-4 * coarse)


@pytest.mark.parametrize(
    ("ratio", "w"),  # TWK art. 48, EI/(a D) against w; the print is within 0.5 %
    [(100, 0.00409), (30, 0.00416), (10, 0.00434), (4, 0.00472), (2, 0.00529), (1, 0.00624)],
)
def test_square_on_two_edge_beams(ratio, w):
    plate = LevyPlate(1.0, THIN, (Line(y=0.0, ei=ratio), Line(y=1.0, ei=ratio)))
    got = plate.solve([Patch.uniform(1, 1)])
    assert got.at(0.5, 0.5).w == pytest.approx(w, rel=5e-3)
    assert got.line_deflection(0, [0.5])[0] == pytest.approx(float(got.at(0.5, 0.0).w), rel=1e-8)


def test_moment_over_the_middle_of_a_plate_on_edge_beams():
    # m_x of the plate, the beams and the spring carry the whole moment of the load
    plate = LevyPlate(
        1.0, THIN, (Line(y=0.0, ei=0.5), Line(y=0.3, ei=2.0, spring=1.0), Line(y=1.0))
    )
    got = plate.solve([Patch.uniform(1, 1), Patch(0.3, 0.6, 0.1, 0.2)])
    y, weight = np.polynomial.legendre.leggauss(40)
    inside = sum(
        h / 2 * np.sum(weight * got.at(0.5, m + h / 2 * y).m_x)
        for m, h in ((0.15, 0.3), (0.4, 0.2), (0.6, 0.2), (0.85, 0.3))
    )
    beams = got.beam_moment(0, [0.5])[0] + got.beam_moment(1, [0.5])[0]
    m = np.arange(1, 1001) * np.pi
    spring = np.sin(m * 0.5) / m**2 @ _sines(got, 1)  # moment of the spring's reaction, k = 1
    assert inside + beams + spring == pytest.approx(1 / 8 + 0.5 * 0.3, rel=1e-7)


def _sines(got, line):
    """Sine coefficients of a line's deflection, by its values at many points."""
    x = np.arange(1, 2000) / 2000
    w = got.line_deflection(line, x)
    m = np.arange(1, 1001)
    return 2 / 2000 * np.sin(np.outer(m, np.pi * x)) @ w


def test_infinitely_stiff_girders_are_line_supports():
    patch = Patch(4.0, 1.5, 0.2, 0.2)
    plate = Rigidity.isotropic(1.0, 0.2)
    rigid = LevyPlate(8.0, plate, tuple(simple(float(i)) for i in range(4)), 2000).solve([patch])
    stiff = LevyPlate(8.0, plate, tuple(Line(y=float(i), ei=1e9) for i in range(4)), 2000)
    want, got = rigid.at(4.0, [1.5, 1.0]).stack(), stiff.solve([patch]).at(4.0, [1.5, 1.0]).stack()
    np.testing.assert_allclose(got, want, rtol=1e-5, atol=1e-6)


def test_beam_torsion_and_springs_reach_their_limits():
    uniform = [Patch.uniform(1, 1)]
    stiff = LevyPlate(1.0, THIN, (Line(y=0.0, held=True, gj=1e9), Line(y=1.0, spring=1e9)))
    fixed = LevyPlate(1.0, THIN, (clamped(0.0), simple(1.0)))
    turned = LevyPlate(1.0, THIN, (Line(y=0.0, held=True, rotational=1e9), Line(y=1.0, ei=1e9)))
    want = fixed.solve(uniform).at([0.5, 0.3], [0.0, 0.6]).stack()
    for plate in (stiff, turned):
        got = plate.solve(uniform).at([0.5, 0.3], [0.0, 0.6]).stack()
        np.testing.assert_allclose(got, want, rtol=1e-6, atol=1e-8)


def test_shear_softens_a_girder():
    # a beam alone (a plate of no rigidity): 5/384 + 1/(8 ga) of the load it takes
    weak = Rigidity.isotropic(1e-9, 0.0)
    plate = LevyPlate(1.0, weak, (Line(y=0.0, ei=1.0, ga=5.0), Line(y=1.0, ei=1.0, ga=5.0)), 200)
    got = plate.solve([Patch(0.5, 0.0, 1.0, 0.0)])
    assert got.line_deflection(0, [0.5])[0] == pytest.approx(5 / 384 + 1 / 40, rel=1e-6)
    assert got.beam_moment(0, [0.5])[0] == pytest.approx(1 / 8, rel=1e-4)


@pytest.mark.parametrize("b", [0.5, 1.0, 2.0])
def test_two_equal_spans_are_panels_clamped_at_the_line(b):
    two = LevyPlate(1.0, THIN, (simple(0.0), simple(b), simple(2 * b)))
    one = LevyPlate(1.0, THIN, (simple(0.0), clamped(b)))
    got = two.solve([Patch.uniform(1, 2 * b)]).at(0.4, [b / 3, b]).stack()
    want = one.solve([Patch.uniform(1, b)]).at(0.4, [b / 3, b * (1 - 1e-14)]).stack()
    np.testing.assert_allclose(got[:4], want[:4], rtol=1e-9, atol=1e-12)


# ---------------------------------------------------------------- clamped rectangles


@pytest.mark.parametrize(
    ("b", "w", "m_x", "m_y", "long", "short"),
    [  # TWK table 35 (the centre of the square, printed .0231, is .02291)
        (1.0, 0.00126, None, None, -0.0513, -0.0513),
        (1.5, 0.00220, 0.0368, 0.0203, -0.0757, -0.0570),
        (2.0, 0.00254, 0.0412, 0.0158, -0.0829, -0.0571),
    ],
)
def test_clamped_rectangle_under_uniform_load(b, w, m_x, m_y, long, short):
    got = clamped_rectangle(1.0, b, 1.0, 0.3, [Patch.uniform(1, b)], 120)
    mid = got.at(0.5, b / 2)
    assert mid.w == pytest.approx(w, abs=1e-5)
    if m_x is not None:
        assert mid.m_x == pytest.approx(m_x, abs=1e-4)
        assert mid.m_y == pytest.approx(m_y, abs=1e-4)
    for edge, want in ((2, long), (3, long), (0, short), (1, short)):
        assert got.edge_moment(edge, [b / 2 if edge > 1 else 0.5])[0] == pytest.approx(
            want, abs=1.2e-4
        )


@pytest.mark.parametrize(
    ("b", "w", "m"),  # TWK table 37
    [
        (1.0, 0.00560, -0.1257),
        (1.2, 0.00647, -0.1490),
        (1.6, 0.00712, -0.1651),
        (2, 0.00722, -0.1674),
    ],
)
def test_clamped_rectangle_under_a_central_point_load(b, w, m):
    got = clamped_rectangle(1.0, b, 1.0, 0.3, [Patch(0.5, b / 2, 0, 0)], 120)
    assert got.at(0.5, b / 2).w == pytest.approx(w, abs=1.3e-5)  # the print is cut, not rounded
    assert got.edge_moment(2, [b / 2])[0] == pytest.approx(m, abs=2e-4)


def test_clamped_edges_do_not_turn():
    got = clamped_rectangle(1.0, 1.3, 1.0, 0.2, [Patch(0.37, 0.5, 0.1, 0.2)], 200)
    step = 1e-5
    x = np.array([0.3, 0.7, step, 1 - step])
    y = np.array([step, 1.3 - step, 0.6, 0.9])
    # w ~ m step^2 / 2 there: slopes of 1e-7 would already show as 1e-12
    assert np.all(np.abs(got.at(x, y).w) < 0.2 * step**2)


def test_long_clamped_rectangle_is_a_strip():
    patch = Patch(0.37, 4.0, 0.1, 0.2)
    plate = clamped_rectangle(1.0, 8.0, 1.0, 0.2, [patch], 400)
    strip = Strip((clamped(0.0), clamped(1.0)), Rigidity.isotropic(1, 0.2), 8.0)
    want = strip.solve([Patch(0.37, 0.0, 0.1, 0.2)]).at([0.37, 0.6], [0.0, 0.3]).stack()
    got = plate.at([0.37, 0.6], [4.0, 4.3]).stack()
    np.testing.assert_allclose(got, want, rtol=1e-6, atol=1e-8)


# ---------------------------------------------------------------- infinite strips


@pytest.mark.parametrize("x", [0.5, 0.25])
def test_strip_on_simple_supports(x):
    # TWK art. 37: M_x = P/4pi [(1+nu) ln(2 L sin(pi x/L) / (pi r)) + 1], a small circle
    side = 0.02
    strip = Strip((simple(0.0), simple(1.0)), THIN, 8.0, 12000)
    got = strip.solve([Patch(x, 0.0, side, side)]).at(x, 0.0)
    radius = 0.57055 * side
    want = (1.3 * math.log(2 * math.sin(math.pi * x) / (math.pi * radius)) + 1) / (4 * math.pi)
    assert got.m_x == pytest.approx(want, abs=2e-5)
    assert got.m_x - got.m_y == pytest.approx(0.7 / (4 * math.pi), abs=1e-4)


def test_strip_by_waves_along_it_and_across_it():
    plate = Rigidity.isotropic(1.0, 0.2)
    strip = Strip((simple(0.0), simple(1.0)), plate, 8.0, 8000)
    got = strip.solve([Patch(0.3, 0.0, 0.1, 0.2)]).at([0.3, 0.7], [0.0, 0.35]).stack()
    long = simply_supported(1.0, 16.0, plate, [Patch(0.3, 8.0, 0.1, 0.2)], [0.3, 0.7], [8, 8.35])
    np.testing.assert_allclose(got, long.stack(), rtol=1e-8, atol=1e-10)


def test_clamped_strip_limits():
    # TWK table 37 at b/a = infinity: .00725 (high by .1 %) and -.168; any moment stays below P/pi
    strip = Strip((clamped(0.0), clamped(1.0)), THIN, 8.0, 8000)
    got = strip.solve([Patch(0.5, 0, 0, 0)]).at([0.5, 0.0], 0.0)
    assert got.w[0] == pytest.approx(0.00725, abs=1e-5)
    assert got.m_x[1] == pytest.approx(-0.168, abs=5e-4)
    near = strip.solve([Patch(0.02, 0, 0, 0)]).at(0.0, 0.0)
    assert -1 / math.pi < near.m_x < -0.31


@pytest.mark.parametrize(("nu", "moment"), [(0.3, -0.509)])
def test_cantilever_slab(nu, moment):
    # Jaramillo: root moment under a load at the tip
    strip = Strip((clamped(0.0), Line(y=1.0)), Rigidity.isotropic(1, nu), 16.0)
    got = strip.solve([Patch(1.0, 0.0, 0.0, 0.0)])
    assert got.at(0.0, 0.0).m_x == pytest.approx(moment, abs=5e-4)
    y = np.arange(-160, 160) / 10.0  # equal steps are exact for a smooth function that dies away
    assert np.sum(got.at(0.0, y).m_x) * 0.1 == pytest.approx(-1.0, rel=1e-5)
    assert np.sum(got.reaction(0, y)) * 0.1 == pytest.approx(1.0, rel=1e-5)


def test_westergaards_sheet():
    # 20 kip at 1 ft from the edge, nu = .15: 9.07, 3.18, .95, .42, .23 kip/ft
    got = 20 * half_plane_simple([0, 1, 2, 3, 4], 0.15)
    np.testing.assert_allclose(got, [9.07, 3.18, 0.95, 0.42, 0.23], atol=0.006)


def test_half_planes_are_wide_strips():
    y = np.array([0.0, 0.02, 0.05])
    plate = Rigidity.isotropic(1.0, 0.2)
    load = [Patch(0.02, 0.0, 0.0, 0.0)]
    ss = Strip((simple(0.0), simple(1.0)), plate, 4.0, 12000).solve(load)
    np.testing.assert_allclose(
        0.02 * ss.reaction(0, y), half_plane_simple(y / 0.02, 0.2), atol=5e-4
    )
    cc = Strip((clamped(0.0), clamped(1.0)), plate, 4.0, 12000).solve(load)
    moment, reaction = half_plane_clamped(y / 0.02)
    np.testing.assert_allclose(cc.at(0.0, y).m_x, moment, atol=1e-3)
    np.testing.assert_allclose(0.02 * cc.reaction(0, y), reaction, atol=2e-3)


def test_free_transverse_edge_doubles_the_moment():
    # a common rule of codes (half the effective width at an unstiffened edge): common practice
    plate = LevyPlate(1.0, Rigidity.isotropic(1, 0.2), (Line(y=0.0), simple(12.0)), 2000)
    edge = plate.solve([Patch(0.5, 0.1, 0.2, 0.2)]).at(0.5, 0.1).m_x
    edge0 = plate.solve([Patch(0.5, 0.1, 0.2, 0.2)]).at(0.5, 0.0).m_x
    inside = plate.solve([Patch(0.5, 6.0, 0.2, 0.2)]).at(0.5, 6.0).m_x
    assert edge0 > edge > 1.5 * inside
    assert edge0 == pytest.approx(2 * inside, rel=0.03)


# ---------------------------------------------------------------- thick plates, circles


def shear_of(t, nu=0.3):
    """kappa G t for D = 1, a = 1 and kappa = 5/6."""
    return 6 * (5 / 6) * (1 - nu) / t**2


def hard(y):
    return Line(y=y, held=True, hard=True)


@pytest.mark.parametrize("t", [0.2, 0.1, 0.01])
def test_thick_levy_plate_with_hard_edges(t):
    patch, at = [Patch(0.37, 1.2, 0.1, 0.1)], ([0.37, 0.2, 0.9], [1.2, 0.9, 2.9])
    got = (
        ThickPlate(
            a=1.0, d=1.0, poisson=0.3, shear_rigidity=shear_of(t), lines=(hard(0.0), hard(3.0))
        )
        .solve(patch)
        .at(*at)
    )
    thin = simply_supported(1.0, 3.0, THIN, patch, *at)
    want = mindlin_hard(thin, 0.3, shear_of(t))
    np.testing.assert_allclose(got.stack(), want.stack(), rtol=1e-10, atol=1e-12)


@pytest.mark.parametrize(
    ("edge", "name"), [(simple, "soft"), (hard, "hard"), (clamped, "clamped"), (free, "free")]
)
def test_thick_levy_plate_against_ritz(edge, name):
    shear = shear_of(0.15)
    at = ([0.5, 0.3, 0.45], [0.65, 0.4, 0.01])
    plate = ThickPlate(
        a=1.0, d=1.0, poisson=0.3, shear_rigidity=shear, lines=(edge(0.0), edge(1.3))
    )
    got = plate.solve([Patch.uniform(1, 1.3)]).at(*at).stack()
    want = (
        MindlinRectangle(
            a=1.0,
            b=1.3,
            d=1.0,
            poisson=0.3,
            shear_rigidity=shear,
            x_edges="hard",
            y_edges=name,
            degree=30,
        )
        .at(*at)
        .stack()
    )
    np.testing.assert_allclose(got[:4], want[:4], rtol=2e-5, atol=2e-6)
    np.testing.assert_allclose(got[4:], want[4:], atol=2e-4)  # Ritz: derivatives at an edge


@pytest.mark.parametrize(
    "lines",
    [
        (Line(y=0.0), Line(y=1.0)),
        (Line(y=0.0, ei=2.0), simple(0.4), Line(y=1.0, ei=0.5, gj=1.0)),
        (clamped(0.0), Line(y=1.0, spring=3.0, rotational=2.0)),
    ],
)
def test_thick_levy_plate_has_the_thin_limit(lines):
    patch, at = [Patch(0.5, 0.5, 0.3, 0.4)], ([0.37, 0.5, 0.8], [0.2, 0.6, 0.75])
    want = LevyPlate(1.0, THIN, lines).solve(patch).at(*at).stack()
    errors = []
    for t in (1e-2, 1e-3):
        got = (
            ThickPlate(a=1.0, d=1.0, poisson=0.3, shear_rigidity=shear_of(t), lines=lines)
            .solve(patch)
            .at(*at)
            .stack()
        )
        errors.append(np.max(np.abs(got - want)))
    # the boundary layers make the difference one of the first order in t
    assert errors[1] < 2e-5
    assert errors[1] < 0.12 * errors[0]


def test_thick_plate_balances_its_load():
    lines = (simple(0.0), Line(y=0.6, ei=1.0), Line(y=1.0, spring=5.0))
    plate = ThickPlate(a=1.0, d=1.0, poisson=0.2, shear_rigidity=shear_of(0.2, 0.2), lines=lines)
    got = plate.solve([Patch(0.4, 0.3, 0.2, 0.2), Patch(0.5, 0.8, 1.0, 0.4, 0.7)])
    y, weight = np.polynomial.legendre.leggauss(60)
    sides = 0.0
    for low, high in ((0, 0.2), (0.2, 0.4), (0.4, 0.6), (0.6, 1.0)):
        s = low + (high - low) * (y + 1) / 2
        q = got.at(0.0, s).q_x - got.at(1.0, s).q_x
        sides += np.sum(weight * q) * (high - low) / 2
    assert total_reaction(got, 5) + sides == pytest.approx(1.7, rel=1e-7)


def test_thick_girder_moments():
    # a beam that a plate of little rigidity loads: its own moment is that of the load
    lines = (Line(y=0.0, ei=1.0), Line(y=1.0, ei=1.0))
    plate = ThickPlate(a=1.0, d=1e-7, poisson=0.0, shear_rigidity=1.0, lines=lines, modes=400)
    got = plate.solve([Patch(0.5, 0.0, 1.0, 0.0)])
    assert got.beam_moment(0, [0.5])[0] == pytest.approx(1 / 8, rel=1e-4)
    assert got.line_state(0, True)[0] @ np.sin(plate.alpha * 0.5) == pytest.approx(
        5 / 384, rel=1e-4
    )


def test_thin_mindlin_square_is_the_clamped_thin_plate():
    shear = 6 * (5 / 6) * 0.7 / 1e-3**2
    got = MindlinRectangle(
        a=1,
        b=1,
        d=1.0,
        poisson=0.3,
        shear_rigidity=shear,
        x_edges="clamped",
        y_edges="clamped",
        degree=24,
    ).at([0.5, 0.3], [0.5, 0.4])
    want = clamped_rectangle(1, 1, 1.0, 0.3, [Patch.uniform(1, 1)]).at([0.5, 0.3], [0.5, 0.4])
    np.testing.assert_allclose(got.stack()[:4], want.stack()[:4], rtol=1e-4, atol=1e-6)


@pytest.mark.parametrize("t", [0.0, 0.1, 0.2])
def test_solid_circles(t):
    # TWK arts. 16; Reissner's shear term q a^2 / (4 kappa G t)
    shear = math.inf if t == 0 else 6 * (5 / 6) * 0.7 / t**2
    for edge, thin, centre in (
        ("clamped", 1 / 64, 1.3 / 16),
        ("simple", 5.3 / 1.3 / 64, 3.3 / 16),
    ):
        w, m_r, m_t, q_r = RingPlate(
            outer=1.0, d=1.0, poisson=0.3, edge=edge, shear_rigidity=shear
        ).at([0.0, 1.0])
        np.testing.assert_allclose(w, [thin + 0.25 / shear, 0.0], atol=1e-15)
        np.testing.assert_allclose(m_r, [centre, -1 / 8 if edge == "clamped" else 0], atol=1e-15)
        assert m_t[0] == pytest.approx(centre)
        assert q_r[1] == pytest.approx(-0.5)


@pytest.mark.parametrize(
    ("edge", "inner_edge"), [("simple", "free"), ("clamped", "free"), ("clamped", "clamped")]
)
def test_annulus_solves_its_own_equation(edge, inner_edge):
    plate = RingPlate(
        outer=1.0,
        d=1.0,
        poisson=0.3,
        edge=edge,
        inner=0.5,
        inner_edge=inner_edge,
        pressure=2.0,
        shear_rigidity=30.0,
    )
    r = np.linspace(0.55, 0.95, 9)
    h = 1e-4
    # equilibrium by differences: (r m_r)' - m_t = r q_r and (r q_r)' = -r q
    (_, up_r, _, up_q), (_, down_r, _, down_q) = plate.at(r + h), plate.at(r - h)
    _, _, m_t, q_r = plate.at(r)
    slope = ((r + h) * up_r - (r - h) * down_r) / (2 * h)
    np.testing.assert_allclose(slope - m_t, r * q_r, rtol=1e-6, atol=1e-7)
    np.testing.assert_allclose(((r + h) * up_q - (r - h) * down_q) / (2 * h), -2 * r, rtol=1e-8)


def test_ring_load_reaches_the_outer_edge():
    plate = RingPlate(
        outer=1.0, d=1.0, poisson=0.3, edge="simple", inner=0.5, pressure=0.0, ring=3.0
    )
    w, m_r, _, q_r = plate.at([0.5, 1.0])
    np.testing.assert_allclose(q_r, [-3.0, -1.5])
    np.testing.assert_allclose([w[1], m_r[0], m_r[1]], 0.0, atol=1e-14)
    assert w[0] > 0
    with pytest.raises(GeometryError, match="annulus"):
        RingPlate(outer=1.0, d=1.0, poisson=0.3, edge="simple", inner=1.5).at(1.0)


# ---------------------------------------------------------------- skew plates


def principal(got):
    mean, half = (got.m_x + got.m_y) / 2, np.hypot((got.m_x - got.m_y) / 2, got.m_xy)
    return mean + half, mean - half


@pytest.mark.parametrize(
    ("angle", "w", "m_1", "m_2"),
    [  # Morley, Skew Plates and Structures, Pergamon 1963, 30 degrees; 60 from his table of w
        (30, 0.000408, 0.0191, 0.0108),
        (60, 0.00256, 0.0425, 0.0333),
    ],
)
def test_simply_supported_rhombus(angle, w, m_1, m_2):
    solution = replace(rhombus(math.radians(angle), ["simple"] * 4, 0.3), poles=16).solve()
    middle = (1 + np.exp(1j * math.radians(angle))) / 2
    got = solution.at(middle.real, middle.imag)
    assert got.w == pytest.approx(w, rel=1e-3)
    first, second = principal(got)
    # Morley's series for the smaller moment stopped 0.5 % short
    assert first == pytest.approx(m_1, abs=1e-4)
    assert second == pytest.approx(m_2, abs=1e-4)


def test_rhombus_on_two_inclined_supports():
    # Razzaque, Int. J. Num. Meth. Eng. 6 (1973) 333: .7945e-2 and .9589e-1 by finite differences
    solution = replace(rhombus(math.pi / 3, ["free", "simple"] * 2, 0.3), poles=16).solve()
    got = solution.at(0.75, math.sqrt(3) / 4)
    assert got.w == pytest.approx(0.007945, rel=6e-3)
    # normal to the supports, which stand at 60 degrees: n = (sin, -cos)
    c, s = math.cos(math.pi / 3), math.sin(math.pi / 3)
    normal = got.m_x * s**2 + got.m_y * c**2 - 2 * got.m_xy * s * c
    assert normal == pytest.approx(0.09589, rel=2e-3)
    finer = replace(solution.plate, poles=22).solve().at(0.75, math.sqrt(3) / 4)
    np.testing.assert_allclose(got.stack(), finer.stack(), rtol=1e-4, atol=1e-6)


@pytest.mark.parametrize(
    ("edges", "lines"),
    [
        (("free", "simple", "free", "simple"), (free, free)),
        (("clamped", "simple", "simple", "simple"), (clamped, simple)),
        (("clamped", "simple", "free", "simple"), (clamped, free)),
    ],
)
def test_polygons_against_levys_plates(edges, lines):
    b = 0.8
    corners = (0j, 1 + 0j, 1 + b * 1j, b * 1j)
    got = PolygonPlate(corners=corners, edges=edges, poisson=0.3, poles=14).solve()
    x, y = [0.5, 0.3, 0.7], [0.4, 0.1, 0.7]
    plate = LevyPlate(1.0, THIN, (lines[0](0.0), lines[1](b))).solve([Patch.uniform(1, b)])
    np.testing.assert_allclose(got.at(x, y).stack(), plate.at(x, y).stack(), rtol=1e-5, atol=1e-6)


def test_a_turned_clamped_rectangle():
    turn = np.exp(0.4j)
    corners = tuple(complex(z) for z in turn * np.array([0, 1, 1 + 0.7j, 0.7j]))
    got = PolygonPlate(corners=corners, edges=("clamped",) * 4, poisson=0.2, poles=14).solve()
    z = turn * (0.4 + 0.3j)
    want = clamped_rectangle(1.0, 0.7, 1.0, 0.2, [Patch.uniform(1, 0.7)]).at(0.4, 0.3)
    there = got.at(z.real, z.imag)
    assert there.w == pytest.approx(float(want.w), rel=1e-6)
    for one, other in zip(principal(there), principal(want), strict=True):
        assert one == pytest.approx(float(other), rel=1e-5)
    q = (there.q_x + 1j * there.q_y) / turn
    np.testing.assert_allclose([q.real, q.imag], [want.q_x, want.q_y], rtol=1e-5)


def test_polygons_that_are_refused():
    square = (0j, 1 + 0j, 1 + 1j, 1j)
    with pytest.raises(GeometryError, match="two free edges"):
        PolygonPlate(corners=square, edges=("free", "simple", "simple", "free"), poisson=0.3)
    with pytest.raises(GeometryError, match="counter-clockwise"):
        PolygonPlate(corners=square[::-1], edges=("simple",) * 4, poisson=0.3)
