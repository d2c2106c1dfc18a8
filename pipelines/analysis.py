"""The whole analysis in one sentence: deck to mesh, stiffness, responses, envelopes, strips and
findings."""

import time
from collections.abc import Callable
from typing import Any

from pipelines.build import BuiltModel, build_model
from pipelines.deck import Deck
from pipelines.envelopes import Envelopes, traffic_envelopes
from pipelines.findings import strip_findings
from pipelines.probes import beam_rows, probe_rows
from pipelines.responses import Solver, case_responses
from pipelines.result import Result
from pipelines.summary import summarise
from pipelines.traffic import position_count
from plate.recovery import FieldRecovery
from plate.stiffness import Stiffness

Progress = Callable[[str, int, int], None]


def analyse(deck: Deck, progress: Progress | None = None) -> Result:
    """Model, solve and judge a deck.

    progress : called with the stage's name, what is done and what there is to do.

    Raises
    ------
    PlateError, JobError
        What is wrong with the deck, in one message.
    """
    seconds: dict[str, float] = {}
    clock = time.perf_counter()

    def done(stage: str) -> None:
        nonlocal clock
        now = time.perf_counter()
        seconds[stage], clock = now - clock, now

    def tell(stage: str, part: int = 0, whole: int = 1) -> None:
        if progress is not None:
            progress(stage, part, whole)

    tell("mesh and stiffness")
    built = build_model(deck)
    stiffness = Stiffness(built.model)
    recovery = FieldRecovery(built.model)
    probes = probe_rows(deck, built.model, recovery.points)
    solver = Solver(stiffness, recovery, probes, beam_rows(built.model))
    done("mesh and stiffness")

    cases = case_responses(deck, solver)
    done("static cases")

    whole = position_count(deck)
    envelopes = traffic_envelopes(deck, solver, progress=lambda n: tell("load positions", n, whole))
    done("load positions")

    tell("strips and findings")
    findings, no_findings = strip_findings(deck, solver, envelopes)
    done("strips and findings")

    summary = summarise(
        deck,
        solver.probes,
        solver.beams,
        cases,
        envelopes,
        [finding.entry() for finding in findings],
        model_facts(built, solver, envelopes),
    )
    return Result(deck, built, solver, cases, envelopes, findings, no_findings, summary, seconds)


def model_facts(built: BuiltModel, solver: Solver, envelopes: Envelopes | None) -> dict[str, Any]:
    """Size of the model and of the job, for summary and report."""
    mesh = built.model.mesh
    return {
        "order": mesh.order,
        "size_m": built.size,
        "cells": mesh.n_cells,
        "degrees_of_freedom": built.model.n_dof,
        "result_points": solver.recovery.points.n_points,
        "load_positions": 0 if envelopes is None else envelopes.n_positions,
        "notes": list(built.notes),
    }
