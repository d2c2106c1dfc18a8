"""What one model costs, paid once: stiffness, field recovery and rows of beams of equal models.

Decks of a study that share their mesh, slab and supports differ only in loads and in what is read
from the solution; a remedy or a walk may ask for the plate that a run has at hand. A model is
compared by all its data, so what is handed out is exactly what would have been made.
"""

import hashlib
from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import fields, is_dataclass
from threading import Lock
from typing import Generic, TypeVar
from weakref import WeakSet, WeakValueDictionary

import numpy as np
import shapely

from pipelines.model.beam_rows import BeamRows, beam_rows
from plate.model.model import PlateModel
from plate.results.fields import FieldRecovery
from plate.solver.stiffness import Stiffness

T = TypeVar("T", Stiffness, FieldRecovery, BeamRows)


class ModelCache:
    """Hands out what is in use anywhere, and keeps the last `size` models beyond that.

    checked : stiffnesses that have been found to answer as such.
    """

    def __init__(self, size: int = 0) -> None:
        self._stiffness = _Made(Stiffness, size)
        self._recovery = _Made(FieldRecovery, size)
        self._beams = _Made(beam_rows, size)
        self.checked: WeakSet[Stiffness] = WeakSet()

    def stiffness(self, model: PlateModel) -> Stiffness:
        """The factorised stiffness of the model or of one equal to it."""
        return self._stiffness.of(model)

    def recovery(self, model: PlateModel) -> FieldRecovery:
        """The field recovery of the model or of one equal to it."""
        return self._recovery.of(model)

    def beams(self, model: PlateModel) -> BeamRows:
        """The rows of the beams of the model or of one equal to it."""
        return self._beams.of(model)


class _Made(Generic[T]):
    """Values of one kind by the fingerprint of their model."""

    def __init__(self, make: Callable[[PlateModel], T], size: int) -> None:
        self._make: Callable[[PlateModel], T] = make
        self._size = size
        # Threads may ask at once; different models are made side by side.
        self._lock = Lock()
        self._in_use: WeakValueDictionary[str, T] = WeakValueDictionary()
        self._kept: OrderedDict[str, T] = OrderedDict()

    def of(self, model: PlateModel) -> T:
        key = fingerprint(model)
        with self._lock:
            if key not in self._kept:
                # Room is made before, so that no more than `size` are kept at any time.
                while self._kept and len(self._kept) >= self._size:
                    self._kept.popitem(last=False)
            found = self._in_use.get(key)
        if found is None:
            found = self._make(model)
        with self._lock:
            found = self._in_use.setdefault(key, found)
            if self._size:
                self._kept[key] = found
                self._kept.move_to_end(key)
        return found


def fingerprint(value: object) -> str:
    """SHA-256 of all data of a frozen value: dataclasses, mappings, sequences, arrays,
    areas, scalars."""
    digest = hashlib.sha256()
    _feed(digest, value)
    return digest.hexdigest()


def _feed(digest: "hashlib._Hash", value: object) -> None:
    digest.update(f"{type(value).__qualname__}:".encode())
    if is_dataclass(value) and not isinstance(value, type):
        for field in fields(value):
            digest.update(f"{field.name}=".encode())
            _feed(digest, getattr(value, field.name))
    elif isinstance(value, np.ndarray):
        digest.update(f"{value.dtype}{value.shape}".encode())
        digest.update(np.ascontiguousarray(value).tobytes())
    elif isinstance(value, shapely.Geometry):
        digest.update(value.wkb)
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
