"""A line of the verification table."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

SERIES = 1e-3  # within, against series that carry all their digits
PRINTED = 5e-3  # within, against prints of three or four digits

TWK = "Timoshenko and Woinowsky-Krieger"
PRINTS = (
    f"{TWK}, Theory of Plates and Shells, 2nd edition, McGraw-Hill 1959",
    "Young and Budynas, Roark's Formulas for Stress and Strain, 7th edition, McGraw-Hill 2002",
    "Morley, Skew Plates and Structures, Pergamon 1963",
    "Razzaque, International Journal for Numerical Methods in Engineering 6 (1973) 333",
    "Jaramillo, Journal of Applied Mechanics 17 (1950) 67",
    "Nielsen, Limit Analysis and Concrete Plasticity, Prentice-Hall 1984",
    "Fox, Philosophical Transactions of the Royal Society A 277 (1974) 121",
)
"""The prints that sources name, in full; their values are from memory."""


@dataclass(frozen=True, kw_only=True)
class Row:
    """One published value against the finite elements.

    case, result : in words; source : of the value; value : printed or by a series; found : by the
    finite elements; within : largest |difference| that passes; scale : what the difference is a
    share of, the value itself unless another one is the yardstick.
    """

    case: str
    result: str
    source: str
    value: float
    found: float
    within: float
    scale: float

    @property
    def difference(self) -> float:
        """(found - value) / scale."""
        return (self.found - self.value) / self.scale

    @property
    def passes(self) -> bool:
        """Whether the difference is within what the row allows."""
        return abs(self.difference) <= self.within


def compared(
    case: str,
    source: str,
    results: str,
    values: Sequence[float] | NDArray[np.float64],
    found: Sequence[float] | NDArray[np.float64],
    *,
    within: float = SERIES,
    largest: bool = False,
) -> list[Row]:
    """Rows of several results, named in one string and divided by commas.

    largest : differences as shares of the largest value, where some are small beside it.
    """
    names = [name.strip() for name in results.split(",")]
    top = max(abs(float(v)) for v in values)
    return [
        Row(
            case=case,
            result=name,
            source=source,
            value=float(v),
            found=float(f),
            within=within,
            scale=top if largest else abs(float(v)),
        )
        for name, v, f in zip(names, values, found, strict=True)
    ]
