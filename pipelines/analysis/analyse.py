"""The whole analysis in one sentence: deck to mesh, stiffness, responses, envelopes, strips and
findings."""

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor, Future, ThreadPoolExecutor, wait
from dataclasses import replace
from functools import cache, partial
from typing import ParamSpec, TypeAlias, TypeVar

from pipelines.accuracy.refinement import refined
from pipelines.accuracy.stated_probes import stated_probes
from pipelines.accuracy.tolerances import Yardsticks, case_tolerances, traffic_tolerances
from pipelines.accuracy.worst_envelope import stepped, with_worst_loads
from pipelines.analysis.kept import Kept
from pipelines.analysis.offered import Offered
from pipelines.analysis.parts import plate_part, strip_part, walk_part
from pipelines.analysis.result import Result
from pipelines.analysis.run_findings import (
    by_strip,
    walks_of,
    with_their_findings,
    with_tolerances,
    with_uses,
)
from pipelines.analysis.stages import Progress, Stages
from pipelines.analysis.traffic_results import traffic_results
from pipelines.bars.cracked import CrackedSum, cracked_sums
from pipelines.bars.demand.observer import DesignWatch, watched_part
from pipelines.bars.design import Design, design
from pipelines.bars.schedule.marks import Schedule
from pipelines.bars.schedule.schedule import schedule
from pipelines.deck.deck import Deck
from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.envelopes.traffic import traffic_envelopes
from pipelines.findings.back_figured_widths import back_widths
from pipelines.findings.compare import strip_findings
from pipelines.findings.finding import Finding
from pipelines.findings.reconciliation.walk import Reconciliation, governing_findings
from pipelines.loadtest.outcome import Outcome, judge
from pipelines.model.accepted import buildable
from pipelines.model.build import BuiltModel
from pipelines.model.cache import ModelCache
from pipelines.model.case_responses import case_responses, read_cases
from pipelines.model.job_size import check_job_size
from pipelines.model.responses import Response, SolvedDeck
from pipelines.strips.under_traffic import hands_of
from pipelines.system.beside import Doer, here
from plate.device.card import Card
from plate.threads import one_thread

P = ParamSpec("P")
T = TypeVar("T")
Judged: TypeAlias = Callable[[Design, Schedule], object]
LEFT_OUT = "hand strips were left out"
# Threads for what nothing waits for yet: one that judges the bars, one for all else.
ASIDE = 2


def analyse(
    deck: Deck,
    progress: Progress | None = None,
    *,
    kept: Kept | None = None,
    threads: int | None = None,
    tolerances_wanted: bool = True,
    strips_wanted: bool = True,
    apart: Doer = here,
    judged: Judged = lambda *_: None,
    card: Card | None = None,
) -> Result:
    """Model, solve and judge a deck.

    progress : called with the stage's name, what is done and what there is to do.
    kept : what the stages of the analysis before made: those that read the same again are not done
    again; equal models are found there. threads : of the load positions, by default as in
    `position_threads`. tolerances_wanted : False leaves every stated error empty, and values as the
    steps of the load positions give them. strips_wanted : False leaves out hand strips and with
    them the findings, of which bars ask nothing. apart : does what needs little of the rest, as a
    process beside this one does. judged : given the bars as soon as they are judged and listed, on
    every mesh that is tried. card : an accelerator, on which load positions are solved.

    Raises
    ------
    PlateError, JobError
        What is wrong with the deck, in one message.
    """
    kept = Kept() if kept is None else kept
    kept.begin()

    def on_this_mesh(deck: Deck) -> Result:
        with one_thread, ThreadPoolExecutor(ASIDE) as aside, ThreadPoolExecutor(1) as line:
            return _on_this_mesh(
                deck,
                Stages(progress),
                kept,
                threads,
                aside,
                line,
                apart,
                judged,
                card,
                tolerances_wanted=tolerances_wanted,
                strips_wanted=strips_wanted,
            )

    if deck.mesh.error is None or not tolerances_wanted:
        result = on_this_mesh(deck)
    else:
        result, note = refined(deck, on_this_mesh)
        notes = (*result.built.notes, note) if note else result.built.notes
        result = replace(result, built=replace(result.built, notes=notes))
    kept.end()
    return result


def _on_this_mesh(
    deck: Deck,
    stages: Stages,
    kept: Kept,
    threads: int | None,
    aside: Executor,
    line: Executor,
    apart: Doer,
    judged: Judged,
    card: Card | None,
    *,
    tolerances_wanted: bool,
    strips_wanted: bool,
) -> Result:
    """The analysis on the deck's mesh; aside : threads for what nothing waits for yet; line : one
    that hands on what is done apart."""

    def begun(work: Callable[P, T], *arguments: P.args, **named: P.kwargs) -> Future[T]:
        future = aside.submit(work, *arguments, **named)
        if threads == 1:
            wait([future])
        return future

    def offered(work: Callable[[Doer], T]) -> Offered[T]:
        found = Offered.to(line, apart, work)
        if threads == 1:
            wait([found.begun])
        return found

    # what stages read that look closer where tolerances are wanted, and what the others do
    closer, of = (deck.mesh, tolerances_wanted), deck.mesh
    with stages("mesh and stiffness"):
        check_job_size(deck, threads, tolerances=tolerances_wanted)
        plate, on_strip = plate_part(deck), strip_part(deck)
        striping = offered(
            lambda doer: kept.stage(
                "hand strips",
                lambda: doer(hands_of, on_strip) if strips_wanted else None,
                data=(on_strip, strips_wanted),
            )
        )
        built, bare = kept.stage(
            "mesh and stiffness", lambda: _solved(plate, kept.models, card), data=(of, plate)
        )
    with stages("static cases"):
        solved = bare.of_deck(deck)
        alone = kept.stage("static cases", lambda: case_responses(bare), data=of, made=[bare])
        cases = read_cases(solved, alone)
    with stages("load positions"):
        barred = bare.of_deck(replace(plate, reinforcement=deck.reinforcement))
        watched, watch = kept.stage(
            "load positions",
            lambda: _load_positions(barred, alone, threads, stages.tell),
            data=(of, None if deck.reinforcement is None else watched_part(barred)),
            made=[bare],
        )
        # Without what the bars ask for the envelopes depend on no bar.
        envelopes = kept.stage(
            "envelopes",
            lambda: tuple(replace(one, more={}) for one in watched),
            data=of,
            made=[bare],
        )
    reinforcing = measuring = None
    if watch is not None:
        reinforcing = begun(_reinforced, barred, watched, watch, kept, threads, judged, data=of)
    if tolerances_wanted:
        measuring = begun(
            kept.stage,
            "richer model",
            lambda: Yardsticks.of(built, bare),
            data=of,
            made=[bare],
        )
    with stages("worst load positions"):
        worst_of = with_worst_loads if tolerances_wanted else stepped
        worst = kept.stage(
            "worst load positions",
            lambda: [worst_of(bare, envelope) for envelope in envelopes],
            data=closer,
            made=[envelopes],
        )
        envelopes = tuple(case.envelope for case in worst)
    with stages("strips and findings"):
        striped, hands = bare.of_deck(on_strip), striping.result()
        found, no_findings = kept.stage(
            "strips and findings",
            lambda: ((), LEFT_OUT) if hands is None else strip_findings(striped, envelopes, hands),
            data=(of, on_strip),
            made=[worst, hands],
        )
        # Neither widths nor walks wait for tolerances. A walk reads no depth of bars, and numbers
        # of findings are but names.
        on_walk = walk_part(on_strip)

        def walked(some: Sequence[Finding], doer: Doer) -> tuple[Reconciliation, ...]:
            return kept.stage(
                "widths and reconciliation",
                lambda: walks_of(built.asked_for(on_walk), envelopes, some, bare.models, doer),
                data=(closer, on_walk, some),
                made=[worst],
            )

        unnamed = [replace(one, reference="") for one in governing_findings(found)]
        walking = [
            offered(partial(walked, some))
            for some in (by_strip(unnamed) if tolerances_wanted else ())
        ]
        widening = offered(
            lambda doer: kept.stage(
                "widths", lambda: doer(back_widths, on_strip, found), data=of, made=[found]
            )
        )
        measured = None if measuring is None else measuring.result()
        findings = kept.stage(
            "tolerances of findings",
            lambda: with_tolerances(bare, found, measured),
            data=of,
            made=[found, measured],
        )
    with stages("reinforcement"):
        bars, listed = (None, None) if reinforcing is None else reinforcing.result()
    with stages("numerical tolerances"):
        of_cases = case_tolerances(
            solved, cases, None if measured is None else measured.reading(solved)
        )
        probes = kept.each(
            "probes",
            deck.probes,
            lambda new: stated_probes(bare, worst, new, measured),
            made=[worst, measured],
        )
        unprobed = kept.stage(
            "numerical tolerances",
            lambda: traffic_results(bare, alone, worst, traffic_tolerances(bare, worst, measured)),
            data=of,
            made=[worst, measured],
        )
        traffic = tuple(
            replace(case, probes=tuple(probe[k] for probe in probes))
            for k, case in enumerate(unprobed)
        )
    tested: tuple[Outcome, ...] = ()
    if deck.load_tests:
        with stages("load tests"):
            under = replace(plate, load_tests=deck.load_tests, fitted=deck.fitted)
            tested = kept.stage(
                "load tests",
                lambda: tuple(judge(under, one, fitting=False) for one in deck.load_tests),
                data=(of, deck.load_tests, deck.fitted),
                made=[bare],
            )
    cracked: tuple[CrackedSum, ...] = ()
    if any(one.cracked for one in deck.sums):
        with stages("cracked stiffness"):
            cracked = kept.stage(
                "cracked stiffness",
                lambda: cracked_sums(solved, deck),
                data=(of, deck.sums, deck.probes, deck.reinforcement),
                made=[bare],
            )
    with stages("widths and reconciliation"):
        widths = widening.result()
        # what waits yet for the process beside is taken up here from its end
        of_strips = [one.result() for one in reversed(walking)][::-1]
        walks = kept.stage(
            "reconciliation of findings",
            lambda: with_their_findings(of_strips, findings) if of_strips else (),
            made=[*of_strips, findings],
        )
        used, left = kept.stage(
            "utilisation of findings",
            lambda: with_uses(barred, alone, findings, unprobed),
            data=(of, deck.reinforcement),
            made=[bare, alone, findings, unprobed],
        )
    return Result(
        deck=deck,
        built=built,
        solved=solved,
        cases=cases,
        case_tolerances=of_cases,
        traffic=traffic,
        findings=used,
        no_findings=no_findings,
        left_out=left,
        widths=widths,
        reconciliations=walks,
        design=bars,
        schedule=listed,
        load_tests=tested,
        cracked=cracked,
        seconds=stages.seconds,
    )


def _solved(deck: Deck, models: ModelCache, card: Card | None) -> tuple[BuiltModel, SolvedDeck]:
    built = buildable(deck)
    solved = SolvedDeck.of(deck, built.model, models, card)
    solved.check()
    return built, solved


def _load_positions(
    solved: SolvedDeck, cases: Mapping[str, Response], threads: int | None, tell: Progress
) -> tuple[tuple[TrafficEnvelope, ...], DesignWatch | None]:
    """The envelopes of all cases of traffic, and what was seen for the bars."""
    watch = None if solved.deck.reinforcement is None else DesignWatch(solved, cases)
    envelopes = traffic_envelopes(
        solved,
        workers=threads,
        progress=tell,
        observers=() if watch is None else (watch,),
        watched=lambda model: None if watch is None else watch.of_model(model),
    )
    return envelopes, watch


def _reinforced(
    solved: SolvedDeck,
    watched: Sequence[TrafficEnvelope],
    watch: DesignWatch,
    kept: Kept,
    threads: int | None,
    judged: Judged,
    *,
    data: object,
) -> tuple[Design, Schedule]:
    """The bars judged, and their schedule. They are judged under the steps of the load positions:
    nothing of it waits for worst load positions, nor these for it."""
    drawn = solved.deck.required_reinforcement
    looked = cache(partial(watch.of_bars, solved, threads))
    held = kept.stage(
        "loads held for shear",
        lambda: looked().held_under([one for one in watched if one.whole]),
        # Of bars of the same depths those of parts alone, by where they are judged.
        data=(data, drawn if drawn.added or drawn.survey is not None else None),
        made=[watch],
    )
    bars = kept.stage(
        "reinforcement",
        lambda: design(solved, watched, looked(), threads, held),
        data=(data, drawn),
        made=[watch],
    )
    listed = kept.stage("bar schedule", lambda: schedule(solved, bars), made=[bars])
    judged(bars, listed)
    return bars, listed
