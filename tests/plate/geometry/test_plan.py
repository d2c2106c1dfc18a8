"""Plans of lines across and along."""

import math

import numpy as np
import pytest

from plate.errors import GeometryError
from plate.geometry.plan import grid_plan


def test_lines_of_a_straight_plan() -> None:
    plan = grid_plan([0.0, 3.0], [-2.0, 2.0], overhang={"start": 0.5, "right": 0.25})
    np.testing.assert_allclose(plan.outline, [[-0.5, -2], [3, -2], [3, 2.25], [-0.5, 2.25]])
    np.testing.assert_allclose(plan.lines["C1"].path, [[0, -2], [0, 2]])
    np.testing.assert_allclose(plan.lines["C1"].full, [[0, -2], [0, 2.25]])
    np.testing.assert_allclose(plan.lines["L2"].full, [[-0.5, 2], [3, 2]])
    np.testing.assert_allclose(plan.lines["right"].path, [[-0.5, 2.25], [3, 2.25]])
    assert set(plan.lines) == {"C1", "C2", "L1", "L2", "start", "end", "left", "right"}


def test_skew_leans_every_cross_line() -> None:
    skew = math.radians(30)
    plan = grid_plan([0.0, 3.0], [-2.0, 2.0], skew=skew)
    lean = 2.0 * math.tan(skew)
    np.testing.assert_allclose(plan.lines["C2"].path, [[3 - lean, -2], [3 + lean, 2]])
    assert plan.logical_station(plan.lines["C2"].path) == pytest.approx([3.0, 3.0])


def test_taper_extends_straight_through_the_overhangs() -> None:
    plan = grid_plan(
        [0.0, 4.0], [-2.0, 2.0], end_offsets=[-1.0, 1.0], overhang={"end": 2.0, "left": 0.5}
    )
    np.testing.assert_allclose(plan.lines["L2"].path, [[0, 2], [4, 1]])
    np.testing.assert_allclose(plan.lines["L2"].full, [[0, 2], [6, 0.5]])
    np.testing.assert_allclose(plan.lines["left"].path, [[0, -2.5], [6, -1.0]])


def test_contains() -> None:
    plan = grid_plan([0.0, 4.0], [-2.0, 2.0], end_offsets=[-1.0, 1.0], skew=0.3)
    edge = plan.outline.mean(axis=0)
    inside = np.vstack([plan.outline, edge, 0.5 * (plan.outline[0] + plan.outline[1])])
    assert plan.contains(inside).all()
    assert not plan.contains(plan.outline + (plan.outline - edge) * 1e-6).any()


@pytest.mark.parametrize(
    ("arguments", "options", "message"),
    [
        (([0.0], [0.0, 1.0]), {}, "stations"),
        (([0.0, 1.0], [1.0, 1.0]), {}, "offsets must"),
        (([0.0, 1.0], [0.0, 1.0]), {"end_offsets": [0.0]}, "end offsets"),
        (([0.0, 1.0], [0.0, 1.0]), {"end_offsets": [1.0, 0.0]}, "end offsets"),
        (([0.0, 1.0], [0.0, 1.0]), {"skew": 0.1, "radius": 10.0}, "exclude"),
        (([0.0, 1.0], [0.0, 4.0]), {"radius": 4.0}, "centre of curvature"),
        (
            ([0.0, 1.0], [0.0, 1.0]),
            {"end_offsets": [0.0, 0.1], "overhang": {"end": 1.0}},
            "cross each other",
        ),
    ],
)
def test_plans_that_cannot_be(
    arguments: tuple[list[float], list[float]], options: dict[str, object], message: str
) -> None:
    with pytest.raises(GeometryError, match=message):
        grid_plan(*arguments, **options)
