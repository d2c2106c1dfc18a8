"""The governing values of a load model, and what the mesh and the steps may cost them."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import chain
from typing import Any

import numpy as np

from pipelines.accuracy.stated_values import rows_at, side_of
from pipelines.accuracy.tolerances import SAFETY, richer_model
from pipelines.accuracy.worst_arrangement import StepErrors, model_step_errors
from pipelines.deck.deck import Deck
from pipelines.envelopes.arrangements import ModelEnvelope, ModelPosition
from pipelines.envelopes.peaks import SHEARS, clear_of_lines, readable
from pipelines.findings.compare import held_arrangements
from pipelines.findings.finding import Finding
from pipelines.model.build import BuiltModel
from pipelines.model.cache import Shelf
from pipelines.model.held_loads import values_at
from pipelines.model.responses import Solver
from pipelines.traffic.positions import WheelPatches
from pipelines.units import RESULT_KEYS, RESULT_SCALE, RESULT_UNITS


@dataclass(frozen=True)
class ModelPeak:
    """One peak over the deck in the units of the report.

    component, point : index in RESULTS and field point; at : its plan point [m].
    coexisting : the six results there in the same arrangement.
    number : of the arrangement; held : its loads. error : numerical tolerance; step_error : by how
    much the arrangement refined continuously exceeds it; same unit, None until estimated.
    """

    component: int
    extreme: str
    value: float
    point: int
    number: int
    at: tuple[float, float]
    position: ModelPosition
    coexisting: tuple[float, ...]
    held: WheelPatches
    error: float | None = None
    step_error: float | None = None

    @property
    def unit(self) -> str:
        return RESULT_UNITS[self.component]

    @property
    def whole_error(self) -> float | None:
        """Both parts together."""
        parts = [e for e in (self.error, self.step_error) if e is not None]
        return sum(parts) if parts else None

    def entry(self) -> dict[str, Any]:
        """The peak as an entry of summary.json."""
        return {
            "result": RESULT_KEYS[self.component],
            "extreme": self.extreme,
            "unit": self.unit,
            "value": self.value,
            "error": self.error,
            "step_error": self.step_error,
            "at_m": list(self.at),
            "factor": self.position.factor,
            "lanes": [lane.entry() for lane in self.position.lanes],
        }


def model_peaks(deck: Deck, solver: Solver, envelope: ModelEnvelope) -> list[ModelPeak]:
    """Maximum and minimum of w, m_x, m_y, m_xy, q_x, q_y over the deck, where they are not zero.

    What is read where is as in `governing`.
    """
    plan = solver.recovery.points.plan
    everywhere = readable(solver, deck.slab.thickness)
    clear = everywhere & clear_of_lines(solver, deck.slab.thickness)
    e = envelope.fields
    found = []
    for k in range(len(RESULT_KEYS)):
        allowed = np.flatnonzero(clear if k in SHEARS and clear.any() else everywhere)
        for extreme, sign, values, at, coexisting in (
            ("max", 1, e.extremes.maximum, e.extremes.at_maximum, e.with_maximum),
            ("min", -1, e.extremes.minimum, e.extremes.at_minimum, e.with_minimum),
        ):
            point = int(allowed[np.argmax(sign * values[k, allowed])])
            number = int(at[k, point])
            position = envelope.position(number)
            if position is None:
                continue
            [held] = held_arrangements(deck, solver, envelope, [(point, k, sign, number)])
            found.append(
                ModelPeak(
                    k,
                    extreme,
                    float(values[k, point]) * RESULT_SCALE[k],
                    point,
                    number,
                    (float(plan[point, 0]), float(plan[point, 1])),
                    position,
                    tuple((coexisting[k, :, point] * RESULT_SCALE).tolist()),
                    held,
                )
            )
    return found


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
