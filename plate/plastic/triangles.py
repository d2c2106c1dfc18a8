"""Triangles on which a slab is loaded to collapse: straight edges, lines as sets of edges."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray

from plate.arrays import Floats, Ints
from plate.errors import MeshError
from plate.meshing.mesh import Mesh

# Sides of a triangle: side k runs from its corner k to the next one.
N_SIDES = 3


@dataclass(frozen=True)
class Triangles:
    """Conforming triangles.

    points : (n, 2) Cartesian [m]. cells : (m, 3) corners, turning from x to y. lines : of each
    named line its edges (k, 2) as pairs of points, in no order.
    Raises MeshError for a triangle that is turned or has no area.
    """

    points: Floats
    cells: Ints
    lines: Mapping[str, Ints]

    def __post_init__(self) -> None:
        bad = int(np.sum(self.areas <= 0.0))
        if bad:
            raise MeshError(f"{bad} triangles are turned or have no area")

    @cached_property
    def corners(self) -> Floats:
        """Corners (m, 3, 2) [m]."""
        return self.points[self.cells]

    @cached_property
    def areas(self) -> Floats:
        """Areas (m,) [m2]."""
        a, b = self.corners[:, 1] - self.corners[:, 0], self.corners[:, 2] - self.corners[:, 0]
        return np.asarray(0.5 * (a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]))

    @cached_property
    def centroids(self) -> Floats:
        """Centroids (m, 2) [m]."""
        return np.asarray(self.corners.mean(axis=1))

    @cached_property
    def along(self) -> Floats:
        """Unit vectors (m, 3, 2) along the sides."""
        step = np.roll(self.corners, -1, axis=1) - self.corners
        return np.asarray(step / np.linalg.norm(step, axis=2, keepdims=True))

    @cached_property
    def outward(self) -> Floats:
        """Unit normals (m, 3, 2) of the sides, outward."""
        return np.stack([self.along[..., 1], -self.along[..., 0]], axis=-1)

    @cached_property
    def gradients(self) -> Floats:
        """Gradients (m, 3, 2) of the barycentric coordinates [1/m]."""
        step = np.roll(self.corners, -1, axis=1) - self.corners
        inward = np.stack([-step[..., 1], step[..., 0]], axis=-1)
        return np.asarray(np.roll(inward, -1, axis=1) / (2.0 * self.areas[:, None, None]))

    @cached_property
    def edges(self) -> Ints:
        """All edges (e, 2), the lower point first."""
        return self._edges[0]

    @cached_property
    def cell_edges(self) -> Ints:
        """Edge (m, 3) of every side."""
        return self._edges[1]

    @cached_property
    def forward(self) -> NDArray[np.bool_]:
        """Whether (m, 3) a side runs as its edge does."""
        return np.asarray(self.edges[self.cell_edges, 0] == self.cells)

    @cached_property
    def on_rim(self) -> NDArray[np.bool_]:
        """Which edges (e,) have a triangle on one side only."""
        return np.asarray(np.bincount(self.cell_edges.ravel(), minlength=len(self.edges)) == 1)

    @cached_property
    def lengths(self) -> Floats:
        """Lengths (e,) of the edges [m]."""
        a, b = self.points[self.edges[:, 0]], self.points[self.edges[:, 1]]
        return np.asarray(np.linalg.norm(b - a, axis=1))

    @cached_property
    def region(self) -> shapely.Geometry:
        """The polygon that the triangles cover, holes in it where they leave openings."""
        rim = self.points[self.edges[self.on_rim]]
        rings = shapely.get_parts(shapely.polygonize([shapely.LineString(edge) for edge in rim]))
        parts = shapely.STRtree(rings).query(shapely.points(self.centroids), predicate="within")
        found = shapely.union_all(rings[np.unique(parts[1])])
        shapely.prepare(found)
        return found

    @cached_property
    def _edges(self) -> tuple[Ints, Ints]:
        sides = np.stack([self.cells, np.roll(self.cells, -1, axis=1)], axis=-1)
        unique, inverse = np.unique(
            np.sort(sides.reshape(-1, 2), axis=1), axis=0, return_inverse=True
        )
        return unique, inverse.reshape(-1, N_SIDES).astype(np.int64)

    def edges_of(self, name: str) -> Ints:
        """Numbers (k,) of the edges of a line. Raises MeshError for a line that is not there."""
        if name not in self.lines:
            raise MeshError(f"the triangles have no line {name}")
        pairs = np.sort(self.lines[name].reshape(-1, 2), axis=1)
        key = self.edges[:, 0] * len(self.points) + self.edges[:, 1]
        wanted = pairs[:, 0] * len(self.points) + pairs[:, 1]
        return np.searchsorted(key, wanted).astype(np.int64)

    def scaled(self, length: float) -> "Triangles":
        """The same with `length` [m] as the unit."""
        return replace(self, points=self.points / length)


def split_in_four(mesh: Mesh) -> Triangles:
    """Triangles of a mesh of quadrilaterals: the corners of each cell and its centre, arcs as
    chords. Upper bounds need the two diagonals: halves give three times the gap.

    Raises
    ------
    MeshError
        A quadrilateral that is not convex.
    """
    p = mesh.order
    quads = mesh.cells[:, [0, (p + 1) * p, (p + 1) ** 2 - 1, p]]
    used, index = np.unique(quads, return_inverse=True)
    quads = index.reshape(-1, 4)
    points = mesh.xy[used]
    centres = len(points) + np.arange(len(quads))
    cells = np.stack(
        [quads, np.roll(quads, -1, axis=1), np.broadcast_to(centres[:, None], quads.shape)], axis=-1
    )
    number = np.full(mesh.n_nodes, -1)
    number[used] = np.arange(len(used))
    return Triangles(
        np.concatenate([points, points[quads].mean(axis=1)]),
        cells.reshape(-1, 3),
        {name: number[nodes[:, [0, -1]]] for name, nodes in mesh.lines.items()},
    )
