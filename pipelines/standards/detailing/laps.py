"""Laps of straight bars, the straight length that an end needs at a support, and bends.

Every other bar is lapped at one place: half of the bars of a section. With U-bars at an edge all of
them are.
"""

from math import sqrt

from pipelines.standards.detailing.anchorage import anchorage
from pipelines.standards.detailing.rules import INCH
from pipelines.standards.materials import Materials
from pipelines.standards.resistance.bars import Layer, SlabBars
from pipelines.standards.sources import Source, Standard

HALF, ALL = 50.0, 100.0  # of the bars lapped in one section [%]
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
EDGES: dict[Standard, Source] = {
    "EN 1992": Source("EN 1992", "8.7.3, table 8.3: alpha_6 = 1.5 for all bars; 9.3.1.4"),
    "IRC:112": Source("IRC:112", "15.2.5: alpha_6 = 1.5 for all bars; 16.6.1.4"),
    "AASHTO LRFD": Source("AASHTO LRFD", "5.10.8.4.3: class B, 1.3 l_d"),
}
# Bars from this diameter on need as much steel across their laps as one of them has.
CROSSED = 0.020
CROSSING: dict[Standard, Source] = {
    "EN 1992": Source("EN 1992", "8.7.4.1(3)"),
    "IRC:112": Source("IRC:112", "15.2.5.2"),
}
BENDS = Source("EN 1992", "table 8.1N: mandrels of 4 diameters up to 16 mm, 7 beyond")


def lap_length(
    bars: SlabBars, layer: Layer, mat: Materials, used: float = 1.0, share: float = HALF
) -> float:
    """Lap [m] of a layer's bars that are stressed to a share `used` of their design yield stress,
    `share` of them [%] in one section.

    EN and IRC: alpha_6 times the basic length, alpha_6 = sqrt(share/25), 1 to 1.5, no less than
    0.3 alpha_6 of it at the yield stress, 15 diameters and 200 mm. AASHTO: class B, no less than
    12 in.
    """
    basic, stress = anchorage(bars, layer, mat), min(used, 1.0)
    if mat.standard == "AASHTO LRFD":
        return max(1.3 * basic * stress, 12 * INCH)
    factor = min(max(sqrt(share / 25.0), 1.0), 1.5)
    return max(factor * basic * max(stress, 0.3), 15 * bars.bars(layer).largest, 0.200)


def end_length(bars: SlabBars, layer: Layer, mat: Materials, used: float) -> float:
    """Straight length [m] past the face of an end support, where a share `used` of the design
    yield stress is to be anchored."""
    basic = anchorage(bars, layer, mat)
    least = max(0.3 * basic, 10 * bars.bars(layer).largest, 0.100)
    if mat.standard == "AASHTO LRFD":
        least = 6 * INCH if layer[0] == "bottom" else 12 * INCH
    return max(min(used, 1.0) * basic, least)


def bend_radius(diameter: float) -> float:
    """Least inner radius of a bend [m], see `BENDS`."""
    return (2.0 if diameter <= 0.016 + 1e-9 else 3.5) * diameter
