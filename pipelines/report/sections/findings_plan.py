"""The plan of the first page: of each effect where it decides, and what no strip stands beside."""

from pipelines.analysis.result import Result
from pipelines.envelopes.peaks import Peak
from pipelines.findings.effects import EffectFinding, State
from pipelines.numbers import number
from pipelines.report.document import Figure
from pipelines.report.drawings.findings_plan import Judged, Judgement, findings_plan
from pipelines.report.sections.effects import in_order, without_strip

JUDGEMENTS = {
    State.SHORT: Judgement.SHORT,
    State.EVEN: Judgement.EVEN,
    State.HOLDS: Judgement.HOLDS,
    State.NO_LESS: Judgement.HOLDS,
    State.NOT_COMPARABLE: Judgement.NOT_COMPARABLE,
}
# In few words; what is short is told with its share.
WORDS = {
    State.EVEN: "no difference",
    State.HOLDS: "holds",
    State.NO_LESS: "no less than the plate",
    State.NOT_COMPARABLE: "not comparable",
}


def findings_figure(result: Result) -> Figure | None:
    """The plan with the places of the rows of `effects_table`, numbered alike; None where there are
    none."""
    found = [judged(one) for one in in_order(result)]
    found += [_alone(*one) for one in without_strip(result)]
    if not found:
        return None
    caption = "numbers as in the table"
    if result.effects:
        caption = f"Where the strip holds and where not: {caption}; hatched: short."
    else:
        caption = f"Where the largest moments are: {caption}."
    return Figure("plan-findings", findings_plan(result.deck, found), caption)


def judged(one: EffectFinding) -> Judged:
    """An effect as the plan tells it."""
    row = one.row
    section = row.section
    return Judged(
        effect=one.effect,
        judgement=JUDGEMENTS[one.state],
        words=WORDS.get(one.state, row.words.removeprefix("strip ")),
        place=row.place,
        at=row.plate.at,
        lines=(section.edge,) if section.edge else section.lines,
    )


def _alone(peak: Peak, zone: str) -> Judged:
    """A governing value that no strip is beside as the plan tells it."""
    return Judged(
        effect=f"{peak.result} {peak.extreme}",
        judgement=Judgement.LEFT_OUT,
        words=f"{number(peak.value)} {peak.unit}, no strip",
        place=zone,
        at=peak.at,
    )
