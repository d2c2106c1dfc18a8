"""Settlements of supports against beams by hand: a strip of the slab is a beam (Poisson's ratio 0).

Two equal spans L whose middle support goes down by s: its reaction falls by 6 EI s/L^3 and the
moment over it by 3 EI s/L^2 (three moments, Clapeyron).
"""

import numpy as np
import pytest

from plate.arrays import Floats
from plate.elements.beam import BeamSection
from plate.elements.section import Section
from plate.errors import SupportError
from plate.geometry.plan import grid_plan
from plate.loads.loads import pressure
from plate.meshing.grid import grid_mesh
from plate.model.model import PlateModel
from plate.model.supports import BeamLine, Hold, LineSupport, PointSupport
from plate.results.functionals import result_rows
from plate.results.places import at_points
from plate.solver.settlement import Settlement
from plate.solver.stiffness import Stiffness

L, B, S = 4.0, 1.5, 0.01
EI = 30e9 * 0.2**3 / 12  # per metre
THIN = Section(thickness=0.2, E=30e9, poisson=0.0, thin_span=L)
PLAN = grid_plan([0.0, L, 2 * L], [-B / 2, B / 2])
MESH = grid_mesh(PLAN, order=3, size=0.7)


def strip(*supports: LineSupport, beams: tuple[BeamLine, ...] = ()) -> Stiffness:
    return Stiffness(PlateModel(mesh=MESH, section=THIN, supports=supports, beams=beams))


def rigid(*lines: str) -> tuple[LineSupport, ...]:
    return tuple(LineSupport(line=line, kind="rigid") for line in lines)


def settled(
    stiffness: Stiffness, settlements: dict[str, float], load: Floats | None = None
) -> tuple[Floats, dict[str, float]]:
    """Displacements and reactions."""
    settlement = Settlement(stiffness, settlements)
    F = settlement.load[:, None].copy()
    if load is not None:
        F[: len(load), 0] += load
    V = stiffness.solve(F, refine=True)
    reactions = settlement.reactions(V, F)
    return V[:, 0] + settlement.lift, {k: float(v[0]) for k, v in reactions.items()}


def at_support(stiffness: Stiffness, U: Floats) -> Floats:
    places = at_points(MESH, np.array([[L, 0.0]]))
    return np.asarray(result_rows(stiffness.model, places) @ U)


def test_a_rigid_line_settles_by_hand() -> None:
    stiffness = strip(*rigid("C1", "C2", "C3"))
    U, reactions = settled(stiffness, {"C2": S})
    w, m_x, *_ = at_support(stiffness, U)
    assert w == pytest.approx(S, rel=1e-12)
    assert m_x == pytest.approx(3 * EI * S / L**2, rel=1e-4)
    assert reactions["C2"] == pytest.approx(-6 * EI * S / L**3 * B, rel=1e-4)
    assert reactions["C1"] == pytest.approx(3 * EI * S / L**3 * B, rel=1e-4)
    assert sum(reactions.values()) == pytest.approx(0.0, abs=1e-5 * reactions["C1"])


def test_springs_settle_by_k_times_s() -> None:
    """The middle line on springs k gives way by w: k (s - w) = 48 EI/(2 L)^3 w of the spans."""
    k = 2e6
    springs = LineSupport(line="C2", kind="spring", k=k, k_rot=1e5)
    stiffness = strip(*rigid("C1", "C3"), springs)
    U, reactions = settled(stiffness, {"C2": S})
    spans = 48 * EI / (2 * L) ** 3
    w = S * k / (k + spans)
    assert at_support(stiffness, U)[0] == pytest.approx(w, rel=1e-4)
    assert reactions["C2"] == pytest.approx(-k * (S - w) * B, rel=1e-4)
    # springs a million times as stiff are a rigid line
    stiffness = strip(*rigid("C1", "C3"), LineSupport(line="C2", kind="spring", k=1e6 * k))
    rigid_U, _ = settled(strip(*rigid("C1", "C2", "C3")), {"C2": S})
    U, _ = settled(stiffness, {"C2": S})
    assert at_support(stiffness, U)[1] == pytest.approx(at_support(stiffness, rigid_U)[1], rel=1e-4)


def test_a_deck_that_settles_as_a_whole_only_moves() -> None:
    """Every support and kind of hold by the same: no force, and loads carried as before."""
    section = BeamSection(EI=1e8, GJ=1e6, GA=1e9)
    holds = (Hold("L1"), Hold("L2", k=5e7, k_rot=2e6, stub=0.3))
    beam = BeamLine(line="C3", section=section, holds=holds)
    supports = (
        LineSupport(line="C1", kind="clamped"),
        LineSupport(line="C2", kind="spring", k=3e6, k_rot=1e6),
    )
    points = (PointSupport("A", (1.1, 0.3), 0.4, k=1e7),)
    model = PlateModel(mesh=MESH, section=THIN, supports=supports, beams=(beam,), points=points)
    stiffness = Stiffness(model)
    load = pressure(MESH, 5e3)
    every = dict.fromkeys(("C1", "C2", "C3@L1", "C3@L2", "A"), S)
    U, reactions = settled(stiffness, every, load)
    U0, reactions0 = settled(stiffness, {}, load)
    moved = U - U0
    # the tie and the thin plate's shear are a million times as stiff as bending: 1.3e-8 is rounding
    assert moved[: model.n_plate_dof : 3] == pytest.approx(S, rel=1e-7)
    assert reactions == pytest.approx(reactions0, rel=1e-5)
    # the same rounding: 1.05e-6 of their sum with another processor's products
    assert sum(reactions.values()) == pytest.approx(5e3 * 2 * L * B, rel=1e-5)


def test_a_hold_settles_with_the_beam_that_it_carries() -> None:
    """A beam on two holds turns about the other one: statically determinate, without force."""
    section = BeamSection(EI=1e8, GJ=0.0)
    holds = (Hold("L1"), Hold("L2"))
    beams = tuple(BeamLine(line=c, section=section, holds=holds) for c in ("C1", "C3"))
    stiffness = strip(beams=beams)
    U, reactions = settled(stiffness, {"C1@L1": S, "C3@L1": S})
    w = result_rows(stiffness.model, at_points(MESH, np.array([[L, 0.0], [1.0, B / 2]]))) @ U
    assert w[[0, 6]] == pytest.approx([S / 2, 0.0], abs=1e-7 * S)
    # twisted by one corner alone it resists
    _, reactions = settled(stiffness, {"C1@L1": S})
    assert reactions["C1@L1"] == pytest.approx(reactions["C3@L2"], rel=1e-3)
    assert reactions["C1@L1"] < -1.0
    assert reactions["C1@L2"] == pytest.approx(-reactions["C1@L1"], rel=1e-3)


def test_what_cannot_settle_is_told() -> None:
    crossing = strip(*rigid("C1", "C2", "L1"))
    with pytest.raises(SupportError, match=r"C2 and L1 hold the deck in one place, \(4.000, -0.75"):
        Settlement(crossing, {"C2": S})
    Settlement(crossing, dict.fromkeys(("C1", "C2", "L1"), S))
    with pytest.raises(SupportError, match=r"C3 is no support"):
        Settlement(crossing, {"C3": S})
    points = (PointSupport("A", (1.1, 0.3), 0.4),)
    model = PlateModel(mesh=MESH, section=THIN, supports=rigid("C1", "C2"), points=points)
    with pytest.raises(SupportError, match=r"point A is rigid and cannot settle"):
        Settlement(Stiffness(model), {"A": S})
