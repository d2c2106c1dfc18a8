"""The finding of a run in about ten lines, for the terminal."""

from collections.abc import Sequence
from pathlib import Path

from pipelines.analysis.result import Result
from pipelines.caution import CAUTION
from pipelines.report.sections.bars_words import as_built_words, bars_line
from pipelines.report.sections.effects import effect_lines, finding_sentence, strip_words
from pipelines.report.sections.factors import stated_words

# Warnings that are told; the report has all of them.
MOST_WARNINGS = 2


def brief(result: Result, out: Path, names: Sequence[str]) -> list[str]:
    """What a run found: each effect of the strip, the bars by standard, the files and the caution.

    names : of the files that were written to the folder `out`, none before they are.
    """
    warnings = [f"Warning: {words}" for words in result.deck.warnings]
    if len(warnings) > MOST_WARNINGS:
        warnings = [f"{warnings[0]} ({len(warnings) - 1} more: --verbose, report)"]
    return [
        *_strips(result),
        *(f"Bars, {bars_line(verdict)}" for verdict in result.verdicts),
        *(f"Bars, {as_built_words(one)}" for one in result.verdicts if one.panels),
        *([words] if (words := stated_words(result.deck)) else []),
        *warnings,
        *([written_words(names, out)] if names else []),
        CAUTION,
    ]


def written_words(names: Sequence[str], out: Path) -> str:
    """Where the files of a run are."""
    return f"Written: {', '.join(names)} in {out}"


def _strips(result: Result) -> list[str]:
    strip = strip_words(result)
    told = [strip] if strip else []
    title = f"{result.deck.title}: {finding_sentence(result)}"
    return [title, *(f"  {line}" for line in (*told, *effect_lines(result)))]
