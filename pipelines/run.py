"""A run: deck file in, report, summary and fields out.

What computes and draws is imported once the deck file is read, so that a mistake in it is told at
once.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from functools import cache, partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, ParamSpec, TypeVar

from pipelines.deck.reading.deck_file import read_deck
from pipelines.system.beside import Beside, Doer, here
from pipelines.system.files import write_text
from pipelines.system.machine import processors
from pipelines.system.outputs import check_folder, replacing

if TYPE_CHECKING:
    from pipelines.analysis.kept import Kept
    from pipelines.analysis.result import Result
    from pipelines.analysis.stages import Progress
    from pipelines.bars.design import Design
    from pipelines.bars.schedule.marks import Schedule
    from pipelines.deck.deck import Deck
    from pipelines.report.again import Again
    from pipelines.report.document import Document, Section
    from plate.device.card import Card

P = ParamSpec("P")
T = TypeVar("T")

FILES = (
    *("report.html", "report.pdf", "summary.json", "findings.csv", "values.csv"),
    *("as_built.csv", "load_tests.csv", "fields.vtu", "bars.dxf", "bars.svg", "bars.pdf"),
    "bar_schedule.csv",
)
"""All that a run may write."""

# What a process beside imports before there is work: the modules of what an analysis and its files
# have done there, and of a deck with bars those that draw them.
STAGES = (
    "pipelines.findings.reconciliation.walk",
    "pipelines.report.drawings.contour_plans",
    "pipelines.report.data.fields_vtu",
)
DRAWING = ("pipelines.report.drawings.bars_dxf",)


def run(
    path: Path,
    out: Path,
    progress: "Progress | None" = None,
    *,
    pdf: bool = False,
    fitted: Path | None = None,
    own: Sequence[Path] = (),
    card: "Card | None" = None,
) -> "Result":
    """Read a deck file, analyse it and write report.html, summary.json, findings.csv, values.csv
    and fields.vtu to `out`, with `pdf` also report.pdf, of a deck with bars bars.dxf and
    bar_schedule.csv, with `pdf` also bars.svg and bars.pdf, with as-built readings as_built.csv,
    with load tests load_tests.csv.

    fitted, own : a file of stiffnesses found from a load test, and files of the user's own code
    that may be run, as `read_deck` takes them. card : an accelerator, where load positions are to
    be solved on one.

    The files replace those of the run before together, once all are finished.
    """
    deck = _checked(path, out, pdf=pdf, fitted=fitted, own=own)
    with ThreadPoolExecutor(1) as aside, _apart(deck) as apart:
        from pipelines.analysis.analyse import analyse
        from pipelines.report.drawings.bar_files import bar_files

        drawn: list[Future[Mapping[str, bytes]]] = []

        def draw(judged: "Design", listed: "Schedule") -> None:
            of = deck, judged, listed, deck.title
            drawn[:] = [aside.submit(lambda: apart(bar_files, *of, pdf=pdf))]

        result = analyse(deck, progress, apart=apart, judged=draw, card=card)
        if progress is not None:
            progress("report", 0, 1)
        write_results(result, out, pdf=pdf, apart=apart, drawn=drawn[0].result if drawn else None)
    return result


def analysed(
    path: Path,
    out: Path,
    progress: "Progress | None" = None,
    *,
    kept: "Kept",
    pdf: bool = False,
    fitted: Path | None = None,
    own: Sequence[Path] = (),
    card: "Card | None" = None,
) -> "Result":
    """The first half of `run` for a watched deck: nothing is written yet, but that it can be is
    certain. No process is beside it, which would keep nothing for the next run.

    kept : what the run before made (`analysis.analyse`).
    """
    deck = _checked(path, out, pdf=pdf, fitted=fitted, own=own)
    from pipelines.analysis.analyse import analyse

    return analyse(deck, progress, kept=kept, card=card)


def _checked(
    path: Path, out: Path, *, pdf: bool, fitted: Path | None, own: Sequence[Path]
) -> "Deck":
    """The deck, once it is certain that what is found of it can be written."""
    deck = read_deck(path, fitted, own)
    check_folder(out, "results", FILES)
    if pdf:
        from pipelines.report.pdf import require_pdf

        require_pdf()
    return deck


@contextmanager
def _apart(deck: "Deck") -> "Iterator[Doer]":
    """What does the stages that need little of the others: a process beside this one, where the
    job is worth its start."""
    from pipelines.model.job_size import job_size

    if job_size(deck).apart:
        with Beside(STAGES if deck.reinforcement is None else STAGES + DRAWING) as beside:
            yield beside
    else:
        yield here


@contextmanager
def drawing_apart() -> "Iterator[Doer]":
    """What makes some of the files of a watched deck again and again: a process beside this one,
    begun with the first of them, where there is a processor for it."""
    with ExitStack() as stack:

        @cache
        def drawer() -> Doer:
            return stack.enter_context(Beside(DRAWING)) if processors() > 1 else here

        def apart(work: Callable[P, T], *arguments: P.args, **named: P.kwargs) -> T:
            return drawer()(work, *arguments, **named)

        yield apart


def written(out: Path) -> list[str]:
    """Names of the files of a run that a folder has."""
    return [name for name in FILES if (out / name).exists()]


def write_results(
    result: "Result",
    out: Path,
    *,
    pdf: bool = False,
    beside: "Sequence[Section]" = (),
    kept: "Kept | None" = None,
    apart: Doer = here,
    drawn: "Callable[[], Mapping[str, bytes]] | None" = None,
) -> None:
    """All files of a finished analysis, as `run` writes them.

    beside : sections of the report that are not of the run, before its record. kept : what the run
    before made, as `analysed` takes it. apart : draws bars and plans and writes some files, as a
    process beside this one does. drawn : the files of the bars, where they are being drawn.
    """
    from pipelines.analysis.kept import Kept
    from pipelines.envelopes.columns import field_columns
    from pipelines.report.again import Again
    from pipelines.report.data.as_built_csv import write_as_built
    from pipelines.report.data.bar_schedule_csv import write_schedule
    from pipelines.report.data.fields_vtu import write_fields
    from pipelines.report.data.findings_csv import write_findings
    from pipelines.report.data.load_test import write_load_tests
    from pipelines.report.data.summary import summary, write_summary
    from pipelines.report.data.values_csv import write_values
    from pipelines.report.drawings.bar_files import bar_files
    from pipelines.report.html import html_of
    from pipelines.report.pdf import pdf_of
    from plate.threads import one_thread

    deck, again = result.deck, Again(result, Kept() if kept is None else kept)

    def bars() -> Mapping[str, bytes]:
        if result.design is None or result.schedule is None:
            return {}
        of = again.but_probes.deck, result.design, result.schedule
        draw = partial(apart, bar_files, *of, deck.title, pdf=pdf)
        return again.made("drawing of the bars", draw, again.but_probes, (deck.title, pdf))

    with one_thread, replacing(out) as folder, ThreadPoolExecutor(2) as aside:
        drawing = aside.submit(bars if drawn is None else drawn)
        columns = field_columns(result.cases, [case.envelope for case in result.traffic])
        fields = folder / "fields.vtu", result.solved.recovery.points, columns
        shown = aside.submit(partial(apart, write_fields, *fields))
        entries = summary(result)
        document = report_of(result, entries, again, apart)
        document = replace(document, record=(*beside, *document.record))
        write_text(folder / "report.html", html_of(document))
        if pdf:
            (folder / "report.pdf").write_bytes(pdf_of(document))
        if deck.reinforcement is not None and deck.reinforcement.survey is not None:
            write_as_built(folder / "as_built.csv", result.verdicts)
        if result.load_tests:
            write_load_tests(folder / "load_tests.csv", result.load_tests)
        if result.schedule is not None:
            write_schedule(folder / "bar_schedule.csv", result.schedule)
        write_findings(folder / "findings.csv", result.findings)
        write_values(folder / "values.csv", result, entries)
        write_summary(folder / "summary.json", entries)
        for name, data in drawing.result().items():
            (folder / name).write_bytes(data)
        shown.result()


def report_of(
    result: "Result",
    entries: Mapping[str, Any],
    again: "Again | None" = None,
    apart: Doer = here,
) -> "Document":
    """The report of a finished run, with the fields that it alone shows.

    entries : those of summary.json. again : what parts of the report of the run before showed.
    apart : draws the plans of the envelopes meanwhile."""
    from pipelines.analysis.kept import Kept
    from pipelines.envelopes.picked_surfaces import picked_surfaces, with_probes
    from pipelines.report.again import Again
    from pipelines.report.report import report
    from pipelines.report.sections.fields import envelope_plans

    again = Again(result, Kept()) if again is None else again
    plate, leading = again.of_plate, result.leading
    with ThreadPoolExecutor(1) as aside:
        plans = aside.submit(
            again.made, "envelope_plans", partial(envelope_plans, plate, apart), plate
        )
        surfaces = again.made(
            "influence surfaces",
            lambda: picked_surfaces(
                plate.solved, None if leading is None else leading.envelope, plate.governing
            ),
            plate,
        )
        shown = with_probes(surfaces, result.solved)
        return report(result, entries, shown, again, plans.result)
