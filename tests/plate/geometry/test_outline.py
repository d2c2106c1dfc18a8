"""Plans of any outline: names, what lies on the slab, areas, crossings, what is refused."""

import math

import numpy as np
import pytest

from plate.errors import GeometryError
from plate.geometry.curves import Curve, arc_through, circle, polyline
from plate.geometry.outline import (
    covers,
    crossings,
    inscribed_diameter,
    narrowest_panel,
    outline_plan,
    over_opening,
    plan_area,
    region,
    with_lines,
    with_openings,
)
from plate.geometry.plan import Plan, grid_plan

L_SHAPE = polyline([(0, 0), (4, 0), (4, 2), (2, 2), (2, 4), (0, 4), (0, 0)])
# A rectangle 6 x 2 whose far end is a half circle and whose near end is dented by one.
STADIUM = (
    Curve((0, 0), (6, 0)),
    arc_through((6, 0), (7, 1), (6, 2)),
    Curve((6, 2), (0, 2)),
    arc_through((0, 2), (1, 1), (0, 0)),
)


def test_edges_are_named_in_the_order_of_the_corners() -> None:
    plan = outline_plan(L_SHAPE)
    assert plan.edges == ("E1", "E2", "E3", "E4", "E5", "E6")
    np.testing.assert_allclose(plan.lines["E3"].path, [[4, 2], [2, 2]])
    assert not plan.is_grid
    assert not plan.is_mapped
    assert plan.u_range == (0.0, 4.0)


def test_area_is_exact() -> None:
    assert plan_area(outline_plan(L_SHAPE)) == pytest.approx(12.0, rel=1e-14)
    # the half circle added at one end is the one taken away at the other
    assert plan_area(outline_plan(STADIUM)) == pytest.approx(12.0, rel=1e-14)
    holed = outline_plan(STADIUM, [circle((3.0, 1.0), 1.0)])
    assert plan_area(holed) == pytest.approx(12.0 - math.pi / 4, rel=1e-14)


def test_area_of_an_opening_in_a_curved_deck() -> None:
    # the ground is 1 - y/R times as long as its stations
    plan = grid_plan([0.0, 10.0], [-3.0, 3.0], radius=50.0)
    plan = with_openings(plan, [polyline([(4, 1), (6, 1), (6, 2), (4, 2), (4, 1)])])
    assert plan_area(plan) == pytest.approx(60.0 - 2.0 * (1.0 - 1.5 / 50.0), rel=1e-12)


@pytest.mark.parametrize(
    ("point", "on_slab"),
    [
        ((3.0, 1.0), False),  # in the opening
        ((3.5, 1.0), True),  # on its edge
        ((3.51, 1.0), True),
        ((6.9, 1.0), True),
        ((7.0, 1.0), True),  # on the arc
        ((7.001, 1.0), False),
        ((0.9, 1.0), False),  # in the dent
        ((0.9, 0.3), True),
        ((6.8, 0.2), False),  # in the corner cut off by the arc
        ((5.0, 2.0), True),
        ((5.0, 2.001), False),
    ],
)
def test_what_lies_on_the_slab(point: tuple[float, float], on_slab: bool) -> None:
    plan = outline_plan(STADIUM, [circle((3.0, 1.0), 1.0)])
    assert bool(plan.contains(np.array(point))) is on_slab


def test_many_openings_are_sampled_a_few_times_each(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each is looked at with all before it; their points are formed once for that, not each time:
    with 40 of two arcs a dozen times 80 curves are enough, 1 600 and more would be their square."""
    openings = [circle((1.0 + i, 1.0 + k), 0.43) for i in range(8) for k in range(5)]
    count = 0
    formed = Curve.sampled

    def counted(curve: Curve, sagitta: float) -> np.ndarray:
        nonlocal count
        count += 1
        return formed(curve, sagitta)

    monkeypatch.setattr(Curve, "sampled", counted)
    plan = outline_plan(polyline([(0, 0), (9, 0), (9, 6), (0, 6), (0, 0)]), openings)
    assert region(plan).area == pytest.approx(54.0 - 40 * math.pi * 0.215**2, rel=1e-5)
    assert count < 12 * 80


def test_openings_are_no_slab_on_a_grid_either() -> None:
    plan = with_openings(grid_plan([0.0, 4.0], [0.0, 4.0]), [circle((1.0, 1.0), 1.0)])
    found = plan.contains(np.array([[1.0, 1.0], [1.5, 1.0], [2.0, 1.0], [0.0, 0.0], [4.1, 0.0]]))
    assert found.tolist() == [False, True, True, True, False]
    assert plan.is_grid
    assert not plan.is_mapped


def test_a_path_may_not_leave_the_slab_on_its_way() -> None:
    plan = outline_plan(L_SHAPE)
    assert covers(plan, np.array([[0.5, 3.5], [1.0, 1.0], [3.5, 0.5]]))
    assert not covers(plan, np.array([[1.0, 3.9], [3.9, 1.0]]))


def test_where_a_line_meets_others() -> None:
    plan = with_lines(
        outline_plan(STADIUM),
        {
            "W1": polyline([(2, 0), (2, 2)]),
            "W2": (Curve((1.5, 0.5), (4.5, 0.5), -math.pi / 3),),
        },
    )
    found = crossings(plan, "W1")
    assert found["E1"] == pytest.approx([0.0], abs=1e-9)
    assert found["E3"] == pytest.approx([2.0], abs=1e-9)
    # the circle through W2 has radius 3 and its centre at (3, 0.5 - 3 cos 30 deg)
    y = 0.5 - 3.0 * math.cos(math.pi / 6) + math.sqrt(9.0 - 1.0)
    assert found["W2"] == pytest.approx([y], abs=1e-9)
    assert set(found) == {"E1", "E3", "W2"}


def test_a_line_may_run_over_an_opening() -> None:
    plan = outline_plan(L_SHAPE, [circle((1.0, 1.0), 0.5), circle((1.0, 3.0), 0.5)])
    plan = with_lines(plan, {"A": polyline([(1, 2.2), (1, 4)]), "B": polyline([(2, 0), (2, 2)])})
    assert over_opening(plan, "A") == 1
    assert over_opening(plan, "B") is None


def test_narrowest_panel() -> None:
    plan = with_lines(
        outline_plan(polyline([(0, 0), (10, 0), (10, 4), (0, 4), (0, 0)])),
        {"A": polyline([(3, 0), (3, 4)]), "B": polyline([(3.1, 0), (3.1, 4)])},
    )
    # parts of 3 x 4, 0.1 x 4 and 6.9 x 4; within 1e-3 of the part's size, see there
    assert narrowest_panel(plan, ["A", "B"], 0.5) == pytest.approx(3.0, abs=0.01)
    assert narrowest_panel(plan, ["A", "B"], 0.05) == pytest.approx(0.1, abs=0.01)
    assert narrowest_panel(plan, [], 0.5) == pytest.approx(4.0, abs=0.01)
    assert inscribed_diameter(region(outline_plan(circle((0, 0), 3.0)), 1e-4)) == pytest.approx(
        3.0, abs=0.01
    )


BOX = polyline([(0, 0), (4, 0), (4, 4), (0, 4), (0, 0)])


@pytest.mark.parametrize(
    ("ring", "message"),
    [
        (BOX[:3], "the outline is not closed"),
        (polyline([(0, 0), (4, 4), (4, 0), (0, 4), (0, 0)]), "crosses or touches itself"),
        (polyline([(0, 0), (4, 0), (0, 0)]), "no area"),
        ((Curve((0, 0), (1, 0), 1.0), Curve((1, 0), (0, 0), -1.0)), "no area"),
        ((*BOX[:3], Curve((0, 4), (0, 0), -4.0)), "crosses or touches itself"),
    ],
)
def test_no_outline(ring: tuple[Curve, ...], message: str) -> None:
    with pytest.raises(GeometryError, match=message):
        outline_plan(ring)


@pytest.mark.parametrize(
    ("openings", "message"),
    [
        ([circle((0.2, 1.0), 1.0)], "opening 1 is not wholly within"),
        ([circle((9.0, 1.0), 1.0)], "opening 1 is not wholly within"),
        ([circle((2.0, 2.0), 1.0), circle((2.8, 2.0), 1.0)], "opening 2 .* meets another"),
        ([circle((2.0, 2.0), 2.0), circle((2.0, 2.0), 1.0)], "opening 2 "),
        ([BOX], "opening 1 is not wholly within"),
    ],
)
def test_no_opening(openings: list[tuple[Curve, ...]], message: str) -> None:
    with pytest.raises(GeometryError, match=message):
        outline_plan(BOX, openings)


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ([(1, 1), (5, 1)], "line W leaves the slab"),
        ([(1, 1), (3, 3), (3, 1), (1, 3)], "line W crosses itself"),
    ],
)
def test_no_line(line: list[tuple[float, float]], message: str) -> None:
    with pytest.raises(GeometryError, match=message):
        with_lines(outline_plan(BOX), {"W": polyline(line)})


def test_grid_plans_are_as_before() -> None:
    plan: Plan = grid_plan([0.0, 3.0], [-1.0, 1.0], overhang={"left": 0.5})
    assert plan.is_mapped
    assert plan.twins == {"start": "C1", "end": "C2", "right": "L2"}
    assert plan_area(plan) == pytest.approx(3.0 * 2.5)
