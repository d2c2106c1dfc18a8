"""The slab cut into the parts within which its bars are the same, as drawn.

Added bars count from where they are anchored, a bond length inside the part that they lie in, and
before that not at all: EN 1992-1-1 9.2.1.3(3) allows to count them in proportion and to ignore
them. At an edge of the slab they are taken as anchored, like the bars of the mat.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property, partial

import numpy as np
import shapely
from numpy.typing import NDArray

from pipelines.deck.as_built import AsBuilt
from pipelines.deck.deck import Deck
from pipelines.deck.panels import Panels
from pipelines.deck.reinforcement import AddedBars, Reinforcement
from pipelines.model.responses import SolvedDeck
from pipelines.standards.detailing.anchorage import anchorage
from pipelines.standards.materials import Materials
from pipelines.standards.resistance.bars import Layer, SlabBars
from plate.arrays import Floats
from plate.geometry.outline import DRAWN, region

Holds = Callable[[Floats], NDArray[np.bool_]]
"""Whether plan points (n, 2) lie in a part of the slab."""

# Places along a bar, to either side in shares of its bond length, that must lie in its part.
SHARES = (-1.0, -0.75, -0.5, -0.25, 0.0, 0.25, 0.5, 0.75, 1.0)
OUTSIDE = "outside added bars"


@dataclass(frozen=True, kw_only=True)
class DrawnPart:
    """Where the bars are the same. name : in words; marks : of the added bars that count there."""

    name: str
    marks: tuple[str, ...]
    bars: SlabBars
    holds: Holds


@dataclass(frozen=True, kw_only=True)
class BuiltPart:
    """A panel as built, or a part of one within which the bars are the same. number : of the
    panel; drawn : as it is drawn."""

    number: int
    built: AsBuilt
    drawn: DrawnPart
    holds: Holds


@dataclass(frozen=True, eq=False, kw_only=True)
class DrawnBars:
    """The bars that count at every point of the slab by one standard.

    points : (n, 2) in plan, whose combinations of added bars make the parts; anchored : (n_added,)
    bond length of each [m].
    """

    deck: Deck
    reinforcement: Reinforcement
    points: Floats
    anchored: tuple[float, ...]

    @classmethod
    def of(cls, solved: SolvedDeck, mat: Materials) -> "DrawnBars":
        """Of a deck with bars, by its result points; mat : by which the bond is known."""
        deck = solved.deck
        reinforcement = deck.required_reinforcement
        lengths = tuple(
            anchorage(reinforcement.with_added(a), a.layer, mat) for a in reinforcement.added
        )
        return cls(
            deck=deck,
            reinforcement=reinforcement,
            points=solved.recovery.points.plan,
            anchored=lengths,
        )

    def counted(self, points: Floats) -> NDArray[np.bool_]:
        """(n_added, n) whether each added bars count at plan points (n, 2)."""
        points = np.asarray(points, dtype=float)
        found = np.zeros((len(self.reinforcement.added), len(points)), dtype=bool)
        for k, (added, bond) in enumerate(
            zip(self.reinforcement.added, self.anchored, strict=True)
        ):
            area = self._areas[k]
            near = np.flatnonzero(shapely.contains_xy(area, *points.T))
            along = self._along(added)
            good = np.ones(len(near), dtype=bool)
            for share in SHARES:
                at = points[near] + share * bond * along
                good &= shapely.contains_xy(area, *at.T) | ~shapely.contains_xy(self._slab, *at.T)
            found[k, near[good]] = True
        return found

    @cached_property
    def _slab(self) -> shapely.Geometry:
        # within rounding of the edges lies on the slab
        slab = region(self.deck.plan, DRAWN).buffer(1e-6)
        shapely.prepare(slab)
        return slab

    @cached_property
    def _areas(self) -> tuple[shapely.Geometry, ...]:
        grown = tuple(added.area.buffer(1e-6) for added in self.reinforcement.added)
        for area in grown:
            shapely.prepare(area)
        return grown

    def _along(self, added: AddedBars) -> Floats:
        angle = 0.0 if added.layer[1] == "x" else self.reinforcement.angle
        return np.array([np.cos(angle), np.sin(angle)])

    def _number(self, points: Floats) -> NDArray[np.int64]:
        """(n,) number in `parts` of the part that each point lies in."""
        if not self.reinforcement.added:
            return np.zeros(len(points), dtype=np.int64)
        return np.array(
            [self._known.get(bytes(column), 0) for column in self.counted(points).T], dtype=np.int64
        )

    @cached_property
    def _known(self) -> Mapping[bytes, int]:
        """Combinations of added bars at the result points by their bits, numbered; none of them
        first, where the mats lie alone anywhere."""
        if not self.reinforcement.added:
            return {b"": 0}
        kinds = np.unique(self.counted(self.points), axis=1).T  # sorted: none of them is the first
        return {bytes(kind): k for k, kind in enumerate(kinds)}

    @cached_property
    def parts(self) -> tuple[DrawnPart, ...]:
        """The part of the mats alone first, where there is one. Where a combination of
        added bars is so narrow that no result point lies in it, the first part's bars count."""
        return tuple(
            self._part(number, np.frombuffer(bits, dtype=bool))
            for bits, number in self._known.items()
        )

    def _part(self, number: int, counts: NDArray[np.bool_]) -> DrawnPart:
        bars = self.reinforcement.bars
        chosen = [a for a, yes in zip(self.reinforcement.added, counts, strict=True) if yes]
        for added in chosen:
            bars = bars.with_added(added.layer, added.bars)
        marks = tuple(added.mark for added in chosen)
        name = f"with {' and '.join(marks)}" if marks else OUTSIDE

        def holds(points: Floats) -> NDArray[np.bool_]:
            return np.asarray(self._number(points) == number)

        return DrawnPart(name=name, marks=marks, bars=bars, holds=holds)

    def bars_at(self, point: Floats) -> SlabBars:
        """The bars that count at a plan point (2,)."""
        return self.parts[int(self._number(point[None])[0])].bars

    @cached_property
    def built(self) -> tuple[BuiltPart, ...]:
        """The panels with readings, those with added bars part by part."""
        survey = self.reinforcement.survey
        if survey is None:
            return ()
        return tuple(
            found
            for number, built in survey.built.items()
            for found in self._built(survey.panels, number, built)
        )

    def _built(self, panels: Panels, number: int, built: AsBuilt) -> Iterator[BuiltPart]:
        for part in self.parts:

            def holds(points: Floats, part: DrawnPart = part) -> NDArray[np.bool_]:
                return panels.holds(number, points) & part.holds(points)

            if len(self.parts) == 1:
                yield BuiltPart(
                    number=number, built=built, drawn=part, holds=partial(panels.holds, number)
                )
            elif holds(self.points).any():
                of_part = built.where(part.marks, part.name) if part.marks else built
                yield BuiltPart(number=number, built=of_part, drawn=part, holds=holds)

    def at(
        self, points: Floats, of: Callable[[SlabBars], Mapping[Layer, float]]
    ) -> dict[Layer, Floats]:
        """Values (n,) of every layer at plan points (n, 2), by the bars that lie there."""
        number = self._number(np.asarray(points, dtype=float))
        values = [of(part.bars) for part in self.parts]
        return {layer: np.array([v[layer] for v in values])[number] for layer in values[0]}
