"""What of a deck file the conditions of arching are judged by."""

import tomllib
from dataclasses import replace
from types import SimpleNamespace
from typing import Any, cast

import pytest

from pipelines.bars.checks.arching import ArchingCheck, arching_check
from pipelines.bars.checks.part import PartChecks
from pipelines.deck.deck import Deck
from pipelines.deck.reading.deck_file import deck_of
from pipelines.deck.starters import starter


def part(deck: Deck, wheel: tuple[float, tuple[float, float]] | None) -> PartChecks:
    """What is looked at of a part's checks: materials, bars and the wheel that governs punching."""
    reinforcement = deck.required_reinforcement
    at = None if wheel is None else SimpleNamespace(load=wheel[0], sides=wheel[1])
    found: Any = SimpleNamespace(basis=reinforcement.bases[0], bars=reinforcement.bars, punching=at)
    return cast(PartChecks, found)


def joined(deck: Deck) -> Deck:
    lines = tuple(
        line
        if line.beam is None
        else replace(line, beam=replace(line.beam, connection=float("inf"), eccentricity=0.6))
        for line in deck.lines
    )
    return replace(deck, lines=lines)


@pytest.fixture(scope="module")
def girder() -> Deck:
    return deck_of(tomllib.loads(starter("girder")), "girder")


def test_girders_of_the_starter(girder: Deck) -> None:
    found = arching_check(girder, part(girder, (100e3, (0.5, 0.4))))
    assert isinstance(found, ArchingCheck)
    assert found.slab.spans == pytest.approx([2.75] * 4)
    assert found.slab.overhangs == pytest.approx((1.0, 1.0))
    assert found.slab.effective_length == pytest.approx(2.75 - 0.2)
    assert found.slab.free_ends == ()
    empirical = [one.words for one in found.empirical if one.holds is False]
    # 1.0 m of overhang are 4.7 thicknesses: enough with a composite parapet
    assert empirical == ["made composite with the beams"]
    assert all(one.holds is not False for one in found.arching)
    assert found.value is not None
    assert found.used is not None
    assert found.used == pytest.approx(100e3 / (0.9 * found.value.load))


def test_composite_girders_may_be_designed_so(girder: Deck) -> None:
    found = arching_check(joined(girder), part(girder, None))
    assert isinstance(found, ArchingCheck)
    assert all(one.holds is not False for one in found.empirical)
    assert found.value is None
    assert found.used is None


def test_a_free_joint_is_no_place_for_arching(girder: Deck) -> None:
    lines = tuple(line for line in girder.lines if line.name != "C1")
    deck = replace(girder, lines=lines)
    found = arching_check(deck, part(deck, (100e3, (0.5, 0.4))))
    assert isinstance(found, ArchingCheck)
    assert found.slab.free_ends == ("start",)
    assert found.value is None


def test_a_slab_on_walls_is_not_looked_at(girder: Deck) -> None:
    lines = tuple(replace(line, beam=None, support="rigid") for line in girder.lines)
    found = arching_check(replace(girder, lines=lines), part(girder, None))
    assert isinstance(found, str)
    assert "between beams" in found
