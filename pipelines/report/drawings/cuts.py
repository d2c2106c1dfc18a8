"""Fields along straight lines of the plan, exact and one-sided where the slab is divided."""

from dataclasses import dataclass

import numpy as np

from pipelines.deck.deck import Deck
from pipelines.model.responses import SolvedDeck
from plate.arrays import Floats, Ints

# A line is cut this far beside itself [m], so that it lies in cells and not between them.
BESIDE = 1e-6


@dataclass(frozen=True)
class FieldMap:
    """Field points in plan and Cartesian coordinates (n, 2) [m] and the quadrilaterals (m, 4)
    between them; no quadrilateral reaches across a line that divides the slab."""

    plan: Floats
    xy: Floats
    quads: Ints


def field_map(solved: SolvedDeck) -> FieldMap:
    """Where the fields of a run are given."""
    points = solved.recovery.points
    return FieldMap(points.plan, points.xy, points.quads)


def cut(
    fields: FieldMap, a: Floats, b: Floats, values: Floats, side: int = 0
) -> tuple[Floats, Floats]:
    """Plan points (n, 2) in order along the straight line a-b, and values (k, n) there.

    values : (k, n_point), taken as linear between field points. Where the line crosses a division
    of the slab there are two points in the same place, one for each side.
    side : +1 or -1 for the side of the line towards which it is cut (+1 is right of a-b with y
    down the page), 0 where the line is no division.
    """
    along = (b - a) / np.linalg.norm(b - a)
    normal = np.array([-along[1], along[0]])
    distance = (fields.plan - a) @ normal - BESIDE * (side or 1)
    corner = distance[fields.quads]
    crossed = corner * np.roll(corner, -1, axis=1) < 0.0
    hit = np.flatnonzero(crossed.sum(axis=1) == 2)
    edge = np.nonzero(crossed[hit])[1].reshape(-1, 2)
    first = np.take_along_axis(fields.quads[hit], edge, axis=1)
    second = np.take_along_axis(fields.quads[hit], (edge + 1) % 4, axis=1)
    share = distance[first] / (distance[first] - distance[second])
    points = fields.plan[first] + share[..., None] * (fields.plan[second] - fields.plan[first])
    found = values[:, first] + share * (values[:, second] - values[:, first])
    # Each quadrilateral gives a piece: order the pieces and the ends of each along the line.
    s = (points - a) @ along
    turn = np.argsort(s, axis=1)
    s = np.take_along_axis(s, turn, axis=1)
    points = np.take_along_axis(points, turn[..., None], axis=1)
    found = np.take_along_axis(found, np.broadcast_to(turn, found.shape), axis=2)
    order = np.argsort(s.mean(axis=1), kind="stable")
    return points[order].reshape(-1, 2), found[:, order].reshape(len(values), -1)


def cross_path(deck: Deck, u: float) -> tuple[Floats, Floats]:
    """Plan ends of the cross line of logical station u [m], from the left to the right edge."""
    y = deck.plan.line_offsets(np.array(u))
    left, right = deck.plan.at(np.array(u), y[[0, -1]])
    return left, right


def along_path(deck: Deck, share: float) -> tuple[Floats, Floats]:
    """Plan ends of the line from start to end edge at that share of the slab's width."""
    low, high = deck.plan.u_range
    y = deck.plan.line_offsets(np.array([low, high]))
    at = y[:, 0] + share * (y[:, -1] - y[:, 0])
    start, end = deck.plan.at(np.array([low, high]), at)
    return start, end
