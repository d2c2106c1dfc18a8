"""What is kept of a block of load positions that a vehicle is rated by: extremes of the moments at
every result point, and forces where shear is judged.

Both are read from the slab part by part while its results are in cache; what coexists with a moment
is not kept.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from scipy import sparse

from pipelines.bars.demand.edge_layer import MOMENTS
from pipelines.bars.demand.observer import DesignWatch
from pipelines.bars.demand.shear import FORCES, ShearTracker
from pipelines.bars.demand.wood_armer import Block, nothing_beside, skew_components
from pipelines.model.responses import Response
from plate.arrays import Floats, Ints
from plate.results.fields import FieldRecovery

SHEARS = slice(MOMENTS.stop, FORCES.stop)
Key = tuple[int, int]
"""Numbers of a standard and of a part of the slab."""


@dataclass(frozen=True, eq=False, kw_only=True)
class BlockReader:
    """Reads blocks of load positions.

    trackers : whose forces are read; moments, shears : of the slab, part by part; points : (k,)
    field points that these forces are read at; near : of the sections that trackers share, by
    identity, rows (n, k) on those.
    """

    watch: DesignWatch
    trackers: Mapping[Key, ShearTracker]
    moments: FieldRecovery
    shears: FieldRecovery
    points: Ints
    near: Mapping[int, sparse.csr_array]

    @classmethod
    def of(cls, watch: DesignWatch, trackers: Mapping[Key, ShearTracker]) -> "BlockReader":
        """Of a deck whose traffic is watched."""
        every = {id(one.sections): one.sections.rows for one in trackers.values()}
        none = np.zeros(0, dtype=np.int64)
        points = np.unique(np.concatenate([none, *(rows.indices for rows in every.values())]))
        points = points.astype(np.int64)
        near = {shared: sparse.csr_array(rows[:, points]) for shared, rows in every.items()}
        recovery = watch.solved.recovery
        moments, shears = (recovery.of_kinds(kinds) for kinds in (MOMENTS, SHEARS))
        return cls(
            watch=watch,
            trackers=trackers,
            moments=moments,
            shears=shears,
            points=points,
            near=near,
        )

    def __call__(self, first: int, response: Response) -> tuple[list[Block], dict[Key, Floats]]:
        """Of load positions first, first + 1, ... the block of each row of LAYER_ROWS, and factored
        forces (5 or 8, n_sample, n_position) of each tracker."""
        if self.watch.membrane is not None:
            made = self.watch.moments.blocks(first, response)
            lean = {id(block): replace(block, beside=nothing_beside) for block in made}
            factored = {key: one.factored(response) for key, one in self.trackers.items()}
            return [lean[id(block)] for block in made], factored
        block, fields = self._by_part(first, response)
        at_samples = {
            shared: np.stack([np.asarray(rows @ field) for field in fields])
            for shared, rows in self.near.items()
        }
        return [block] * len(self.watch.moments.read_at), {
            key: one.combination.traffic * at_samples[id(one.sections)]
            for key, one in self.trackers.items()
        }

    def _by_part(self, first: int, response: Response) -> tuple[Block, Floats]:
        """The block of all points, and m_x, m_y, m_xy, q_x, q_y (5, k, n_position) at `points`."""
        layer, angle = self.watch.layer, self.watch.reinforcement.angle
        further_in = None if layer is None else layer.further_in(response)
        place = np.full(response.recovery.points.n_points, -1)
        place[self.points] = np.arange(len(self.points))
        at_points = np.empty((3, len(self.points), response.solution.shape[1]))
        points, blocks = [], []
        for some, found in self.moments.parts(response.solution):
            moments = found.of_loads
            near = np.flatnonzero(place[some] >= 0)
            at_points[:, place[some[near]]] = moments[:, near]
            if layer is not None and further_in is not None:
                moments = layer.without(some, moments, further_in)
            points.append(some)
            blocks.append(Block.of_positions(skew_components(moments, angle), first))
        shears = self.shears.at(response.solution, self.points)
        block = Block.joined(np.concatenate(points), blocks)
        return block, np.concatenate([at_points, shears])
