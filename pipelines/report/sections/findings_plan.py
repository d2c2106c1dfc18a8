"""The plan of the first page: of each effect where it decides, and what no strip stands beside."""

from collections.abc import Iterator

from pipelines.findings.effects import NOTHING, EffectFinding, State
from pipelines.findings.left_out import LeftOut
from pipelines.numbers import number
from pipelines.report.document import Figure
from pipelines.report.drawings.findings_plan import Judged, Judgement, findings_plan
from pipelines.result import Result

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
    """The plan with the place that decides each effect, and the governing moments that no strip is
    compared with; None where there is neither."""
    found = [judged(one) for one in sorted(result.effects, key=_order)]
    found += _left_out(result)
    if not found:
        return None
    caption = "Where the strip holds and where not: numbers as in the list; hatched: short."
    return Figure("plan-findings", findings_plan(result.deck, found), caption)


def _order(one: EffectFinding) -> int:
    return list(State).index(one.state)


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


def _left_out(result: Result) -> Iterator[Judged]:
    """The largest left out of each moment and sign, of those that are not next to nothing beside
    the deck's largest moment."""
    largest: dict[tuple[str, str], LeftOut] = {}
    for one in result.left_out:
        key = (one.peak.result, one.peak.extreme)
        if one.peak.result.startswith("m_") and (
            key not in largest or abs(one.peak.value) > abs(largest[key].peak.value)
        ):
            largest[key] = one
    moments = [abs(p.value) for p in result.governing if p.result.startswith("m_")]
    for one in largest.values():
        peak = one.peak
        if abs(peak.value) < NOTHING * max(moments, default=0.0):
            continue
        yield Judged(
            effect=f"{peak.result} {peak.extreme}",
            judgement=Judgement.LEFT_OUT,
            words=f"{number(peak.value)} {peak.unit}, no strip",
            place=one.zone,
            at=peak.at,
        )
