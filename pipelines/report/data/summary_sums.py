"""What summary.json says of the stages of a deck and of sums of its static cases; the forms that
entries of single cases share with them."""

import math
from collections.abc import Mapping
from typing import Any

from pipelines.analysis.result import Result
from pipelines.bars.cracked import CrackedSum
from pipelines.deck.cases import Stage
from pipelines.deck.deck import Deck
from pipelines.envelopes.extremes import with_sums
from pipelines.model.case_sums import CaseSum, stage_sums, stated_sums
from pipelines.model.probes import ProbeRows, point_result
from pipelines.model.responses import SolvedDeck
from pipelines.model.static_cases import by_stage, slab_share
from plate.arrays import Floats

Json = Any


def sums_entry(result: Result) -> dict[str, Json]:
    """`stages` of a deck with stages: of each its slab, its cases and their sum; `sums` as the deck
    file and code of the user's own ask for them."""
    deck, solved, cases = result.deck, result.solved, result.cases
    found: dict[str, Json] = {}
    if deck.stages is not None:
        stages = {
            one.name: _sum_entry(deck, solved, one) for one in stage_sums(solved, cases, deck)
        }
        for stage in by_stage(deck):
            stages[stage] |= _stage_facts(deck, stage)
        found["stages"] = stages
    if deck.sums:
        found["sums"] = {
            one.name: _sum_entry(deck, solved, one) | {"source": asked.source, "mark": asked.mark}
            for asked, one in zip(deck.sums, stated_sums(solved, cases, deck), strict=True)
        }
    if result.cracked:
        found["cracked"] = {one.name: _cracked_entry(solved, one) for one in result.cracked}
    return found


def _cracked_entry(solved: SolvedDeck, one: CrackedSum) -> Json:
    """How a cracked stiffness settles, and the result points by it, uncracked and as filed."""
    kinds = {"uncracked": one.gross, "deck_file": one.filed, "cracked": one.cracked}
    values = {key: solved.probes.values(r.probes[:, 0]) for key, r in kinds.items()}
    return {
        "settled": one.settled,
        "steps": [
            {
                "change": None if math.isnan(step.change) else step.change,
                "off_secant": step.off,
                "least_share": step.least,
                "w_mm": 1e3 * step.w,
                "m_kNm_m": 1e-3 * step.m,
            }
            for step in one.steps
        ],
        "probes": {
            name: {key: point_result(of[name]) for key, of in values.items()}
            for name in plain_names(solved.probes)
        },
    }


def _stage_facts(deck: Deck, stage: Stage) -> dict[str, Json]:
    """The slab's modulus in a stage and the ratio of the beams' to it; none of fresh concrete."""
    share = slab_share(deck, stage)
    E_beam = next(line.beam.E for line in deck.lines if line.beam is not None)
    if share == 0.0:
        return {"slab_E_GPa": None, "modular_ratio": None}
    return {
        "slab_E_GPa": 1e-9 * share * deck.slab.E,
        "modular_ratio": E_beam / (share * deck.slab.E),
    }


def _sum_entry(deck: Deck, solved: SolvedDeck, one: CaseSum) -> dict[str, Json]:
    probes = {name: point_result(v) for name, v in solved.probes.values(one.probes).items()}
    found = {name: probes[name] for name in plain_names(solved.probes)}
    for name, forces in membrane_entry(deck, one.membrane).items():
        found[name] |= forces
    return {
        "factors": dict(one.factors),
        "probes": found,
        "beams": beam_extremes(solved, one.moments, one.shears, one.axial),
        "reactions": reactions_entry(one.reactions),
    }


def plain_names(probes: ProbeRows) -> list[str]:
    """Names of the probes themselves, in the deck's order."""
    sides = {f"{n}/{s}" for n in probes.names for s in ("before", "after")}
    return [name for name in probes.names if name not in sides]


def membrane_entry(deck: Deck, forces: Floats) -> dict[str, dict[str, float]]:
    """Probe name -> n_x, n_y, n_xy [kN/m], tension positive, of forces (3 n_probe,) [N/m]; empty if
    not composite."""
    keys = ("n_x", "n_y", "n_xy")
    return {
        probe.name: dict(zip(keys, values.tolist(), strict=True))
        for probe, values in zip(deck.probes, 1e-3 * forces.reshape(-1, 3), strict=False)
    }


def beam_extremes(
    solved: SolvedDeck, moments: Floats, shears: Floats, axial: Floats
) -> dict[str, Json]:
    """Beam name -> extreme moments with their places, extreme shears and, of beams connected to the
    slab, extreme axial forces, of values (n_sample,) [N m, N] along the beams."""
    beams = solved.beams
    connected = {line.name for line in solved.deck.lines if line.beam and line.beam.connection > 0}
    M, V, N = (beams.split(values) for values in (moments, shears, axial))
    found: dict[str, Json] = {}
    for name, at in zip(beams.names, beams.at, strict=True):
        found[name] = {
            "moment_max_kNm": float(M[name].max()) * 1e-3,
            "moment_min_kNm": float(M[name].min()) * 1e-3,
            "at_max_m": float(at[M[name].argmax()]),
            "at_min_m": float(at[M[name].argmin()]),
            "shear_max_kN": float(V[name].max()) * 1e-3,
            "shear_min_kN": float(V[name].min()) * 1e-3,
        }
        if name in connected:
            found[name] |= {
                "axial_max_kN": float(N[name].max()) * 1e-3,
                "axial_min_kN": float(N[name].min()) * 1e-3,
            }
    return found


def reactions_entry(reactions: Mapping[str, Floats]) -> dict[str, float]:
    """total_kN and each support's upward reaction [kN], of reactions (1,) [N]."""
    named = with_sums(dict(reactions))
    total = sum(float(v[0]) for v in reactions.values())
    return {"total_kN": total * 1e-3} | {n: float(v[0]) * 1e-3 for n, v in named.items()}
