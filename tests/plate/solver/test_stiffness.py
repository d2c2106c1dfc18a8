"""The factorisation against a general sparse solver; reactions from the residuals."""

import numpy as np
import pytest
from scipy import linalg, sparse
from scipy.sparse.linalg import splu
from threadpoolctl import threadpool_limits

from plate.arrays import Floats
from plate.conventions import N_FIELDS
from plate.elements.beam import BeamSection
from plate.elements.group import ElementGroup
from plate.elements.section import Section, Zone
from plate.errors import SolutionError
from plate.geometry.elementary import rectangle_corners
from plate.geometry.plan import Plan, grid_plan
from plate.loads.loads import pressure
from plate.meshing.grid import grid_mesh
from plate.model.model import PlateModel
from plate.model.supports import BeamLine, Hold, LineSupport, PointSupport
from plate.solver.nested_dissection import Factorisation
from plate.solver.stiffness import Stiffness
from tests.helpers import patch, unit_section

STRAIGHT = grid_plan([0.0, 2.0, 4.5], [-2.0, 2.0], overhang={"start": 0.3, "left": 0.4})
SKEW = grid_plan([0.0, 2.0, 4.5], [-2.0, 2.0], skew=0.6)
CURVED = grid_plan([0.0, 2.0, 4.5], [-2.0, 2.0], radius=6.0)


def deck(plan: Plan, ratio: float, order: int = 3, t: float = 0.2) -> PlateModel:
    """Beams with holds of every kind, hard lines, springs and points; EI = ratio times D."""
    mesh = grid_mesh(plan, order=order, size=0.8)
    section = BeamSection(ratio, 0.1 * ratio)
    holds = (Hold("L1"), Hold("L2", k=0.5 * ratio, k_rot=0.2 * ratio, stub=0.3))
    supports = (
        LineSupport(line="C1", kind="rigid", hard=True),
        LineSupport(line="L1", kind="spring", k=3.0, k_rot=0.5),
    )
    points = (PointSupport("A", (1.1, 0.3), 0.4), PointSupport("B", (3.0, -1.0), 0.2, k=20.0))
    return PlateModel(
        mesh=mesh,
        section=unit_section(t),
        supports=supports,
        beams=(BeamLine(line="C3", section=section, holds=holds),),
        points=points,
    )


def reference_solution(stiffness: Stiffness, F: Floats) -> Floats:
    """The assembled matrix with its constraints in a basis of free motions and multipliers."""
    model = stiffness.model
    w, slopes, _ = model.held
    columns = []
    for node in range(model.mesh.n_nodes):
        directions = slopes.get(node, [])
        allowed = linalg.null_space(np.array(directions)).T if directions else np.eye(2)
        if not w[node]:
            columns.append({N_FIELDS * node: 1.0})
        for d in allowed:
            columns.append({N_FIELDS * node + 1: d[0], N_FIELDS * node + 2: d[1]})
    rows = [row for column in columns for row in column]
    values = [value for column in columns for value in column.values()]
    index = [k for k, column in enumerate(columns) for _ in column]
    Z = sparse.coo_array((values, (rows, index)), shape=(model.n_dof, len(columns))).tocsc()
    means = [model.point_mean(p) for p in model.points if np.isinf(p.k)]
    C = sparse.csc_array(np.array(means).reshape(-1, model.n_dof)) @ Z
    K = Z.T @ stiffness.matrix() @ Z
    n = C.shape[0]
    scale = 1.0 / np.sqrt(K.diagonal())
    S = sparse.diags_array(scale)
    C = C @ S
    bordered = sparse.block_array([[S @ K @ S, C.T], [C, None if n else sparse.csc_array((0, 0))]])
    factor = splu(sparse.csc_matrix(bordered))
    right = np.vstack([scale[:, None] * (Z.T @ F), np.zeros((n, F.shape[1]))])
    x = factor.solve(right)
    for _ in range(2):
        x += factor.solve(right - bordered @ x)
    return np.asarray(Z @ (scale[:, None] * x[: K.shape[0]]))


# EI / D [m]: cross beams of real decks come to 10 to 50, a truss chord to 1000. On lines askew to
# the axes the stiffness of the tie (1e7 EI / L^2) drowns that of the slab: digits are lost as
# 1e-12 EI / D, whichever solver; on lines along the axes none are.
RATIOS = [
    (STRAIGHT, 1.0), (STRAIGHT, 1e4), (STRAIGHT, 1e8),
    (SKEW, 1.0), (SKEW, 100.0), (CURVED, 1.0), (CURVED, 100.0),
]  # fmt: skip


@pytest.mark.parametrize(("plan", "ratio"), RATIOS)
def test_against_a_general_sparse_solver(plan: Plan, ratio: float) -> None:
    """An independent path to the same displacements: assembled matrix, other elimination."""
    stiffness = Stiffness(deck(plan, ratio))
    F = np.stack(
        [pressure(stiffness.model.mesh, 1.0), patch(stiffness.model.mesh, 1.7, 0.6, 0.4, 0.3)],
        axis=1,
    )
    U = stiffness.solve(F, refine=True)
    exact = reference_solution(stiffness, F)
    np.testing.assert_allclose(U, exact, rtol=0, atol=1e-8 * np.abs(exact).max())


@pytest.mark.parametrize("t", [1e-2, 1e-4])
def test_very_thin_slabs_against_a_general_sparse_solver(t: float) -> None:
    stiffness = Stiffness(deck(STRAIGHT, 10.0, t=t))
    F = pressure(stiffness.model.mesh, 1.0)[:, None]
    U = stiffness.solve(F, refine=True)
    exact = reference_solution(stiffness, F)
    # the condition of the matrix grows as t^-2, for either solver
    tolerance = max(1e-8, 3e-14 / t**2)
    np.testing.assert_allclose(U, exact, rtol=0, atol=tolerance * np.abs(exact).max())


def test_loads_together_alone_and_on_any_number_of_threads() -> None:
    """Blocks of loads, single loads, and products on two threads give the same digits."""
    stiffness = Stiffness(deck(STRAIGHT, 100.0))
    places = [(0.4, -1.0), (1.7, 0.6), (4.0, 1.5)]
    F = np.stack([patch(stiffness.model.mesh, *p, 0.4, 0.3) for p in places], axis=1)
    together = stiffness.solve(F)
    alone = np.hstack([stiffness.solve(F[:, [k]]) for k in range(3)])
    with threadpool_limits(2, user_api="blas"):
        threaded = Stiffness.solve.__wrapped__(stiffness, F)
    scale = np.abs(together).max()
    np.testing.assert_allclose(alone, together, rtol=0, atol=1e-12 * scale)
    np.testing.assert_allclose(threaded, together, rtol=0, atol=1e-12 * scale)


@pytest.mark.parametrize(("plan", "ratio"), RATIOS)
def test_reactions_hold_the_load(plan: Plan, ratio: float) -> None:
    """Sums of forces and of moments of all reactions on a deck held in every way at once.

    A spring line that meets rigid lines and beams counts each force once.
    """
    stiffness = Stiffness(deck(plan, ratio))
    mesh = stiffness.model.mesh
    F = np.stack([pressure(mesh, 1.0), patch(mesh, 1.7, 0.6, 0.4, 0.3, 7.0)], axis=1)
    U = stiffness.solve(F, refine=True)
    reactions = stiffness.reactions(U, F)
    assert set(reactions) == {"C1", "L1", "C3@L1", "C3@L2", "A", "B"}
    np.testing.assert_allclose(sum(reactions.values()), F.sum(axis=0), rtol=1e-9)


@pytest.mark.parametrize(("plan", "ratio"), RATIOS)
def test_reactions_follow_from_their_influence(plan: Plan, ratio: float) -> None:
    """Of every sort of support, under loads away from it and on it: a patch at an edge and over a
    line, and all of the slab."""
    stiffness = Stiffness(deck(plan, ratio))
    mesh = stiffness.model.mesh
    places = [(0.2, 0.4), (1.7, 0.6), (2.9, -0.9)]
    F = np.stack([pressure(mesh, 1.0), *(patch(mesh, *p, 0.4, 0.3) for p in places)], axis=1)
    reactions = stiffness.reactions(stiffness.solve(F, refine=True), F)
    influence = stiffness.reaction_influence
    assert set(influence) == set(reactions)
    for name, ordinates in influence.items():
        scale = np.abs(F).sum(axis=0).max()
        found = ordinates @ F[::N_FIELDS]
        np.testing.assert_allclose(found, reactions[name], rtol=0, atol=1e-7 * scale, err_msg=name)


def test_reactions_of_a_statically_determinate_deck() -> None:
    """Three point springs carry what a lever rule says, whatever the slab does."""
    mesh = grid_mesh(grid_plan([0.0, 4.0], [0.0, 3.0]), order=3, size=1.0)
    at = [(0.5, 0.5), (3.5, 0.7), (1.8, 2.6)]
    names = ("A", "B", "C")
    for k in (np.inf, 40.0):
        points = tuple(PointSupport(n, p, 0.3, k) for n, p in zip(names, at, strict=True))
        stiffness = Stiffness(PlateModel(mesh=mesh, section=unit_section(0.2), points=points))
        F = patch(mesh, 2.4, 1.1, 0.5, 0.7, 60.0)[:, None]
        U = stiffness.solve(F, refine=True)
        found = stiffness.reactions(U, F)
        lever = np.linalg.solve(
            np.vstack([np.ones(3), np.array(at).T]), 60.0 * np.array([1, 2.4, 1.1])
        )
        np.testing.assert_allclose([found[n][0] for n in names], lever, rtol=1e-9)
        for name, point, force in zip(names, points, lever, strict=True):
            mean = stiffness.model.point_mean(point) @ U[:, 0]
            assert mean == pytest.approx(force / k, abs=1e-12), name


def test_reactions_of_lines_are_shared_at_their_crossing() -> None:
    """A square on four rigid edges: by symmetry every edge carries a quarter."""
    mesh = grid_mesh(grid_plan([0.0, 2.0], [0.0, 2.0]), order=3, size=0.5)
    lines = ("C1", "C2", "L1", "L2")
    stiffness = Stiffness(
        PlateModel(
            mesh=mesh,
            section=unit_section(0.1),
            supports=tuple(LineSupport(line=n, kind="rigid") for n in lines),
        )
    )
    F = pressure(mesh, 3.0)[:, None]
    reactions = stiffness.reactions(stiffness.solve(F, refine=True), F)
    np.testing.assert_allclose([reactions[n][0] for n in lines], 3.0, rtol=1e-10)


def test_nodal_forces_of_a_rigid_motion_vanish() -> None:
    """Element by element, however stiff: what equilibrium checks of thin decks rest on."""
    model = deck(STRAIGHT, 1e4, t=1e-3)
    beam = BeamLine(line="C3", section=model.beams[0].section)
    clamped = (LineSupport(line="C1", kind="clamped"),)
    stiffness = Stiffness(
        PlateModel(mesh=model.mesh, section=model.section, supports=clamped, beams=(beam,))
    )
    x, y = model.mesh.xy.T
    u = np.column_stack([1.0 + 2.0 * x - 3.0 * y, 2.0 + 0 * x, -3.0 + 0 * x]).ravel()[:, None]
    assert np.abs(stiffness.force(u)).max() < 1e-12 * stiffness.matrix().max()


def test_indefinite_and_empty_systems_are_refused() -> None:
    one = np.zeros((1, 2))
    bad = ElementGroup(np.array([[0, 1]]), np.array([[[1.0, 2.0], [2.0, 1.0]]]), np.array([0]))
    with pytest.raises(SolutionError, match="not positive definite"):
        Factorisation([bad], one, 2, np.ones(2, dtype=bool))
    good = ElementGroup(np.array([[0, 1]]), np.array([[[2.0, 1.0], [1.0, 2.0]]]), np.array([0]))
    with pytest.raises(SolutionError, match="no element"):
        Factorisation([good], one, 3, np.ones(3, dtype=bool))


def test_factorisation_of_random_systems() -> None:
    """Elements of different kinds on scattered cells, some dofs held, loads on few rows."""
    rng = np.random.default_rng(3)
    centroids = rng.uniform(0.0, 1.0, (60, 2))
    n_dof = 150
    pieces = []
    for n_elements, size in ((60, 6), (20, 4)):
        dofs = np.array([rng.choice(n_dof, size, replace=False) for _ in range(n_elements)])
        A = rng.normal(size=(n_elements, size, size))
        cell = np.arange(60) if n_elements == 60 else rng.integers(0, 60, n_elements)
        pieces.append(ElementGroup(dofs, A @ A.swapaxes(1, 2) + 0.1 * np.eye(size), cell))
    used = np.unique(np.concatenate([p.dofs.ravel() for p in pieces]))
    free = np.zeros(n_dof, dtype=bool)
    free[used] = True
    free[rng.choice(used, 10, replace=False)] = False
    K = np.zeros((n_dof, n_dof))
    for piece in pieces:
        for dofs, matrix in zip(piece.dofs, piece.matrices, strict=True):
            K[np.ix_(dofs, dofs)] += matrix
    F = np.zeros((n_dof, 5))
    F[rng.choice(used, 8)] = rng.normal(size=(8, 5))
    exact = np.zeros_like(F)
    exact[free] = np.linalg.solve(K[np.ix_(free, free)], F[free])
    found = Factorisation(pieces, centroids, n_dof, free).solve(F)
    np.testing.assert_allclose(found, exact, rtol=0, atol=1e-11 * np.abs(exact).max())


def test_zones_of_very_different_thickness() -> None:
    """Rigidities a million times apart, in one well-scaled factor."""
    mesh = grid_mesh(STRAIGHT, order=3, size=0.8, extra_u=[1.0, 3.0])
    zone = Zone(rectangle_corners((2.0, 0.0), (2.0, 9.0)), 2.0)
    section = Section(thickness=0.02, E=1e6, poisson=0.2, zones=(zone,))
    supports = (LineSupport(line="C1", kind="rigid"), LineSupport(line="C3", kind="rigid"))
    stiffness = Stiffness(PlateModel(mesh=mesh, section=section, supports=supports))
    F = pressure(mesh, 1.0)[:, None]
    U = stiffness.solve(F, refine=True)
    exact = reference_solution(stiffness, F)
    np.testing.assert_allclose(U, exact, rtol=0, atol=1e-8 * np.abs(exact).max())
    total = sum(value[0] for value in stiffness.reactions(U, F).values())
    assert total == pytest.approx(F.sum(), rel=1e-9)
