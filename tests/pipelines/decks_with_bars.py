"""Parts of deck files with bars, and a sound deck that one change at a time makes fail."""

from pathlib import Path

from pipelines.analysis.analyse import analyse
from pipelines.analysis.result import Result
from tests.pipelines.small_decks import BEAMS, PLAN, SLAB, TRAFFIC, WEIGHT, deck_of, mat

BARS = (
    WEIGHT
    + """
[[concrete]]
standard = "EN 1992"
grade = "C30/37"
exposure = { top = "XD1", bottom = "XC3" }
crack_combination = "frequent"
[[concrete]]
standard = "IRC:112"
grade = "M40"
exposure = { top = "severe", bottom = "moderate" }
aggregate_mm = 25
crack_combination = "frequent"
[[concrete]]
standard = "AASHTO LRFD"
grade = "5 ksi"
exposure = { top = "deck surface, tyre wear", bottom = "slab soffit" }
[[steel]]
standard = "EN 1992"
grade = "B500B"
[[steel]]
standard = "IRC:112"
grade = "Fe 500"
[[steel]]
standard = "AASHTO LRFD"
grade = "Grade 60"
"""
    + mat("bottom", "16@150", "12@125")
    + mat("top", "16@200", "12@300", cover=45, outer="y")
    + """
[mesh]
size_m = 1.5
order = 2
"""
)


GRADES = """
[[concrete]]
standard = "EN 1992"
grade = "C35/45"
exposure = { top = "XD1" }
[[steel]]
standard = "EN 1992"
grade = "B500B"
"""


BOTTOM = """
[[bars]]
face = "bottom"
cover_mm = 40
outer = "x"
x = { diameter_mm = 16, spacing_mm = 125 }
y = { diameter_mm = 12, spacing_mm = 150 }
"""


TOP = BOTTOM.replace("bottom", "top").replace("40", "45")


READINGS = "panel,face,direction,diameter_mm,spacing_mm,cover_mm,outer,thickness_mm\nC1-C2,{bars}\n"


def bars(
    *,
    grade: str = "C40/50",
    exposure: str = 'exposure = { top = "XD1", bottom = "XC3" }',
    crack: str = "",
    bottom: tuple[str, str] = ("20@125", "20@125"),
    top: tuple[str, str] = ("20@125", "20@125"),
    cover: int = 55,
    damage: float = 0.5,
    more: str = "",
) -> str:
    """Bars by EN 1992 that are adequate with the lorry on 300 mm as they stand."""
    return (
        WEIGHT
        + f'[[concrete]]\nstandard = "EN 1992"\ngrade = "{grade}"\n{exposure}\n'
        + f'crack_combination = "frequent"\n{crack}\n[[steel]]\nstandard = "EN 1992"\n'
        + 'grade = "B500B"\n'
        + mat("bottom", *bottom, cover=50)
        + mat("top", *top, cover=cover)
        + f"[fatigue]\nlambda_s = {damage}\n{more}[mesh]\nsize_m = 1.5\norder = 2\n"
    )


def result_of(
    folder: Path,
    text: str,
    *,
    h: int = 300,
    traffic: str = TRAFFIC,
    readings: str = "",
    strips_wanted: bool = False,
) -> Result:
    """What a run finds of the deck, without stated errors and, unless wanted, without hand strips,
    of which bars ask nothing."""
    if readings:
        (folder / "readings.csv").write_text(READINGS.replace("{bars}", readings), encoding="utf-8")
        text = '[survey]\nfile = "readings.csv"\n' + text
    slab = SLAB.replace("thickness_mm = 250", f"thickness_mm = {h}")
    deck = deck_of(folder, slab, PLAN, BEAMS, traffic, text)
    return analyse(deck, tolerances_wanted=False, strips_wanted=strips_wanted)


def axle(load: int, traffic: str = TRAFFIC) -> str:
    return traffic.replace("load_kN = 100", f"load_kN = {load}")
