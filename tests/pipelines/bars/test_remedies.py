"""The three remedies: least candidates that pass, re-solved with the demand of each design."""

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from pipelines.bars.checks.remedies import ShearDesign, least_passing, remedies, steps
from pipelines.standards.materials import Materials, grade_ladder, materials
from pipelines.standards.resistance.bending import utilisation
from pipelines.standards.resistance.shear import one_way_resistance

EN = materials("C30/37", "B500B", "EN 1992")
IRC = materials("M30", "Fe 500", "IRC:112")
AASHTO = materials("4 ksi", "Grade 60", "AASHTO LRFD")


def shear_use(
    design: ShearDesign, solved: ShearDesign | None = None, v: float = 150e3, m: float = 60e3
) -> float:
    """Wheel shear plus self weight over 1.5 m, which grows with the thickness; solved : the design
    that the demand is of, None = the same."""
    demand = v + 25e3 * (design if solved is None else solved).thickness * 1.5 * 1.35
    found = one_way_resistance(design.section(), design.materials, demand, m)
    return float(utilisation(demand, found.v_Rd))


def under(v: float) -> Callable[[ShearDesign, ShearDesign], float]:
    """The utilisation under that shear of the wheel [N/m]."""
    return lambda design, solved: shear_use(design, solved, v)


@pytest.mark.parametrize(
    ("mat", "v"), [(EN, 135e3), (IRC, 125e3), (AASHTO, 175e3)], ids=["EN", "IRC", "AASHTO"]
)
def test_each_remedy_passes_and_the_one_before_it_fails(mat: Materials, v: float) -> None:
    present = ShearDesign(0.25, mat, 0.0014, 0.05)
    ladder = grade_ladder(mat.standard)
    thicknesses, areas = steps(0.25, 0.8, 0.01), steps(0.0014, 0.008, 0.0001)

    def use(design: ShearDesign, solved: ShearDesign | None = None) -> float:
        return shear_use(design, solved, v)

    assert use(present) > 1
    rows = remedies(present, use, thicknesses, ladder, areas)
    thickness, grade, steel = rows
    # by trying all of them, in order
    first_t = next(t for t in thicknesses if use(ShearDesign(t, mat, 0.0014, 0.05)) <= 1)
    assert thickness.needed == first_t
    assert_allclose(thickness.utilisation, use(ShearDesign(first_t, mat, 0.0014, 0.05)))
    stronger = [
        c.name
        for c in ladder
        if c.f_ck > mat.concrete.f_ck
        and use(ShearDesign(0.25, Materials(c, mat.steel, mat.factors), 0.0014, 0.05)) <= 1
    ]
    assert grade.needed == stronger[0]
    first_a = next(a for a in areas if use(ShearDesign(0.25, mat, a, 0.05)) <= 1)
    assert steel.needed == first_a
    assert all(row.utilisation <= 1 for row in rows)
    assert [row.name for row in rows] == ["thickness", "concrete", "longitudinal steel"]
    assert rows[0].source.mark == "common practice"


def test_steel_beyond_two_per_cent_does_not_help() -> None:
    present = ShearDesign(0.25, EN, 0.0014, 0.05)
    rows = remedies(
        present,
        under(260e3),
        steps(0.25, 1.0, 0.01),
        grade_ladder("EN 1992"),
        steps(0.0014, 0.02, 0.0002),
    )
    assert rows[2].needed is None
    assert rows[2].utilisation > 1
    assert rows[0].needed is not None


def test_a_design_that_passes_needs_nothing() -> None:
    present = ShearDesign(0.25, EN, 0.0014, 0.05)
    rows = remedies(present, under(20e3), [0.3], grade_ladder("EN 1992"), [0.002])
    assert [row.needed for row in rows] == [0.25, "C30/37", 0.0014]


def test_candidates_below_the_present_value_are_passed_over() -> None:
    present = ShearDesign(0.25, EN, 0.0014, 0.05)

    over = under(400e3)
    below = remedies(present, over, [0.2], grade_ladder("EN 1992"), [0.001])
    assert below[0].needed is None
    assert_allclose(below[0].utilisation, over(present, present))


def test_weaker_grades_are_not_tried() -> None:
    tried: list[float] = []

    def use(design: ShearDesign, solved: ShearDesign) -> float:
        tried.append(design.materials.concrete.f_ck)
        return shear_use(design, solved, 120e3)

    present = ShearDesign(0.25, EN, 0.0014, 0.05)
    rows = remedies(present, use, [0.3], grade_ladder("EN 1992"), [0.002])
    assert rows[1].needed == "C35/45"
    assert min(tried) == EN.concrete.f_ck


@settings(max_examples=200, deadline=None)
@given(
    steps_down=st.lists(st.floats(0.0, 0.3), min_size=1, max_size=12),
    share=st.floats(-0.8, 0.8),
    first=st.floats(0.5, 3.0),
)
def test_least_passing_is_the_first_of_a_falling_series(
    steps_down: list[float], share: float, first: float
) -> None:
    """Resistances rise, demands fall or rise less: what would be found by trying all."""
    falls = np.cumsum(steps_down)
    use_of = first * np.exp(-falls)
    demands = np.exp(share * falls)
    solved: set[int] = set()

    def use(i: int, j: int) -> float:
        solved.add(j)
        return float(use_of[i] / demands[i] * demands[j])

    found, at = least_passing(range(len(falls)), use)
    passing = [i for i in range(len(falls)) if use(i, i) <= 1]
    assert found == (passing[0] if passing else None)
    assert at == use(*2 * (passing[0] if passing else len(falls) - 1,))


@pytest.mark.parametrize("demand", [-0.3, 0.0, 0.3, 0.6])
def test_few_plates_are_solved_of_a_smooth_series(demand: float) -> None:
    """Utilisation falls as 1/t, the demand rises or falls as a power of the thickness."""
    thicknesses = [0.25, *steps(0.25, 0.40, 0.01)]
    for first in (1.02, 1.1, 1.3):
        solved: set[float] = set()

        def use(t: float, by: float, first: float = first, solved: set[float] = solved) -> float:
            solved.add(by)
            return float(first * (0.25 / t) ** (1.0 + demand) * (by / 0.25) ** demand)

        found, at = least_passing(thicknesses, use)
        assert found is not None
        assert at <= 1 < first * 0.25 / thicknesses[found - 1]
        assert len(solved) <= 4


def test_what_passes_is_solved_and_not_only_estimated() -> None:
    """A demand that jumps up where the first estimate passes: that candidate is not the answer."""
    demands = [1.5, 1.5, 2.2, 2.2, 2.2]
    resists = [1.0, 1.2, 1.6, 2.0, 2.4]
    found, at = least_passing(range(5), lambda i, j: demands[j] / resists[i])
    assert found == 4
    assert_allclose(at, 2.2 / 2.4)


def test_a_demand_that_is_not_a_number_does_not_pass() -> None:
    assert least_passing([1, 2], lambda v, w: float("nan"))[0] is None


def test_steps_are_round_and_above_the_start() -> None:
    assert steps(0.252, 0.28, 0.01) == [0.26, 0.27, 0.28]
    assert steps(0.25, 0.28, 0.01) == [0.26, 0.27, 0.28]
