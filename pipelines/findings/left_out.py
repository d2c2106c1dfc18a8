"""What the comparison of strip and plate leaves out: governing values with no strip beside them.

Sections are read where hand strips are asked: in bays, over lines, along edges, beside supports.
The plate governs where it likes. Every governing value of a moment or a shear is either read at a
section with a strip beside it, or it is left out here, with where it lies and why.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from pipelines.deck.deck import Deck
from pipelines.deck.words import place
from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.envelopes.peaks import SHEARS, Peak
from pipelines.findings.finding import Finding, under
from pipelines.units import RESULT_SCALE
from plate.conventions import RESULTS

# Values nearer to each other are one and the same.
TIE = 1e-9
W, M_XY = RESULTS.index("w"), RESULTS.index("m_xy")


@dataclass(frozen=True, kw_only=True)
class LeftOut:
    """A governing value that no strip is compared with.

    load : name of the load model or vehicle. zone : where it lies, in words. reason : why no strip
    is compared.
    """

    load: str
    peak: Peak
    zone: str
    reason: str

    def entry(self) -> dict[str, Any]:
        """The value in the units of summary.json."""
        return {
            "load": self.load,
            "result": self.peak.result,
            "extreme": self.peak.extreme,
            "unit": self.peak.unit,
            "value": self.peak.value,
            "at_m": list(self.peak.at),
            "zone": self.zone,
            "reason": self.reason,
        }


def left_out(
    deck: Deck,
    cases: Sequence[tuple[TrafficEnvelope, Sequence[Peak]]],
    findings: Sequence[Finding],
) -> tuple[LeftOut, ...]:
    """The governing values that no finding compares, of each case of traffic with its own; nothing
    where there are no findings at all."""
    if not findings:
        return ()
    return tuple(
        one for envelope, peaks in cases for one in _of_case(deck, envelope, peaks, findings)
    )


def beyond(
    finding: Finding, findings: Sequence[Finding], others: Sequence[LeftOut]
) -> Finding | LeftOut | None:
    """What the plate has elsewhere under the same load that is larger than the strip's value of a
    finding: the largest of the findings and of what is left out; None where the strip's is."""
    assert finding.hand.value is not None
    component, sign = finding.section.component, finding.section.sign
    found: list[tuple[float, Finding | LeftOut]] = [
        (abs(row.plate.peak), row) for row in under(finding.load, component, sign, findings)
    ]
    found += [
        (abs(row.peak.value) / RESULT_SCALE[component], row)
        for row in others
        if (row.load, row.peak.component, row.peak.sign) == (finding.load, component, sign)
    ]
    size, most = max(found, key=lambda pair: pair[0])
    own = max(abs(finding.hand.value), abs(finding.plate.peak))
    return most if size > own * (1.0 + TIE) else None


def _of_case(
    deck: Deck, envelope: TrafficEnvelope, peaks: Sequence[Peak], findings: Sequence[Finding]
) -> Iterator[LeftOut]:
    for peak in peaks:
        if peak.component == W or peak.position is None:
            continue
        load = envelope.name if envelope.whole else peak.position.lanes[0].kind
        rows = under(load, peak.component, peak.sign, findings)
        here = [row for row in rows if peak.point in row.section.points]
        # A section beside field points is read where it lies, not at the points, and as fields are,
        # not at the edge of a wheel.
        e = envelope.fields.extremes
        values = e.maximum if peak.sign > 0 else e.minimum
        least = abs(float(values[peak.component, peak.point])) * (1.0 - TIE)
        if any(one.ratio is not None and abs(one.plate.peak) >= least for one in here):
            continue
        reason = _reason(peak, here)
        yield LeftOut(load=load, peak=peak, zone=place(deck, peak.at), reason=reason)


def _reason(peak: Peak, here: Sequence[Finding]) -> str:
    reasons = list(dict.fromkeys(one.hand.reason for one in here if one.hand.reason))
    if reasons:
        return "; ".join(reasons)
    if peak.component == M_XY:
        return "strips have no twisting moment"
    if peak.component in SHEARS:
        return "strips are asked for shear at one distance from their lines, clear of edges"
    if peak.sign < 0:
        return "strips are asked for hogging over their own lines alone"
    return "strips are asked for sagging in bays and along edges alone"
