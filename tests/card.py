"""Arrays like those of a card, in numpy's place: they take numpy's functions as these do, and
nothing of the host beside them."""

from collections.abc import Callable
from types import ModuleType, SimpleNamespace
from typing import Any

import numpy as np
from numpy.lib.mixins import NDArrayOperatorsMixin

from plate.device.card import Card

# Functions that make arrays of what the host has, and what a card's arrays have themselves.
MAKING = (np.asarray, np.zeros, np.full)
OWN = (
    *("shape", "size", "ndim", "dtype", "T", "reshape", "swapaxes", "transpose", "sum", "max"),
    *("min", "any", "all", "argmax", "copy", "astype"),
)


class CardArray(NDArrayOperatorsMixin):
    """An array of the card."""

    def __init__(self, values: Any) -> None:
        self.values = np.asarray(values)

    def __array__(self, *_: Any, **__: Any) -> Any:
        raise TypeError("an array of the card does not come to the host by itself")

    def __array_ufunc__(self, function: Any, method: str, *inputs: Any, **named: Any) -> Any:
        if method != "__call__":
            raise TypeError(f"a card has no {function.__name__}.{method}")
        return _of_card(function(*map(_own, inputs), **{k: _own(v) for k, v in named.items()}))

    def __array_function__(self, function: Any, _: Any, given: Any, named: Any) -> Any:
        if function in MAKING:
            return CardArray(function(*given, **named))
        return _of_card(function(*map(_own, given), **{k: _own(v) for k, v in named.items()}))

    def __getitem__(self, index: Any) -> Any:
        return _of_card(self.values[_own(index)])

    def __setitem__(self, index: Any, value: Any) -> None:
        self.values[_own(index)] = _own(value)

    def __getattr__(self, name: str) -> Any:
        if name not in OWN:
            raise AttributeError(f"an array of the card has no {name}")
        found = getattr(self.values, name)
        if not callable(found):
            return _of_card(found)
        if name in ("max", "min", "argmax") and not self.values.size:
            raise ValueError(f"{name} of nothing")
        return lambda *given, **named: _of_card(found(*map(_own, given), **named))

    def __len__(self) -> int:
        return len(self.values)

    def __bool__(self) -> bool:
        return bool(self.values)

    def __int__(self) -> int:
        return int(self.values)

    def __float__(self) -> float:
        return float(self.values)


def stand_in(free: float = 1e9) -> Card:
    """A card that is the processor, with so much memory [byte]."""

    def add_at(array: Any, index: Any, values: Any) -> None:
        np.add.at(_own(array), _own(index), _own(values))

    return Card(
        put=lambda host: CardArray(np.array(host)),
        fetch=lambda array: array.values,
        add_at=add_at,
        free=lambda: free,
    )


class NoDriver(Exception):
    """What the package raises where there is no card."""


def package(cards: int, take: Callable[[int], object] | None = None) -> ModuleType:
    """In place of the package of the cards, on a machine that has so many of them. `take` gets the
    numbers of those that are made use of; they stand in its `used` by default."""
    found = ModuleType("cupy")
    card, used = stand_in(), list[int]()
    take = take or used.append

    def counted() -> int:
        if not cards:
            raise NoDriver("cudaErrorNoDevice: no device\n  is detected")
        return cards

    def device(number: int = 0) -> SimpleNamespace:
        return SimpleNamespace(
            pci_bus_id=f"0000:{number:02}:00.0",
            mem_info=(10**9, 10**9),
            use=lambda: take(number),
        )

    runtime = SimpleNamespace(CUDARuntimeError=NoDriver, getDeviceCount=counted)
    vars(found).update(
        used=used,
        asarray=card.put,
        asnumpy=card.fetch,
        add=SimpleNamespace(at=card.add_at),
        cuda=SimpleNamespace(Device=device, runtime=runtime),
        get_default_memory_pool=lambda: SimpleNamespace(free_bytes=lambda: 0),
    )
    return found


def _own(value: Any) -> Any:
    """What stands in an array of the card; raises TypeError for one of the host."""
    if isinstance(value, CardArray):
        return value.values
    if isinstance(value, tuple | list):
        return type(value)(map(_own, value))
    if isinstance(value, np.ndarray) and value.ndim:
        raise TypeError("an array of the host beside those of the card")
    return value


def _of_card(value: Any) -> Any:
    if isinstance(value, tuple | list):
        return type(value)(map(_of_card, value))
    return CardArray(value) if isinstance(value, np.ndarray | np.generic) else value
