"""The stated values of a case of traffic under its true worst loads.

The envelope's lattice of load positions serves the fields. What is stated with an error, governing
values, probes and extremes of the beams, is the value under the worst load that is found anywhere
(`worst_loads`): its load position joins the envelope's, and the value takes its place there. A
governing value stands where it is largest under such loads (`climbed`).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import sparse

from pipelines.accuracy.beside_wheels import beside_wheels
from pipelines.accuracy.between_points import between_points
from pipelines.accuracy.climbed import Known, climbed, joined
from pipelines.accuracy.spots import OffPoint, told_off_points
from pipelines.accuracy.stated_values import StatedValues, own_rows, stated_values
from pipelines.accuracy.worst_loads import WorstLoad, worst_loads
from pipelines.accuracy.worst_reactions import with_worst_reactions
from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.envelopes.extremes import Extremes, FieldEnvelope
from pipelines.envelopes.governing_loads import governing_loads
from pipelines.envelopes.peaks import Peak, governing_values
from pipelines.model.fixed_loads import values_under
from pipelines.model.influence import Surfaces, field_rows, probe_surfaces, surfaces
from pipelines.model.responses import SolvedDeck
from pipelines.traffic.lanes import TIE
from pipelines.units import RESULT_SCALE
from plate.arrays import Floats, Ints
from plate.conventions import RESULTS


@dataclass(frozen=True, eq=False, kw_only=True)
class WorstEnvelope:
    """The envelope of a case of traffic with the true worst values in it.

    peaks : its governing values, and off : of those that are larger off the field points, shears at
    wheels, what was read there; stated : all that is stated, governing values as the field has
    them, and of_steps : the same as the steps of the load positions gave it; gap : (n,) how much
    further from zero each may lie under any load of the case, and raised : (n,) how much further it
    does than at the steps [SI], not a number where no worst load was asked for; proven : whether
    the gap leads to an upper bound, or is only what a search may have missed, as it always is of
    shears at wheels. reaction_gap : (2, n_name) how much further from zero maxima and minima of the
    reactions may lie [N], not a number where they are those of the steps.
    """

    envelope: TrafficEnvelope
    peaks: tuple[Peak, ...]
    off: tuple[OffPoint | None, ...]
    stated: StatedValues
    of_steps: StatedValues
    gap: Floats
    raised: Floats
    proven: bool
    reaction_gap: Floats


def stepped(solved: SolvedDeck, envelope: TrafficEnvelope) -> WorstEnvelope:
    """The envelope as the steps of the load positions give it."""
    return _stepped(solved, envelope, _peaks(solved, envelope))


def _stepped(
    solved: SolvedDeck, envelope: TrafficEnvelope, peaks: tuple[Peak, ...]
) -> WorstEnvelope:
    stated = stated_values(solved, envelope, peaks)
    return WorstEnvelope(
        envelope=envelope,
        peaks=peaks,
        off=(None,) * len(peaks),
        stated=stated,
        of_steps=stated,
        gap=np.full(len(stated.value), np.nan),
        raised=np.full(len(stated.value), np.nan),
        proven=False,
        reaction_gap=np.full((2, len(envelope.reaction_names)), np.nan),
    )


def _peaks(solved: SolvedDeck, envelope: TrafficEnvelope) -> tuple[Peak, ...]:
    return governing_values(solved, envelope) if envelope.n_points else ()


@dataclass(frozen=True, eq=False, kw_only=True)
class _Asked:
    """An envelope whose worst loads are asked for.

    before : with the values by the steps; of_peaks : governing values of the steps themselves;
    rows : (n_row, n_dof) of the stated values; sizes : (n,) largest value of the kind of each;
    known : worst loads of governing values.
    """

    solved: SolvedDeck
    before: WorstEnvelope
    of_peaks: dict[tuple[int, int, bool], float]
    rows: sparse.csr_array
    sizes: Floats
    known: Known

    @classmethod
    def of(cls, solved: SolvedDeck, envelope: TrafficEnvelope, largest: Floats | float) -> "_Asked":
        """What is asked of an envelope."""
        first, steps = _peaks(solved, envelope), envelope
        envelope, known = climbed(solved, steps, first) if steps.n_points else (steps, {})
        moved = envelope is not steps
        before = _stepped(solved, envelope, _peaks(solved, envelope) if moved else first)
        stated = before.stated
        return cls(
            solved=solved,
            before=before,
            of_peaks={_kind(peak): abs(peak.value) for peak in first},
            rows=own_rows(solved, stated),
            sizes=np.maximum(stated.largest, largest)[stated.kinds],
            known=known,
        )


def with_worst_loads(solved: SolvedDeck, envelope: TrafficEnvelope) -> WorstEnvelope:
    """The envelope with its stated values under their worst loads."""
    return _with_worst_loads([_Asked.of(solved, envelope, 0.0)])[0]


def probes_with_worst_loads(
    ones: Sequence[SolvedDeck], envelopes: Sequence[TrafficEnvelope], largest: Floats
) -> list[WorstEnvelope]:
    """The same of envelopes of a case of traffic of plates of which a probe alone is read each.

    largest : (n_kind,) values of the deck of each of their kinds.
    """
    asked = [_Asked.of(one, own, largest) for one, own in zip(ones, envelopes, strict=True)]
    return _with_worst_loads(asked)


def _with_worst_loads(asked: Sequence[_Asked]) -> list[WorstEnvelope]:
    stated = [one for one in asked if len(one.before.stated.value)]
    found = dict(zip(map(id, stated), _worst(stated), strict=True))
    return [_with_found(one, found[id(one)]) if id(one) in found else one.before for one in asked]


def _with_found(asked: _Asked, found: Sequence[WorstLoad]) -> WorstEnvelope:
    """The envelope with the worst loads of its values in it."""
    solved, before, of_peaks, rows = asked.solved, asked.before, asked.of_peaks, asked.rows
    envelope, stated = before.envelope, before.stated
    true = stated.joint * np.array([worst.value for worst in found])
    gap = stated.joint * np.array([worst.tolerance for worst in found])
    higher = stated.sign * (true - stated.value) > TIE * np.abs(stated.value)
    chosen = np.flatnonzero(higher)
    envelope, number = joined(envelope, [found[k] for k in chosen.tolist()])
    value = true[chosen]
    if envelope.model.has_pressure:
        # The search cuts distributed loads into finer cells than the envelope.
        which = stated.row[chosen], stated.sign[chosen]
        held = governing_loads(
            solved, envelope, rows[which[0]], which[1], number, stated.joint[chosen]
        )
        value = values_under(
            solved.stiffness, held.__getitem__, rows[which[0]], np.arange(len(chosen))
        )
        more = stated.sign[chosen] * (value - stated.value[chosen]) > 0.0
        chosen, value, number = chosen[more], value[more], number[more]
    values = stated.value.copy()
    values[chosen] = value
    raised = np.abs(values - stated.value)
    for k, peak in enumerate(stated.peaks, 2 * stated.n_probe):
        of_steps = of_peaks.get(_kind(peak), 0.0) / RESULT_SCALE[peak.component]
        raised[k] = abs(values[k]) - of_steps
    envelope = _with_values(solved, envelope, stated, chosen, value, number)
    envelope, reaction_gap = with_worst_reactions(solved, envelope)
    # a knife edge is no longer told where hogging has risen above it
    after = {_kind(peak): peak for peak in _peaks(solved, envelope)}
    still = np.array([_kind(peak) in after for peak in stated.peaks], dtype=bool)
    peaks = tuple(after[_kind(peak)] for peak in stated.peaks if _kind(peak) in after)
    kept = np.ones(len(stated.value), dtype=bool)
    kept[2 * stated.n_probe :][: len(still)] = still
    earlier = [peak for peak in stated.peaks if _kind(peak) in after]
    gap, raised = (gap + np.maximum(stated.sign * (true - values), 0.0))[kept], raised[kept]
    at_wheels, between = (read(solved, envelope, peaks) for read in (beside_wheels, between_points))
    larger = [one or other for one, other in zip(at_wheels, between, strict=True)]
    envelope, told, off = told_off_points(solved, envelope, peaks, larger)
    for k, one in enumerate(off, 2 * stated.n_probe):
        if one is not None:
            # what shears at wheels are under other loads is looked at from the field's worst
            gap[k] = one.step if between[k - 2 * stated.n_probe] else gap[k] + one.step
            raised[k] += abs(one.value) - abs(values[kept][k])
    return WorstEnvelope(
        envelope=envelope,
        peaks=tuple(told),
        off=tuple(off),
        stated=stated_values(solved, envelope, peaks),
        of_steps=stated_values(solved, before.envelope, earlier),
        reaction_gap=reaction_gap,
        gap=gap,
        raised=raised,
        proven=all(worst.proven for worst in found),
    )


def _worst(asked: Sequence[_Asked]) -> list[list[WorstLoad]]:
    """The worst loads of all stated values, of several envelopes of one case of traffic looked for
    together; those of governing values may be known already."""
    found: list[list[WorstLoad | None]] = []
    new: list[tuple[int, int]] = []
    wanted: list[tuple[int, int]] = []
    sizes, starts, ordinates, begin = [], [], [], 0
    for i, one in enumerate(asked):
        stated, envelope = one.before.stated, one.before.envelope
        own: list[WorstLoad | None] = [None] * len(stated.value)
        for k, peak in enumerate(stated.peaks, 2 * stated.n_probe):
            own[k] = one.known.get((peak.component, peak.point, peak.sign))
        found.append(own)
        mine = [k for k, known in enumerate(own) if known is None]
        if not mine:
            continue
        different, row = np.unique(stated.row[mine], return_inverse=True)
        new += [(i, k) for k in mine]
        wanted += zip((begin + row.ravel()).tolist(), stated.sign[mine].tolist(), strict=True)
        sizes.append(one.sizes[mine])
        starts += [envelope.position(number) for number in stated.number[mine].tolist()]
        ordinates.append(_surfaces(one, different).ordinates)
        begin += len(different)
    if new:
        first = asked[0]
        worst = worst_loads(
            first.solved.deck,
            Surfaces(first.solved.model.mesh, np.concatenate(ordinates)),
            wanted,
            first.before.envelope.model,
            sizes=np.concatenate(sizes),
            starts=starts,
        )
        for (i, k), load in zip(new, worst, strict=True):
            found[i][k] = load
    return [[load for load in own if load is not None] for own in found]


def _surfaces(asked: _Asked, rows: Ints) -> Surfaces:
    """Influence surfaces of some of the rows (n,) of stated values; of all where they are those of
    probes alone, which have been solved for."""
    stated = asked.before.stated
    if stated.peaks or stated.ends:
        return surfaces(asked.solved.stiffness, sparse.csr_array(asked.rows[rows]))
    return probe_surfaces(asked.solved)


def _kind(peak: Peak) -> tuple[int, int, bool]:
    """What a governing value is of, whichever its place."""
    return peak.component, peak.sign, peak.knife_edge


def _with_values(
    solved: SolvedDeck,
    envelope: TrafficEnvelope,
    stated: StatedValues,
    chosen: Ints,
    value: Floats,
    number: Ints,
) -> TrafficEnvelope:
    """The envelope with the stated values `chosen` (n,) and the numbers of their arrangements."""
    n, m, sign, row = stated.n_probe, len(stated.peaks), stated.sign[chosen], stated.row[chosen]
    probe, peak, end = (
        np.flatnonzero(kind) for kind in (row < n, (row >= n) & (row < n + m), row >= n + m)
    )
    peaks = [stated.peaks[k] for k in (row[peak] - n).tolist()]
    ends = [stated.ends[k] for k in (row[end] - n - m).tolist()]

    def replaced(extremes: Extremes, which: Ints, place: Sequence[int] | Ints) -> Extremes:
        at = np.asarray(place, dtype=np.int64)
        return extremes.replaced(sign[which], (at,), value[which], number[which])

    of_beams = {}
    for kind, extremes in (("moment", envelope.beam_moments), ("shear", envelope.beam_shears)):
        those = [k for k, beam_end in enumerate(ends) if beam_end.key[1] == kind]
        of_beams[kind] = replaced(extremes, end[those], [ends[k].sample for k in those])
    beside = _coexisting(solved, envelope, stated, chosen[peak], number[peak])
    of_vehicles = dict(envelope.of_vehicles)

    def with_peaks(fields: FieldEnvelope, which: Ints) -> FieldEnvelope:
        at = (
            np.array([peaks[k].component for k in which.tolist()], dtype=np.int64),
            np.array([peaks[k].point for k in which.tolist()], dtype=np.int64),
        )
        of = peak[which]
        return fields.replaced(sign[of], at, value[of], number[of], beside[which])

    vehicles = [envelope.position(k) for k in number[peak].tolist()]
    for name, fields in envelope.of_vehicles.items():
        own = [k for k, at in enumerate(vehicles) if at is not None and at.lanes[0].kind == name]
        of_vehicles[name] = with_peaks(fields, np.array(own, dtype=np.int64))
    return replace(
        envelope,
        fields=with_peaks(envelope.fields, np.arange(len(peak))),
        of_vehicles=of_vehicles,
        probes=replaced(envelope.probes, probe, row[probe]),
        beam_moments=of_beams["moment"],
        beam_shears=of_beams["shear"],
    )


def _coexisting(
    solved: SolvedDeck,
    envelope: TrafficEnvelope,
    stated: StatedValues,
    chosen: Ints,
    number: Ints,
) -> Floats:
    """The six results (n, 6) at the points of governing values under their arrangements."""
    peaks = [stated.peaks[row - stated.n_probe] for row in stated.row[chosen].tolist()]
    if not peaks:
        return np.zeros((0, len(RESULTS)))
    points = [peak.point for peak in peaks]
    own = field_rows(solved, points, [peak.component for peak in peaks])
    held = governing_loads(solved, envelope, own, stated.sign[chosen], number, stated.joint[chosen])
    n = len(RESULTS)
    every = field_rows(solved, np.repeat(points, n).tolist(), list(range(n)) * len(points))
    load = np.repeat(np.arange(len(points)), n)
    return values_under(solved.stiffness, held.__getitem__, every, load).reshape(-1, n)
