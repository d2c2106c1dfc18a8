"""The finished run that report, figures and views read."""

from dataclasses import dataclass
from typing import Any

from pipelines.accuracy import Tolerances
from pipelines.build import BuiltModel
from pipelines.deck import Deck
from pipelines.design import Design
from pipelines.envelopes import Envelopes
from pipelines.findings import Finding
from pipelines.governing import Governing
from pipelines.modelpeaks import ModelPeak
from pipelines.modelpositions import ModelEnvelope
from pipelines.reconciliation import Reconciliation
from pipelines.reporthtml import SYMBOLS, table, text
from pipelines.responses import Response, Solver
from pipelines.widths import BackWidth


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
        heads = ["Result", "", "Value", "Station, offset [m]", "Load position [m]"]
        return table(f"{self.deck.title}: governing values", heads, rows, numeric=(2,))
