"""Moments and shears of beams under a slab against statics and Timoshenko's beam by hand."""

import math
from dataclasses import replace

import numpy as np
import pytest

from pipelines.model.beam_rows import BeamRows, beam_axial_rows, beam_rows, beam_rows_at
from plate.elements.beam import BeamSection
from plate.elements.section import Section
from plate.geometry.plan import Plan, grid_plan
from plate.loads.loads import pressure
from plate.meshing.grid import Grading, grid_mesh
from plate.model.model import PlateModel
from plate.model.supports import BeamLine, Hold, LineSupport
from plate.solver.stiffness import Stiffness
from tests.helpers import Floats, outer_nodes, patch, result, results

E, G = 210e9, 81e9
# A plate girder of some 1 m.
WEB = BeamSection(E * 4.292e-3, G * 3.31e-6, G * 90e-4, E * 0.0258)
NO_WEB = replace(WEB, GA=None)
CONNECTIONS = [0.0, 5e8, math.inf]
WIDTH, SLAB = 8.6, 0.24


def cross_beams(
    section: BeamSection, connection: float = 0.0, *, thin: bool = False, stub: float = 0.0
) -> PlateModel:
    """Three bays of slab on four cross beams, held at the slab's free side edges."""
    plan = grid_plan([0.0, 3.2, 6.4, 9.6], [-0.5 * WIDTH, 0.5 * WIDTH])
    near = {name: 0.5 * SLAB for name in ("C1", "C2", "C3", "C4")}
    edges = {"L1": 0.5 * SLAB, "L2": 0.5 * SLAB}
    mesh = grid_mesh(plan, order=3, size=0.8, grading=Grading(near, edges))
    holds = (Hold("L1", stub=stub), Hold("L2", stub=stub))
    beams = tuple(
        BeamLine(
            line=name,
            section=section,
            holds=holds,
            eccentricity=0.62 if connection else 0.0,
            connection=connection,
        )
        for name in near
    )
    slab = Section(thickness=SLAB, E=34e9, poisson=0.2, thin_span=3.2 if thin else None)
    return PlateModel(mesh=mesh, section=slab, supports=(), beams=beams)


def solved(model: PlateModel, F: Floats) -> tuple[Floats, dict[str, float], BeamRows]:
    stiffness = Stiffness(model)
    U = stiffness.solve(F[:, None], refine=True)
    found = {k: float(v[0]) for k, v in stiffness.reactions(U, F[:, None]).items()}
    assert sum(found.values()) == pytest.approx(F[::3].sum(), rel=1e-7)
    return U[:, 0], found, beam_rows(model)


@pytest.mark.parametrize("connection", CONNECTIONS)
@pytest.mark.parametrize("section", [WEB, NO_WEB], ids=["web", "no web"])
def test_web_and_tie_carry_the_reaction(section: BeamSection, connection: float) -> None:
    """Mindlin's theory: 0.5 %, the rest goes into the slab at the hold's node itself."""
    model = cross_beams(section, connection)
    U, reactions, rows = solved(model, pressure(model.mesh, 10e3))
    raw, web = rows.split((rows.web + rows.tie) @ U), rows.split(rows.web @ U)
    for name in rows.names:
        first, last = 0, len(raw[name]) - 3  # two more samples in the holds
        assert raw[name][first] == pytest.approx(reactions[f"{name}@L1"], rel=5e-3)
        assert raw[name][last] == pytest.approx(-reactions[f"{name}@L2"], rel=5e-3)
        # The web has most of it, all where it is not joined to the membrane and far from ends.
        assert (web[name][first] > 0.8 * raw[name][first]) == (section is WEB)


@pytest.mark.parametrize("thin", [False, True])
@pytest.mark.parametrize("connection", CONNECTIONS)
@pytest.mark.parametrize("section", [WEB, NO_WEB], ids=["web", "no web"])
def test_shear_told_is_never_below_the_reaction(
    section: BeamSection, connection: float, thin: bool
) -> None:
    """The pressure on a quarter of the smallest cells around the node goes straight into the hold:
    2e-5 of it. Nothing told is more than 5 % above the reaction either."""
    model = cross_beams(section, connection, thin=thin)
    U, reactions, rows = solved(model, pressure(model.mesh, 10e3))
    told = rows.split(rows.shears @ U)
    for name in rows.names:
        least = 1.0 - 5e-5
        assert least < told[name].max() / reactions[f"{name}@L1"] < 1.05
        assert least < -told[name].min() / reactions[f"{name}@L2"] < 1.05


def beside_lines(section: BeamSection, connection: float, offsets: list[float]) -> Floats:
    """Results (2, 2, n, 6) beside both inner cross beams: close to the line and 0.3 m off, before
    and after it."""
    model = cross_beams(section, connection)
    U, _, _ = solved(model, pressure(model.mesh, 10e3))
    found = [
        results(model, U, [(3.2 * k + side * d, y) for k in (1, 2) for y in offsets])
        for d in (1e-3, 0.3)
        for side in (-1.0, 1.0)
    ]
    return np.array(found).reshape(2, 2, -1, 6)


def test_a_web_makes_no_twisting_moments() -> None:
    """m_xy beside the beams, from 0.3 m off the free edges, with and without web: within 5 % of the
    largest |m_y|, that part included by which softer beams twist the bays. A web whose strain is
    forced on the slab makes 195 % here."""
    offsets = [-4.0, -3.6, -2.8, -1.6, 0.8, 2.4, 3.3, 4.0]
    web, none = (beside_lines(section, 0.0, offsets)[0] for section in (WEB, NO_WEB))
    most = np.abs(web[..., 2]).max()
    np.testing.assert_allclose(web[..., 3], none[..., 3], rtol=0.0, atol=0.05 * most)


@pytest.mark.parametrize("connection", CONNECTIONS[1:])
def test_a_connection_makes_no_twisting_moments(connection: float) -> None:
    """A composite beam is much softer with its web, and the bays twist with it. What is a layer at
    the line, m_xy there less that 0.3 m off, stays within 4 % of the largest |m_y| a metre off the
    free edges, and within 11 % at 0.3 m from them, where the slab hands its twisting moment over: a
    web whose strain is forced on the slab makes 400 % with k = 500 MN/m2, 690 % with full
    connection."""
    offsets = [-4.0, -3.6, -3.3, -2.8, -1.6, 0.8, 2.4, 3.3, 3.6, 4.0]
    web, none = (beside_lines(section, connection, offsets) for section in (WEB, NO_WEB))
    layer = np.abs((web - none)[0, ..., 3] - (web - none)[1, ..., 3]) / np.abs(web[0, ..., 2]).max()
    inside = np.tile(np.abs(offsets) <= 0.5 * WIDTH - 1.0, 2)
    assert layer[:, inside].max() < 0.04
    assert layer.max() < 0.11


@pytest.mark.parametrize("section", [WEB, NO_WEB], ids=["web", "no web"])
@pytest.mark.parametrize("connection", CONNECTIONS[1:])
def test_twist_beside_composite_beams_near_free_edges_is_the_slab_s(
    section: BeamSection, connection: float
) -> None:
    """From one thickness to 1.5 m off a free edge the twist beside composite beams is up to half of
    the largest |m_y| and is no layer: a thickness off the line it is what Kirchhoff's theory has,
    which knows none. On the line the layer adds to one side what it takes from the other, and the
    mean of both sides is Kirchhoff's. Within 5 % of |m_y| there: the slab's own shear strain."""
    offsets = [sign * y for sign in (-1.0, 1.0) for y in (4.05, 3.8, 3.6, 3.3, 2.8)]
    found = []
    for thin in (False, True):
        model = cross_beams(section, connection, thin=thin)
        U, _, _ = solved(model, pressure(model.mesh, 10e3))
        places = [
            [(3.2 + side * d, y) for y in offsets] for d in (1e-3, 1.25 * SLAB) for side in (-1, 1)
        ]
        rows = results(model, U, [place for row in places for place in row])
        found.append(rows.reshape(2, 2, len(offsets), 6))
    thick, thin_theory = found
    most = np.abs(thin_theory[0, ..., 2]).max()
    off = thick[1, ..., 3] - thin_theory[1, ..., 3]
    on = (thick[0, ..., 3] - thin_theory[0, ..., 3]).mean(axis=0)
    assert np.abs(thin_theory[..., 3]).max() > 0.25 * most
    assert np.abs(off).max() < 0.05 * most
    assert np.abs(on).max() < 0.05 * most


@pytest.mark.parametrize("connection", CONNECTIONS)
def test_the_moment_grows_by_the_web_s_shear(connection: float) -> None:
    """dM/ds = V of the web alone, with what the connection puts on the upper flange: over every
    edge M + (e - t/2) N grows by the integral of V. 0.5 %: V is taken at the tying points."""
    model = cross_beams(WEB, connection)
    U, _, rows = solved(model, pressure(model.mesh, 10e3))
    arm = 0.62 - 0.5 * SLAB if connection else 0.0
    n = model.mesh.order + 1
    M = rows.split(rows.moments @ U + arm * (beam_axial_rows(model) @ U))["C2"][:-2].reshape(-1, n)
    V = rows.split(rows.web @ U)["C2"][:-2].reshape(-1, n)
    s = rows.at[1][:-2].reshape(-1, n)
    lobatto = np.array([1.0, 5.0, 5.0, 1.0]) / 12.0  # of the four points of order 3
    grown = (s[:, -1] - s[:, 0]) * (V @ lobatto)
    np.testing.assert_allclose(M[:, -1] - M[:, 0], grown, rtol=0.0, atol=5e-3 * M.max())


def strip(
    section: BeamSection,
    holds: tuple[Hold, ...],
    supports: tuple[LineSupport, ...] = (),
    stations: tuple[float, ...] = (0.0, 6.0),
) -> tuple[PlateModel, Floats]:
    """A strip of 0.4 m, weak beside the beam along its middle, under 10 kN per metre of beam."""
    plan = grid_plan(list(stations), [-0.2, 0.0, 0.2])
    mesh = grid_mesh(plan, order=3, size=0.5)
    slab = Section(thickness=0.05, E=1e8, poisson=0.0)
    upright = LineSupport(line="L2", kind="spring", k_rot=1e6)  # against rolling over
    model = PlateModel(
        mesh=mesh,
        section=slab,
        supports=(*supports, upright),
        beams=(BeamLine(line="L2", section=section, holds=holds),),
    )
    return model, pressure(mesh, 10e3 / 0.4)


L, Q = 6.0, 10e3
EI, GA = 4e7, 6e7  # a span as short as it has to be for both parts to count
SHORT = BeamSection(EI, 1e6, GA)


def test_deflection_in_bending_and_shear() -> None:
    """5 q L^4 / 384 EI + q L^2 / 8 GA; the strip carries 3e-5 of the load."""
    model, F = strip(SHORT, (Hold("C1"), Hold("C2")))
    U, reactions, rows = solved(model, F)
    bending, shear = 5 * Q * L**4 / (384 * EI), Q * L**2 / (8 * GA)
    assert shear > 0.1 * bending
    assert result(model, U, 3.0, 0.0)[0] == pytest.approx(bending + shear, rel=5e-4)
    assert (rows.moments @ U).max() == pytest.approx(Q * L**2 / 8, rel=1e-3)
    # less what the pressure puts on the node of the hold itself: 35 N of 30 kN
    straight = F[3 * model.crossing("L2", "C1")[0]]
    assert (rows.shears @ U).max() == pytest.approx(reactions["L2@C1"] - straight, rel=1e-6)


def test_a_stiff_web_is_no_web() -> None:
    stiff, F = strip(replace(SHORT, GA=1e8 * EI / L**2), (Hold("C1"), Hold("C2")))
    none, _ = strip(replace(SHORT, GA=None), (Hold("C1"), Hold("C2")))
    w = [result(model, solved(model, F)[0], 3.0, 0.0)[0] for model in (stiff, none)]
    assert w[0] == pytest.approx(w[1], rel=1e-5)


def test_a_clamped_line_holds_the_bending_rotation() -> None:
    """q L^4 / 384 EI + q L^2 / 8 GA, and -q L^2 / 12 at the ends."""
    ends = (LineSupport(line="C1", kind="clamped"), LineSupport(line="C2", kind="clamped"))
    model, F = strip(SHORT, (), ends)
    U, _, rows = solved(model, F)
    exact = Q * L**4 / (384 * EI) + Q * L**2 / (8 * GA)
    assert result(model, U, 3.0, 0.0)[0] == pytest.approx(exact, rel=5e-3)
    assert (rows.moments @ U)[0] == pytest.approx(-Q * L**2 / 12, rel=1e-2)


def test_rotational_springs_act_on_the_bending_rotation() -> None:
    """M = k psi at the ends: -M = k q L^3 / 24 EI / (1 + k L / 2 EI), whatever the web strains."""
    k = 2e7
    model, F = strip(SHORT, (Hold("C1", k_rot=k), Hold("C2", k_rot=k)))
    U, _, rows = solved(model, F)
    exact = k * Q * L**3 / (24 * EI) / (1.0 + k * L / (2 * EI))
    moments = rows.split(rows.moments @ U)["L2"]
    assert moments[0] == pytest.approx(-exact, rel=1e-2)
    assert moments[-3] == pytest.approx(-exact, rel=1e-2)


def test_a_stub_takes_the_beam_s_rotation() -> None:
    """Over s = 0.6 m on either side without load: M = R s at the slab's end, and by virtual work
    w = sum of M m / EI + V v / GA, m = x/2 from the hold."""
    s = 0.6
    model, F = strip(SHORT, (Hold("C1", stub=s), Hold("C2", stub=s)))
    U, _, rows = solved(model, F)
    R = 0.5 * Q * L
    assert (rows.moments @ U)[0] == pytest.approx(R * s, rel=2e-3)
    assert (rows.shears @ U).max() == pytest.approx(R, rel=1e-6)
    x = np.linspace(0.0, s + 0.5 * L, 200_001)
    M = R * x - 0.5 * Q * np.clip(x - s, 0.0, None) ** 2
    V = R - Q * np.clip(x - s, 0.0, None)
    exact = 2.0 * np.trapezoid(M * 0.5 * x / EI + V * 0.5 / GA, x)
    assert result(model, U, 3.0, 0.0)[0] == pytest.approx(exact, rel=2e-3)


def test_shears_on_both_sides_of_an_inner_hold() -> None:
    """Two spans: they differ by the reaction, thick and thin, also on another mesh's rows."""
    for thin in (False, True):
        model, F = strip(SHORT, (Hold("C1"), Hold("C2"), Hold("C3")), stations=(0.0, 6.0, 12.0))
        if thin:
            model = replace(model, section=replace(model.section, thin_span=6.0))
        U, reactions, rows = solved(model, F)
        told, at = rows.split(rows.shears @ U)["L2"], rows.at[0]
        before, after = told[:-2][np.abs(at[:-2] - 6.0) < 1e-9]
        assert after - before == pytest.approx(reactions["L2@C2"], rel=1e-3)
        assert after == pytest.approx(-before, rel=1e-6)
        moments, shears = beam_rows_at(model, "L2", rows.sides[0].tolist())
        assert shears @ U == pytest.approx(told, abs=1e-3 * told.max())
        assert moments.shape == shears.shape == (len(told), model.n_dof)


def test_crossing_beams_share_a_load() -> None:
    """Two equal beams cross at mid-span under P there: each P/2 L^3 / 48 EI + P/2 L / 4 GA."""
    plan = grid_plan([0.0, 3.0, 6.0], [-3.0, 0.0, 3.0])
    mesh = grid_mesh(plan, order=3, size=1.0)
    beams = (
        BeamLine(line="C2", section=SHORT, holds=(Hold("L1"), Hold("L3"))),
        BeamLine(line="L2", section=SHORT, holds=(Hold("C1"), Hold("C3"))),
    )
    model = PlateModel(
        mesh=mesh, section=Section(thickness=0.05, E=1e8, poisson=0.0), supports=(), beams=beams
    )
    P = 100e3
    F = patch(mesh, 3.0, 0.0, 0.02, 0.02, P)
    U, reactions, _ = solved(model, F)
    exact = 0.5 * P * (L**3 / (48 * EI) + L / (4 * GA))
    # 1 %: the patch has a size, and the slab smooths the kink of both lines
    assert result(model, U, 3.0, 0.0)[0] == pytest.approx(exact, rel=1e-2)
    assert reactions["C2@L1"] == pytest.approx(0.25 * P, rel=1e-3)


@pytest.mark.parametrize("state", ["xx", "yy", "xy"])
def test_constant_curvature_with_beams_needs_no_load(state: str) -> None:
    """The slab's normals and the beams' rotations follow w, webs do not strain, and no inner node
    is pulled: patch test of slab and beams both ways."""
    plan = grid_plan([0.0, 3.0, 6.0], [-3.0, 0.0, 3.0])
    mesh = grid_mesh(plan, order=3, size=1.0)
    beams = (BeamLine(line="C2", section=WEB), BeamLine(line="L2", section=WEB))
    model = PlateModel(
        mesh=mesh,
        section=Section(thickness=0.24, E=34e9, poisson=0.2),
        supports=(LineSupport(line="start", kind="rigid"),),
        beams=beams,
    )
    supports = (LineSupport(line="start", kind="clamped"),)
    stiffness = Stiffness(replace(model, supports=supports))
    x, y = mesh.xy.T
    w, wx, wy = {
        "xx": (x**2 / 2, x, 0 * x),
        "yy": (y**2 / 2, 0 * x, y),
        "xy": (x * y, y, x),
    }[state]
    U = np.zeros(model.n_dof)
    U[: model.n_plate_dof] = np.column_stack([w, wx, wy]).ravel()
    force = stiffness.force(U[:, None])[:, 0]
    inner = np.setdiff1d(np.arange(mesh.n_nodes), outer_nodes(mesh))
    plate = (3 * inner[:, None] + np.arange(3)).ravel()
    own = np.concatenate([model.beam_dofs(b)[:, 3 * (mesh.order + 1) :].ravel() for b in beams])
    ends = np.concatenate([model.beam_dofs(b)[[0, -1], [12, 15]] for b in beams])
    scale = np.abs(force).max()
    assert np.abs(force[plate]).max() < 1e-9 * scale
    assert np.abs(force[np.setdiff1d(own, ends)]).max() < 1e-9 * scale
    # and the beam along the curvature is bent
    moments = beam_rows(model)
    bent = {"xx": "L2", "yy": "C2", "xy": None}[state]
    for name, M in moments.split(moments.moments @ U).items():
        expected = -WEB.EI if name == bent else 0.0
        np.testing.assert_allclose(M, expected, rtol=0.0, atol=1e-9 * WEB.EI)


def grid_deck(plan: Plan) -> PlateModel:
    """Cross beams on stubs and edge beams, all with webs and full connection."""
    mesh = grid_mesh(plan, order=3, size=1.0)
    holds = (Hold("L1", stub=0.4), Hold("L2", stub=0.4))
    beams = [
        BeamLine(line=c, section=WEB, holds=holds, eccentricity=0.5, connection=math.inf)
        for c in ("C1", "C2", "C3")
    ]
    beams += [
        BeamLine(
            line=n, section=replace(SHORT, EA=1e9), holds=(), eccentricity=0.3, connection=math.inf
        )
        for n in ("L1", "L2")
    ]
    return PlateModel(
        mesh=mesh,
        section=Section(thickness=SLAB, E=34e9, poisson=0.2),
        supports=(),
        beams=tuple(beams),
    )


def test_mirrored_skew_decks_give_mirrored_results() -> None:
    found = []
    for sign in (1.0, -1.0):
        plan = grid_plan([0.0, 3.0, 6.0], [-2.0, 2.0], skew=sign * math.radians(25.0))
        model = grid_deck(plan)
        F = patch(model.mesh, 1.4, sign * 0.7, 0.4, 0.4, 1e5)
        U, reactions, rows = solved(model, F)
        found.append((rows.split(rows.moments @ U), rows.split(rows.shears @ U), reactions))
    (M, V, R), (M_, V_, R_) = found
    for name in ("C1", "C2", "C3"):
        assert M[name].max() == pytest.approx(M_[name].max(), rel=1e-6)
        assert V[name].max() == pytest.approx(-V_[name].min(), rel=1e-6)
        assert R[f"{name}@L1"] == pytest.approx(R_[f"{name}@L2"], rel=1e-6)


def test_reactions_of_a_curved_deck_are_its_loads() -> None:
    """`solved` compares them; both halves of a symmetric bend carry the same."""
    plan = grid_plan([0.0, 3.0, 6.0], [-2.0, 2.0], radius=25.0)
    model = grid_deck(plan)
    U, reactions, rows = solved(model, pressure(model.mesh, 10e3))
    assert reactions["C1@L1"] == pytest.approx(reactions["C3@L1"], rel=1e-6)
    V = rows.split(rows.shears @ U)
    assert V["C2"].max() == pytest.approx(reactions["C2@L1"], rel=1e-9)
    assert -V["C2"].min() == pytest.approx(reactions["C2@L2"], rel=1e-9)
