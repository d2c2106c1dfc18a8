"""Two workers of a study against one, and a cluster of two on this machine, side by side.

    python benchmarks/study.py [--decks 24] [--rounds 2] [--cluster]

The same small study is computed again and again, with one worker, with two, and with --cluster by
two processes of a Dask cluster, in turns, so that what else the machine does falls on all of them.
Printed are the seconds of each and the ratios: of N workers that do not hinder each other N. Times
are those of the decks, first deck to last, with the start of the workers; the machine's load is
told, since on a busy one two workers get more of it than one, which is no merit of theirs.
"""

import argparse
import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from pipelines.study.run import run_study

DECK = """
title = "small"
[slab]
thickness_mm = 250
E_GPa = 30.0
[plan]
stations_m = [0.0, 3.0, 6.0, 9.0]
offsets_m = [-3.5, 3.5]
[[line]]
on = "C*"
support = "beam"
beam = { E_GPa = 210, G_GPa = 81, I_cm4 = 60000, J_cm4 = 200, A_cm2 = 160 }
held_at = ["L1", "L2"]
[[case]]
name = "wheel"
patches = [{ at_m = [4.5, 0.0], size_m = [0.6, 0.6], load_kN = 100.0 }]
[[probe]]
name = "mid"
at_m = [4.5, 0.0]
[mesh]
size_m = 0.5
"""

STUDY = """
title = "small"
base = "deck.toml"
[design]
kind = "latin hypercube"
rows = {decks}
seed = 1
[[parameter]]
name = "thickness"
key = "slab.thickness_mm"
range = [200.0, 400.0]
[[response]]
name = "m"
unit = "kNm/m"
path = "probes.mid.cases.wheel.m_x"
"""


def seconds(folder: Path, name: str, *, workers: int | None = None, cluster: str = "") -> float:
    """Wall time of the study's decks, computed anew."""
    out = folder / name
    return run_study(folder / "study.toml", out, workers=workers, cluster=cluster or None).seconds


def _quiet(command: list[str]) -> "subprocess.Popen[bytes]":
    return subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)


def cluster_of_two(folder: Path) -> tuple[str, list["subprocess.Popen[bytes]"]]:
    """The address of a scheduler on the loopback with two workers of one thread, and all three."""
    file = folder / "scheduler.json"
    dask = [sys.executable, "-m", "dask"]
    place = ("--host", "127.0.0.1", "--no-dashboard", "--scheduler-file", str(file))
    worker = ("--nthreads", "1", "--no-nanny", "--local-directory", str(folder))
    found = [_quiet([*dask, "scheduler", *place, "--port", "0"])]
    found += [_quiet([*dask, "worker", *place, *worker]) for _ in range(2)]
    from distributed import Client

    with Client(  # type: ignore[no-untyped-call]
        scheduler_file=str(file), set_as_default=False, timeout=120
    ) as client:
        client.wait_for_workers(2, timeout=240)
        return str(client.scheduler.address), found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--decks", type=int, default=24)
    parser.add_argument("--rounds", type=int, default=2)
    parser.add_argument("--cluster", action="store_true")
    asked = parser.parse_args()
    times: dict[str, list[float]] = {}
    started: list[subprocess.Popen[bytes]] = []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "deck.toml").write_text(DECK, encoding="utf-8")
        (folder / "study.toml").write_text(STUDY.format(decks=asked.decks), encoding="utf-8")
        try:
            address = ""
            if asked.cluster:
                address, started = cluster_of_two(folder)
            for turn in range(asked.rounds):
                for workers in (1, 2):
                    took = seconds(folder, f"{workers}-{turn}", workers=workers)
                    times.setdefault(f"{workers} local", []).append(took)
                if address:
                    took = seconds(folder, f"cluster-{turn}", cluster=address)
                    times.setdefault("2 on a cluster", []).append(took)
                load = f"{os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else "not known"
                print(f"round {turn + 1} at {time.strftime('%H:%M')}, load {load}", flush=True)
        finally:
            for process in started:
                process.terminate()
                process.wait()
    print(f"{asked.decks} decks, {os.cpu_count()} processors; seconds in {asked.rounds} rounds")
    for which, found in times.items():
        ratios = [one / other for one, other in zip(times["1 local"], found, strict=True)]
        told = ", ".join(f"{one:.1f}" for one in found)
        print(f"{which:15} {told}   one worker took {statistics.median(ratios):.2f} times as long")


if __name__ == "__main__":
    main()
