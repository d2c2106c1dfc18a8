"""Running extremes: the largest and smallest value of every result over all load positions, with
the number of the position that governs and what coexists with it.

The empty deck is a member: maxima are never below zero, minima never above; where zero governs
the position is -1. Of positions that tie within 1e-9 the first listed governs.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pipelines.traffic.lanes import TIE
from plate.arrays import Floats, Ints
from plate.solver.solution import Combined

# Of maxima and of minima.
SIGNS = (1, -1)
# What lies so far within the extremes that are known, in ties, can neither govern nor tie.
WITHIN = 4.0 * TIE
# An array of the processor's kind.
HOST = np.empty(0)

Fetch = Callable[[Any], Any]
"""Brings arrays of a card to the host."""


@dataclass(frozen=True)
class Extremes:
    """Maximum and minimum of results with any shape, and the numbers of the governing positions."""

    maximum: Floats
    minimum: Floats
    at_maximum: Ints
    at_minimum: Ints

    def replaced(
        self, sign: Ints, place: tuple[Ints, ...], value: Floats, number: Ints
    ) -> "Extremes":
        """The same with other maxima (sign 1) and minima (sign -1) at places (n,) along each axis,
        and the numbers of what governs them."""
        values = {1: self.maximum.copy(), -1: self.minimum.copy()}
        numbers = {1: self.at_maximum.copy(), -1: self.at_minimum.copy()}
        for side in SIGNS:
            chosen = sign == side
            index = tuple(along[chosen] for along in place)
            values[side][index], numbers[side][index] = value[chosen], number[chosen]
        return Extremes(values[1], values[-1], numbers[1], numbers[-1])

    def part(self, start: int, end: int | None) -> "Extremes":
        """Those from start to end on the first axis."""
        mine = slice(start, end)
        return Extremes(
            self.maximum[mine], self.minimum[mine], self.at_maximum[mine], self.at_minimum[mine]
        )


@dataclass(frozen=True)
class FieldEnvelope:
    """Envelopes of the fields.

    extremes : (6, n_point) of w, m_x, m_y, m_xy, q_x, q_y.
    with_maximum, with_minimum : (6, 6, n_point), what coexists: [k] holds all six results at the
        position that governs result k.
    """

    extremes: Extremes
    with_maximum: Floats
    with_minimum: Floats

    @classmethod
    def nowhere(cls) -> "FieldEnvelope":
        """Of no field point."""
        none, at = np.zeros((6, 0)), np.zeros((6, 0), dtype=np.int64)
        return cls(Extremes(none, none, at, at), np.zeros((6, 6, 0)), np.zeros((6, 6, 0)))

    def replaced(
        self,
        sign: Ints,
        place: tuple[Ints, Ints],
        value: Floats,
        number: Ints,
        coexisting: Floats,
    ) -> "FieldEnvelope":
        """The same with other extremes, as `Extremes.replaced`, of results and points, and the six
        results (n, 6) that coexist."""
        beside = {1: self.with_maximum.copy(), -1: self.with_minimum.copy()}
        for side in SIGNS:
            chosen = sign == side
            component, point = (along[chosen] for along in place)
            beside[side][component, :, point] = coexisting[chosen]
        extremes = self.extremes.replaced(sign, place, value, number)
        return FieldEnvelope(extremes, beside[1], beside[-1])


@dataclass(frozen=True)
class RowPeaks:
    """Extremes by the sign sought of some results (n,) over a block of positions: which of the
    results, the lane, the extreme, and value and number of the first position that ties with it."""

    sign: int
    row: Ints
    lane: Ints
    top: Floats
    value: Floats
    number: Ints


class Tracker:
    """Running extremes of results by the sign sought, 1 or -1, and by lanes, as of `FieldTracker`:
    best, at (n, n_lane). like : arrays of its kind are kept, and taken in."""

    def __init__(self, n: int, lanes: int = 1, like: Floats = HOST) -> None:
        self.lanes = lanes
        self.best = {sign: np.zeros((n, lanes), like=like) for sign in SIGNS}
        self.at = {sign: np.zeros((n, lanes), dtype=np.int64, like=like) - 1 for sign in SIGNS}

    def seen(self, parts: Iterable[Floats], first: int) -> list[RowPeaks]:
        """What positions first, first + 1, ..., which come as in `in_blocks`, may add to the
        results, some (k, n_load) after the other; any thread may ask."""
        found: list[RowPeaks] = []
        start = 0
        for values in parts:
            if not (n := len(values)):
                continue
            peaks = Combined(values, None).bounds(self.lanes)
            values = values.reshape(n, self.lanes, values.shape[1] // self.lanes)
            for sign, peak in zip(SIGNS, peaks, strict=True):
                row, lane = np.nonzero(_better(sign, peak, self.best[sign][start : start + n]))
                picked, top = values[row, lane], peak[row, lane]
                column = _first_near(picked, top, sign)
                value, number = _of_column(picked, column), first + self.lanes * column + lane
                found.append(RowPeaks(sign, start + row, lane, top, value, number))
            start += n
        return found

    def take(self, seen: Iterable[RowPeaks]) -> None:
        """Take in what a block adds; blocks come in order."""
        for one in seen:
            best = self.best[one.sign]
            better = _better(one.sign, one.top, best[one.row, one.lane])
            row, lane = one.row[better], one.lane[better]
            best[row, lane] = one.value[better]
            self.at[one.sign][row, lane] = one.number[better]

    def fetched(self, fetch: Fetch) -> None:
        """Go on with what `fetch` makes of its arrays."""
        for kept in (self.best, self.at):
            kept.update({sign: fetch(values) for sign, values in kept.items()})


@dataclass(frozen=True, kw_only=True)
class Tops:
    """Extremes over a block of positions at places where they may govern.

    index : (n,) numbers of the places among those of `FieldTracker.limits`, maxima first; sign :
    (n,) 1 or -1; top : (n,) the extreme.
    """

    index: Ints
    sign: Ints
    top: Floats


@dataclass(frozen=True, kw_only=True)
class Peaks(Tops):
    """The same with the positions that they are of.

    value, number : (n,) those of the first position that ties with the extreme; coexisting : (n,
    n_beside) what is kept beside it of that position. formed, left_out : values that were formed,
    and those that cannot change an extreme.
    """

    value: Floats
    number: Ints
    coexisting: Floats
    formed: int
    left_out: int


@dataclass(frozen=True)
class _Beyond:
    """Rows of fields whose extremes lie beyond those so far.

    tops : (n,) of them, the first `maxima` of them maxima; rows : (a, b, n_load) that were formed;
    row, lane, place : (n,) the row, counted along both axes, the lane, which of the field points.
    """

    tops: Tops
    maxima: int
    rows: Floats
    row: Ints
    lane: Ints
    place: Ints


class FieldTracker:
    """Running extremes of fields with what coexists, by the sign sought: 1 or -1, and by lanes: the
    offsets of a train, each with extremes of its own.

    best, at : (n_field, n_point, n_lane); coexisting : (n_field, n_beside, n_point, n_lane). By
    default the six results and all of them beside each. limits : of trackers beside this one whose
    extremes compete with its own; what stays within them need not be found. formed, left_out :
    values, as of `Peaks`. like : arrays of its kind are kept, and taken in.
    """

    def __init__(
        self,
        n_point: int,
        n_field: int = 6,
        n_beside: int = 6,
        lanes: int = 1,
        limits: Floats | None = None,
        like: Floats = HOST,
    ) -> None:
        # maxima first, then minima
        self.lanes = lanes
        self._best = np.zeros((2, n_field, n_point, lanes), like=like)
        # what a value has to exceed, or go below, to count
        self.limits = np.zeros_like(self._best) if limits is None else limits
        self._at = np.zeros(self._best.shape, dtype=np.int64, like=like) - 1
        # of each value together, as it is written
        self._coexisting = np.zeros((*self._best.shape, n_beside), like=like)
        self.formed = self.left_out = 0

    @property
    def best(self) -> dict[int, Floats]:
        return dict(zip(SIGNS, self._best, strict=True))

    @property
    def at(self) -> dict[int, Ints]:
        return dict(zip(SIGNS, self._at, strict=True))

    @property
    def coexisting(self) -> dict[int, Floats]:
        return dict(zip(SIGNS, np.moveaxis(self._coexisting, -1, 2), strict=True))

    def fetched(self, fetch: Fetch) -> None:
        """Go on with what `fetch` makes of its arrays, once all blocks are taken in."""
        self._best, self._at, self._coexisting = map(
            fetch, (self._best, self._at, self._coexisting)
        )

    def reached(self, points: Ints, fields: Combined) -> Tops:
        """What positions reach beyond the extremes so far at some field points (k,), from their
        fields (n_field, k, ...); any thread may ask."""
        return self._beyond(points, fields).tops

    def seen(self, points: Ints, fields: Combined, beside: Combined, first: int) -> Peaks:
        """What positions first, first + 1, ... may add at some field points (k,), from their fields
        (n_field, k, ...) and what is kept beside (n_beside, k, ...); any thread may ask. Positions
        come as in `in_blocks`, with the lanes abreast of each other.

        The extremes so far may lag behind: they only grow, so what they let pass is enough. Rows
        are formed only where their bounds lie beyond them.
        """
        lanes, found = self.lanes, self._beyond(points, fields)
        top, count = found.tops.top, found.rows.shape[-1] // lanes
        # along the rows of the first axis alone, which need not lie together
        across = found.rows.shape[1]
        row = found.row // across
        picked = found.rows.reshape(len(found.rows), -1, count)[
            row, found.lane + lanes * (found.row - across * row)
        ]
        n = found.maxima
        column = np.concatenate(
            [_first_near(picked[:n], top[:n], 1), _first_near(picked[n:], top[n:], -1)]
        )
        place, load = found.place, count * found.lane + column
        if beside.weights is None:
            every = beside.values.reshape(len(beside.values), -1)
            others = every[:, lanes * count * place + load].T
        else:
            others = np.einsum("bmk,km->mb", beside.values[:, place], beside.weights[:, load])
        n_rows = fields.values.shape[0] * fields.values.shape[1]
        formed = len(found.rows) * across
        return Peaks(
            **vars(found.tops),
            value=_of_column(picked, column),
            number=first + lanes * column + found.lane,
            coexisting=others,
            formed=formed * lanes * count,
            left_out=(n_rows - formed) * lanes * count,
        )

    def _beyond(self, points: Ints, fields: Combined) -> "_Beyond":
        """Extremes of positions beyond those so far."""
        lanes, (n_field, k) = self.lanes, fields.values.shape[:2]
        limits = self.limits[:, :, points].reshape(2, -1, lanes)
        peak = np.stack(fields.bounds(lanes)).reshape(limits.shape)
        rows, formed = fields.values, None
        if fields.weights is not None:
            formed = np.flatnonzero(_exceed(peak, limits).any(axis=(0, 2)))
            rows = fields.of(rows[formed // k, formed % k]).of_loads[None]
            limits, peak = limits[:, formed], np.stack(Combined(rows[0], None).bounds(lanes))
        exceed = _exceed(peak, limits)
        found = np.flatnonzero(exceed)
        # maxima come first
        maxima, one_side = int(np.count_nonzero(exceed[0])), exceed[0].size
        side = found // max(one_side, 1)
        row = (found - one_side * side) // lanes
        lane = found - one_side * side - lanes * row
        of_all = row if formed is None else formed[row]
        component = of_all // k
        place = of_all - k * component
        n_point = self.limits.shape[2]
        tops = Tops(
            index=lane + lanes * (points[place] + n_point * (component + n_field * side)),
            sign=1 - 2 * side,
            top=peak.reshape(-1)[found],
        )
        return _Beyond(tops, maxima, rows, row, lane, place)

    def know(self, p: Tops) -> None:
        """Positions that will come reach so much: what stays within it need not be formed."""
        self._limit(p.index, p.sign, p.top, -WITHIN)

    def take(self, p: Peaks) -> None:
        """Take in what a block adds; blocks come in order."""
        self.formed += p.formed
        self.left_out += p.left_out
        best = self._best.reshape(-1)
        better = _better(p.sign, p.top, best[p.index])
        at, value = p.index[better], p.value[better]
        best[at] = value
        self._limit(at, p.sign[better], value, TIE)
        self._at.reshape(-1)[at] = p.number[better]
        self._coexisting.reshape(-1, self._coexisting.shape[-1])[at] = p.coexisting[better]

    def _limit(self, index: Ints, sign: Ints, value: Floats, beyond: float) -> None:
        """A value (n,) counts where it lies so far beyond one that is known, as a share of it."""
        limits = self.limits.reshape(-1)
        limit = sign * value + beyond * np.abs(value)
        limits[index] = sign * np.maximum(sign * limits[index], limit)

    def envelope(self) -> FieldEnvelope:
        """Of one lane alone."""
        best, at = (np.squeeze(one, axis=-1) for one in (self._best, self._at))
        beside = np.moveaxis(np.squeeze(self._coexisting, axis=-2), -1, 2)
        return FieldEnvelope(Extremes(*best, *at), *np.ascontiguousarray(beside))


def _first_near(rows: Floats, top: Floats, sign: int) -> Ints:
    """The first column (n,) of rows (n, k) that ties with its top (n,), the largest value of the
    row for sign 1, the least for -1."""
    if not len(rows):
        return np.zeros(0, dtype=np.int64, like=rows)
    limit = (top - sign * TIE * np.abs(top))[:, None]
    near = rows >= limit if sign > 0 else rows <= limit
    found: Ints = near.argmax(axis=-1)
    return found


def _of_column(rows: Floats, column: Ints) -> Floats:
    """Of each of the rows (n, k) the value (n,) in its column (n,)."""
    found: Floats = rows.reshape(-1)[np.arange(len(column), like=column) * rows.shape[1] + column]
    return found


def _better(sign: int | Ints, top: Floats, best: Floats) -> NDArray[np.bool_]:
    """Which extremes exceed, by the sign sought, the best so far by more than a tie."""
    found: NDArray[np.bool_] = sign * (top - best) > TIE * np.abs(best)
    return found


def _exceed(peak: Floats, limits: Floats) -> NDArray[np.bool_]:
    """Which maxima and minima (2, ...) lie beyond limits."""
    return np.stack([peak[0] > limits[0], peak[1] < limits[1]])


def with_sums(reactions: dict[str, Floats]) -> dict[str, Floats]:
    """Reactions with the sum of each beam's holds ("C2") before its holds ("C2@L1")."""
    found: dict[str, Floats] = {}
    for name, values in reactions.items():
        if "@" in name:
            beam = name.split("@")[0]
            found[beam] = found.get(beam, 0.0) + values
        found[name] = values
    return found
