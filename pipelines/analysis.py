"""The whole analysis in one sentence: deck to mesh, stiffness, responses, envelopes, strips and
findings."""

import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Executor, Future, ThreadPoolExecutor, wait
from contextlib import contextmanager
from dataclasses import replace
from typing import ParamSpec, TypeVar

from pipelines.accuracy.refinement import refined
from pipelines.accuracy.tolerances import (
    Tolerances,
    Yardsticks,
    case_tolerances,
    held_mesh_parts,
    traffic_tolerances,
)
from pipelines.accuracy.worst_envelope import WorstEnvelope, stepped, with_worst_loads
from pipelines.bars.checks.findings_utilisation import with_utilisation
from pipelines.bars.demand.observer import DesignWatch
from pipelines.bars.design import design
from pipelines.deck.deck import Deck
from pipelines.envelopes.means import mean_curves
from pipelines.envelopes.peaks import that_count
from pipelines.envelopes.traffic import traffic_envelopes
from pipelines.envelopes.unread import unread_moments
from pipelines.envelopes.uplift import uplift_findings
from pipelines.findings.back_figured_widths import back_widths
from pipelines.findings.compare import strip_findings
from pipelines.findings.finding import Finding
from pipelines.findings.left_out import left_out
from pipelines.findings.reconciliation.walk import governing_findings, reconcile
from pipelines.model.accepted import accepted
from pipelines.model.cache import ModelCache
from pipelines.model.responses import Response, SolvedDeck, case_responses
from pipelines.result import Result, TrafficResult
from plate.threads import one_thread

Progress = Callable[[str, int, int], None]
P = ParamSpec("P")
T = TypeVar("T")


def analyse(
    deck: Deck,
    progress: Progress | None = None,
    *,
    models: ModelCache | None = None,
    threads: int | None = None,
    tolerances_wanted: bool = True,
) -> Result:
    """Model, solve and judge a deck.

    progress : called with the stage's name, what is done and what there is to do.
    models : where equal models of other decks may be found. threads : of the load positions,
    default one per processor. tolerances_wanted : False leaves every stated error empty, and values
    as the steps of the load positions give them.

    Raises
    ------
    PlateError, JobError
        What is wrong with the deck, in one message.
    """

    def on_this_mesh(deck: Deck) -> Result:
        with one_thread, ThreadPoolExecutor(1) as aside:
            return _on_this_mesh(
                deck,
                _Stages(progress),
                models or ModelCache(),
                threads,
                aside,
                tolerances_wanted=tolerances_wanted,
            )

    if deck.mesh.error is None or not tolerances_wanted:
        return on_this_mesh(deck)
    result, note = refined(deck, on_this_mesh)
    notes = (*result.built.notes, note) if note else result.built.notes
    return replace(result, built=replace(result.built, notes=notes))


def _on_this_mesh(
    deck: Deck,
    stages: "_Stages",
    models: ModelCache,
    threads: int | None,
    aside: Executor,
    *,
    tolerances_wanted: bool,
) -> Result:
    """The analysis on the deck's mesh; aside : a thread for what nothing waits for yet."""

    def begun(work: Callable[P, T], *arguments: P.args, **named: P.kwargs) -> Future[T]:
        future = aside.submit(work, *arguments, **named)
        if threads == 1:
            wait([future])
        return future

    with stages("mesh and stiffness"):
        built = accepted(deck, threads, tolerances=tolerances_wanted).built
        solved = SolvedDeck.of(deck, built.model, models)
        solved.check()
    with stages("static cases"):
        cases = case_responses(solved)
    with stages("load positions"):
        watch = None if deck.reinforcement is None else DesignWatch(solved, cases)
        envelopes = traffic_envelopes(
            solved,
            workers=threads,
            progress=stages.tell,
            observers=() if watch is None else (watch,),
            watched=lambda model: None if watch is None else watch.of_model(model),
        )
    measuring = begun(Yardsticks.of, built, solved) if tolerances_wanted else None
    with stages("reinforcement"):
        bars = None if watch is None else design(solved, envelopes, watch, threads)
    with stages("worst load positions"):
        worst_of = with_worst_loads if tolerances_wanted else stepped
        worst = [worst_of(solved, envelope) for envelope in envelopes]
        envelopes = tuple(case.envelope for case in worst)
    with stages("strips and findings"):
        findings, no_findings = strip_findings(solved, envelopes)
        findings = with_utilisation(solved, cases, findings)
    with stages("numerical tolerances"):
        measured = None if measuring is None else measuring.result()
        findings = _with_tolerances(solved, findings, measured)
        walked = governing_findings(findings) if tolerances_wanted else []
        walking = begun(reconcile, built, solved, envelopes, walked)
        of_cases = case_tolerances(solved, cases, measured)
        tolerances = traffic_tolerances(solved, worst, measured)
        traffic = tuple(
            _traffic(solved, case, cases, own) for case, own in zip(worst, tolerances, strict=True)
        )
    with stages("widths and reconciliation"):
        widths = back_widths(deck, findings)
        walks = walking.result()
    return Result(
        deck=deck,
        built=built,
        solved=solved,
        cases=cases,
        case_tolerances=of_cases,
        traffic=traffic,
        findings=findings,
        no_findings=no_findings,
        left_out=left_out(deck, [(case.envelope, case.governing) for case in traffic], findings),
        widths=widths,
        reconciliations=walks,
        design=bars,
        seconds=stages.seconds,
    )


def _traffic(
    solved: SolvedDeck,
    worst: WorstEnvelope,
    cases: Mapping[str, Response],
    tolerances: Tolerances,
) -> TrafficResult:
    """Governing values of a case of traffic with their tolerances, and what is read beside them."""
    envelope = worst.envelope
    peaks = tuple(
        peak.with_tolerance(stated)
        for peak, stated in zip(worst.peaks, tolerances.peaks, strict=True)
    )
    governing = tuple(peak for peak in that_count(peaks) if peak.is_known)
    return TrafficResult(
        envelope=envelope,
        governing=governing,
        uncertain=tuple(peak for peak in peaks if not peak.is_known),
        unread=unread_moments(solved, envelope, that_count(peaks)),
        tolerances=tolerances,
        mean_curves=mean_curves(solved, governing),
        uplift=uplift_findings(solved, cases, envelope, governing),
    )


def _with_tolerances(
    solved: SolvedDeck, findings: Sequence[Finding], measured: Yardsticks | None
) -> tuple[Finding, ...]:
    if measured is None:
        errors = [float("nan")] * len(findings)
    else:
        errors = held_mesh_parts(solved, [finding.plate for finding in findings], measured)
    return tuple(
        replace(finding, plate=replace(finding.plate, error=error))
        for finding, error in zip(findings, errors, strict=True)
    )


class _Stages:
    """Times the stages of an analysis, by what they make the run wait, and tells of their
    progress."""

    def __init__(self, progress: Progress | None) -> None:
        self.progress = progress
        self.seconds: dict[str, float] = {}

    @contextmanager
    def __call__(self, stage: str) -> Iterator[None]:
        start = time.perf_counter()
        self.tell(stage, 0, 1)
        yield
        self.seconds[stage] = time.perf_counter() - start

    def tell(self, stage: str, part: int, whole: int) -> None:
        if self.progress is not None:
            self.progress(stage, part, whole)
