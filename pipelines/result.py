"""The finished run that report, figures and views read."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pipelines.accuracy.tolerances import Tolerances
from pipelines.bars.design import Design
from pipelines.deck.deck import Deck
from pipelines.envelopes.arrangements import ModelEnvelope
from pipelines.envelopes.model_peaks import ModelPeak
from pipelines.envelopes.peaks import Governing
from pipelines.envelopes.single_vehicles import Envelopes
from pipelines.findings.back_figured_widths import BackWidth
from pipelines.findings.finding import Finding
from pipelines.findings.reconciliation.walk import Reconciliation
from pipelines.model.build import BuiltModel
from pipelines.model.responses import Response, Solver
from pipelines.report.data.fields_vtu import field_columns
from pipelines.report.page import SYMBOLS, table, text
from pipelines.units import RESULT_KEYS

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Result:
    """A finished run.

    cases : static case name -> response (one load each); envelopes : None without traffic.
    no_findings : why there are none, "" otherwise.
    summary : what summary.json holds; seconds : stage -> wall time [s].
    design : the reinforcement judged, None for a deck without bars.
    widths : back-figured from the findings; reconciliations : of the governing ones.
    models : envelopes of the load models; model_peaks : of each its governing values.
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
    summary: dict[str, Any]
    seconds: dict[str, float]
    design: Design | None = None
    widths: tuple[BackWidth, ...] = ()
    reconciliations: tuple[Reconciliation, ...] = ()
    models: tuple[ModelEnvelope, ...] = ()
    model_peaks: tuple[tuple[ModelPeak, ...], ...] = ()

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
            where = "–"
            if peak.position is not None:
                at = peak.position
                where = f"{at.vehicle}, {at.direction}, {at.station:.2f}, {at.offset:.2f}"
            error = "" if peak.error is None else f" ± {peak.error:.2g}"
            value = f"{peak.value:.3g}{error} {peak.unit}"
            place = f"{peak.at[0]:.2f}, {peak.at[1]:.2f}"
            rows.append([SYMBOLS[peak.result], peak.extreme, value, place, text(where)])
        for one in (peak for own in self.model_peaks for peak in own):
            error = "" if one.whole_error is None else f" ± {one.whole_error:.2g}"
            rows.append(
                [
                    SYMBOLS[RESULT_KEYS[one.component].removesuffix("_mm")],
                    one.extreme,
                    f"{one.value:.3g}{error} {one.unit}",
                    f"{one.at[0]:.2f}, {one.at[1]:.2f}",
                    text(f"{one.position.model}: {one.position.words}"),
                ]
            )
        heads = ["Result", "", "Value", "Station, offset [m]", "Load position [m]"]
        return table(f"{self.deck.title}: governing values", heads, rows, numeric=(2,))
