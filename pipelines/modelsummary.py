"""Envelopes of load models in the units of summary.json."""

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pipelines.envelopes import Extremes
from pipelines.modelpositions import LaneAt, ModelEnvelope
from pipelines.responses import Solver
from pipelines.units import RESULT_KEYS, RESULT_SCALE

Json = Any
Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def model_entries(
    solver: Solver,
    models: Sequence[ModelEnvelope],
    step_errors: Sequence[tuple[Floats, Floats]] | None = None,
) -> dict[str, Json]:
    """Name of each load model -> its governing values, probes, beams and reactions.

    step_errors : of each model those of the probes' maxima and minima (6 n_probe,), as
        `worstmodel.model_step_errors` gives them.
    """
    errors: Sequence[tuple[Floats, Floats] | None] = step_errors or [None] * len(models)
    return {
        envelope.model.name: _entry(solver, envelope, mine)
        for envelope, mine in zip(models, errors, strict=True)
    }


def _entry(
    solver: Solver, envelope: ModelEnvelope, errors: tuple[Floats, Floats] | None
) -> dict[str, Json]:
    probes = solver.probes
    e = envelope.probes
    named: list[dict[str, Floats]] = [probes.values(a) for a in (e.maximum, e.minimum)]
    missed = None if errors is None else [probes.values(a) for a in errors]

    at: list[dict[str, Ints]] = [probes.values(a) for a in (e.at_maximum, e.at_minimum)]

    def entry(name: str, k: int, side: int) -> dict[str, Json]:
        value = float(named[side][name][k]) * RESULT_SCALE[k]
        one = governing(envelope, value, int(at[side][name][k]))
        error = None if missed is None else float(missed[side][name][k]) * RESULT_SCALE[k]
        return one | {"step_error": error}

    found: dict[str, Json] = {
        "source": envelope.model.source,
        "notes": list(envelope.model.notes),
        "governing": _peaks(solver, envelope),
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


def _peaks(solver: Solver, envelope: ModelEnvelope) -> list[dict[str, Json]]:
    """Largest and smallest w, m_x, m_y and m_xy over the deck with their places."""
    plan = solver.recovery.points.plan
    e = envelope.fields.extremes
    found = []
    for k, key in enumerate(RESULT_KEYS[:4]):
        for extreme, sign, values, at in (
            ("max", 1.0, e.maximum[k], e.at_maximum[k]),
            ("min", -1.0, e.minimum[k], e.at_minimum[k]),
        ):
            point = int(np.argmax(sign * values))
            entry = governing(envelope, float(values[point]) * RESULT_SCALE[k], int(at[point]))
            place = [float(v) for v in plan[point]]
            found.append({"result": key, "extreme": extreme, "at_m": place, **entry})
    return found


def governing(envelope: ModelEnvelope, value: float, number: int) -> dict[str, Json]:
    """One entry: value, error (not estimated here) and the arrangement of lanes."""
    position = envelope.position(number)
    if position is None:
        return {"value": value, "error": None, "factor": None, "lanes": []}
    lanes = [_lane(lane) for lane in position.lanes]
    return {"value": value, "error": None, "factor": position.factor, "lanes": lanes}


def _lane(lane: LaneAt) -> dict[str, Json]:
    at = lane.position
    return {
        "lane": lane.kind,
        "factor": lane.factor,
        "vehicle": None if at is None else at.vehicle,
        "direction": None if at is None else at.direction,
        "station_m": None if at is None else round(at.station, 9),
        "offset_m": None if at is None else round(at.offset, 9),
        "spread_m": None if at is None else round(at.spread, 9),
    }
