"""Laps of straight bars, the straight length that an end needs at a support, and bends.

Every other bar is lapped at one place: half of the bars of a section.
"""

from math import sqrt

from pipelines.standards.detailing.anchorage import anchorage
from pipelines.standards.detailing.rules import INCH
from pipelines.standards.materials import Materials
from pipelines.standards.resistance.bars import Layer, SlabBars
from pipelines.standards.sources import Source, Standard

SHARE = 50.0  # of the bars lapped in one section [%]
# Distance between the centres of laps of neighbouring bars, in laps: EN 8.7.2(3), 8.7.3 figure 8.8
# (0.65 of a lap to each side), IRC:112 15.2.5.1.
APART = 1.3

LAPS: dict[Standard, Source] = {
    "EN 1992": Source("EN 1992", "8.7.3, table 8.3: alpha_6 = sqrt(2) for half of the bars"),
    "IRC:112": Source("IRC:112", "15.2.5: alpha_6 = sqrt(2) for half of the bars"),
    "AASHTO LRFD": Source("AASHTO LRFD", "5.10.8.4.3: class B, 1.3 l_d"),
}
ENDS: dict[Standard, Source] = {
    "EN 1992": Source("EN 1992", "9.3.1.2, 9.2.1.4, 8.4.4"),
    "IRC:112": Source("IRC:112", "16.6.1, 16.5.1.4, 15.2.4"),
    "AASHTO LRFD": Source("AASHTO LRFD", "5.10.8.1.2: 6 in past the face"),
}
BENDS = Source("EN 1992", "table 8.1N: mandrels of 4 diameters up to 16 mm, 7 beyond")


def lap_length(bars: SlabBars, layer: Layer, mat: Materials) -> float:
    """Lap [m] of a layer's bars at their design yield stress, half of them in one section.

    EN and IRC: alpha_6 times the basic length, alpha_6 = sqrt(share/25), 1 to 1.5, no less than
    15 diameters and 200 mm. AASHTO: class B, no less than 12 in.
    """
    basic = anchorage(bars, layer, mat)
    if mat.standard == "AASHTO LRFD":
        return max(1.3 * basic, 12 * INCH)
    factor = min(max(sqrt(SHARE / 25.0), 1.0), 1.5)
    return max(factor * basic, 15 * bars.bars(layer).largest, 0.200)


def end_length(bars: SlabBars, layer: Layer, mat: Materials, used: float) -> float:
    """Straight length [m] past the face of an end support, where a share `used` of the design
    yield stress is to be anchored."""
    basic = anchorage(bars, layer, mat)
    least = max(0.3 * basic, 10 * bars.bars(layer).largest, 0.100)
    if mat.standard == "AASHTO LRFD":
        least = 6 * INCH
    return max(min(used, 1.0) * basic, least)


def bend_radius(diameter: float) -> float:
    """Least inner radius of a bend [m], see `BENDS`."""
    return (2.0 if diameter <= 0.016 + 1e-9 else 3.5) * diameter
