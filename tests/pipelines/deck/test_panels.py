"""Panels between C and L lines."""

import numpy as np

from pipelines.deck.panels import Panels
from plate.geometry.curves import polyline
from plate.geometry.outline import outline_plan
from plate.geometry.plan import grid_plan


def test_names_and_places() -> None:
    plan = grid_plan(
        [0.0, 3.0, 6.0],
        [-2.0, 1.0, 4.0],
        overhang={"start": 0.5, "end": 0.5, "left": 0.3, "right": 0.3},
    )
    names = Panels(plan).names
    assert names == ("C1-C2/L1-L2", "C1-C2/L2-L3", "C2-C3/L1-L2", "C2-C3/L2-L3")
    points = np.array([[1.0, -1.0], [1.0, 2.0], [3.0, -1.0], [-0.4, -2.2], [6.3, 4.2]])
    assert [names[k] for k in Panels(plan).index(points)] == [
        "C1-C2/L1-L2",
        "C1-C2/L2-L3",
        "C2-C3/L1-L2",
        "C1-C2/L1-L2",
        "C2-C3/L2-L3",
    ]


def test_two_lines_along_need_no_second_name() -> None:
    plan = grid_plan([0.0, 3.0, 6.0], [-2.0, 2.0])
    assert Panels(plan).names == ("C1-C2", "C2-C3")


def test_skew_panels_follow_the_cross_lines() -> None:
    plan = grid_plan([0.0, 3.0, 6.0], [-2.0, 2.0], skew=np.radians(45.0))
    # C2 passes (3 + y, y): at y = 2 station 4.9 is still before it
    assert Panels(plan).index(np.array([[4.9, 2.0], [5.1, 2.0]])).tolist() == [0, 1]


def test_parts_of_bays() -> None:
    """Bays of 3 m in parts of 1.5 m at most, strips of 4 m in parts of 2 m; overhangs belong to the
    part beside them, and a border to both for `holds`, to the later one for `index`."""
    plan = grid_plan([0.0, 3.0, 5.0], [-2.0, 2.0], overhang={"start": 0.5, "right": 0.3})
    panels = Panels(plan, (1.6, 2.0))
    parts = [f"part {a}.{b}" for a in (1, 2) for b in (1, 2)]
    assert panels.names == tuple(f"{bay} {part}" for bay in ("C1-C2", "C2-C3") for part in parts)
    assert panels.count == 8
    points = np.array([[-0.4, -1.9], [1.5, -0.1], [1.4, 2.2], [4.9, 0.0], [3.9, -2.0]])
    assert panels.index(points).tolist() == [0, 2, 1, 7, 4]
    assert panels.extent(2) == ((1.5, 3.0), (-2.0, 0.0))
    assert [panels.holds(k, np.array([[1.5, 0.0]]))[0] for k in range(5)] == [True] * 4 + [False]


def test_parts_cover_the_slab_once() -> None:
    """Of a tapered and skew deck every point lies in one part, inside its extent along."""
    plan = grid_plan(
        [0.0, 4.0, 9.0], [-2.0, 0.5, 2.0], skew=np.radians(20.0), end_offsets=[-3.0, 0.5, 3.0]
    )
    panels = Panels(plan, (1.3, 1.1))
    assert panels.with_slab == panels.names
    chance = np.random.default_rng(5)
    u, y = chance.uniform(0.0, 9.0, 400), chance.uniform(-1.9, 1.9, 400)
    points = plan.at(u, y)
    index = panels.index(points)
    assert set(index.tolist()) <= set(range(panels.count))
    for k in set(index.tolist()):
        low, high = panels.extent(k)[0]
        mine = u[index == k]
        assert low - 1e-9 <= mine.min()
        assert mine.max() <= high + 1e-9
        assert panels.holds(k, points[index == k]).all()


def test_parts_of_an_outline_hold_slab() -> None:
    """An L of 6 m by 4 m without its far quarter: four parts of 3 m by 2 m, three with slab."""
    corners = [[0.0, 0.0], [6.0, 0.0], [6.0, 2.0], [3.0, 2.0], [3.0, 4.0], [0.0, 4.0]]
    panels = Panels(outline_plan(polyline([*corners, corners[0]])), (3.0, 2.0))
    assert panels.names == ("slab part 1.1", "slab part 1.2", "slab part 2.1", "slab part 2.2")
    assert panels.with_slab == panels.names[:3]
    assert Panels(panels.plan).names == ("slab",)
    assert panels.index(np.array([[5.0, 1.0]])).tolist() == [2]
