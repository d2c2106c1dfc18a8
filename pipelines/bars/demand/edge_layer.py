"""The twisting moment that bars are designed for beside the slab's edges.

By Mindlin's theory the twisting moment about an edge vanishes at the edge where nothing holds the
slope along it: a layer takes it there, falling by e every t/3.2, and hands it on as a shear along
the edge. Kirchhoff's theory has no such layer, and bars are not designed by it: nearer than one
thickness to an edge that does not hold the slope the twisting moment about the edge is that one
thickness off it; the bending moments, which have nothing of the layer to first order, are the
point's own. A beam at the edge ties the slope to its own and leaves a part of the layer: the same
is done there. Beside lines within the slab the layer's twist is of the next order in the thickness,
with another sign on either side: there every moment is the point's own.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from pipelines.envelopes.peaks import nearest
from pipelines.model.readable import away_from, reaches, yielding_edges
from pipelines.model.responses import Response, SolvedDeck
from plate.arrays import Floats, Ints
from plate.results.functionals import component_rows
from plate.results.places import at_points
from plate.solver.solution import LocalRows

MOMENTS = slice(1, 4)
# A point nearer to an edge than this lies on it [m].
ON = 1e-9
# In a corner a point is moved off one edge after the other, at most so many times.
MOVES = 8


@dataclass(frozen=True, eq=False, kw_only=True)
class EdgeLayer:
    """Field points in the layer, and the twisting moment about the edge further in.

    place : (n_point,) number of each field point among the n of the layer, -1 outside it.
    twist : (3, n) shares of m_x, m_y, m_xy in the twisting moment about the nearest edge; turned :
    (3, n) what a unit of that moment is of m_x, m_y, m_xy.
    rows : (n_row, n_dof) of that moment at the points that stand for others; row : (n,) of each.
    """

    place: Ints
    twist: Floats
    turned: Floats
    rows: sparse.csr_array
    row: Ints

    @cached_property
    def _read(self) -> LocalRows:
        return LocalRows(self.rows)

    def holds(self, points: Ints) -> NDArray[np.bool_]:
        """Which of some field points (k,) lie in it."""
        return np.asarray(self.place[points] >= 0)

    def further_in(self, response: Response) -> Floats:
        """Twisting moments (n, n_load) [N m/m] that stand for those in the layer."""
        return response.of_slab(self._read)[self.row]

    def without(self, points: Ints, moments: Floats, further_in: Floats) -> Floats:
        """Moments (3, k, n_load) at some field points (k,) without the layer's part."""
        inside = np.flatnonzero(self.place[points] >= 0)
        if not len(inside):
            return moments
        mine = self.place[points[inside]]
        own = np.einsum("cn,cnl->nl", self.twist[:, mine], moments[:, inside])
        found = moments.copy()
        found[:, inside] += self.turned[:, mine, None] * (further_in[mine] - own)
        return found

    def moments(self, response: Response) -> Floats:
        """m_x, m_y, m_xy (3, n_point, n_load) of a response without the layer's part, which what
        the held slab has is none of."""
        points, moments = np.arange(len(self.place)), response.fields[MOMENTS]
        if response.held is None:
            return self.without(points, moments, self.further_in(response))
        held = response.held[MOMENTS, :, None]
        return self.without(points, moments - held, self.further_in(response)) + held


def edge_layer(solved: SolvedDeck) -> EdgeLayer | None:
    """The layer of a deck; None by Kirchhoff's theory and where every edge holds the slope."""
    model, plan = solved.model, solved.recovery.points.plan
    edges = yielding_edges(model)
    if model.section.thin or not len(edges):
        return None
    _, along, gap = _nearest_side(plan, edges)
    outside = reaches(gap, model.section.thickness)
    layer = np.flatnonzero(~outside)
    stands, known = _further_in(solved, outside, edges)
    layer, stands = layer[known], stands[known]
    # along the axes of the deck's own components
    along = along[layer] * np.column_stack(
        [model.mesh.alignment.stretch(plan[layer]), np.ones(len(layer))]
    )
    c, s = along.T / np.linalg.norm(along, axis=1)
    twist = np.stack([-s * c, s * c, c**2 - s**2])
    key = np.column_stack([np.round(stands, 9), np.round(twist.T, 9)])
    _, first, row = np.unique(key, axis=0, return_index=True, return_inverse=True)
    place = np.full(len(plan), -1)
    place[layer] = np.arange(len(layer))
    return EdgeLayer(
        place=place,
        twist=twist,
        turned=twist * np.array([[2.0], [2.0], [1.0]]),
        rows=_twist_rows(solved, stands[first], twist[:, first]),
        row=row.ravel(),
    )


def _nearest_side(points: Floats, sides: Floats) -> tuple[Floats, Floats, Floats]:
    """Of plan points (n, 2) the nearest point (n, 2) on sides (k, 2, 2), a vector (n, 2) along that
    side, and the distance (n,) [m]."""
    foot, vector = np.zeros(points.shape), np.zeros(points.shape)
    least = np.full(len(points), np.inf)
    for a, b in sides:
        along = b - a
        share = np.clip((points - a) @ along / (along @ along), 0.0, 1.0)
        there = a + share[:, None] * along
        gap = np.linalg.norm(points - there, axis=1)
        nearer = gap < least
        foot[nearer], vector[nearer], least[nearer] = there[nearer], along, gap[nearer]
    return foot, vector, least


def _further_in(
    solved: SolvedDeck, outside: NDArray[np.bool_], edges: Floats
) -> tuple[Floats, NDArray[np.bool_]]:
    """Plan points (n, 2) [m] one thickness off the edges that stand for the field points which are
    not outside the layer (n_point,), and which of them are known: where there is no such point, of
    two edges near to each other or beside a singular place, the nearest field point that is, if
    there is one at all."""
    model, points, t = solved.model, solved.recovery.points, solved.model.section.thickness
    layer = np.flatnonzero(~outside)
    cell = np.zeros(points.n_points, dtype=np.int64)
    cell[points.cells] = np.arange(model.mesh.n_cells)[:, None]
    inward = model.mesh.corners[cell[layer]].mean(axis=1)
    at = points.plan[layer].copy()
    for _ in range(MOVES):
        foot, along, gap = _nearest_side(at, edges)
        near = ~reaches(gap, t)
        if not near.any():
            break
        away, on = at - foot, gap < ON
        normal = np.column_stack([-along[:, 1], along[:, 0]])
        normal *= np.sign(np.sum(normal * (inward - at), axis=1))[:, None]
        away[on] = normal[on]
        at[near] = (foot + t * away / np.linalg.norm(away, axis=1)[:, None])[near]
    known = solved.deck.plan.contains(at) & reaches(_nearest_side(at, edges)[2], t)
    xy = model.mesh.alignment.to_cartesian(at)
    known &= away_from(solved.singular_places, model, xy, t)
    clear = outside & solved.readable
    if clear.any():
        at[~known] = points.plan[nearest(solved, clear)[layer[~known]]]
        known[:] = True
    return at, known


def _twist_rows(solved: SolvedDeck, plan: Floats, twist: Floats) -> sparse.csr_array:
    """Rows (n, n_dof) of shares `twist` (3, n) of m_x, m_y, m_xy at plan points (n, 2)."""
    places = at_points(solved.model.mesh, plan)
    total = sparse.csr_array((len(plan), solved.model.n_dof))
    for component, share in enumerate(twist, start=MOMENTS.start):
        rows = component_rows(solved.model, places, np.full(len(plan), component))
        total = total + sparse.diags_array(share) @ rows
    return sparse.csr_array(total)
