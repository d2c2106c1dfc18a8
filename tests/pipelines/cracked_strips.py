"""A deck file of a strip of a slab with bars and a sum of static cases that cracks it."""

from collections.abc import Sequence

from tests.pipelines.decks_with_bars import GRADES
from tests.pipelines.small_decks import mat

STRIP = """
[slab]
thickness_mm = 250
E_GPa = 34.0
poisson = 0.0
density_kN_m3 = 25.0
stiffness = { x = 0.5, y = 0.5, xy = 0.5 }
[plan]
stations_m = STATIONS
offsets_m = [-1.0, 1.0]
[[line]]
on = "C*"
support = "rigid"
[[case]]
name = "p"
pressure_kN_m2 = 10.0
[[sum]]
name = "s"
factors = { p = LOAD }
cracked = true
[[probe]]
name = "mid"
at_m = [3.0, 0.0]
[mesh]
size_m = 0.3
"""
CRACKED_BARS = (
    GRADES + mat("bottom", "12@150", "12@150", cover=40) + mat("top", "16@150", "12@150", cover=40)
)


def cracked_strip(stations: Sequence[float], load: float, *, size: float = 0.3) -> str:
    """Over lines at stations [m] under a load [kN/m2], cells no longer than `size` [m]."""
    text = STRIP.replace("STATIONS", str(list(stations))).replace("LOAD", str(load / 10))
    return text.replace("size_m = 0.3", f"size_m = {size}")
