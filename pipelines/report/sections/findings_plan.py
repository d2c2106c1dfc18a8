"""The plan of the first page: of each effect where it decides, and what no strip stands beside."""

from collections.abc import Iterator, Mapping

from pipelines.findings.finding import Finding, Verdict, without_centre_lines
from pipelines.findings.left_out import LeftOut
from pipelines.numbers import number
from pipelines.report.document import Figure
from pipelines.report.drawings.findings_plan import Judged, Judgement, findings_plan
from pipelines.report.sections.effects import EFFECTS
from pipelines.result import Result

JUDGEMENTS = {
    Verdict.SHORT: Judgement.SHORT,
    Verdict.EVEN: Judgement.EVEN,
    Verdict.COVERS: Judgement.HOLDS,
    Verdict.NO_LESS: Judgement.HOLDS,
    Verdict.OUTSIDE: Judgement.NOT_COMPARABLE,
    Verdict.NOT_COMPARABLE: Judgement.NOT_COMPARABLE,
}


def decisive(result: Result) -> dict[str, Finding]:
    """The worst finding of each effect, of whole load models where there are any."""
    counted = without_centre_lines(result.findings)
    whole = any(row.whole_model for row in counted)
    found: dict[str, Finding] = {}
    for effect, kinds in EFFECTS.items():
        rows = [r for r in counted if r.section.kind in kinds and r.whole_model == whole]
        compared = [row for row in rows if row.ratio is not None]
        if rows:
            found[effect] = (compared or rows)[0]
    return found


def findings_figure(result: Result, decisive: Mapping[str, Finding]) -> Figure | None:
    """The plan with the finding that decides each effect, by its name, and the governing moments
    that no strip is compared with; None where there is neither."""
    found = [judged(effect, row) for effect, row in decisive.items()]
    found += _left_out(result)
    if not found:
        return None
    caption = "Where the strip holds and where not: numbers as in the list; hatched: short."
    return Figure("plan-findings", findings_plan(result.deck, found), caption)


def judged(effect: str, row: Finding) -> Judged:
    """A finding as the plan tells it."""
    judgement = JUDGEMENTS[row.verdict]
    words = row.words.removeprefix("strip ")
    if judgement is Judgement.HOLDS:
        words = "holds" if row.verdict is Verdict.COVERS else "no less than the plate"
    elif judgement is Judgement.NOT_COMPARABLE:
        words = "not comparable"
    section = row.section
    return Judged(
        effect=effect,
        judgement=judgement,
        words=words,
        place=section.place + (", at its face" if section.kind == "face" else ""),
        at=row.plate.at,
        lines=(section.edge,) if section.edge else section.lines,
    )


def _left_out(result: Result) -> Iterator[Judged]:
    """The largest left out of each moment and sign, under the leading traffic."""
    largest: dict[tuple[str, str], LeftOut] = {}
    for one in result.left_out:
        key = (one.peak.result, one.peak.extreme)
        if one.peak.result.startswith("m_") and (
            key not in largest or abs(one.peak.value) > abs(largest[key].peak.value)
        ):
            largest[key] = one
    for one in largest.values():
        peak = one.peak
        yield Judged(
            effect=f"{peak.result} {peak.extreme}",
            judgement=Judgement.LEFT_OUT,
            words=f"{number(peak.value)} {peak.unit}, no strip",
            place=one.zone,
            at=peak.at,
        )
