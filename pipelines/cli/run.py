"""The command `run` of the command line: parse, call, print."""

import argparse
import os
import sys
import time
from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from pipelines.caution import CAUTION
from pipelines.cli.progress import Progress
from pipelines.cli.words import (
    DECK,
    STATUS,
    Commands,
    add_device,
    add_own,
    card_of,
    found_deck,
    terminal,
)
from pipelines.errors import JobError

if TYPE_CHECKING:
    from rich.table import Table

    from pipelines.analysis.kept import Kept
    from pipelines.analysis.result import Result, TrafficResult
    from pipelines.system.beside import Doer
    from plate.device.card import Card


# What --fail-on takes.
FAILURES = ("short", "not-adequate")


def add_run(commands: Commands) -> None:
    """Add the command `run`."""
    parser = commands.add_parser(
        "run",
        help="analyse a deck file and write its report",
        description="Analyse a deck file: static cases, every load position of its vehicles, "
        "envelopes, hand strips. Writes report.html, summary.json, findings.csv, values.csv and "
        "fields.vtu, of a deck with bars also bars.dxf (as sheets, too, with --pdf) and "
        "bar_schedule.csv, as_built.csv where "
        "there are readings on site, load_tests.csv where there are load tests. "
        "Prints the finding in about ten lines.",
        epilog=STATUS,
    )
    parser.add_argument("deck", metavar="DECK", help=DECK)
    add_own(parser)
    parser.add_argument(
        "--out", metavar="DIR", type=Path, required=True, help="folder for the results, made if new"
    )
    parser.add_argument(
        "--pdf", action="store_true", help='also report.pdf (needs the extra "pdf")'
    )
    told = parser.add_mutually_exclusive_group()
    told.add_argument("--quiet", action="store_true", help="print nothing but mistakes")
    told.add_argument("--verbose", action="store_true", help="print every governing value as well")
    told.add_argument("--json", action="store_true", help="print summary.json and nothing else")
    parser.add_argument(
        "--fail-on",
        choices=FAILURES,
        action="append",
        default=[],
        help="exit with 1 where the strip of the design is short, or where the bars are not shown "
        "to be adequate by every standard; may be given twice",
    )
    parser.add_argument(
        "--watch",
        action="store_true",
        help="run again whenever the deck file, or a drawing or readings that it names, is saved, "
        "and compute only what the change touches: the finding first, then the files; a mistake is "
        "told and the last results stay; Ctrl-C ends with status 0",
    )
    parser.add_argument(
        "--fitted",
        metavar="FILE",
        type=Path,
        help="stiffnesses found by `loadtest`, its fitted.toml, in place of those of the deck file",
    )
    add_device(parser)
    parser.set_defaults(do=_run, check=parser.error)


def _run(arguments: argparse.Namespace) -> int:
    from pipelines.run import run, written

    path = found_deck(arguments.deck)
    if arguments.watch:
        if arguments.json or arguments.fail_on:
            arguments.check("--watch ends by Ctrl-C alone: not with --json or --fail-on")
        from pipelines.cli.watch import watch
        from pipelines.run import drawing_apart

        with drawing_apart() as apart:
            return watch(path, partial(_watched, arguments, path, card_of(arguments), apart))
    card = card_of(arguments)
    with Progress(quiet=arguments.quiet) as tell:
        result = run(
            path,
            arguments.out,
            tell,
            pdf=arguments.pdf,
            fitted=arguments.fitted,
            own=arguments.own,
            card=card,
        )
    if arguments.json:
        print((arguments.out / "summary.json").read_text(encoding="utf-8"), end="")
    elif arguments.verbose:
        _closing_table(result, arguments.out)
    elif not arguments.quiet:
        _brief(result, arguments.out, written(arguments.out))
    return int(any(_fails(result, what) for what in arguments.fail_on))


def _brief(result: "Result", out: Path, names: Sequence[str]) -> None:
    from pipelines.cli.brief import brief

    for line in brief(result, out, names):
        terminal().print(line)


def _watched(
    arguments: argparse.Namespace, path: Path, card: "Card | None", apart: "Doer", kept: "Kept"
) -> None:
    """A run of `--watch`: the finding is told before the files are written. apart : makes some of
    these."""
    from pipelines.cli.brief import written_words
    from pipelines.cli.watch import again_words
    from pipelines.run import analysed, write_results, written

    start = time.perf_counter()
    with Progress(quiet=arguments.quiet) as tell:
        result = analysed(
            path,
            arguments.out,
            tell,
            pdf=arguments.pdf,
            kept=kept,
            fitted=arguments.fitted,
            own=arguments.own,
            card=card,
        )
    print(again_words(kept, time.perf_counter() - start), flush=True)
    if arguments.verbose:
        _closing_table(result, arguments.out)
    elif not arguments.quiet:
        _brief(result, arguments.out, ())
    sys.stdout.flush()
    start = time.perf_counter()
    write_results(result, arguments.out, pdf=arguments.pdf, kept=kept, apart=apart)
    seconds = time.perf_counter() - start
    print(f"{written_words(written(arguments.out), arguments.out)}; {seconds:.2f} s", flush=True)


def _fails(result: "Result", what: str) -> bool:
    """Whether a run is a failure in the eyes of a script.

    Raises JobError where there is nothing that could be judged.
    """
    from pipelines.bars.adequacy import Adequacy
    from pipelines.findings.finding import chosen

    if what == "short":
        if not result.findings:
            raise JobError(f"--fail-on {what}: no strip is compared; {result.no_findings}")
        return any(finding.is_short for finding in chosen(result.findings))
    if not result.verdicts:
        raise JobError(f"--fail-on {what}: the deck file has no bars")
    return any(verdict.adequacy is not Adequacy.ADEQUATE for verdict in result.verdicts)


def _closing_table(result: "Result", out: Path) -> None:
    """The governing values of the envelope and where the files are."""
    from pipelines.report.data.summary import model_facts
    from pipelines.report.sections.bars_words import bars_words
    from pipelines.report.sections.findings import left_out_words
    from pipelines.report.sections.tables import uncertain_words, unread_words
    from pipelines.run import written

    console = terminal()
    facts = model_facts(result)
    console.print(
        f"{result.deck.title}: {facts['cells']} cells, {facts['degrees_of_freedom']} degrees of "
        f"freedom, {facts['load_positions'] + facts['load_model_positions']} load positions, "
        f"{sum(result.seconds.values()):.1f} s",
    )
    for case in result.traffic:
        console.print(_governing_table(case))
        if case.uncertain:
            console.print(uncertain_words(case))
        if case.unread:
            console.print(unread_words(result.deck, case))
    short = [finding for finding in result.findings if finding.is_short]
    if result.findings:
        worst = result.findings[0]
        console.print(
            f"Hand strips: {len(short)} of {len(result.findings)} comparisons short. Worst: "
            f"{worst.place}, {worst.section.effect}, {worst.load}, "
            f"{worst.hand.strip}{f' ({worst.hand.mark})' if worst.hand.mark else ''}: {worst.words}"
            + (f" ({worst.caution})." if worst.caution else ".")
        )
        for words in left_out_words(result.left_out):
            console.print(words)
    elif result.no_findings:
        console.print(f"Hand strips: none compared; {result.no_findings}.")
    for words in bars_words(result):
        console.print(f"Bars, {words}")
    for warning in result.deck.warnings:
        console.print(f"Warning: {warning}")
    for name in written(out):
        console.print(os.fspath(out / name))
    console.print(CAUTION)


def _governing_table(one: "TrafficResult") -> "Table":
    """Governing values of a case of traffic."""
    from rich.table import Table

    from pipelines.deck.words import at_text
    from pipelines.numbers import number
    from pipelines.report.document import plain
    from pipelines.report.sections.positions import load_text
    from pipelines.report.sections.tables import over_width_words, tolerance

    kind = "all lanes" if one.envelope.whole else "one vehicle at a time"
    table = Table(title=f"{one.name} ({kind}), over the deck")
    for heading in ("result", "unit", "value", "at station, offset [m]", "load position"):
        table.add_column(heading)
    for row in one.governing:
        table.add_row(
            f"{row.result} {row.extreme}",
            row.unit,
            f"{number(row.value)}{tolerance(row.error)}{over_width_words(row)}",
            at_text(row.at),
            "" if row.position is None else plain(load_text(row.position)),
        )
    return table
