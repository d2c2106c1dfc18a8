"""What the curves of a plan make together: pieces between the vertices at which they meet."""

import itertools
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from plate.arrays import Floats, Ints, connected
from plate.geometry.curves import SAME, Curve, meetings
from plate.geometry.plan import Plan


@dataclass(frozen=True)
class Arrangement:
    """Pieces of curves that meet at vertices only.

    vertices : (n, 2) [m]. pieces : curves from vertex ends[k, 0] to ends[k, 1], ends (m, 2).
    courses : of each named chain its pieces in order, each with whether it runs forward. What
        lies off the slab is left out, so that a chain may have gaps.
    """

    vertices: Floats
    pieces: tuple[Curve, ...]
    ends: Ints
    courses: Mapping[str, tuple[tuple[int, bool], ...]]


def arrange(plan: Plan, chains: Mapping[str, tuple[Curve, ...]]) -> Arrangement:
    """The pieces of named chains of curves that lie on the slab of a plan."""
    curves = [curve for chain in chains.values() for curve in chain]
    parts = [_parts(curve, cuts) for curve, cuts in zip(curves, _cuts(curves), strict=True)]
    flat = [part for group in parts for part in group]
    ends = np.array([(part.start, part.end) for part in flat]).reshape(-1, 2)
    vertices, index = _merged(ends)
    index = index.reshape(-1, 2)
    middles = np.array([part.at(0.5) for part in flat])
    on_slab = plan.contains(middles)

    pieces: list[Curve] = []
    piece_ends: list[tuple[int, int]] = []
    known: dict[tuple[int, int], list[int]] = {}
    found: list[tuple[int, bool] | None] = []
    for part, (a, b), middle, inside in zip(flat, index.tolist(), middles, on_slab, strict=True):
        if a == b or not inside:
            found.append(None)
            continue
        twins = known.setdefault((min(a, b), max(a, b)), [])
        for k in twins:
            if np.hypot(*(pieces[k].at(0.5) - middle)) < 10.0 * SAME:
                found.append((k, piece_ends[k] == (a, b)))
                break
        else:
            start, end = vertices[a], vertices[b]
            exact = Curve(
                (float(start[0]), float(start[1])), (float(end[0]), float(end[1])), part.sweep
            )
            twins.append(len(pieces))
            found.append((len(pieces), True))
            pieces.append(exact)
            piece_ends.append((a, b))
    courses: dict[str, tuple[tuple[int, bool], ...]] = {}
    place, group = 0, 0
    for name, chain in chains.items():
        count = sum(len(part) for part in parts[group : group + len(chain)])
        course = [one for one in found[place : place + count] if one is not None]
        courses[name] = tuple(course)
        place, group = place + count, group + len(chain)
    return Arrangement(vertices, tuple(pieces), np.array(piece_ends).reshape(-1, 2), courses)


def _cuts(curves: list[Curve]) -> list[list[float]]:
    """Parameters on each curve at which another meets it."""
    boxes = np.array([_box(curve) for curve in curves])
    low, high = boxes[:, 0] - SAME, boxes[:, 1] + SAME
    cuts: list[list[float]] = [[0.0, 1.0] for _ in curves]
    for i, side in enumerate(curves):
        near = np.all((low[i + 1 :] <= high[i]) & (high[i + 1 :] >= low[i]), axis=1)
        for k in (i + 1 + np.flatnonzero(near)).tolist():
            for s, t in meetings(side, curves[k]):
                cuts[i].append(s)
                cuts[k].append(t)
    return cuts


def _box(curve: Curve) -> Floats:
    points = curve.at([0.0, 1.0]) if curve.sweep == 0.0 else curve.sampled(0.1 * curve.radius)
    return np.stack([points.min(axis=0), points.max(axis=0)])


def _parts(curve: Curve, cuts: list[float]) -> list[Curve]:
    shares = [0.0]
    for cut in sorted(cuts):
        if (cut - shares[-1]) * curve.length > 2.0 * SAME:
            shares.append(cut)
    shares[-1] = 1.0
    return [curve.part(a, b) for a, b in itertools.pairwise(shares)]


def _merged(points: Floats) -> tuple[Floats, Ints]:
    """Points (n, 2) merged where they are the same: distinct ones and the index of each."""
    pairs = cKDTree(points).query_pairs(4.0 * SAME, output_type="ndarray")
    index = connected(len(points), *pairs.T)
    _, first = np.unique(index, return_index=True)
    return points[first], index
