"""How time and memory of the envelope grow, and how near they are to the memory's speed.

python benchmarks/growth.py [--positions N ...] [--sizes M ...] [--repeat N]
python benchmarks/growth.py --cores 1 2 16 [--steps S Y]

A slab over nine rigid lines carries one vehicle of two axles. Every run is a process of its own,
so that its peak of memory is its own. Exponents are fitted to the time of the load positions
alone. Last, for the packaged example: how many load positions there are and how many different
wheel patches, which a superposition of unit responses would have to solve instead.

With --cores the packaged example in finer steps, by itself, on so many threads.
"""

import argparse
import resource
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
from envelope import DECK, STATIONS

from pipelines.deck.examples import EXAMPLES
from pipelines.deck.reading.deck_file import read_deck
from pipelines.envelopes.traffic import traffic_envelopes
from pipelines.model.build import build_model
from pipelines.model.responses import SolvedDeck
from pipelines.system.machine import processors
from pipelines.traffic.positions import load_positions
from plate.results.fields import FieldRecovery

LENGTH = STATIONS[-1] + 2.0
OFFSETS = 16
POSITIONS, SIZES = (1_000, 3_000, 10_000, 30_000), (1.2, 0.6, 0.35, 0.2)


def one(size: float, positions: int) -> None:
    """Print load positions, dof, result points, seconds of the positions, megabytes at most."""
    with tempfile.TemporaryDirectory() as name:
        path = Path(name) / "deck.toml"
        text = DECK.format(stations=list(STATIONS), size=size, step=LENGTH * OFFSETS / positions)
        path.write_text(text.replace("kirchhoff", "mindlin"), encoding="utf-8")
        deck = read_deck(path)
        model = build_model(deck).model
        recovery = FieldRecovery(model)
        solved = SolvedDeck.of(deck, model)
        start = time.perf_counter()
        [found] = traffic_envelopes(solved)
        seconds = time.perf_counter() - start
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        print(found.n_positions, model.n_dof, recovery.points.n_points, seconds, peak)


def fine(cores: int, step: float, lateral_step: float) -> None:
    """Print load positions, result points, seconds of the positions by the clock and of the
    processors, megabytes at most and the share of values left out, of the packaged example on so
    many threads."""
    deck = read_deck(EXAMPLES["estuary"])
    traffic = replace(deck.required_traffic, step=step, lateral_step=lateral_step)
    solved = SolvedDeck.of(replace(deck, traffic=traffic))
    start = time.perf_counter(), time.process_time()
    [found] = traffic_envelopes(solved, workers=cores)
    seconds = time.perf_counter() - start[0], time.process_time() - start[1]
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(found.n_positions, solved.recovery.points.n_points, *seconds, peak, found.left_out)


def on_cores(cores: list[int], steps: list[float]) -> None:
    """Print a table of the packaged example on so many threads each."""
    print(
        "| threads | load positions | result points | time [s] | processors [s] | memory [MB] "
        "| values not formed |\n|---|---|---|---|---|---|---|"
    )
    for count in cores:
        n, points, clock, processor, peak, left_out = run("--fine", count, *steps)
        print(
            f"| {count} | {n:.0f} | {points:.0f} | {clock:.1f} | {processor:.1f} | {peak:.0f} "
            f"| {100.0 * left_out:.0f} % |"
        )


def run(*arguments: float | str) -> list[float]:
    """What a process of its own prints."""
    command = [sys.executable, __file__, *map(str, arguments)]
    done = subprocess.run(command, check=True, capture_output=True, text=True)
    return [float(v) for v in done.stdout.split()]


def bandwidth() -> float:
    """GB/s read and written by a copy on one core."""
    a, b = np.ones(20_000_000), np.ones(20_000_000)
    times = []
    for _ in range(5):
        start = time.perf_counter()
        np.copyto(b, a)
        times.append(time.perf_counter() - start)
    return 2 * 8e-9 * len(a) / min(times)


def table(runs: list[tuple[float, int]], repeat: int, over: int) -> None:
    """Print a table of runs and the exponent of time in column `over`, per position beyond 0."""
    x, y = [], []
    for size, positions in runs:
        found = np.median([run("--one", size, positions) for _ in range(repeat)], axis=0)
        n, dof, points, seconds, peak = found
        values = 6 * n * points / seconds
        print(
            f"| {n:.0f} | {dof:.0f} | {points:.0f} | {seconds:.2f} | {1e3 * seconds / n:.3f} | "
            f"{1e-6 * values:.0f} | {peak:.0f} |"
        )
        x.append(found[over])
        y.append(seconds / n if over else seconds)
    exponent = np.polyfit(np.log(x), np.log(y), 1)[0]
    print(f"\nexponent {exponent:.2f}\n")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--repeat", type=int, default=3)
    parser.add_argument("--positions", type=int, nargs="+", default=POSITIONS)
    parser.add_argument("--sizes", type=float, nargs="+", default=SIZES, help="of cells [m]")
    parser.add_argument("--one", nargs=2, help=argparse.SUPPRESS)
    parser.add_argument("--cores", type=int, nargs="+", help="threads on the packaged example")
    parser.add_argument("--steps", type=float, nargs=2, default=(0.05, 0.1), help="its steps [m]")
    parser.add_argument("--fine", nargs=3, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.one:
        one(float(options.one[0]), int(options.one[1]))
        return
    if options.fine:
        fine(int(options.fine[0]), *map(float, options.fine[1:]))
        return
    if options.cores:
        on_cores(options.cores, list(options.steps))
        return
    cores = processors()
    print(f"{cores} cores; a copy moves {bandwidth():.1f} GB/s on one; median of {options.repeat}")
    head = (
        "| load positions | dof | result points | time [s] | ms per position | million values/s "
        "| memory [MB] |\n|---|---|---|---|---|---|---|"
    )
    print("Load positions\n" + head)
    table([(0.5, n) for n in options.positions], options.repeat, 0)
    print("Degrees of freedom, time per load position\n" + head)
    table([(size, 2_000) for size in options.sizes], options.repeat, 1)
    runs = load_positions(read_deck(EXAMPLES["estuary"]))
    corners = np.concatenate([r.wheels(slice(None)).corners for r in runs]).round(9)
    patches = len(np.unique(corners.reshape(len(corners), -1), axis=0))
    print(
        f"Packaged example: {sum(map(len, runs))} load positions of vehicles, "
        f"{patches} different wheel patches"
    )


if __name__ == "__main__":
    main()
