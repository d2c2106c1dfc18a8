"""The same deck gives the same numbers, run after run and on any number of threads."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from pipelines.analysis import analyse
from pipelines.responses import BLOCK
from pipelines.traffic import position_count
from tests.pipelines.small_decks import BEAMS, PLAN, PROBES, SLAB, TRAFFIC, deck_of

COARSE = "[mesh]\nsize_m = 1.5\norder = 2\n"


def leaves(node: Any, path: str = "") -> Iterator[tuple[str, Any]]:
    """Every value below a node of a summary with its path."""
    if isinstance(node, dict | list):
        for key, below in node.items() if isinstance(node, dict) else enumerate(node):
            yield from leaves(below, f"{path}.{key}")
    else:
        yield path, node


@pytest.mark.slow
def test_numbers_are_those_of_the_run_before_and_of_other_threads(tmp_path: Path) -> None:
    few = TRAFFIC.replace("step_m = 0.5", "step_m = 0.4").replace("lateral_step_m = 0.4", "")
    deck = deck_of(tmp_path, SLAB, PLAN, BEAMS, few, PROBES, COARSE)
    assert position_count(deck) > BLOCK  # something for each of two threads
    once, again, two = (
        analyse(deck, threads=n, tolerances_wanted=False).summary for n in (1, 1, 2)
    )
    assert json.dumps(once, sort_keys=True) == json.dumps(again, sort_keys=True)
    numbers = dict(leaves(once))
    assert len(numbers) > 300
    # Rounding may differ between processors' products; nothing else.
    assert dict(leaves(two)) == {
        path: pytest.approx(v, rel=1e-10, abs=1e-12, nan_ok=True) if isinstance(v, float) else v
        for path, v in numbers.items()
    }
