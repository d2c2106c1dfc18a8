"""Time per load of the factorised stiffness, against general sparse solvers, side by side.

python benchmarks/solves.py [--repeat N] [--sizes M ...]

Each solved takes the same block of loads in turn, so that a drift of the machine's speed falls on
all of them. Flops are counted as 4 nnz(L) per load, whatever a solved leaves out. The sparse
Cholesky library is taken where it is installed (`pip install cholespy`).
"""

import argparse
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import numpy as np
from scipy import sparse
from scipy.sparse.linalg import SuperLU, splu
from threadpoolctl import threadpool_info, threadpool_limits

try:
    import cholespy
except ImportError:
    cholespy = None

from plate.arrays import Floats
from plate.elements.beam import BeamSection
from plate.elements.section import Section
from plate.geometry.plan import grid_plan
from plate.loads.loads import patch_loads
from plate.meshing.grid import Grading, grid_mesh
from plate.model.model import PlateModel
from plate.model.supports import BeamLine, Hold
from plate.solver.stiffness import Stiffness

# Loads solved together, as in the program.
BLOCK = 192
SIZES = (0.55, 0.235)


def deck_model(size: float) -> PlateModel:
    """Eight bays of 3.1 m on cross beams of 7.7 m, edge beams, order 3."""
    stations = [3.1 * i for i in range(9)]
    plan = grid_plan(stations, [-3.85, 3.85], overhang={"start": 0.31, "end": 0.31})
    edge = {"start": 0.135, "end": 0.135}
    mesh = grid_mesh(
        plan,
        order=3,
        size=size,
        grading=Grading(edge, {"left": 0.135, "right": 0.135}),
    )
    cross = BeamSection(9.0e8, 2.7e6, 9.2e8)
    side = BeamSection(2.2e8, 1.7e7)
    holds = (Hold("L1", stub=0.45), Hold("L2", stub=0.45))
    beams = tuple(BeamLine(line=f"C{i + 1}", section=cross, holds=holds) for i in range(9))
    beams += tuple(BeamLine(line=f"L{j}:full", section=side) for j in (1, 2))
    return PlateModel(
        mesh=mesh, section=Section(thickness=0.27, E=34e9, poisson=0.2), supports=(), beams=beams
    )


def loads(model: PlateModel) -> sparse.csc_array:
    """A block of wheel patches at neighbouring places, on all degrees of freedom."""
    x, y = np.meshgrid(12.4 + 0.1 * np.arange(16), np.linspace(-3.0, 3.0, 12), indexing="ij")
    centre = np.stack([x.ravel(), y.ravel()], axis=1)
    half = np.array([[-0.4, -0.5], [0.4, -0.5], [0.4, 0.5], [-0.4, 0.5]])
    columns = np.arange(BLOCK)
    F = patch_loads(model.mesh, centre[:, None] + half, np.full(BLOCK, 1e5), columns, BLOCK)
    return sparse.csc_array((F.data, F.indices, F.indptr), shape=(model.n_dof, BLOCK))


def milliseconds(work: Callable[[], object], n: int) -> float:
    """Time per load [ms] of work on n loads."""
    start = time.perf_counter()
    work()
    return 1e3 * (time.perf_counter() - start) / n


# What is timed, the loads that it solves, and the entries of the factor.
Work = tuple[Callable[[], object], int, float]


def dgemm(n: int = 3000) -> float:
    """GFLOP/s of one large product."""
    a = np.random.default_rng(0).random((n, n))
    start = time.perf_counter()
    _ = a @ a
    return 2e-9 * n**3 / (time.perf_counter() - start)


def solvers(model: PlateModel, pool: ThreadPoolExecutor) -> tuple[int, dict[str, Work]]:
    """Free dof, and for each solved its work, the loads that it solves and nnz(L)."""
    stiffness = Stiffness(model)
    factor = stiffness.factor
    F = loads(model)
    free = np.flatnonzero(factor.row < factor.n_rows - 1)
    matrix = stiffness.matrix()[free][:, free].tocsc()
    symmetric = splu(
        matrix,
        permc_spec="MMD_AT_PLUS_A",
        diag_pivot_thresh=0.0,
        options={"SymmetricMode": True},
    )
    plain = splu(matrix)
    G = F.toarray()[free]

    def twice(solve: Callable[[], object]) -> None:
        for future in [pool.submit(solve), pool.submit(solve)]:
            future.result()

    n, few = BLOCK, 8
    n_symmetric = 0.5 * (symmetric.L.nnz + symmetric.U.nnz)
    n_plain = 0.5 * (plain.L.nnz + plain.U.nnz)

    def one_by_one(lu: SuperLU) -> list[Floats]:
        return [lu.solve(G[:, k]) for k in range(few)]

    found: dict[str, Work] = {
        "dissection": (lambda: factor.solve(F), n, factor.n_factor),
        "dissection, two threads": (
            lambda: twice(lambda: factor.solve(F)),
            2 * n,
            factor.n_factor,
        ),
        "splu, symmetric, in blocks": (lambda: symmetric.solve(G), n, n_symmetric),
        "splu, symmetric, two threads": (
            lambda: twice(lambda: symmetric.solve(G)),
            2 * n,
            n_symmetric,
        ),
        "splu, symmetric, one by one": (lambda: one_by_one(symmetric), few, n_symmetric),
        "splu as it comes, one by one": (lambda: one_by_one(plain), few, n_plain),
    }
    if cholespy is not None:
        one = cholespy.CholeskySolverD(
            len(free),
            matrix.indptr.astype(np.int32),
            matrix.indices.astype(np.int32),
            matrix.data,
            cholespy.MatrixType.CSC,
        )
        # It takes 128 loads at most.
        part = np.ascontiguousarray(G[:, :128])
        out = np.zeros_like(part)
        found["cholespy, in blocks"] = (lambda: one.solve(part, out), 128, float("nan"))
    return len(free), found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--repeat", type=int, default=5)
    parser.add_argument("--sizes", type=float, nargs="+", default=SIZES, help="of cells [m]")
    options = parser.parse_args()
    blas = {
        f"{i['internal_api']} {i['version']}" for i in threadpool_info() if "blas" in i["user_api"]
    }
    print(f"BLAS {', '.join(sorted(blas))}, one thread; median of {options.repeat}, least to most")
    print("| free dof | solved | ms per load | GFLOP/s | share of dgemm | times the dissection |")
    print("|---|---|---|---|---|---|")
    with threadpool_limits(1), ThreadPoolExecutor(2) as pool:
        dgemm()
        for size in options.sizes:
            n_free, found = solvers(deck_model(size), pool)
            rates: list[float] = []
            times: dict[str, list[float]] = {name: [] for name in found}
            for _ in range(options.repeat):
                rates.append(dgemm())
                for name, (work, n, _size) in found.items():
                    times[name].append(milliseconds(work, n))
            rate, base = np.median(rates), np.median(times["dissection"])
            for name, (_work, _n, n_factor) in found.items():
                middle = float(np.median(times[name]))
                flops = 4e-6 * n_factor / middle
                print(
                    f"| {n_free} | {name} | {middle:.2f} ({min(times[name]):.2f} to "
                    f"{max(times[name]):.2f}) | {flops:.1f} | {100 * flops / rate:.0f} % | "
                    f"{middle / base:.1f} |"
                )
            print(f"| {n_free} | large product (n = 3000) | | {rate:.1f} | 100 % | |")


if __name__ == "__main__":
    main()
