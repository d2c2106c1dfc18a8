"""Plans of odd shape that several tests of the mechanics mesh."""

import numpy as np

from plate.arrays import Floats
from plate.geometry.curves import Curve, arc_through, circle, polyline
from plate.geometry.outline import outline_plan, with_lines, with_openings
from plate.geometry.plan import Plan, grid_plan


def l_shape() -> Plan:
    """Two arms 2 m wide with a re-entrant corner at (2, 2)."""
    return outline_plan(polyline([(0, 0), (4, 0), (4, 2), (2, 2), (2, 4), (0, 4), (0, 0)]))


def holed_square() -> Plan:
    """A square of 4 m with a round hole off its middle."""
    ring = polyline([(0, 0), (4, 0), (4, 4), (0, 4), (0, 0)])
    return outline_plan(ring, [circle((1.6, 2.2), 1.2)])


def curved_taper() -> Plan:
    """A tapered deck between two arcs, with an opening and an oblique line."""
    ring = (
        arc_through((0, -2), (5, -1.6), (10, -1)),
        Curve((10, -1), (10, 2)),
        arc_through((10, 2), (5, 2.2), (0, 3)),
        Curve((0, 3), (0, -2)),
    )
    opening = polyline([(4, 0.6), (5, 0.6), (5, 1.3), (4, 1.3), (4, 0.6)])
    return outline_plan(ring, [opening], {"W": polyline([(2, -1), (3.2, 1.5)])})


def skew_with_line() -> Plan:
    """A skew grid plan with a line across its panels that ends inside the slab."""
    plan = grid_plan([0.0, 3.0, 6.0], [-2.0, 2.0], skew=0.4, overhang={"left": 0.4})
    return with_lines(plan, {"W": polyline([(1.0, -1.5), (5.0, 1.0)])})


def narrow_strips() -> Plan:
    """Lines 5 cm from an edge and 4 cm from each other, and a slot 6 cm wide."""
    plan = outline_plan(polyline([(0, 0), (5, 0), (5, 2), (0, 2), (0, 0)]))
    slot = polyline([(2, 1), (3.5, 1), (3.5, 1.06), (2, 1.06), (2, 1)])
    lines = {"A": polyline([(0, 0.05), (5, 0.05)]), "B": polyline([(0, 0.09), (5, 0.09)])}
    return with_lines(with_openings(plan, [slot]), lines)


def tiny_notch() -> Plan:
    """A slab of 6 m x 3 m with a notch of 3 cm, a hole of 4 cm and an edge of 2 cm."""
    ring = polyline(
        [(0, 0), (3, 0), (3, 0.03), (3.03, 0.03), (3.03, 0), (6, 0), (6, 2.98), (5.98, 3), (0, 3)]
    )
    return outline_plan((*ring, Curve((0, 3), (0, 0))), [circle((1.0, 2.0), 0.04)])


def curved_grid() -> Plan:
    """A deck on a curve of 20 m radius with an opening."""
    plan = grid_plan([0.0, 4.0, 8.0], [-2.0, 2.0], radius=20.0)
    return with_openings(plan, [polyline([(5, -1), (6, -1), (6, 0), (5, 0), (5, -1)])])


PLANS = {
    "L-shape": l_shape,
    "round hole": holed_square,
    "curved taper": curved_taper,
    "skew with line": skew_with_line,
    "narrow strips": narrow_strips,
    "tiny features": tiny_notch,
    "opening on a curve": curved_grid,
}


def corners_of(plan: Plan) -> Floats:
    """Where the plan's edges turn (n, 2)."""
    found = []
    for ring in plan.boundary:
        for before, after in zip((ring[-1], *ring[:-1]), ring, strict=True):
            one, other = before.tangent(1.0), after.tangent(0.0)
            if one @ other < 0.99:
                found.append(after.start)
    return np.array(found).reshape(-1, 2)
