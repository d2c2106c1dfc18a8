"""The slab cut into the parts within which its thickness and its bars are the same, as drawn.

At a step of the soffit the bottom bars are cut. Those of the thinner part run on straight into the
thicker one by their bond length, and up to there they are what counts, at their own level and by
the thickness of their part; those of the thicker part end at the step, and count from where they
are anchored. The top bars run level past it.

Added bars count from where they are anchored, a bond length inside the part that they lie in, and
before that not at all: EN 1992-1-1 9.2.1.3(3) allows to count them in proportion and to ignore
them. At an edge of the slab they are taken as anchored, like the bars of the mat.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property, partial

import numpy as np
from numpy.typing import NDArray

from pipelines.deck.as_built import AsBuilt
from pipelines.deck.deck import Deck
from pipelines.deck.panels import Panels
from pipelines.deck.reinforcement import AddedBars, Reinforcement
from pipelines.deck.thicknesses import Thicknesses
from pipelines.model.responses import SolvedDeck
from pipelines.standards.detailing.anchorage import anchorage
from pipelines.standards.materials import Materials
from pipelines.standards.resistance.bars import DIRECTIONS, Direction, Layer, SlabBars, place_of
from plate.arrays import Floats
from plate.geometry.outline import DRAWN, region
from plate.geometry.prepared import Prepared

Holds = Callable[[Floats], NDArray[np.bool_]]
"""Whether plan points (n, 2) lie in a part of the slab."""

# Places along a bar, to either side in shares of its bond length, that must lie in its part.
SHARES = (-1.0, -0.75, -0.5, -0.25, 0.0, 0.25, 0.5, 0.75, 1.0)
OUTSIDE = "outside added bars"


def run_on(reinforcement: Reinforcement, mat: Materials) -> dict[Direction, float]:
    """How far the bottom bars along each direction run on past a step into the thicker part, where
    those of that part are anchored, too: the longest bond length of the layer [m]."""
    found: dict[Direction, float] = {}
    for direction in DIRECTIONS:
        layer: Layer = ("bottom", direction)
        sets = [reinforcement.bars]
        sets += [reinforcement.with_added(a) for a in reinforcement.added if a.layer == layer]
        found[direction] = max(anchorage(bars, layer, mat) for bars in sets)
    return found


def thickness_words(bars: SlabBars) -> str:
    """The thickness of a part, and of what bars of a thinner part run on."""
    words = f"slab of {1e3 * bars.thickness:g} mm"
    for layer, thickness in bars.run_on:
        words += f"; {place_of(layer)} run on from {1e3 * thickness:g} mm"
    return words


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

    points : (n, 2) in plan, whose combinations of added bars and thicknesses make the parts;
    anchored : (n_added,) bond length of each [m]; run_on : past a step, of the bottom bars along
    each direction [m], of a slab of one thickness nothing.
    """

    deck: Deck
    reinforcement: Reinforcement
    points: Floats
    anchored: tuple[float, ...]
    run_on: Mapping[Direction, float] = field(default_factory=dict)

    @classmethod
    def of(cls, solved: SolvedDeck, mat: Materials) -> "DrawnBars":
        """Of a deck with bars, by its result points; mat : by which the bond is known."""
        deck = solved.deck
        reinforcement = deck.required_reinforcement
        # the bond of top bars is the poorest where the slab is thickest
        thick = Thicknesses.of(deck).thickest
        lengths = tuple(
            anchorage(reinforcement.with_added(a).at(thick), a.layer, mat)
            for a in reinforcement.added
        )
        # in plan no less than on the ground
        least = min(deck.plan.alignment.least_stretch(deck.plan.outline[:, 1]), 1.0)
        return cls(
            deck=deck,
            reinforcement=reinforcement,
            points=solved.recovery.points.plan,
            anchored=lengths,
            run_on={d: reach / least for d, reach in run_on(reinforcement, mat).items()},
        )

    @property
    def without_added(self) -> "DrawnBars":
        """The mats alone."""
        bare = replace(self.reinforcement, added=())
        return replace(self, reinforcement=bare, anchored=())

    def counted(self, points: Floats) -> NDArray[np.bool_]:
        """(n_added, n) whether each added bars count at plan points (n, 2)."""
        points = np.asarray(points, dtype=float)
        found = np.zeros((len(self.reinforcement.added), len(points)), dtype=bool)
        for k, (added, bond) in enumerate(
            zip(self.reinforcement.added, self.anchored, strict=True)
        ):
            area = self._areas[k]
            near = np.flatnonzero(area.contains(points))
            along = self._along(added.layer[1])
            good = np.ones(len(near), dtype=bool)
            for share in SHARES:
                at = points[near] + share * bond * along
                good &= area.contains(at) | ~self._slab.contains(at)
            found[k, near[good]] = True
        return found

    @cached_property
    def _slab(self) -> Prepared:
        # within rounding of the edges lies on the slab
        return Prepared(region(self.deck.plan, DRAWN).buffer(1e-6))

    @cached_property
    def _areas(self) -> tuple[Prepared, ...]:
        return tuple(Prepared(added.area.buffer(1e-6)) for added in self.reinforcement.added)

    def _along(self, direction: Direction) -> Floats:
        angle = 0.0 if direction == "x" else self.reinforcement.angle
        return np.array([np.cos(angle), np.sin(angle)])

    @cached_property
    def _thicknesses(self) -> Thicknesses:
        return Thicknesses.of(self.deck)

    def kinds(self, points: Floats) -> Floats:
        """(n, n_added + 3) what the bars of plan points (n, 2) depend on: which added bars count,
        the thickness, and those by which the bottom bars along x and y are judged [m]."""
        found = self._thicknesses
        depths = [
            found.at(points),
            *(
                found.least_along(points, self._along(d), self.run_on.get(d, 0.0))
                for d in DIRECTIONS
            ),
        ]
        return np.vstack([self.counted(points), *depths]).T

    def _number(self, points: Floats) -> NDArray[np.int64]:
        """(n,) number in `parts` of the part that each point lies in."""
        if not self.reinforcement.added and self._thicknesses.uniform:
            return np.zeros(len(points), dtype=np.int64)
        kinds, of = np.unique(self.kinds(points), axis=0, return_inverse=True)
        numbers = np.array([self._nearest(tuple(kind)) for kind in kinds.tolist()], dtype=np.int64)
        return np.asarray(numbers[of.reshape(-1)])

    def _nearest(self, kind: tuple[float, ...]) -> int:
        """The number of the part of a kind. Where it is so narrow that no result point lies in it,
        of the least thickness and, if there is one, the mats alone."""
        if kind in self._known:
            return self._known[kind]
        n, least = len(self.reinforcement.added), min(kind[-3:])
        thin = [(one, k) for one, k in self._known.items() if max(one[n:]) <= least + 1e-9]
        return min(thin, key=lambda one: (sum(one[0][:n]), -min(one[0][n:])), default=((), 0))[1]

    @cached_property
    def _known(self) -> Mapping[tuple[float, ...], int]:
        """Kinds of places at the result points, numbered: the mats alone at the slab's own
        thickness first, where there are such places."""
        t = self.deck.slab.thickness
        if not self.reinforcement.added and self._thicknesses.uniform:
            return {(t, t, t): 0}
        n, kinds = len(self.reinforcement.added), np.unique(self.kinds(self.points), axis=0)

        def order(kind: tuple[float, ...]) -> tuple[object, ...]:
            return kind[:n], *((h != t, h) for h in kind[n:])

        ordered = sorted(map(tuple, kinds.tolist()), key=order)
        return {kind: k for k, kind in enumerate(ordered)}

    @cached_property
    def parts(self) -> tuple[DrawnPart, ...]:
        """The part of the mats alone at the slab's own thickness first, where there is one."""
        return tuple(self._part(number, kind) for kind, number in self._known.items())

    def bars_of(self, kind: tuple[float, ...]) -> SlabBars:
        """The bars of places of a kind (n_added + 3,), as of `kinds`."""
        *_, t, t_x, t_y = kind
        judged = zip(DIRECTIONS, (t_x, t_y), strict=True)
        less: list[tuple[Layer, float]] = [(("bottom", d), h) for d, h in judged if h < t]
        bars = self.reinforcement.bars.at(t, tuple(less))
        for added in self._chosen(kind):
            bars = bars.with_added(added.layer, added.bars)
        return bars

    def _chosen(self, kind: tuple[float, ...]) -> list[AddedBars]:
        """The added bars that count at places of a kind."""
        return [a for a, yes in zip(self.reinforcement.added, kind[:-3], strict=True) if yes]

    def _part(self, number: int, kind: tuple[float, ...]) -> DrawnPart:
        bars, chosen = self.bars_of(kind), self._chosen(kind)
        marks = tuple(added.mark for added in chosen)
        name = f"with {' and '.join(marks)}" if marks else OUTSIDE
        if not self._thicknesses.uniform:
            thick = thickness_words(bars)
            name = f"{name}, {thick}" if self.reinforcement.added else thick

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
                alone = not part.marks and self._thicknesses.uniform
                of_part = built if alone else built.where(part.marks, part.name, part.bars)
                yield BuiltPart(number=number, built=of_part, drawn=part, holds=holds)

    def at(
        self, points: Floats, of: Callable[[SlabBars], Mapping[Layer, float]]
    ) -> dict[Layer, Floats]:
        """Values (n,) of every layer at plan points (n, 2), by the bars that lie there."""
        number = self._number(np.asarray(points, dtype=float))
        values = [of(part.bars) for part in self.parts]
        return {layer: np.array([v[layer] for v in values])[number] for layer in values[0]}
