"""The governing values of a load model, and what the mesh and the steps may cost them."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from pipelines.deck.deck import Deck
from pipelines.envelopes.arrangements import ModelEnvelope, ModelPosition
from pipelines.envelopes.held import held_arrangements
from pipelines.envelopes.peaks import SHEARS, clear_of_lines, readable
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
