"""The finished run that report, figures and views read."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from html import escape

from pipelines.accuracy.stated_probes import StatedProbe
from pipelines.accuracy.tolerances import CaseTolerances, Tolerances
from pipelines.bars.adequacy import StandardVerdict
from pipelines.bars.cracked import CrackedSum
from pipelines.bars.design import Design
from pipelines.bars.schedule.marks import Schedule
from pipelines.bars.verdicts import verdicts
from pipelines.deck.deck import Deck
from pipelines.envelopes.columns import field_columns
from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.envelopes.means import MeanCurve
from pipelines.envelopes.peaks import Peak
from pipelines.envelopes.unread import Unread
from pipelines.envelopes.uplift import UpliftFindings
from pipelines.findings.back_figured_widths import BackWidth
from pipelines.findings.effects import EffectFinding, effect_findings
from pipelines.findings.finding import Finding
from pipelines.findings.left_out import LeftOut
from pipelines.findings.reconciliation.walk import Reconciliation
from pipelines.loadtest.outcome import Outcome
from pipelines.model.build import BuiltModel
from pipelines.model.responses import Response, SolvedDeck
from plate.arrays import Floats


@dataclass(frozen=True, eq=False, kw_only=True)
class TrafficResult:
    """What was found under one case of traffic: a load model, or the vehicles that drive alone.

    envelope : of all but the probes, each of which has its own, with its tolerances, in `probes`.
    governing : its governing values; uncertain : those that may be wrong by more than themselves;
    unread : larger moments beside places of infinite moments; tolerances : of both and of the rest;
    mean_curves : of the governing values; uplift : supports in tension and values without it.
    """

    envelope: TrafficEnvelope
    probes: tuple[StatedProbe, ...]
    governing: tuple[Peak, ...]
    uncertain: tuple[Peak, ...]
    unread: tuple[Unread, ...]
    tolerances: Tolerances
    mean_curves: tuple[MeanCurve, ...]
    uplift: UpliftFindings

    @property
    def name(self) -> str:
        return self.envelope.name


@dataclass(frozen=True, repr=False, eq=False, kw_only=True)
class Result:
    """A finished run.

    cases : static case name -> response (one load each), with case_tolerances.
    traffic : what was found under every case of traffic, load models first; empty without traffic.
    no_findings : why there are none, "" otherwise. left_out : governing values that no strip is
    compared with.
    widths : back-figured from the findings; reconciliations : of the governing ones.
    design, schedule : the reinforcement judged, its bars as they are bent and placed; None for a
    deck without bars.
    load_tests : measured beside computed, nothing sought. cracked : sums of static cases with the
    stiffness that cracks leave the slab. seconds : stage -> wall time [s].
    """

    deck: Deck
    built: BuiltModel
    solved: SolvedDeck
    cases: Mapping[str, Response]
    case_tolerances: CaseTolerances
    traffic: tuple[TrafficResult, ...]
    findings: tuple[Finding, ...]
    no_findings: str
    left_out: tuple[LeftOut, ...]
    widths: tuple[BackWidth, ...]
    reconciliations: tuple[Reconciliation, ...]
    design: Design | None
    schedule: Schedule | None
    load_tests: tuple[Outcome, ...]
    cracked: tuple[CrackedSum, ...]
    seconds: Mapping[str, float]

    @property
    def leading(self) -> TrafficResult | None:
        """The case of traffic that the report is about: the first load model, else the vehicles
        that drive alone; None without traffic."""
        return self.traffic[0] if self.traffic else None

    @property
    def alone(self) -> TrafficResult | None:
        """What was found of the vehicles that drive alone; None where there are none."""
        return next((case for case in self.traffic if not case.envelope.whole), None)

    @property
    def governing(self) -> tuple[Peak, ...]:
        """The governing values of the leading case of traffic."""
        return () if self.leading is None else self.leading.governing

    @cached_property
    def effects(self) -> tuple[EffectFinding, ...]:
        """What was found of each effect of the strip; empty without strips."""
        return effect_findings(self.findings, self.left_out, self.reconciliations, self.widths)

    @property
    def verdicts(self) -> tuple[StandardVerdict, ...]:
        """What the bars come to by every standard; empty for a deck without bars.

        Findings count where moments are to be read: not near places of infinite moments.
        """
        if self.design is None or self.schedule is None:
            return ()
        readable = self.solved.readable
        read = [finding for finding in self.findings if readable[finding.plate.point]]
        return verdicts(self.deck, self.design, read, self.schedule)

    @property
    def columns(self) -> dict[str, Floats]:
        """Fields at the result points as named columns (n_point,): station_m and offset_m, then
        those of fields.vtu by the same names, units in them."""
        station, offset = self.solved.recovery.points.plan.T
        fields = field_columns(self.cases, [case.envelope for case in self.traffic])
        return {"station_m": station, "offset_m": offset, **fields}

    def __repr__(self) -> str:
        loads = ", ".join((*self.cases, *(case.name for case in self.traffic)))
        return f"<Result of {self.deck.title} in N, m: {loads}>"

    def _repr_html_(self) -> str:
        """What a notebook shows: the governing values with their load positions."""
        rows = [
            (
                peak.result,
                peak.extreme,
                _stated(peak.value, peak.error, peak.unit),
                peak.at,
                "–" if peak.position is None else f"{case.name}: {peak.position.words}",
            )
            for case in self.traffic
            for peak in case.governing
        ]
        heads = ("Result", "", "Value", "Station, offset [m]", "Load position [m]")
        cells = [
            [*check_row[:3], f"{check_row[3][0]:.2f}, {check_row[3][1]:.2f}", check_row[4]]
            for check_row in rows
        ]
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
