"""The packaged decks. Those for comparison: each hand strip fails for the reason that the file
names, and the reconciliation shows that reason as the step that matters. The one in stages and the
one under a load test: what their files say of them."""

import json
from itertools import pairwise
from pathlib import Path

import pytest

from pipelines.analysis.analyse import analyse
from pipelines.cli.main import main
from pipelines.deck.examples import EXAMPLES
from pipelines.deck.reading.deck_file import read_deck
from pipelines.findings.finding import Verdict
from pipelines.findings.reconciliation.walk import Reconciliation
from pipelines.report.data.summary import summary


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


@pytest.mark.slow
def test_the_composite_deck_goes_through_its_stages() -> None:
    """Fresh concrete by the three moments of two spans of 12 m with overhangs of 0.3 m, of all
    girders together; strains and the pier that goes down put no load on."""
    entries = summary(analyse(read_deck(EXAMPLES["composite"]), tolerances_wanted=False))
    stages = entries["stages"]
    assert list(stages) == ["wet concrete", "long-term", "shrinkage", "short-term", "all stages"]
    q = 25.0 * 0.22 * 6.6
    over_the_pier = -q * 12.0**2 / 8.0 + q * 0.3**2 / 4.0
    least = [beam["moment_min_kNm"] for beam in stages["wet concrete"]["beams"].values()]
    # half of the cells' length off the pier, and the girders' shear
    assert sum(least) == pytest.approx(over_the_pier, rel=0.03)
    assert stages["wet concrete"]["reactions"]["total_kN"] == pytest.approx(q * 24.6, rel=1e-5)
    assert stages["shrinkage"]["reactions"]["total_kN"] == pytest.approx(0.0, abs=1e-3)
    assert stages["long-term"]["modular_ratio"] == pytest.approx(18.5)
    design = entries["sums"]["design, crowd leading"]["factors"]
    assert design["warm top"] == 0.9


@pytest.mark.slow
def test_the_load_test_finds_what_its_readings_were_made_with(tmp_path: Path) -> None:
    """The factors that the file names; seed and noise are its own."""
    assert main(["loadtest", "load-test", "--out", str(tmp_path)]) == 0
    found = json.loads((tmp_path / "loadtest.json").read_text(encoding="utf-8"))
    assert found["residual_too_large"] is False
    for one, true in zip(found["found"], (0.85, 1.20, 0.75), strict=True):
        assert one["low"] < true < one["high"]
