"""The worst place of a single vehicle by search, where there is no proof: on curves, along an axis,
and with a variable spacing on meshes that are no grid of rectangles.

One result at a time is searched over all stations, offsets and spacings: a scan of its influence
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
    interpolated_values,
    lattice,
    over_lattice,
    wheel_fields,
)
from pipelines.accuracy.pattern_search import pattern_search
from pipelines.accuracy.wheel_influence import WheelField, field_errors
from pipelines.accuracy.worst_place import WorstPlace
from pipelines.deck.deck import Deck
from pipelines.model.influence import Surfaces
from pipelines.traffic.arrangements import LoadPosition
from pipelines.traffic.positions import Size
from plate.arrays import Floats, Ints

# The scan's steps in the smallest side of a patch, and its steps of a variable spacing in those.
SCAN = 4.0
SPREADS = 2.0
# The interpolation is taken to be wrong by so many times what is seen of its error nearby: peaks of
# the scan that could not be the highest even so are passed over; at most so many are refined.
ERRORS = 1.5
MOST_PEAKS = 48
# Of these, by exact values, those from which the search goes on, as `_Candidates.foremost` has it;
# the last step on the interpolated surface, and the first and last on the exact one, of all and of
# the best, as shares of the patch's smaller side. Values have kinks where a patch's edge passes the
# slab's.
NEAR = 0.8
DOUBT = 0.01
MOST = 8
COARSEST = 1.0 / 25.0
FINE = 1.0 / 8.0, 1.0 / 40.0
FINEST = 1.0 / 60.0, 1.0 / 400.0
# What a search down to FINEST may still miss, as a share of the value. The height below which the
# scan may overlook a value: as a share of the result's largest size, and as a multiple of the
# largest error of the interpolation at the places refined. Measured against dense scans of random
# decks.
MISSED = 2e-3
LOST = 1e-2
GAPS = 1.5
# Places times results of one scan held at a time.
MOST_VALUES = 8_000_000


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
        return self.above(np.minimum(near * top, top - doubt), most)

    def above(self, least: Floats, most: int) -> "_Candidates":
        """The highest of each entry, at most so many, of at least so much (n_entry,)."""
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


def searched_places(
    deck: Deck,
    found: Surfaces,
    fleet: Sequence[FreeVehicle],
    rows: Ints,
    signs: Floats,
    starts: Sequence[LoadPosition | None] | None,
) -> list[WorstPlace]:
    """Worst places of results rows[e] of the surfaces, of their maxima by signs 1 and minima by -1.

    starts : of each a load position to look at in any case.
    """
    fields = wheel_fields(deck, found, fleet)
    errors = {
        patch: field_errors(found, patch, deck.course, field) for patch, field in fields.items()
    }
    best = np.zeros(len(rows))
    places: list[LoadPosition | None] = [None] * len(rows)
    scale, gaps = np.zeros(len(rows)), np.zeros(len(found.ordinates))
    least = np.zeros(len(rows))
    peaks = _Candidates.joined(
        [
            _scan(number, free, fields, errors, rows, signs, scale, least)
            for number, free in enumerate(fleet)
            if not free.repeats
        ]
    ).above(least, MOST_PEAKS)
    # Where there are more, those left may be as high as the lowest that is kept.
    left = np.full(len(rows), np.inf)
    np.minimum.at(left, peaks.entry, peaks.value)
    left[np.bincount(peaks.entry, minlength=len(rows)) < MOST_PEAKS] = 0.0
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
    ).foremost(NEAR, MOST, DOUBT * scale)
    for steps in (FINE, FINEST):
        chosen = _Candidates.joined(
            [
                _settled(free, found, rows, signs, chosen.part(chosen.free == number), *steps)
                for number, free in enumerate(fleet)
            ]
        ).foremost(1.0, 1, np.zeros(len(rows)))
    for entry, number, x, value in zip(
        chosen.entry.tolist(), chosen.free.tolist(), chosen.x.T, chosen.value, strict=True
    ):
        if value > 0.0:
            best[entry], places[entry] = value, fleet[number].position(x)
    # What the scan may overlook altogether.
    lost = np.maximum(np.maximum(LOST * scale, GAPS * gaps[rows]), left)
    missed = np.maximum(MISSED * best, lost - best)
    return [
        WorstPlace(float(sign * value), place, float(tolerance), proven=False)
        for sign, value, place, tolerance in zip(signs, best, places, missed, strict=True)
    ]


def _scan(
    number: int,
    free: FreeVehicle,
    fields: dict[Size, WheelField],
    errors: dict[Size, WheelField],
    rows: Ints,
    signs: Floats,
    scale: Floats,
    least: Floats,
) -> _Candidates:
    """Peaks of every result over a lattice of places, and of what it may be with the error of the
    interpolation there, which is their value.

    errors : what the interpolation of the fields misses; scale, least : (n_entry,) largest size of
    each result so far, and the highest value that it has even with the error against it; raised by
    what is found here.
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
            missed = over_lattice(free, errors, rows[part], x)
            missed = ERRORS * np.maximum(missed, 0.0)
            scale[part] = np.maximum(scale[part], np.abs(total).max(axis=0))
            least[part] = np.maximum(least[part], (total - missed).max(axis=0))
            grown, most = (v.reshape(len(s), len(y), -1) for v in (total, total + missed))
            k, j, e = np.nonzero((_is_peak(grown) | _is_peak(most)) & (most > 0.0))
            entries.append(e + start)
            places.append(np.array([s[k], y[j], np.full(len(k), spread)]))
            values.append(most[k, j, e])
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
    """A free's peaks, the same refined on the interpolated surfaces, and its starts, with exact
    values.

    gaps : (n_row,) largest error of the interpolation so far, raised by what is found here.
    """
    x = _zoom(free, fields, rows[peaks.entry], signs[peaks.entry], peaks.x)
    both = np.concatenate([peaks.x, x], axis=1)
    entry, x = _with_starts(free, starts, np.tile(peaks.entry, 2), both)
    value = exact_values(free, found, rows[entry], signs[entry], x)
    gap = np.abs(interpolated_values(free, fields, rows[entry], signs[entry], x) - value)
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
        return interpolated_values(free, fields, rows[part], signs[part], trial)

    start = value(np.arange(len(rows)), x)
    return pattern_search(
        value, x, start, free.room, 0.5 * free.smallest / SCAN, COARSEST * free.smallest
    )[0]


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
