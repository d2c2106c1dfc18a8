"""Whole decks: equilibrium, reciprocity, mirrors, beams tied and untied, limits, turned axes."""

import math
from dataclasses import replace

import numpy as np
import pytest

from plate.arrays import Floats
from plate.conventions import N_FIELDS
from plate.elements.beam import BeamSection
from plate.elements.section import Section, Zone
from plate.exact.circular import RingPlate
from plate.exact.common import Patch, Rigidity
from plate.exact.levy import LevyPlate
from plate.exact.lines import Line
from plate.exact.thick import ThickPlate
from plate.geometry.elementary import rectangle_corners
from plate.geometry.plan import grid_plan
from plate.interpolation import cell_nodes, shape
from plate.loads.loads import line_load, pressure
from plate.meshing.grid import Band, Grading, corner_width, grid_mesh
from plate.meshing.mesh import Mesh
from plate.model.model import PlateModel
from plate.model.supports import BeamLine, Hold, LineSupport, PointSupport
from plate.results.fields import FieldRecovery
from tests.helpers import (
    HARD,
    SOFT,
    edge_supports,
    patch,
    rectangle,
    result,
    results,
    shear_rigidity,
    solved,
    unit_section,
)

W, M_X, M_Y, M_XY, Q_X, Q_Y = range(6)
BOTH_ENDS = (Hold("L1"), Hold("L2"))


# --- equilibrium and reciprocity -----------------------------------------------------------


@pytest.mark.parametrize("order", [2, 3, 4])
@pytest.mark.parametrize("t", [0.3, 1e-1, 1e-2, 1e-3, 1e-4, 1e-5])
def test_reactions_hold_the_load(t: float, order: int) -> None:
    """Residuals of the elements on the supports against the load, in panels of 1: within 3e-9
    down to t/a = 1e-3, which is rounding (by the kernels of one kind of processor below 1e-9, of
    another 1.03e-9), 1e-6 at 1e-4, and what rounding leaves at 1e-5 (measured 1.2e-6)."""
    mesh = grid_mesh(grid_plan([0.0, 1.0, 2.0], [0.0, 1.0], skew=0.3), order=order, size=0.25)
    beams = (BeamLine(line="C2", section=BeamSection(3.0, 0.2), holds=BOTH_ENDS),)
    supports = (LineSupport(line="C1", kind="rigid"), LineSupport(line="C3", kind="clamped"))
    model = PlateModel(mesh=mesh, section=unit_section(t), supports=supports, beams=beams)
    stiffness, U, F = solved(model, pressure(mesh, 1.0), patch(mesh, 0.83, 0.41, 0.13, 0.21, 5.0))
    total = sum(stiffness.reactions(U, F).values())
    tolerance = 3e-9 if t >= 1e-3 else 1e-6 if t >= 1e-4 else 3e-6
    np.testing.assert_allclose(total, F.sum(axis=0), rtol=tolerance)


def integrated_w(model: PlateModel, u: Floats, place: tuple[float, float, float, float]) -> float:
    """The mean of the recovered w over a patch on a straight mesh, by its own quadrature."""
    x, y, a, b = place
    corners = model.mesh.corners
    pieces = []
    for centre, side, axis in ((x, a, 0), (y, b, 1)):
        breaks = np.unique(corners[..., axis].round(12))
        low, high = centre - side / 2, centre + side / 2
        inside = breaks[(breaks > low) & (breaks < high)]
        pieces.append(np.concatenate([[low], inside, [high]]))
    gauss_x, gauss_w = np.polynomial.legendre.leggauss(5)
    total = 0.0
    for x0, x1 in zip(pieces[0], pieces[0][1:], strict=False):
        for y0, y1 in zip(pieces[1], pieces[1][1:], strict=False):
            px = 0.5 * (x0 + x1) + 0.5 * (x1 - x0) * gauss_x
            py = 0.5 * (y0 + y1) + 0.5 * (y1 - y0) * gauss_x
            points = [(i, k) for i in px for k in py]
            w = results(model, u, points)[:, W].reshape(5, 5)
            total += 0.25 * (x1 - x0) * (y1 - y0) * gauss_w @ w @ gauss_w
    return total / (a * b)


@pytest.mark.parametrize("t", [0.2, 1e-3])
def test_reciprocity_of_two_wheel_positions(t: float) -> None:
    """Maxwell and Betti: w under one wheel from the other, whichever stands. The recovered w is
    integrated, which the right-hand sides know nothing of."""
    mesh = grid_mesh(grid_plan([0.0, 2.0, 4.5], [-2.0, 2.0]), order=3, size=0.6)
    beams = tuple(
        BeamLine(line=c, section=BeamSection(8.0, 0.5), holds=BOTH_ENDS) for c in ("C1", "C2", "C3")
    )
    model = PlateModel(mesh=mesh, section=unit_section(t), beams=beams)
    first, second = (1.37, 0.46, 0.35, 0.61), (3.2, -1.24, 0.23, 0.55)
    _, U, _ = solved(model, patch(mesh, *first), patch(mesh, *second))
    one = integrated_w(model, U[:, 0], second)
    other = integrated_w(model, U[:, 1], first)
    # Residuals lose (h/t)^2 to the shear's stiffness, in sums of some hundred terms.
    lost = 100 * np.finfo(float).eps * (0.6 / t) ** 2
    assert one == pytest.approx(other, rel=max(1e-9, lost))
    assert abs(one) > 1e-3


@pytest.mark.parametrize("axis", ["along", "across"])
def test_a_mirrored_deck_gives_the_mirrored_fields(axis: str) -> None:
    """Unequal bays, supports and overhangs; the field of extremes over several loads as well."""
    stations, offsets = np.array([0.0, 2.0, 4.5]), np.array([-2.0, 0.5, 2.0])
    overhang = {"start": 0.4, "end": 0.1, "left": 0.3, "right": 0.0}
    loads = [(1.1, 0.4, 0.5, 0.3), (3.0, -1.0, 0.4, 0.6), (-0.2, 1.7, 0.3, 0.4)]
    names = {"C1": "C1", "C2": "C2", "C3": "C3", "L1": "L1", "L2": "L2", "L3": "L3"}
    if axis == "along":
        sign, names = np.array([-1.0, 1.0]), names | {"C1": "C3", "C3": "C1"}
        mirrored = grid_plan(
            -stations[::-1], offsets, overhang=overhang | {"start": 0.1, "end": 0.4}
        )
        parity = np.array([1, 1, 1, -1, -1, 1])
    else:
        sign, names = np.array([1.0, -1.0]), names | {"L1": "L3", "L3": "L1"}
        mirrored = grid_plan(
            stations, -offsets[::-1], overhang=overhang | {"left": 0.0, "right": 0.3}
        )
        parity = np.array([1, 1, 1, -1, 1, -1])
    fields = []
    for k, plan in enumerate((grid_plan(stations, offsets, overhang=overhang), mirrored)):
        name = names if k else {n: n for n in names}
        mesh = grid_mesh(plan, order=3, size=0.7)
        supports = (
            LineSupport(line=name["C1"], kind="rigid", hard=True),
            LineSupport(line=name["L3"], kind="spring", k=4.0, k_rot=1.0),
        )
        holds = (Hold(name["L1"], k=30.0), Hold(name["L3"], stub=0.3))
        model = PlateModel(
            mesh=mesh,
            section=unit_section(0.2),
            supports=supports,
            beams=(BeamLine(line=name["C3"], section=BeamSection(5.0, 2.0), holds=holds),),
        )
        flip = sign if k else np.ones(2)
        vectors = [patch(mesh, x * flip[0], y * flip[1], a, b) for x, y, a, b in loads]
        _, U, _ = solved(model, *vectors)
        points = np.array([[0.3, 0.2], [1.9, -1.1], [4.0, 1.6], [-0.3, 1.9], [2.7, 0.4]]) * flip
        fields.append(np.stack([results(model, u, points) for u in U.T]))
    scale = np.abs(fields[0]).max(axis=(0, 1))
    difference = np.abs(fields[0] - parity * fields[1]) / scale
    assert difference.max() < 1e-9
    extremes = np.abs(fields[0].max(axis=0) - (parity * fields[1]).max(axis=0)) / scale
    assert extremes.max() < 1e-9


# --- beams -------------------------------------------------------------------------------


def girder_deck(t: float, section: BeamSection) -> tuple[PlateModel, ThickPlate]:
    """Hard edges at x = 0, 4; girders along y = 0, 1, 2, 3; D = 1; the mesh is fine round the
    middle. With its exact twin."""
    mesh = grid_mesh(
        grid_plan([0.0, 4.0], [0.0, 1.0, 2.0, 3.0]),
        order=3,
        size=0.3,
        grading=Grading({}, {f"L{k}": 0.1 for k in (1, 2, 3, 4)}),
        bands_u=[Band(1.7, 2.3, 0.07)],
        bands_y=[Band(1.2, 1.8, 0.07)],
    )
    supports = tuple(LineSupport(line=c, kind="rigid", hard=True) for c in ("C1", "C2"))
    beams = tuple(BeamLine(line=f"L{k}", section=section) for k in (1, 2, 3, 4))
    slab = unit_section(t)
    model = PlateModel(mesh=mesh, section=slab, supports=supports, beams=beams)
    ga = math.inf if section.GA is None else section.GA
    lines = tuple(Line(y=float(y), ei=section.EI, gj=section.GJ, ga=ga) for y in range(4))
    plate = ThickPlate(
        a=4.0, d=1.0, poisson=0.2, shear_rigidity=shear_rigidity(slab), lines=lines, modes=400
    )
    return model, plate


PLACE = (2.0, 1.5, 0.4, 0.4)


@pytest.mark.parametrize("ga", [None, 60.0])
@pytest.mark.parametrize("gj", [0.0, 2.0])
def test_girders_against_the_exact_thick_plate(gj: float, ga: float | None) -> None:
    """Bending, torsion and shear of the beams, by Lévy's method for Mindlin plates: the slab's
    moments at the load, over a girder and along it, and the girder's deflection."""
    model, plate = girder_deck(0.2, BeamSection(20.0, gj, ga))
    _, U, _ = solved(model, patch(model.mesh, *PLACE))
    exact = plate.solve([Patch(*PLACE)])
    at = [(2.0, 1.5), (1.6, 1.2), (2.4, 2.6), (2.0, 1.0), (2.0, 0.0)]
    found = results(model, U[:, 0], at)
    wanted = exact.at(*np.array(at).T).stack().T
    if gj:  # over a torsional line m_y jumps: the series takes the farther side
        found, wanted = found[:3], wanted[:3]
    scale = np.abs(wanted).max(axis=0)
    np.testing.assert_allclose(
        found[:, :4] / scale[:4], wanted[:, :4] / scale[:4], rtol=0, atol=5e-3
    )
    # shears off the lines and off the patch's edge
    np.testing.assert_allclose(
        found[2, 4:] / scale[4:], wanted[2, 4:] / scale[4:], rtol=0, atol=1e-2
    )


@pytest.mark.parametrize("ga", [None, 60.0])
@pytest.mark.parametrize("t", [0.2, 0.1])
def test_the_moment_over_a_girder_beside_the_load(t: float, ga: float | None) -> None:
    """A beam is tied to the slope of the slab's normal whether its web strains or not. One that
    hangs on the slab's shear layer instead deflects a third more here, and the moment over it is
    wrong by more than a factor of two."""
    model, plate = girder_deck(t, BeamSection(20.0, 0.0, ga))
    _, U, _ = solved(model, patch(model.mesh, *PLACE))
    exact = plate.solve([Patch(*PLACE)]).at(2.0, 1.0)
    found = result(model, U[:, 0], 2.0, 1.0)[[M_Y, W]]
    np.testing.assert_allclose(found, [float(exact.m_y), float(exact.w)], rtol=2e-3)


def test_stiff_beams_are_hard_lines() -> None:
    """EI to infinity: the beam holds w and, tied to its slope, the rotation along it as well. Soft
    lines differ from it within a thickness of the line only."""
    plan = grid_plan([0.0, 1.0, 2.0], [0.0, 1.0])
    t = 0.1
    mesh = grid_mesh(plan, order=3, size=0.2, grading=Grading({"C2": t / 2}, {}))
    ends = (LineSupport(line="C1", kind="rigid"), LineSupport(line="C3", kind="rigid"))
    F = patch(mesh, 0.5, 0.5, 0.3, 0.3)
    at = [(0.5, 0.5), (1.0, 0.5), (1.5, 0.5), (0.3, 0.8)]

    def found(model: PlateModel) -> Floats:
        _, U, _ = solved(model, F)
        return results(model, U[:, 0], at)

    base = PlateModel(mesh=mesh, section=unit_section(t), supports=ends)
    hard = found(replace(base, supports=(*ends, LineSupport(line="C2", kind="rigid", hard=True))))
    soft = found(replace(base, supports=(*ends, LineSupport(line="C2", kind="rigid"))))
    scale = np.abs(hard).max(axis=0)
    differences = []
    for EI in (1e2, 1e4, 1e6):
        beam = BeamLine(line="C2", section=BeamSection(EI, 0.0), holds=BOTH_ENDS)
        differences.append((np.abs(found(replace(base, beams=(beam,))) - hard) / scale).max())
    assert differences[0] > differences[1] > differences[2]
    assert differences[2] < 1e-4
    # soft against hard, at points more than a thickness off the line and on it
    assert (np.abs(soft - hard) / scale)[[0, 2, 3], :4].max() < 1e-2
    assert (np.abs(soft - hard) / scale)[:, :4].max() < 3e-2


@pytest.mark.parametrize("GA", [None, 40.0])
def test_a_beam_that_carries_alone(GA: float | None) -> None:
    """A strip of next to no rigidity between two Timoshenko beams under a line load:
    5 q L^4 / 384 EI + q L^2 / 8 GA."""
    L, EI, q = 4.0, 9.0, 1.0
    mesh = grid_mesh(grid_plan([0.0, L], [0.0, 0.5]), order=3, size=0.5)
    slab = Section(thickness=0.01, E=1e-3, poisson=0.2)
    holds = (Hold("C1"), Hold("C2"))
    beams = tuple(
        BeamLine(line=n, section=BeamSection(EI, 1.0, GA), holds=holds) for n in ("L1", "L2")
    )
    model = PlateModel(mesh=mesh, section=slab, beams=beams)
    load = sum(line_load(mesh, np.array([[0.0, y], [L, y]]), q) for y in (0.0, 0.5))
    stiffness, U, F = solved(model, np.asarray(load))
    shear = 0.0 if GA is None else q * L**2 / (8 * GA)
    w = result(model, U[:, 0], L / 2, 0.0)[W]
    assert w == pytest.approx(5 * q * L**4 / (384 * EI) + shear, rel=1e-5)
    reactions = stiffness.reactions(U, F)
    for name in ("L1@C1", "L1@C2", "L2@C1", "L2@C2"):
        assert reactions[name][0] == pytest.approx(q * L / 2, rel=1e-9)


def test_a_curved_beam_in_the_deck() -> None:
    """A bow girder along L1 of a curved deck of next to no rigidity, clamped at C1, loaded at its
    tip: P R^3 [(a/2 - sin 2a / 4) / EI + (3a/2 - 2 sin a + sin 2a / 4) / GJ]."""
    R, a, EI, GJ = 3.0, math.pi / 2, 7.0, 2.0
    mesh = grid_mesh(grid_plan([0.0, R * a], [0.0, 0.3], radius=R), order=3, size=0.5)
    clamp = (LineSupport(line="C1", kind="clamped"),)
    model = PlateModel(
        mesh=mesh,
        section=Section(thickness=0.01, E=1e-3, poisson=0.2),
        supports=clamp,
        beams=(BeamLine(line="L1", section=BeamSection(EI, GJ)),),
    )
    tip, _ = model.crossing("L1", "C2")
    F = np.zeros(model.n_dof)
    F[N_FIELDS * tip] = 1.0
    _, U, _ = solved(model, F)
    bend, twist = a / 2 - math.sin(2 * a) / 4, 1.5 * a - 2 * math.sin(a) + math.sin(2 * a) / 4
    assert U[N_FIELDS * tip, 0] == pytest.approx(R**3 * (bend / EI + twist / GJ), rel=1e-5)


@pytest.mark.parametrize(
    ("k", "k_rot"), [(math.inf, 0.0), (math.inf, 30.0), (50.0, 0.0), (50.0, 30.0)]
)
def test_stubs_are_beams_that_run_on(k: float, k_rot: float) -> None:
    """Against the same beam on a mesh that goes on as far, over a slab a hundredth as thick."""
    section, stub = BeamSection(10.0, 0.5), 0.5
    at = [(0.0, 1.9), (0.7, 0.3), (2.0, -1.0)]
    plan = grid_plan([0.0, 2.0], [-2.0, 2.0])
    mesh = grid_mesh(plan, order=3, size=0.5)
    holds = tuple(Hold(n, k, k_rot, stub) for n in ("L1", "L2"))
    model = PlateModel(
        mesh=mesh,
        section=unit_section(0.2),
        beams=tuple(BeamLine(line=c, section=section, holds=holds) for c in ("C1", "C2")),
    )
    stiffness, U, F = solved(model, patch(mesh, 0.6, 0.5, 0.4, 0.4))

    longer = grid_plan([0.0, 2.0], [-2.0, 2.0], overhang={"left": stub, "right": stub})
    mesh2 = grid_mesh(longer, order=3, size=0.5)
    zones = tuple(
        Zone(rectangle_corners((1.0, s * (2.0 + stub / 2)), (2.0, stub)), 0.002) for s in (-1, 1)
    )
    holds2 = tuple(Hold(n, k, k_rot) for n in ("left", "right"))
    slab = replace(unit_section(0.2), zones=zones)
    model2 = PlateModel(
        mesh=mesh2,
        section=slab,
        beams=tuple(
            BeamLine(line=f"{c}:full", section=section, holds=holds2) for c in ("C1", "C2")
        ),
    )
    stiffness2, U2, F2 = solved(model2, patch(mesh2, 0.6, 0.5, 0.4, 0.4))
    first, second = results(model, U[:, 0], at), results(model2, U2[:, 0], at)
    np.testing.assert_allclose(
        first[:, :4], second[:, :4], rtol=0, atol=2e-4 * np.abs(second[:, :4]).max()
    )
    one = {
        n.replace("L1", "left").replace("L2", "right"): v[0]
        for n, v in stiffness.reactions(U, F).items()
    }
    two = {n: v[0] for n, v in stiffness2.reactions(U2, F2).items()}
    assert set(one) == set(two)
    for name, value in one.items():
        assert value == pytest.approx(two[name], abs=2e-4)


# --- springs and guided edges ------------------------------------------------------------


def test_line_springs_against_levy() -> None:
    """Edges y on springs with rotation, x edges simple, thin; and the same, thick."""
    k, k_rot, place = 30.0, 4.0, (0.4, 0.35, 0.3, 0.3)
    edges = {"start": ("rigid", True), "end": ("rigid", True)}
    springs = tuple(LineSupport(line=e, kind="spring", k=k, k_rot=k_rot) for e in ("left", "right"))
    lines = tuple(Line(y=y, spring=k, rotational=k_rot) for y in (0.0, 1.0))
    at = [(0.5, 0.5), (0.5, 0.0), (0.3, 0.8)]
    for section in (unit_section(0.1, 0.3, thin_span=1.0), unit_section(0.15, 0.3)):
        grading = Grading({}, {"left": 0.04, "right": 0.04})
        model = rectangle(1.0, 1.0, section, edges, order=4, size=0.1, grading=grading)
        model = replace(model, supports=(*model.supports, *springs))
        stiffness, U, F = solved(model, patch(model.mesh, *place))
        if section.thin:
            series = LevyPlate(1.0, Rigidity.isotropic(1.0, 0.3), lines, 400).solve([Patch(*place)])
        else:
            S = shear_rigidity(section)
            series = ThickPlate(
                a=1.0, d=1.0, poisson=0.3, shear_rigidity=S, lines=lines, modes=400
            ).solve([Patch(*place)])
        exact = series.at(*np.array(at).T).stack().T
        found = results(model, U[:, 0], at)
        scale = np.abs(exact).max(axis=0)
        np.testing.assert_allclose(
            found[:, :4] / scale[:4], exact[:, :4] / scale[:4], rtol=0, atol=2e-3
        )
        total = sum(v[0] for v in stiffness.reactions(U, F).values())
        assert total == pytest.approx(1.0, rel=1e-9)


@pytest.mark.parametrize("theory", ["thick", "thin"])
def test_a_guided_edge_is_a_line_of_symmetry(theory: str) -> None:
    """Half a symmetric deck on a guided edge (k = 0, stiff in rotation) is the whole deck, read on
    the line of symmetry as on an edge."""
    section = unit_section(0.2, thin_span=2.0 if theory == "thin" else None)
    values = []
    for stations in ([0.0, 2.0], [0.0, 4.0]):
        mesh = grid_mesh(grid_plan(stations, [-1.0, 1.0]), order=3, size=0.4)
        supports = [LineSupport(line="C1", kind="clamped"), LineSupport(line="L1", kind="rigid")]
        loads = patch(mesh, 1.3, 0.3, 0.4, 0.6)
        if stations[-1] == 2.0:
            supports.append(LineSupport(line="C2", kind="spring", k=0.0, k_rot=1e7))
        else:
            supports.append(LineSupport(line="C2", kind="clamped"))
            loads = loads + patch(mesh, 2.7, 0.3, 0.4, 0.6)
        ends = mesh.edges[0]
        symmetric = ends[(np.abs(mesh.plan[ends, 0] - 2.0) < 1e-9).all(axis=1)]
        model = PlateModel(mesh=mesh, section=section, supports=tuple(supports), creases=symmetric)
        _, U, _ = solved(model, loads)
        values.append(results(model, U[:, 0], [(1.0, 0.3), (2.0, 0.5), (0.2, -0.8), (2.0, 1.0)]))
    # m_xy vanishes on the line of symmetry, and naturally, not exactly, on the guided edge
    scale = np.abs(values[1][:, M_X]).max()
    np.testing.assert_allclose(values[0][:, :3], values[1][:, :3], rtol=0, atol=1e-5 * scale)
    np.testing.assert_allclose(values[0][:, M_XY], values[1][:, M_XY], rtol=0, atol=2e-3 * scale)


def test_point_springs_share_by_stiffness() -> None:
    """A nearly rigid slab on four springs at the corners of a square: w and shares by statics."""
    mesh = grid_mesh(grid_plan([0.0, 2.0], [0.0, 2.0]), order=2, size=0.5)
    at = [(0.2, 0.2), (1.8, 0.2), (1.8, 1.8), (0.2, 1.8)]
    k = np.array([1.0, 2.0, 3.0, 4.0]) * 1e-5
    points = tuple(
        PointSupport(f"P{i}", p, 0.2, s) for i, (p, s) in enumerate(zip(at, k, strict=True))
    )
    model = PlateModel(mesh=mesh, section=unit_section(0.2), points=points)
    stiffness, U, F = solved(model, patch(mesh, 0.8, 1.3, 0.3, 0.3))
    A = np.column_stack([np.ones(4), np.array(at)])
    motion = np.linalg.solve(A.T @ (k[:, None] * A), np.array([1.0, 0.8, 1.3]))
    found = [stiffness.reactions(U, F)[p.name][0] for p in points]
    np.testing.assert_allclose(found, k * (A @ motion), rtol=1e-4)


# --- axes askew --------------------------------------------------------------------------


@pytest.mark.parametrize("edges", [HARD, SOFT], ids=["hard", "soft"])
def test_a_turned_deck_is_the_same_deck(edges: dict[str, tuple[str, bool]]) -> None:
    """The mesh turned by 35 degrees: supports askew to the axes, moments turned with them. Cells
    are read as they are: what is read along their directions does not turn with the axes."""
    angle = math.radians(35.0)
    R = np.array([[math.cos(angle), math.sin(angle)], [-math.sin(angle), math.cos(angle)]])
    beams = (BeamLine(line="C2", section=BeamSection(4.0, 2.0), holds=BOTH_ENDS),)
    mesh = grid_mesh(grid_plan([0.0, 1.0, 2.5], [0.0, 1.5]), order=3, size=0.4)
    turned = replace(mesh, plan=mesh.plan @ R)
    fields = []
    for m in (mesh, turned):
        model = PlateModel(
            mesh=m,
            section=unit_section(0.15),
            supports=edge_supports(edges),
            beams=beams,
            creases=m.edges[0],
        )
        stiffness, U, F = solved(model, pressure(m, 1.0))
        fields.append(FieldRecovery(model).fields(U)[:, :, 0])
        fields.append(np.array([v[0] for v in stiffness.reactions(U, F).values()]))
    first, second = fields[0], fields[2]
    tensor = np.array([[first[1], first[3]], [first[3], first[2]]])
    back = np.einsum("ia,ijn,jb->abn", R, tensor, R)
    exact = np.stack([first[0], back[0, 0], back[1, 1], back[0, 1], *(R.T @ first[4:])])
    np.testing.assert_allclose(second, exact, rtol=0, atol=1e-9 * np.abs(exact).max())
    np.testing.assert_allclose(fields[1], fields[3], rtol=0, atol=1e-9)


def test_hard_supports_of_a_thick_skew_plate() -> None:
    """Marcus: on any polygon with hard simple supports moments and shears are those of the thin
    plate, and w grows by (m_x + m_y) / (1 + nu) kappa G t. A rhombus of 60 degrees (Morley 1963,
    recomputed): w .002560099, moments .0425341 and .0332913 of the middle."""
    angle = math.radians(60.0)
    plan = grid_plan([0.0, 1.0], [0.0, math.sin(angle)], skew=math.pi / 2 - angle)
    fine = corner_width(0.15)
    grading = Grading({"C1": fine, "C2": fine}, {"L1": fine, "L2": fine})
    mesh = grid_mesh(plan, order=3, size=0.15, grading=grading)
    section = unit_section(0.1, 0.3)
    model = PlateModel(mesh=mesh, section=section, supports=edge_supports(HARD))
    _, U, _ = solved(model, pressure(mesh, 1.0))
    w, mx, my, mxy, _, _ = result(
        model, U[:, 0], 0.5 * (1 + math.cos(angle)), 0.5 * math.sin(angle)
    )
    radius = math.hypot(0.5 * (mx - my), mxy)
    found = [w, 0.5 * (mx + my) + radius, 0.5 * (mx + my) - radius]
    thick = 0.002560099 + (0.0425341 + 0.0332913) / (1.3 * shear_rigidity(section))
    np.testing.assert_allclose(found, [thick, 0.0425341, 0.0332913], rtol=3e-3)
    # the shear deflection is a tenth of w: without it the test would tell
    assert thick > 1.05 * 0.002560099


def test_hard_supports_of_a_thick_curved_deck() -> None:
    """A sector cut from a hard ring at guided ends that are radial: the axisymmetric ring, hard or
    soft alike, while a sector on hard lines all round turns back into its mirror image."""
    hole, S = 0.5, shear_rigidity(unit_section(0.1, 0.3))
    plan = grid_plan([0.0, 0.75], [-0.25, 0.25], radius=0.75)
    mesh = grid_mesh(plan, order=4, size=0.1)
    guided = tuple(LineSupport(line=c, kind="spring", k=0.0, k_rot=1e8) for c in ("C1", "C2"))
    ring = RingPlate(
        outer=1.0,
        d=1.0,
        poisson=0.3,
        edge="simple",
        inner=hole,
        inner_edge="simple",
        shear_rigidity=S,
    )
    w, m_r, m_t, q_r = ring.at([0.75, 0.6])
    for hard in (True, False):
        lines = tuple(LineSupport(line=n, kind="rigid", hard=hard) for n in ("L1", "L2"))
        model = PlateModel(mesh=mesh, section=unit_section(0.1, 0.3), supports=(*guided, *lines))
        _, U, _ = solved(model, pressure(mesh, 1.0))
        found = results(model, U[:, 0], [(0.3, 0.0), (0.3, 0.15)])
        np.testing.assert_allclose(found[:, W], w, rtol=1e-3)
        np.testing.assert_allclose(found[:, M_X], m_t, rtol=0, atol=1e-3 * np.abs(m_r).max())
        np.testing.assert_allclose(found[:, M_Y], m_r, rtol=0, atol=1e-3 * np.abs(m_r).max())
        np.testing.assert_allclose(found[:, Q_Y], -q_r, rtol=5e-3, atol=1e-3)
    edges = edge_supports(HARD)
    model = PlateModel(mesh=mesh, section=unit_section(0.1, 0.3), supports=edges)
    s, y, a, b = 0.3, 0.06, 0.2, 0.1
    _, U, _ = solved(model, patch(mesh, s, y, a, b), patch(mesh, 0.75 - s, y, a, b))
    one = results(model, U[:, 0], [(0.2, 0.1), (0.5, -0.1)])
    other = results(model, U[:, 1], [(0.55, 0.1), (0.25, -0.1)])
    np.testing.assert_allclose(one, other * [1, 1, 1, -1, -1, 1], rtol=0, atol=1e-9)


# --- any mesh ----------------------------------------------------------------------------


def disk(order: int, n: int) -> Mesh:
    """A disk of radius 1: a square of n x n cells within four blocks with curved outer sides."""
    half = 0.5 / math.sqrt(2.0)
    corners = half * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    xi = 0.5 * (1.0 + cell_nodes(order))
    cells: list[Floats] = []
    for i in range(n):
        for k in range(n):
            cells.append(half * (2.0 * (np.array([i, k]) + xi) / n - 1.0))
    for side in range(4):
        a, b = corners[side], corners[(side + 1) % 4]
        start = math.atan2(a[1], a[0])
        for i in range(n):
            for k in range(n):
                along, out = (i + xi[:, 0]) / n, (k + xi[:, 1]) / n
                inner = a + along[:, None] * (b - a)
                phi = start + along * math.pi / 2
                arc = np.column_stack([np.cos(phi), np.sin(phi)])
                # xi along the side from its second corner, so that x turns into y
                points = inner + out[:, None] * (arc - inner)
                cells.append(points.reshape(order + 1, order + 1, 2)[::-1].reshape(-1, 2))
    points, inverse = np.unique(np.concatenate(cells).round(10), axis=0, return_inverse=True)
    number = inverse.reshape(len(cells), -1)
    local = np.arange((order + 1) ** 2).reshape(order + 1, order + 1)
    rim = [
        number[n * n + side * n * n + i * n + n - 1][local[::-1, -1]]
        for side in range(4)
        for i in range(n)
    ]
    straight = grid_plan([0.0, 1.0], [0.0, 1.0]).alignment
    return Mesh(
        order=order, alignment=straight, plan=points, cells=number, lines={"rim": np.array(rim)}
    )


@pytest.mark.parametrize(("kind", "edge"), [("rigid", "simple"), ("clamped", "clamped")])
@pytest.mark.parametrize("t", [0.1, 0.2])
def test_circular_plate(t: float, kind: str, edge: str) -> None:
    """Radius 1, uniform load, nu = 0.3: w of the middle of a thin plate, simple (5 + nu) / (64 (1 +
    nu)) and clamped 1/64 of q/D (Timoshenko and Woinowsky-Krieger art. 16, from memory), and that
    of the shear, q / (4 kappa G t)."""
    thin = {"simple": 5.3 / (64.0 * 1.3), "clamped": 1.0 / 64.0}[edge]
    exact = thin + 1.0 / (4.0 * shear_rigidity(unit_section(t, 0.3)))
    mesh = disk(4, 3)
    assert mesh.area() == pytest.approx(math.pi, rel=1e-7)
    section = unit_section(t, 0.3)
    model = PlateModel(mesh=mesh, section=section, supports=(LineSupport(line="rim", kind=kind),))
    stiffness, U, F = solved(model, pressure(mesh, 1.0))
    at = [(0.0, 0.0), (0.4, 0.0), (0.3, 0.6)]
    found = results(model, U[:, 0], at)
    assert found[0, W] == pytest.approx(exact, rel=1e-5)
    ring = RingPlate(
        outer=1.0, d=1.0, poisson=0.3, edge=edge, shear_rigidity=shear_rigidity(section)
    )
    w, m_r, m_t, _ = ring.at([0.0, 0.4, math.hypot(0.3, 0.6)])
    np.testing.assert_allclose(found[:, W], w, rtol=5e-5)
    np.testing.assert_allclose(found[:2, M_X], m_r[:2], rtol=1e-3)
    np.testing.assert_allclose(found[:2, M_Y], m_t[:2], rtol=1e-3)
    assert found[2, M_X] + found[2, M_Y] == pytest.approx(m_r[2] + m_t[2], rel=1e-3)
    assert stiffness.reactions(U, F)["rim"][0] == pytest.approx(math.pi, rel=1e-6)


def test_numbering_of_nodes_and_cells_does_not_matter() -> None:
    mesh = grid_mesh(grid_plan([0.0, 2.0], [0.0, 1.5], skew=0.2), order=3, size=0.4)
    rng = np.random.default_rng(1)
    new = rng.permutation(mesh.n_nodes)
    order = rng.permutation(mesh.n_cells)
    plan = np.empty_like(mesh.plan)
    plan[new] = mesh.plan
    lines = {name: new[edges] for name, edges in mesh.lines.items()}
    shuffled = Mesh(
        order=mesh.order,
        alignment=mesh.alignment,
        plan=plan,
        cells=new[mesh.cells[order]],
        lines=lines,
    )
    values = []
    for m in (mesh, shuffled):
        model = PlateModel(mesh=m, section=unit_section(0.2), supports=edge_supports(SOFT))
        _, U, _ = solved(model, patch(m, 1.0, 0.7, 0.5, 0.3))
        values.append(results(model, U[:, 0], [(1.1, 0.7), (0.4, 1.2), (2.0, 0.3)]))
    np.testing.assert_allclose(values[0], values[1], rtol=0, atol=1e-10)
    assert shape(1, np.zeros((1, 2))).sum() == pytest.approx(1.0)


@pytest.mark.parametrize(("length", "force"), [(1000.0, 1.0), (1.0, 1e-3), (0.3048, 4.448)])
def test_units_do_not_matter(length: float, force: float) -> None:
    """The same deck in other units of length and force."""
    values = []
    for a, f in ((1.0, 1.0), (length, force)):
        mesh = grid_mesh(
            grid_plan([0.0, 3.1 * a, 6.2 * a], [-2.0 * a, 2.0 * a]), order=3, size=0.7 * a
        )
        slab = Section(thickness=0.27 * a, E=34e6 * f / a**2, poisson=0.2)
        beam = BeamSection(8e5 * f * a**2, 3e3 * f * a**2, 9e5 * f)
        holds = (Hold("L1", stub=0.4 * a), Hold("L2", k=1e5 * f / a))
        beams = tuple(BeamLine(line=c, section=beam, holds=holds) for c in ("C1", "C2", "C3"))
        model = PlateModel(mesh=mesh, section=slab, beams=beams)
        _, U, _ = solved(model, patch(mesh, 1.7 * a, 0.4 * a, 0.5 * a, 0.4 * a, 100.0 * f))
        scale = np.array([1 / a, 1 / f, 1 / f, 1 / f, a / f, a / f])
        values.append(results(model, U[:, 0], [(1.5 * a, 0.4 * a), (4.0 * a, -1.0 * a)]) * scale)
    np.testing.assert_allclose(values[1], values[0], rtol=1e-6, atol=1e-8)
