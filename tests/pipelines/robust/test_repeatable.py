"""The same deck gives the same numbers, run after run and on any number of threads."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from pipelines.analysis.analyse import analyse
from pipelines.deck.deck import Deck
from pipelines.report.data.summary import summary
from pipelines.traffic.positions import load_positions
from pipelines.traffic.trains import load_count
from plate.solver.stiffness import BLOCK
from tests.pipelines.robust.whole_decks import ALL
from tests.pipelines.small_decks import BEAMS, COARSE, PLAN, PROBES, SLAB, TRAFFIC, deck_of


def leaves(node: Any, path: str = "") -> Iterator[tuple[str, Any]]:
    """Every value below a node of a summary with its path."""
    if isinstance(node, dict | list):
        for key, below in node.items() if isinstance(node, dict) else enumerate(node):
            yield from leaves(below, f"{path}.{key}")
    else:
        yield path, node


def numbers(deck: Deck) -> dict[str, Any]:
    """Every value of the summary of a deck, which one thread finds again to the last digit and two
    threads to 1e-10."""
    once, again, two = (
        summary(analyse(deck, threads=n, tolerances_wanted=False)) for n in (1, 1, 2)
    )
    assert json.dumps(once, sort_keys=True) == json.dumps(again, sort_keys=True)
    found = dict(leaves(once))
    # Rounding may differ between processors' products; nothing else.
    assert dict(leaves(two)) == {
        path: pytest.approx(v, rel=1e-10, abs=1e-12, nan_ok=True) if isinstance(v, float) else v
        for path, v in found.items()
    }
    return found


@pytest.mark.slow
def test_numbers_are_those_of_the_run_before_and_of_other_threads(tmp_path: Path) -> None:
    few = TRAFFIC.replace("step_m = 0.5", "step_m = 0.4").replace("lateral_step_m = 0.4", "")
    deck = deck_of(tmp_path, SLAB, PLAN, BEAMS, few, PROBES, COARSE)
    assert sum(map(len, load_positions(deck))) > BLOCK  # something for each of two threads
    assert len(numbers(deck)) > 300


@pytest.mark.slow
def test_so_are_those_of_load_models_and_bars(tmp_path: Path) -> None:
    deck = deck_of(tmp_path, ALL, PROBES)
    assert (
        sum(load_count(deck, one) for one in deck.traffic.load_models) > 100
    )  # in many blocks: one at least for every train and offset
    found = numbers(deck)
    for part in (".load_models", ".design", ".findings", ".governing"):
        assert any(path.startswith(part) for path in found), part
