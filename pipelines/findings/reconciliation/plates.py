"""A deck with some changes, factorised, as a walk reads it: the worst value of its section over the
load positions, and the value with the load position held."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from pipelines.deck.deck import Deck
from pipelines.findings.reconciliation.changes import Change, changed_deck, changed_model
from pipelines.findings.reconciliation.search import FINE, Place, Walk
from pipelines.model.build import Near
from pipelines.model.cache import ModelCache, fingerprint
from pipelines.model.fixed_loads import loads_of
from pipelines.strips.frame import ON
from pipelines.strips.sections import CORNER
from pipelines.traffic.positions import LoadPositions, WheelPatches, together
from plate.arrays import Floats, Ints
from plate.model.model import PlateModel
from plate.results.fields import field_points
from plate.results.functionals import component_rows
from plate.results.places import at_field_points, at_points
from plate.solver.solution import LocalRows
from plate.solver.stiffness import Stiffness


@dataclass(frozen=True, kw_only=True)
class ChangedModel:
    """The deck with some changes made, factorised."""

    deck: Deck
    wide: bool
    straight: bool
    model: PlateModel
    stiffness: Stiffness


class ChangedDecks:
    """The decks of several walks of one strip, each factorised once, fine where any walk looks."""

    def __init__(self, walks: Sequence[Walk], models: ModelCache) -> None:
        self.walks, self._models = walks, models
        self._made: dict[frozenset[Change], ChangedModel] = {}
        # by what they read of a model: changes of beams leave mesh and slab as they are
        self._rows: dict[tuple[Walk, str], SoughtRows] = {}

    def model(self, done: frozenset[Change]) -> ChangedModel:
        if done not in self._made:
            first = self.walks[0]
            low = min(walk.loads[0] for walk in self.walks)
            high = max(walk.loads[1] for walk in self.walks)
            deck = changed_deck(first.deck, first.strip, done, (low, high))
            wide = "width" not in done
            model = changed_model(deck, first.strip, done, self._near(wide))
            stiffness = self._models.stiffness(model)
            self._made[done] = ChangedModel(
                deck=deck, wide=wide, straight="plan" not in done, model=model, stiffness=stiffness
            )
        return self._made[done]

    def rows(self, walk: Walk, of: ChangedModel) -> "SoughtRows":
        """What a walk reads of a changed deck."""
        model = of.model
        slab = (model.mesh, model.section, model.divided, model.continued, model.n_dof)
        key = walk, fingerprint((of.wide, of.straight, *slab))
        if key not in self._rows:
            self._rows[key] = SoughtRows(walk, of)
        return self._rows[key]

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


class SoughtRows:
    """Where a walk reads its moment on a changed deck, and by which rows on the displacements."""

    def __init__(self, walk: Walk, of: ChangedModel) -> None:
        self.walk, self.deck, self.model, self.wide = walk, of.deck, of.model, of.wide
        mesh = self.model.mesh
        s, _ = self._coordinates(mesh.corners.mean(axis=1))
        cells = np.flatnonzero((s > walk.s_range[0]) & (s < walk.s_range[1]))
        points = field_points(self.model)
        within = np.unique(points.cells[cells])
        near = self._region(*self._coordinates(points.plan[within]))
        sought = within[near] if near.any() else within
        self.plan = points.plan[sought]
        places = at_field_points(points, sought)
        components = [walk.finding.section.component] * len(sought)
        self.rows = LocalRows(component_rows(self.model, places, components))

    @cached_property
    def held_rows(self) -> tuple[Floats, LocalRows]:
        """s of the cells (n,) round the plate's peak and their rows of the result."""
        walk = self.walk
        u, y = (walk.s, walk.t) if walk.along else (walk.t, walk.s)
        point = self.deck.plan.at(np.array(u), np.array(y))
        places = at_points(self.model.mesh, point[None]).apart()
        rows = component_rows(self.model, places, [walk.finding.section.component] * places.count)
        centre, _ = self._coordinates(self.model.mesh.corners[places.cells].mean(axis=1))
        return centre, LocalRows(rows)

    def _coordinates(self, plan: Floats) -> tuple[Floats, Floats]:
        u, y = self.deck.plan.logical_station(plan), plan[..., 1]
        return (u, y) if self.walk.along else (y, u)

    def _region(self, s: Floats, t: Floats) -> NDArray[np.bool_]:
        """Which points belong to the section; on an infinite plate all across the strip."""
        walk = self.walk
        if walk.support is not None:
            # the row of points there, or the one nearest to it where none is
            gap = np.abs(np.abs(s - walk.strip.beam.supports[walk.support].at) - walk.off)
            found = gap < gap.min() + ON
        else:
            found = (s > walk.s_range[0] + ON) & (s < walk.s_range[1] - ON)
        if walk.finding.section.kind == "corner":
            found = found & self._near_corner(s, t)
        if self.wide:
            return np.asarray(found)
        if walk.along:
            ends = self.deck.plan.line_offsets(s)[:, [0, -1]]
        else:
            ends = np.broadcast_to(self.deck.plan.u_range, (len(s), 2))
        to_low, to_high = t - ends[:, 0], ends[:, 1] - t
        if walk.finding.section.kind == "corner":
            return np.asarray(found)
        if walk.finding.section.kind == "edge":
            low = walk.finding.section.place.startswith(("left", "start"))
            away, clear = (to_low, walk.clear[0]) if low else (to_high, walk.clear[1])
            return np.asarray(found & (away < max(ON, clear - ON)))
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


class Plate:
    """A changed deck as one walk reads it: solves load positions, reads the moment sought."""

    def __init__(self, walk: Walk, decks: ChangedDecks, done: frozenset[Change]) -> None:
        of = decks.model(done)
        self.walk, self._read = walk, decks.rows(walk, of)
        self.deck, self.model, self.stiffness = of.deck, of.model, of.stiffness
        self.wide, self.straight = of.wide, of.straight
        # Results under the held load position, by whether wheels are spread as in the deck file.
        self._held: dict[bool, Floats] = {}

    def extremes(self, places: Sequence[Place], spread: bool) -> tuple[Floats, Ints]:
        """The value furthest to the finding's side at each position (n,), and its point."""
        loads = [self._loads(place, spread) for place in places]
        solution = self.stiffness.solution(loads_of(self.model, loads))
        if self.walk.place in places:
            _, rows = self._read.held_rows
            self._held[spread] = rows.of(solution)[:, places.index(self.walk.place)]
        values = self._read.rows.of(solution)
        at = np.argmax(self.walk.sign * values, axis=0)
        return values[at, np.arange(len(places))], at

    def held(self, spread: bool) -> float:
        """The value where and when the plate's peak governs, on a line of its worse side."""
        walk = self.walk
        centre, _ = self._read.held_rows
        if spread not in self._held:
            self.extremes([walk.place], spread)
        values = self._held[spread]
        if walk.support is None or walk.off:
            return float(values.mean())
        sides = [float(values[m].mean()) for m in (centre < walk.s, centre >= walk.s) if m.any()]
        return max(sides, key=lambda v: walk.sign * v)

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
            return held, self.walk.place, self.walk.finding.plate.at
        x, y = self._read.plan[at]
        return value, best, (float(x), float(y))

    def _loads(self, place: Place, spread: bool) -> WheelPatches:
        """All loads on this plate with the leading vehicle there, its wheels as spread as in the
        deck file or not."""
        leading, *_ = self.walk.vehicles
        parts = []
        for vehicle in self.walk.vehicles:
            station = place.station + vehicle.place.station - leading.place.station
            offset = np.array([place.offset + vehicle.place.offset - leading.place.offset])
            wheels = LoadPositions(
                vehicle=vehicle.run.vehicle,
                direction=place.direction if vehicle is leading else vehicle.place.direction,
                stations=self._straightened(np.array([station]), offset),
                offsets=offset,
                patches=vehicle.run.patches if spread else vehicle.patches,
                course=self.deck.course,
            ).wheels(slice(None))
            parts.append((wheels, vehicle.factor))
        pressed = self.walk.pressed
        corners = pressed.corners.copy()
        corners[..., 0] = self._straightened(corners[..., 0], corners[..., 1])
        return together([*parts, (replace(pressed, corners=corners), 1.0)])

    def _straightened(self, stations: Floats, offsets: Floats) -> Floats:
        """Stations on the changed deck, whose plan may be straight where the deck's is skew."""
        if not self.straight:
            return stations
        return np.asarray(stations - offsets * np.tan(self.walk.deck.plan.skew))
