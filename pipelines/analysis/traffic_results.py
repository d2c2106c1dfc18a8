"""What a run tells of every case of traffic beside its envelope."""

from collections.abc import Mapping, Sequence

from pipelines.accuracy.tolerances import Tolerances
from pipelines.accuracy.worst_envelope import WorstEnvelope
from pipelines.analysis.result import TrafficResult
from pipelines.envelopes.means import mean_curves
from pipelines.envelopes.peaks import that_count
from pipelines.envelopes.unread import unread_moments
from pipelines.envelopes.uplift import uplift_findings
from pipelines.model.responses import Response, SolvedDeck


def traffic_results(
    solved: SolvedDeck,
    cases: Mapping[str, Response],
    worst: Sequence[WorstEnvelope],
    tolerances: Sequence[Tolerances],
) -> tuple[TrafficResult, ...]:
    """Governing values of every case of traffic with their tolerances, and what is read beside
    them, but the probes."""
    found = []
    for one, own in zip(worst, tolerances, strict=True):
        envelope = one.envelope
        peaks = tuple(
            peak.with_tolerance(stated) for peak, stated in zip(one.peaks, own.peaks, strict=True)
        )
        governing = tuple(peak for peak in that_count(peaks) if peak.is_known)
        found.append(
            TrafficResult(
                envelope=envelope,
                probes=(),
                governing=governing,
                uncertain=tuple(peak for peak in peaks if not peak.is_known),
                unread=unread_moments(solved, envelope, that_count(peaks)),
                tolerances=own,
                mean_curves=mean_curves(solved, governing),
                uplift=uplift_findings(solved, cases, envelope, governing),
            )
        )
    return tuple(found)
