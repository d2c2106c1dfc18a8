"""The worst place of a single vehicle with a proof: no place makes a higher value.

On a grid of rectangles on a straight deck a result under a vehicle is a polynomial in pieces
(`pieces`). Boxes of pieces that cannot beat the best value so far are dismissed by their bounds
(`box_bounds`); the pieces of the others are bounded by their Bernstein coefficients and halved both
ways until none can beat the best by more than the goal. No constant decides what may be missed.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from pipelines.accuracy.bernstein import halves
from pipelines.accuracy.box_bounds import box_bounds
from pipelines.accuracy.free_vehicle import FreeVehicle, exact_values
from pipelines.accuracy.grid_surfaces import GridSurfaces
from pipelines.accuracy.pieces import DrivenWheels
from pipelines.accuracy.worst_place import WorstPlace
from pipelines.model.influence import Surfaces
from pipelines.traffic.arrangements import LoadPosition
from plate.arrays import Floats, Ints

# How far beyond the value found a value may lie, as a share of it, or of this share of the size
# that is given where that is more.
GOAL = 1e-4
SMALL = 1e-3
# Ordinates of the surfaces that are looked at together, to bound the memory.
MOST_ORDINATES = 2_000_000


@dataclass(frozen=True, eq=False, kw_only=True)
class _Pieces:
    """Pieces that may hold the highest value.

    entry, vehicle : (n,); s, y : (n, 2) ends [m]; coefficients : (n, m, m) of the signed values.
    """

    entry: Ints
    vehicle: Ints
    s: Floats
    y: Floats
    coefficients: Floats

    def part(self, which: NDArray[np.bool_] | Ints) -> "_Pieces":
        return _Pieces(**{field.name: getattr(self, field.name)[which] for field in fields(self)})

    @classmethod
    def joined(cls, parts: Sequence["_Pieces"]) -> "_Pieces":
        return cls(
            **{
                field.name: np.concatenate([getattr(part, field.name) for part in parts])
                for field in fields(cls)
            }
        )

    def halved(self, axis: int) -> "_Pieces":
        """Both halves of each along s (axis = 0) or y (axis = 1)."""
        first, second = halves(self.coefficients.shape[1] - 1)
        ends = self.y if axis else self.s
        middle = ends.mean(axis=1)
        parts = []
        for matrix, low, high in (
            (first, ends[:, 0], middle),
            (second, middle, ends[:, 1]),
        ):
            half = np.stack([low, high], axis=1)
            C = self.coefficients @ matrix.T if axis else matrix @ self.coefficients
            s, y = (self.s, half) if axis else (half, self.y)
            parts.append(replace(self, s=s, y=y, coefficients=C))
        return _Pieces.joined(parts)


class _Proof:
    """The best values so far of some results, and where: of rows[e], times signs[e], for entry e.

    sizes : (n_entry,) of which `SMALL` is small, raised to the largest of each result that is met.
    best : (n_entry,) signed, none below zero, which is the empty deck's; vehicle : (n_entry,) -1 =
    the empty deck; place : (2, n_entry) station and offset [m].
    """

    def __init__(self, rows: Ints, signs: Floats, sizes: Floats) -> None:
        self.rows, self.signs, self.sizes = rows, signs, sizes.copy()
        self.maxima = (signs > 0.0).reshape(-1, 1, 1)
        self.best = np.zeros(len(signs))
        self.vehicle = np.full(len(signs), -1)
        self.place = np.zeros((2, len(signs)))

    @property
    def tolerance(self) -> Floats:
        """By how much (n_entry,) a bound may lie above the best."""
        return GOAL * np.maximum(self.best, SMALL * self.sizes)

    @property
    def enough(self) -> Floats:
        """The bound (n_entry,) below which nothing needs to be looked at."""
        return self.best + self.tolerance

    def take(self, entry: Ints, vehicle: Ints | int, values: Floats, s: Floats, y: Floats) -> None:
        """Take in signed values (n,) at places."""
        vehicles = np.broadcast_to(vehicle, entry.shape)
        order = np.lexsort((values, entry))
        last = order[np.append(np.diff(entry[order]) > 0, True)] if len(order) else order
        better = last[values[last] > self.best[entry[last]]]
        e = entry[better]
        self.best[e], self.vehicle[e] = values[better], vehicles[better]
        self.place[:, e] = s[better], y[better]


def proven_places(
    found: Surfaces,
    grid: GridSurfaces,
    fleet: Sequence[FreeVehicle],
    rows: Ints,
    signs: Floats,
    sizes: Floats,
    starts: Sequence[LoadPosition | None] | None,
) -> list[WorstPlace]:
    """Worst places of results rows[e] of the surfaces, of their maxima by signs 1 and minima by -1,
    none of which is exceeded anywhere by more than its tolerance.

    grid : the surfaces on their grid; sizes : (n,) a share `SMALL` of which is small;
    starts : of each a load position to look at in any case.
    """
    at: list[LoadPosition | None] = [None] * len(rows)
    bound = np.zeros(len(rows))
    different = np.unique(rows)
    chunk = max(1, MOST_ORDINATES // max(1, grid.ordinates[0].size))
    for start in range(0, len(different), chunk):
        mine = different[start : start + chunk]
        e = np.flatnonzero(np.isin(rows, mine))
        part = grid.part(mine)
        proof = _Proof(np.searchsorted(mine, rows[e]), signs[e], sizes[e])
        driven = {
            k: DrivenWheels.of(part, free) for k, free in enumerate(fleet) if not free.repeats
        }
        _prove(driven, proof)
        rounding = np.max([one.rounding for one in driven.values()], axis=0)[proof.rows]
        bound[e] = proof.enough + rounding
        for entry, number, place in zip(
            e.tolist(), proof.vehicle.tolist(), proof.place.T, strict=True
        ):
            if number >= 0:
                at[entry] = fleet[number].position(np.append(place, 0.0))
    return _stated(found, fleet, rows, signs, bound, [at, starts or at])


def _stated(
    found: Surfaces,
    fleet: Sequence[FreeVehicle],
    rows: Ints,
    signs: Floats,
    bound: Floats,
    choices: Sequence[Sequence[LoadPosition | None]],
) -> list[WorstPlace]:
    """The best of each result's load positions with its exact value."""
    names: list[tuple[str, str]] = [(free.vehicle.name, free.direction) for free in fleet]
    best = np.zeros(len(rows))
    places: list[LoadPosition | None] = [None] * len(rows)
    for at in choices:
        numbers = np.array(
            [-1 if one is None else names.index((one.vehicle, one.direction)) for one in at]
        )
        for number, free in enumerate(fleet):
            mine = np.flatnonzero(numbers == number)
            there = [one for k in mine.tolist() if (one := at[k]) is not None]
            x = np.array([(one.station, one.offset, one.spread) for one in there])
            values = exact_values(free, found, rows[mine], signs[mine], x.reshape(-1, 3).T)
            for e, value, one in zip(mine.tolist(), values.tolist(), there, strict=True):
                if value > best[e]:
                    best[e], places[e] = value, one
    return [
        WorstPlace(float(sign * value), place, max(float(gap), 0.0), proven=True)
        for sign, value, place, gap in zip(signs, best, places, bound - best, strict=True)
    ]


def _prove(fleet: Mapping[int, DrivenWheels], proof: _Proof) -> None:
    """Find the worst places of the results under any of the vehicles, given by their numbers."""
    bounds = {number: _boxes(number, wheels, proof) for number, wheels in fleet.items()}
    pieces = [
        part
        for number, upper in bounds.items()
        for part in _pieces(number, fleet[number], upper, proof)
    ]
    if not pieces:
        return
    live = _Pieces.joined(pieces)
    while True:
        live = live.part(live.coefficients.max(axis=(1, 2)) > proof.enough[live.entry])
        if not len(live.entry):
            return
        live = live.halved(0)
        wide = live.y[:, 1] > live.y[:, 0]
        live = _Pieces.joined([live.part(~wide), live.part(wide).halved(1)])
        _corners(live, proof)


def _boxes(number: int, wheels: DrivenWheels, proof: _Proof) -> Floats:
    """Upper bounds (n_entry, n_s, n_y) of the signed values in boxes; takes in their corners."""
    corners, (low, high) = box_bounds(wheels)
    rows = proof.rows
    upper = np.where(proof.maxima, high[rows], -low[rows])
    s, y = (np.stack(pieces.boxes) for pieces in (wheels.s, wheels.y))
    flat = corners.reshape(len(corners), -1)
    row = np.arange(len(flat))
    for sign, at in ((1.0, flat.argmax(axis=1)), (-1.0, flat.argmin(axis=1))):
        entry = np.flatnonzero(proof.signs == sign)
        own = sign * flat[row, at][rows]
        np.maximum(proof.sizes, np.abs(own), out=proof.sizes)
        i, j, k, m = np.unravel_index(at[rows[entry]], corners.shape[1:])
        proof.take(entry, number, own[entry], s[i, k], y[j, m])
    return upper


def _pieces(number: int, wheels: DrivenWheels, upper: Floats, proof: _Proof) -> Iterator[_Pieces]:
    """The pieces of the boxes whose bounds are above what is enough that are so themselves."""
    first = wheels.y.first
    columns = np.repeat(np.arange(len(first) - 1), np.diff(first))
    reached = upper.max(axis=(0, 2), where=upper > proof.enough[:, None, None], initial=0.0)
    for box in np.argsort(-reached, kind="stable").tolist():
        able = upper[:, box] > proof.enough[:, None]
        entries = np.flatnonzero(able.any(axis=1))
        if not len(entries):
            continue
        y = np.flatnonzero(np.asarray(able.any(axis=0))[columns])
        s = slice(int(wheels.s.first[box]), int(wheels.s.first[box + 1]))
        different, inverse = np.unique(proof.rows[entries], return_inverse=True)
        C = wheels.coefficients(different, s, y)
        C_low, C_high = C.min(axis=(3, 4)), C.max(axis=(3, 4))
        top = np.where(proof.maxima[entries], C_high[inverse], -C_low[inverse])
        live = (top > proof.enough[entries][:, None, None]) & able[entries][:, None, columns[y]]
        e, i, j = np.nonzero(live)
        if not len(e):
            continue
        found = _Pieces(
            entry=entries[e],
            vehicle=np.full(len(e), number),
            s=np.stack([wheels.s.low[s][i], wheels.s.high[s][i]], axis=1),
            y=np.stack([wheels.y.low[y[j]], wheels.y.high[y[j]]], axis=1),
            coefficients=C[inverse[e], i, j] * proof.signs[entries[e]][:, None, None],
        )
        _corners(found, proof)
        yield found


def _corners(pieces: _Pieces, proof: _Proof) -> None:
    """Take in the values at the corners of pieces."""
    for i in (0, -1):
        for j in (0, -1):
            proof.take(
                pieces.entry,
                pieces.vehicle,
                pieces.coefficients[:, i, j],
                pieces.s[:, i],
                pieces.y[:, j],
            )
