"""Small deck files for tests, written in the deck file's own language."""

from pathlib import Path
from typing import Any

from pipelines.deck.deck import Deck
from pipelines.deck.reading.deck_file import read_deck
from pipelines.model.build import build_model
from pipelines.model.responses import SolvedDeck

SLAB = """
title = "small"
[slab]
thickness_mm = 250
E_GPa = 30.0
poisson = 0.2
density_kN_m3 = 25.0
"""

PLAN = """
[plan]
stations_m = [0.0, 3.0, 6.0]
offsets_m = [-2.0, 2.0]
overhang_m = { start = 0.4, end = 0.4 }
"""

BEAMS = """
[[line]]
on = "C*"
support = "beam"
beam = { E_GPa = 210, G_GPa = 81, I_cm4 = 60000, J_cm4 = 200, A_cm2 = 160, Av_cm2 = 60 }
held_at = [{ on = "L1", stub_m = 0.3 }, { on = "L2", stub_m = 0.3 }]
width_mm = 250
"""

TRAFFIC = """
[traffic]
carriageway_m = [-1.9, 1.9]
step_m = 0.5
lateral_step_m = 0.4
surfacing_mm = 80
[[vehicle]]
name = "lorry"
axles = [
  { at_m = 0.0, load_kN = 60, gauge_m = 1.8, patch_mm = [250, 350] },
  { at_m = 2.3, load_kN = 100, gauge_m = 1.8, patch_mm = [250, 400] } ]
"""

# Two spans on lines, and a lorry at two offsets.
SPANS = """
[plan]
stations_m = [0.0, 3.0, 6.0]
offsets_m = [-2.0, 2.0]
[[line]]
on = "C*"
support = "rigid"
"""
LORRY = """
[traffic]
carriageway_m = [-1.9, 1.9]
offsets_m = [-0.4, 0.3]
step_m = 0.4
surfacing_mm = 80
[[vehicle]]
name = "lorry"
axles = [
  { at_m = 0.0, load_kN = 60, gauge_m = 1.8, patch_mm = [250, 350] },
  { at_m = 2.3, load_kN = 100, gauge_m = 1.8, patch_mm = [250, 400] } ]
"""

PROBES = """
[[probe]]
name = "bay 1"
at_m = [1.5, 0.2]
[[probe]]
name = "over C2"
at_m = [3.0, 0.1]
[[probe]]
name = "mean"
from_m = [1.5, -0.8]
to_m = [1.5, 0.8]
[[case]]
name = "weight"
self_weight = true
"""

WEIGHT = """
[[case]]
name = "weight"
self_weight = true
action = "self-weight"
"""

MESH = """
[mesh]
size_m = 0.8
"""
# Where only the way of a run is looked at, not its numbers.
COARSE = """
[mesh]
order = 2
size_m = 1.5
"""
FEW = TRAFFIC.replace("step_m = 0.5", "step_m = 1.5")


def grades(concrete: dict[str, str], steel: dict[str, str]) -> str:
    """Concrete and steel of each standard."""
    tables = [("concrete", concrete), ("steel", steel)]
    return "".join(
        f'[[{table}]]\nstandard = "{standard}"\ngrade = "{grade}"\n'
        for table, of in tables
        for standard, grade in of.items()
    )


def mat(face: str, x: str, y: str, *, cover: int = 40, outer: str = "x") -> str:
    """Bars of one face, along x and along y as "16@150"."""
    layers = [
        "{} = {{ diameter_mm = {}, spacing_mm = {} }}\n".format(name, *bars.split("@"))
        for name, bars in (("x", x), ("y", y))
    ]
    return f'[[bars]]\nface = "{face}"\ncover_mm = {cover}\nouter = "{outer}"\n' + "".join(layers)


def deck_of(folder: Path, *parts: str, **replaced: Any) -> Deck:
    """The deck of the given parts of a deck file, with `{name}` in them replaced."""
    text = "".join(parts)
    for name, value in replaced.items():
        text = text.replace("{" + name + "}", str(value))
    path = folder / "deck.toml"
    path.write_text(text, encoding="utf-8")
    return read_deck(path)


def small_deck(folder: Path, *more: str) -> Deck:
    """Two bays on elastic cross beams under one lorry."""
    return deck_of(folder, SLAB, PLAN, BEAMS, TRAFFIC, PROBES, MESH, *more)


def solver_of(deck: Deck) -> SolvedDeck:
    model = build_model(deck).model
    return SolvedDeck.of(deck, model)
