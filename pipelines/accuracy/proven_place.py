"""The worst place of a single vehicle with a proof on a mesh of any straight-sided cells.

A box of stations and offsets holds no value higher than that at its corners by more than the value
can bend in it (`patch_bends`). Boxes that cannot beat the best value so far by more than the goal
are dismissed, the others halved both ways, until none is left. On a grid of rectangles there is a
nearer way (`proven_arrangement`).
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from pipelines.accuracy.free_vehicle import FreeVehicle, exact_values
from pipelines.accuracy.grid_surfaces import NEAR
from pipelines.accuracy.lane_stretches import highest
from pipelines.accuracy.patch_bends import PatchBends
from pipelines.accuracy.slope_raster import SLIVER, SlopeRaster
from pipelines.accuracy.worst_place import WorstPlace
from pipelines.deck.deck import Deck
from pipelines.model.influence import Surfaces
from pipelines.traffic.arrangements import LoadPosition
from pipelines.traffic.lanes import TIE
from pipelines.traffic.positions import Size
from plate.arrays import Floats, Ints
from plate.threads import one_blas_thread

# How far beyond the value found a value may lie, as a share of it, or of this share of the largest
# of its kind where that is more.
GOAL = 1e-3
SMALL = 1e-3
# Tiles in the smallest side of a patch, and its share that the first boxes are long. Both decide
# the time and nothing else.
TILES = 8.0
BOX = 0.5
# Tiles of the rasters of surfaces that are looked at together, to bound the memory. Most halvings,
# and most boxes of one result that are halved: beyond that the bound known by then is told.
MOST_TILES = 400_000
HALVINGS = 16
MOST_BOXES = 2000


@dataclass(frozen=True, eq=False, kw_only=True)
class _Boxes:
    """Boxes of places: entry, vehicle (n,), ends s, y (n, 2) [m], signed values (n, 2, 2) at their
    corners, and bounds (n,) of what is in them."""

    entry: Ints
    vehicle: Ints
    s: Floats
    y: Floats
    corners: Floats
    upper: Floats

    def part(self, which: NDArray[np.bool_] | Ints) -> "_Boxes":
        return _Boxes(**{field.name: getattr(self, field.name)[which] for field in fields(self)})

    @classmethod
    def joined(cls, parts: Sequence["_Boxes"]) -> "_Boxes":
        return cls(
            **{
                field.name: np.concatenate([getattr(part, field.name) for part in parts])
                for field in fields(cls)
            }
        )


def may_be_proven(deck: Deck, found: Surfaces, fleet: Sequence[FreeVehicle]) -> bool:
    """Whether the worst places of vehicles can be proven here: on straight-sided cells in plan, of
    a straight deck along which traffic runs, and with fixed spacings."""
    mesh = found.mesh
    straight = mesh.alignment.straight and not mesh.curved.any()
    fixed = all(free.vehicle.variable is None for free in fleet)
    return straight and fixed and deck.required_traffic.axis is None


@one_blas_thread
def proven_places(
    deck: Deck,
    found: Surfaces,
    fleet: Sequence[FreeVehicle],
    rows: Ints,
    signs: Floats,
    sizes: Floats | None,
    starts: Sequence[LoadPosition | None] | None,
) -> list[WorstPlace]:
    """Worst places of results rows[e] of the surfaces, of their maxima by signs 1 and minima by -1,
    where they may be proven.

    sizes : (n,) a share `SMALL` of which is small, the result's own by default; starts : of each a
    load position to begin with.
    """
    patches = sorted({patch for free in fleet for patch in free.patches})
    side = min(min(patch) for patch in patches) / TILES
    margin = max(max(patch) for patch in patches) + 3.0 * side
    worst: dict[int, WorstPlace] = {}
    different = np.unique(rows)
    size = np.ptp(found.mesh.plan, axis=0) + 2.0 * margin
    chunk = max(1, int(MOST_TILES / (size.prod() / side**2)))
    for start in range(0, len(different), chunk):
        mine = different[start : start + chunk]
        part = Surfaces(found.mesh, found.ordinates[mine])
        raster = SlopeRaster.of(part, deck, side, margin)
        e = np.flatnonzero(np.isin(rows, mine))
        proof = _PlaceProof(
            part,
            raster,
            {patch: PatchBends.of(raster, patch) for patch in patches},
            fleet,
            np.searchsorted(mine, rows[e]),
            signs[e],
            np.zeros(len(e)) if sizes is None else sizes[e],
        )
        if starts is not None:
            proof.start([starts[k] for k in e.tolist()])
        worst |= dict(zip(e.tolist(), proof.worst(), strict=True))
    return [worst[k] for k in range(len(rows))]


class _PlaceProof:
    """The best values so far of results rows[e] times signs[e], none below zero; vehicle : -1 = the
    empty deck; place : (2, n_entry) station and offset [m]."""

    def __init__(
        self,
        found: Surfaces,
        raster: SlopeRaster,
        bends: dict[Size, PatchBends],
        fleet: Sequence[FreeVehicle],
        rows: Ints,
        signs: Floats,
        sizes: Floats,
    ) -> None:
        self.found, self.raster, self.bends, self.fleet = found, raster, bends, fleet
        self.rows, self.signs, self.sizes = rows, signs, sizes.copy()
        n = len(rows)
        self.best, self.vehicle, self.place = np.zeros(n), np.full(n, -1), np.zeros((2, n))

    @property
    def enough(self) -> Floats:
        """The bound (n_entry,) below which nothing needs to be looked at."""
        return self.best + GOAL * np.maximum(self.best, SMALL * self.sizes)

    @property
    def rounding(self) -> Floats:
        """What rounding may take from a bound (n_entry,)."""
        heaviest = max(f.vehicle.impact * f.pattern[:, 2].sum() for f in self.fleet)
        size = np.abs(self.found.ordinates).max(axis=1)[self.rows]
        steepest = max(1.0 / f.smallest for f in self.fleet)
        return np.asarray(heaviest * size * (1e-11 + 2.0 * NEAR * steepest))

    def start(self, starts: Sequence[LoadPosition | None]) -> None:
        """Begin with load positions."""
        names: list[tuple[str, str]] = [(f.vehicle.name, f.direction) for f in self.fleet]
        for number, free in enumerate(self.fleet):
            mine = [
                (e, (at.station, at.offset, at.spread))
                for e, at in enumerate(starts)
                if at is not None and names.index((at.vehicle, at.direction)) == number
            ]
            if mine:
                e = np.array([one for one, _ in mine])
                x = np.array([place for _, place in mine]).T
                self._take(e, np.full(len(e), number), self._values(free, e, x), x[0], x[1])

    def worst(self) -> list[WorstPlace]:
        """The worst places."""
        boxes = _Boxes.joined(
            [
                self._first(number, free)
                for number, free in enumerate(self.fleet)
                if not free.repeats
            ]
        )
        over, count = np.zeros(len(self.rows)), np.zeros(len(self.rows), dtype=np.int64)
        for _ in range(HALVINGS):
            boxes = boxes.part(boxes.upper > self.enough[boxes.entry])
            count += np.bincount(boxes.entry, minlength=len(self.rows))
            left = (count > MOST_BOXES)[boxes.entry]
            np.maximum.at(over, boxes.entry[left], boxes.upper[left])
            boxes = boxes.part(~left)
            if not len(boxes.entry):
                break
            boxes = self._halved(boxes)
        np.maximum.at(over, boxes.entry, boxes.upper)
        bound = np.maximum(self.enough, over) + self.rounding
        places: list[LoadPosition | None] = [None] * len(self.rows)
        values = np.zeros(len(self.rows))
        for number, free in enumerate(self.fleet):
            e = np.flatnonzero(self.vehicle == number)
            x = np.append(self.place[:, e], np.zeros((1, len(e))), axis=0).round(6)
            values[e] = self._values(free, e, x)
            for k, one in zip(e.tolist(), x.T, strict=True):
                places[k] = free.position(one)
        return [
            WorstPlace(float(sign * value), at, max(float(most - value), 0.0), proven=True)
            for sign, value, at, most in zip(self.signs, values, places, bound, strict=True)
        ]

    def _values(self, free: FreeVehicle, entries: Ints, x: Floats) -> Floats:
        return exact_values(free, self.found, self.rows[entries], self.signs[entries], x)

    def _take(self, entry: Ints, vehicle: Ints, values: Floats, s: Floats, y: Floats) -> None:
        """Take in signed values (n,) at places."""
        owner, best = highest(entry, values, vehicle, y, s)
        better = values[best] > self.best[owner] * (1.0 + TIE)
        e, k = owner[better], best[better]
        self.best[e], self.vehicle[e], self.place[:, e] = values[k], vehicle[k], (s[k], y[k])

    def _first(self, number: int, free: FreeVehicle) -> _Boxes:
        """Boxes of all places of a vehicle that may hold what is enough."""
        length = BOX * free.smallest
        (low, high), (left, right), _ = free.bounds.tolist()
        s = np.linspace(low, high, int(np.ceil((high - low) / length)) + 1)
        if free.offsets is not None:
            y = np.repeat(free.offsets, 2)
        elif left < right:
            y = np.linspace(left, right, int(np.ceil((right - left) / length)) + 1)
        else:
            y = np.array([left, left])
        values = self._on_lattice(free, s, y)
        flat = values.reshape(len(values), -1)
        np.maximum(self.sizes, np.abs(flat).max(axis=1)[self.rows], out=self.sizes)
        entry = np.arange(len(self.rows))
        own = flat[self.rows] * self.signs[:, None]
        most = own.max(axis=1, keepdims=True)
        at = (own >= most - TIE * np.abs(most)).argmax(axis=1)
        i, j = np.divmod(at, len(y))
        self._take(entry, np.full(len(entry), number), own[entry, at], s[i], y[j])
        j = np.arange(len(y) - 1)
        if free.offsets is not None:
            j = j[::2]
        parts = []
        place = np.meshgrid(np.arange(len(s) - 1), j, indexing="ij")
        i, j = (index.ravel() for index in place)
        ends_s, ends_y = np.stack([s[i], s[i + 1]], axis=1), np.stack([y[j], y[j + 1]], axis=1)
        for e in entry.tolist():
            grid = self.signs[e] * values[self.rows[e]]
            corners = np.stack(
                [grid[i, j], grid[i, j + 1], grid[i + 1, j], grid[i + 1, j + 1]], axis=1
            ).reshape(-1, 2, 2)
            of = np.full(len(i), e)
            upper = self._upper(free, of, ends_s, ends_y, corners)
            k = np.flatnonzero(upper > self.enough[e])
            parts.append(
                _Boxes(
                    entry=of[k],
                    vehicle=np.full(len(k), number),
                    s=ends_s[k],
                    y=ends_y[k],
                    corners=corners[k],
                    upper=upper[k],
                )
            )
        return _Boxes.joined(parts)

    def _on_lattice(self, free: FreeVehicle, s: Floats, y: Floats) -> Floats:
        """Results (n_row, n_s, n_y) of all rows at stations and offsets."""
        x = np.array([np.repeat(s, len(y)), np.tile(y, len(s)), np.zeros(len(s) * len(y))])
        wheels = free.positions(x).wheels(slice(None))
        low, high = self.found.mesh.plan.min(axis=0), self.found.mesh.plan.max(axis=0)
        on = np.all((wheels.corners[:, 2] > low) & (wheels.corners[:, 0] < high), axis=1)
        total = np.zeros((len(self.found.ordinates), x.shape[1]))
        means = self.found.means(wheels.corners[on]) * wheels.load[on]
        for row, own in zip(total, means, strict=True):
            row += np.bincount(wheels.position[on], own, minlength=x.shape[1])
        return total.reshape(-1, len(s), len(y))

    def _upper(
        self, free: FreeVehicle, entry: Ints, s: Floats, y: Floats, corners: Floats
    ) -> Floats:
        """Bounds (n,) of a vehicle's signed values in boxes."""
        side, origin = self.raster.side, self.raster.origin
        length, width = float(np.ptp(s, axis=1).max()), float(np.ptp(y, axis=1).max())
        n_x, n_y = (int(np.ceil(one / side - SLIVER)) + 1 for one in (length, width))
        low = np.array([s[:, 0], y[:, 0], np.zeros(len(s))])
        rows, side_of = self.rows[entry], (self.signs[entry] < 0.0).astype(np.int64)
        bend, jump = np.zeros((2, len(s))), np.zeros((2, len(s)))
        stations, offsets = free.places(low)
        for wheel, x, across in zip(free.pattern, stations, offsets, strict=True):
            smooth, jumps = self.bends[float(wheel[3]), float(wheel[4])].over(n_x, n_y)
            i = np.floor((x - origin[0]) / side + SLIVER).astype(np.int64)
            j = np.floor((across - origin[1]) / side + SLIVER).astype(np.int64)
            on = (i > -n_x) & (i < smooth.shape[3]) & (j > -n_y) & (j < smooth.shape[4])
            k = np.flatnonzero(on)
            # Beyond the first tiles there is the margin, where nothing bends.
            i, j = np.maximum(i[k], 0), np.maximum(j[k], 0)
            for d in (0, 1):
                bend[d, k] += wheel[2] * smooth[d, side_of[k], rows[k], i, j]
                jump[d, k] += wheel[2] * jumps[d, rows[k], i, j]
        rise = sum(
            h**2 / 8.0 * bend[d] + h / 4.0 * jump[d]
            for d, h in enumerate((np.ptp(s, axis=1), np.ptp(y, axis=1)))
        )
        return np.asarray(corners.max(axis=(1, 2)) + free.vehicle.impact * rise)

    def _halved(self, boxes: _Boxes) -> _Boxes:
        """Quarters of boxes, or halves of those at one offset, with their values and bounds."""
        parts = []
        for number, free in enumerate(self.fleet):
            mine = boxes.part(boxes.vehicle == number)
            if not len(mine.entry):
                continue
            wide = bool((mine.y[:, 1] > mine.y[:, 0]).any())
            s = np.stack([mine.s[:, 0], mine.s.mean(axis=1), mine.s[:, 1]], axis=1)
            y = np.stack([mine.y[:, 0], mine.y.mean(axis=1), mine.y[:, 1]], axis=1)
            grid = np.zeros((len(s), 3, 3))
            grid[:, ::2, ::2] = mine.corners
            new = [(1, 0), (1, 1), (1, 2), (0, 1), (2, 1)] if wide else [(1, 0)]
            entry = np.tile(mine.entry, len(new))
            x = np.concatenate([np.stack([s[:, i], y[:, j]]) for i, j in new], axis=1)
            keys = np.column_stack([entry, np.rint(x.T / NEAR)])
            _, first, inverse = np.unique(keys, axis=0, return_index=True, return_inverse=True)
            at = np.append(x[:, first], np.zeros((1, len(first))), axis=0)
            values = self._values(free, entry[first], at)
            self._take(entry[first], np.full(len(first), number), values, at[0], at[1])
            for (i, j), own in zip(new, values[inverse.ravel()].reshape(len(new), -1), strict=True):
                grid[:, i, j] = own
            if not wide:
                grid[:, :, 2] = grid[:, :, 0]
            for i in (0, 1):
                for j in (0, 1) if wide else (0,):
                    ends = y[:, j : j + 2] if wide else mine.y
                    across = slice(j, j + 2) if wide else slice(0, 3, 2)
                    corners = grid[:, i : i + 2, across]
                    along = s[:, i : i + 2]
                    upper = self._upper(free, mine.entry, along, ends, corners)
                    parts.append(
                        _Boxes(
                            entry=mine.entry,
                            vehicle=mine.vehicle,
                            s=along,
                            y=ends,
                            corners=corners,
                            upper=upper,
                        )
                    )
        return _Boxes.joined(parts)
