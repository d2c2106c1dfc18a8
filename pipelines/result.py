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
from pipelines.responses import Response, Solver


@dataclass(frozen=True)
class Result:
    """A finished run.

    cases : static case name -> response (one load each); envelopes : None without traffic.
    no_findings : why there are none, "" otherwise.
    summary : what summary.json holds; seconds : stage -> wall time [s].
    design : the reinforcement judged, None for a deck without bars.
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
