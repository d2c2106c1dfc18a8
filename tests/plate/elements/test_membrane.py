"""Composite beams against the two-layer closed form and its limits."""

import numpy as np
import pytest

from plate.elements.beam import BeamSection, edge_frame
from plate.elements.membrane import (
    Joint,
    connected_matrices,
    force_operators,
    membrane_dofs,
    stretch_operator,
)
from plate.elements.section import Section
from plate.geometry.plan import grid_plan
from plate.interpolation import lobatto
from plate.loads.loads import pressure
from plate.meshing.grid import grid_mesh
from plate.model.model import PlateModel
from plate.model.supports import BeamLine, LineSupport
from plate.solver.stiffness import Stiffness
from tests.helpers import result

L, B, T, E = 12.0, 0.6, 0.2, 30e9
BEAM = BeamSection(EI=210e9 * 8e-4, GJ=0.0, EA=210e9 * 0.012)
BELOW = 0.45


def strip(connection: float, eccentricity: float = BELOW) -> tuple[PlateModel, np.ndarray]:
    """A narrow slab strip on a beam along its middle, simply supported, under 1 kN/m2."""
    plan = grid_plan([0.0, L], [-0.5 * B, 0.0, 0.5 * B])
    mesh = grid_mesh(plan, order=3, size=0.6)
    beam = BeamLine(
        line="L2", section=BEAM, holds=(), eccentricity=eccentricity, connection=connection
    )
    ends = tuple(LineSupport(line=line, kind="rigid") for line in ("C1", "C2"))
    model = PlateModel(
        mesh=mesh, section=Section(thickness=T, E=E, poisson=0.0), supports=ends, beams=(beam,)
    )
    return model, Stiffness(model).solve(pressure(mesh, 1e3)[:, None], refine=True)[:, 0]


def middle(model: PlateModel, U: np.ndarray) -> float:
    """Deflection at mid-span [m]."""
    return float(result(model, U, 0.5 * L, 0.0)[0])


def deflection(EI: float) -> float:
    """Deflection at mid-span of a simply supported beam under the strip's load [m]."""
    return 5.0 * 1e3 * B * L**4 / (384.0 * EI)


def slab_alone() -> tuple[float, float]:
    return E * B * T**3 / 12.0, E * B * T


def test_full_connection_is_the_parallel_axis_section() -> None:
    EI, EA = slab_alone()
    both = EI + BEAM.EI + EA * BEAM.EA / (EA + BEAM.EA) * BELOW**2
    # The slab's own shear deflection is below 1e-3 here: it carries little of the load.
    assert middle(*strip(np.inf)) == pytest.approx(deflection(both), rel=2e-3)


def test_no_connection_adds_the_bending_stiffnesses() -> None:
    EI, _ = slab_alone()
    assert middle(*strip(0.0)) == pytest.approx(deflection(EI + BEAM.EI), rel=2e-3)
    assert middle(*strip(1.0)) == pytest.approx(middle(*strip(0.0)), rel=1e-6)


def test_a_stiff_connection_tends_to_the_full_one() -> None:
    assert middle(*strip(1e14)) == pytest.approx(middle(*strip(np.inf)), rel=1e-5)


def test_partial_connection_is_the_slipping_beam() -> None:
    """Newmark, Siess and Viest 1951: two layers with a connection k slip by an exponential law;
    here as the sine-wave factor of a simply supported beam under a sine load (exact)."""
    k = 2e8
    EI_slab, EA_slab = slab_alone()
    EA = EA_slab * BEAM.EA / (EA_slab + BEAM.EA)
    plan = grid_plan([0.0, L], [-0.5 * B, 0.0, 0.5 * B])
    mesh = grid_mesh(plan, order=3, size=0.6)
    ends = tuple(LineSupport(line=line, kind="rigid") for line in ("C1", "C2"))
    model = PlateModel(
        mesh=mesh,
        section=Section(thickness=T, E=E, poisson=0.0),
        supports=ends,
        beams=(BeamLine(line="L2", section=BEAM, holds=(), eccentricity=BELOW, connection=k),),
    )
    # A sine load through the pressure vector, weighted node by node: consistent since the
    # weights are smooth and the cells small against the span.
    F = pressure(mesh, 1e3)
    F[0::3] *= np.sin(np.pi * mesh.xy[:, 0] / L)
    w = middle(model, Stiffness(model).solve(F[:, None], refine=True)[:, 0])
    gamma = 1.0 / (1.0 + np.pi**2 * EA / (k * L**2))
    stiffness = EI_slab + BEAM.EI + gamma * EA * BELOW**2
    expected = 1e3 * B * (L / np.pi) ** 4 / stiffness
    # 2e-3: the slab's shear deflection and the node-wise weighting.
    assert w == pytest.approx(expected, rel=2e-3)
    bonded = 1e3 * B * (L / np.pi) ** 4 / (EI_slab + BEAM.EI + EA * BELOW**2)
    assert w > 1.02 * bonded


def test_membrane_force_balances_the_beam() -> None:
    model, U = strip(np.inf)
    _, cells, xi = model.mesh.locate(np.array([[0.5 * L, 0.15]]))
    n = force_operators(model.mesh, model.section, cells[:1], xi[:1])[0, 0]
    n_x = float(n[0] @ U[membrane_dofs(model.mesh.n_nodes, model.mesh.cells[cells[0]])])
    EI, EA = slab_alone()
    axial = EA * BEAM.EA / (EA + BEAM.EA)
    both = EI + BEAM.EI + axial * BELOW**2
    moment = 1e3 * B * L**2 / 8.0
    # The slab above the common axis is in compression.
    assert n_x * B == pytest.approx(-moment * axial * BELOW / both, rel=5e-3)


def test_the_isostatic_pins_carry_nothing() -> None:
    model, U = strip(np.inf)
    stiffness = Stiffness(model)
    force = stiffness.force(U[:, None])[model.n_plate_dof :, 0]
    assert np.abs(force).max() < 1e-6 * 1e3 * B * L


def test_a_beam_above_acts_as_one_below() -> None:
    assert middle(*strip(np.inf, -BELOW)) == pytest.approx(middle(*strip(np.inf)), rel=1e-9)


R, ECCENTRIC = 9.0, Joint(BELOW)
OWN = Joint(BELOW, np.full(6, BELOW - 0.5 * T))


def arc(clockwise: bool) -> np.ndarray:
    """Nodes (6, 4, 2) of edges of order 3 along a quarter of a circle about the origin."""
    ends = np.linspace(0.0, 0.5 * np.pi, 7)
    at = ends[:-1, None] + np.diff(ends)[:, None] * 0.5 * (lobatto(4) + 1.0)
    if clockwise:
        at = at[::-1, ::-1]
    return R * np.stack([np.cos(at), np.sin(at)], axis=-1)


def moved(xy: np.ndarray, joint: Joint, slopes: np.ndarray, uv: np.ndarray) -> np.ndarray:
    """Degrees of freedom (6, n_dof) of edges that move by uv (6, 4, 2) and turn by slopes (2,)
    without slip: the beam's own displacement is that of its centroid along the tangent."""
    tangent = edge_frame(xy, lobatto(4)).tangent
    plate = np.zeros((6, 4, 3))
    plate[..., 1:] = slopes
    own = np.sum(tangent * (uv - joint.eccentricity * slopes), axis=-1)
    relative = [] if joint.arms is None else [np.zeros((6, 4))]
    return np.concatenate([plate.reshape(6, -1), uv.reshape(6, -1), *relative, own], axis=-1)


def energy(xy: np.ndarray, joint: Joint, dofs: np.ndarray) -> float:
    K = connected_matrices(xy, BEAM.EA, joint, 2e8)
    return 0.5 * float(np.einsum("ea,eab,eb->", dofs, K, dofs))


@pytest.mark.parametrize("clockwise", [False, True])
@pytest.mark.parametrize("joint", [ECCENTRIC, OWN], ids=["no web", "web"])
def test_a_curved_beam_that_may_slip_is_strained_by_its_radius(
    clockwise: bool, joint: Joint
) -> None:
    """Every point moved outwards by c: the strain is c/R all along, though nothing moves along the
    line."""
    xy, c = arc(clockwise), 1e-3
    outward = xy / R
    expected = 0.5 * BEAM.EA * (c / R) ** 2 * 0.5 * np.pi * R
    # 1e-5: arcs of 15 degrees by polynomials of order 3
    still = moved(xy, joint, np.zeros(2), c * outward)
    assert energy(xy, joint, still) == pytest.approx(expected, rel=1e-5)
    frame = edge_frame(xy, np.array([-0.3, 0.8]))
    strain = np.einsum("eqa,ea->eq", stretch_operator(frame, joint), still)
    np.testing.assert_allclose(strain, c / R, rtol=1e-3)


@pytest.mark.parametrize("joint", [ECCENTRIC, OWN], ids=["no web", "web"])
def test_a_curved_beam_that_may_slip_moves_freely_as_a_whole(joint: Joint) -> None:
    """Moved, turned in plan and tilted it is not strained; without the radius's part a move by c
    would take four fifths of the energy of the test above."""
    xy, c = arc(False), 1e-3
    whole = 0.5 * BEAM.EA * (c / R) ** 2 * 0.5 * np.pi * R
    moves = (
        (np.zeros(2), c * np.broadcast_to([0.6, 0.8], xy.shape)),
        (np.zeros(2), c / R * np.stack([-xy[..., 1], xy[..., 0]], axis=-1)),
        (c / BELOW * np.array([0.6, -0.8]), np.zeros(xy.shape)),
    )
    for slopes, uv in moves:
        assert energy(xy, joint, moved(xy, joint, slopes, uv)) < 1e-5 * whole


def test_a_stiff_connection_tends_to_the_full_one_on_a_curve() -> None:
    """Beams along both sides of a bay of 9 m radius, held on rigid lines at its ends."""

    def lowest(connection: float) -> float:
        plan = grid_plan([0.0, 6.0], [-1.5, 1.5], radius=R)
        mesh = grid_mesh(plan, order=3, size=0.6)
        beams = tuple(
            BeamLine(line=line, section=BEAM, eccentricity=BELOW, connection=connection)
            for line in ("L1", "L2")
        )
        ends = tuple(LineSupport(line=line, kind="rigid") for line in ("C1", "C2"))
        section = Section(thickness=T, E=E, poisson=0.2)
        model = PlateModel(mesh=mesh, section=section, supports=ends, beams=beams)
        U = Stiffness(model).solve(pressure(mesh, 1e3)[:, None], refine=True)[:, 0]
        return float(result(model, U, 3.0, -1.5)[0])

    full, none = lowest(np.inf), lowest(0.0)
    assert none > 1.5 * full
    # 1e-3: the beam's own displacement along an arc is a polynomial, the slab's tangential one not
    assert lowest(1e13) == pytest.approx(full, rel=1e-3)
