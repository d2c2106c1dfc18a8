"""What the mesh and the steps may cost the values of load models."""

from collections.abc import Sequence
from dataclasses import replace
from itertools import chain

import numpy as np

from pipelines.accuracy.stated_values import rows_at, side_of
from pipelines.accuracy.tolerances import SAFETY
from pipelines.accuracy.worst_arrangement import StepErrors, model_step_errors
from pipelines.deck.deck import Deck
from pipelines.envelopes.arrangements import ModelEnvelope
from pipelines.envelopes.model_peaks import ModelPeak
from pipelines.findings.finding import Finding
from pipelines.model.build import BuiltModel, richer_model
from pipelines.model.cache import Shelf
from pipelines.model.held_loads import values_at
from pipelines.model.responses import Solver
from pipelines.traffic.positions import WheelPatches
from pipelines.units import RESULT_SCALE


def with_step_errors(
    deck: Deck, solver: Solver, envelope: ModelEnvelope, peaks: Sequence[ModelPeak]
) -> tuple[list[ModelPeak], StepErrors]:
    """The peaks with what refining their arrangements adds, and the same of the probes."""
    places = [(p.point, p.component, 1 if p.extreme == "max" else -1) for p in peaks]
    errors = model_step_errors(deck, solver, envelope, places)
    found = [
        replace(peak, step_error=float(error) * RESULT_SCALE[peak.component])
        for peak, error in zip(peaks, errors.peaks, strict=True)
    ]
    return found, errors


def with_held_tolerances(
    deck: Deck,
    built: BuiltModel,
    solver: Solver,
    findings: Sequence[Finding],
    peaks: Sequence[Sequence[ModelPeak]],
    shelf: Shelf,
) -> tuple[tuple[Finding, ...], list[list[ModelPeak]]]:
    """Findings and the peaks of every load model, those of load models with numerical tolerances:
    by the same loads on the richer mesh (`accuracy`)."""
    stiffness = shelf.stiffness(richer_model(deck, built).model)
    held: dict[int, WheelPatches] = {}
    wanted = []
    rows: list[Finding | ModelPeak] = [f for f in findings if f.whole_model]
    for one in (*rows, *chain.from_iterable(peaks)):
        assert one.held is not None
        held.setdefault(id(one.held), one.held)
        on_point = np.allclose(one.at, solver.recovery.points.plan[one.point], atol=1e-9)
        towards = side_of(solver, one.point) if on_point else one.at
        places = np.array([one.at, towards])
        row = rows_at(stiffness.model, places[:1], places[1:], [one.component])
        wanted.append((list(held).index(id(one.held)), row))
    values = (float(v[0]) for v in values_at(stiffness, list(held.values()), wanted))
    # Shears of findings are magnitudes.
    found = tuple(
        replace(f, plate_error=SAFETY * abs(abs(next(values)) - abs(f.plate_peak)))
        if f.whole_model
        else f
        for f in findings
    )
    return found, [
        [
            replace(p, error=SAFETY * abs(next(values) * RESULT_SCALE[p.component] - p.value))
            for p in own
        ]
        for own in peaks
    ]
