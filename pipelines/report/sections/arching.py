"""Section of the report on slabs that arch between beams: conditions of use, and what they give."""

from pipelines.analysis.result import Result
from pipelines.bars.checks.arching import ArchingCheck, arching_check
from pipelines.numbers import number
from pipelines.report.document import Block, Paragraph, Words, table
from pipelines.report.sections.bars_words import standard_of
from pipelines.standards.arching import (
    ARCHING_CONDITIONS_SOURCE,
    ARCHING_SOURCE,
    EMPIRICAL_SKEW,
    EMPIRICAL_SOURCE,
    EMPIRICAL_SPACING,
    EMPIRICAL_STEEL,
    EMPIRICAL_STEEL_SOURCE,
    Condition,
)
from pipelines.standards.resistance.bars import LAYERS, SlabBars, place_of

HOLDS = {True: "holds", False: "does not hold", None: "to be confirmed"}


def arching_section(result: Result) -> tuple[Block, ...]:
    """Conditions of the empirical method and of arching, the steel of the one and the punching load
    of the other."""
    design = result.design
    if design is None:
        return ()
    standard = next(
        (s for s in design.standards if s.basis.materials.standard == "AASHTO LRFD"),
        design.standards[0],
    )
    found = arching_check(result.deck, standard)
    if isinstance(found, str):
        return (Paragraph(f"Not looked at: {found}."),)
    return (
        Paragraph(
            "In no verdict. Slabs between beams that hold them in their plane carry wheels by "
            "arching before they bend; standards count on it where conditions hold. What the deck "
            f"file does not tell is to be confirmed. Concrete by {standard_of(standard)}."
        ),
        _table(f"Empirical design of slabs: {EMPIRICAL_SOURCE}", found.empirical),
        Paragraph(_empirical(found, standard.bars)),
        _table(f"Arching under wheels: {ARCHING_CONDITIONS_SOURCE}", found.arching),
        Paragraph(_arching(found)),
    )


def _table(caption: str, conditions: tuple[Condition, ...]) -> Block:
    rows: list[list[Words]] = [[c.words, c.found or "–", HOLDS[c.holds]] for c in conditions]
    return table(caption, ["Condition", "This deck", "Holds"], rows)


def _fails(conditions: tuple[Condition, ...]) -> str:
    return "; ".join(c.words for c in conditions if c.holds is False)


def _empirical(found: ArchingCheck, bars: SlabBars) -> str:
    if failed := _fails(found.empirical):
        return f"Not applicable: {failed}."
    least = "; ".join(
        f"{place_of(layer)} {number(1e6 * EMPIRICAL_STEEL[layer[0]])} mm²/m, drawn "
        f"{number(1e6 * bars.bars(layer).area)} mm²/m"
        for layer in LAYERS
    )
    skew = found.slab.skew
    ends = " in the end zones twice that," if skew > EMPIRICAL_SKEW else ""
    return (
        f"No condition is known to fail. Least steel: {least};{ends} at most "
        f"{1e3 * EMPIRICAL_SPACING:.0f} mm apart ({EMPIRICAL_STEEL_SOURCE}). Overhangs are "
        "designed by the strip."
    )


def _arching(found: ArchingCheck) -> str:
    if failed := _fails(found.arching):
        return f"No value: {failed}."
    if found.value is None or found.load is None or found.used is None:
        return "No value: no wheel stands clear of the lines, or the slab snaps through first."
    one = found.value
    return (
        f"The slab is worth {1e2 * one.rho:.1f} % of steel (R = {one.R:.3f}, k = {one.k:.3f}): a "
        f"single wheel punches at {number(1e-3 * one.load)} kN, the one that governs has "
        f"{number(1e-3 * found.load)} kN, {found.used:.2f} of what is left with the standard's "
        f"factors ({ARCHING_SOURCE}). Away from joints and edges only."
    )
