"""The packaged decks for comparison: each hand strip fails for the reason that the file names, and
the reconciliation shows that reason as the step that matters."""

from itertools import pairwise

import pytest

from pipelines.analysis import analyse
from pipelines.deck.examples import EXAMPLES
from pipelines.deck.reading.deck_file import read_deck
from pipelines.findings.finding import Verdict
from pipelines.findings.reconciliation.walk import Reconciliation


def largest_step(walk: Reconciliation) -> str:
    """The change after the exact plate that moves the searched value most, away from zero."""
    steps = walk.forward[1:]
    sign = 1.0 if walk.finding.plate.peak > 0.0 else -1.0
    gains = {
        after.title: sign * (after.searched - before.searched) for before, after in pairwise(steps)
    }
    return max(gains, key=lambda title: gains[title])


@pytest.mark.slow
@pytest.mark.parametrize(
    ("example", "kind", "verdict", "step"),
    [
        ("estuary", "transverse", Verdict.SHORT, "cross lines yield: their beams bend"),
        ("girders", "edge", Verdict.SHORT, "finite length, joint edges free"),
        # the strip has no moment there
        ("skew", "corner", Verdict.NOT_COMPARABLE, "plan as built: skew, curve, taper"),
    ],
)
def test_the_strip_fails_for_the_reason_named(
    example: str, kind: str, verdict: Verdict, step: str
) -> None:
    path = EXAMPLES[example]
    result = analyse(read_deck(path))
    [walk] = [w for w in result.reconciliations if w.finding.section.kind == kind]
    assert walk.finding.verdict is verdict
    assert largest_step(walk) == step
    # the walk ends at the plate's peak and its models agree with the main analysis
    assert walk.forward[-1].searched == walk.finding.plate.peak
    assert walk.closing <= 0.01 * abs(walk.finding.plate.peak)
