"""The whole analysis in one sentence: deck to mesh, stiffness, responses, envelopes, strips and
findings."""

import time
from collections.abc import Callable
from dataclasses import replace

from pipelines.accuracy.refinement import refined
from pipelines.accuracy.tolerances import estimate, not_estimated
from pipelines.accuracy.worst_arrangement import StepErrors
from pipelines.bars.checks.findings_utilisation import with_utilisation
from pipelines.bars.demand.observer import DesignWatch
from pipelines.bars.design import design
from pipelines.deck.deck import Deck
from pipelines.envelopes.load_models import model_envelopes
from pipelines.envelopes.means import MeanCurve, mean_curves
from pipelines.envelopes.model_peaks import model_peaks
from pipelines.envelopes.peaks import governing_values
from pipelines.envelopes.single_vehicles import traffic_envelopes
from pipelines.envelopes.uplift import uplift_findings
from pipelines.findings.back_figured_widths import back_widths
from pipelines.findings.compare import strip_findings
from pipelines.findings.held_tolerances import with_held_tolerances, with_step_errors
from pipelines.findings.reconciliation.walk import reconcile, to_reconcile
from pipelines.model.build import build_model
from pipelines.model.cache import Shelf
from pipelines.model.job_size import check_job_size
from pipelines.model.responses import Solver, case_responses, check_stiffness
from pipelines.result import Result
from pipelines.traffic.positions import position_count
from pipelines.traffic.trains import model_load_count

Progress = Callable[[str, int, int], None]


def analyse(
    deck: Deck,
    progress: Progress | None = None,
    *,
    shelf: Shelf | None = None,
    threads: int | None = None,
    tolerances_wanted: bool = True,
) -> Result:
    """Model, solve and judge a deck.

    progress : called with the stage's name, what is done and what there is to do.
    shelf : where equal models of other decks may be found. threads : of the load positions,
    default one per processor. tolerances_wanted : False leaves every stated error empty.

    Raises
    ------
    PlateError, JobError
        What is wrong with the deck, in one message.
    """
    if deck.mesh.error is not None:

        def on_this_mesh(refining: Deck) -> Result:
            plain = replace(refining, mesh=replace(refining.mesh, error=None))
            return analyse(plain, progress, shelf=shelf, threads=threads)

        result, note = refined(deck, on_this_mesh)
        if not note:
            return result
        return replace(result, built=replace(result.built, notes=(*result.built.notes, note)))
    seconds: dict[str, float] = {}
    clock = time.perf_counter()

    def done(stage: str) -> None:
        nonlocal clock
        now = time.perf_counter()
        seconds[stage], clock = now - clock, now

    def tell(stage: str, part: int = 0, whole: int = 1) -> None:
        if progress is not None:
            progress(stage, part, whole)

    check_job_size(deck, threads, tolerances=tolerances_wanted)
    tell("mesh and stiffness")
    built = build_model(deck)
    shelf = shelf or Shelf()
    solver = Solver.of(deck, shelf.stiffness(built.model), shelf.recovery(built.model))
    check_stiffness(solver.stiffness)
    done("mesh and stiffness")

    cases = case_responses(deck, solver)
    done("static cases")

    watch = None if deck.reinforcement is None else DesignWatch(deck, solver, cases)
    whole = position_count(deck)
    envelopes = traffic_envelopes(
        deck,
        solver,
        workers=threads,
        progress=lambda n: tell("load positions", n, whole),
        observers=() if watch is None else (watch,),
    )
    done("load positions")

    loads = model_load_count(deck)
    models = model_envelopes(
        deck,
        solver,
        workers=threads,
        progress=lambda n: tell("load models", n, loads),
        watched=lambda model: None if watch is None else watch.of_model(model),
    )
    model_rows = [model_peaks(deck, solver, model) for model in models]
    steps: list[StepErrors] = []
    if tolerances_wanted:
        for k, model in enumerate(models):
            model_rows[k], errors = with_step_errors(deck, solver, model, model_rows[k])
            steps.append(errors)
    done("load models")

    bars = None
    if watch is not None:
        tell("reinforcement")
        bars = design(deck, solver, envelopes, models, watch)
        done("reinforcement")

    tell("strips and findings")
    findings, no_findings = strip_findings(deck, solver, envelopes, models)
    findings = with_utilisation(deck, cases, findings)
    peaks = governing_values(deck, solver, envelopes) if envelopes is not None else []
    done("strips and findings")

    tell("numerical tolerances")
    goals = [peak.goal for peak in peaks]
    single = [finding.goal for finding in findings if not finding.whole_model]
    if tolerances_wanted:
        richer = shelf if shelf.size else Shelf(1 if models else 0)
        tolerances = estimate(deck, built, solver, cases, envelopes, goals, single, shelf=richer)
        if models:
            findings, model_rows = with_held_tolerances(
                deck, built, solver, findings, model_rows, richer
            )
    else:
        tolerances = not_estimated(solver, cases, [*goals, *single])
    peaks = [peak.with_tolerance(tolerances.peak(peak.goal)) for peak in peaks]
    findings = tuple(
        f if f.whole_model else replace(f, plate_error=tolerances.peak(f.goal).mesh)
        for f in findings
    )
    done("numerical tolerances")

    tell("widths and reconciliation")
    widths = back_widths(deck, findings)
    walked = to_reconcile(findings) if tolerances_wanted else []
    walks = reconcile(deck, built, envelopes, walked) if envelopes is not None else ()
    done("widths and reconciliation")

    curves: tuple[MeanCurve, ...] = ()
    uplift = None
    if envelopes is not None:
        curves = tuple(mean_curves(deck, solver, envelopes, peaks))
        uplift = uplift_findings(deck, solver, cases, envelopes, peaks)
    return Result(
        deck,
        built,
        solver,
        cases,
        envelopes,
        tuple(peaks),
        findings,
        no_findings,
        tolerances,
        seconds,
        bars,
        widths,
        walks,
        models,
        tuple(tuple(rows) for rows in model_rows),
        tuple(steps),
        curves,
        uplift,
    )
