"""An accelerator, as the job meets it: arrays that live on it, and what goes there and back.

numpy's own functions take the card's arrays, by its protocols of dispatch (NEP 13, 18 and 35), so
that one text serves both; nothing is copied between card and host unless it says so here.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

T = TypeVar("T", bound=np.generic)


@dataclass(frozen=True, eq=False, kw_only=True)
class Card:
    """A card.

    put : an array of the host on the card; fetch : one of the card on the host; add_at : adds
    values to an array at an index in which places may come more than once, in any order; free :
    memory that may be taken [byte].
    """

    put: Callable[[Any], Any]
    fetch: Callable[[Any], Any]
    add_at: Callable[[Any, Any, Any], None]
    free: Callable[[], float]

    def of(self, array: NDArray[T]) -> NDArray[T]:
        """An array on the card."""
        found: NDArray[T] = self.put(np.ascontiguousarray(array))
        return found
