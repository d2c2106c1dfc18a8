"""The three remedies: least candidates that pass, re-solved with the demand of each design."""

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


def shear_use(design: ShearDesign, v: float = 150e3, m: float = 60e3) -> float:
    """Wheel shear plus self weight over 1.5 m, which grows with the thickness."""
    demand = v + 25e3 * design.thickness * 1.5 * 1.35
    found = one_way_resistance(design.section(), design.materials, demand, m)
    return float(utilisation(demand, found.v_Rd))


@pytest.mark.parametrize(
    ("mat", "v"), [(EN, 135e3), (IRC, 125e3), (AASHTO, 175e3)], ids=["EN", "IRC", "AASHTO"]
)
def test_each_remedy_passes_and_the_one_before_it_fails(mat: Materials, v: float) -> None:
    present = ShearDesign(0.25, mat, 0.0014, 0.05)
    ladder = grade_ladder(mat.standard)
    thicknesses, areas = steps(0.25, 0.8, 0.01), steps(0.0014, 0.008, 0.0001)

    def use(design: ShearDesign) -> float:
        return shear_use(design, v)

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
        lambda d: shear_use(d, 260e3),
        steps(0.25, 1.0, 0.01),
        grade_ladder("EN 1992"),
        steps(0.0014, 0.02, 0.0002),
    )
    assert rows[2].needed is None
    assert rows[2].utilisation > 1
    assert rows[0].needed is not None


def test_a_design_that_passes_needs_nothing() -> None:
    present = ShearDesign(0.25, EN, 0.0014, 0.05)
    rows = remedies(present, lambda d: shear_use(d, 20e3), [0.3], grade_ladder("EN 1992"), [0.002])
    assert [row.needed for row in rows] == [0.25, "C30/37", 0.0014]
    # candidates below the present value are passed over
    below = remedies(
        present, lambda d: shear_use(d, 400e3), [0.2], grade_ladder("EN 1992"), [0.001]
    )
    assert below[0].needed is None
    assert_allclose(below[0].utilisation, shear_use(present, 400e3))


def test_weaker_grades_are_not_tried() -> None:
    tried: list[float] = []

    def use(design: ShearDesign) -> float:
        tried.append(design.materials.concrete.f_ck)
        return shear_use(design, 120e3)

    present = ShearDesign(0.25, EN, 0.0014, 0.05)
    rows = remedies(present, use, [0.3], grade_ladder("EN 1992"), [0.002])
    assert rows[1].needed == "C35/45"
    assert min(tried) == EN.concrete.f_ck
    assert max(tried) == 90e6


@settings(max_examples=60, deadline=None)
@given(values=st.lists(st.floats(0.2, 3.0), min_size=1, max_size=12))
def test_least_passing_of_a_falling_series(values: list[float]) -> None:
    series = sorted(values, reverse=True)
    tried: list[int] = []

    def use(i: int) -> float:
        tried.append(i)
        return series[i]

    found, at = least_passing(range(len(series)), use)
    passing = [i for i, v in enumerate(series) if v <= 1]
    assert found == (passing[0] if passing else None)
    assert at == series[passing[0] if passing else -1]
    assert len(tried) <= 11  # each trial may be a plate to solve: every third one halves


@pytest.mark.parametrize("power", [0.7, 1.5, 3.0])
def test_few_are_tried_of_a_smooth_series(power: float) -> None:
    thicknesses = [0.25, *steps(0.25, 0.40, 0.01)]
    for first in (1.02, 1.1, 1.3):
        tried: list[float] = []

        def use(t: float, first: float = first, tried: list[float] = tried) -> float:
            tried.append(t)
            return first * float((0.25 / t) ** power)

        found, at = least_passing(thicknesses, use)
        assert found is not None
        assert at <= 1 < first * (0.25 / thicknesses[found - 1]) ** power
        assert len(tried) <= 5


def test_a_demand_that_is_not_a_number_does_not_pass() -> None:
    assert least_passing([1, 2], lambda v: float("nan"))[0] is None


def test_steps_are_round_and_above_the_start() -> None:
    assert steps(0.252, 0.28, 0.01) == [0.26, 0.27, 0.28]
    assert steps(0.25, 0.28, 0.01) == [0.26, 0.27, 0.28]
