"""Supports that carry no tension: where the slab lifts off, the support lets go.

The supports that may lift are first replaced by springs, so that one factorisation serves every
state of contact; their forces lambda (upward, >= 0) and deflections w (<= 0, upward only) then
follow from a small complementarity problem, solved by exchanging open and closed places until
none is in tension and none is pressed through.
"""

from collections.abc import Collection
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from plate.arrays import Floats, Ints
from plate.conventions import N_FIELDS
from plate.errors import MechanismError, SupportError
from plate.model.model import PlateModel, hold_name, plain_name
from plate.model.supports import BeamLine, LineSupport
from plate.solver.stiffness import Stiffness

ROUNDS = 100


@dataclass(frozen=True)
class Contact:
    """Displacements (n_dof,) and, at each place that may lift, its support's name, node (-1 for a
    point support) and upward force [N], zero where it is open."""

    U: Floats
    names: tuple[str, ...]
    nodes: Ints
    force: Floats

    @property
    def open(self) -> NDArray[np.bool_]:
        """Which places have lifted off."""
        return np.asarray(self.force == 0.0)


class LiftingSupports:
    """A model some of whose supports carry no tension, factorised for any number of loads.

    lifting : names of rigid lines, of beam holds without stub ("C2@L1") and of rigid points.

    Raises SupportError for a name that is not such a support.
    """

    def __init__(self, model: PlateModel, lifting: Collection[str]) -> None:
        self.model = model
        soft, places = _softened(model, set(lifting))
        self.stiffness = Stiffness(soft)
        self.names = tuple(name for name, _, _ in places)
        self.nodes = np.array([node for _, node, _ in places])
        # Each place is a functional on the displacements: w of a node or a mean over a square.
        functionals = np.zeros((soft.n_dof, len(places)))
        for k, (_, _, row) in enumerate(places):
            functionals[: len(row), k] = row
        self._functionals = functionals
        self._response = self.stiffness.solve(functionals, refine=True)
        self._flexibility = functionals.T @ self._response
        self._springs = _spring_matrix(soft, set(lifting), self.names, self.nodes)

    def solve(self, F: Floats, locked: Floats | None = None) -> Contact:
        """Contact under the load F (n_plate_dof,) [N].

        locked : upward forces (n_place,) [N] that are in the places before this load comes, of
        loads that this or other models carried with all places closed; the displacements are then
        those that F adds, the forces are whole.

        Raises MechanismError if the slab lifts off altogether.
        """
        U = self.stiffness.solve(F[:, None], refine=True)[:, 0]
        free = self._functionals.T @ U
        A, n = self._flexibility, len(free)
        before = np.zeros(n) if locked is None else locked
        free = free + A @ before
        released = np.eye(n) - A @ self._springs
        scale = max(float(np.abs(F).max()), float(np.abs(before).max()), 1e-300)
        closed = np.ones(n, dtype=bool)
        for _ in range(ROUNDS):
            # Unknown: the force where closed, the deflection where open.
            system = np.where(closed, A, released)
            try:
                unknown = np.linalg.solve(system, free)
            except np.linalg.LinAlgError:
                raise MechanismError("the slab lifts off its supports") from None
            force = np.where(closed, unknown, 0.0)
            w = np.where(closed, 0.0, unknown)
            size = max(float(np.abs(w).max()), 1e-300)
            tension = closed & (force < -1e-9 * scale)
            pressed = ~closed & (w > 1e-9 * size)
            if not (tension | pressed).any():
                U = U + self._response @ (self._springs @ w - force + before)
                return Contact(U, self.names, self.nodes, np.where(closed, force, 0.0))
            closed = (closed & ~tension) | pressed
        raise MechanismError("the slab finds no rest on supports that carry no tension")


def _softened(
    model: PlateModel, lifting: set[str]
) -> tuple[PlateModel, list[tuple[str, int, Floats]]]:
    """The model with springs for the lifting supports, and (name, node, functional) of places."""
    span = float(np.ptp(model.mesh.xy, axis=0).min())
    k = 100.0 * max(model.section.rigidities) / span**3
    places: list[tuple[str, int, Floats]] = []
    left = set(lifting)

    def place(name: str, node: int) -> None:
        row = np.zeros(model.n_plate_dof)
        row[N_FIELDS * node] = 1.0
        places.append((name, node, row))

    supports = []
    for support in model.supports:
        name = plain_name(support.line)
        if name in lifting and support.kind == "rigid":
            left.discard(name)
            supports.append(LineSupport(line=support.line, kind="spring", k=k))
            for node in np.unique(model.line_edges(support.line)).tolist():
                place(name, node)
        else:
            supports.append(support)
    beams: list[BeamLine] = []
    for beam in model.beams:
        holds = []
        for hold in beam.holds:
            name = hold_name(beam.line, hold.on)
            if name in lifting and np.isinf(hold.k) and hold.stub == 0.0:
                left.discard(name)
                place(name, model.crossing(beam.line, hold.on)[0])
                hold = replace(hold, k=k * span)
            holds.append(hold)
        beams.append(replace(beam, holds=tuple(holds)))
    points = []
    for point in model.points:
        if point.name in lifting and np.isinf(point.k):
            left.discard(point.name)
            places.append((point.name, -1, model.point_mean(point)))
            point = replace(point, k=k * span)
        points.append(point)
    if left:
        raise SupportError(f"{', '.join(sorted(left))}: no rigid support that could lift off")
    soft = replace(model, supports=tuple(supports), beams=tuple(beams), points=tuple(points))
    return soft, places


def _spring_matrix(
    soft: PlateModel, lifting: set[str], names: tuple[str, ...], nodes: Ints
) -> Floats:
    """Stiffness (n, n) [N/m] of the springs that stand for the lifting supports."""
    S = np.zeros((len(names), len(names)))
    slot = {
        (name, node): k for k, (name, node) in enumerate(zip(names, nodes.tolist(), strict=True))
    }
    for spring in soft.springs:
        name = spring.name
        if name not in lifting:
            continue
        if (name, -1) in slot:
            point = next(p for p in soft.points if p.name == name)
            S[slot[name, -1], slot[name, -1]] = point.k
            continue
        for dofs, K in zip(spring.piece.dofs, spring.piece.matrices, strict=True):
            w = np.flatnonzero((dofs % N_FIELDS == 0) & (dofs < soft.n_plate_dof))
            at = [slot[name, node] for node in (dofs[w] // N_FIELDS).tolist()]
            S[np.ix_(at, at)] += K[np.ix_(w, w)]
    return S
