"""What a run found of each effect, in a line each: for the terminal and the first page."""

from collections.abc import Iterator, Sequence

from pipelines.deck.words import at_text
from pipelines.findings.finding import CAUTION as ALONE
from pipelines.findings.finding import Finding, Verdict, without_centre_lines
from pipelines.findings.left_out import beyond
from pipelines.numbers import number
from pipelines.report.sections.tables import over_width_words, tolerance
from pipelines.result import Result

# The effects that are told, and the kinds of section that each is read at.
EFFECTS = {
    "sagging in bays": ("sagging",),
    "hogging over lines": ("face", "hogging"),
    "hogging beside free edges": ("edge face", "edge hogging"),
    "hogging at joint edges": ("joint face", "joint"),
    "along free edges": ("edge", "end edge"),
    "across, under wheels": ("transverse",),
    "obtuse corners": ("corner",),
    "shear": ("shear",),
}


def effects(result: Result) -> tuple[str, tuple[tuple[str, str], ...]]:
    """The finding in a sentence, and of each effect what was found in words."""
    title = result.deck.title
    if not result.findings:
        words = f"{title}: no hand strip compared; {result.no_findings or 'there is none'}."
        return words, tuple(_values(result))
    counted = without_centre_lines(result.findings)
    whole = any(finding.whole_model for finding in result.findings)
    found = {}
    for effect, kinds in EFFECTS.items():
        rows = [row for row in counted if row.section.kind in kinds and row.whole_model == whole]
        if rows:
            found[effect] = rows
    loads = {row.load: row.load_mark for rows in found.values() for row in rows}
    judged = {effect: rows for effect, rows in found.items() if _compared(rows)}
    short = [effect for effect, rows in judged.items() if any(row.is_short for row in rows)]
    words = (
        f"{title}: the worst strip is short in {len(short)} of {len(judged)} effects, under "
        + " and ".join(f"{load} ({mark})" if mark else load for load, mark in loads.items())
        + ("" if whole else f" ({ALONE})")
    )
    named = len(loads) > 1
    told = [
        (
            effect,
            _effect(_compared(rows), result, named) if effect in judged else _alone(rows, named),
        )
        for effect, rows in found.items()
    ]
    return words, (*told, *_without_a_strip(result))


def _compared(rows: Sequence[Finding]) -> list[Finding]:
    return [row for row in rows if row.ratio is not None]


def _effect(rows: Sequence[Finding], result: Result, named: bool) -> str:
    """The worst strip at the largest value of the plate, and what is more elsewhere; rows : of one
    effect, worst first; named : whether the load is told."""
    most = max(abs(row.plate.peak) for row in rows)
    one = next(row for row in rows if abs(row.plate.peak) == most)
    assert one.hand.value is not None
    words = f"{_verdict(one)} at {one.place}{f' under {one.load}' if named else ''}"
    words += f" (plate {number(1e-3 * one.plate.peak)}, strip {number(1e-3 * one.hand.value)} "
    words += f"{one.unit} by {one.hand.strip}{f', {one.hand.mark}' if one.hand.mark else ''})"
    others = [row for row in rows if row.is_short]
    if not one.is_short and others:
        words += f"; {_verdict(others[0])} at {others[0].place}"
    counted = without_centre_lines(result.findings)
    more = None if one.is_short else beyond(one, counted, result.left_out)
    if isinstance(more, Finding):
        words += f"; the plate has {number(1e-3 * more.plate.peak)} at {more.place}"
    elif more is not None:
        words += f"; the plate has {number(more.peak.value)} at {more.zone}, without a strip"
    return words


def _alone(rows: Sequence[Finding], named: bool) -> str:
    """The plate's largest value of an effect that no strip can be compared with, and why."""
    most = max(rows, key=lambda row: abs(row.plate.peak))
    return (
        f"not comparable at {most.place}"
        f"{f' under {most.load}' if named else ''} (plate {number(1e-3 * most.plate.peak)} "
        f"{most.unit}; {most.hand.reason})"
    )


def _verdict(finding: Finding) -> str:
    match finding.verdict:
        case Verdict.COVERS:
            return "holds"
        case Verdict.NO_LESS:
            return "no less than the plate"
        case _:
            return finding.words.removeprefix("strip ")


def _values(result: Result) -> Iterator[tuple[str, str]]:
    """Of a deck without strips, the largest moments of the leading traffic."""
    peaks = [peak for peak in result.governing if peak.result in ("m_x", "m_y") and peak.position]
    if peaks and result.leading is not None:
        listed = [
            f"{peak.result} {number(peak.value)}{tolerance(peak.error)} {peak.unit} at "
            f"{at_text(peak.at)}{over_width_words(peak)}"
            for peak in peaks
        ]
        yield f"largest moments under {result.leading.name}", "; ".join(listed)


def _without_a_strip(result: Result) -> Iterator[tuple[str, str]]:
    said = []
    if result.left_out:
        said.append(f"governing values with no strip beside them: {len(result.left_out)}")
    uncertain = sum(len(case.uncertain) for case in result.traffic)
    if uncertain:
        said.append(f"values uncertain by more than themselves: {uncertain}")
    if said:
        yield "not judged", ", ".join(said)
