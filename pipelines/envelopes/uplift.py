"""Uplift: supports that traffic would pull, and the governing values where they let go.

A support is flagged where the lowest reaction of the traffic is larger than what the permanent
cases press on it (cases with self-weight or with an action). Where the deck file says that a
support `lifts`, the governing load positions are solved again without tension, with the permanent
load, and both totals are given. What other stages, strains and settlements leave in a support has
to be pulled out before it lets go.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from pipelines.deck.deck import Deck
from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.envelopes.extremes import with_sums
from pipelines.envelopes.peaks import Peak
from pipelines.model.fixed_loads import loads_of
from pipelines.model.responses import Response, SolvedDeck
from pipelines.model.static_cases import case_load, case_solutions
from pipelines.units import RESULT_SCALE
from plate.arrays import Floats
from plate.conventions import N_FIELDS
from plate.errors import MechanismError
from plate.results.functionals import component_rows
from plate.results.places import at_field_points
from plate.solver.unilateral import LiftingSupports

# Reactions count as uplift beyond this share of the largest reaction: below it lies rounding.
NOISE = 1e-9


@dataclass(frozen=True, kw_only=True)
class Uplift:
    """A support in tension: reactions in N, upward positive; number : of the arrangement."""

    support: str
    permanent: float
    traffic: float
    number: int
    lifts: bool


@dataclass(frozen=True)
class WithoutTension:
    """A governing value with the permanent load, in the unit of the report: with supports that
    hold down, and without tension; lifted : names of the supports that let go somewhere."""

    peak: Peak
    tied: float
    untied: float
    lifted: tuple[str, ...]


@dataclass(frozen=True)
class UpliftFindings:
    """supports : in tension, worst first; without_tension : governing values where supports let
    go; not_solved : why there are none of them, None if they were solved or none was wanted."""

    supports: tuple[Uplift, ...]
    without_tension: tuple[WithoutTension, ...] = ()
    not_solved: str | None = None


def permanent_cases(deck: Deck) -> list[str]:
    """Names of the cases that are always there."""
    return [c.name for c in deck.cases if c.self_weight or c.action != "none"]


def lifting_names(deck: Deck) -> list[str]:
    """Names of the supports that may lift off."""
    names = [line.name for line in deck.lines if line.lifts]
    names += [f"{line.name}@{h.on}" for line in deck.lines for h in line.held_at if h.lifts]
    return names + [point.name for point in deck.points if point.lifts]


def uplifts(deck: Deck, cases: Mapping[str, Response], envelope: TrafficEnvelope) -> list[Uplift]:
    """Supports whose lowest total reaction is tension, worst first."""
    permanent: dict[str, float] = {}
    for name in permanent_cases(deck):
        for support, values in with_sums(cases[name].reactions).items():
            permanent[support] = permanent.get(support, 0.0) + float(values[0])
    lowest = envelope.reactions.minimum
    scale = float(np.abs(envelope.reactions.maximum).max(initial=0.0))
    lifting = lifting_names(deck)
    found = []
    for k, support in enumerate(envelope.reaction_names):
        pressed, pulled = permanent.get(support, 0.0), float(lowest[k])
        if pressed + pulled < -NOISE * scale:
            number = int(envelope.reactions.at_minimum[k])
            found.append(
                Uplift(
                    support=support,
                    permanent=pressed,
                    traffic=pulled,
                    number=number,
                    lifts=support in lifting,
                )
            )
    return sorted(found, key=lambda u: u.permanent + u.traffic)


def without_tension(
    solved: SolvedDeck, cases: Mapping[str, Response], peaks: Sequence[Peak]
) -> list[WithoutTension]:
    """Governing values with the permanent cases, tied down and without tension.

    Empty where no support lifts. Raises MechanismError where the slab would lift off altogether.
    """
    deck = solved.deck
    names = lifting_names(deck)
    if not names:
        return []
    model = solved.model
    lifting = LiftingSupports(model, names)
    permanent, before_it = np.zeros(model.n_plate_dof), set()
    for case in deck.cases:
        if case.name not in permanent_cases(deck):
            continue
        if case.imposes or (deck.stages is not None and case.stage != "short-term"):
            before_it.add(case.name)
        else:
            permanent += case_load(deck, case, model)
    locked = _locked(solved, lifting, before_it)
    found = []
    for peak in peaks:
        F = permanent.copy()
        if peak.number >= 0:
            F += loads_of(model, [peak.held]).toarray()[:, 0]
        contact = lifting.solve(F, locked)
        U = np.column_stack([solved.stiffness.solve(F[:, None], refine=True), contact.U])
        row = component_rows(
            model, at_field_points(solved.recovery.points, [peak.point]), [peak.component]
        )
        steady = (cases[name].fields[peak.component, peak.point, 0] for name in before_it)
        before = float(sum(steady))
        [tied, untied] = (RESULT_SCALE[peak.component] * (before + (row @ U)[0])).tolist()
        lifted = [n for n, o in zip(contact.names, contact.open, strict=True) if o]
        found.append(
            WithoutTension(
                peak,
                tied,
                untied,
                tuple(dict.fromkeys(lifted)),
            )
        )
    return found


def _locked(solved: SolvedDeck, lifting: LiftingSupports, names: Collection[str]) -> Floats:
    """Upward forces (n_place,) [N] that cases leave in the places that may lift, each by the model
    of its stage; where several supports hold a node each has its share."""
    found = np.zeros(len(lifting.names))
    if not names:
        return found
    places = list(zip(lifting.names, lifting.nodes.tolist(), strict=True))
    for name, one in case_solutions(solved.deck, solved.stiffness, solved.models).items():
        if name not in names:
            continue
        nodal = (one.F - one.stiffness.force(one.V))[:, 0]
        holders = one.stiffness.model.held[2]
        for k, (support, node) in enumerate(places):
            if node < 0:
                found[k] += float(one.reactions[support][0])
            else:
                found[k] += float(nodal[N_FIELDS * node]) / len(holders[node])
    return found


def uplift_findings(
    solved: SolvedDeck,
    cases: Mapping[str, Response],
    envelope: TrafficEnvelope,
    peaks: Sequence[Peak],
) -> UpliftFindings:
    """Supports in tension, and the governing values without it."""
    supports = tuple(uplifts(solved.deck, cases, envelope))
    try:
        return UpliftFindings(supports, tuple(without_tension(solved, cases, peaks)))
    except MechanismError as error:
        return UpliftFindings(supports, not_solved=str(error))
