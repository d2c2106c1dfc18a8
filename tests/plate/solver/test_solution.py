"""Solutions part by part: what is put together from few is what is solved for one by one."""

import numpy as np
import pytest
from scipy import sparse

from plate.arrays import Floats
from plate.conventions import RESULTS
from plate.geometry.plan import grid_plan
from plate.loads.loads import patch_loads
from plate.meshing.grid import grid_mesh
from plate.model.model import PlateModel
from plate.model.supports import LineSupport, PointSupport
from plate.results.fields import FieldRecovery, _together
from plate.solver.solution import REMAINDER, Combined, LocalRows, SolutionByPart, in_few
from plate.solver.stiffness import Stiffness
from tests.helpers import unit_section

PLAN = grid_plan([0.0, 3.0, 6.0, 9.0, 12.0], [-2.0, 2.0])
N = 64


@pytest.fixture(scope="module")
def model() -> PlateModel:
    """Five rigid lines, and a rigid point between two of them."""
    lines = tuple(LineSupport(line=f"C{k}", kind="rigid") for k in range(1, 6))
    mesh = grid_mesh(PLAN, order=3, size=0.5)
    points = (PointSupport("A", (4.4, 0.3), 0.4),)
    return PlateModel(mesh=mesh, section=unit_section(0.2), supports=lines, points=points)


def neighbours(model: PlateModel, step: float) -> sparse.csc_array:
    """N places of one patch in the first bay, eight along and eight across."""
    x, y = np.meshgrid(0.6 + step * np.arange(8), 2.0 * step * np.arange(8), indexing="ij")
    half = np.array([[-0.3, -0.2], [0.3, -0.2], [0.3, 0.2], [-0.3, 0.2]])
    corners = np.stack([x.ravel(), y.ravel()], axis=1)[:, None] + half
    return patch_loads(model.mesh, corners, np.ones(N), np.arange(N), N)


def test_what_is_put_together_from_few_is_what_is_solved_for(model: PlateModel) -> None:
    """Displacements and all fields against every load solved for by itself, with no few: what a
    border loses, 1e-12 of it, costs the derivatives of w some digits."""
    stiffness, recovery = Stiffness(model), FieldRecovery(model)
    F = neighbours(model, 0.05)
    solution, exact = stiffness.solution(F), stiffness.solve(F)
    of_few = [k for k, _ in enumerate(recovery._parts) if solution.part(k).weights is not None]
    assert len(of_few) >= 2, "the test has no part far from the loads"
    scale = np.abs(exact).max()
    np.testing.assert_allclose(solution.dense(), exact, rtol=0, atol=1e-10 * scale)
    some = np.arange(0, 1400, 7).reshape(2, -1)
    np.testing.assert_allclose(solution[some], exact[some], rtol=0, atol=1e-10 * scale)
    fields, expected = recovery.fields(solution), recovery.fields(exact)
    for k, name in enumerate(RESULTS):
        atol = 1e-9 * np.abs(expected[k]).max()
        np.testing.assert_allclose(fields[k], expected[k], rtol=0, atol=atol, err_msg=name)
    every = np.sort(np.concatenate([points for points, _ in recovery.parts(solution)]))
    np.testing.assert_array_equal(every, np.arange(recovery.points.n_points))


def test_points_of_several_parts_are_put_together_from_the_few_of_all() -> None:
    """Sums of what three parts give against the same formed one by one; few columns only where all
    that give are few."""
    rng = np.random.default_rng(5)
    own = Combined(rng.standard_normal((6, 5, 2)), rng.standard_normal((2, N)))
    few = Combined(rng.standard_normal((6, 4, 3)), rng.standard_normal((3, N)))
    full = Combined(rng.standard_normal((6, 3, N)), None)
    shares = [
        (few, np.array([0, 2, 3]), np.array([4, 0, 1])),
        (full, np.array([1, 2]), np.array([1, 2])),
    ]
    expected = own.of_loads.copy()
    for one, there, here in shares:
        expected[:, here] += one.of_loads[:, there]
    found = dict(zip(("full", "few"), _together(own, shares), strict=True))
    assert found["full"][0].tolist() == [1, 2]
    assert found["few"][0].tolist() == [0, 3, 4]
    assert found["full"][1].weights is None
    assert found["few"][1].values.shape[-1] == 2 + 3
    for points, values in found.values():
        # Sums of five products of numbers near one.
        np.testing.assert_allclose(values.of_loads, expected[:, points], rtol=0, atol=1e-13)


def test_reactions_are_read_part_by_part(model: PlateModel) -> None:
    stiffness = Stiffness(model)
    F = neighbours(model, 0.05)
    found = stiffness.reactions(stiffness.solution(F), F)
    for name, values in stiffness.reactions(stiffness.solve(F), F).items():
        np.testing.assert_allclose(found[name], values, rtol=0, atol=1e-8, err_msg=name)


def test_rows_are_read_of_the_parts_that_they_ask_for(model: PlateModel) -> None:
    """Against the same rows on all displacements; rows in one corner leave other parts alone."""
    stiffness = Stiffness(model)
    F = neighbours(model, 0.05)
    solution, exact = stiffness.solution(F), stiffness.solve(F)
    assert isinstance(solution, SolutionByPart)
    first = np.flatnonzero(solution.row < solution.layouts[0].rows.stop)[:60:7]
    rows = sparse.random_array(
        (5, len(first)), density=0.5, rng=np.random.default_rng(2), format="csr"
    )
    spread = sparse.coo_array(
        (rows.data, (rows.tocoo().coords[0], first[rows.indices])), shape=(5, model.n_dof)
    )
    found = LocalRows(sparse.csr_array(spread)).of(solution)
    expected = spread @ exact
    np.testing.assert_allclose(found, expected, rtol=0, atol=1e-10 * np.abs(exact).max())
    assert 0 < len(solution._solved) < len(solution.layouts) - 1
    with pytest.raises(ValueError, match="displacements"):
        LocalRows(sparse.csr_array(spread[:, :-1])).of(solution)


def test_nothing_lies_beyond_the_bounds(model: PlateModel) -> None:
    """Of every field of every load that is put together from few."""
    solution, recovery = Stiffness(model).solution(neighbours(model, 0.05)), FieldRecovery(model)
    seen = 0
    for _, found in recovery.parts(solution):
        if found.weights is not None:
            high, low = (bound[..., 0] for bound in found.bounds())
            own = found.of_loads
            slack = 1e-12 * np.abs(own).max()
            assert (own.max(axis=-1) <= high + slack).all()
            assert (own.min(axis=-1) >= low - slack).all()
            seen += own[..., 0].size
    assert seen > 1000


def random_border(rank: int, noise: float) -> Floats:
    rng = np.random.default_rng(4)
    exact = rng.standard_normal((90, rank)) @ rng.standard_normal((rank, N))
    return np.asarray(exact + noise * rng.standard_normal((90, N)))


def test_few_are_found_only_where_they_leave_nothing() -> None:
    few = in_few(random_border(7, 0.0))
    assert few.weights is not None
    assert len(few.weights) == 7
    border = random_border(7, 0.0)
    assert np.abs(few.of_loads - border).max() <= REMAINDER * np.abs(border).max()
    assert in_few(random_border(N // 2, 0.0)).weights is None
    assert in_few(random_border(7, 1e-9)).weights is None
    broken = random_border(7, 0.0)
    broken[3, 5] = np.nan
    assert in_few(broken).weights is None
