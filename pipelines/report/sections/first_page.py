"""The first page: whether the strip holds, where not, by how much and why; then what stands beside
it: the way from strip to plate, what is doubtful, the bars, the other methods."""

from collections.abc import Iterator

from pipelines.analysis.result import Result
from pipelines.bars.adequacy import Adequacy
from pipelines.findings.effects import EffectFinding, State, same_walk, steps
from pipelines.findings.finding import Finding
from pipelines.findings.reconciliation.walk import Reconciliation
from pipelines.loadtest.words import lead
from pipelines.numbers import number
from pipelines.report.document import (
    Block,
    Bullets,
    Caution,
    Link,
    Paragraph,
    Short,
    Strong,
    Table,
    Words,
    lines,
    table,
)
from pipelines.report.sections.bars_words import bars_line, opening
from pipelines.report.sections.effects import (
    effects_table,
    finding_sentence,
    not_judged,
    strip_words,
)
from pipelines.report.sections.findings_plan import findings_figure
from pipelines.report.sections.to_know import to_know
from pipelines.report.sections.words import caution_words, linked

ALL_BARS = Link("bars-summary", "All checks")


def first_page(result: Result) -> tuple[Block, ...]:
    """The finding, by effect and by standard of the bars."""
    found: list[Block] = [Paragraph(Strong(_sentence(finding_sentence(result))))]
    if result.effects:
        found.append(Paragraph(strip_words(result)))
    found += _bars(result)
    found += [one for one in (findings_figure(result), effects_table(result)) if one is not None]
    walk = _told_walk(result)
    if walk is not None:
        found.append(Paragraph((Strong("From strip to plate: "), walk_line(walk))))
    found += _beside_strips(result)
    known = to_know(result)
    if known:
        head = "What would decide the doubtful ones" if result.effects else "What a finding needs"
        found += [Paragraph(Strong(head)), Bullets(known)]
    rest = [_sentence(words) for words in not_judged(result)]
    if rest:
        found.append(Paragraph((*rest, " (", Link("left-out", "which and why"), ").")))
    cautions = Bullets((*caution_words(result.deck), *result.deck.warnings))
    found.append(Caution((Paragraph(Strong("Cautions")), cautions)))
    return tuple(found)


def _sentence(words: str) -> str:
    return words[0].upper() + words[1:]


def _beside_strips(result: Result) -> Iterator[Block]:
    """What else was asked for: sums of static cases, load tests."""
    if result.deck.stages is not None or result.deck.sums:
        what = "Static cases by stages of the deck's life" if result.deck.stages else "Static cases"
        yield Paragraph((f"{what} and their sums: ", Link("stages", "values"), "."))
    for test in result.load_tests:
        more = Link("load-tests", "reading by reading")
        yield Paragraph((Strong(f"Load test {test.test.name}: "), lead(test), " (", more, ")"))


def _bars(result: Result) -> Iterator[Block]:
    """The bars by standard, a line each."""
    for verdict in result.verdicts:
        words = opening(verdict)
        failing = verdict.adequacy is Adequacy.NOT_ADEQUATE
        set_out: Words = Short(words) if failing else Strong(words)
        more = bars_line(verdict).removeprefix(words)
        count = sum(panel.adequacy is not Adequacy.ADEQUATE for panel in verdict.panels)
        if verdict.panels:
            more += f"; as built: {count} of {len(verdict.panels)} panels read not shown adequate"
        yield Paragraph(("Bars, ", set_out, linked(more), ". ", ALL_BARS))


def _told_walk(result: Result) -> Reconciliation | None:
    """The walk of the first effect that is short, else of the first one."""
    short = [one.row for one in result.effects if one.state is State.SHORT]
    for row in short:
        for walk in result.reconciliations:
            if same_walk(walk, row):
                return walk
    return next(iter(result.reconciliations), None)


def walk_line(walk: Reconciliation) -> str:
    """From the hand strip's value to the plate's peak in one line: which step carries how much."""
    finding = walk.finding
    first, last = walk.forward[0], walk.forward[-1]
    changes = [
        f"{1e-3 * change:+.3g} {title}".replace("-", "−", 1) for title, change in steps(walk)
    ]
    return (
        f"{finding.section.effect}, {finding.section.place}, {finding.load}: "
        f"{number(1e-3 * first.searched)} by {finding.hand.strip}; {'; '.join(changes)}; "
        f"plate {number(1e-3 * last.searched)} {finding.unit}."
    )


def comparison_table(result: Result) -> Table | None:
    """All methods at the places that decide: the value of each and its share of the plate's."""
    decisive = [one for one in result.effects if one.state is not State.NOT_COMPARABLE]
    rows = [(one, _methods(one, result)) for one in decisive]
    names = list(dict.fromkeys(name for _, methods in rows for name in methods))
    if len(names) < 2:
        return None
    marks = {
        row.hand.strip: row.hand.mark for row in result.findings if row.hand.strip in set(names)
    }
    heads: list[Words] = ["Effect, place", "Plate"]
    heads += [lines((name, *([marks[name]] if marks[name] else []))) for name in names]
    body: list[list[Words]] = [
        [
            lines((one.effect, one.row.place)),
            number(1e-3 * one.row.plate.peak),
            *(_compared(methods.get(name)) for name in names),
        ]
        for one, methods in rows
    ]
    caption = (
        "All methods at the places that decide: strip, in brackets strip / plate; kNm/m, shears "
        "kN/m"
    )
    return table(caption, heads, body, numeric=range(1, len(heads)))


def _methods(one: EffectFinding, result: Result) -> dict[str, Finding]:
    """Every method's finding at the place of an effect."""
    row = one.row
    key = (row.section.kind, row.section.place, row.load, row.bars)
    return {
        other.hand.strip: other
        for other in result.findings
        if (other.section.kind, other.section.place, other.load, other.bars) == key
        and other.ratio is not None
    }


def _compared(finding: Finding | None) -> Words:
    if finding is None or finding.hand.value is None or finding.ratio is None:
        return "–"
    words = f"{number(1e-3 * finding.hand.value)} ({number(finding.ratio)})"
    return Short(words) if finding.is_short else words
