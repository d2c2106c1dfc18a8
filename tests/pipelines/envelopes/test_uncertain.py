"""A governing value that may be wrong by more than itself is none: it is told as left out."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from pipelines.accuracy.refinement import relative_errors
from pipelines.accuracy.tolerances import Tolerances, traffic_tolerances
from pipelines.analysis import analyse as analysis
from pipelines.envelopes.tolerance import Tolerance
from pipelines.report.data.summary import summary
from pipelines.report.sections.tables import governing_table, uncertain_words
from tests.pipelines.small_decks import small_deck


def test_a_value_below_its_own_error_is_left_out_with_a_word(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    deck = small_deck(tmp_path)

    def wrong(*args: Any) -> tuple[Tolerances, ...]:
        """m_x max and w max may be wrong by 1.01 and by 0.99 of themselves, the rest by nothing."""
        shares = {("m_x", "max"): 1.01, ("w", "max"): 0.99}
        scale = {"w": 1e-3}
        peaks = tuple(
            Tolerance(
                mesh=shares.get((p.result, p.extreme), 0.0)
                * abs(p.value)
                * scale.get(p.result, 1e3),
                step=0.0,
            )
            for p in args[1][0].peaks
        )
        [own] = traffic_tolerances(*args)
        return (replace(own, peaks=peaks),)

    monkeypatch.setattr(analysis, "traffic_tolerances", wrong)
    result = analysis.analyse(deck, tolerances_wanted=False)
    [one] = result.traffic
    [gone] = one.uncertain
    assert (gone.result, gone.extreme) == ("m_x", "max")
    assert len(one.governing) == 11
    assert ("w", "max") in {(p.result, p.extreme) for p in one.governing}
    assert len(governing_table(result, one).rows) == 11
    assert uncertain_words(one).startswith(
        "Left out, as uncertain by more than themselves: m_x max"
    )
    told = summary(result)
    assert [entry["result"] for entry in told["uncertain"]] == ["m_x"]
    assert len(told["governing"]) == 11
    # Refining does not end because a value is not told.
    assert relative_errors(result)[f"m_x max, {one.envelope.name}"] == pytest.approx(1.01)
