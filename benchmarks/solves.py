"""Time per load of the factorised stiffness, against general sparse solvers, side by side.

python benchmarks/solves.py [--repeat N]

One process and one processor; each solver takes the same blocks of loads in turn, so that a drift
of the machine's speed falls on all of them. Flops are counted as 4 nnz(L) per load.
"""

import argparse
import time
from collections.abc import Callable

import numpy as np
from scipy.sparse.linalg import splu
from threadpoolctl import threadpool_info, threadpool_limits

from plate.beams import BeamSection
from plate.grid import Grading, grid_mesh
from plate.loads import patch_loads
from plate.model import PlateModel
from plate.plan import grid_plan
from plate.section import Section
from plate.stiffness import Stiffness
from plate.supports import BeamLine, Hold

BLOCK = 96


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
    beams = tuple(BeamLine(f"C{i + 1}", cross, holds) for i in range(9))
    beams += tuple(BeamLine(f"L{j}:full", side) for j in (1, 2))
    return PlateModel(mesh, Section(0.27, 34e9, 0.2), (), beams)


def loads(model: PlateModel) -> np.ndarray:
    """A block of wheel patches at neighbouring places."""
    x, y = np.meshgrid(12.4 + 0.1 * np.arange(8), np.linspace(-3.0, 3.0, 12), indexing="ij")
    centre = np.stack([x.ravel(), y.ravel()], axis=1)
    half = np.array([[-0.4, -0.5], [0.4, -0.5], [0.4, 0.5], [-0.4, 0.5]])
    columns = np.arange(BLOCK)
    return patch_loads(
        model.mesh, centre[:, None] + half, np.full(BLOCK, 1e5), columns, BLOCK
    ).toarray()


def milliseconds(work: Callable[[], object]) -> float:
    """Time of one call per load [ms]."""
    start = time.perf_counter()
    work()
    return 1e3 * (time.perf_counter() - start) / BLOCK


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--repeat", type=int, default=5)
    repeat = parser.parse_args().repeat
    blas = {
        f"{i['internal_api']} {i['version']}" for i in threadpool_info() if "blas" in i["user_api"]
    }
    print(f"BLAS {', '.join(sorted(blas))}, one thread; median of {repeat} (lowest to highest)")
    print("| free dof | solver | ms per load | GFLOP/s | times the dissection |")
    print("|---|---|---|---|---|")
    with threadpool_limits(1):
        a = np.random.default_rng(0).random((2000, 2000))
        rates = []
        for _ in range(repeat):
            start = time.perf_counter()
            _ = a @ a
            rates.append(16.0 / (time.perf_counter() - start))
        for size in (0.5, 0.24):
            model = deck_model(size)
            stiffness = Stiffness(model)
            F = loads(model)
            free = stiffness.factor.order
            matrix = stiffness.matrix()[free][:, free].tocsc()
            options = {"SymmetricMode": True}
            lu = splu(matrix, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options=options)
            G = F[free]
            solvers: dict[str, tuple[Callable[[], object], float]] = {
                "dissection": (
                    lambda s=stiffness, f=F: s.factor.solve(f),
                    stiffness.factor.n_factor,
                ),
                "splu, symmetric, block": (
                    lambda s=lu, g=G: s.solve(g),
                    0.5 * (lu.L.nnz + lu.U.nnz),
                ),
                "splu, symmetric, one by one": (
                    lambda s=lu, g=G: [s.solve(g[:, k]) for k in range(BLOCK)],
                    0.5 * (lu.L.nnz + lu.U.nnz),
                ),
            }
            times: dict[str, list[float]] = {name: [] for name in solvers}
            for _ in range(repeat):
                for name, (work, _n) in solvers.items():
                    times[name].append(milliseconds(work))
            base = np.median(times["dissection"])
            for name, (_w, n_factor) in solvers.items():
                middle = float(np.median(times[name]))
                print(
                    f"| {len(free)} | {name} | {middle:.2f} ({min(times[name]):.2f} to "
                    f"{max(times[name]):.2f}) | {4e-6 * n_factor / middle:.1f} | "
                    f"{middle / base:.1f} |"
                )
        print(f"\nLarge product (dgemm, n = 2000): {np.median(rates):.0f} GFLOP/s in the same run")


if __name__ == "__main__":
    main()
