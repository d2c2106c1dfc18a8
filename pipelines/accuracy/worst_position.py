"""The true worst place: load positions refined continuously for single results.

Envelopes step the vehicles along a lattice and so miss a little of every peak. Here one result at
a time is searched over all stations, offsets and variable spacings: a scan of its influence
surface finds every place worth looking at, the best are refined on the interpolated surface, then
on the exact one, down to `FINEST` of a wheel patch.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipelines.accuracy.free_vehicle import (
    FreeVehicle,
    exact_values,
    free_vehicles,
    lattice,
    over_lattice,
    wheel_fields,
)
from pipelines.accuracy.pattern_search import pattern_search
from pipelines.accuracy.wheel_influence import WheelField
from pipelines.deck.deck import Deck
from pipelines.model.influence import Surfaces
from pipelines.standards.actions.loads import Vehicle
from pipelines.traffic.arrangements import LoadPosition
from pipelines.traffic.positions import Size
from plate.arrays import Floats, Ints

# The scan's steps in the smallest side of a patch, and its steps of a variable spacing in those.
SCAN = 4.0
SPREADS = 2.0
# Peaks of the scan below this share of its highest, and further below it than this share of the
# result's largest size, are passed over; at most so many are refined on the interpolated surface,
# which is wrong by some per cent of its largest value for a shear.
NEAR = 0.7
DOUBT = 0.08
MOST_PEAKS = 24
# Of these, by exact values, those looked about in steps of this share of a patch's smaller side,
# and of what is found the places from which the search goes on.
NEAR_EXACT = 0.9
DOUBT_EXACT = 0.01
MOST_EXACT = 4
ABOUT = 1.0 / 4.0
NEAR_SETTLED = 0.95
MOST_SETTLED = 2
# Last step on the interpolated surface, first and last steps on the exact one, of all places and of
# the best, as shares of the patch's smaller side. Values have kinks where a patch's edge passes the
# slab's.
COARSEST = 1.0 / 25.0
FINE = 1.0 / 10.0, 1.0 / 40.0
FINEST = 1.0 / 60.0, 1.0 / 400.0
# What a search down to FINEST may still miss, as a share of the value. The height below which the
# scan may overlook a value: as a share of the result's largest size, and as a multiple of the
# largest error of the interpolation that is seen. Measured against dense scans of random decks.
MISSED = 2e-3
LOST = 1e-2
GAPS = 1.5
# Places times results of one scan held at a time.
MOST_VALUES = 8_000_000


@dataclass(frozen=True)
class WorstPlace:
    """The worst value of a result over all load positions, however fine [SI].

    position : None where the empty deck governs; tolerance : what the search may have missed.
    """

    value: float
    position: LoadPosition | None
    tolerance: float


@dataclass(frozen=True, eq=False)
class _Candidates:
    """Places worth looking at.

    entry : (n,) of what is wanted; free : (n,) its number; x : (3, n) places; value : (n,).
    """

    entry: Ints
    free: Ints
    x: Floats
    value: Floats

    @classmethod
    def joined(cls, parts: Sequence["_Candidates"]) -> "_Candidates":
        return cls(
            np.concatenate([p.entry for p in parts]),
            np.concatenate([p.free for p in parts]),
            np.concatenate([p.x for p in parts], axis=1),
            np.concatenate([p.value for p in parts]),
        )

    def part(self, which: NDArray[np.bool_] | Ints) -> "_Candidates":
        return _Candidates(self.entry[which], self.free[which], self.x[:, which], self.value[which])

    def foremost(self, near: float, most: int, doubt: Floats) -> "_Candidates":
        """The highest of each entry, at most so many: those of at least `near` times its highest
        or no further below it than the doubt (n_entry,)."""
        top = np.zeros(len(doubt))
        np.maximum.at(top, self.entry, self.value)
        least = np.minimum(near * top, top - doubt)
        kept = np.flatnonzero(self.value >= least[self.entry])
        kept = kept[np.lexsort((-self.value[kept], self.entry[kept]))]
        return self.part(kept[_rank(self.entry[kept]) < most])

    def apart(self, step: float) -> "_Candidates":
        """The highest of each entry and free in every cell of this size [m]."""
        cells = np.rint(self.x / step).astype(np.int64)
        order = np.argsort(-self.value, kind="stable")
        keys = np.column_stack([self.entry, self.free, cells.T])[order]
        _, first = np.unique(keys, axis=0, return_index=True)
        return self.part(np.sort(order[first]))


def worst_places(
    deck: Deck,
    found: Surfaces,
    wanted: Sequence[tuple[int, int]],
    *,
    starts: Sequence[LoadPosition | None] | None = None,
    vehicles: Sequence[Vehicle] | None = None,
) -> list[WorstPlace]:
    """Worst places of results under single vehicles.

    Parameters
    ----------
    found : influence surfaces of results.
    wanted : (row of the surfaces, +1 for its maximum or -1 for its minimum).
    starts : of each a load position to look at in any case.
    vehicles : those of the deck's traffic by default.
    """
    fleet = list(free_vehicles(deck, vehicles or deck.required_traffic.vehicles))
    fields = wheel_fields(deck, found, fleet)
    rows = np.array([row for row, _ in wanted], dtype=np.int64)
    signs = np.array([sign for _, sign in wanted], dtype=float)
    best = np.zeros(len(wanted))
    places: list[LoadPosition | None] = [None] * len(wanted)
    scale, gaps = np.zeros(len(wanted)), np.zeros(len(found.ordinates))
    peaks = _Candidates.joined(
        [_scan(number, free, fields, rows, signs, scale) for number, free in enumerate(fleet)]
    ).foremost(NEAR, MOST_PEAKS, DOUBT * scale)
    chosen = _Candidates.joined(
        [
            _refined(
                number,
                free,
                fields,
                found,
                rows,
                signs,
                peaks.part(peaks.free == number),
                starts,
                gaps,
            )
            for number, free in enumerate(fleet)
        ]
    ).foremost(NEAR_EXACT, MOST_EXACT, DOUBT_EXACT * scale)
    settled = _Candidates.joined(
        [
            _looked_about(free, found, rows, signs, chosen.part(chosen.free == number))
            for number, free in enumerate(fleet)
        ]
    ).foremost(NEAR_SETTLED, MOST_SETTLED, np.zeros(len(wanted)))
    for steps, most in ((FINE, MOST_SETTLED), (FINEST, 1)):
        settled = _Candidates.joined(
            [
                _settled(free, found, rows, signs, settled.part(settled.free == number), *steps)
                for number, free in enumerate(fleet)
            ]
        ).foremost(NEAR_SETTLED, most, np.zeros(len(wanted)))
    for entry, number, x, value in zip(
        settled.entry.tolist(), settled.free.tolist(), settled.x.T, settled.value, strict=True
    ):
        if value > 0.0:
            best[entry], places[entry] = value, fleet[number].position(x)
    # What the scan may overlook altogether.
    lost = np.maximum(LOST * scale, GAPS * gaps[rows])
    missed = np.maximum(MISSED * best, lost - best)
    return [
        WorstPlace(float(sign * value), place, float(tolerance))
        for sign, value, place, tolerance in zip(signs, best, places, missed, strict=True)
    ]


def _interpolated(
    free: FreeVehicle, fields: dict[Size, WheelField], rows: Ints, signs: Floats, x: Floats
) -> Floats:
    """Signed values (n,) of results at x (3, n) from the interpolated surfaces."""
    total = np.zeros(x.shape[1])
    for wheel, s, y in zip(free.pattern, *free.places(x), strict=True):
        total += wheel[2] * fields[wheel[3], wheel[4]].at(rows, s, y)
    return signs * free.vehicle.impact * total


def _scan(
    number: int,
    free: FreeVehicle,
    fields: dict[Size, WheelField],
    rows: Ints,
    signs: Floats,
    scale: Floats,
) -> _Candidates:
    """Peaks of every result over a lattice of places.

    scale : (n_entry,) largest size of each result so far, raised by what is found here.
    """
    step = free.step(SCAN)
    s, y = (lattice(low, high, step) for low, high in free.bounds[:2])
    s = np.unique(np.concatenate([s, free.entering]).round(9))
    v = lattice(float(free.bounds[2, 0]), float(free.bounds[2, 1]), SPREADS * step)
    if free.offsets is not None:
        y = free.offsets
    entries, places, values = [], [], []
    for spread in v:
        grid = np.meshgrid(s, y, [spread], indexing="ij")
        x = np.array([g.ravel() for g in grid])
        for start in range(0, len(rows), chunk := max(1, MOST_VALUES // x.shape[1])):
            part = slice(start, start + chunk)
            total = over_lattice(free, fields, rows[part], x) * signs[part]
            grown = total.reshape(len(s), len(y), -1)
            scale[part] = np.maximum(scale[part], np.abs(total).max(axis=0))
            k, j, e = np.nonzero(_is_peak(grown) & (grown > -DOUBT * scale[part]))
            entries.append(e + start)
            places.append(np.array([s[k], y[j], np.full(len(k), spread)]))
            values.append(grown[k, j, e])
    entry = np.concatenate(entries)
    return _Candidates(
        entry,
        np.full(len(entry), number),
        np.concatenate(places, axis=1),
        np.concatenate(values),
    )


def _is_peak(values: Floats) -> NDArray[np.bool_]:
    """Whether values (n_s, n_y, ...) are no lower than their eight neighbours', and higher than
    one: where no wheel stands on the slab all are zero."""
    n, m = values.shape[:2]
    padded = np.full((n + 2, m + 2, *values.shape[2:]), -np.inf)
    padded[1:-1, 1:-1] = values
    peak, above = np.ones(values.shape, dtype=bool), np.zeros(values.shape, dtype=bool)
    for i in range(3):
        for j in range(3):
            if (i, j) != (1, 1):
                beside = padded[i : i + n, j : j + m]
                peak &= values >= beside
                above |= (values > beside) & (beside > -np.inf)
    return peak & above


def _rank(groups: Ints) -> Ints:
    """Place (n,) of each member within its group; groups stand together."""
    _, first, inverse = np.unique(groups, return_index=True, return_inverse=True)
    return np.asarray(np.arange(len(groups)) - first[inverse], dtype=np.int64)


def _refined(
    number: int,
    free: FreeVehicle,
    fields: dict[Size, WheelField],
    found: Surfaces,
    rows: Ints,
    signs: Floats,
    peaks: _Candidates,
    starts: Sequence[LoadPosition | None] | None,
    gaps: Floats,
) -> _Candidates:
    """A free's peaks refined on the interpolated surfaces and its starts, with exact values.

    gaps : (n_row,) largest error of the interpolation so far, raised by what is found here.
    """
    x = _zoom(free, fields, rows[peaks.entry], signs[peaks.entry], peaks.x)
    entry, x = _with_starts(free, starts, peaks.entry, x)
    value = exact_values(free, found, rows[entry], signs[entry], x)
    gap = np.abs(_interpolated(free, fields, rows[entry], signs[entry], x) - value)
    np.maximum.at(gaps, rows[entry], gap)
    refined = _Candidates(entry, np.full(len(entry), number), x, value)
    return refined.apart(4.0 * COARSEST * free.smallest)


def _with_starts(
    free: FreeVehicle, starts: Sequence[LoadPosition | None] | None, entry: Ints, x: Floats
) -> tuple[Ints, Floats]:
    """Entries (n,) and places (3, n) with the free's own among the starts added."""
    name = free.vehicle.name, free.direction
    more = [
        (k, (at.station, at.offset, at.spread))
        for k, at in enumerate(starts or ())
        if at is not None and (at.vehicle, at.direction) == name
    ]
    if not more:
        return entry, x
    return (
        np.concatenate([entry, [k for k, _ in more]]),
        np.concatenate([x, np.array([place for _, place in more]).T], axis=1),
    )


def _zoom(
    free: FreeVehicle, fields: dict[Size, WheelField], rows: Ints, signs: Floats, x: Floats
) -> Floats:
    """Places (3, n) refined on the interpolated surfaces."""

    def value(part: Ints, trial: Floats) -> Floats:
        return _interpolated(free, fields, rows[part], signs[part], trial)

    start = value(np.arange(len(rows)), x)
    return pattern_search(
        value, x, start, free.room, 0.5 * free.smallest / SCAN, COARSEST * free.smallest
    )[0]


def _looked_about(
    free: FreeVehicle, found: Surfaces, rows: Ints, signs: Floats, chosen: _Candidates
) -> _Candidates:
    """Candidates and places about each of them, with exact values: small waves of the surfaces
    have tops of their own, which the interpolation does not see."""
    step = ABOUT * free.smallest
    steps = step * np.arange(-1.0, 2.0)
    along, across = (a.ravel() for a in np.meshgrid(steps, steps, indexing="ij"))
    if free.offsets is not None:
        along, across = steps, np.zeros(len(steps))
    moves = np.array([along, across, np.zeros(len(along))])
    low, high = free.bounds[:, 0, None, None], free.bounds[:, 1, None, None]
    x = np.clip(chosen.x[..., None] + moves[:, None], low, high).reshape(3, -1)
    entry, vehicle_of = (np.repeat(a, len(along)) for a in (chosen.entry, chosen.free))
    value = exact_values(free, found, rows[entry], signs[entry], x)
    return _Candidates(entry, vehicle_of, x, value).apart(step)


def _settled(
    free: FreeVehicle,
    found: Surfaces,
    rows: Ints,
    signs: Floats,
    settled: _Candidates,
    first: float,
    last: float,
) -> _Candidates:
    """Candidates refined on the exact surfaces by steps from first to last, as shares of the
    smallest side of a patch."""
    rows, signs = rows[settled.entry], signs[settled.entry]

    def exact(part: Ints, trial: Floats) -> Floats:
        return exact_values(free, found, rows[part], signs[part], trial)

    first, last = first * free.smallest, last * free.smallest
    x, value = pattern_search(exact, settled.x, settled.value, free.room, first, last)
    return _Candidates(settled.entry, settled.free, x, value)
