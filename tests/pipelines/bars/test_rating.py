"""Multipliers of vehicles: at just less the ordinary checks pass, at just more they fail."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from pipelines.bars.adequacy import Check
from pipelines.bars.demand.observer import DesignWatch
from pipelines.bars.rating.fleet import Fleet, Permit, driven, read_fleet
from pipelines.bars.rating.moments import moment_multiplier
from pipelines.bars.rating.rate import Rating, rate
from pipelines.bars.rating.rater import Rater
from pipelines.bars.rating.root import MOST, largest
from pipelines.caution import CAUTION, TO_VERIFY
from pipelines.deck.deck import Deck
from pipelines.deck.reading.mistakes import Mistakes
from pipelines.errors import DeckError
from pipelines.model.case_responses import case_responses
from pipelines.model.responses import SolvedDeck
from pipelines.report.data.rating_csv import below, write_rating
from pipelines.report.sections.rating import rated_line, rating_page, rounded_down
from pipelines.traffic.positions import load_positions
from tests.pipelines.decks_with_bars import BARS, BOTTOM, GRADES, TOP
from tests.pipelines.rated import COARSE, looked_at, passes_and_fails
from tests.pipelines.small_decks import BEAMS, PLAN, SLAB, WEIGHT, deck_of

TRAFFIC = """
[traffic]
carriageway_m = [-1.9, 1.9]
vehicles = ["EN 1991-2 LM2"]
step_m = 0.5
lateral_step_m = 0.6
surfacing_mm = 80
"""
CRANE = """
[[vehicle]]
name = "crane"
impact = 1.1
axles = [
  { at_m = 0.0, load_kN = 120, gauge_m = 2.0, patch_mm = [250, 400] },
  { at_m = 1.6, load_kN = 160, gauge_m = 2.0, patch_mm = [250, 400] } ]
"""


@pytest.fixture(scope="module")
def deck(tmp_path_factory: pytest.TempPathFactory) -> Deck:
    """By EN 1992 alone."""
    parts = (SLAB, PLAN, BEAMS, TRAFFIC, WEIGHT, GRADES, BOTTOM, TOP, COARSE)
    return deck_of(tmp_path_factory.mktemp("rated"), *parts)


@pytest.fixture(scope="module")
def by_all(tmp_path_factory: pytest.TempPathFactory) -> Deck:
    """By three standards."""
    return deck_of(tmp_path_factory.mktemp("by_all"), SLAB, PLAN, BEAMS, TRAFFIC, BARS)


@pytest.fixture(scope="module")
def fleet(tmp_path_factory: pytest.TempPathFactory) -> Fleet:
    path = tmp_path_factory.mktemp("fleet") / "fleet.toml"
    path.write_text(CRANE, encoding="utf-8")
    return read_fleet(path)


@pytest.fixture(scope="module")
def rating(deck: Deck, fleet: Fleet) -> Rating:
    return rate(deck, fleet)


@pytest.mark.slow
def test_a_run_just_passes_and_just_fails(by_all: Deck, fleet: Fleet) -> None:
    of_crane = [rated for rated in rate(by_all, fleet).rated if rated.vehicle == "crane"]
    assert len(of_crane) >= 3
    for rated in of_crane:
        every = looked_at(rated)
        assert {m.check for m in every} >= {Check.BENDING, Check.PUNCHING, Check.STRESSES}
        for found in every:
            passes_and_fails(by_all, fleet.permits[0], rated.standard, found)


def test_the_least_just_passes_and_just_fails(deck: Deck, fleet: Fleet, rating: Rating) -> None:
    [rated] = rating.rated
    passes_and_fails(deck, fleet.permits[0], "EN 1992", rated.least)


def test_twice_the_vehicle_has_half_the_multipliers(
    deck: Deck, fleet: Fleet, rating: Rating
) -> None:
    permit = fleet.permits[0]
    double = Permit(replace(permit.vehicle, impact=2.0 * permit.vehicle.impact))
    heavy = rate(deck, Fleet((double,)))
    for one, two in zip(rating.rated, heavy.rated, strict=True):
        for a, b in zip(one.multipliers, two.multipliers, strict=True):
            if a.value < MOST:
                # both to 1e-7
                assert b.value == pytest.approx(0.5 * a.value, rel=3e-7)


def test_a_narrower_path_carries_no_less(deck: Deck, fleet: Fleet, rating: Rating) -> None:
    """Of the same offsets a part."""
    permit = fleet.permits[0]
    inner = rate(deck, Fleet((replace(permit, path=(0.0, 0.0)),)))
    for one, two in zip(rating.rated, inner.rated, strict=True):
        assert two.least.value >= one.least.value * (1.0 - 1e-6)
        stand = [m.position.single for m in two.multipliers if m.position is not None]
        assert all(at is not None and at.offset == 0.0 for at in stand)


def test_between_the_steps_at_the_place_that_governs(
    deck: Deck, fleet: Fleet, rating: Rating
) -> None:
    """Steps of a twentieth find no less, and at the worst position it is what is told."""
    [permit], [rated] = fleet.permits, rating.rated
    between, least = rated.between, rated.least
    assert between is not None
    assert between.proven
    assert between.position is not None
    solved = SolvedDeck.of(deck)
    rater = Rater(solved, DesignWatch(solved, case_responses(solved)))
    [limit] = [m for m in rater.limits[0] if (m.rule, m.words) == (least.rule, least.words)]
    point = np.flatnonzero((rater.plan == least.at).all(axis=1))

    def there(step: float, offset: float) -> float:
        traffic = replace(deck.required_traffic, step=step, lateral_step=None, offsets=(offset,))
        alone = driven(replace(deck, traffic=traffic), permit, Mistakes(""))
        assert alone is not None
        over = rater.over_deck(permit, load_positions(alone))
        return moment_multiplier(limit, over.moments, point).value

    at = between.position
    assert least.position is not None
    stepped = least.position.single
    assert stepped is not None
    assert (
        between.value <= there(0.025, stepped.offset) * (1.0 + 1e-6) <= least.value * (1.0 + 1e-5)
    )
    # the proof leaves a thousandth of the moment open
    exactly = there(at.station / round(at.station / 0.2), at.offset)
    assert between.value <= exactly <= between.value * (1.0 + 2e-3)


def test_levels_go_with_the_factor(rating: Rating) -> None:
    """AASHTO: inventory is strength I itself, operating 1.75/1.35 of it, an escorted permit trip
    1.75/1.1."""
    rated = replace(rating.rated[0], standard="AASHTO LRFD", gamma=1.75)
    inventory, operating, permit = (
        rated.at_level(next(level for level in rating.levels if level.name == name))
        for name in ("inventory", "operating", "permit, escorted, one trip")
    )
    least = min(m.value for m in rated.multipliers if m.ultimate)
    assert inventory == pytest.approx(least, rel=1e-12)  # a quotient of the same factor: rounding
    assert permit == pytest.approx(inventory * 1.75 / 1.1, rel=1e-12)
    assert operating == pytest.approx(inventory * 1.75 / 1.35, rel=1e-12)


def test_what_is_printed_is_never_above(rating: Rating, tmp_path: Path) -> None:
    assert rounded_down(1.2399999) == "1.23"
    assert rounded_down(0.999999) == "0.99"
    assert rounded_down(MOST) == "≥ 100"
    for value in (0.99999999, 1.23456789, 12.3456789):
        assert value * (1 - 1e-5) < below(value) <= value
    write_rating(tmp_path / "rating.csv", rating)
    rows = (tmp_path / "rating.csv").read_text(encoding="utf-8").splitlines()
    assert len(rows) == 1 + sum(len({m.check for m in one.multipliers}) for one in rating.rated)
    assert all(row.endswith(TO_VERIFY) for row in rows[1:])
    assert rating_page(rating).end == CAUTION
    assert rated_line(rating.worst_first[0]).startswith("crane, ")
    titles = [section.title for section in rating_page(rating).sections]
    assert titles[:3] == ["Multipliers by vehicle and check", "Where each vehicle is limited",
                          "Where the deck is short"]  # fmt: skip


@pytest.mark.parametrize(
    ("function", "expected"),
    [
        (lambda m: 0.4 + 0.3 * m, 2.0),
        (lambda m: 0.5 + 0.125 * m**2, 2.0),
        (lambda m: 2.0, 0.0),
        (lambda m: 0.9, MOST),
        (lambda m: 1e4 * m, 1e-4),
        (lambda m: 0.5 if m < 0.7 else 3.0, 0.7),
    ],
)
def test_the_largest_that_passes(function: object, expected: float) -> None:
    found = largest(function)  # type: ignore[arg-type]
    assert found <= expected
    assert found == pytest.approx(expected, rel=3e-7)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "names no vehicle"),
        ('vehicles = ["LM2"]\n', "unknown vehicle.*EN 1991-2 LM2"),
        (CRANE.replace("impact", "impct"), r"vehicle 1, impct: unknown key.*impact"),
        (CRANE + "offsets_m = [1, -1]\n", "offsets_m = .1, -1.: the second"),
        (
            '[[permit]]\nname = "LM2"\n',
            r"\[\[permit\]\] 1, name = .*unknown vehicle.*EN 1991-2 LM2",
        ),
        ('[[permit]]\nname = "x"\nbeside_factors = [2, 0]\n', "beside_factors = .2, 0.: must be"),
        (CRANE + CRANE, "crane"),
        (CRANE + '[[level]]\nname = "x"\nstandard = "EN 1992"\ngamma = 9\n', "0.5 to 3"),
    ],
)
def test_mistakes_of_a_fleet_are_told(tmp_path: Path, text: str, words: str) -> None:
    path = tmp_path / "fleet.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(DeckError, match=words):
        read_fleet(path)


def test_what_cannot_be_rated_is_told(deck: Deck, fleet: Fleet) -> None:
    with pytest.raises(DeckError, match=r"\[\[bars\]\]: is missing"):
        rate(replace(deck, reinforcement=None), fleet)
    wide = Fleet((replace(fleet.permits[0], path=(-3.0, 3.0)),))
    with pytest.raises(DeckError, match=r"vehicle crane, offsets_m.*on this carriageway"):
        rate(deck, wide)
