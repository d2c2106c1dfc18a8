"""Panels of the deck: what lies between two neighbouring C lines and two neighbouring L lines, or
equal parts of that.

Overhangs belong to the panel beside them. A plan without lines is one panel, or parts of the
rectangle around it.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from plate.arrays import Floats, Ints
from plate.geometry.plan import Plan

WHOLE = "slab"
NEAR = 1e-6  # to either side of a border [m]
RASTER = 9  # points each way that tell whether there is slab in a panel


@dataclass(frozen=True, eq=False)
class Panels:
    """Panels of a plan.

    size : largest length of a panel along and across [m]: bays that are longer or wider are cut
    into equal parts; None = whole bays.
    """

    plan: Plan
    size: tuple[float, float] | None = None

    @property
    def _stations(self) -> Floats:
        plan = self.plan
        return np.array(plan.stations if plan.is_grid else plan.u_range)

    def _offsets(self, u: Floats) -> Floats:
        """Offsets of the L lines at logical stations u (n,), (n, m)."""
        found = self.plan.line_offsets(u)
        return found[:, 1:-1] if self.plan.is_grid else found

    @cached_property
    def _parallel(self) -> Floats | None:
        """Offsets of the L lines (m,) where they are the same at every station."""
        found = self._offsets(self._stations)
        return found[0] if (found == found[0]).all() else None

    @cached_property
    def _parts(self) -> tuple[Ints, Ints]:
        """Number of parts of every bay along, and of every strip between L lines across."""
        stations = self._stations
        widths = np.diff(self._offsets(stations), axis=1).max(axis=0)
        lengths = np.diff(stations)
        if self.size is None:
            return np.ones(len(lengths), dtype=np.int64), np.ones(len(widths), dtype=np.int64)
        along, across = (
            np.maximum(np.ceil(extent / size - NEAR), 1).astype(np.int64)
            for extent, size in zip((lengths, widths), self.size, strict=True)
        )
        return along, across

    @cached_property
    def _borders(self) -> tuple[Ints, Ints]:
        """Number of the first part of every bay and of every strip, and of all, counted through."""
        along, across = self._parts
        return np.concatenate([[0], np.cumsum(along)]), np.concatenate([[0], np.cumsum(across)])

    @property
    def count(self) -> int:
        """Number of the panels."""
        along, across = self._borders
        return int(along[-1] * across[-1])

    @cached_property
    def names(self) -> tuple[str, ...]:
        """ "C1-C2", or "C1-C2/L1-L2" where there are more than two L lines; of parts of a bay
        "C1-C2 part 2.1": the second along, the first across."""
        return tuple(name for name, _ in self._named)

    def called(self, name: str) -> tuple[str, ...]:
        """The panels that a name is of: of a bay all of its parts that hold slab, in order; of a
        part itself; of anything else none."""
        return self._called.get(name, ())

    @cached_property
    def _called(self) -> dict[str, tuple[str, ...]]:
        found: dict[str, tuple[str, ...]] = {}
        known = set(self.with_slab)
        for name, bay in self._named:
            if name in known:
                found[bay] = (*found.get(bay, ()), name)
                found[name] = (name,)
        return found

    @cached_property
    def _named(self) -> tuple[tuple[str, str], ...]:
        """Every panel's name and that of its bay."""
        along, across = self._parts
        found = []
        for i, n in enumerate(along):
            for a in range(n):
                for j, m in enumerate(across):
                    strip = f"/L{j + 1}-L{j + 2}" if len(across) > 1 else ""
                    bay = f"C{i + 1}-C{i + 2}{strip}" if self.plan.is_grid else WHOLE
                    whole = n * m == 1
                    for b in range(m):
                        name = bay if whole else f"{bay} part {a + 1}.{b + 1}"
                        found.append((name, bay))
        return tuple(found)

    def index(self, points: Floats) -> NDArray[np.intp]:
        """Number in `names` of each plan point (n, 2); on a border, of the panel after it."""
        points = np.asarray(points, dtype=float)
        u, y = self.plan.logical_station(points), points[:, 1]
        first_along, first_across = self._borders
        row = _part(u, self._stations, first_along)
        lines = self._offsets(u) if self._parallel is None else self._parallel
        column = _part(y, lines, first_across)
        return np.asarray(row * first_across[-1] + column, dtype=np.intp)

    def holds(self, k: int, points: Floats) -> NDArray[np.bool_]:
        """Whether each plan point (n, 2) lies in a panel, its borders included."""
        shifts = NEAR * np.array([[-1.0, -1.0], [-1.0, 1.0], [1.0, -1.0], [1.0, 1.0]])
        around = np.asarray(points, dtype=float)[:, None] + shifts
        index = self.index(around.reshape(-1, 2)).reshape(-1, len(shifts))
        return np.asarray((index == k).any(axis=1))

    def extent(self, k: int) -> tuple[tuple[float, float], tuple[float, float]]:
        """Ranges of a panel without overhangs [m]: of logical stations, and of offsets in the
        middle of those."""
        first_along, first_across = self._borders
        row, column = divmod(k, int(first_across[-1]))
        u = _edges(self._stations, first_along)[row : row + 2]
        y = _edges(self._offsets(np.array([u.mean()]))[0], first_across)[column : column + 2]
        return (float(u[0]), float(u[1])), (float(y[0]), float(y[1]))

    @cached_property
    def with_slab(self) -> tuple[str, ...]:
        """Names of the panels that hold some slab: parts of an outline's rectangle may hold none,
        or lie in an opening."""
        if self.plan.is_grid and not self.plan.openings:
            return self.names
        share = (np.arange(RASTER) + 0.5) / RASTER
        extents = np.array([self.extent(k) for k in range(len(self.names))])
        low, size = extents[..., 0], np.diff(extents, axis=-1)
        u, y = (low[:, k, None] + size[:, k] * share for k in (0, 1))
        points = self.plan.at(u[:, :, None], y[:, None, :]).reshape(-1, 2)
        inside = self.plan.contains(points).reshape(len(self.names), -1).any(axis=1)
        return tuple(self.names[k] for k in np.flatnonzero(inside))


def _part(values: Floats, borders: Floats, first: Ints) -> Ints:
    """Number of the part in which each value (n,) lies, between borders (m,), or its own (n, m), of
    bays that have first[i + 1] - first[i] equal parts each; beyond the ends, the outermost part."""
    if borders.ndim == 1:
        bay = np.searchsorted(borders[1:-1], values, side="right")
        low, high = borders[bay], borders[bay + 1]
    else:
        bay = (values[:, None] >= borders[:, 1:-1]).sum(axis=1)
        rows = np.arange(len(values))
        low, high = borders[rows, bay], borders[rows, bay + 1]
    count = first[bay + 1] - first[bay]
    part = np.floor((values - low) / (high - low) * count).astype(np.int64)
    return np.asarray(first[bay] + np.clip(part, 0, count - 1))


def _edges(borders: Floats, first: Ints) -> Floats:
    """Borders of all parts, counted through."""
    found = [
        np.linspace(low, high, n + 1)[:-1]
        for low, high, n in zip(borders[:-1], borders[1:], np.diff(first), strict=True)
    ]
    return np.concatenate([*found, borders[-1:]])
