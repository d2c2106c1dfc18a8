"""A solved plate on a card: patch loads in, displacements, fields and reactions out. What a block
of loads makes never leaves the card."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from plate.arrays import Floats, Ints
from plate.conventions import N_FIELDS
from plate.device.card import Card
from plate.device.fields import CardFields
from plate.device.loads import CardLoads
from plate.device.stiffness import CardStiffness
from plate.errors import SizeError
from plate.results.fields import FieldPoints
from plate.solver.solution import Combined, LocalRows, Solution
from plate.solver.stiffness import BLOCK, Stiffness

# Loads of a block at most: larger ones are no faster.
MOST = 8192
# Share of the free memory that a block may take.
SHARE = 0.8


@dataclass(frozen=True)
class GivenFields:
    """Fields (6, n_point, n_load) that are formed already, at field points (n_point,)."""

    points: Ints
    values: Floats

    def parts(self, _: Solution) -> Iterator[tuple[Ints, Combined]]:
        """All of them, as `FieldRecovery.parts`."""
        yield self.points, Combined(self.values, None)


@dataclass(frozen=True, kw_only=True)
class CardSolution:
    """A block of loads on a card.

    X : displacements by the card's rows; fields : results at field points; reactions : name ->
    (n_load,) upward [N]; total : (n_load,) put on the slab [N].
    """

    X: Floats
    fields: GivenFields
    reactions: dict[str, Floats]
    total: Floats


class CardPlate:
    """A plate on a card."""

    def __init__(self, stiffness: Stiffness, points: FieldPoints, card: Card) -> None:
        self.card, self._mesh = card, stiffness.model.mesh
        self._stiffness = CardStiffness(stiffness, card)
        self._row = row = self._stiffness.row
        self._fields = CardFields(stiffness.model, points, row, card)
        w = row[: stiffness.model.n_plate_dof : N_FIELDS]
        self._loads = CardLoads(self._mesh, w, self._stiffness.held, card)

    @cached_property
    def block(self) -> int:
        """Loads that are solved together, by the memory that the card has free.

        Raises SizeError where it has too little for a block of them.
        """
        each = 8.0 * (self._stiffness.numbers + self._fields.numbers)
        free = SHARE * self.card.free()
        if free < BLOCK * each:
            raise SizeError(
                f"the accelerator has {1e-9 * free:.3g} GB for load positions that take "
                f"{1e-9 * BLOCK * each:.3g} GB in the smallest block: a coarser mesh takes less"
            )
        return int(min(MOST, free // each))

    def rows(self, rows: LocalRows) -> "CardRows":
        """Rows on the displacements, on the card, where their zeros are put in."""
        of, entries = self.card.of, rows.rows.tocoo()
        full = np.zeros(entries.shape, like=of(entries.data))
        at = tuple(of(along.astype(np.int64)) for along in entries.coords)
        self.card.add_at(full, at, of(entries.data))
        return CardRows(of(self._row[rows.dofs]), full)

    def solve(self, polygons: Floats, load: Floats, column: Ints, n_load: int) -> CardSolution:
        """Patches (n, 4, 2) of the plan under forces (n,) [N], each of one of the loads (n,)."""
        X, held = self._stiffness.empty(n_load)
        total = self._loads.put(X, held, polygons, load, column)
        multipliers = self._stiffness.solve(X)
        return CardSolution(
            X=X,
            fields=GivenFields(self._fields.points, self._fields.of(X)),
            reactions=self._stiffness.reactions(X, held, multipliers),
            total=total,
        )


@dataclass(frozen=True)
class CardRows:
    """Rows (n, k) on some of the rows (k,) of a block of displacements, on a card."""

    at: Ints
    rows: Floats

    def of(self, X: Floats) -> Floats:
        """The results (n, n_load)."""
        if not self.rows.size:
            return np.zeros((len(self.rows), X.shape[1]), like=X)
        return self.rows @ X[self.at]
