"""What a run makes of its findings: their tolerances, the walks of those that govern, what they use
of the bars."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

from pipelines.accuracy.tolerances import Yardsticks, held_mesh_parts
from pipelines.analysis.result import TrafficResult
from pipelines.bars.checks.findings_utilisation import with_utilisation
from pipelines.deck.deck import Deck
from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.findings.finding import Finding
from pipelines.findings.left_out import LeftOut, left_out
from pipelines.findings.reconciliation.walk import (
    Reconciliation,
    governing_findings,
    reconcile,
)
from pipelines.model.cache import ModelCache
from pipelines.model.responses import Response, SolvedDeck
from pipelines.system.beside import Doer, here


def with_tolerances(
    solved: SolvedDeck, findings: Sequence[Finding], measured: Yardsticks | None
) -> tuple[Finding, ...]:
    """The findings with the errors that are stated of the plate's values; not a number where
    nothing was measured."""
    if measured is None:
        errors = [float("nan")] * len(findings)
    else:
        errors = held_mesh_parts(solved, [finding.plate for finding in findings], measured)
    return tuple(
        replace(finding, plate=replace(finding.plate, error=error))
        for finding, error in zip(findings, errors, strict=True)
    )


def walks_of(
    deck: Deck,
    envelopes: Sequence[TrafficEnvelope],
    findings: Sequence[Finding],
    models: ModelCache,
    apart: Doer,
) -> tuple[Reconciliation, ...]:
    """The walks of findings, wherever they are walked; models : where equal models are found
    here."""
    if apart is here:
        return reconcile(deck, envelopes, findings, models)
    return apart(reconcile, deck, envelopes, findings)


def by_strip(findings: Sequence[Finding]) -> list[list[Finding]]:
    """The findings of each direction of the strip, which their walks share decks with."""
    found: dict[str, list[Finding]] = {}
    for one in findings:
        found.setdefault(one.bars, []).append(one)
    return list(found.values())


def with_their_findings(
    walked: Sequence[Sequence[Reconciliation]], findings: Sequence[Finding]
) -> tuple[Reconciliation, ...]:
    """The walks of the run's findings, of which those of each strip were walked, with their
    tolerances; in the order of `governing_findings`."""
    governing = governing_findings(findings)
    found = [
        walk.of(finding)
        for some, mine in zip(walked, by_strip(governing), strict=True)
        for walk, finding in zip(some, mine, strict=False)  # none where nothing can be walked
    ]
    return tuple(sorted(found, key=lambda walk: governing.index(walk.finding)))


def with_uses(
    solved: SolvedDeck,
    cases: Mapping[str, Response],
    findings: Sequence[Finding],
    traffic: Sequence[TrafficResult],
) -> tuple[tuple[Finding, ...], tuple[LeftOut, ...]]:
    """The findings with what they use of the bars, and the governing values beside no strip."""
    used = with_utilisation(solved, cases, findings)
    governing = [(case.envelope, case.governing) for case in traffic]
    return used, left_out(solved.deck, governing, used)
