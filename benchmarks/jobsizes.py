"""Estimated against actual memory and time of whole runs: `job_size` held to account.

python benchmarks/jobsizes.py [NAME ...]

Every run is a process of its own: memory is its peak, time the seconds of all processors that it
used (user and system), which other work on the machine disturbs less than the seconds of a clock.
Ratios are estimate to actual. Decks are small, middle and large, with load models, with bars.
"""

import argparse
import os
import re
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from pipelines.deck.examples import FOLDER
from pipelines.deck.reading.deck_file import read_deck
from pipelines.deck.starters import starter
from pipelines.model.job_size import job_size

# A whole run, then on the error stream its peak of memory [kB] and seconds of processors, each with
# that of a process beside it. The peak of the process's own memory: that of its resources would
# take over its parent's.
RUN = """
import resource, sys
from pathlib import Path
from pipelines.__main__ import collect_seldom
from pipelines.cli.main import main
collect_seldom()
assert main(["run", sys.argv[1], "--out", sys.argv[1] + ".out"]) == 0
peak = Path("/proc/self/status").read_text().split("VmHWM:")[1].split()[0]
own, beside = map(resource.getrusage, (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
used = sum(one.ru_utime + one.ru_stime for one in (own, beside))
print(int(peak) + beside.ru_maxrss, used, file=sys.stderr)
"""

# One bay under one lorry, coarse.
SMALL = """
title = "one bay"
[slab]
thickness_mm = 250
E_GPa = 30.0
[plan]
stations_m = [0.0, 3.0]
offsets_m = [-2.0, 2.0]
[[line]]
on = "C*"
support = "rigid"
[[case]]
name = "weight"
self_weight = true
[traffic]
carriageway_m = [-1.9, 1.9]
step_m = 0.5
lateral_step_m = 0.4
[[vehicle]]
name = "lorry"
axles = [
  { at_m = 0.0, load_kN = 60, gauge_m = 1.8, patch_mm = [250, 350] },
  { at_m = 2.3, load_kN = 100, gauge_m = 1.8, patch_mm = [250, 400] } ]
[mesh]
size_m = 0.8
"""
COMPOSITE = 'Av_cm2 = 114, eccentricity_mm = 635, connection = "full" }'
MODEL = '\nload_models = ["EN 1991-2 LM1"]\nvehicles ='
LONG = ", ".join(f"{3.1 * k:.1f}" for k in range(25))


def texts() -> dict[str, str]:
    """Deck files by name."""
    estuary = packaged("estuary")
    long = re.sub(r"stations_m = .*", f"stations_m = [{LONG}]", estuary, count=1)
    long = long.replace("25.11", "74.71")
    return {
        "one bay": SMALL,
        "starter curved": starter("curved"),
        "starter outline": starter("outline"),
        "starter truss": starter("truss"),
        "starter skew": starter("skew"),
        "girders": packaged("girders"),
        "skew": packaged("skew"),
        "estuary": estuary,
        "estuary, composite": estuary.replace("Av_cm2 = 114 }", COMPOSITE),
        "estuary with LM1": estuary.replace("\nvehicles =", MODEL, 1),
        "estuary-bars": packaged("estuary-bars"),
        "24 bays": long,
        "24 bays, finer": long + "\n[mesh]\nsize_m = 0.25\n",
    }


def packaged(name: str) -> str:
    return (FOLDER / f"{name}.toml").read_text(encoding="utf-8")


def measured(path: Path) -> tuple[float, float, float]:
    """Peak of memory [byte], seconds of processors and of a clock of a run."""
    start = time.perf_counter()
    command = [sys.executable, "-c", RUN, os.fspath(path)]
    done = subprocess.run(command, check=True, capture_output=True, text=True)
    peak, seconds = done.stderr.split()[-2:]
    return 1024.0 * float(peak), float(seconds), time.perf_counter() - start


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("names", nargs="*", metavar="NAME", help="decks, all by default")
    options = parser.parse_args()
    decks = texts()
    print(
        "| deck | cells | dof | load positions | memory [MB] | ratio | processors [s] | ratio "
        "| clock [s] |\n|---|---|---|---|---|---|---|---|---|"
    )
    for name in options.names or decks:
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "deck.toml"
            for survey in FOLDER.glob("*.csv"):  # that a packaged deck names
                (path.parent / survey.name).write_text(
                    survey.read_text(encoding="utf-8"), encoding="utf-8"
                )
            path.write_text(decks[name], encoding="utf-8")
            deck = read_deck(path)
            size = job_size(deck)
            memory, seconds, clock = measured(path)
            print(
                f"| {name} | {size.cells} | {size.degrees_of_freedom} | {size.load_positions} "
                f"| {1e-6 * memory:.0f} | {size.memory / memory:.2f} "
                f"| {seconds:.1f} | {size.seconds / seconds:.2f} | {clock:.1f} |",
                flush=True,
            )


if __name__ == "__main__":
    main()
