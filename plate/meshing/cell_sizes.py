"""How large cells are to be where, and the points on curves that follow from it."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import Delaunay

from plate.arrays import Floats, Ints
from plate.geometry.curves import Curve
from plate.meshing.planar_graph import Arrangement

# Cells grow by this share of the distance from what asks for small ones.
SLOPE = 0.45
# An arc turns at most this much along the side of a cell before it is halved [rad].
ARC_STEP = np.pi / 4.0
# Cells get no smaller than this share of the size asked for only because two curves are close:
# between close curves they are long and thin.
LEAST = 0.1
# A count of cells is broken off at so many squares: the job is too large by then.
MOST_SQUARES = 400_000

Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class SizeField:
    """Largest side of a cell [m] anywhere: `size`, or less near places that ask for it.

    places : (n, 2) points or centres of rectangles [m]; half : (n, 2) half sides of those, zero
    for points; sizes : (n,) sides of cells there.
    """

    size: float
    places: Floats
    half: Floats
    sizes: Floats

    def at(self, points: Floats) -> Floats:
        """Sizes (...,) at points (..., 2)."""
        flat = np.asarray(points, dtype=float).reshape(-1, 2)
        out = np.full(len(flat), self.size)
        for start in range(0, len(self.sizes), 256):
            part = slice(start, start + 256)
            away = np.abs(flat[:, None] - self.places[part]) - self.half[part]
            gap = np.linalg.norm(np.maximum(away, 0.0), axis=-1)
            out = np.minimum(out, (self.sizes[part] + SLOPE * gap).min(axis=1))
        return out.reshape(np.shape(points)[:-1])

    def with_places(self, places: Floats, sizes: Floats, half: Floats | None = None) -> "SizeField":
        """The field with more places that ask for small cells."""
        asks = sizes < self.size
        half = np.zeros_like(places) if half is None else half
        return replace(
            self,
            places=np.concatenate([self.places, places[asks]]),
            half=np.concatenate([self.half, half[asks]]),
            sizes=np.concatenate([self.sizes, sizes[asks]]),
        )

    def scaled(self, factor: float) -> "SizeField":
        """Sizes times a factor."""
        return replace(self, size=factor * self.size, sizes=factor * self.sizes)


def uniform(size: float) -> SizeField:
    """The same size everywhere."""
    return SizeField(size, np.empty((0, 2)), np.empty((0, 2)), np.empty(0))


def asked_count(
    field: SizeField, low: Floats, high: Floats, on: Callable[[Floats], Flags]
) -> float:
    """How many squares of the sizes asked for the places of a field take, beyond those of its
    size everywhere: of the part `on` of the box from `low` to `high` (2,) [m].

    Summed over squares that are quartered until they are no larger than what is asked for in them;
    of more than `MOST_SQUARES` the sum is what is known by then, less than the whole.
    """
    if not len(field.sizes):
        return 0.0
    anywhere = replace(field, size=np.inf)
    side = float((high - low).max()) / 8.0
    steps = np.stack(np.meshgrid(*(np.arange(np.ceil(d / side)) for d in high - low)), axis=-1)
    centres = low + (steps.reshape(-1, 2) + 0.5) * side
    found, seen = 0.0, 0
    quarters = 0.25 * np.array([[-1.0, -1.0], [-1.0, 1.0], [1.0, -1.0], [1.0, 1.0]])
    while len(centres):
        seen += len(centres)
        sizes = anywhere.at(centres)
        near = sizes - SLOPE * side * np.sqrt(0.5) < field.size
        centres, sizes = centres[near], sizes[near]
        small = sizes < side if seen < MOST_SQUARES else np.zeros(len(sizes), dtype=bool)
        squares, inside = np.minimum(sizes[~small], field.size), on(centres[~small])
        found += float(np.sum((side / squares[inside]) ** 2 - (side / field.size) ** 2))
        centres = (centres[small][:, None] + side * quarters).reshape(-1, 2)
        side *= 0.5
    return found


def divided(curve: Curve, field: SizeField) -> Floats:
    """Parameters (n + 1,) from 0 to 1 of points on a curve, spaced as the field asks."""
    count = int(np.clip(np.ceil(8.0 * curve.length / field.at(curve.at(0.5))), 16, 2000))
    s = np.linspace(0.0, 1.0, count + 1)
    density = curve.length / field.at(curve.at(0.5 * (s[1:] + s[:-1]))) / count
    passed = np.concatenate([[0.0], np.cumsum(density)])
    least = int(np.ceil(abs(curve.sweep) / ARC_STEP - 1e-9))
    n = max(int(np.ceil(passed[-1] - 0.05)), least, 1)
    shares = np.interp(np.linspace(0.0, passed[-1], n + 1), passed, s)
    shares[[0, -1]] = 0.0, 1.0
    return np.asarray(shares)


def near_misses(plan: Arrangement, field: SizeField) -> SizeField:
    """The field made smaller where curves that do not meet come close to each other, and along
    short pieces.

    Two such curves are seen as neighbours in the Delaunay triangulation of points on all curves.
    """
    short = np.array([curve.length for curve in plan.pieces])
    middles = np.array([curve.at(0.5) for curve in plan.pieces])
    half = np.array([0.5 * np.abs(curve.chord) for curve in plan.pieces])
    field = field.with_places(middles, short, half)
    for _ in range(2):
        points, piece = _on_curves(plan.pieces, field)
        ends = plan.ends[piece]
        triangles = Delaunay(points).simplices
        pairs = np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]])
        pairs = np.unique(np.sort(pairs, axis=1), axis=0)
        a, b = pairs.T
        meet = np.any(ends[a][:, :, None] == ends[b][:, None, :], axis=(1, 2))
        a, b = a[~meet], b[~meet]
        gap = np.maximum(np.linalg.norm(points[a] - points[b], axis=1), LEAST * field.size)
        field = field.with_places(
            np.concatenate([points[a], points[b]]), np.concatenate([gap, gap])
        )
    return field


def _on_curves(pieces: Sequence[Curve], field: SizeField) -> tuple[Floats, Ints]:
    """Points inside the pieces (n, 2), and the piece of each."""
    found, owner = [], []
    for k, curve in enumerate(pieces):
        shares = divided(curve, field)
        middles = 0.5 * (shares[1:] + shares[:-1])
        found.append(curve.at(np.concatenate([shares[1:-1], middles])))
        owner.append(np.full(len(found[-1]), k))
    return np.concatenate(found), np.concatenate(owner)
