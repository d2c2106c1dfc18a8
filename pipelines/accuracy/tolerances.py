"""How wrong the numbers can be.

Mesh part: every stated value is computed again with elements one order higher and 1.5 times
smaller, and no wider than a mesh has that is not asked for, at the same place, on the same side of
a line and for the same load. The richer answer is mostly several times nearer the truth, so the
difference is the error, not a guess at it; `SAFETY` covers what the richer answer still misses.
Twice the difference covers it where the richer answer is no more than half as wrong, and the two do
not agree by chance (`mesh_parts`). A governing value is the largest over the deck: its error covers
what the richer mesh has elsewhere, too (`near_peaks`).

Step part: the value is that under the worst traffic that is found anywhere (`worst_envelope`); what
is left is the gap to an upper bound of all traffic, where that is proven, else what its search may
miss. The stated error is the sum of both. Beside it stands what the other plate theory makes of the
value: no error, but a reminder of what the theory decides.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from pipelines.accuracy.mesh_parts import (
    SAFETY,
    left_unknown,
    mesh_parts,
    traffic_mesh_parts,
)
from pipelines.accuracy.near_peaks import largest_near
from pipelines.accuracy.spots import off_point_mesh_parts
from pipelines.accuracy.stated_values import (
    BeamKey,
    StatedValues,
    own_rows,
    probes_apart,
    probes_together,
    stated_under,
    together,
)
from pipelines.accuracy.worst_envelope import WorstEnvelope
from pipelines.deck.deck import Deck
from pipelines.envelopes.peaks import SHEARS
from pipelines.envelopes.tolerance import Tolerance
from pipelines.model.build import BuiltModel, richer_model
from pipelines.model.case_responses import held_probes
from pipelines.model.fixed_loads import known_patches, values_under
from pipelines.model.free_mesh import shortest_span
from pipelines.model.probes import ProbeRows, probe_rows
from pipelines.model.responses import Response, SolvedDeck
from pipelines.model.static_cases import CaseSolution, case_solutions
from pipelines.traffic.positions import WheelPatches
from pipelines.units import RESULT_SCALE
from plate.arrays import Floats
from plate.conventions import RESULTS
from plate.results.fields import field_points
from plate.results.functionals import component_rows
from plate.results.kinks import knows_kinks, shears_missed
from plate.results.places import on_sides, side_of
from plate.solver.stiffness import Stiffness


@dataclass(frozen=True)
class Yardsticks:
    """What a run is measured against: the richer model, and the same mesh in the other theory.

    richer_cases, other_cases : the static cases solved on both.
    """

    richer: Stiffness
    other: SolvedDeck
    richer_cases: Mapping[str, CaseSolution]
    other_cases: Mapping[str, CaseSolution]

    @classmethod
    def of(cls, built: BuiltModel, solved: SolvedDeck) -> "Yardsticks":
        """Both models of a deck."""
        model = solved.model
        span = None if model.section.thin else shortest_span(solved.deck)
        other = replace(model, section=replace(model.section, thin_span=span))
        there = replace(solved, stiffness=solved.models.stiffness(other)).of_deck(solved.deck)
        richer = solved.models.stiffness(richer_model(solved.deck, built).model)
        both = (
            case_solutions(solved.deck, one, solved.models) for one in (richer, there.stiffness)
        )
        return cls(richer, there, *both)

    def reading(self, solved: SolvedDeck) -> "Yardsticks":
        """The same for what is read of the same plate there."""
        other = self.other.of_deck(solved.deck)
        return replace(self, other=replace(other, beams=solved.beams))


@dataclass(frozen=True, eq=False, kw_only=True)
class CaseTolerances:
    """The tolerances of the probes' results (n_row,) under each static case [SI]: mesh part of the
    error, and the value by the other theory less the value stated."""

    mesh: Mapping[str, Floats]
    theory: Mapping[str, Floats]


@dataclass(frozen=True, eq=False, kw_only=True)
class Tolerances:
    """Tolerances of the stated values of a case of traffic [SI].

    probes : of all probe rows' "max" and "min" (n_row, 4), mesh part, step part, difference of the
    theories and how much the value is raised above the steps'; peaks : of the governing values;
    beams : of the beams' extremes; proven : whether the step parts are. reaction_gap : (2, n_name)
    step parts of the reactions' maxima and minima, which are proven where they are a number.
    """

    probes: Mapping[str, Floats]
    peaks: tuple[Tolerance, ...]
    beams: Mapping[BeamKey, Tolerance]
    proven: bool
    reaction_gap: Floats


def case_tolerances(
    solved: SolvedDeck, cases: Mapping[str, Response], measured: Yardsticks | None
) -> CaseTolerances:
    """Tolerances of the static cases; not a number where nothing was measured."""
    deck = solved.deck
    if measured is None:
        unknown = np.full(solved.probes.rows.shape[0], np.nan)
        none = dict.fromkeys(cases, unknown)
        return CaseTolerances(mesh=none, theory=none)
    finer = case_values(deck, measured.richer_cases)
    theirs = case_values(deck, measured.other_cases)
    own = {name: response.probes[:, 0] for name, response in cases.items()}
    return CaseTolerances(
        mesh={name: _of_places(finer[name] - own[name]) for name in cases},
        theory={name: theirs[name] - own[name] for name in cases},
    )


def _of_places(differences: Floats) -> Floats:
    """Mesh parts (n_row,) of the results of probes, by their differences."""
    return mesh_parts(differences.reshape(-1, len(RESULTS))).ravel()


def traffic_tolerances(
    solved: SolvedDeck, worst: Sequence[WorstEnvelope], measured: Yardsticks | None
) -> tuple[Tolerances, ...]:
    """Tolerances of probes, governing values and beam extremes under each case of traffic; not a
    number where nothing was measured."""
    mesh = [np.full(len(one.stated.value), np.nan) for one in worst]
    theory = [amounts.copy() for amounts in mesh]
    if measured is not None and worst:
        mesh, theory = _measured(solved, worst, measured)
    return tuple(map(_of_case, worst, mesh, theory))


def probe_tolerances(
    solved: SolvedDeck, cases: Sequence[Sequence[WorstEnvelope]], measured: Yardsticks | None
) -> list[list[Tolerances]]:
    """The same of probes, each with an envelope of its own under each of the cases of traffic, read
    together; `solved` : the plate of which all of them are read in this order."""
    if measured is None:
        return [list(traffic_tolerances(solved, case, None)) for case in cases]
    stated = [[one.stated for one in case] for case in cases]
    of_steps = [probes_together([one.of_steps for one in case]) for case in cases]
    parts = _compared(solved, list(map(probes_together, stated)), of_steps, measured)
    return [
        list(map(_of_case, case, probes_apart(own, mesh), probes_apart(own, theory)))
        for case, own, mesh, theory in zip(cases, stated, *parts, strict=True)
    ]


def _of_case(one: WorstEnvelope, mesh_part: Floats, difference: Floats) -> Tolerances:
    """The tolerances under a case of traffic by mesh parts and what the other theory makes (n,) of
    the values stated."""
    stated, proven = one.stated, one.proven
    amounts = np.column_stack([mesh_part, one.gap, difference, one.raised])
    high, low, of_peaks, of_ends = stated.split(amounts)
    return Tolerances(
        probes={"max": high, "min": low},
        peaks=tuple(
            tolerance_of(row, proven if off is None else off.proven)
            for row, off in zip(of_peaks, one.off, strict=True)
        ),
        beams={
            end.key: tolerance_of(row, proven)
            for end, row in zip(stated.ends, of_ends, strict=True)
        },
        proven=proven,
        reaction_gap=one.reaction_gap,
    )


def _measured(
    solved: SolvedDeck, worst: Sequence[WorstEnvelope], measured: Yardsticks
) -> tuple[list[Floats], list[Floats]]:
    """Of the stated values of each case of traffic the mesh part of the error, and what the other
    theory makes of them less themselves.

    A governing value, which is the largest of places too, is asked around all places where it might
    stand, under the loads that govern there (`near_peaks`).
    """
    richer = measured.richer
    lists, of_steps = [one.stated for one in worst], [one.of_steps for one in worst]
    mesh, theory = _compared(solved, lists, of_steps, measured)
    for one, more in zip(worst, mesh, strict=True):
        governing = slice(2 * one.stated.n_probe, 2 * one.stated.n_probe + len(one.peaks))
        value = [abs(peak.value) / RESULT_SCALE[peak.component] for peak in one.peaks]
        above = largest_near(solved, one.envelope, one.peaks, richer) - np.array(value)
        off = [(k, read) for k, read in enumerate(one.off, governing.start) if read is not None]
        parts = off_point_mesh_parts(solved, [read for _, read in off], richer)
        for (k, read), part in zip(off, parts, strict=True):
            # what the field's shears lack is known at wheels, by Mindlin's theory alone
            known = knows_kinks(solved.model) and read.spots[0].component in SHEARS
            more[k] = part if known else max(more[k], part)
        more[governing] = np.maximum(more[governing], SAFETY * above)
    return mesh, theory


def _compared(
    solved: SolvedDeck,
    lists: Sequence[StatedValues],
    of_steps: Sequence[StatedValues],
    measured: Yardsticks,
) -> tuple[list[Floats], list[Floats]]:
    """Of stated values their mesh parts at their places alone, and what the other theory makes of
    them less themselves."""
    other, every = measured.other, together(lists)
    ends = np.cumsum([len(stated.value) for stated in lists])[:-1]
    parts = traffic_mesh_parts(solved, lists, of_steps, measured.richer)
    theirs = stated_under(other.stiffness, own_rows(other, every), every)
    return np.split(parts, ends), np.split(theirs - every.value, ends)


def tolerance_of(amounts: Floats, proven: bool) -> Tolerance:
    """The tolerance of mesh part, step part, difference of the theories and what is raised (4,)."""
    mesh, step, theory, raised = amounts.tolist()
    return Tolerance(mesh=mesh, step=step, theory=theory, proven=proven, raised=raised)


class HeldValue(Protocol):
    """A value of the plate under a held load.

    at : plan point [m]; point : field point at or next to it; component : index in RESULTS.
    """

    @property
    def at(self) -> tuple[float, float]: ...

    @property
    def point(self) -> int: ...

    @property
    def component(self) -> int: ...

    @property
    def held(self) -> WheelPatches: ...

    @property
    def peak(self) -> float: ...


def held_mesh_parts(
    solved: SolvedDeck, values: Iterable[HeldValue], measured: Yardsticks
) -> list[float]:
    """Mesh part of the error [SI] of values by the same loads on the richer mesh, shears with what
    both are known to lack beside wheels; signs of values are left out, since shears may be
    magnitudes."""
    rows = list(values)
    if not rows:
        return []
    # Several values may be one place's, each beside another strip.
    keys = [(id(row.held), row.at, row.point, row.component) for row in rows]
    first = {key: row for key, row in zip(keys, rows, strict=True)}
    places = list(first.values())
    points = solved.recovery.points
    towards = np.array(
        [
            side_of(solved.model.mesh, points, place.point)
            if np.allclose(place.at, points.plan[place.point], atol=1e-9)
            else place.at
            for place in places
        ]
    )
    at = np.array([place.at for place in places])
    model = measured.richer.model
    sides = on_sides(model.mesh, field_points(model), at, towards)
    component = np.array([place.component for place in places])
    held = {id(place.held): place.held for place in places}
    number = {key: k for k, key in enumerate(held)}
    load = [number[id(place.held)] for place in places]
    read = component_rows(model, sides, component)
    richer = values_under(measured.richer, list(held.values()).__getitem__, read, load)
    own = np.copysign([place.peak for place in places], richer)
    here = on_sides(solved.model.mesh, points, at, towards)
    missed, still = (
        shears_missed(
            one.model, read_at, component, known_patches(one, list(held.values())), np.array(load)
        )
        for one, read_at in ((solved.stiffness, here), (measured.richer, sides))
    )
    difference = richer + still - own
    found = np.abs(difference) + (SAFETY - 1.0) * left_unknown(difference, missed, still)
    error = dict(zip(first, found.tolist(), strict=True))
    return [error[key] for key in keys]


def case_values(deck: Deck, solutions: Mapping[str, CaseSolution]) -> dict[str, Floats]:
    """Probe results (n_row,) [SI] of static cases, each on the model that it is solved on."""
    probes: dict[Stiffness, ProbeRows] = {}
    found = {}
    for name, solution in solutions.items():
        of, model = solution.stiffness, solution.stiffness.model
        if of not in probes:
            places = of.singular_places if deck.probes else ()
            probes[of] = probe_rows(deck, model, field_points(model), places)
        found[name] = probes[of].rows @ solution.U[:, 0]
        if solution.imposed is not None:
            found[name] = found[name] + held_probes(model, probes[of], solution.imposed)
    return found
