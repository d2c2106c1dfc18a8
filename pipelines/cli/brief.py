"""The finding of a run in about ten lines, for the terminal."""

from collections.abc import Sequence
from pathlib import Path

from pipelines.bars.adequacy import Adequacy, Judgement, StandardVerdict
from pipelines.caution import CAUTION
from pipelines.numbers import rounded_up
from pipelines.report.sections.bars_words import as_built_words, opening
from pipelines.report.sections.effects import effect_lines, finding_title, strip_words
from pipelines.result import Result

# Warnings that are told; the report has all of them.
MOST_WARNINGS = 2


def brief(result: Result, out: Path, names: Sequence[str]) -> list[str]:
    """What a run found: each effect of the strip, the bars by standard, the files and the caution.

    names : of the files that were written to the folder `out`.
    """
    warnings = [f"Warning: {words}" for words in result.deck.warnings]
    if len(warnings) > MOST_WARNINGS:
        warnings = [f"{warnings[0]} ({len(warnings) - 1} more: --verbose, report)"]
    return [
        *_strips(result),
        *(_bars(verdict) for verdict in result.verdicts),
        *(f"Bars, {as_built_words(one)}" for one in result.verdicts if one.panels),
        *warnings,
        f"Written: {', '.join(names)} in {out}",
        CAUTION,
    ]


def _strips(result: Result) -> list[str]:
    strip = strip_words(result)
    told = [strip] if strip else []
    return [finding_title(result), *(f"  {line}" for line in (*told, *effect_lines(result)))]


def _bars(verdict: StandardVerdict) -> str:
    decisive = verdict.of(Adequacy.NOT_ADEQUATE) or verdict.open or verdict.of(Adequacy.ADEQUATE)
    ordered = sorted(decisive, key=lambda one: 0.0 if one.worst is None else -one.worst.utilisation)
    words = f"Bars, {opening(verdict)}"
    if not ordered:
        return words
    words += f"; {_judged(ordered[0])}"
    rest = len(ordered) - 1
    if verdict.adequacy is not Adequacy.ADEQUATE and rest:
        words += f"; so {'is' if rest == 1 else 'are'} {rest} more"
    return words


def _judged(judgement: Judgement) -> str:
    worst = judgement.worst
    if worst is None:
        return f"{judgement.title}: {judgement.reason}"
    return f"{judgement.title} {rounded_up(worst.utilisation)} at {worst.place}, {worst.source}"
