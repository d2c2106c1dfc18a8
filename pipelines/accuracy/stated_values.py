"""The values of a case of traffic that carry a stated error, as rows on the displacements of any
mesh of the deck, with the loads that govern them.

One list, in this order: maxima of the probes' results, their minima, governing values of the deck,
extreme moments and shears of the beams.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.envelopes.extremes import Extremes
from pipelines.envelopes.governing_loads import governing_loads
from pipelines.envelopes.peaks import Peak
from pipelines.model.beam_rows import beam_rows_at
from pipelines.model.fixed_loads import rows_under
from pipelines.model.influence import field_rows
from pipelines.model.probes import probe_rows
from pipelines.model.responses import SolvedDeck
from pipelines.traffic.positions import WheelPatches
from plate.arrays import Floats, Ints
from plate.conventions import RESULTS
from plate.model.model import PlateModel
from plate.results.fields import field_points
from plate.results.functionals import component_rows
from plate.results.places import Places, at_field_points, on_sides, side_of
from plate.solver.stiffness import Stiffness

BeamKey = tuple[str, str, str]
T = TypeVar("T", np.float64, np.int64)


@dataclass(frozen=True)
class BeamEnd:
    """An extreme of a beam: its key (beam, "moment" or "shear", "max" or "min"), the number of
    its sample among those of all beams, the place from the line's first end [m]."""

    key: BeamKey
    sample: int
    at: float


@dataclass(frozen=True, eq=False, kw_only=True)
class Asked:
    """Results at places, each under a load.

    n_probe : rows of probes; peaks, ends : places and components of the field, and of beams.
    row : (n,) of each result among the rows of probes, peaks and ends in that order.
    loads : with all factors; load : (n,) which of them each result is asked under.
    """

    n_probe: int
    peaks: tuple[Peak, ...]
    ends: tuple[BeamEnd, ...]
    row: Ints
    loads: tuple[WheelPatches, ...]
    load: Ints

    def result(self, k: int) -> int:
        """The number in RESULTS of result k, 0 of those of beams."""
        row = int(self.row[k]) - self.n_probe
        if row < 0:
            return int(self.row[k]) % len(RESULTS)
        return self.peaks[row].component if row < len(self.peaks) else 0


@dataclass(frozen=True, eq=False, kw_only=True)
class StatedValues(Asked):
    """Stated values of a case of traffic: probes, governing values and beam extremes under the
    loads that govern them.

    value : (n,) [SI]; sign : (n,) 1 for maxima, -1 for minima; number : (n,) of the arrangement,
    -1 for the empty deck; joint : (n,) factor near joints that is in the value.
    """

    value: Floats
    sign: Ints
    number: Ints
    joint: Floats

    @property
    def kinds(self) -> Ints:
        """Of each value (n,): the number of its result in RESULTS, then moments and shears of
        beams."""
        n = self.n_probe // len(RESULTS)
        return np.concatenate(
            [
                np.tile(np.arange(len(RESULTS)), 2 * n),
                [peak.component for peak in self.peaks],
                [len(RESULTS) + (end.key[1] == "shear") for end in self.ends],
            ]
        ).astype(np.int64)

    @property
    def largest(self) -> Floats:
        """Largest value (n_kind,) of each kind."""
        found = np.zeros(len(RESULTS) + 2)
        np.maximum.at(found, self.kinds, np.abs(self.value))
        return found

    def split(self, amounts: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        """Amounts (n, ...) of the probes' maxima and minima, of peaks and of beam extremes."""
        n, m = self.n_probe, len(self.peaks)
        high, low, peaks, ends = np.split(amounts, [n, 2 * n, 2 * n + m])
        return high, low, peaks, ends


def stated_values(
    solved: SolvedDeck, envelope: TrafficEnvelope, peaks: Sequence[Peak]
) -> StatedValues:
    """Probes, governing values and beam extremes of a case of traffic."""
    n, m = solved.probes.rows.shape[0], len(peaks)
    beams = list(_beam_ends(solved, envelope))
    k = len(beams)
    e = envelope.probes
    points = [peak.point for peak in peaks]
    of_field = envelope.fields.extremes
    values = {1: of_field.maximum, -1: of_field.minimum}
    ends = tuple(end for end, *_ in beams)
    value = np.concatenate(
        [
            e.maximum,
            e.minimum,
            [values[peak.sign][peak.component, peak.point] for peak in peaks],
            [b[1] for b in beams],
        ]
    )
    sign = np.concatenate(
        [np.ones(n), -np.ones(n), [peak.sign for peak in peaks], [b[2] for b in beams]]
    ).astype(np.int64)
    number = np.concatenate(
        [e.at_maximum, e.at_minimum, [peak.number for peak in peaks], [b[3] for b in beams]]
    ).astype(np.int64)
    joint = np.concatenate([np.tile(envelope.probe_joint, 2), envelope.joint[points], np.ones(k)])
    row = np.concatenate([np.tile(np.arange(n), 2), n + np.arange(m + k)]).astype(np.int64)
    rows = _own_rows(solved, peaks, ends)
    if envelope.model.has_pressure:
        # Which cells of distributed loads are adverse is each result's own.
        loads = governing_loads(solved, envelope, rows, sign, number, joint, row=row)
        load = np.arange(len(loads))
    else:
        different, load = np.unique(np.column_stack([number, joint]), axis=0, return_inverse=True)
        first = [int(np.flatnonzero(load.ravel() == i)[0]) for i in range(len(different))]
        loads = governing_loads(
            solved, envelope, rows[row[first]], sign[first], number[first], joint[first]
        )
    return StatedValues(
        n_probe=n,
        peaks=tuple(peaks),
        ends=ends,
        row=row,
        value=value,
        sign=sign,
        number=number,
        joint=joint,
        loads=tuple(loads),
        load=load.ravel().astype(np.int64),
    )


def own_rows(solved: SolvedDeck, stated: Asked) -> sparse.csr_array:
    """Rows (n_row, n_dof) of stated values as the run itself reads them."""
    return _own_rows(solved, stated.peaks, stated.ends)


def _own_rows(
    solved: SolvedDeck, peaks: Sequence[Peak], beam_ends: Sequence[BeamEnd]
) -> sparse.csr_array:
    points, components = [p.point for p in peaks], [p.component for p in peaks]
    kinds = {"moment": solved.beams.moments, "shear": solved.beams.shears}
    ends = [kinds[end.key[1]][[end.sample]] for end in beam_ends]
    rows = [solved.probes.rows, field_rows(solved, points, components), *ends]
    return sparse.csr_array(sparse.vstack(rows, format="csr"))


@dataclass(frozen=True, eq=False)
class Read:
    """Results on a mesh: their rows (n_row, n_dof), and of those of probes and of the field, row by
    row, where they are read."""

    rows: sparse.csr_array
    places: tuple[Places, ...]


def read_on(stiffness: Stiffness, solved: SolvedDeck, stated: Asked) -> Read:
    """The same values on another mesh of the deck, on the same sides."""
    model, fields = stiffness.model, field_points(stiffness.model)
    singular = stiffness.singular_places if solved.deck.probes else ()
    probes = probe_rows(solved.deck, model, fields, singular)
    rows, read = [probes.rows], [one for some in probes.places for one in some.each]
    places = [one for one in read for _ in RESULTS]
    plan = solved.recovery.points.plan
    if stated.peaks:
        points = [peak.point for peak in stated.peaks]
        sides = [side_of(solved.model.mesh, solved.recovery.points, point) for point in points]
        of_peaks = on_sides(model.mesh, fields, plan[points], np.array(sides))
        rows.append(component_rows(model, of_peaks, [peak.component for peak in stated.peaks]))
        places += of_peaks.each
    rows += _end_rows(model, stated.ends)
    return Read(sparse.csr_array(sparse.vstack(rows, format="csr")), tuple(places))


def _end_rows(model: PlateModel, ends: Sequence[BeamEnd]) -> list[sparse.csr_array]:
    """Rows (1, n_dof) of extremes of beams on a mesh, each beam's read together."""
    found = [sparse.csr_array((0, 0))] * len(ends)
    for beam in dict.fromkeys(end.key[0] for end in ends):
        mine = [k for k, end in enumerate(ends) if end.key[0] == beam]
        moments, shears = beam_rows_at(model, beam, [ends[k].at for k in mine])
        for j, k in enumerate(mine):
            found[k] = (shears if ends[k].key[1] == "shear" else moments)[[j]]
    return found


def own_read(solved: SolvedDeck, stated: Asked) -> Read:
    """The values as the run itself reads them."""
    read = [one for some in solved.probes.places for one in some.each]
    points = [peak.point for peak in stated.peaks]
    of_peaks = at_field_points(solved.recovery.points, points).each if points else []
    places = [one for one in read for _ in RESULTS] + of_peaks
    return Read(own_rows(solved, stated), tuple(places))


def together(lists: Sequence[StatedValues]) -> StatedValues:
    """Several lists of stated values of one deck one after the other, with every row once."""
    n = lists[0].n_probe
    peaks = {(peak.point, peak.component): peak for one in lists for peak in one.peaks}
    ends = {(*end.key[:2], end.sample): end for one in lists for end in one.ends}
    number = {key: n + k for k, key in enumerate([*peaks, *ends])}
    row, load, count = [], [], 0
    for one in lists:
        keys = [
            *((peak.point, peak.component) for peak in one.peaks),
            *((*end.key[:2], end.sample) for end in one.ends),
        ]
        own = np.array([*range(n), *(number[key] for key in keys)], dtype=np.int64)
        row.append(own[one.row])
        load.append(count + one.load)
        count += len(one.loads)
    return StatedValues(
        n_probe=n,
        peaks=tuple(peaks.values()),
        ends=tuple(ends.values()),
        row=np.concatenate(row),
        value=np.concatenate([one.value for one in lists]),
        sign=np.concatenate([one.sign for one in lists]),
        number=np.concatenate([one.number for one in lists]),
        joint=np.concatenate([one.joint for one in lists]),
        loads=tuple(load for one in lists for load in one.loads),
        load=np.concatenate(load),
    )


def probes_together(lists: Sequence[StatedValues]) -> StatedValues:
    """The values of several probes, each stated by itself, as those of all of them."""
    many = [one.n_probe for one in lists]
    rows = np.cumsum([0, *many])
    loads = np.cumsum([0, *(len(one.loads) for one in lists)])

    def joined(parts: Sequence[NDArray[T]]) -> NDArray[T]:
        sides = [np.split(part, 2) for part in parts]
        return np.concatenate([side[k] for k in (0, 1) for side in sides])

    return StatedValues(
        n_probe=int(rows[-1]),
        peaks=(),
        ends=(),
        row=joined([start + one.row for start, one in zip(rows, lists, strict=False)]),
        value=joined([one.value for one in lists]),
        sign=joined([one.sign for one in lists]),
        number=joined([one.number for one in lists]),
        joint=joined([one.joint for one in lists]),
        loads=tuple(load for one in lists for load in one.loads),
        load=joined([start + one.load for start, one in zip(loads, lists, strict=False)]),
    )


def probes_apart(lists: Sequence[StatedValues], amounts: Floats) -> list[Floats]:
    """What `probes_together` has of each of several probes, of amounts (n,) of all its values."""
    ends = np.cumsum([one.n_probe for one in lists])[:-1]
    sides = [np.split(side, ends) for side in np.split(amounts, 2)]
    return [np.concatenate(one) for one in zip(*sides, strict=True)]


def stated_under(stiffness: Stiffness, rows: sparse.csr_array, stated: Asked) -> Floats:
    """Stated values (n,) [SI] under the same loads by another stiffness and its rows."""
    return rows_under(stiffness, rows, stated.row, stated.loads, stated.load)


def _beam_ends(
    solved: SolvedDeck, envelope: TrafficEnvelope
) -> Iterator[tuple[BeamEnd, float, int, int]]:
    """Beam extremes with value, sign and number of the arrangement."""
    beams = solved.beams
    starts = np.cumsum([0, *(len(at) for at in beams.at)])

    def ends(kind: str, e: Extremes) -> Iterator[tuple[BeamEnd, float, int, int]]:
        for name, at, first in zip(beams.names, beams.sides, starts, strict=False):
            for extreme, sign, values, numbers in (
                ("max", 1, e.maximum, e.at_maximum),
                ("min", -1, e.minimum, e.at_minimum),
            ):
                k = int(np.argmax(sign * values[first : first + len(at)]))
                sample = int(first) + k
                place = BeamEnd((name, kind, extreme), sample, float(at[k]))
                yield place, float(values[sample]), sign, int(numbers[sample])

    yield from ends("moment", envelope.beam_moments)
    yield from ends("shear", envelope.beam_shears)
