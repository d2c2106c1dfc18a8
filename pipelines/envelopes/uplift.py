"""Uplift: supports that traffic would pull, and the governing values where they let go.

A support is flagged where the lowest reaction of the traffic is larger than what the permanent
cases press on it (cases with self-weight or with an action). Where the deck file says that a
support `lifts`, the governing load positions are solved again without tension, with the permanent
load, and both totals are given.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipelines.deck.deck import Deck
from pipelines.envelopes.peaks import Governing
from pipelines.envelopes.single_vehicles import Envelopes, find_position, with_sums
from pipelines.model.responses import Response, Solver, case_load, position_load
from pipelines.units import RESULT_SCALE
from plate.errors import MechanismError
from plate.results.fields import FieldRecovery
from plate.solver.unilateral import LiftingSupports

Floats = NDArray[np.float64]

# Reactions count as uplift beyond this share of the largest reaction: below it lies rounding.
NOISE = 1e-9


@dataclass(frozen=True)
class Uplift:
    """A support in tension: reactions in N, upward positive; number : of the load position."""

    support: str
    permanent: float
    traffic: float
    number: int
    lifts: bool


@dataclass(frozen=True)
class WithoutTension:
    """A governing value with the permanent load, in the unit of the report: with supports that
    hold down, and without tension; lifted : names of the supports that let go somewhere."""

    peak: Governing
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


def uplifts(deck: Deck, cases: dict[str, Response], envelopes: Envelopes) -> list[Uplift]:
    """Supports whose lowest total reaction is tension, worst first."""
    permanent: dict[str, float] = {}
    for name in permanent_cases(deck):
        for support, values in with_sums(cases[name].reactions).items():
            permanent[support] = permanent.get(support, 0.0) + float(values[0])
    lowest = envelopes.reactions.minimum
    scale = float(np.abs(envelopes.reactions.maximum).max(initial=0.0))
    lifting = lifting_names(deck)
    found = []
    for k, support in enumerate(envelopes.reaction_names):
        pressed, pulled = permanent.get(support, 0.0), float(lowest[k])
        if pressed + pulled < -NOISE * scale:
            number = int(envelopes.reactions.at_minimum[k])
            found.append(Uplift(support, pressed, pulled, number, support in lifting))
    return sorted(found, key=lambda u: u.permanent + u.traffic)


def without_tension(
    deck: Deck, solver: Solver, envelopes: Envelopes, peaks: Sequence[Governing]
) -> list[WithoutTension]:
    """Governing values with the permanent load, tied down and without tension.

    Empty where no support lifts. Raises MechanismError where the slab would lift off altogether.
    """
    names = lifting_names(deck)
    if not names:
        return []
    model = solver.model
    lifting = LiftingSupports(model, names)
    recovery = FieldRecovery(lifting.stiffness.model, solver.recovery.points)
    permanent = np.zeros(model.n_plate_dof)
    for case in deck.cases:
        if case.name in permanent_cases(deck):
            permanent += case_load(deck, case, model)
    found = []
    for peak in peaks:
        F = permanent.copy()
        if peak.number >= 0:
            run, index = find_position(envelopes.runs, peak.number)
            F += position_load(model, run, slice(index, index + 1)).toarray()[:, 0]
        tied = solver.recovery.fields(solver.stiffness.solve(F[:, None], refine=True))
        contact = lifting.solve(F)
        untied = recovery.fields(contact.U[:, None])
        scale = RESULT_SCALE[peak.component]
        at = peak.component, peak.point, 0
        lifted = [n for n, o in zip(contact.names, contact.open, strict=True) if o]
        found.append(
            WithoutTension(
                peak,
                scale * float(tied[at]),
                scale * float(untied[at]),
                tuple(dict.fromkeys(lifted)),
            )
        )
    return found


def uplift_findings(
    deck: Deck,
    solver: Solver,
    cases: dict[str, Response],
    envelopes: Envelopes,
    peaks: Sequence[Governing],
) -> UpliftFindings:
    """Supports in tension, and the governing values without it."""
    supports = tuple(uplifts(deck, cases, envelopes))
    try:
        return UpliftFindings(supports, tuple(without_tension(deck, solver, envelopes, peaks)))
    except MechanismError as error:
        return UpliftFindings(supports, not_solved=str(error))
