"""What bars see of stages, shrinkage and settlements: a composite deck with its bars."""

from pathlib import Path

import numpy as np
import pytest

from pipelines.bars.demand.beam_forces import BeamWatch, bending_section
from pipelines.bars.demand.moments import combinations_of, permanent_fields
from pipelines.bars.demand.observer import DesignWatch
from pipelines.model.beam_rows import samples_in_holds
from pipelines.model.case_responses import case_responses
from pipelines.model.responses import Response, SolvedDeck
from pipelines.standards.resistance.bending import compression_arm
from tests.pipelines.composite_decks import (
    CASES,
    COMPOSITE,
    N_LONG,
    N_SHRINKAGE,
    B,
    L,
    T,
    by_hand,
    strained,
)
from tests.pipelines.decks_with_bars import GRADES
from tests.pipelines.small_decks import BEAMS, PLAN, SLAB, deck_of, mat, solver_of

IN_COMBINATIONS = (
    CASES.replace('name = "fresh"', 'name = "fresh"\naction = "self-weight"')
    .replace('name = "surfacing"', 'name = "surfacing"\naction = "surfacing"', 1)
    .replace('name = "shrinkage"', 'name = "shrinkage"\naction = "shrinkage"', 1)
    + '[[case]]\nname = "down"\nsettlements_mm = { C2 = 10 }\naction = "settlement"\n'
)
BARS = GRADES + mat("bottom", "16@150", "12@125") + mat("top", "16@200", "12@200", outer="y")

BEAM_BARS = """
[[beam_bars]]
on = LINES
width_mm = 400
depth_mm = 1000
cover_mm = 50
top = { count = 4, diameter_mm = 20 }
bottom = { count = 6, diameter_mm = 25 }
links = { diameter_mm = 12, spacing_mm = 120 }
"""


@pytest.fixture(scope="module")
def solved(tmp_path_factory: pytest.TempPathFactory) -> tuple[SolvedDeck, dict[str, Response]]:
    folder: Path = tmp_path_factory.mktemp("bars")
    deck = solver_of(deck_of(folder, COMPOSITE, IN_COMBINATIONS, BARS))
    return deck, case_responses(deck)


def test_every_action_has_what_its_stage_adds(
    solved: tuple[SolvedDeck, dict[str, Response]],
) -> None:
    deck, cases = solved
    moments = permanent_fields(deck.deck, cases, slice(1, 4))
    assert set(moments) == {"self-weight", "surfacing", "shrinkage", "settlement"}
    # fresh concrete hardens without moments; a span that settles at one end turns without any
    assert np.abs(moments["self-weight"]).max() < 1.0
    assert np.abs(moments["settlement"]).max() < 1.0
    assert moments["shrinkage"][0].max() > 3e3
    [ultimate] = [c for c in combinations_of(deck.deck) if c.limit_state == "ULS"]
    assert ultimate.permanent["shrinkage"] == (1.0, 0.0)
    assert ultimate.permanent["settlement"] == (1.2, 0.0)


def test_membrane_forces_of_bars_are_those_of_the_cases(
    solved: tuple[SolvedDeck, dict[str, Response]],
) -> None:
    """By rows of the deck in the end, its share of the modulus and what the held slab has, against
    the probe of the model of each stage."""
    deck, cases = solved
    membrane = DesignWatch(deck, cases).membrane
    assert membrane is not None
    at = deck.recovery.points.plan
    beside = int(np.hypot(at[:, 0] - 10.0, at[:, 1] - 0.5).argmin())
    for name in ("surfacing", "shrinkage", "crowd", "warm slab"):
        own = membrane.own(cases[name])
        assert own is not None
        # half a metre off the beam the slab's force is what it is a decimetre nearer
        assert own[0, beside, 0] == pytest.approx(cases[name].membrane[0, 0], rel=0.01)
    own = membrane.own(cases["fresh"])
    assert own is not None
    assert not own.any()


def test_beams_with_bars_carry_what_each_stage_gives_them(tmp_path: Path) -> None:
    """M + t N of the bottom bars at midspan from the hand sums of the composite section; fresh
    concrete is carried without N."""
    beams = BEAM_BARS.replace("LINES", '"L2"')
    deck = deck_of(tmp_path, COMPOSITE, IN_COMBINATIONS, BARS, beams)
    solved = solver_of(deck)
    watch = BeamWatch(solved, case_responses(solved))
    reinforcement = deck.required_reinforcement
    [beam] = reinforcement.beams
    t = compression_arm(bending_section(beam, sagging=True), reinforcement.bases[0].materials)
    middle = np.isclose(solved.beams.at[0], L / 2)
    surfacing, shrinkage = by_hand(N_LONG, 2e3 * B), strained(N_SHRINKAGE, -3e-4)
    for action, M, N in (
        ("self-weight", 25e3 * B * T * L**2 / 8, 0.0),
        ("surfacing", surfacing["M"], surfacing["N"]),
        ("shrinkage", shrinkage["M"], shrinkage["N"]),
    ):
        lever = float(t) if N > 0 else max(3 * float(t) - beam.depth, 0.0)
        forms = watch.permanent[action][:2, middle].mean(axis=1)
        assert forms[0 if N > 0 else 1] == pytest.approx(M + lever * N, rel=0.01), action
    # the girder lies on one line at either end
    assert np.abs(watch.permanent["settlement"][:4]).max() < 1.0


def test_beams_with_bars_feel_a_hold_that_settles(tmp_path: Path) -> None:
    """The shear that enters a beam at its hold is the hold's reaction."""
    settles = '[[case]]\nname = "down"\nsettlements_mm = { "C2@L1" = 5 }\naction = "settlement"\n'
    beams = BEAM_BARS.replace("LINES", '"C2"')
    mesh = "[mesh]\nsize_m = 1.5\norder = 2\n"
    deck = deck_of(tmp_path, SLAB, PLAN, BEAMS, BARS, settles, beams, mesh)
    solved = solver_of(deck)
    cases = case_responses(solved)
    forms = BeamWatch(solved, cases).permanent["settlement"]
    holds = samples_in_holds(solved.model)
    assert len(holds) == 6
    for sample, name, sign in holds:
        assert forms[4, sample] == pytest.approx(sign * cases["down"].reactions[name][0], rel=1e-9)
    assert np.abs(forms[4]).max() > 1e3


def test_a_temperature_of_a_held_slab_is_in_the_combinations(tmp_path: Path) -> None:
    """Clamped all round: D (1 + nu) alpha dT/h everywhere, times 1.5 x 0.6 in the ultimate state;
    below under a warmer top, above under a cooler one."""
    clamped = """
[plan]
stations_m = [0.0, 4.0]
offsets_m = [-2.0, 2.0]
[[line]]
on = ["C1", "C2", "L1"]
support = "clamped"
[[line]]
on = "L2"
support = "clamped"
[[case]]
name = "warm top"
temperature = { difference_K = 10.0 }
action = "warming"
[[case]]
name = "cold top"
temperature = { difference_K = -5.0 }
action = "cooling"
[mesh]
size_m = 1.0
order = 2
"""
    deck = deck_of(tmp_path, SLAB, clamped, BARS)
    solved = solver_of(deck)
    watch = DesignWatch(solved, case_responses(solved))
    D = 30e9 * 0.25**3 / (12.0 * (1.0 - 0.2**2))
    m = D * 1.2 * 1e-5 * 10.0 / 0.25
    [ultimate] = [d for d in watch.moments.demands() if d.combination.limit_state == "ULS"]
    assert ultimate.layer(("bottom", "x")) == pytest.approx(0.9 * m, rel=1e-9)
    assert ultimate.layer(("top", "y")) == pytest.approx(0.9 * m / 2.0, rel=1e-9)
    # collision and fatigue count what lasts
    assert not watch.dead.any()
