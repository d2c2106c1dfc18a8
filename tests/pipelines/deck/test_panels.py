"""Panels between C and L lines."""

import numpy as np

from pipelines.deck.panels import panel_names, panel_of
from plate.geometry.plan import grid_plan


def test_names_and_places() -> None:
    plan = grid_plan(
        [0.0, 3.0, 6.0],
        [-2.0, 1.0, 4.0],
        overhang={"start": 0.5, "end": 0.5, "left": 0.3, "right": 0.3},
    )
    names = panel_names(plan)
    assert names == ("C1-C2/L1-L2", "C1-C2/L2-L3", "C2-C3/L1-L2", "C2-C3/L2-L3")
    points = np.array([[1.0, -1.0], [1.0, 2.0], [3.0, -1.0], [-0.4, -2.2], [6.3, 4.2]])
    assert [names[k] for k in panel_of(plan, points)] == [
        "C1-C2/L1-L2",
        "C1-C2/L2-L3",
        "C2-C3/L1-L2",
        "C1-C2/L1-L2",
        "C2-C3/L2-L3",
    ]


def test_two_lines_along_need_no_second_name() -> None:
    plan = grid_plan([0.0, 3.0, 6.0], [-2.0, 2.0])
    assert panel_names(plan) == ("C1-C2", "C2-C3")


def test_skew_panels_follow_the_cross_lines() -> None:
    plan = grid_plan([0.0, 3.0, 6.0], [-2.0, 2.0], skew=np.radians(45.0))
    # C2 passes (3 + y, y): at y = 2 station 4.9 is still before it
    assert panel_of(plan, np.array([[4.9, 2.0], [5.1, 2.0]])).tolist() == [0, 1]
