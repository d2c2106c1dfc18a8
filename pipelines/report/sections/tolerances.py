"""The parts of the numerical tolerances of governing values, and what the other plate theory makes
of them."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from pipelines.analysis.result import TrafficResult
from pipelines.deck.deck import Deck
from pipelines.numbers import as_result, number
from pipelines.report.document import Table, Words, table
from pipelines.report.sections.tables import tolerance
from pipelines.report.sections.words import SYMBOLS, case_title

OTHER = {"mindlin": "Kirchhoff", "kirchhoff": "Mindlin"}

TOLERANCE_RULE = (
    "Each numerical tolerance is the sum of two parts. Mesh: twice the difference from a richer "
    "mesh at the same place and load position, of shears with what both are known to lack beside "
    "the edges of wheels, where governing shears are read, and no less than the mean over all "
    "directions there. Step: a value is that of the worst load position found anywhere, between "
    "the steps too; proven, no load position makes more than the step part beyond it; searched, "
    "the step part is what the search may miss. The other plate theory, on the same mesh and at "
    "the same load position, stands beside them: it is no error, and near "
    "edges and lines its shears mean something else; and so, for governing values, does how much "
    "of the value the steps alone would have missed. The parts of all values, of what is "
    "asked for by name, reactions and beams, too, are in values.csv."
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
