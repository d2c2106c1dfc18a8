"""Sums of static cases with the stiffness that cracks leave the slab: how it settles, and what it
makes of values beside the stiffness of the deck file."""

from collections.abc import Mapping
from typing import Any

from pipelines.bars.cracked import SECANT, SETTLED, SOURCE
from pipelines.numbers import as_result, number
from pipelines.report.document import Block, Paragraph, Section, Words, table
from pipelines.report.sections.tables import RESULT_HEADS
from pipelines.units import RESULT_KEYS

RULE = (
    "In every cell the slab has along x and along y the secant stiffness of the layer of the mat "
    f"in tension, by the cell's mean moments, |m| + |twisting moment|: {SOURCE}, "
    "from uncracked to cracked as the moment passes the cracking moment. The moments of a step "
    "give the stiffness of the next, halfway from the last. The sum stands beside that with the "
    "stiffness of the deck file, which is one factor everywhere, and with none. All else of this "
    "report is with the stiffness of the deck file."
)
WORDS = {"uncracked": "uncracked", "deck_file": "as the deck file", "cracked": "cracked, iterated"}


def cracked_section(entries: Mapping[str, Any]) -> tuple[Block, ...]:
    """Every sum with cracked stiffness; nothing without one."""
    found: list[Block] = []
    for name, entry in entries.get("cracked", {}).items():
        found.append(Section("", name, tuple(_of_sum(entry))))
    return (Paragraph(RULE), *found) if found else ()


def _of_sum(entry: Mapping[str, Any]) -> list[Block]:
    steps = [
        [
            str(k),
            "–" if step["change"] is None else number(100.0 * step["change"]),
            number(100.0 * step["off_secant"]),
            number(step["least_share"]),
            as_result(step["w_mm"]),
            as_result(step["m_kNm_m"]),
        ]
        for k, step in enumerate(entry["steps"])
    ]
    heads: list[Words] = [
        "Step (0: uncracked)",
        "Moments changed by [% of the largest]",
        "Stiffness off its secant by [%]",
        "Least share of D",
        "largest w [mm]",
        "largest moment [kNm/m]",
    ]
    how = "settled" if entry["settled"] else "not settled: take it as a tendency only"
    limits = f"settled below {100.0 * SETTLED:g} % and {100.0 * SECANT:g} %"
    caption = f"Steps of the cracked stiffness ({limits}): {how}"
    found: list[Block] = [table(caption, heads, steps, numeric=range(1, 6))]
    rows: list[list[Words]] = [
        [probe, words, *(as_result(values[key][k]) for k in RESULT_KEYS)]
        for probe, values in entry["probes"].items()
        for key, words in WORDS.items()
    ]
    if rows:
        heads = ["Result point", "Stiffness of the slab", *RESULT_HEADS]
        caption = "The sum at result points by three stiffnesses of the slab"
        found.append(table(caption, heads, rows, numeric=range(2, 8)))
    return found
