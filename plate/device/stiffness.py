"""A factorised model on a card: displacements and reactions of a block of loads."""

from collections.abc import Sequence

import numpy as np

from plate.arrays import Floats, Ints
from plate.conventions import N_FIELDS
from plate.device.card import Card
from plate.device.fronts import Fronts
from plate.elements.group import ElementGroup
from plate.solver.stiffness import Stiffness, deformation


class CardStiffness:
    """A stiffness on a card.

    row : (n_dof,) on the host, the row of each degree of freedom in a block of displacements or of
    right-hand sides (size, n_load). held : (n_node,) the row of each node's deflection in what
    stands on rigid supports (n_held + 1, n_load), the last those of all others.
    """

    def __init__(self, stiffness: Stiffness, card: Card) -> None:
        turned = stiffness.turned
        self._fronts = Fronts(stiffness.factor, card, len(turned))
        self.size, row = self._fronts.size, self._fronts.row.copy()
        # Slopes held along an oblique direction: what is left turns back into both.
        free = np.array([N_FIELDS * node + 2 for node in turned], dtype=np.int64)
        first = self.size - 1 - len(free)
        row[free - 1] = first + np.arange(len(free))
        sides = np.array([R[1] for R in turned.values()]).reshape(-1, 2)
        self._turned = card.of(row[free]), slice(first, self.size - 1), card.of(sides)
        self.row: Ints = row
        # Forces of rigid points from right-hand sides, and what they take off these.
        means, response = stiffness.means, stiffness.point_response
        self._points = stiffness.rigid_points
        take, give = (np.zeros((self.size, len(self._points))) for _ in range(2))
        w = slice(0, stiffness.model.n_plate_dof, N_FIELDS)
        take[row[w]], give[row[w]] = response[w], means[w]
        take[-1] = give[-1] = 0.0
        self._take = card.of(np.linalg.solve(means.T @ response, take.T))
        self._give = card.of(give)
        held = stiffness.held_slot
        self.n_held = int(held.max()) + 1
        self.held: Ints = np.where(held < 0, self.n_held, held)
        self._means_held = card.of(means[N_FIELDS * np.flatnonzero(held >= 0)])
        elastic = len(stiffness.model.elastic)
        self._rows = [
            rows
            for k, piece in enumerate(stiffness.pieces)
            if (rows := _HeldRows.of(stiffness, piece, row, self.held, k < elastic, card))
        ]
        self._shares = _shares(stiffness, card)
        self._springs = _springs(stiffness, row, card)
        self._card = card

    @property
    def numbers(self) -> int:
        """Numbers that a load takes while it is solved for."""
        return int(self.size + 2 * self._fronts.widest)

    def empty(self, n_load: int) -> tuple[Floats, Floats]:
        """Right-hand sides of no load, and what stands on rigid supports."""
        like = self._take
        return np.zeros((self.size, n_load), like=like), np.zeros(
            (self.n_held + 1, n_load), like=like
        )

    def solve(self, X: Floats) -> Floats:
        """Put displacements in place of right-hand sides X; the forces (n_point, n_load) of rigid
        points."""
        # loads put on what is held
        X[-1] = 0.0
        multipliers = np.zeros((0, X.shape[1]), like=X)
        if self._points:
            multipliers = self._take @ X
            X -= self._give @ multipliers
        self._fronts.solve(X)
        free, other, sides = self._turned
        if other.start < other.stop:
            X[other] = sides[:, :1] * X[free]
            X[free] *= sides[:, 1:]
        return multipliers

    def reactions(self, X: Floats, held: Floats, multipliers: Floats) -> dict[str, Floats]:
        """Upward reactions as `Stiffness.reactions` has them.

        X : displacements; held : what stands on rigid supports, overwritten.
        """
        for elements in self._rows:
            elements.take_off(held, X, self._card)
        down = held[:-1]
        if self._points:
            down -= self._means_held @ multipliers
        found = {name: share @ down[nodes] for name, nodes, share in self._shares}
        for name, rows, share in self._springs:
            carried = share @ X[rows]
            found[name] = found[name] + carried if name in found else carried
        return found | dict(zip(self._points, multipliers, strict=True))


class _HeldRows:
    """Forces of elements of one kind at held deflections.

    rows : (k, n) of their degrees of freedom; slots, matrices : (k, h) which deflections, the last
    of all where there are fewer, and (k, h, n); xy : nodes of elastic ones, else None.
    """

    def __init__(self, rows: Ints, slots: Ints, matrices: Floats, xy: Floats | None) -> None:
        self._rows, self._slots, self._minus, self._xy = rows, slots, -matrices, xy

    @classmethod
    def of(
        cls,
        stiffness: Stiffness,
        piece: ElementGroup,
        row: Ints,
        held: Ints,
        elastic: bool,
        card: Card,
    ) -> "_HeldRows | None":
        none, n = int(held.max(initial=0)), stiffness.model.n_plate_dof
        slot = np.full(stiffness.model.n_dof, none)
        slot[:n:N_FIELDS] = held
        found = slot[piece.dofs]
        count = (found < none).sum(axis=1)
        mine = np.flatnonzero(count)
        if not len(mine):
            return None
        local = np.argsort(found[mine] == none, axis=1, kind="stable")[:, : count.max()]
        slots = np.take_along_axis(found[mine], local, axis=1)
        matrices = np.take_along_axis(piece.matrices[mine], local[:, :, None], axis=1)
        xy = card.of(stiffness.node_xy(piece)[mine]) if elastic else None
        return cls(card.of(row[piece.dofs[mine]]), card.of(slots), card.of(matrices), xy)

    def take_off(self, held: Floats, X: Floats, card: Card) -> None:
        local = X[self._rows]
        local = local if self._xy is None else deformation(local, self._xy)
        card.add_at(held, self._slots, self._minus @ local)


def _shares(stiffness: Stiffness, card: Card) -> list[tuple[str, Ints, Floats]]:
    slot = stiffness.held_slot
    return [
        (name, card.of(slot[nodes]), card.of(share)) for name, nodes, share in stiffness.held_nodes
    ]


def _springs(stiffness: Stiffness, row: Ints, card: Card) -> Sequence[tuple[str, Ints, Floats]]:
    """Rows and shares (n,) of them in the reaction of every spring."""
    found = []
    for spring in stiffness.model.springs:
        rows, at = np.unique(row[spring.piece.dofs], return_inverse=True)
        share = np.zeros(len(rows))
        np.add.at(share, at.ravel(), spring.reaction.ravel())
        found.append((spring.name, card.of(rows), card.of(share)))
    return found
