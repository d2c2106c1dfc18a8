"""A vehicle driven over a grid of rectangles along the offsets of a lane: bounds of results under
it in boxes, and the pieces of those that are left.

Of a vehicle with a variable spacing the axles ahead of it and those behind are driven each for
themselves; a place of the vehicle is one of each that the spacing allows.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pipelines.accuracy.box_bounds import EndValues, box_bounds
from pipelines.accuracy.free_vehicle import FreeVehicle
from pipelines.accuracy.grid_surfaces import NEAR, GridSurfaces
from pipelines.accuracy.live_pieces import LivePieces
from pipelines.accuracy.pieces import BOX, DrivenWheels, Pieces, station_pieces, wheel_groups
from pipelines.traffic.lanes import TIE
from plate.arrays import Floats, Ints

# Pairs of pieces of stations and offsets that are looked at together, so that what is formed of
# them stays in cache.
MOST_PAIRS = 8_000


@dataclass(frozen=True, eq=False, kw_only=True)
class BoxesUnder:
    """Signed results under a vehicle in boxes of its stations and offsets.

    upper : (n, n_s, n_y) bounds; exceeded : (n, n_y) what its highest value is no lower than at any
    offset of a box. values, s, spread : (n, n_y, 2) the best value found at either end of a box's
    offsets, its station and widening; largest : (n,) size of any.
    """

    upper: Floats
    exceeded: Floats
    largest: Floats
    values: Floats
    s: Floats
    spread: Floats


@dataclass(frozen=True, eq=False, kw_only=True)
class DrivenVehicle:
    """A vehicle on a grid.

    front : its wheels, but for those that a variable spacing moves; rear : these, which stand at a
    station t that is that of the first axle and the widening; reach : lowest and highest t - s;
    factor : on its loads; able : (n_y,) in which boxes of the offsets it may stand; spaced :
    whether its pieces stand among those of vehicles with a variable spacing.
    """

    free: FreeVehicle
    front: DrivenWheels
    rear: DrivenWheels | None
    reach: tuple[float, float]
    factor: float
    able: NDArray[np.bool_]
    spaced: bool

    @classmethod
    def of(
        cls,
        grid: GridSurfaces,
        free: FreeVehicle,
        y: Pieces,
        between: Floats,
        factor: float,
        *,
        spaced: bool,
    ) -> "DrivenVehicle":
        """A vehicle at those offsets that lie between two [m]."""
        groups, moved = wheel_groups(free), wheel_groups(free, moved=True)
        box = BOX * free.smallest
        low, high = free.bounds[0].tolist()
        front = DrivenWheels(grid, groups, station_pieces(grid.s, groups, (low, high), box), y)
        first, last = y.boxes
        able = (first >= between[0] - NEAR) & (last <= between[1] + NEAR)
        rear, reach = None, (-np.inf, np.inf)
        if moved:
            widest = float(free.bounds[2, 1])
            reach = (0.0, widest) if free.direction == "reverse" else (-widest, 0.0)
            t = station_pieces(grid.s, moved, (low + reach[0], high + reach[1]), box)
            rear = DrivenWheels(grid, moved, t, y)
        return cls(
            free=free,
            front=front,
            rear=rear,
            reach=reach,
            factor=factor,
            able=able,
            spaced=spaced,
        )

    @property
    def rounding(self) -> Floats:
        """What rounding may take from a bound (n_row,)."""
        found = self.front.rounding
        if self.rear is not None:
            found = found + self.rear.rounding
        return self.factor * found

    def boxes(self, rows: Ints, signs: Floats) -> BoxesUnder:
        """The results rows (n,) times signs in all boxes."""
        front = _Boxed.of(self.front, rows, self.factor * signs)
        if self.rear is None:
            upper, exceeded = front.upper, front.lower.max(axis=1)
            values, at = _first_highest(front.ends.values)
            s = front.ends.s[at]
            spread = np.zeros_like(s)
        else:
            rear = _Boxed.of(self.rear, rows, self.factor * signs)
            upper = _with_highest(front.upper, rear.upper, self._behind)
            exceeded = _with_highest(front.lower, rear.lower, self._behind).max(axis=1)
            values, s, spread = self._best_ends(front.ends, rear.ends)
        largest = np.maximum(np.abs(values).max(axis=1), np.abs(front.ends.values).max(axis=(1, 2)))
        values, s, spread = (one[:, front.ends.y.T] for one in (values, s, spread))
        out = ~self.able
        upper[:, :, out] = exceeded[:, out] = values[:, out] = -np.inf
        return BoxesUnder(
            upper=upper, exceeded=exceeded, largest=largest, values=values, s=s, spread=spread
        )

    def _behind(self, box: int) -> slice:
        """Boxes of the rear axles' stations that the spacing allows with one of the front's."""
        assert self.rear is not None
        (low, high), (first, last) = self.front.s.boxes, self.rear.s.boxes
        start = np.searchsorted(last, low[box] + self.reach[0] - NEAR)
        end = np.searchsorted(first, high[box] + self.reach[1] + NEAR)
        return slice(int(start), int(end))

    def _best_ends(self, front: EndValues, rear: EndValues) -> tuple[Floats, Floats, Floats]:
        """The best value (n, n_end_y) at each of the ends of the offsets, its station and
        widening."""
        shape = (front.values.shape[0], front.values.shape[2])
        best, at, spread = np.full(shape, -np.inf), np.zeros(shape), np.zeros(shape)
        for k, s in enumerate(front.s.tolist()):
            start = int(np.searchsorted(rear.s, s + self.reach[0]))
            end = int(np.searchsorted(rear.s, s + self.reach[1], side="right"))
            if start < end:
                most, which = _first_highest(rear.values[:, start:end])
                total = front.values[:, k] + most
                better = total > best + TIE * np.abs(total)
                best[better], at[better] = total[better], s
                t = rear.s[start + which]
                spread[better] = np.abs(t - s)[better]
        return best, at, spread

    def pieces(
        self, rows: Ints, signs: Floats, upper: Floats, needed: Floats, stretch: Ints, number: int
    ) -> LivePieces:
        """The pieces of boxes with bounds above what is needed (n, n_y) that have it, too.

        upper : (n, n_s, n_y); stretch : (n, pieces of y) owners; number : of the vehicle.
        """
        columns = np.repeat(np.arange(needed.shape[1]), np.diff(self.front.y.first))
        signed = self.factor * signs
        if self.rear is None:
            able = upper > needed[:, None]
            return self._alone(rows, signed, able, needed, columns, stretch, number)
        together = self._together(rows, signed, upper, needed, columns)
        behind = {}
        for other in sorted({other for pairs in together.values() for other, *_ in pairs}):
            mine = [one[1:] for pairs in together.values() for one in pairs if one[0] == other]
            behind[other] = _Table.of(self.rear, other, rows, signed, mine)
        parts = [LivePieces.none(self.front.degree + 1)]
        for box, pairs in together.items():
            ahead = _Table.of(self.front, box, rows, signed, [one[1:] for one in pairs])
            for other, e, j in pairs:
                both = self._in_boxes(box, ahead, other, behind[other], e, j, stretch[e, j], number)
                least = np.repeat(needed[e, columns[j]], len(both.owner) // len(e))
                parts.append(both.part(both.top > least))
        return LivePieces.joined(parts)

    def _together(
        self, rows: Ints, signed: Floats, upper: Floats, needed: Floats, columns: Ints
    ) -> dict[int, list[tuple[int, Ints, Ints]]]:
        """Of each box of stations the boxes of the rear axles' that are to be looked at with it,
        with the results and pieces of offsets (n,) for which they are."""
        assert self.rear is not None
        front, rear = (_Boxed.of(one, rows, signed).upper for one in (self.front, self.rear))
        found: dict[int, list[tuple[int, Ints, Ints]]] = {}
        for box in range(upper.shape[1]):
            able = upper[:, box] > needed
            if not able.any():
                continue
            behind = self._behind(box)
            live = []
            for other in range(behind.start, behind.stop):
                mine = able & (front[:, box] + rear[:, other] > needed)
                e, j = np.nonzero(mine[:, columns])
                if len(e):
                    live.append((other, e, j))
            if live:
                found[box] = live
        return found

    def _alone(
        self,
        rows: Ints,
        signed: Floats,
        able: NDArray[np.bool_],
        needed: Floats,
        columns: Ints,
        stretch: Ints,
        number: int,
    ) -> LivePieces:
        """The pieces in those boxes (n, n_s, n_y) of results (n,) that may have what is needed
        (n, n_y), where no wheels have a station of their own.

        columns : (pieces of y) their boxes; stretch : (n, pieces of y) owners.
        """
        m = self.front.degree + 1
        box = np.repeat(np.arange(able.shape[1]), np.diff(self.front.s.first))
        none = np.zeros((3, 0), dtype=np.int64), np.zeros((0, m, m))
        found: list[tuple[Ints, Floats]] = [none]
        for e in np.flatnonzero(able.any(axis=(1, 2))).tolist():
            every = np.flatnonzero(able[e].any(axis=1)[box])
            y = np.flatnonzero(able[e].any(axis=0)[columns])
            least = np.where(able[e][:, columns[y]], needed[e, columns[y]], np.inf)
            for start in range(0, len(every), chunk := max(1, MOST_PAIRS // len(y))):
                s = every[start : start + chunk]
                C = self.front.in_pieces(int(rows[e]), float(signed[e]), s, y)
                top = C.reshape(len(s), -1, len(y)).max(axis=1)
                i, j = np.nonzero(top > least[box[s]])
                found.append((np.stack([np.full(len(i), e), s[i], y[j]]), C[i, :, :, j]))
        (e, s, y), front = (
            np.concatenate(one, axis=axis)
            for one, axis in zip(zip(*found, strict=True), (1, 0), strict=True)
        )
        return LivePieces(
            owner=stretch[e, y],
            vehicle=np.full(len(e), number),
            s=_ends(self.front.s, s),
            t=np.zeros((len(e), 2)),
            y=_ends(self.front.y, y),
            front=front,
            rear=np.zeros((len(e), m, m) if self.spaced else (len(e), 0, 0)),
            reach=np.tile(self.reach, (len(e), 1)),
        )

    def _in_boxes(
        self,
        box: int,
        ahead: "_Table",
        other: int,
        behind: "_Table",
        entry: Ints,
        y: Ints,
        owner: Ints,
        number: int,
    ) -> LivePieces:
        """All pieces of results (n,) in a box of stations, with those of a box of the rear axles',
        each at its own piece of offsets."""
        assert self.rear is not None
        C, D = ahead.at(entry, y), behind.at(entry, y)
        e, i, j = (one.ravel() for one in np.indices((len(entry), C.shape[1], D.shape[1])))
        return LivePieces(
            owner=owner[e],
            vehicle=np.full(len(e), number),
            s=_ends(self.front.s, self.front.s.first[box] + i),
            t=_ends(self.rear.s, self.rear.s.first[other] + j),
            y=_ends(self.front.y, y[e]),
            front=C[e, i],
            rear=D[e, j],
            reach=np.tile(self.reach, (len(e), 1)),
        )


@dataclass(frozen=True, eq=False)
class _Table:
    """Coefficients (n, k, m, m) in the k pieces of a box of stations, by result and piece of the
    offsets.

    keys : (n,) growing; width : number of pieces of the offsets, by which a key is made.
    """

    keys: Ints
    width: int
    coefficients: Floats

    @classmethod
    def of(
        cls,
        wheels: DrivenWheels,
        box: int,
        rows: Ints,
        signed: Floats,
        wanted: Sequence[tuple[Ints, Ints]],
    ) -> "_Table":
        """Those of results rows[e] times signed[e] in pieces y (n,) of the offsets."""
        width = len(wheels.y.low)
        keys = np.unique(np.concatenate([e * width + y for e, y in wanted]))
        e, y = np.divmod(keys, width)
        C = wheels.coefficients(rows[e], signed[e], _run(wheels.s, box), y)
        return cls(keys, width, C)

    def at(self, entry: Ints, y: Ints) -> Floats:
        """Those of results and pieces (n,)."""
        return self.coefficients[np.searchsorted(self.keys, entry * self.width + y)]


@dataclass(frozen=True, eq=False)
class _Boxed:
    """Signed results under wheels in boxes: bounds (n, n_s, n_y), and values at the ends of the
    boxes."""

    lower: Floats
    upper: Floats
    ends: EndValues

    @classmethod
    def of(cls, wheels: DrivenWheels, rows: Ints, signs: Floats) -> "_Boxed":
        ends, (least, most) = box_bounds(wheels)
        sign = signs[:, None, None]
        low, high = sign * least[rows], sign * most[rows]
        return cls(
            np.minimum(low, high),
            np.maximum(low, high),
            replace(ends, values=sign * ends.values[rows]),
        )


def _first_highest(values: Floats) -> tuple[Floats, Ints]:
    """The highest of values (n, m, ...) along their second axis, and the first such place."""
    best = values.max(axis=1)
    return best, np.asarray((values >= (best - TIE * np.abs(best))[:, None]).argmax(axis=1))


def _with_highest(front: Floats, rear: Floats, behind: Callable[[int], slice]) -> Floats:
    """Of all boxes of the front (n, n_s, n_y) the sum with the highest of the rear's that may stand
    behind it."""
    return np.stack(
        [front[:, k] + rear[:, behind(k)].max(axis=1) for k in range(front.shape[1])], axis=1
    )


def _run(pieces: Pieces, box: int) -> slice:
    return slice(int(pieces.first[box]), int(pieces.first[box + 1]))


def _ends(pieces: Pieces, which: Ints) -> Floats:
    return np.stack([pieces.low[which], pieces.high[which]], axis=1)
