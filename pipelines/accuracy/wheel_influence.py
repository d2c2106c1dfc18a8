"""Results under one wheel anywhere on the deck: means of influence surfaces under its patch.

They are computed on a lattice of places and taken as cubic between; a mean under a patch varies
over the patch's own size, so a lattice that divides the patch follows it. It is finer where the
patch comes onto the slab: the edge's own layer makes waves there that are shorter than the patch.
What the interpolation misses is seen halfway between the lattice's places: a patch whose edge
passes the place of a shear, where the surface jumps, has its highest mean there, at a kink that the
cubics round off.
"""

from dataclasses import dataclass

import numpy as np
from scipy import sparse

from pipelines.model.influence import Surfaces
from pipelines.standards.actions.loads import Axle, Vehicle
from pipelines.traffic.positions import LoadPositions, Size
from plate.arrays import Floats, Ints
from plate.geometry.axis import Course
from plate.meshing.mesh import Mesh

# Lattice spaces in the smaller side of a patch, those of a patch that comes onto the slab, and the
# most places of a lattice.
SPACES = 4.0
ENTERING = 10
MOST_PLACES = 150_000
# Share of a spacing within which places count as one.
NEAR = 0.1


@dataclass(frozen=True, eq=False)
class Lattice:
    """Places of a patch's centre: s, y : (n_s,) stations and (n_y,) offsets [m]; what is computed
    there is taken as cubic between, and zero outside, where the patch is off the slab."""

    s: Floats
    y: Floats

    def weights(self, s: Floats, y: Floats) -> tuple[Ints, Floats]:
        """Flat lattice places (n, 16) and weights (n, 16) of places s, y (n,) between them."""
        (along, share), (across, other) = cubic(s, self.s), cubic(y, self.y)
        flat = along[:, :, None] * len(self.y) + across[:, None, :]
        both = share[:, :, None] * other[:, None, :]
        return flat.reshape(len(s), 16), np.asarray(both.reshape(len(s), 16))

    def operator(self, s: Floats, y: Floats) -> sparse.csr_array:
        """Sparse (n, n_s n_y) from the lattice to places s, y (n,)."""
        place, weight = self.weights(s, y)
        size = len(self.s) * len(self.y)
        starts = np.arange(0, place.size + 1, 16)
        return sparse.csr_array((weight.ravel(), place.ravel(), starts), shape=(len(s), size))


@dataclass(frozen=True, eq=False, kw_only=True)
class WheelField(Lattice):
    """Values (n_row, n_s, n_y) of a patch centred at the places of a lattice: results under a unit
    load on it, or what the interpolation of these misses."""

    values: Floats

    def at(self, rows: Ints, s: Floats, y: Floats) -> Floats:
        """Results (n,) of rows (n,) at places s, y (n,)."""
        place, weight = self.weights(s, y)
        flat = self.values.reshape(len(self.values), -1)
        return np.asarray(np.einsum("nk,nk->n", flat[rows[:, None], place], weight))


def wheel_lattice(
    mesh: Mesh, patch: Size, course: Course, reach: tuple[float, float], per_side: float = SPACES
) -> Lattice:
    """Lattice of a patch of these sides (along, across) [m].

    reach : lowest and highest offset of its centre [m]; per_side : spaces in its smaller side.
    """
    corners = mesh.corners.reshape(-1, 2)
    low, high = course.limits(corners)
    half = 0.5 * np.array(patch)
    # A patch reaches furthest in stations where the arc is shortest; keep off the curve's centre.
    if not course.straight:
        ends = np.array([low[1] - half[1], high[1] + half[1]])
        half[0] /= max(course.least_stretch(ends), 1e-3)
    spaces = np.ceil(per_side * (high - low + 2.0 * half) / min(patch))
    spaces *= min(1.0, float(np.sqrt(MOST_PLACES / spaces.prod())))
    s, y = (_lattice(low[k], high[k], half[k], int(max(spaces[k], 4.0))) for k in (0, 1))
    # Two places more on each side, from which the outermost are interpolated.
    first, last = np.searchsorted(y, reach)
    return Lattice(s, y[min(max(first - 2, 0), len(y) - 4) : max(last + 2, 4)])


def patches_at(patch: Size, course: Course, s: Floats, y: Floats) -> Floats:
    """Plan corners (n_s n_y, 4, 2) of a patch centred at all places of a lattice."""
    stations, offsets = grid_places(s, y)
    wheel = Vehicle(name="wheel", axles=(Axle(0.0, 1.0, (0.0,), patch),))
    places = LoadPositions(
        vehicle=wheel,
        direction="forward",
        stations=stations,
        offsets=offsets,
        patches=(patch,),
        course=course,
    )
    return places.wheels(slice(None)).corners


def wheel_field(
    surfaces: Surfaces, patch: Size, course: Course, reach: tuple[float, float]
) -> WheelField:
    """Means of surfaces under a patch of these sides (along, across) [m], on its lattice.

    reach : lowest and highest offset of its centre [m].
    """
    lattice = wheel_lattice(surfaces.mesh, patch, course, reach)
    values = _means(surfaces, patch, course, lattice.s, lattice.y)
    return WheelField(lattice.s, lattice.y, values=values)


def field_errors(surfaces: Surfaces, patch: Size, course: Course, field: WheelField) -> WheelField:
    """The largest errors of the interpolation of such a field that are seen in the middle of the
    spaces about each place of its lattice."""
    middle = [0.5 * (x[:-1] + x[1:]) for x in (field.s, field.y)]
    operator = field.operator(*grid_places(*middle))
    between = (operator @ field.values.reshape(len(field.values), -1).T).T
    exact = _means(surfaces, patch, course, *middle)
    missed = np.pad(np.abs(exact - between.reshape(exact.shape)), ((0, 0), (1, 1), (1, 1)))
    errors = np.maximum(missed[:, 1:], missed[:, :-1])
    errors = np.maximum(errors[:, :, 1:], errors[:, :, :-1])
    return WheelField(field.s, field.y, values=errors)


def _means(surfaces: Surfaces, patch: Size, course: Course, s: Floats, y: Floats) -> Floats:
    """(n_row, n_s, n_y) under a unit load on a patch centred at all places of a lattice."""
    return surfaces.means(patches_at(patch, course, s, y)).reshape(-1, len(s), len(y))


def grid_places(s: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Stations and offsets (n_s n_y,) of all places of a lattice, offsets fastest."""
    return np.repeat(s, len(y)), np.tile(y, len(s))


def _lattice(low: float, high: float, half: float, spaces: int) -> Floats:
    """Places (n,) [m] from where a patch first touches the slab to where it leaves it, nowhere
    much further apart than so many equal spaces."""
    even, space = np.linspace(low - half, high + half, spaces + 1, retstep=True)
    nodes = np.sort(np.concatenate([even, low + entering(half), high + entering(half)]))
    # Places that nearly coincide would spoil the cubics: of two nearer than a share of either
    # spacing one is left, so that of equal spaces none is lost.
    least = NEAR * min(float(space), 2.0 * half / ENTERING)
    return np.asarray(nodes[np.diff(nodes, prepend=-np.inf) > least])


def entering(half: float) -> Floats:
    """Places (n,) [m], against an edge, of the centre of a patch that comes onto the slab."""
    return half * np.linspace(-1.0, 1.0, ENTERING + 1)


def cubic(x: Floats, nodes: Floats) -> tuple[Ints, Floats]:
    """Places (k, 4) of the nodes and weights of the cubic through them at x (k,), zero outside."""
    start = np.clip(np.searchsorted(nodes, x, side="right") - 2, 0, len(nodes) - 4)
    place: Ints = start[:, None] + np.arange(4)
    at = nodes[place]
    inside = (x >= nodes[0]) & (x <= nodes[-1])
    away, at = (np.where(inside, x, nodes[0])[:, None] - at).T, at.T
    weight = np.empty_like(at)
    for k in range(4):
        i, j, m = (n for n in range(4) if n != k)
        below = (at[k] - at[i]) * (at[k] - at[j]) * (at[k] - at[m])
        weight[k] = inside * away[i] * away[j] * away[m] / below
    return place, np.ascontiguousarray(weight.T)
