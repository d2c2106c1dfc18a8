"""Fields of results on a card: those of all cells at once, and their sums at field points."""

import numpy as np

from plate.arrays import Floats, Ints
from plate.conventions import RESULTS
from plate.device.card import Card
from plate.elements.plate import cell_dofs
from plate.model.model import PlateModel
from plate.results.fields import FieldPoints, PointMeans

# Cells whose operators are formed together.
CHUNK = 256


class CardFields:
    """Fields at the points of a model, by the rows of its degrees of freedom in a block on a card.

    points : (n_point,) the field points in the order in which they are given, on the card.
    """

    def __init__(self, model: PlateModel, points: FieldPoints, row: Ints, card: Card) -> None:
        cells, n = points.cells, points.cells.shape[1]
        means = PointMeans(model, points)
        self._rows = card.of(row[cell_dofs(model.mesh.cells)])
        every = np.arange(len(cells))
        parts = [means.given(every[k : k + CHUNK]) for k in range(0, len(every), CHUNK)]
        self._operators = card.of(np.concatenate(parts))
        # Those that most cells share come first: what the second cell gives them, the third and so
        # on is added to so many of the first.
        order = np.argsort(cells.ravel(), kind="stable")
        owner = cells.ravel()[order]
        rank = np.arange(len(owner)) - np.searchsorted(owner, owner)
        shared = np.bincount(owner, minlength=points.n_points)
        sequence = np.argsort(-shared, kind="stable")
        place = np.empty_like(sequence)
        place[sequence] = np.arange(len(sequence))
        kinds = n * np.arange(len(RESULTS))[:, None]
        self._given: list[Ints] = []
        for k in range(int(shared.max())):
            mine = order[rank == k]
            mine = mine[np.argsort(place[cells.ravel()[mine]])]
            cell, local = np.divmod(mine, n)
            self._given.append(card.of(len(RESULTS) * n * cell + kinds + local))
        self.points: Ints = card.of(sequence)

    @property
    def numbers(self) -> int:
        """Numbers that a load takes while its fields are formed."""
        cells, results, dofs = self._operators.shape
        return int(cells * (results + dofs) + 2 * len(RESULTS) * len(self.points))

    def of(self, X: Floats) -> Floats:
        """w, m_x, m_y, m_xy, q_x, q_y (6, n_point, n_load) at `points` of solutions X."""
        local = self._operators @ X[self._rows]
        given = local.reshape(-1, X.shape[1])
        first, *more = self._given
        found = given[first]
        for others in more:
            found[:, : others.shape[1]] += given[others]
        return found
