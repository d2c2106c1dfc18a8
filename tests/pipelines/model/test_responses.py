"""Solutions are checked before anything is read from them."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from pipelines.analysis.analyse import analyse
from pipelines.analysis.result import Result
from pipelines.model.build import build_model
from pipelines.model.case_responses import case_responses
from pipelines.model.responses import SolvedDeck
from pipelines.model.solution_checks import CASE_BALANCE, check_stiffness
from pipelines.model.static_cases import case_load
from pipelines.report.data.summary import summary
from plate.errors import SolutionError
from plate.solver.nested_dissection import Loads
from plate.solver.solution import WholeSolution
from plate.solver.stiffness import Stiffness
from tests.pipelines.report_page import report_page
from tests.pipelines.small_decks import MESH, PLAN, SLAB, deck_of


@pytest.fixture(scope="module")
def result(small_result: Result) -> Result:
    return small_result


def test_a_sound_solution_passes(result: Result) -> None:
    F = case_load(result.deck, result.deck.cases[0], result.solved.model)[:, None]
    result.cases["weight"].check(F, CASE_BALANCE, "weight")


def test_a_solution_out_of_balance_stops_with_its_name(result: Result) -> None:
    F = case_load(result.deck, result.deck.cases[0], result.solved.model)[:, None]
    good = result.cases["weight"]
    first, *_ = good.reactions
    broken = replace(good, reactions=good.reactions | {first: 1.01 * good.reactions[first]})
    with pytest.raises(SolutionError, match=r"weight: check of equilibrium: reactions differ"):
        broken.check(F, CASE_BALANCE, "weight")


def test_a_solution_that_is_not_finite_stops_with_its_name(result: Result) -> None:
    F = case_load(result.deck, result.deck.cases[0], result.solved.model)[:, None]
    good = result.cases["weight"]
    moved = good.displacements.copy()
    moved[1, 0] = np.nan
    with pytest.raises(SolutionError, match=r"weight: check of finite values"):
        replace(good, solution=WholeSolution(moved)).check(F, CASE_BALANCE, "weight")


def test_a_factor_of_another_matrix_stops_with_its_name(result: Result) -> None:
    stiffness = Stiffness(result.solved.model)
    check_stiffness(stiffness)
    # The slab is softer by a thousandth than what was factorised.
    stiffness.pieces = [replace(p, matrices=(1.0 - 1e-3) * p.matrices) for p in stiffness.pieces]
    with pytest.raises(SolutionError, match=r"stiffness: check of residual: .* is allowed"):
        check_stiffness(stiffness)


def test_answers_without_reciprocity_stop_with_its_name(result: Result) -> None:
    class Lopsided(Stiffness):
        def solve(self, F: Loads, *, refine: bool = False) -> np.ndarray:
            U = super().solve(F, refine=refine)
            return U + 1e-6 * np.roll(U, 3, axis=0)

    with pytest.raises(SolutionError, match=r"stiffness: check of reciprocity: .* is allowed"):
        check_stiffness(Lopsided(result.solved.model))


CARRIED_ON = """
[[line]]
on = ["C1", "C3"]
support = "rigid"
to_edges = true
[[line]]
on = "C2"
support = "spring"
k_kN_m2 = 50000
to_edges = true
[[case]]
name = "weight"
self_weight = true
"""


def test_reactions_are_told_by_the_lines_own_names(tmp_path: Path) -> None:
    """Also of lines that are carried on to the edges, in the summary and in words."""
    plan = PLAN.replace("end = 0.4", "end = 0.4, left = 0.5, right = 0.5")
    result = analyse(deck_of(tmp_path, SLAB, plan, CARRIED_ON, MESH))
    found = summary(result)["reactions"]["weight"]
    assert set(found) == {"total_kN", "C1", "C2", "C3"}
    # 6.8 m by 5 m by 0.25 m at 25 kN/m³.
    assert found["total_kN"] == pytest.approx(6.8 * 5.0 * 0.25 * 25.0, rel=1e-9)
    assert ">line C1<" in report_page(result)


CURVED = """
[plan]
stations_m = [0.0, 4.0, 8.0]
offsets_m = [-4.0, 4.0]
radius_m = 28.5
[[line]]
on = "C*"
support = "rigid"
[[case]]
name = "inner"
patches = [{ at_m = [2.1, 3.6], size_m = [1.2, 0.4], load_kN = 90 }]
[[case]]
name = "outer"
patches = [{ at_m = [5.9, -3.6], size_m = [1.2, 0.4], load_kN = 90 }]
[[case]]
name = "cut"
patches = [{ at_m = [5.9, 3.9], size_m = [1.2, 0.4], load_kN = 90 }]
"""


def test_static_patches_of_a_curved_deck_have_their_size_on_the_ground(tmp_path: Path) -> None:
    """All of the load acts and is carried. Its radius of gyration along the arcs is that of a
    rectangle: with a / (1 - y/R) of station at each offset the mean square of the station about
    the patch's own is a²/12 / ((1 - y1/R)(1 - y2/R)) between its sides y1 and y2. Sides straight in
    plan leave (b/R)²/8, 3e-5, of it; stations of length a would miss by 25 %."""
    deck = deck_of(tmp_path, SLAB, CURVED, MESH)
    model = build_model(deck).model
    solved = SolvedDeck.of(deck, model)
    responses = case_responses(solved)
    for case in deck.cases[:2]:
        [patch] = case.patches
        (s, y), (a, b) = patch.at, patch.size
        F = case_load(deck, case, model)[::3]
        assert F.sum() == pytest.approx(90e3, rel=1e-9)
        assert sum(float(r[0]) for r in responses[case.name].reactions.values()) == pytest.approx(
            90e3, rel=1e-6
        )
        sides = (1.0 - (y - 0.5 * b) / 28.5) * (1.0 - (y + 0.5 * b) / 28.5)
        square = F @ (model.mesh.plan[:, 0] - s) ** 2 / F.sum()
        assert square == pytest.approx(a**2 / 12.0 / sides, rel=1e-4)
    # A quarter of the last one, between offsets 4.0 and 4.1, lies off the slab: told, not carried.
    assert "25 % of it is off the slab; 22.5 kN of its 90 kN do not act" in deck.warnings[0]
    assert responses["cut"].total[0] == pytest.approx(0.75 * 90e3, rel=1e-4)
