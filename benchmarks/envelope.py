"""The whole envelope job, at equal accuracy, against the same job written plainly.

python benchmarks/envelope.py [--repeat N] [--step M]

A thin slab over nine rigid lines carries one vehicle of two axles, moved over the whole deck in
steps along and across it. Both sides find the largest and the least m_x at all their points. Each
takes the coarsest mesh of its list whose peaks, sagging and hogging, lie within 0.3 % of a
converged answer: the mean of both sides' finest meshes, which differ by less than the limit.

The plain side is scikit-fem with its best plate element for rectangles, the conforming bicubic of
Bogner, Fox and Schmit: one factorisation by splu as it comes, then position by position a load
vector by Gauss points of the patches, a solution, and moments at nine points of each element,
its corners among them.
"""

import argparse
import tempfile
import time
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import numpy as np
import skfem
from scipy.sparse.linalg import splu
from skfem.element import DiscreteField
from skfem.helpers import dd, ddot, eye, trace

from pipelines.deck.reading.deck_file import read_deck
from pipelines.envelopes.traffic import traffic_envelopes
from pipelines.model.build import build_model
from pipelines.model.responses import SolvedDeck
from pipelines.traffic.positions import load_positions
from plate.arrays import Floats

LIMIT = 3e-3
STATIONS = tuple(round(3.1 * i, 6) for i in range(9))
WIDTH, THICKNESS, E, NU = 7.7, 0.27, 34e9, 0.2
AXLES, WHEELS, SIDE, LOAD = (0.0, 1.2), (-1.0, 1.0), 0.8, 75e3
OURS, PLAIN = (0.6, 0.5, 0.4, 0.35, 0.3), (0.4, 0.3, 0.25, 0.2, 0.15)

DECK = """
title = "thin slab on rigid lines"
[slab]
thickness_mm = 270
E_GPa = 34.0
poisson = 0.2
theory = "kirchhoff"
[plan]
stations_m = {stations}
offsets_m = [-3.85, 3.85]
[[line]]
on = "C*"
support = "rigid"
[traffic]
carriageway_m = [-3.4, 3.4]
step_m = {step}
lateral_step_m = 0.4
edge_clearance_m = 0.4
dispersal = "none"
directions = "forward"
[[vehicle]]
name = "two axles"
axles = [
  {{ at_m = 0.0, load_kN = 150, gauge_m = 2.0, patch_mm = [800, 800] }},
  {{ at_m = 1.2, load_kN = 150, gauge_m = 2.0, patch_mm = [800, 800] }} ]
[mesh]
size_m = {size}
"""


def ours(size: float, step: float, folder: Path) -> tuple[Floats, int]:
    """Largest and least m_x [N m/m], and the number of load positions."""
    path = folder / "deck.toml"
    path.write_text(DECK.format(stations=list(STATIONS), size=size, step=step), encoding="utf-8")
    deck = read_deck(path)
    model = build_model(deck).model
    solved = SolvedDeck.of(deck, model)
    [found] = traffic_envelopes(solved)
    extremes = found.fields.extremes
    peaks = np.array([extremes.maximum[1].max(), extremes.minimum[1].min()])
    return peaks, found.n_positions


def plain(size: float, places: Floats, spent: Floats) -> Floats:
    """Largest and least m_x [N m/m] over places (n, 2) of the first axle's centre.

    spent : (3,) seconds for loads, solutions and moments, added to.
    """
    bays = [np.linspace(a, b, round((b - a) / size) + 1) for a, b in pairwise(STATIONS)]
    x = np.unique(np.round(np.concatenate(bays), 9))
    y = np.linspace(-0.5 * WIDTH, 0.5 * WIDTH, round(WIDTH / size) + 1)
    basis = skfem.Basis(skfem.MeshQuad.init_tensor(x, y), skfem.ElementQuadBFS(), intorder=5)
    lattice = np.array([[a, b] for a in (0.0, 0.5, 1.0) for b in (0.0, 0.5, 1.0)]).T
    read = skfem.Basis(basis.mesh, basis.elem, quadrature=(lattice, np.ones(9)))
    D = E * THICKNESS**3 / 12.0 / (1.0 - NU**2)

    def moments(w: DiscreteField) -> Floats:
        return np.asarray(-D * ((1.0 - NU) * dd(w) + NU * eye(trace(dd(w)), 2)))

    @skfem.BilinearForm
    def bending(u, v, _):  # type: ignore[no-untyped-def]
        return -ddot(moments(u), dd(v))

    K = bending.assemble(basis)
    on_line = np.isin(np.round(basis.doflocs[0], 6), STATIONS)
    along = np.zeros(basis.N, dtype=bool)
    along[basis.nodal_dofs[[0, 2]].ravel()] = True  # w and its slope along the line
    free = np.flatnonzero(~(on_line & along))
    lu = splu(K[free][:, free].tocsc())
    # About three points to an element, or the patch would act as point loads.
    points, weights = np.polynomial.legendre.leggauss(4 + round(3.0 * SIDE / size))
    a, b = (0.5 * SIDE * g.ravel() for g in np.meshgrid(points, points))
    share = 0.25 * LOAD * np.outer(weights, weights).ravel()
    high, low = 0.0, 0.0
    for s, offset in places:
        began = time.perf_counter()
        f = np.zeros(basis.N)
        for axle in AXLES:
            for wheel in WHEELS:
                at = np.stack([s - axle + a, offset + wheel + b])
                on = (at[0] > x[0]) & (at[0] < x[-1])
                if on.any():
                    f += basis.probes(at[:, on]).T @ share[on]
        loaded = time.perf_counter()
        u = np.zeros(basis.N)
        u[free] = lu.solve(f[free])
        answered = time.perf_counter()
        m_x = moments(read.interpolate(u))[0, 0]
        high, low = max(high, float(m_x.max())), min(low, float(m_x.min()))
        spent += np.diff([began, loaded, answered, time.perf_counter()])
    return np.array([high, low])


def timed(work: Callable[[], object], repeat: int) -> list[float]:
    found = []
    for _ in range(repeat):
        start = time.perf_counter()
        work()
        found.append(time.perf_counter() - start)
    return found


def places(step: float, folder: Path) -> Floats:
    """Load positions (n, 2) of the deck: station and offset."""
    path = folder / "deck.toml"
    path.write_text(DECK.format(stations=list(STATIONS), size=0.8, step=step), encoding="utf-8")
    [run] = load_positions(read_deck(path))
    return np.column_stack([run.stations, run.offsets])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--repeat", type=int, default=3)
    parser.add_argument("--step", type=float, default=0.1)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        # Accuracy on a coarser step, the same on both sides.
        few = places(0.775, folder)
        fine = [ours(0.25, 0.775, folder)[0], plain(0.12, few, np.zeros(3))]
        converged = np.mean(fine, axis=0)
        apart = float(np.abs(fine[0] / fine[1] - 1.0).max())
        print(f"finest: {[(1e-3 * peaks).round(2).tolist() for peaks in fine]} kNm/m")
        print(f"converged m_x {1e-3 * converged.round(1)} kNm/m, sides {100 * apart:.3f} % apart")

        def coarsest(sizes: tuple[float, ...], peaks: Callable[[float], Floats]) -> float:
            for size in sizes:
                error = float(np.abs(peaks(size) / converged - 1.0).max())
                print(f"  cells {size} m: {100 * error:.2f} %")
                if error <= LIMIT:
                    return size
            raise SystemExit("no mesh of the list is good enough")

        mine = coarsest(OURS, lambda size: ours(size, 0.775, folder)[0])
        other = coarsest(PLAIN, lambda size: plain(size, few, np.zeros(3)))
        every = places(options.step, folder)
        # The plain side's positions cost the same each: a part of them, scaled.
        part = every[:: max(1, len(every) // 200)]
        first: list[float] = []
        second: list[float] = []
        setup: list[float] = []
        spent = np.zeros(3)
        for _ in range(options.repeat):
            first += timed(lambda: ours(mine, options.step, folder), 1)
            setup += timed(lambda: plain(other, every[:1], np.zeros(3)), 1)
            second += timed(lambda: plain(other, part, spent), 1)
        rate = (np.array(second) - np.array(setup)) / (len(part) - 1)
        whole = np.array(setup) + rate * len(every)
        print(f"{len(every)} load positions; plain: {len(part)} of them timed, the rest scaled")
        print("| side | cells [m] | time [s], median (least to most) | ms per position |")
        print("|---|---|---|---|")
        for side, size, times in (("deckslab", mine, first), ("plain", other, whole.tolist())):
            middle = float(np.median(times))
            print(
                f"| {side} | {size} | {middle:.2f} ({min(times):.2f} to {max(times):.2f}) | "
                f"{1e3 * middle / len(every):.2f} |"
            )
        parts = 1e3 * spent / (options.repeat * len(part))
        print(
            f"plain, ms per position: load vector {parts[0]:.1f}, solution {parts[1]:.1f}, "
            f"moments {parts[2]:.1f}"
        )
        print(f"plain over deckslab: {np.median(whole) / np.median(first):.0f}")


if __name__ == "__main__":
    main()
