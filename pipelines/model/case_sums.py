"""Sums of static cases: by the stages of the deck's life, and with factors."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from pipelines.deck.deck import Deck
from pipelines.model.beam_rows import beam_axial_rows
from pipelines.model.responses import Response, SolvedDeck
from pipelines.model.static_cases import by_stage
from plate.arrays import Floats


@dataclass(frozen=True, eq=False, kw_only=True)
class CaseSum:
    """A sum of static cases, in SI units as in `Response`, of one load.

    factors : case -> factor. probes : (6 n_probe,); membrane : (3 n_probe,) of composite decks;
    moments, shears, axial : (n_sample,) along the beams, tension positive; reactions : (1,) upward.
    """

    name: str
    factors: Mapping[str, float]
    probes: Floats
    membrane: Floats
    moments: Floats
    shears: Floats
    axial: Floats
    reactions: Mapping[str, Floats]


def beam_axial(solved: SolvedDeck, response: Response) -> Floats:
    """Axial forces (n_sample,) [N] of all beams under a static case, on the model of its stage."""
    of = solved if response.of_stage is None else response.of_stage
    return np.asarray(beam_axial_rows(of.model) @ response.displacements[:, 0])


def stage_sums(solved: SolvedDeck, cases: Mapping[str, Response], deck: Deck) -> list[CaseSum]:
    """The sum of the cases of every stage, and where there are several stages of all cases; none of
    a deck without stages."""
    if deck.stages is None:
        return []
    stages = by_stage(deck)
    found = [_summed(solved, cases, s, dict.fromkeys(names, 1.0)) for s, names in stages.items()]
    if len(found) > 1:
        found.append(_summed(solved, cases, "all stages", dict.fromkeys(cases, 1.0)))
    return found


def stated_sums(solved: SolvedDeck, cases: Mapping[str, Response], deck: Deck) -> list[CaseSum]:
    """The sums that the deck file asks for."""
    return [_summed(solved, cases, one.name, dict(one.factors)) for one in deck.sums]


def _summed(
    solved: SolvedDeck, cases: Mapping[str, Response], name: str, factors: Mapping[str, float]
) -> CaseSum:
    chosen = [(factor, cases[case]) for case, factor in factors.items()]

    def total(values: Iterable[Floats]) -> Floats:
        return np.asarray(sum(f * v for (f, _), v in zip(chosen, values, strict=True)))

    return CaseSum(
        name=name,
        factors=factors,
        probes=total(r.probes[:, 0] for _, r in chosen),
        membrane=total(r.membrane[:, 0] for _, r in chosen),
        moments=total(r.beam_moments[:, 0] for _, r in chosen),
        shears=total(r.beam_shears[:, 0] for _, r in chosen),
        axial=total(beam_axial(solved, r) for _, r in chosen),
        reactions={
            support: total(r.reactions[support] for _, r in chosen)
            for support in chosen[0][1].reactions
        },
    )
