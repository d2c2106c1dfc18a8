"""Load tests made from a deck with hidden stiffnesses: what is found, and what is said."""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import binom

from pipelines.deck.deck import Deck
from pipelines.deck.reading.deck_file import read_deck
from pipelines.loadtest.fit import Fit, fit
from pipelines.loadtest.fitted_file import fitted_text
from pipelines.loadtest.loaded_deck import LoadedDeck, build_for
from pipelines.loadtest.outcome import Outcome, chosen_test, judge
from pipelines.loadtest.words import fit_words, lead
from plate.arrays import Floats
from tests.pipelines.load_test_decks import (
    FIT,
    MESH,
    TRUE,
    accuracies,
    blank_readings,
    deck_with,
    load_test,
    loaded,
    read_again,
    readings_file,
)
from tests.pipelines.small_decks import PLAN, SLAB


def found(model: LoadedDeck, *, stated: bool, noise: np.random.Generator | None) -> Fit:
    """Found from readings with the hidden stiffnesses, and noise of the accuracy of each."""
    accuracy = accuracies(model.test.readings)
    values = model.values(np.log(TRUE))
    if noise is not None:
        values = values + accuracy * noise.standard_normal(len(values))
    return fit(model, values, accuracy if stated else None, model.start, model.bounds)


def test_without_noise_the_hidden_stiffnesses_are_found(tmp_path: Path) -> None:
    model = loaded(deck_with(tmp_path, load_test()))
    one = found(model, stated=True, noise=None)
    np.testing.assert_allclose(np.exp(one.x), TRUE, rtol=1e-6)
    assert one.together == ()


def trials(folder: Path, count: int, *, stated: bool) -> list[int]:
    """How many intervals of each unknown hold the truth."""
    readings = blank_readings(deflections_only=not stated)
    model = loaded(deck_with(folder, load_test(), readings=readings))
    noise = np.random.default_rng(18)
    held = np.zeros(3)
    for _ in range(count):
        one = found(model, stated=stated, noise=noise)
        held += (one.low <= np.log(TRUE)) & (np.log(TRUE) <= one.high)
    return [int(n) for n in held]


@pytest.mark.slow
def test_a_few_noisy_tests_are_answered_within_their_intervals(tmp_path: Path) -> None:
    """Fewer than 5 of 8 at 95 % each have less than one chance in two thousand."""
    assert binom.cdf(4, 8, 0.95) < 5e-4
    assert min(trials(tmp_path, 8, stated=True)) >= 5


@dataclass(frozen=True)
class Tangent:
    """A model's values about a point, without its curvature."""

    at: Floats
    of: Floats
    slopes: Floats

    def values(self, x: Floats) -> Floats:
        return np.asarray(self.of + self.slopes @ (x - self.at))

    def jacobian(self, x: Floats) -> Floats:
        return self.slopes


def test_intervals_hold_the_truth_on_the_linearised_deck(tmp_path: Path) -> None:
    """Without a stated accuracy. Of 1000 the count is binomial: beyond the limits taken lies one
    chance in a thousand for each unknown."""
    readings = blank_readings(deflections_only=True)
    deck = loaded(deck_with(tmp_path, load_test(), readings=readings))
    true = np.log(TRUE)
    tangent = Tangent(true, deck.values(true), deck.jacobian(true))
    noise, accuracy = np.random.default_rng(18), accuracies(deck.test.readings)
    held = np.zeros(3)
    for _ in range(1000):
        measured = tangent.of + accuracy * noise.standard_normal(len(accuracy))
        one = fit(tangent, measured, None, deck.start, deck.bounds)
        held += (one.low <= true) & (true <= one.high)
    low, high = (binom.ppf(share, 1000, 0.95) for share in (5e-4, 1.0 - 5e-4))
    assert ((low <= held) & (held <= high)).all(), held


@pytest.mark.slow
@pytest.mark.parametrize("stated", [True, False])
def test_intervals_hold_the_hidden_stiffnesses_in_95_of_100(tmp_path: Path, stated: bool) -> None:
    """Of 100 noisy tests the count within is binomial: beyond the limits taken lies one chance in a
    thousand for each of the six looks."""
    held = trials(tmp_path, 100, stated=stated)
    low, high = (binom.ppf(share, 100, 0.95) for share in (5e-4, 1.0 - 5e-4))
    print(held)
    assert all(low <= n <= high for n in held), held


def judged(folder: Path, deck: Deck, factors: tuple[float, ...]) -> Outcome:
    """The outcome of a test of which the readings come from other factors."""
    [test] = deck.load_tests
    values = LoadedDeck(deck, test, build_for(deck, test)).values(np.log(factors))
    return judge(deck, read_again(test, values))


RIGID = """
[[line]]
on = ["C1", "C3"]
support = "rigid"
"""


def test_stiffnesses_that_cannot_be_told_apart_are_both_named(tmp_path: Path) -> None:
    """A thin slab on rigid lines: deflections know E t^3 alone."""
    thin = SLAB + 'theory = "kirchhoff"\n'
    fits = 'fit = [{ of = "slab E" }, { of = "slab thickness", factor = [0.5, 2.0] }]'
    (tmp_path / "readings.csv").write_text(blank_readings(deflections_only=True), encoding="utf-8")
    path = tmp_path / "deck.toml"
    path.write_text(thin + PLAN + RIGID + MESH + load_test(fit=fits), encoding="utf-8")
    outcome = judged(tmp_path, read_deck(path), (0.8, 1.1))
    told = " ".join(fit_words(outcome))
    assert "cannot tell slab E and slab thickness apart (correlation −1.00)" in told
    assert [one.state for one in outcome.found] == ["not told by the readings"] * 2
    assert outcome.factors == ()


def test_a_stiffness_beyond_its_bounds_is_said(tmp_path: Path) -> None:
    fits = FIT.replace('{ of = "slab E" }', '{ of = "slab E", factor = [0.9, 1.1] }')
    outcome = judged(tmp_path, deck_with(tmp_path, load_test(fit=fits)), (0.6, 1.0, 1.0))
    told = " ".join(fit_words(outcome))
    assert "slab E is at its bound, 0.900 times" in told
    assert "the model is wrong in something else" in told  # and cannot answer what is left over
    assert outcome.found[0].state == "at its bound, 0.9"


def test_a_wrong_model_is_said_not_fitted_away(tmp_path: Path) -> None:
    """Readings of a deck whose beams are twice as stiff, answered by the slab alone."""
    deck = deck_with(tmp_path, load_test())
    values = loaded(deck).values(np.log([1.0, 2.0, 2.0]))
    slab_alone = deck_with(tmp_path, load_test(fit='fit = [{ of = "slab E" }]'))
    outcome = judge(slab_alone, read_again(slab_alone.load_tests[0], values))
    assert outcome.fit is not None
    assert outcome.fit.too_large
    assert "times the accuracy stated: the model is wrong" in " ".join(fit_words(outcome))


def test_the_first_sentence_names_the_largest_difference(tmp_path: Path) -> None:
    deck = deck_with(tmp_path, load_test(fit=""), readings=blank_readings(deflections_only=True))
    [test] = deck.load_tests
    values = loaded(deck).values(np.array([])).copy()
    values[7] *= 1.5
    worst, largest = test.readings[7], np.abs(values).max()
    assert 0.5 * values[7] / 1.5 > 0.01 * largest
    outcome = judge(deck, read_again(test, values))
    assert outcome.fit is None
    assert f"largest difference is at {worst.place} under {worst.position}" in lead(outcome)
    assert "(−33.3 %)" in lead(outcome)
    # The others agree to rounding, the tolerance of the mesh is well below a hundredth.
    assert outcome.tolerance.max() < 0.01 * largest


def test_the_run_is_repeated_with_what_was_found(tmp_path: Path) -> None:
    """With the factors in the deck file the model as read gives what the fit gave, and the test
    finds the same factors again, now those that the deck has."""
    first = judged(tmp_path, deck_with(tmp_path, load_test()), TRUE)
    again = deck_with(tmp_path, load_test(), fitted_text(first), readings=readings_file(first.test))
    assert "slab E × 0.8, " in again.warnings[-1]
    second = judge(again, again.load_tests[0])
    assert first.fitted is not None
    # Factors are written to eight figures.
    np.testing.assert_allclose(second.computed, first.fitted, rtol=1e-6)
    assert [one.factor for one in second.found] == pytest.approx(TRUE, rel=1e-6)
    assert [one.value for one in second.factors] == pytest.approx(TRUE, rel=1e-6)


def test_the_test_is_chosen_by_its_name(tmp_path: Path) -> None:
    deck = deck_with(tmp_path, load_test(), load_test().replace('"May"', '"June"'))
    assert chosen_test(deck, "June").name == "June"
    for name, told in ((None, "name one by --test: May, June"), ("July", "there are May, June")):
        with pytest.raises(Exception, match=told):
            chosen_test(deck, name)
    with pytest.raises(Exception, match=r"has no \[\[loadtest\]\]"):
        chosen_test(replace(deck, load_tests=()), None)
