"""Collapse multipliers between certified bounds: closed forms, and what holds of any slab."""

import sys
from dataclasses import replace

import numpy as np
import pytest
from numpy.polynomial.legendre import leggauss

from plate.arrays import Floats
from plate.errors import CollapseError, SupportError
from plate.geometry.curves import polyline
from plate.geometry.outline import outline_plan
from plate.geometry.plan import grid_plan
from plate.meshing.cell_sizes import uniform as evenly
from plate.meshing.free_mesh import quad_mesh
from plate.meshing.grid import grid_mesh
from plate.plastic import lower_bound as below
from plate.plastic.collapse import Collapse, collapse, safe_multiplier
from plate.plastic.slab import (
    PlasticBeam,
    PlasticLoad,
    PlasticSlab,
    PressedPatch,
    bars_tensor,
    uniform,
)
from plate.plastic.triangles import split_in_four
from plate.verification.plastic import UNIFORM, all_edges, isotropic, panel, wheel

pytest.importorskip("clarabel")

# Resistances are taken a millionth smaller; the rest is the solver's, whose tolerance is 1e-8.
EXACT = 5e-6
SIMPLE_ENDS = {"start": "simple", "end": "simple"}


def bracketed(found: Collapse, value: float, gap: float = EXACT) -> None:
    """The value lies between the bounds, by no more than their rounding beyond them."""
    assert found.lower <= value * (1.0 + 1e-7)
    assert found.upper >= value * (1.0 - 1e-7)
    assert found.gap <= gap


def slab(m: tuple[Floats, Floats], holds: dict, **more: object) -> PlasticSlab:  # type: ignore[type-arg]
    triangles = more.pop("triangles", None) or panel(1.0, 1.0, 0.25)
    return PlasticSlab(triangles=triangles, resistances=uniform(*m), holds=holds, **more)  # type: ignore[arg-type]


def test_square_holds_its_closed_form() -> None:
    bracketed(collapse(isotropic(panel(1.0, 1.0, 0.25), all_edges("simple")), UNIFORM), 24.0)


def test_clamped_square_is_between_its_bounds() -> None:
    """42.851 (Fox 1974, from memory)."""
    found = collapse(isotropic(panel(1.0, 1.0, 0.25), all_edges("clamped")), UNIFORM, gap=0.03)
    bracketed(found, 42.851, 0.03)


def test_a_quarter_with_axes_of_symmetry_is_the_whole() -> None:
    quarter = isotropic(
        panel(0.5, 0.5, 0.125),
        {"start": "clamped", "left": "clamped", "end": "guided", "right": "guided"},
    )
    bracketed(collapse(quarter, UNIFORM, gap=0.02), 42.851, 0.02)


def test_units_do_not_matter() -> None:
    """Newtons and millimetres give the same multiplier."""
    one = isotropic(panel(1.0, 1.0, 0.25), all_edges("simple"))
    corners = 1000.0 * wheel(0.4, 0.5, 0.2, 0.3).patches[0].corners
    big = isotropic(panel(5000.0, 5000.0, 1250.0), all_edges("simple"), m=1e5)
    wide = PlasticLoad(patches=[PressedPatch(5.0 * corners, 1.0 / (1000.0 * 1500.0))])
    first = collapse(one, wheel(0.4, 0.5, 0.2, 0.3), gap=0.05)
    second = collapse(big, wide, gap=0.05)
    assert second.lower == pytest.approx(1e5 * first.lower, rel=1e-5)
    assert second.upper == pytest.approx(1e5 * first.upper, rel=1e-5)


@pytest.mark.parametrize("mu", [0.25, 0.5])
def test_orthotropic_slab_is_an_isotropic_one_of_another_width(mu: float) -> None:
    """m_y = mu m_x on sides 1 and sqrt(mu): the load of the square (Nielsen's affine theorem)."""
    m = np.diag([1.0, mu])
    square = panel(1.0, 1.0, 0.25)
    affine = replace(square, points=square.points * [1.0, mu**0.5])
    found = collapse(slab((m, m), all_edges("simple"), triangles=affine), UNIFORM)
    bracketed(found, 24.0)


def test_skew_bars_are_those_of_a_turned_slab() -> None:
    """A strip under 30 degrees with its bars along itself: 8 m_p, as if it were not turned. Bars of
    two directions give the tensor of their sum."""
    turn = np.pi / 6.0
    rotation = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    straight = panel(1.0, 0.5, 0.25)
    turned = replace(straight, points=straight.points @ rotation)
    along = bars_tensor([1.0, 0.01], [turn, turn + np.pi / 2.0])
    found = collapse(slab((along, along), SIMPLE_ENDS, triangles=turned), UNIFORM)
    bracketed(found, 8.0)
    np.testing.assert_allclose(along @ rotation[0], rotation[0], rtol=1e-12)
    np.testing.assert_allclose(
        bars_tensor([2.0, 3.0], [0.0, np.pi / 2.0]), np.diag([2.0, 3.0]), atol=1e-15
    )


def test_strip_over_three_lines_by_hand() -> None:
    """Two spans of 1, m- = k m+: a hinge x off the outer end, q x (1 - x)/2 = m+ (1 + k x), which
    is least at x = (sqrt(1 + k) - 1)/k."""
    k = 0.5
    x = (np.sqrt(1.0 + k) - 1.0) / k
    value = 2.0 * (1.0 + k * x) / (x * (1.0 - x))
    triangles = split_in_four(
        grid_mesh(grid_plan([0.0, 1.0, 2.0], [0.0, 0.25]), order=1, size=0.125)
    )
    strip = slab(
        (np.eye(2), k * np.eye(2)),
        {"C1": "simple", "C2": "simple", "C3": "simple"},
        triangles=triangles,
    )
    found = collapse(strip, UNIFORM, gap=0.005)
    bracketed(found, value, 0.005)


@pytest.mark.parametrize("plastic", [0.1, 0.3])
def test_edge_beams_by_hand(plastic: float) -> None:
    """8 (m_p b + 2 M_p) = q b L2."""
    beams = [PlasticBeam(line=n, sagging=plastic, hogging=0.0) for n in ("left", "right")]
    strip = isotropic(panel(1.0, 0.5, 0.25), SIMPLE_ENDS, *beams)
    bracketed(collapse(strip, UNIFORM), 8.0 * (0.5 + 2.0 * plastic) / 0.5)


def test_built_in_beams_by_hand() -> None:
    """Strip and beams with their ends built in: 16 of both moments' mean."""
    beams = [
        PlasticBeam(line=n, sagging=0.2, hogging=0.2, built_in=(True, True))
        for n in ("left", "right")
    ]
    strip = isotropic(panel(1.0, 0.5, 0.25), {"start": "clamped", "end": "clamped"}, *beams)
    bracketed(collapse(strip, UNIFORM), 16.0 * (0.5 + 0.4) / 0.5)


def test_slab_on_beams_that_give_way() -> None:
    """A strip spans between two beams held at their ends: the weaker of slab and beams, by hand:
    8 m_p/b2, or both beams 8 M_p = q b L2/2."""
    for m, plastic in ((1.0, 0.05), (1.0, 5.0)):
        triangles = panel(1.0, 0.5, 0.125)
        corners = [(0.0, 0.0), (1.0, 0.0), (0.0, 0.5), (1.0, 0.5)]
        weak = bars_tensor([1e-3, m], [0.0, np.pi / 2.0])
        deck = slab(
            (weak, weak),
            {},
            triangles=triangles,
            points=corners,
            beams=[
                PlasticBeam(line=n, sagging=plastic, hogging=plastic) for n in ("left", "right")
            ],
        )
        found = collapse(deck, UNIFORM, gap=0.02)
        slab_alone, with_beams = 8.0 * m / 0.25, 8.0 * (2.0 * plastic + 1e-3 * 0.5) / 0.5
        bracketed(found, min(slab_alone, with_beams), 0.02)


def test_line_loads_and_dead_load_by_hand() -> None:
    """A strip, live 1 per m2, with a dead pressure 3 and line loads 0.5 on both edges: what is left
    of 8 m_p b."""
    strip = isotropic(panel(1.0, 0.5, 0.25), SIMPLE_ENDS)
    dead = PlasticLoad(pressure=3.0, lines={"left": 0.5, "right": 0.5})
    # an edge line bends the strip across besides, which it resists
    bracketed(collapse(strip, UNIFORM, dead), 8.0 - 3.0 - 2.0)
    with pytest.raises(CollapseError, match="dead load alone"):
        collapse(strip, UNIFORM, PlasticLoad(pressure=8.1))


def test_opening_is_weaker_and_its_edge_is_free() -> None:
    ring = polyline([(0, 0), (1, 0), (1, 1), (0, 1), (0, 0)])
    hole = polyline([(0.4, 0.4), (0.6, 0.4), (0.6, 0.6), (0.4, 0.6), (0.4, 0.4)])
    holds = dict.fromkeys(("E1", "E2", "E3", "E4"), "simple")
    whole = split_in_four(quad_mesh(outline_plan(ring), order=1, field=evenly(0.25)))
    holed = split_in_four(quad_mesh(outline_plan(ring, [hole]), order=1, field=evenly(0.25)))
    load = PlasticLoad(lines=dict.fromkeys(("E1",), 0.0), patches=wheel(0.2, 0.5, 0.1, 0.1).patches)
    both = [collapse(isotropic(mesh, holds), load, gap=0.1) for mesh in (whole, holed)]
    assert both[1].lower < both[0].upper
    # a beam across it is cut in two runs
    with_line = split_in_four(
        quad_mesh(
            outline_plan(ring, [hole], {"B": polyline([(0.0, 0.5), (1.0, 0.5)])}),
            order=1,
            field=evenly(0.25),
        )
    )
    beam = PlasticBeam(line="B", sagging=0.2, hogging=0.2)
    found = collapse(isotropic(with_line, holds, beam), load, gap=0.1)
    assert len(found.beams) == 2
    assert found.upper > both[1].lower


def smooth(x: Floats, y: Floats) -> Floats:
    """A deflection that is no polynomial, nothing on the sides of the unit square."""
    half, whole = np.sin(np.pi * y), np.sin(2.0 * np.pi * y)
    return np.asarray(np.sin(np.pi * x) * (np.exp(0.3 * x) * whole + half))


def test_moments_do_the_work_of_the_load_on_any_deflection() -> None:
    """Equilibrium by virtual work: the integral of m_ij k_ij is that of the load on a smooth
    deflection that knows nothing of the triangles, curvatures by differences."""
    load = wheel(0.43, 0.37, 0.2, 0.15)
    found = collapse(isotropic(panel(1.0, 1.0, 0.25), all_edges("simple")), load, gap=0.05)
    mesh = found.triangles
    s, weight = leggauss(8)
    s, weight = 0.5 * (s + 1.0), 0.5 * weight
    u = s[:, None] * np.ones(8)
    v = (1.0 - u) * s
    wuv = (weight[:, None] * weight * (1.0 - u)).ravel() * 2.0
    bary = np.stack([1.0 - u - v, u, v], axis=-1).reshape(-1, 3)
    points = np.einsum("qk,mki->mqi", bary, mesh.corners)
    # quadratic by its values at corners and middles of sides
    shape = np.stack(
        [bary[:, k] * (2.0 * bary[:, k] - 1.0) for k in range(3)]
        + [4.0 * bary[:, k] * bary[:, (k + 1) % 3] for k in range(3)],
        axis=-1,
    )
    m = np.einsum("qk,mki->mqi", shape, found.moments)
    x, y, h = points[..., 0], points[..., 1], 1e-3
    f = smooth

    # fourth-order differences
    def second(g: object) -> Floats:
        return (-g(2) + 16 * g(1) - 30 * g(0) + 16 * g(-1) - g(-2)) / (12.0 * h * h)  # type: ignore[operator]

    kxx = -second(lambda k: f(x + k * h, y))
    kyy = -second(lambda k: f(x, y + k * h))
    both = second(lambda k: f(x + k * h, y + k * h))
    kxy = -0.5 * (both + kxx + kyy)
    inner = np.einsum(
        "m,q,mq->", mesh.areas, wuv, m[..., 0] * kxx + m[..., 1] * kyy + 2.0 * m[..., 2] * kxy
    )
    a, b = 0.43 + 0.2 * (s - 0.5), 0.37 + 0.15 * (s - 0.5)
    outer = found.lower * np.einsum("i,j,ij->", weight, weight, f(a[:, None], b[None, :]))
    assert inner == pytest.approx(outer, rel=1e-7)


def test_more_steel_never_lowers() -> None:
    """Bounds of a slab with more bars in one direction are no lower, by more than the gap."""
    load = wheel(0.3, 0.1, 0.2, 0.2)
    holds = {"start": "simple", "end": "clamped"}
    before = None
    for m_y in (0.3, 0.6, 1.2):
        m = np.diag([1.0, m_y])
        found = collapse(slab((m, 0.7 * m), holds), load, gap=0.06)
        assert before is None or found.upper >= before.lower
        before = found


def test_a_mirrored_slab_carries_the_same() -> None:
    holds = {"start": "simple", "end": "clamped", "left": "simple"}
    turned = {"start": "clamped", "end": "simple", "left": "simple"}
    m = (bars_tensor([1.0, 0.5], [0.2, 1.7]), bars_tensor([0.6, 0.6], [0.2, 1.7]))
    mirror = np.diag([-1.0, 1.0])
    image = tuple(mirror @ one @ mirror for one in m)
    first = collapse(slab(m, holds), wheel(0.3, 0.6, 0.2, 0.1), gap=0.04)
    second = collapse(slab(image, turned), wheel(0.7, 0.6, 0.2, 0.1), gap=0.04)  # type: ignore[arg-type]
    assert first.lower <= second.upper
    assert second.lower <= first.upper


def test_the_parts_of_the_gap_say_where_to_halve() -> None:
    """Fewer triangles than evenly halved ones for the same gap."""
    free = isotropic(panel(3.0, 4.5, 0.75), SIMPLE_ENDS)
    load = wheel(1.5, 0.2, 0.4, 0.4)
    adapted = collapse(free, load, gap=0.03)
    even = collapse(isotropic(panel(3.0, 4.5, 0.25), SIMPLE_ENDS), load, most=1)
    assert adapted.gap <= 0.03
    assert len(adapted.triangles.cells) < 0.5 * len(even.triangles.cells)
    assert adapted.share.sum() == pytest.approx(1.0, rel=1e-12)
    assert np.abs(adapted.deflections).max() == 1.0
    # sagging below the wheel, hogging nowhere along the free edge beside it
    assert adapted.deflections.max() == 1.0
    assert safe_multiplier(free, load) <= adapted.upper


def test_what_has_no_resistance_above_is_floored_and_says_so() -> None:
    found = collapse(slab((np.eye(2), np.zeros((2, 2))), all_edges("simple")), UNIFORM, gap=0.05)
    assert found.floor == pytest.approx(1e-3)
    # less than 24, the closed form with m- = m+, since its corners hog
    assert found.upper < 24.0
    assert found.lower > 20.0
    assert collapse(isotropic(panel(1.0, 1.0, 0.5), all_edges("simple")), UNIFORM).floor == 0.0


@pytest.mark.parametrize("factor", [1.01, 1.0 + 1e-3])
def test_moments_beyond_the_bars_are_refused(
    monkeypatch: pytest.MonkeyPatch, factor: float
) -> None:
    """A solver that tells of more than it has found is not believed."""
    honest = below.least
    monkeypatch.setattr(below, "least", lambda cost, blocks: factor * honest(cost, blocks))
    strip = isotropic(panel(1.0, 0.5, 0.25), SIMPLE_ENDS)
    with pytest.raises(CollapseError, match="not certified"):
        collapse(strip, UNIFORM)


def test_moments_off_equilibrium_are_brought_back(monkeypatch: pytest.MonkeyPatch) -> None:
    """What the solver leaves of the equations is taken out, and looked at again."""
    honest = below.least
    noise = np.random.default_rng(1)

    def rough(cost: Floats, blocks: list) -> Floats:  # type: ignore[type-arg]
        x = honest(cost, blocks)
        return x + 1e-9 * noise.standard_normal(len(x))

    monkeypatch.setattr(below, "least", rough)
    bracketed(collapse(isotropic(panel(1.0, 1.0, 0.25), all_edges("simple")), UNIFORM), 24.0)


def test_without_the_package_it_says_what_is_missing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "clarabel", None)
    with pytest.raises(CollapseError, match="clarabel"):
        collapse(isotropic(panel(1.0, 0.5, 0.25), SIMPLE_ENDS), UNIFORM)


def test_what_cannot_be_is_refused() -> None:
    strip = isotropic(panel(1.0, 0.5, 0.25), SIMPLE_ENDS)
    with pytest.raises(CollapseError, match="no load"):
        collapse(strip, PlasticLoad())
    none = slab((np.zeros((2, 2)), np.zeros((2, 2))), SIMPLE_ENDS)
    with pytest.raises(CollapseError, match="no bars"):
        collapse(none, UNIFORM)
    with pytest.raises(CollapseError, match="negative"):
        collapse(slab((np.diag([1.0, -0.2]), np.eye(2)), SIMPLE_ENDS), UNIFORM)
    bent = replace(
        strip,
        triangles=replace(
            strip.triangles,
            lines={
                **strip.triangles.lines,
                "B": np.concatenate(
                    [strip.triangles.lines["start"], strip.triangles.lines["left"]]
                ),
            },
        ),
        beams=[PlasticBeam(line="B", sagging=1.0, hogging=1.0)],
    )
    with pytest.raises(SupportError, match="beam on B is not straight"):
        collapse(bent, UNIFORM)
