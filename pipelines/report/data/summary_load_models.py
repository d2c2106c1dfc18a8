"""Envelopes of load models in the units of summary.json."""

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pipelines.accuracy.worst_arrangement import StepErrors
from pipelines.envelopes.arrangements import ModelEnvelope
from pipelines.envelopes.model_peaks import ModelPeak
from pipelines.envelopes.single_vehicles import Extremes
from pipelines.model.responses import Solver
from pipelines.units import RESULT_KEYS, RESULT_SCALE

Json = Any
Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def model_entries(
    solver: Solver,
    models: Sequence[ModelEnvelope],
    peaks: Sequence[Sequence[ModelPeak]],
    step_errors: Sequence[StepErrors] = (),
) -> dict[str, Json]:
    """Name of each load model -> its governing values, probes, beams and reactions.

    peaks : of each model its governing values. step_errors : of each model, where known.
    """
    errors: Sequence[StepErrors | None] = step_errors or [None] * len(models)
    return {
        envelope.model.name: _entry(solver, envelope, mine)
        | {"governing": [peak.entry() for peak in own]}
        for envelope, own, mine in zip(models, peaks, errors, strict=True)
    }


def _entry(solver: Solver, envelope: ModelEnvelope, errors: StepErrors | None) -> dict[str, Json]:
    probes = solver.probes
    e = envelope.probes
    named: list[dict[str, Floats]] = [probes.values(a) for a in (e.maximum, e.minimum)]
    missed = (
        None
        if errors is None
        else [probes.values(a) for a in (errors.probes_max, errors.probes_min)]
    )

    at: list[dict[str, Ints]] = [probes.values(a) for a in (e.at_maximum, e.at_minimum)]

    def entry(name: str, k: int, side: int) -> dict[str, Json]:
        value = float(named[side][name][k]) * RESULT_SCALE[k]
        one = governing(envelope, value, int(at[side][name][k]))
        error = None if missed is None else float(missed[side][name][k]) * RESULT_SCALE[k]
        return one | {"step_error": error}

    found: dict[str, Json] = {
        "source": envelope.model.source,
        "notes": list(envelope.model.notes),
        "probes": {
            name: {
                key: {extreme: entry(name, k, side) for side, extreme in enumerate(("max", "min"))}
                for k, key in enumerate(RESULT_KEYS)
            }
            for name in probes.names
        },
        "reactions": {
            name: _both(envelope, envelope.reactions, k, k)
            for k, name in enumerate(envelope.reaction_names)
        },
        "beams": {},
    }
    starts = np.cumsum([0, *(len(a) for a in solver.beams.at)])
    for beam, first, last in zip(solver.beams.names, starts[:-1], starts[1:], strict=True):
        found["beams"][beam] = {}
        for key, values in (
            ("moment_kNm", envelope.beam_moments),
            ("shear_kN", envelope.beam_shears),
        ):
            high = int(first + np.argmax(values.maximum[first:last]))
            low = int(first + np.argmin(values.minimum[first:last]))
            found["beams"][beam][key] = _both(envelope, values, high, low)
    return found


def _both(envelope: ModelEnvelope, e: Extremes, high: int, low: int) -> dict[str, Json]:
    """Maximum of one entry and minimum of another, forces in kN and moments in kNm."""
    return {
        "max": governing(envelope, 1e-3 * float(e.maximum[high]), int(e.at_maximum[high])),
        "min": governing(envelope, 1e-3 * float(e.minimum[low]), int(e.at_minimum[low])),
    }


def governing(envelope: ModelEnvelope, value: float, number: int) -> dict[str, Json]:
    """One entry: value, error (not estimated here) and the arrangement of lanes."""
    position = envelope.position(number)
    if position is None:
        return {"value": value, "error": None, "factor": None, "lanes": []}
    lanes = [lane.entry() for lane in position.lanes]
    return {"value": value, "error": None, "factor": position.factor, "lanes": lanes}
