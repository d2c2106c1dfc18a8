"""How far what is built may deviate from the drawing by the rules of execution, all from memory.

They say what work has to keep to, not what still passes. None is stated of the distance between
bars, which the standards leave to the specification of the job.
"""

from dataclasses import dataclass

import numpy as np

from pipelines.standards.detailing.rules import INCH
from pipelines.standards.sources import Source, Standard

MM = 1e-3


@dataclass(frozen=True)
class Tolerance:
    """By how much less and more a length [m] may be than drawn."""

    less: float
    more: float
    source: Source


def thickness_tolerance(standard: Standard, thickness: float) -> Tolerance:
    """Of the thickness of a slab [m]."""
    if standard == "EN 1992":
        both = float(np.interp(thickness, [0.150, 0.400, 2.500], [0.010, 0.015, 0.030]))
        source = Source(None, "EN 13670:2009 10.6, class 1: size of a section")
        return Tolerance(both, both, source)
    if standard == "IRC:112":
        return Tolerance(6 * MM, 12 * MM, Source(None, "IS 456:2000 11.6.1: size of a section"))
    more, less = (0.375, 0.25) if thickness <= 12 * INCH else (0.5, 0.375)
    return Tolerance(less * INCH, more * INCH, Source(None, "ACI 117-10 4.5: thickness"))


def cover_tolerance(standard: Standard, thickness: float, cover: float) -> Tolerance:
    """Of the nominal cover [m] of bars in a slab."""
    if standard == "EN 1992":
        more = float(np.interp(thickness, [0.150, 0.400, 2.500], [0.010, 0.015, 0.020]))
        source = Source(None, "EN 13670:2009 10.6, class 1: place of bars in a section")
        return Tolerance(10 * MM, more, source)
    if standard == "IRC:112":
        return Tolerance(0.0, 10 * MM, Source(None, "IS 456:2000 12.3.2: cover"))
    off = (0.375 if thickness <= 8 * INCH else 0.5) * INCH
    source = Source(None, "ACI 117-10 2.2: cover, no less than two thirds of it")
    return Tolerance(min(off, cover / 3), off, source)


def diameter_tolerance(standard: Standard, diameter: float) -> Tolerance:
    """Of the diameter of a bar [m]: half of that of its mass."""
    if standard == "EN 1992":
        share = 0.06 if diameter <= 8.001 * MM else 0.045
        source = Source(None, "EN 10080:2005 7.3.3: mass per length")
        return Tolerance(share / 2 * diameter, share / 2 * diameter, source)
    if standard == "IRC:112":
        share = 0.07 if diameter <= 10.001 * MM else 0.05 if diameter <= 16.001 * MM else 0.03
        source = Source(None, "IS 1786:2008 7.1: mass per length")
        return Tolerance(share / 2 * diameter, share / 2 * diameter, source)
    source = Source(None, "ASTM A615: no less than 94 % of the mass per length")
    return Tolerance(0.03 * diameter, np.inf, source)
