"""Results under one wheel anywhere on the deck: means of influence surfaces under its patch.

They are computed on a lattice of places and taken as cubic between; a mean under a patch varies
over the patch's own size, so a lattice that divides the patch follows it. What the interpolation
misses shows when a place that it leads to is computed exactly (`influence.Surfaces.under`).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from pipelines.deck import Axle, Vehicle
from pipelines.influence import Surfaces
from pipelines.traffic import LoadPositions, Size
from plate.chart import Chart

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Lattice spaces in the smaller side of a patch, and the most places of a lattice.
SPACES = 5.0
MOST_PLACES = 150_000
# Lattice places beyond those at which the patch still touches the slab.
MARGIN = 2


@dataclass(frozen=True, eq=False)
class WheelField:
    """Results (n_row, n_s, n_y) under a unit load on a patch centred at the places of a lattice.

    first, space : (2,) station and offset of the first place and spacing [m]. Zero outside.
    """

    values: Floats
    first: Floats
    space: Floats

    def weights(self, s: Floats, y: Floats) -> tuple[Ints, Floats]:
        """Flat lattice places (n, 16) and weights (n, 16) of places s, y (n,) between them."""
        n_s, n_y = self.values.shape[1:]
        place, weight = zip(
            _cubic((s - self.first[0]) / self.space[0], n_s),
            _cubic((y - self.first[1]) / self.space[1], n_y),
            strict=True,
        )
        flat = place[0][:, :, None] * n_y + place[1][:, None, :]
        both = weight[0][:, :, None] * weight[1][:, None, :]
        return flat.reshape(len(s), 16), np.asarray(both.reshape(len(s), 16))

    def at(self, rows: Ints, s: Floats, y: Floats) -> Floats:
        """Results (n,) of rows (n,) at places s, y (n,)."""
        place, weight = self.weights(s, y)
        flat = self.values.reshape(len(self.values), -1)
        return np.asarray(np.einsum("nk,nk->n", flat[rows[:, None], place], weight))

    def operator(self, s: Floats, y: Floats) -> sparse.csr_array:
        """Sparse (n, n_s n_y) from the lattice to places s, y (n,)."""
        place, weight = self.weights(s, y)
        size = self.values.shape[1] * self.values.shape[2]
        starts = np.arange(0, place.size + 1, 16)
        return sparse.csr_array((weight.ravel(), place.ravel(), starts), shape=(len(s), size))


def wheel_field(surfaces: Surfaces, patch: Size, chart: Chart) -> WheelField:
    """Lattice of the means under a patch of these sides (along, across) [m]."""
    corners = surfaces.mesh.corners.reshape(-1, 2)
    low, high = corners.min(axis=0), corners.max(axis=0)
    half = 0.5 * np.array(patch)
    # A patch reaches furthest in stations where the arc is shortest; keep off the curve's centre.
    if not chart.straight:
        edge = high[1] + half[1] if chart.radius > 0.0 else low[1] - half[1]
        half[0] /= max(1.0 - edge / chart.radius, 1e-3)
    spaces = np.ceil(SPACES * (high - low + 2.0 * half) / min(patch))
    spaces *= min(1.0, float(np.sqrt(MOST_PLACES / spaces.prod())))
    space = (high - low + 2.0 * half) / np.maximum(np.ceil(spaces), 4.0)
    first = low - half - MARGIN * space
    count = np.rint((high + half - first) / space).astype(int) + 1 + MARGIN
    s, y = (first[k] + space[k] * np.arange(count[k]) for k in (0, 1))
    wheel = Vehicle("wheel", (Axle(0.0, 1.0, (0.0,), patch),))
    places = LoadPositions(
        wheel, "forward", np.repeat(s, len(y)), np.tile(y, len(s)), (patch,), chart
    )
    values = surfaces.means(places.wheels(slice(None)).corners)
    return WheelField(values.reshape(-1, *count), first, space)


def _cubic(x: Floats, n: int) -> tuple[Ints, Floats]:
    """Places (k, 4) of n and weights of the cubic through them at x (k,), zero outside."""
    start = np.clip(np.floor(x).astype(np.int64) - 1, 0, n - 4)
    t = x - start
    inside = (t >= 0.0) & (t <= 3.0)
    t = np.where(inside, t, 0.0)
    a, b, c = t - 1.0, t - 2.0, t - 3.0
    weight = np.stack([-a * b * c / 6.0, t * b * c / 2.0, -t * a * c / 2.0, t * a * b / 6.0], -1)
    place: Ints = start[:, None] + np.arange(4)
    return place, np.asarray(weight * inside[:, None])
