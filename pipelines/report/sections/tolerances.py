"""The parts of the numerical tolerances, and what the other plate theory makes of the values."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from pipelines.deck.deck import Deck
from pipelines.deck.words import line_title
from pipelines.numbers import as_result, number
from pipelines.report.document import Table, Words, table
from pipelines.report.sections.tables import RESULT_HEADS, case_entries, tolerance
from pipelines.report.sections.words import SYMBOLS, case_title
from pipelines.result import Result, TrafficResult
from pipelines.units import RESULT_KEYS

OTHER = {"mindlin": "Kirchhoff", "kirchhoff": "Mindlin"}

TOLERANCE_RULE = (
    "Each numerical tolerance is the sum of two parts. Mesh: twice the difference from a richer "
    "mesh at the same place and load position. Step: a value is that of the worst load position "
    "found anywhere, between the steps too; proven, no load position makes more than the step part "
    "beyond it; searched, the step part is what the search may miss. The other plate theory, on "
    "the same mesh and at the same load position, stands beside them: it is no error, and near "
    "edges and lines its shears mean something else; and so, for governing values, does how much "
    "of the value the steps alone would have missed."
)


def _parts(entry: Mapping[str, Any]) -> list[str]:
    """Mesh part, step part and the difference of the theories; dashes where there are none."""
    if entry["error"] is None:
        return ["–"] * 3
    mesh, step, theory = (entry[k] for k in ("error_mesh", "error_step", "theory_difference"))
    return [part(mesh), f"{part(step)} {entry['error_step_is'] or ''}".rstrip(), as_result(theory)]


def part(error: float) -> str:
    """A part of a tolerance to two figures, no finer than a thousandth of its unit."""
    return tolerance(error).removeprefix(" ± ") or "–"


def _heads(deck: Deck) -> list[str]:
    return ["mesh", "step", f"{OTHER[deck.slab.theory]}’s theory: change"]


def governing_parts(deck: Deck, case: TrafficResult) -> Table | None:
    """Parts of the tolerances of the governing values under a case of traffic; None where they are
    not estimated."""
    body: list[list[Words]] = [
        [
            SYMBOLS[row.result],
            row.extreme,
            f"{number(row.value)} {row.unit}",
            part(row.error),
            *_parts(row.entry()),
            part(row.entry()["above_steps"]),
        ]
        for row in case.governing
        if row.error is not None and np.isfinite(row.error) and row.position is not None
    ]
    if not body:
        return None
    caption = f"{case_title(case)}: parts of the numerical tolerances of the governing values"
    heads = ["Result", "", "Value", "±", *_heads(deck), "above the steps’ highest"]
    return table(caption, heads, body, numeric=range(2, 8))


def probe_parts(result: Result, summary: Mapping[str, Any]) -> list[Table]:
    """Parts of the tolerances of probes and beams under traffic, and what the other theory
    changes in the static cases."""
    deck = result.deck
    found: list[Table] = []
    still: list[list[Words]] = []
    for name, entry in summary["probes"].items():
        for case, values in entry["cases"].items():
            changes = values["theory_difference"]
            still.append([name, case, *(as_result(changes[k]) for k in RESULT_KEYS)])
    mesh, step, theory = _heads(deck)
    if still:
        caption = (
            f"Change by {OTHER[deck.slab.theory]}’s theory: results asked for by name, static cases"
        )
        heads = ["Name", "Case", *RESULT_HEADS]
        found.append(table(caption, heads, still, numeric=range(2, 8)))
    for traffic_case in result.traffic:
        moving: list[list[Words]] = []
        entries = case_entries(summary, traffic_case)
        for name, envelope in entries["probes"].items():
            for key, head in zip(RESULT_KEYS, RESULT_HEADS, strict=True):
                ends = envelope[key]
                moving.append([name, head, *_parts(ends["max"]), *_parts(ends["min"])])
        for name, beams in entries["beams"].items():
            for key, words in (("moment_kNm", "moment [kNm]"), ("shear_kN", "shear [kN]")):
                ends = beams[key]
                title = line_title(deck, name)
                moving.append([title, words, *_parts(ends["max"]), *_parts(ends["min"])])
        if moving:
            heads = ["Name or beam", "Result"]
            heads += [f"{end}: {words}" for end in ("max", "min") for words in (mesh, step, theory)]
            caption = (
                f"{case_title(traffic_case)}: parts of the numerical tolerances of what is "
                "asked for by name and of beams"
            )
            found.append(table(caption, heads, moving, numeric=range(2, 8), wide=(0,)))
    return found
