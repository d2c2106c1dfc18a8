"""Whole jobs, a cold process each with its report, as ratios to products of matrices.

python benchmarks/wholejob.py [--repeat N] [NAME ...]

What a machine gives changes from one to the next and, with other work on it, from minute to minute:
every job is told as its seconds over those of ten products of 3000 x 3000 matrices on one core,
taken right before and after it. The least of all repeats counts, of the seconds of a clock and of
those of all processors, which other work disturbs less. Then the stages of each job, by what they
make it wait and by what its processors do meanwhile: work of another stage may run beside, and what
a process beside the run uses is in the job's seconds alone. Modules are compiled once, as in every
program that has run before.
"""

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from pipelines.deck.starters import starter
from pipelines.system.machine import processors

SIZE, PRODUCTS = 3000, 10

# Ratios aimed at: by a clock, on two cores or sixteen.
AIMS: Mapping[str, Mapping[int, float]] = {
    "-h": {2: 0.05},
    "small": {2: 0.3},
    "estuary": {2: 1.4, 16: 0.6},
    "estuary-bars": {2: 4.2},
}

# Two bays of the starter for cross beams, less wide, under fewer load positions.
SMALL = (
    ("stations_m = [0.0, 3.5, 7.0, 10.5, 14.0]", "stations_m = [0.0, 3.2, 6.4]"),
    ("offsets_m = [-3.9, 3.9]", "offsets_m = [-3.3, 3.3]"),
    ("carriageway_m = [-3.5, 3.5]", "carriageway_m = [-2.9, 2.9]"),
    ('load_models = ["EN 1991-2 LM1"]', 'vehicles = ["EN 1991-2 LM2"]'),
    ("step_m = 0.3 ", "step_m = 0.6 "),
    ("lateral_step_m = 0.5 ", "lateral_step_m = 1.5 "),
)

HELP = """
import sys
from pipelines.cli.main import main
sys.argv[0] = "deckslab"
main(["-h"])
"""

RUN = """
import json, sys, time
from pathlib import Path
from pipelines.__main__ import collect_seldom

collect_seldom()
began, used = time.perf_counter(), time.process_time()
marks = [("start", began, used)]

def tell(stage, part, whole):
    if stage != marks[-1][0]:
        marks.append((stage, time.perf_counter(), time.process_time()))

from pipelines.cli.words import found_deck
from pipelines.run import run

run(found_deck(sys.argv[1]), Path(sys.argv[2]), tell)
print(json.dumps([*marks, ("", time.perf_counter(), time.process_time())]))
"""

PRODUCT = f"""
import time
import numpy as np
A = np.random.default_rng(1).random(({SIZE}, {SIZE}))
A @ A
clock, used = time.perf_counter(), time.process_time()
A @ A
print({PRODUCTS} * (time.perf_counter() - clock), {PRODUCTS} * (time.process_time() - used))
"""


@dataclass(frozen=True, kw_only=True)
class Timed:
    """Seconds of a clock and of all processors: of a job, of the products about it, of each
    stage."""

    clock: float
    processors: float
    products: tuple[float, float]
    stages: Mapping[str, tuple[float, float]]

    @property
    def ratios(self) -> tuple[float, float]:
        """Of the job to the products, by the clock and by processors."""
        return self.clock / self.products[0], self.processors / self.products[1]


def products() -> tuple[float, float]:
    """Seconds of ten products on one core, by a clock and by processors, in a process apart."""
    one = dict.fromkeys(("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"), "1")
    done = subprocess.run(
        [sys.executable, "-c", PRODUCT], check=True, capture_output=True, text=True,
        env=os.environ | one,
    )  # fmt: skip
    clock, used = map(float, done.stdout.split())
    return clock, used


def timed(name: str, folder: Path) -> Timed:
    """A job in a process of its own."""
    deck = folder / "small.toml" if name == "small" else name
    command = [HELP] if name == "-h" else [RUN, os.fspath(deck), os.fspath(folder / "results")]
    before, used = products(), os.times()
    start = time.perf_counter()
    env = {key: value for key, value in os.environ.items() if key != "PYTHONDONTWRITEBYTECODE"}
    done = subprocess.run(
        [sys.executable, "-c", *command], check=True, capture_output=True, text=True, env=env
    )
    clock, now = time.perf_counter() - start, os.times()
    cost = now.children_user + now.children_system - used.children_user - used.children_system
    marks = [] if name == "-h" else json.loads(done.stdout.splitlines()[-1])
    stages: dict[str, tuple[float, float]] = {}
    for (stage, *then), (_, *later) in pairwise(marks):
        stages[stage] = (later[0] - then[0], later[1] - then[1])
    return Timed(clock=clock, processors=cost, products=min(before, products()), stages=stages)


def small_deck() -> str:
    """A deck of 324 cells and some fifty load positions."""
    text = starter("truss")
    for old, new in SMALL:
        assert old in text
        text = text.replace(old, new, 1)
    return text


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("names", nargs="*", metavar="NAME", help=f"of {', '.join(AIMS)}")
    parser.add_argument("--repeat", type=int, default=3)
    options = parser.parse_args()
    names = options.names or list(AIMS)
    cores = processors()
    found: dict[str, list[Timed]] = {name: [] for name in names}
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        (folder / "small.toml").write_text(small_deck(), encoding="utf-8")
        for _ in range(options.repeat):
            for name in names:
                found[name].append(timed(name, folder))
    print(
        f"{cores} processors; {PRODUCTS} products of {SIZE} x {SIZE} matrices take "
        f"{min(one.products[0] for many in found.values() for one in many):.2f} s on one\n"
    )
    print("| job | clock [s] | ratio | aim | processors [s] | ratio |\n|---|---|---|---|---|---|")
    for name, many in found.items():
        clock = min(many, key=lambda one: one.ratios[0])
        cost = min(many, key=lambda one: one.ratios[1])
        aim = "; ".join(f"{aim} on {count}" for count, aim in AIMS.get(name, {}).items())
        print(
            f"| {name} | {clock.clock:.2f} | {clock.ratios[0]:.2f} | {aim} "
            f"| {cost.processors:.2f} | {cost.ratios[1]:.2f} |"
        )
    for name, many in found.items():
        least = min(many, key=lambda one: one.ratios[0])
        if least.stages:
            print(f"\n| stages of {name} | clock [s] | ratio | processors [s] |\n|---|---|---|---|")
        for stage, (waited, used) in least.stages.items():
            print(f"| {stage} | {waited:.2f} | {waited / least.products[0]:.3f} | {used:.2f} |")


if __name__ == "__main__":
    main()
