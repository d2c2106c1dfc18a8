"""The fronts of a factorisation on a card: those of one height together, from all over the slab.

On processors the fronts of neighbouring cells are solved together, in cache; on a card many alike
are one product. The numbers are those that the factorisation holds.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from plate.arrays import Floats, Ints
from plate.device.card import Card
from plate.solver.nested_dissection import Factorisation

# Fronts are solved together up to so much more work for zeros filled in.
FILL = 0.3


@dataclass(frozen=True)
class _Front:
    """Rows of its pivots (n,) and of its border (m,), inverse (n, n) and coupling (m, n) as the
    factorisation keeps it."""

    pivots: Ints
    border: Ints
    inverse: Floats
    coupling: Floats


@dataclass(frozen=True)
class _Group:
    """Fronts that are solved together, on the card: rows of their pivots, front after front, border
    (k, m), inverse (k, n, n) and coupling (k, m, n)."""

    rows: slice
    border: Ints
    inverse: Floats
    coupling: Floats

    def pivots(self, X: Floats) -> Floats:
        """Their rows (k, n, n_load), not copied."""
        return X[self.rows].reshape(*self.inverse.shape[:2], X.shape[1])


class Fronts:
    """A factorisation on a card.

    more : rows of a block that are not its own. row : (n_dof,) on the host, the row of each degree
    of freedom among the `size` of a block, these included, which follow its own; that of what is
    held is the last, and stays zero. widest : most rows of a group's borders.
    """

    def __init__(self, factor: Factorisation, card: Card, more: int = 0) -> None:
        self._card = card
        groups = [group for level in _levels(factor) for group in _alike(level)]
        counts = [len(g) * max(len(f.pivots) for f in g) for g in groups]
        starts = np.cumsum([0, *counts]).tolist()
        self.size = starts[-1] + more + 1
        place = np.full(factor.n_rows, self.size - 1)
        for group, start, count in zip(groups, starts, counts, strict=False):
            for k, front in enumerate(group):
                first = start + k * (count // len(group))
                place[front.pivots] = first + np.arange(len(front.pivots))
        self.row: Ints = place[factor.row]
        self._groups = [
            self._on_card(group, slice(start, start + count), place)
            for group, start, count in zip(groups, starts, counts, strict=False)
        ]
        self.widest = max((g.border.size for g in self._groups), default=0)

    def _on_card(self, group: Sequence[_Front], rows: slice, place: Ints) -> _Group:
        k, m = len(group), max(len(f.border) for f in group)
        n = (rows.stop - rows.start) // k
        border = np.full((k, m), self.size - 1)
        inverse, coupling = np.zeros((k, n, n)), np.zeros((k, m, n))
        for one, front in enumerate(group):
            own, there = len(front.pivots), len(front.border)
            border[one, :there] = place[front.border]
            inverse[one, :own, :own] = front.inverse
            coupling[one, :there, :own] = front.coupling
        return _Group(rows, *map(self._card.of, (border, inverse, coupling)))

    def solve(self, X: Floats) -> None:
        """Put the solutions in place of right-hand sides X (size, n_load) on the card."""
        for one in self._groups:
            if one.border.size:
                self._card.add_at(X, one.border, one.coupling @ one.pivots(X))
        for one in reversed(self._groups):
            pivots = one.pivots(X)
            pivots[...] = one.inverse @ pivots
            if one.border.size:
                pivots += one.coupling.swapaxes(1, 2) @ X[one.border]


def _levels(factor: Factorisation) -> list[list[_Front]]:
    """The fronts by height, those first that none comes before."""
    height = np.zeros(factor.n_rows, dtype=np.int64)
    levels: list[list[_Front]] = []
    for part in factor.parts:
        own = np.arange(part.layout.rows.start, part.layout.rows.stop)
        rows = np.concatenate([own, part.layout.border, [factor.n_rows - 1]])
        for batch in part.batches:
            pivots = rows[batch.rows].reshape(batch.inverse.shape[:2])
            for k, m in enumerate(batch.sizes.tolist() if pivots.size else []):
                border = rows[batch.border[k, :m]]
                level = int(height[pivots[k]].max())
                height[border] = np.maximum(height[border], level + 1)
                levels += [[] for _ in range(level + 1 - len(levels))]
                front = _Front(pivots[k], border, batch.inverse[k], batch.coupling[k, :m])
                levels[level].append(front)
    return levels


def _alike(fronts: Sequence[_Front]) -> list[list[_Front]]:
    """Fronts in groups of about one size."""
    groups: list[list[_Front]] = []
    widest = own = 0
    for front in sorted(fronts, key=lambda f: (len(f.pivots), len(f.border))):
        n, m = len(front.pivots), len(front.border)
        own, widest = own + n * (n + m), max(widest, m)
        if not groups or (len(groups[-1]) + 1) * n * (n + widest) > (1.0 + FILL) * own:
            groups.append([])
            own, widest = n * (n + m), m
        groups[-1].append(front)
    return groups
