"""Patch loads on a card, where cells and patches are rectangles along the axes of the plan; others
are integrated on the host and put there."""

import numpy as np

from plate.arrays import Floats, Ints
from plate.device.card import Card
from plate.loads.loads import patch_shares, rectangle_integrals
from plate.meshing.mesh import Mesh, are_upright

# Pairs of a patch and a cell that are looked at together.
PAIRS = 50_000_000


class CardLoads:
    """Right-hand sides of patches on a card.

    row, held : (n_node,) row of each node's deflection in a block of right-hand sides, and in what
    stands on rigid supports.
    """

    def __init__(self, mesh: Mesh, row: Ints, held: Ints, card: Card) -> None:
        self._mesh, self._card = mesh, card
        self._row, self._held = card.of(row), card.of(held)
        self._upright = bool(mesh.upright.all() and not mesh.curved.any())
        self._cells, self._corners = card.of(mesh.cells), card.of(mesh.corners)
        self._low, self._high = (card.of(side.T) for side in mesh.boxes)

    def put(self, X: Floats, held: Floats, polygons: Floats, load: Floats, column: Ints) -> Floats:
        """Add patches (n, 4, 2) under forces (n,), each of a load (n,), to right-hand sides X and
        to what stands on rigid supports. Returns what each load (n_load,) puts on the slab."""
        total = np.zeros(X.shape[1], like=X)
        # As precise as `patch_loads` takes them.
        corners = np.round(self._card.of(polygons), 9)
        if not self._upright or not bool(are_upright(corners).all()):
            nodes, patch, share = patch_shares(self._mesh, polygons)
            values = load[patch][:, None] * share
            of = self._card.of
            self._add(X, held, total, of(nodes), of(column[patch]), of(values))
            return total
        area = np.abs(self._mesh.alignment.polygon_area(corners))
        column, intensity = self._card.of(column), self._card.of(load) / area
        together = max(1, PAIRS // len(self._cells))
        for start in range(0, len(polygons), together):
            mine = slice(start, start + together)
            patch, cell = self._overlaps(corners[mine])
            values = rectangle_integrals(self._mesh, self._corners[cell], corners[mine][patch])
            values *= intensity[mine][patch][:, None]
            self._add(X, held, total, self._cells[cell], column[mine][patch], values)
        return total

    def _overlaps(self, patches: Floats) -> tuple[Ints, Ints]:
        """Patch and cell of every pair whose boxes overlap."""
        low, high = patches.min(axis=1), patches.max(axis=1)
        hit = (self._low[0] < high[:, :1]) & (self._high[0] > low[:, :1])
        hit &= (self._low[1] < high[:, 1:]) & (self._high[1] > low[:, 1:])
        patch, cell = np.nonzero(hit)
        return patch, cell

    def _add(
        self, X: Floats, held: Floats, total: Floats, nodes: Ints, column: Ints, values: Floats
    ) -> None:
        at = column[:, None]
        self._card.add_at(X, (self._row[nodes], at), values)
        if len(held) > 1:
            self._card.add_at(held, (self._held[nodes], at), values)
        self._card.add_at(total, column, values.sum(axis=1))
