"""Lower bound of the collapse multiplier: moments in exact equilibrium within the yield condition.

Moments are quadratic in each triangle, by their Bernstein coefficients, and independent of its
neighbours': what equilibrium asks for is that the divergence of their divergence balances the
pressure, the normal moments of both sides are the same along an edge, the edge forces of both sides
balance the line load, and the corner forces at each point add up to nothing. A quadratic field
whose coefficients lie within the convex yield condition lies within it everywhere.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csc_array, diags_array
from scipy.sparse.linalg import splu

from plate.arrays import Floats, Ints
from plate.errors import CollapseError
from plate.plastic.cones import Block, Rows, least
from plate.plastic.discrete import BeamRun, Discrete

# Coefficient of B_jk among the six of a triangle: corners, then middles of sides 01, 12, 20.
COEFFICIENT = np.array([[0, 3, 5], [3, 1, 4], [5, 4, 2]])
# Resistances are taken this much smaller, in turn, until the moments that come back lie within
# the full ones: what rounding leaves.
SHARES = (1e-6, 1e-5, 1e-4)
# Equations are met to this share of the largest sum of their terms.
RESIDUAL = 1e-10


@dataclass(frozen=True)
class StaticField:
    """multiplier : certified. moments : coefficients (m, 6, 3) of m_x, m_y, m_xy. beams : of each
    run those (k, 4) of its edges. used : largest share of the resistance."""

    multiplier: float
    moments: Floats
    beams: tuple[Floats, ...]
    used: float


def lower_bound(problem: Discrete) -> StaticField:
    """The largest multiplier found with moments in equilibrium, certified.

    The moments of the solver are brought into equilibrium to rounding, and what they use of the
    resistances is computed anew.

    Raises
    ------
    CollapseError
        Moments that do not certify; a dead load that is not carried alone.
    """
    equations, rhs = _equilibrium(problem)
    n_moments = 18 * len(problem.triangles.cells)
    for share in SHARES:
        cost = np.zeros(equations.shape[1])
        cost[n_moments] = -1.0
        blocks = [Block("zero", equations, rhs), *_yield(problem, 1.0 - share, len(cost))]
        x = _balanced(equations, rhs, least(cost, blocks))
        moments = x[:n_moments].reshape(-1, 6, 3)
        beams, start = [], n_moments + 1
        for run in problem.beams:
            beams.append(x[start : start + 4 * len(run.edges)].reshape(-1, 4))
            start += 4 * len(run.edges)
        used = _used(problem, moments, beams)
        if used <= 1.0:
            return StaticField(float(x[n_moments]), moments, tuple(beams), used)
    raise CollapseError(
        f"the lower bound is not certified: moments are {used:.6g} times what the bars resist"
    )


def _balanced(equations: csc_array, rhs: Floats, x: Floats) -> Floats:
    """The nearest x that meets the equations."""
    normal = csc_array(equations @ equations.T)
    # Dependent equations would make it singular.
    normal = csc_array(
        normal + 1e-13 * normal.diagonal().max() * diags_array(np.ones(len(rhs)), format="csc")
    )
    factor = splu(normal)
    for _ in range(3):
        x = x - equations.T @ factor.solve(equations @ x - rhs)
    off = float(np.abs(equations @ x - rhs).max())
    terms = float((abs(equations) @ np.abs(x)).max())
    if off > RESIDUAL * max(terms, 1.0):
        raise CollapseError(f"moments are not in equilibrium, by {off:.1e} of {terms:.1e}")
    return np.asarray(x)


def _used(problem: Discrete, moments: Floats, beams: list[Floats]) -> float:
    m = np.stack([moments[..., [0, 2]], moments[..., [2, 1]]], axis=-2)
    most = 0.0
    for tensors, sign in ((problem.positive, 1.0), (problem.negative, -1.0)):
        white = np.linalg.inv(np.linalg.cholesky(tensors))
        shares = np.einsum("mij,mkjl,mnl->mkin", white, sign * m, white)
        most = max(most, float(np.linalg.eigvalsh(shares).max()))
    for run, values in zip(problem.beams, beams, strict=True):
        if np.any(values > run.sagging) or np.any(values < -run.hogging):
            least_moment = max(min(run.sagging, run.hogging), 1e-300)
            over = max(values.max() - run.sagging, -values.min() - run.hogging) / least_moment
            most = max(most, 1.0 + float(over))
    return most


def _yield(problem: Discrete, share: float, n_columns: int) -> list[Block]:
    """Both cones of every coefficient, and the signs of what beams have left."""
    n = len(problem.triangles.cells)
    cones = Rows()
    first = 3 * np.arange(6 * n)
    bounds = []
    for k, (tensors, sign) in enumerate(((problem.positive, 1.0), (problem.negative, -1.0))):
        row = 18 * n * k + first
        for offset, column, value in (
            (0, 0, 1.0),
            (0, 1, 1.0),
            (1, 0, 1.0),
            (1, 1, -1.0),
            (2, 2, 2.0),
        ):
            cones.add(row + offset, first + column, np.array(sign * value))
        xx, yy, xy = tensors[:, 0, 0], tensors[:, 1, 1], tensors[:, 0, 1]
        bounds.append(np.repeat(np.stack([xx + yy, xx - yy, 2.0 * xy], axis=1), 6, axis=0).ravel())
    blocks = [Block("cone", cones.matrix(36 * n, n_columns), share * np.concatenate(bounds))]
    start, signs, limits, count = 18 * n + 1, Rows(), [], 0
    for run in problem.beams:
        own = start + np.arange(4 * len(run.edges))
        start += len(own)
        for sign, limit in ((1.0, run.sagging), (-1.0, run.hogging)):
            signs.add(count + np.arange(len(own)), own, np.array(sign))
            limits.append(np.full(len(own), share * limit))
            count += len(own)
    if count:
        blocks.append(Block("sign", signs.matrix(count, n_columns), np.concatenate(limits)))
    return blocks


def _equilibrium(problem: Discrete) -> tuple[csc_array, Floats]:
    """Equations of the coefficients, the multiplier after them, then the coefficients of beams.

    With Q = div m and t along a side, to the right of its outward normal n from y to x: a force
    V = Q n + d m_nt/dt on each side, and m_nt before less m_nt after a corner on it.
    """
    mesh = problem.triangles
    n = len(mesh.cells)
    multiplier = 18 * n
    rows = Rows()
    rhs: list[Floats] = []
    n_rows = 0

    def numbered(kept: NDArray[np.bool_]) -> Ints:
        """Row numbers where `kept`, else -1."""
        nonlocal n_rows
        number = np.where(kept, n_rows + np.cumsum(kept.ravel()).reshape(kept.shape) - 1, -1)
        n_rows += int(kept.sum())
        return number

    # Within triangles, times their areas.
    inside = numbered(np.ones(n, dtype=bool))
    g = mesh.gradients
    for i in range(3):
        for j in range(3):
            _add_moments(
                rows,
                inside,
                COEFFICIENT[i, j],
                2.0 * mesh.areas[:, None, None] * (g[:, i, :, None] * g[:, j, None, :]),
            )
    rows.add(inside, np.array(multiplier), problem.live * mesh.areas)
    rhs.append(-problem.dead * mesh.areas)

    # Normal moments along edges, and forces at their ends.
    rim = mesh.on_rim
    turns = numbered(np.repeat((~problem.turnless)[:, None], 3, axis=1))
    rhs.append(np.zeros(int((turns >= 0).sum())))
    free = np.repeat((~problem.held)[:, None], 2, axis=1)
    forces = numbered(free)
    # Times lengths, as pressures times areas: small triangles count like large ones.
    lengths = np.repeat(mesh.lengths[:, None], 2, axis=1)
    rows.add(forces, np.array(multiplier), -problem.live_lines[:, None] * lengths)
    rhs.append((problem.dead_lines[:, None] * lengths)[free])
    corners = numbered(~problem.held_points)
    rhs.append(np.zeros(int((corners >= 0).sum())))

    first_side = np.full(len(mesh.edges), -1)
    first_side[mesh.cell_edges.ravel()[::-1]] = np.arange(3 * n)[::-1]
    for side in range(3):
        a, b, middle = side, (side + 1) % 3, 3 + side
        edge, forward = mesh.cell_edges[:, side], mesh.forward[:, side]
        normal, along = mesh.outward[:, side], mesh.along[:, side]
        length = mesh.lengths[edge]
        nn = normal[:, :, None] * normal[:, None, :]
        nt = normal[:, :, None] * along[:, None, :]
        sign = np.where(first_side[edge] == 3 * np.arange(n) + side, 1.0, -1.0)
        sign = np.where(rim[edge], 1.0, sign)[:, None, None]
        start, end = np.where(forward, 0, 1), np.where(forward, 1, 0)
        _add_moments(rows, turns[edge, 2 * start], a, sign * nn)
        _add_moments(rows, turns[edge, np.ones(n, dtype=int)], middle, sign * nn)
        _add_moments(rows, turns[edge, 2 * end], b, sign * nn)
        slope = 2.0 * nt
        for corner, row in ((a, forces[edge, start]), (b, forces[edge, end])):
            for j in range(3):
                q = 2.0 * length[:, None, None] * normal[:, :, None] * g[:, j, None, :]
                _add_moments(rows, row, COEFFICIENT[corner, j], q)
        _add_moments(rows, forces[edge, start], middle, slope)
        _add_moments(rows, forces[edge, start], a, -slope)
        _add_moments(rows, forces[edge, end], b, slope)
        _add_moments(rows, forces[edge, end], middle, -slope)
        _add_moments(rows, corners[mesh.cells[:, a]], a, nt)
        _add_moments(rows, corners[mesh.cells[:, b]], b, -nt)

    start_column = multiplier + 1
    for run in problem.beams:
        ends = numbered(np.array([not run.built_in[0], not run.built_in[1]]))
        joints = numbered(np.ones(len(run.edges) - 1, dtype=bool))
        rhs.append(np.zeros(int((ends >= 0).sum()) + len(joints)))
        _add_beam(rows, problem, run, start_column, ends, joints, forces, corners)
        start_column += 4 * len(run.edges)
    return rows.matrix(n_rows, start_column), np.concatenate(rhs)


def _add_beam(
    rows: Rows,
    problem: Discrete,
    run: BeamRun,
    start: int,
    ends: Ints,
    joints: Ints,
    forces: Ints,
    corners: Ints,
) -> None:
    """What a beam's moments, cubic along each edge, add to the forces on edges and points."""
    column = start + 4 * np.arange(len(run.edges))
    one = np.array(1.0)
    rows.add(ends, np.array([column[0], column[-1] + 3]), one)
    rows.add(joints, column[:-1] + 3, one)
    rows.add(joints, column[1:], -one)
    length = problem.triangles.lengths[run.edges]
    forward = problem.triangles.edges[run.edges, 0] == run.points[:-1]
    at_start, at_end = np.where(forward, 0, 1), np.where(forward, 1, 0)
    for k, value in enumerate((1.0, -2.0, 1.0)):
        rows.add(forces[run.edges, at_start], column + k, -6.0 * value / length)
        rows.add(forces[run.edges, at_end], column + 1 + k, -6.0 * value / length)
    for point, k, value in (
        (run.points[:-1], 0, 3.0),
        (run.points[:-1], 1, -3.0),
        (run.points[1:], 3, 3.0),
        (run.points[1:], 2, -3.0),
    ):
        rows.add(corners[point], column + k, value / length)


def _add_moments(rows: Rows, row: Ints, coefficient: int, weights: Floats) -> None:
    """The double product of weights (m, 2, 2) with a coefficient of every triangle's moments."""
    column = 18 * np.arange(len(weights)) + 3 * coefficient
    rows.add(row, column, weights[:, 0, 0])
    rows.add(row, column + 1, weights[:, 1, 1])
    rows.add(row, column + 2, weights[:, 0, 1] + weights[:, 1, 0])
