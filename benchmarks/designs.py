"""Designs from no bars: a deck by a family of standards, by the command as a user types it.

python benchmarks/designs.py [--coarse] [--change KIND] [--keep DIR] DECK FAMILY

DECK is a kind of `deckslab new`, or an example of the package; FAMILY is "European" (EN 1992 and
IRC:112) or "AASHTO". The deck's own [[bars]] and readings are taken away, traffic, concrete, steel
and the set of bars are those of the family, all else is as the file has it, mesh and steps too, but
with --coarse: cells of order 2 and 1 m, load positions every metre along and across. One row of a
table is printed: wall and processor time of the process, analyses, steel, how many marks
the schedule has, and what the uniform mats weigh that `run` proposes, which leave out shear and
fatigue, and those that pass all checks. What the command said goes before it.
"""

import argparse
import csv
import json
import os
import subprocess
import sys
import tempfile
import time
import tomllib
from pathlib import Path
from typing import Any

import tomli_w

from pipelines.cli.words import found_deck
from pipelines.deck.starters import KINDS, starter

CHANGES = ("thickness", "grade", "diameter", "spacing")
METRIC = {"diameters_mm": [12, 16, 20, 25], "spacings_mm": [100, 125, 150, 175, 200]}
SOFT = {"diameters_mm": [13, 16, 19, 22, 25], "spacings_mm": [100, 125, 150, 175, 200]}
# Exposure of the faces in the words of each standard; grades of the middle.
FAMILIES: dict[str, dict[str, Any]] = {
    "European": {
        "load_models": ["EN 1991-2 LM1", "IRC:6 Class A lanes", "IRC:6 Class 70R lanes"],
        "concrete": [
            {"standard": "EN 1992", "grade": "C40/50", "exposure": {"top": "XD1", "bottom": "XC4"}},
            {
                "standard": "IRC:112",
                "grade": "M50",
                "exposure": {"top": "severe", "bottom": "moderate"},
            },
        ],
        "steel": [
            {"standard": "EN 1992", "grade": "B500B"},
            {"standard": "IRC:112", "grade": "Fe 500D"},
        ],
        "fatigue": {"lambda_s": 0.70},
        "bar_choice": METRIC,
    },
    "AASHTO": {
        "load_models": ["AASHTO HL-93 axles"],
        "concrete": [
            {
                "standard": "AASHTO LRFD",
                "grade": "5 ksi",
                "exposure": {"top": "deck surface, tyre wear", "bottom": "slab soffit"},
            }
        ],
        "steel": [{"standard": "AASHTO LRFD", "grade": "Grade 60"}],
        "bar_choice": SOFT,
    },
}
COARSE = {"size_m": 1.0, "order": 2}
HEADS = (
    "| deck | family | thickness [mm] | wall [s] | processor [s] | analyses | kg/m² | marks "
    "| proposed mats | saving | passing mats | saving |"
)


def deck_text(deck: str, family: str, *, coarse: bool) -> str:
    """The deck file without bars, by a family of standards."""
    text = starter(deck) if deck in KINDS else found_deck(deck).read_text(encoding="utf-8")
    tables = tomllib.loads(text)
    for key in ("bars", "survey", "fatigue", "strip"):
        tables.pop(key, None)
    if "concrete" in tables["slab"]:  # of the other family; its modulus as it was
        del tables["slab"]["concrete"], tables["slab"]["standard"]
        tables["slab"]["E_GPa"] = 34.1
    own = dict(FAMILIES[family])
    tables["traffic"]["load_models"] = own.pop("load_models")
    for vehicle in ("vehicles", "joints"):
        tables["traffic"].pop(vehicle, None)
    tables.pop("vehicle", None)
    if coarse:
        tables["mesh"] = COARSE
        tables["traffic"] |= {"step_m": 1.0, "lateral_step_m": 1.0}
    return tomli_w.dumps(tables | own)


def command(path: Path, out: Path, change: str | None) -> tuple[float, float, int]:
    """Seconds of a clock and of all processors, and the status, of the command in a process."""
    words = [sys.executable, "-m", "pipelines", "design", str(path), "--out", str(out)]
    before, start = os.times(), time.perf_counter()
    done = subprocess.run([*words, *(["--change", change] if change else [])], check=False)
    clock, now = time.perf_counter() - start, os.times()
    used = now.children_user + now.children_system - before.children_user - before.children_system
    return clock, used, done.returncode


def row(deck: str, family: str, out: Path, clock: float, used: float) -> str:
    """Of the table, from the files that the command wrote."""
    found = json.loads((out / "design.json").read_text(encoding="utf-8"))
    with (out / "bar_schedule.csv").open(encoding="utf-8") as file:
        marks = {line["mark"] for line in csv.DictReader(file)}
    mass, area = found["mass_kg"], found["area_m2"]
    others = {one["what"]: one["mass_kg"] for one in found["otherwise"]}
    proposed = [m for what, m in others.items() if what.startswith("mats that `run` proposes")]
    told: list[str] = []
    for mats in (max(proposed, default=None), others["mats alone, nothing added"]):
        told += ["none", ""] if mats is None else [f"{mats / area:.1f}", f"{1 - mass / mats:.1%}"]
    values = [
        *(deck, family, f"{found['thickness_mm']:g}", f"{clock:.0f}", f"{used:.0f}"),
        *(str(found["analyses"]), f"{mass / area:.1f}", str(len(marks)), *told),
    ]
    return f"| {' | '.join(values)} |"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("deck", metavar="DECK")
    parser.add_argument("family", choices=[*FAMILIES])
    parser.add_argument("--coarse", action="store_true", help="coarse cells and steps")
    parser.add_argument("--change", choices=CHANGES, help="taken where no bars pass without")
    parser.add_argument("--keep", metavar="DIR", type=Path, help="where the files stay")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) if options.keep is None else options.keep
        folder.mkdir(parents=True, exist_ok=True)
        path, out = folder / "deck-without-bars.toml", folder / "designed"
        text = deck_text(options.deck, options.family, coarse=options.coarse)
        path.write_text(text, encoding="utf-8")
        clock, used, status = command(path, out, options.change)
        if status == 0:
            print(f"{HEADS}\n|{'---|' * 12}")
            print(row(options.deck, options.family, out, clock, used))
        else:
            print(f"{options.deck}, {options.family}: status {status} after {clock:.0f} s")
    sys.exit(status)


if __name__ == "__main__":
    main()
