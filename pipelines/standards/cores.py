"""Characteristic strength of concrete in a structure from the strengths of its cores.

EN 13791:2007, 7.3 (from memory): of 15 cores and more the mean less 1.48 standard deviations, of 3
to 14 the mean less a margin, and the lowest plus 4 MPa if that is less. It says nothing of one or
two cores: here the lowest less the margin of three, which is this program's own choice. The
conversion factor of 0.85 between cores and test cylinders, by which the characteristic strength
could be raised, is not used.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

MPA = 1e6
MANY, FEW = 15, 3
K_MANY, LEAST_DEVIATION = 1.48, 2.0 * MPA
ABOVE_LOWEST = 4.0 * MPA
MARGINS = ((10, 5.0 * MPA), (7, 6.0 * MPA), (3, 7.0 * MPA))  # from so many cores on
LEAST = 8.0 * MPA  # concrete weaker than this is no concrete of the standards'


@dataclass(frozen=True)
class InPlace:
    """f_ck : characteristic cylinder strength in the structure [Pa]; words : how it was come to."""

    f_ck: float
    words: str


def characteristic(cores: Sequence[float]) -> InPlace:
    """The characteristic strength of one core or more, by their strengths [Pa], twice as long as
    wide.

    Raises
    ------
    ValueError
        If it comes to less than 8 MPa.
    """
    values, n = np.asarray(cores, dtype=float), len(cores)
    mean, lowest = float(values.mean()), float(values.min())
    rule = "EN 13791:2007 7.3 (from memory)"
    if n >= MANY:
        f = mean - K_MANY * max(float(values.std(ddof=1)), LEAST_DEVIATION)
    elif n >= FEW:
        f = mean - next(margin for least, margin in MARGINS if n >= least)
    else:
        f = lowest - MARGINS[-1][1]
        rule = "fewer than three cores: the lowest less 7 MPa, this program's own choice"
    f = min(f, lowest + ABOVE_LOWEST)
    if f < LEAST:
        raise ValueError(
            f"cores of {lowest / MPA:.3g} MPa and more come to a characteristic strength of "
            f"{f / MPA:.3g} MPa: allowed is {LEAST / MPA:g} MPa at least"
        )
    return InPlace(f, f"{f / MPA:.3g} MPa of {n} core{'s' * (n > 1)} ({rule})")
