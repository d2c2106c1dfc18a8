"""What one model costs, paid once: stiffness and field recovery kept while equal models come.

Decks of a study that share their mesh, slab and supports differ only in loads and in what is read
from the solution. A model is compared by all its data, so what is handed out is exactly what would
have been made.
"""

import hashlib
from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np

from plate.model.model import PlateModel
from plate.results.fields import FieldRecovery
from plate.solver.stiffness import Stiffness


class Shelf:
    """Keeps the last `size` models; with 0 everything is made anew."""

    def __init__(self, size: int = 0) -> None:
        self.size = size
        self._stiffness: OrderedDict[str, Stiffness] = OrderedDict()
        self._recovery: OrderedDict[str, FieldRecovery] = OrderedDict()

    def stiffness(self, model: PlateModel) -> Stiffness:
        """The factorised stiffness of the model or of one equal to it."""
        if not self.size:
            return Stiffness(model)
        key = fingerprint(model)
        if key not in self._stiffness:
            self._make_room(self._stiffness)
            self._stiffness[key] = Stiffness(model)
        self._stiffness.move_to_end(key)
        return self._stiffness[key]

    def recovery(self, model: PlateModel) -> FieldRecovery:
        """The field recovery of the model or of one equal to it."""
        if not self.size:
            return FieldRecovery(model)
        key = fingerprint(model)
        if key not in self._recovery:
            self._make_room(self._recovery)
            self._recovery[key] = FieldRecovery(model)
        self._recovery.move_to_end(key)
        return self._recovery[key]

    def _make_room(self, kept: OrderedDict[str, Any]) -> None:
        """Before the new one is made, so that no more than `size` are held at any time."""
        while len(kept) >= self.size:
            kept.popitem(last=False)


def fingerprint(value: object) -> str:
    """SHA-256 of all data of a frozen value: dataclasses, mappings, sequences, arrays, scalars."""
    digest = hashlib.sha256()
    _feed(digest, value)
    return digest.hexdigest()


def _feed(digest: "hashlib._Hash", value: object) -> None:
    digest.update(f"{type(value).__qualname__}:".encode())
    if is_dataclass(value) and not isinstance(value, type):
        for one in fields(value):
            digest.update(f"{one.name}=".encode())
            _feed(digest, getattr(value, one.name))
    elif isinstance(value, np.ndarray):
        digest.update(f"{value.dtype}{value.shape}".encode())
        digest.update(np.ascontiguousarray(value).tobytes())
    elif isinstance(value, Mapping):
        for key, inner in value.items():
            _feed(digest, key)
            _feed(digest, inner)
    elif isinstance(value, list | tuple):
        digest.update(f"{len(value)};".encode())
        for inner in value:
            _feed(digest, inner)
    elif value is None or isinstance(value, str | bytes | int | float | np.generic):
        digest.update(f"{value!r};".encode())
    else:
        raise TypeError(f"no fingerprint of a {type(value).__name__}")
