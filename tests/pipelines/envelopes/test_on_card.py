"""Envelopes on a card against those on the processors: a card whose arrays take none of the
host."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from pipelines.deck.deck import Deck
from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.envelopes.extremes import Extremes
from pipelines.envelopes.traffic import traffic_envelopes
from plate.arrays import Ints
from plate.errors import SizeError
from tests.card import CardArray, stand_in
from tests.pipelines.load_model_decks import model_deck
from tests.pipelines.outline_decks import BEAM, RAMP
from tests.pipelines.small_decks import MESH, SLAB, TRAFFIC, deck_of, small_deck, solver_of

# Of each component's largest: what the order of sums leaves, after the digits that stiff beams and
# shear layers cost.
SAME = 1e-10
# Shears of a beam along an oblique line, and what it hands to its holds, are differences of what a
# stiff tie holds: refining the solution changes them by more.
OF_TIES = 1e-7
# A value smaller than that share of the largest may be governed by another position that makes as
# much to rounding: ties are within 1e-9 of the value itself.
CLEAR = 1e-4

OUTLINE = TRAFFIC.replace(
    "[traffic]", "[traffic]\ncarriageway_axis_m = [[-1.0, 0.5], [9.0, 0.5]]"
).replace("carriageway_m = [-1.9, 1.9]", "carriageway_m = [-1.4, 1.4]")
HARD = """
[[line]]
name = "wall"
path_m = [[1.2, -1.8], [1.5, 2.6]]
support = "rigid"
hard = true
"""
COLUMNS = """
[plan]
stations_m = [0.0, 4.0]
offsets_m = [-2.0, 2.0]
[[line]]
on = "C1"
support = "rigid"
[[point]]
at_m = [3.1, 0.4]
support = "rigid"
[[point]]
at_m = [3.0, -1.2]
support = "rigid"
"""


def small(folder: Path) -> Deck:
    """Beams on yielding holds, rectangular cells, probes."""
    return small_deck(folder)


def columns(folder: Path) -> Deck:
    """Rigid columns."""
    return deck_of(folder, SLAB, COLUMNS, TRAFFIC, MESH)


def lanes(folder: Path) -> Deck:
    """A load model with distributed loads, its trains at every offset."""
    return model_deck(folder, "EN 1991-2 LM1")


def outline(folder: Path) -> Deck:
    """Slopes held along oblique edges, cells on arcs, whose patches the host integrates."""
    return deck_of(folder, SLAB, RAMP, BEAM, OUTLINE, HARD, MESH)


@pytest.fixture(params=[small, columns, lanes, outline], ids=lambda one: one.__name__)
def deck(request: pytest.FixtureRequest, tmp_path: Path) -> Deck:
    made: Callable[[Path], Deck] = request.param
    return made(tmp_path)


def check_extremes(mine: Extremes, other: Extremes, share: float = SAME) -> Ints:
    """That they are the same, and which maxima are governed by the same."""
    both = np.stack([other.maximum, other.minimum])
    near = share * np.abs(both).max(initial=0.0)
    np.testing.assert_allclose(np.stack([mine.maximum, mine.minimum]), both, rtol=0, atol=near)
    for values, at, there in (
        (other.maximum, mine.at_maximum, other.at_maximum),
        (other.minimum, mine.at_minimum, other.at_minimum),
    ):
        clear = np.abs(values) > CLEAR * np.abs(values).max(initial=0.0)
        np.testing.assert_array_equal(at[clear], there[clear])
    return np.asarray(mine.at_maximum == other.at_maximum)


def check_envelopes(mine: TrafficEnvelope, other: TrafficEnvelope) -> None:
    for k in range(6):
        one, two = (
            Extremes(e.maximum[k], e.minimum[k], e.at_maximum[k], e.at_minimum[k])
            for e in (mine.fields.extremes, other.fields.extremes)
        )
        same = check_extremes(one, two)
        for j in range(6):
            beside, there = (e.fields.with_maximum[k, j][same] for e in (mine, other))
            size = np.abs(other.fields.with_maximum[j]).max()
            near = np.abs(beside - there) <= SAME * size
            # A cell whose distributed load makes nothing of a result is adverse by rounding.
            assert near.all() or (mine.model.has_pressure and near.mean() > 0.95)
    for name, share in (
        ("probes", SAME),
        ("beam_moments", SAME),
        ("beam_shears", OF_TIES),
        ("reactions", OF_TIES),
    ):
        check_extremes(getattr(mine, name), getattr(other, name), share)
    np.testing.assert_array_equal(mine.arrangements, other.arrangements)


def test_envelopes_are_those_of_the_processors(deck: Deck, monkeypatch: pytest.MonkeyPatch) -> None:
    solved = solver_of(deck)
    # fewer loads than there are: several blocks have to be put together
    monkeypatch.setattr("plate.device.plate.MOST", 97)
    on_card = replace(solved, card=stand_in())
    assert on_card.on_card is not None
    here, there = traffic_envelopes(solved), traffic_envelopes(on_card)
    assert here
    for one, other in zip(there, here, strict=True):
        assert one.n_positions
        check_envelopes(one, other)


def test_a_card_too_small_for_a_block_is_refused(tmp_path: Path) -> None:
    solved = replace(solver_of(small(tmp_path)), card=stand_in(free=1e6))
    with pytest.raises(SizeError, match=r"0\.0008 GB for load positions that take 0\.\d+ GB"):
        traffic_envelopes(solved)


def test_the_stand_in_takes_no_arrays_of_the_host() -> None:
    card, host = CardArray(np.ones(3)), np.ones(3)
    for mixed in (
        lambda: card + host,
        lambda: host @ card,
        lambda: np.stack([card, host]),
        lambda: card[np.array([0, 1])],
        lambda: np.asarray(card),
        lambda: host[CardArray(np.array([0, 1]))],
    ):
        with pytest.raises((TypeError, IndexError)):
            mixed()
