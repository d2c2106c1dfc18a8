"""summary.json: the numbers of a run in the units of the deck file."""

import json
import math
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from pipelines.accuracy.stated_probes import StatedProbe
from pipelines.accuracy.tolerances import tolerance_of
from pipelines.analysis.result import Result, TrafficResult
from pipelines.caution import CAUTION
from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.envelopes.tolerance import STEP_IS, Tolerance, tolerance_entry
from pipelines.model.beam_rows import BeamRows
from pipelines.model.case_sums import beam_axial
from pipelines.model.probes import ProbeRows, point_result
from pipelines.model.responses import Response, SolvedDeck
from pipelines.report.data.own_results import own_entries
from pipelines.report.data.summary_bars import design_entry
from pipelines.report.data.summary_sums import (
    beam_extremes,
    membrane_entry,
    plain_names,
    reactions_entry,
    sums_entry,
)
from pipelines.system.files import write_text
from pipelines.traffic.arrangements import arrangement_entry
from pipelines.units import RESULT_KEYS, RESULT_SCALE
from plate.arrays import Floats, Ints
from plate.model.singular_points import SingularPlace

Json = Any

SCHEMA = 1


def case_probes(
    probes: ProbeRows, response: Response, errors: Floats, theory: Floats
) -> dict[str, Json]:
    """name -> results of one case with their `error`, which has a mesh part only, what the other
    theory adds, and both `sides` where a probe lies on a division.

    errors, theory : (6 n_probe,) in SI.
    """
    values: dict[str, Json] = {
        n: point_result(v[:, 0]) for n, v in probes.values(response.probes).items()
    }
    for key, amounts in (("error", errors), ("theory_difference", theory)):
        for name, amount in probes.values(amounts).items():
            values[name][key] = point_result(amount)
    found: dict[str, Json] = {}
    for name in plain_names(probes):
        found[name] = dict(values[name])
        if f"{name}/before" in values:
            found[name]["sides"] = {s: values[f"{name}/{s}"] for s in ("before", "after")}
    return found


def governing(
    envelope: TrafficEnvelope,
    value: float,
    number: int,
    scale: float,
    tolerance: Tolerance | None = None,
) -> dict[str, Json]:
    """One entry of an envelope: value, error with its parts and what governs."""
    stated = None if tolerance is None else tolerance.scaled(scale)
    where = arrangement_entry(envelope.position(number))
    return {"value": value * scale, **tolerance_entry(stated), **where}


def envelope_probe(one: StatedProbe) -> dict[str, Json]:
    """component -> max, min with what governs, of both sides where the slab is divided."""
    e, tolerances = one.envelope.probes, one.tolerances

    def entry(side: int, k: int) -> dict[str, Json]:
        row = len(RESULT_KEYS) * side + k
        return {
            extreme: governing(
                one.envelope,
                float(values[row]),
                int(numbers[row]),
                RESULT_SCALE[k],
                tolerance_of(tolerances.probes[extreme][row], tolerances.proven),
            )
            for extreme, values, numbers in (
                ("max", e.maximum, e.at_maximum),
                ("min", e.minimum, e.at_minimum),
            )
        }

    found: dict[str, Json] = {}
    for k, key in enumerate(RESULT_KEYS):
        found[key] = entry(0, k)
        sides = [name.removeprefix(f"{one.names[0]}/") for name in one.names[1:]]
        if sides:
            found[key]["sides"] = {name: entry(n, k) for n, name in enumerate(sides, start=1)}
    return found


def beam_case(solved: SolvedDeck, response: Response) -> dict[str, Json]:
    """Beam name -> extreme moments with their places and extreme shears of one case; the largest
    magnitudes of the shear's parts, of the web and of the tie to the slab's normal."""
    beams = solved.beams if response.of_stage is None else response.of_stage.beams
    U = response.displacements[:, 0]
    web, tie = (beams.split(np.abs(rows @ U)) for rows in (beams.web, beams.tie))
    found = beam_extremes(
        solved,
        response.beam_moments[:, 0],
        response.beam_shears[:, 0],
        beam_axial(solved, response),
    )
    for name, entry in found.items():
        entry["shear_web_kN"] = float(web[name].max()) * 1e-3
        entry["shear_tie_kN"] = float(tie[name].max()) * 1e-3
    return found


def beam_envelope(beams: BeamRows, case: TrafficResult) -> dict[str, Json]:
    """Beam name -> extreme moments and shears of the traffic with place and what governs."""
    envelope = case.envelope
    found: dict[str, Json] = {name: {} for name in beams.names}
    for key, e in (("moment_kNm", envelope.beam_moments), ("shear_kN", envelope.beam_shears)):
        high, low = beams.split(e.maximum), beams.split(e.minimum)
        at_high, at_low = beams.split(e.at_maximum), beams.split(e.at_minimum)
        for name, at in zip(beams.names, beams.at, strict=True):
            i, j = int(high[name].argmax()), int(low[name].argmin())
            kind = key.split("_")[0]
            errors = [case.tolerances.beams[name, kind, x] for x in ("max", "min")]
            ends = [
                (float(high[name][i]), int(at_high[name][i]), float(at[i])),
                (float(low[name][j]), int(at_low[name][j]), float(at[j])),
            ]
            found[name][key] = {
                extreme: governing(envelope, value, number, 1e-3, error) | {"at_m": place}
                for extreme, error, (value, number, place) in zip(
                    ("max", "min"), errors, ends, strict=True
                )
            }
    return found


def reaction_envelope(case: TrafficResult) -> dict[str, Json]:
    """Support name -> max, min upward reaction [kN] of the traffic with what governs, and how much
    further from zero it may lie where that is proven."""
    envelope, e = case.envelope, case.envelope.reactions

    def entry(values: Floats, numbers: Ints, gap: float, k: int) -> dict[str, Json]:
        found = governing(envelope, float(values[k]), int(numbers[k]), 1e-3)
        if np.isfinite(gap):
            found |= {"error_step": 1e-3 * gap, "error_step_is": STEP_IS[True]}
        return found

    gaps = case.tolerances.reaction_gap
    return {
        name: {
            "max": entry(e.maximum, e.at_maximum, float(gaps[0, k]), k),
            "min": entry(e.minimum, e.at_minimum, float(gaps[1, k]), k),
        }
        for k, name in enumerate(envelope.reaction_names)
    }


def equilibrium(response: Response) -> dict[str, float]:
    """Load on the slab, sum of reactions [kN] and their relative difference, of one case."""
    load = float(response.total[0])
    total = sum(float(v[0]) for v in response.reactions.values())
    error = abs(total - load) / abs(load) if load else abs(total)
    return {"load_kN": load * 1e-3, "reaction_kN": total * 1e-3, "relative_error": error}


def summary(result: Result) -> dict[str, Json]:
    """Everything of summary.json, as plain values."""
    deck, solved, cases = result.deck, result.solved, result.cases
    probes, beams, tolerances = solved.probes, solved.beams, result.case_tolerances
    found: dict[str, Json] = {
        "schema": SCHEMA,
        "title": deck.title,
        "caution": CAUTION,
        "probes": {
            name: {"cases": {}}
            | ({"mean_width_m": probes.widths[name]} if name in probes.widths else {})
            for name in plain_names(probes)
        },
        "reactions": {name: reactions_entry(r.reactions) for name, r in cases.items()},
        "beams": {name: {} for name in beams.names},
        "equilibrium": {name: equilibrium(r) for name, r in cases.items()},
        "model": model_facts(result),
        "warnings": list(deck.warnings),
    }
    for case, response in cases.items():
        errors, theory = tolerances.mesh[case], tolerances.theory[case]
        for name, values in case_probes(probes, response, errors, theory).items():
            found["probes"][name]["cases"][case] = values
        for name, forces in membrane_entry(deck, response.membrane[:, 0]).items():
            found["probes"][name]["cases"][case] |= forces
        for name, values in beam_case(solved, response).items():
            found["beams"][name][case] = values
    found |= sums_entry(result)
    if result.alone is not None:
        entries = traffic_entry(result, result.alone)
        for name, values in entries["probes"].items():
            found["probes"][name]["envelope"] = values
        found["reaction_envelopes"] = entries["reactions"]
        found["beam_envelopes"] = entries["beams"]
        found["vehicles_alone"] = {
            key: entries[key]
            for key in ("governing", "uncertain", "unread", "mean_curves", "uplift")
        }
    if deck.traffic is not None and deck.traffic.load_models:
        found["load_models"] = {
            traffic_case.name: traffic_entry(result, traffic_case)
            for traffic_case in result.traffic
            if traffic_case.envelope.whole
        }
    found |= own_entries(deck.own, found)
    if result.leading is not None:
        entries = traffic_entry(result, result.leading)
        found |= {key: entries[key] for key in ("mean_curves", "uplift")}
    found["singular_places"] = [
        singular_entry(place, deck.slab.thickness) for place in result.solved.singular_places
    ]
    found["governing"] = [peak.entry() for peak in result.governing]
    if result.leading is not None:
        found["uncertain"] = [peak.entry() for peak in result.leading.uncertain]
        found["unread"] = [one.entry() for one in result.leading.unread]
    if result.design is not None:
        found["design"] = design_entry(result.design, result.verdicts)
    found["effects"] = [one.entry() for one in result.effects]
    found["findings"] = [finding.entry() for finding in result.findings]
    found["left_out"] = [one.entry() for one in result.left_out]
    found["widths"] = [width.entry() for width in result.widths]
    found["reconciliations"] = [walk.entry() for walk in result.reconciliations]
    return found


def traffic_entry(result: Result, case: TrafficResult) -> dict[str, Json]:
    """What was found under one case of traffic."""
    solved, model = result.solved, case.envelope.model
    return {
        "source": model.cited,
        "notes": list(model.notes),
        "governing": [peak.entry() for peak in case.governing],
        "uncertain": [peak.entry() for peak in case.uncertain],
        "unread": [one.entry() for one in case.unread],
        "probes": {one.names[0]: envelope_probe(one) for one in case.probes},
        "reactions": reaction_envelope(case),
        "beams": beam_envelope(solved.beams, case),
        "mean_curves": [asdict(curve) for curve in case.mean_curves],
        "uplift": uplift_entry(case),
    }


def uplift_entry(case: TrafficResult) -> dict[str, Json]:
    """Flagged supports, and governing values without tension."""
    uplift = case.uplift
    flagged = [
        {
            "support": u.support,
            "permanent_kN": 1e-3 * u.permanent,
            "traffic_kN": 1e-3 * u.traffic,
            "lifts": u.lifts,
            **arrangement_entry(case.envelope.position(u.number)),
        }
        for u in uplift.supports
    ]
    return {
        "supports": flagged,
        "without_tension": [
            {
                "result": f"{row.peak.result} {row.peak.extreme}",
                "unit": row.peak.unit,
                "at_m": list(row.peak.at),
                "tied_down": row.tied,
                "without_tension": row.untied,
                "lifted": list(row.lifted),
            }
            for row in uplift.without_tension
        ],
        "not_solved": uplift.not_solved,
    }


def singular_entry(place: SingularPlace, thickness: float) -> dict[str, Json]:
    """A singular place in the units of summary.json."""
    return {
        "at_m": list(place.at),
        "angle_deg": math.degrees(place.angle),
        "edges": list(place.edges),
        "exponent": place.exponent,
        "mean_width_m": 2.0 * thickness,
    }


def model_facts(result: Result) -> dict[str, Json]:
    """Size of the model and of the job, for summary and report."""
    built = result.built
    alone = [case.envelope.n_positions for case in result.traffic if not case.envelope.whole]
    models = [case.envelope.n_positions for case in result.traffic if case.envelope.whole]
    mesh = built.model.mesh
    return {
        "order": mesh.order,
        "size_m": built.size,
        "cells": mesh.n_cells,
        "degrees_of_freedom": built.model.n_dof,
        "result_points": result.solved.recovery.points.n_points,
        "load_positions": sum(alone),
        "load_model_positions": sum(models),
        "notes": list(built.notes),
    }


def finite(value: Json) -> Json:
    """The value with None for every number that is not finite."""
    if isinstance(value, dict):
        return {k: finite(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [finite(v) for v in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def write_summary(path: Path, entries: dict[str, Json]) -> None:
    """Write summary.json."""
    write_text(path, json.dumps(finite(entries), indent=1, allow_nan=False) + "\n")
