"""A deck with some changes, factorised, as a walk reads it: the worst value of its section over the
load positions, and the value with the load position held."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from pipelines.deck.deck import Deck
from pipelines.findings.reconciliation.changes import Change, changed_deck, changed_model
from pipelines.findings.reconciliation.search import FINE, Place, Walk
from pipelines.model.build import Near
from pipelines.strips.sections import CORNER, ON
from pipelines.traffic.positions import LoadPositions
from plate.elements.plate import cell_dofs
from plate.loads.loads import patch_loads
from plate.model.model import PlateModel
from plate.results.fields import N_RESULTS, cell_operators, field_points, point_operators
from plate.solver.stiffness import Stiffness

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class ChangedModel:
    """The deck with some changes made, factorised."""

    deck: Deck
    wide: bool
    straight: bool
    model: PlateModel
    stiffness: Stiffness


class Shelf:
    """The models of several walks of one strip, each made once, fine where any walk looks."""

    def __init__(self, walks: Sequence[Walk]) -> None:
        self.walks = walks
        self._made: dict[frozenset[Change], ChangedModel] = {}

    def model(self, done: frozenset[Change]) -> ChangedModel:
        if done not in self._made:
            first = self.walks[0]
            low = min(walk.loads[0] for walk in self.walks)
            high = max(walk.loads[1] for walk in self.walks)
            deck = changed_deck(first.deck, first.strip, done, (low, high))
            wide = "width" not in done
            model = changed_model(deck, first.strip, done, self._near(wide))
            self._made[done] = ChangedModel(deck, wide, "plan" not in done, model, Stiffness(model))
        return self._made[done]

    def _near(self, wide: bool) -> Near:
        """Where cells are as fine as in the main analysis."""
        first = self.walks[0]
        beside = FINE * max(walk.span for walk in self.walks)
        s = (min(w.fine[0] for w in self.walks), max(w.fine[1] for w in self.walks))
        if not first.along:
            t = [walk.t for walk in self.walks]
            return Near((min(t) - 2.0 * beside, max(t) + 2.0 * beside), s)
        if wide:
            low = min(walk.loads[0] for walk in self.walks)
            high = max(walk.loads[1] for walk in self.walks)
            return Near(s, (low - beside, high + beside))
        return Near(s, (-np.inf, np.inf))


class Plate:
    """A changed deck as one walk reads it: solves load positions, reads the moment sought."""

    def __init__(self, walk: Walk, of: ChangedModel) -> None:
        self.walk = walk
        self.deck, self.model, self.stiffness = of.deck, of.model, of.stiffness
        self.wide, self.straight = of.wide, of.straight
        mesh = self.model.mesh
        s, _ = self._coordinates(mesh.corners.mean(axis=1))
        cells = np.flatnonzero((s > walk.s_range[0]) & (s < walk.s_range[1]))
        points = field_points(self.model)
        unique, self._label = np.unique(points.cells[cells], return_inverse=True)
        self._label = self._label.ravel()
        operators = cell_operators(self.model, cells, points.reference)
        self._rows = operators[:, :, walk.finding.component].copy()
        self._dofs = cell_dofs(mesh.cells[cells])
        self._count = np.bincount(self._label)
        self._plan = points.plan[unique]
        self._sought = self._region(*self._coordinates(self._plan))
        # Displacements of the held load position, by whether wheels are spread as in the deck file.
        self._moved: dict[bool, dict[Place, Floats]] = {False: {}, True: {}}

    def extremes(self, places: Sequence[Place], spread: bool) -> tuple[Floats, Ints]:
        """The value furthest to the finding's side at each position (n,), and its point."""
        U = self._solve(places, spread)
        if self.walk.place in places:
            self._moved[spread] = {self.walk.place: U[:, places.index(self.walk.place)].copy()}
        local = np.matmul(self._rows, U[self._dofs]).reshape(-1, len(places))
        total = np.zeros((len(self._count), len(places)))
        np.add.at(total, self._label, local)
        values = total / self._count[:, None]
        ranked = np.where(self._sought[:, None], self.walk.sign * values, -np.inf)
        at = np.argmax(ranked, axis=0)
        return values[at, np.arange(len(places))], at

    def held(self, spread: bool) -> float:
        """The value where and when the plate's peak governs, of the worse side of a line."""
        walk = self.walk
        centre, rows = self._held_rows
        if walk.place not in self._moved[spread]:
            self.extremes([walk.place], spread)
        values = np.asarray(rows @ self._moved[spread][walk.place])
        if walk.support is None:
            return float(values.mean())
        sides = [float(values[m].mean()) for m in (centre < walk.s, centre >= walk.s) if m.any()]
        return max(sides, key=lambda v: walk.sign * v)

    @cached_property
    def _held_rows(self) -> tuple[Floats, sparse.csr_array]:
        """s of the cells (n,) round the plate's peak and their rows (n, n_dof) of the result."""
        walk = self.walk
        u, y = (walk.s, walk.t) if walk.along else (walk.t, walk.s)
        point = self.deck.plan.at(np.array(u), np.array(y))
        [(cells, xi)] = self.model.mesh.locate(point[None])
        rows = point_operators(self.model, cells, xi)[walk.finding.component :: N_RESULTS]
        centre, _ = self._coordinates(self.model.mesh.corners[cells].mean(axis=1))
        return centre, rows

    def searched(self, spread: bool) -> tuple[float, Place, tuple[float, float]]:
        """The worst value over the load positions of the main analysis near the section."""
        known: dict[Place, tuple[float, int]] = {}

        def try_all(places: Sequence[Place]) -> Place:
            new = [place for place in dict.fromkeys(places) if place not in known]
            if new:
                for place, value, at in zip(new, *self.extremes(new, spread), strict=True):
                    known[place] = (float(value), int(at))
            return max(places, key=lambda place: self.walk.sign * known[place][0])

        best = self.walk.search(try_all, self.wide)
        value, at = known[best]
        held = self.held(spread)
        if self.walk.sign * held > self.walk.sign * value:
            return held, self.walk.place, self.walk.finding.at
        x, y = self._plan[at]
        return value, best, (float(x), float(y))

    def _solve(self, places: Sequence[Place], spread: bool) -> Floats:
        walk = self.walk
        F = np.zeros((self.model.n_plate_dof, len(places)))
        for direction in ("forward", "reverse"):
            mine = [k for k, place in enumerate(places) if place.direction == direction]
            if not mine:
                continue
            offsets = np.array([places[k].offset for k in mine])
            stations = np.array([places[k].station for k in mine])
            if self.straight:
                stations = stations - offsets * np.tan(walk.deck.plan.skew)
            positions = LoadPositions(
                walk.vehicle,
                direction,
                stations,
                offsets,
                walk.run.patches if spread else walk.patches,
                self.deck.plan.chart,
            )
            wheels = positions.wheels(slice(None))
            column = np.array(mine)[wheels.position]
            F += patch_loads(
                self.model.mesh, wheels.corners, wheels.load, column, len(places)
            ).toarray()
        return self.stiffness.solve(F)

    def _coordinates(self, plan: Floats) -> tuple[Floats, Floats]:
        u, y = self.deck.plan.logical_station(plan), plan[..., 1]
        return (u, y) if self.walk.along else (y, u)

    def _region(self, s: Floats, t: Floats) -> NDArray[np.bool_]:
        """Which points belong to the section; on an infinite plate all across the strip."""
        walk = self.walk
        if walk.support is not None:
            found = np.abs(s - walk.strip.beam.supports[walk.support].at) < ON
        else:
            found = (s > walk.s_range[0] + ON) & (s < walk.s_range[1] - ON)
        if walk.finding.kind == "corner":
            found = found & self._near_corner(s, t)
        if self.wide:
            return np.asarray(found)
        if walk.along:
            ends = self.deck.plan.line_offsets(s)[:, [0, -1]]
        else:
            ends = np.broadcast_to(self.deck.plan.u_range, (len(s), 2))
        to_low, to_high = t - ends[:, 0], ends[:, 1] - t
        if walk.finding.kind == "corner":
            return np.asarray(found)
        if walk.finding.kind == "edge":
            low = walk.finding.place.startswith(("left", "start"))
            return np.asarray(found & ((to_low if low else to_high) < ON))
        return np.asarray(found & (to_low >= walk.clear[0] - ON) & (to_high >= walk.clear[1] - ON))

    def _near_corner(self, s: Floats, t: Floats) -> NDArray[np.bool_]:
        """Which points lie at the obtuse corner that is meant; on an infinite plate at its line."""
        walk = self.walk
        low, high = walk.strip.beam.bay(walk.bay)
        line = low if walk.s - low < high - walk.s else high
        if self.wide:
            away = np.abs(s - line)
        else:
            plan = self.deck.plan
            edges = plan.line_offsets(np.array(line))[[0, -1]]
            edge = edges[int(np.argmin(np.abs(edges - walk.t)))]
            corner = plan.at(np.array(line), np.array(edge))
            away = np.linalg.norm(plan.at(s, t) - corner, axis=1)
        return np.asarray((away <= CORNER * (high - low)) & (away >= walk.strip.depth))
