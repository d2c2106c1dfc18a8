"""The finished run that report, figures and views read."""

from dataclasses import dataclass
from html import escape

import numpy as np
from numpy.typing import NDArray

from pipelines.accuracy.tolerances import Tolerances
from pipelines.accuracy.worst_arrangement import StepErrors
from pipelines.bars.design import Design
from pipelines.deck.deck import Deck
from pipelines.envelopes.arrangements import ModelEnvelope
from pipelines.envelopes.columns import field_columns
from pipelines.envelopes.means import MeanCurve
from pipelines.envelopes.model_peaks import ModelPeak
from pipelines.envelopes.peaks import Governing
from pipelines.envelopes.single_vehicles import Envelopes
from pipelines.envelopes.uplift import UpliftFindings
from pipelines.findings.back_figured_widths import BackWidth
from pipelines.findings.finding import Finding
from pipelines.findings.reconciliation.walk import Reconciliation
from pipelines.model.build import BuiltModel
from pipelines.model.responses import Response, Solver
from pipelines.units import RESULT_KEYS

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Result:
    """A finished run.

    cases : static case name -> response (one load each); envelopes : None without traffic.
    no_findings : why there are none, "" otherwise.
    seconds : stage -> wall time [s].
    design : the reinforcement judged, None for a deck without bars.
    widths : back-figured from the findings; reconciliations : of the governing ones.
    models : envelopes of the load models; model_peaks : of each its governing values, and
    model_steps : what its steps may miss, where it was asked.
    mean_curves : of the governing values; uplift : supports in tension and values without it.
    """

    deck: Deck
    built: BuiltModel
    solver: Solver
    cases: dict[str, Response]
    envelopes: Envelopes | None
    governing: tuple[Governing, ...]
    findings: tuple[Finding, ...]
    no_findings: str
    tolerances: Tolerances
    seconds: dict[str, float]
    design: Design | None = None
    widths: tuple[BackWidth, ...] = ()
    reconciliations: tuple[Reconciliation, ...] = ()
    models: tuple[ModelEnvelope, ...] = ()
    model_peaks: tuple[tuple[ModelPeak, ...], ...] = ()
    model_steps: tuple[StepErrors, ...] = ()
    mean_curves: tuple[MeanCurve, ...] = ()
    uplift: UpliftFindings | None = None

    @property
    def columns(self) -> dict[str, Floats]:
        """Fields at the result points as named columns (n_point,): station_m and offset_m, then
        those of fields.vtu by the same names, units in them."""
        station, offset = self.solver.recovery.points.plan.T
        fields = field_columns(self.cases, self.envelopes, self.models)
        return {"station_m": station, "offset_m": offset, **fields}

    def _repr_html_(self) -> str:
        """What a notebook shows: the governing values with their load positions."""
        rows = []
        for peak in self.governing:
            at = peak.position
            where = (
                "–"
                if at is None
                else f"{at.vehicle}, {at.direction}, {at.station:.2f}, {at.offset:.2f}"
            )
            value = _stated(peak.value, peak.error, peak.unit)
            rows.append((peak.result, peak.extreme, value, peak.at, where))
        for one in (peak for own in self.model_peaks for peak in own):
            name = RESULT_KEYS[one.component].removesuffix("_mm")
            where = f"{one.position.model}: {one.position.words}"
            value = _stated(one.value, one.whole_error, one.unit)
            rows.append((name, one.extreme, value, one.at, where))
        heads = ("Result", "", "Value", "Station, offset [m]", "Load position [m]")
        cells = [[*one[:3], f"{one[3][0]:.2f}, {one[3][1]:.2f}", one[4]] for one in rows]
        return "".join(
            (
                f"<table><caption>{escape(self.deck.title)}: governing values</caption>",
                "<tr>" + "".join(f"<th>{head}</th>" for head in heads) + "</tr>",
                *(
                    "<tr>" + "".join(f"<td>{escape(c)}</td>" for c in row) + "</tr>"
                    for row in cells
                ),
                "</table>",
            )
        )


def _stated(value: float, error: float | None, unit: str) -> str:
    return f"{value:.3g} {unit}" if error is None else f"{value:.3g} ± {error:.2g} {unit}"
