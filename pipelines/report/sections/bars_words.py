"""What the bars come to, in words: for the report and the terminal."""

from collections.abc import Iterator, Sequence

from pipelines.analysis.result import Result
from pipelines.bars.adequacy import (
    Adequacy,
    Check,
    Found,
    Judgement,
    PanelVerdict,
    StandardVerdict,
    Verdict,
)
from pipelines.bars.checks.as_built import TOO_SMALL
from pipelines.bars.checks.remedies import Remedy
from pipelines.bars.design import Design, StandardDesign
from pipelines.deck.deck import Deck
from pipelines.numbers import rounded_up, within
from pipelines.report.document import Block, Paragraph, Short, Strong, Table, Words, table
from pipelines.report.sections.words import hogging_words, linked
from pipelines.standards.sources import Source

# Panels that are told on the first page and the terminal.
MOST_PANELS = 5


def standard_of(design: StandardDesign) -> str:
    return design.basis.materials.standard


def used(value: float) -> Words:
    """A utilisation; above 1 it is set out."""
    words = rounded_up(value)
    return words if within(value) else Short(words)


def traffic_words(design: Design) -> str:
    """What the bars are judged under by each standard, as a sentence."""
    words = [f"{standard_of(standard)}: {standard.traffic}" for standard in design.standards]
    return f"Traffic: {'; '.join(words)}."


def moments_at(deck: Deck) -> str:
    """Where over supports the moments that bars are judged by are read."""
    assert deck.reinforcement is not None
    wide = [line for line in deck.lines if line.width > 0.0]
    if not deck.reinforcement.hogging_at_face:
        return "Bars are judged with the centre lines of supports: [[bars]] moment_at asks for it."
    if not wide:
        return "Bars are judged with the centre lines of supports: no line states its width_mm."
    return (
        "Bottom bars are judged with the centre lines of supports, top bars where hogging counts, "
        f"{hogging_words(deck)}; the value with the centre lines stands beside. [[bars]] "
        'moment_at = "centre line" asks for that. Least shares of moments over the support, which '
        "clauses may ask for, are not checked."
    )


def remedy_words(remedy: Remedy) -> str:
    """The least of a remedy that passes alone."""
    if isinstance(remedy.needed, str):
        return remedy.needed
    amount = remedy.needed or 0.0
    if remedy.name == "thickness":
        return f"{1e3 * amount:.0f} mm of slab"
    return f"{1e6 * amount:.0f} mm²/m of {remedy.name}"


def not_asked(source: Source) -> str:
    """A sentence that a standard does not ask for shear, in words."""
    return f"not asked by {source} for decks designed by the strip method; value for information"


OPENINGS = {
    Adequacy.ADEQUATE: "adequate in all that is judged",
    Adequacy.NOT_ADEQUATE: "not adequate",
    Adequacy.NOT_JUDGED: "not shown to be adequate",
}


def opening(verdict: StandardVerdict) -> str:
    """The finding on the bars by one standard."""
    return f"{verdict.standard} (traffic: {verdict.traffic}): {OPENINGS[verdict.adequacy]}"


def bars_line(verdict: StandardVerdict) -> str:
    """The finding on the bars by one standard in a line: the check that decides, how many more."""
    decisive = verdict.of(Adequacy.NOT_ADEQUATE) or verdict.open or verdict.of(Adequacy.ADEQUATE)
    words = opening(verdict)
    if not decisive:
        return words
    first = min(decisive, key=_first)
    worst = first.worst
    if worst is None:
        words += f"; {first.title}: {first.reason}"
    else:
        words += f"; {first.title} {rounded_up(worst.utilisation)} at {worst.place}, {worst.source}"
    rest = len(decisive) - 1
    if verdict.adequacy is not Adequacy.ADEQUATE and rest:
        words += f"; so {'is' if rest == 1 else 'are'} {rest} more"
    return words


def verdict_words(verdict: StandardVerdict) -> str:
    """What the finding rests on: values of every check, those that decide it first."""
    stops = _stops(verdict)
    judged = ", ".join(_named(j) for j in _one_bending(verdict.of(Adequacy.ADEQUATE)))
    left = "; ".join(_named(j) for j in verdict.of(Adequacy.NOT_JUDGED) if j not in stops)
    sentences = [_listed(stops)] if stops else []
    if judged:
        sentences.append(f"Within limits: {judged}" if stops else judged)
    if left:
        sentences.append(f"Not judged: {left}")
    return " ".join(f"{sentence}." for sentence in sentences)


def bars_sentence(verdict: StandardVerdict) -> str:
    """The finding and what it rests on."""
    return f"{opening(verdict)}: {verdict_words(verdict)}"


def decisive_words(verdict: Verdict) -> str:
    """The checks that decide the finding, or the one that is used most where none fails."""
    judged = verdict.of(Adequacy.ADEQUATE)
    if not judged and not _stops(verdict):
        return "nothing is judged."
    return (
        f"{_listed(_stops(verdict))}." if _stops(verdict) else f"most used in {_listed(judged, 1)}."
    )


def _stops(verdict: Verdict) -> tuple[Judgement, ...]:
    """The checks for which it is not adequate, or not shown to be."""
    return (
        verdict.open
        if verdict.adequacy is Adequacy.NOT_JUDGED
        else verdict.of(Adequacy.NOT_ADEQUATE)
    )


def _listed(checks: Sequence[Judgement], most: int | None = None) -> str:
    return ", ".join(_decisive(j) for j in sorted(checks, key=_first)[:most])


def _first(judgement: Judgement) -> float:
    return 0.0 if judgement.worst is None else -judgement.worst.utilisation


def _one_bending(judged: Sequence[Judgement]) -> Iterator[Judgement]:
    """The layer in bending that is used most alone."""
    bending = [one for one in judged if one.check is Check.BENDING]
    yield from sorted(bending, key=_first)[:1]
    yield from (one for one in judged if one.check is not Check.BENDING)


def _named(judgement: Judgement) -> str:
    """A check with its utilisation, or with the reason for which it is not judged."""
    value = "" if judgement.worst is None else f" {rounded_up(judgement.worst.utilisation)}"
    return f"{judgement.title}{value}" + (f" ({judgement.reason})" if judgement.reason else "")


def _decisive(judgement: Judgement) -> str:
    """A check that decides, with where and by what its value was found."""
    if judgement.worst is None:
        return _named(judgement)
    by = "" if judgement.worst.by == judgement.title else judgement.worst.by
    where = "; ".join(part for part in (judgement.worst.place, by, judgement.reason) if part)
    return f"{judgement.title} {rounded_up(judgement.worst.utilisation)} ({where})"


def remedies_words(design: Design) -> str:
    """What would be enough in shear alone, a sentence; "" where nothing was tried."""
    found = []
    for standard in design.standards:
        enough = [remedy_words(r) for r in standard.remedies if r.needed is not None]
        if enough and standard.shear_not_asked is None:
            found.append(
                f"{standard_of(standard)}: shear alone, at the load position that governs as "
                f"stepped, would take {', or '.join(enough)}."
            )
    return " ".join(found)


def as_built_words(verdict: StandardVerdict) -> str:
    """What the panels come to as built by one standard, the worst first; "" without readings."""
    if not verdict.panels:
        return ""
    panels = sorted(verdict.panels, key=lambda panel: -panel.largest)
    failing = [panel for panel in panels if panel.adequacy is Adequacy.NOT_ADEQUATE]
    others = [panel for panel in panels if panel.adequacy is Adequacy.NOT_JUDGED]
    count = f"{len(panels)} panel{'s' * (len(panels) > 1)} with readings"
    told = [
        f"{len(some)} of {count} {words}: {_panels(some)}"
        for some, words in ((failing, "not adequate"), (others, "not shown to be adequate"))
        if some
    ]
    return f"{verdict.standard}, as built: {'. '.join(told) or f'{count} adequate'}."


def _panels(panels: Sequence[PanelVerdict]) -> str:
    """Some panels with the checks that decide, the largest values first."""
    told = [f"{panel.panel}: {', '.join(_valued(panel))}" for panel in panels[:MOST_PANELS]]
    rest = len(panels) - MOST_PANELS
    return "; ".join(told + [f"and {rest} more"] * (rest > 0))


def _valued(panel: PanelVerdict) -> Iterator[str]:
    for judgement in sorted(_stops(panel), key=_first):
        worst = judgement.worst
        too_small = worst is not None and judgement.check is Check.COVER and "measured" in worst.by
        if too_small and worst is not None:
            yield f"{TOO_SMALL} {rounded_up(worst.utilisation)}"
        else:
            yield _named(judgement)


def bars_words(result: Result) -> tuple[str, ...]:
    """What the bars come to by each standard, a paragraph each; nothing without bars."""
    if result.design is None:
        return ()
    found = (
        *(bars_sentence(verdict) for verdict in result.verdicts),
        remedies_words(result.design),
        *(as_built_words(verdict) for verdict in result.verdicts),
    )
    return tuple(words for words in found if words)


def bars_findings(result: Result) -> tuple[Block, ...]:
    """The finding on the bars for the first page, in words and by standard and check."""
    if result.design is None:
        return ()
    found: list[Block] = []
    for verdict in result.verdicts:
        words = opening(verdict)
        failing = verdict.adequacy is Adequacy.NOT_ADEQUATE
        set_out: Words = Short(words) if failing else Strong(words)
        found.append(Paragraph(("Bars, ", set_out, f": {decisive_words(verdict)}")))
    remedies = remedies_words(result.design)
    as_built = [as_built_words(verdict) for verdict in result.verdicts if verdict.panels]
    lines = (remedies, *(f"Bars, {words}" for words in as_built))
    found += [Paragraph(words) for words in lines if words]
    heads: list[Words] = ["Check", *(verdict.standard for verdict in result.verdicts)]
    titles = dict.fromkeys(j.title for verdict in result.verdicts for j in verdict.judgements)
    cells = [{j.title: _cell(j) for j in verdict.judgements} for verdict in result.verdicts]
    rows: list[list[Words]] = [[title, *(by.get(title, "–") for by in cells)] for title in titles]
    caption = "Bars by check and standard: the largest utilisation that any search found"
    return (*found, table(caption, heads, rows))


def _cell(judgement: Judgement) -> Words:
    if judgement.adequacy is Adequacy.ADEQUATE and judgement.worst is not None:
        return rounded_up(judgement.worst.utilisation)
    value = "" if judgement.worst is None else f"{rounded_up(judgement.worst.utilisation)}, "
    words = f"{value}{judgement.adequacy.value}"
    if judgement.adequacy is Adequacy.NOT_ADEQUATE:
        return Short(words)
    return f"{words}: {judgement.reason}" if judgement.reason else words


def verdict_table(result: Result) -> Table:
    """Every check by every standard: its value, where and by what it was found, what it leaves
    out."""
    rows: list[list[Words]] = []
    for verdict in result.verdicts:
        for j in verdict.judgements:
            worst = j.worst
            failing = j.adequacy is Adequacy.NOT_ADEQUATE
            rows.append(
                [
                    j.title,
                    verdict.standard,
                    Short(j.adequacy.value) if failing else j.adequacy.value,
                    "–" if worst is None else used(worst.utilisation),
                    "–" if worst is None else linked(worst.place),
                    "–" if worst is None else worst.by,
                    _others(j),
                    "–" if worst is None else str(worst.source),
                    j.reason or j.left_out or "–",
                ]
            )
    head: list[Words] = [
        "Check",
        "Standard",
        "Finding",
        "Utilisation",
        "Place",
        "Found by",
        "Others found",
        "Clause and mark",
        "Leaves out; why it is not judged",
    ]
    caption = "Findings on the bars by check and standard"
    return table(caption, head, rows, numeric=(3,), wide=(4, 5, 8))


def _others(judgement: Judgement) -> str:
    """The largest value of every other search, or rule, the largest first."""
    largest: dict[str, Found] = {}
    for found in sorted(judgement.found, key=lambda f: -f.utilisation):
        largest.setdefault(found.by, found)
    others = list(largest.values())[1:]
    return "; ".join(f"{rounded_up(f.utilisation)} {f.by}" for f in others) or "–"
