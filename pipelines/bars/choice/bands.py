"""Where bars may be added to a layer: along lines, or everywhere but along them.

Hogging is largest over the lines that bars cross and along free edges, sagging away from supports
and edges. Added bars that end in the slab reach on by the tension shift, and by their bond length
before they count.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray

from pipelines.bars.checks.curtailment import tension_shift
from pipelines.deck.added_areas import along_lines, clear_of_lines, courses
from pipelines.deck.deck import Deck
from pipelines.model.responses import SolvedDeck
from pipelines.standards.detailing.anchorage import anchorage
from pipelines.standards.materials import Materials
from pipelines.standards.resistance.bars import Bars, Layer, SlabBars
from plate.arrays import Floats
from plate.geometry.outline import DRAWN, region

STEP = 0.1  # to which reaches of added bars are rounded [m]
INSIDE = 1e-6  # to within which a place lies on what is drawn [m]
# Lines and bars that enclose an angle with a sine above the first cross; below the other they run
# alongside.
CROSS, ALONGSIDE = 0.7, 0.5


@dataclass(frozen=True, kw_only=True)
class Added:
    """Bars added between those of a mat within a reach [m] of some lines; clear : everywhere but
    there."""

    bars: Bars
    along: tuple[str, ...]
    reach: float
    clear: bool = False

    @property
    def where(self) -> str:
        """In words."""
        names = ", ".join(self.along)
        return (
            f"clear of {names} by {self.reach:g} m"
            if self.clear
            else f"within {self.reach:g} m of {names}"
        )

    def area(self, deck: Deck) -> float:
        """Of the slab on which they lie [m2]."""
        found = clear_of_lines if self.clear else along_lines
        slab = region(deck.plan, DRAWN)
        return float((found(deck.plan, self.along, self.reach) & slab).area)


@dataclass(frozen=True, kw_only=True)
class Band:
    """Lines along which, or clear of which, bars may be added to a layer.

    lines : their courses. gaps : (n_line, n) distance of every result point to each of them [m].
    sines : (n_line,) largest of the angles between each and the bars: a length along the bars is no
    more than so much of it away from the line.
    """

    along: tuple[str, ...]
    clear: bool
    lines: tuple[shapely.Geometry, ...]
    gaps: Floats
    sines: Floats

    @cached_property
    def gap(self) -> Floats:
        """(n,) distance of every result point to the nearest line [m]."""
        return np.asarray(self.gaps.min(axis=0))

    @property
    def reaches(self) -> Floats:
        """Distances from the lines that are tried [m]: outside each the mat lies alone, further
        off them or, of bars clear of them, nearer; the least steel first."""
        found = np.arange(STEP, self.gap.max() + STEP, STEP)
        return found[::-1] if self.clear else found

    def alone(self, reach: float) -> NDArray[np.bool_]:
        """(n,) where the mat lies alone, with added bars that count within a reach [m]."""
        return np.asarray(self.gap < reach if self.clear else self.gap > reach)

    def without(self, line: int) -> "Band":
        """Of the other lines."""
        keep = [k for k in range(len(self.along)) if k != line]
        return replace(
            self,
            along=tuple(self.along[k] for k in keep),
            lines=tuple(self.lines[k] for k in keep),
            gaps=self.gaps[keep],
            sines=self.sines[keep],
        )

    def gap_at(self, points: Floats) -> Floats:
        """(n,) distance of plan points (n, 2) to the nearest line [m]."""
        places = shapely.points(points)
        gaps = np.array([shapely.distance(line, places) for line in self.lines])
        return np.asarray(gaps.min(axis=0))

    def lengthened(self, reach: float, along: float) -> float:
        """A reach [m] of bars that are longer by so much at each end [m], rounded to more bars."""
        more = along * float(self.sines.max())
        if self.clear:
            return round(float(np.floor((reach - more) / STEP + 1e-9) * STEP), 3)
        return round(float(np.ceil((reach + more) / STEP - 1e-9) * STEP), 3)

    def counted(self, reach: float, bond: float, gap: Floats) -> NDArray[np.bool_]:
        """(n,) where bars drawn with a reach [m] are anchored by their bond length [m], at
        distances `gap` (n,) from the nearest line [m]."""
        off = bond * float(self.sines.max()) - INSIDE
        return np.asarray(gap >= reach + off if self.clear else gap <= reach - off)


def bands(solved: SolvedDeck, layer: Layer) -> Iterator[Band]:
    """Along the supporting lines that the layer's bars cross, and along the free edges beside them;
    of bottom bars also clear of the supports and edges that they cross, of those that run
    alongside, and of all."""
    deck = solved.deck
    plan = deck.plan
    supports = {line.name for line in deck.lines if line.support != "free"}
    held = supports | {edge for edge, twin in plan.twins.items() if twin in supports}
    free = {edge for edge in plan.edges if edge not in held}
    runs = _direction(deck, layer)
    sine = {name: _sine(plan.lines[name].path[[0, -1]], runs) for name in supports | free}
    crossed = [name for name in supports if sine[name] > CROSS]
    yield from _band(solved, layer, crossed)
    yield from _band(solved, layer, [edge for edge in free if sine[edge] < ALONGSIDE])
    if layer[0] == "bottom":
        every = supports | free
        ends = [name for name in every if sine[name] > CROSS]
        beside = [name for name in every if sine[name] < ALONGSIDE]
        for names in (ends, beside, list(every)):
            yield from _band(solved, layer, names, clear=True)


def band_of(solved: SolvedDeck, layer: Layer, added: Added) -> Band:
    """That of some added bars."""
    (found,) = _band(solved, layer, added.along, clear=added.clear)
    return found


def _band(
    solved: SolvedDeck,
    layer: Layer,
    names: Sequence[str],
    *,
    clear: bool = False,
) -> Iterator[Band]:
    """Of lines, if there are any."""
    if not names:
        return
    along = tuple(sorted(names))
    points, runs = shapely.points(solved.recovery.points.plan), _direction(solved.deck, layer)
    lines = [courses(solved.deck.plan, [name]) for name in along]
    yield Band(
        along=along,
        clear=clear,
        lines=tuple(lines),
        gaps=np.array([shapely.distance(line, points) for line in lines]),
        sines=np.array([max(_sine(run, runs) for run in _runs(line)) for line in lines]),
    )


def _direction(deck: Deck, layer: Layer) -> Floats:
    angle = 0.0 if layer[1] == "x" else deck.required_reinforcement.angle
    return np.array([np.cos(angle), np.sin(angle)])


def _sine(ends: Floats, along: Floats) -> float:
    """Of the angle between the line through two points (2, 2) and a direction (2,)."""
    run = (ends[1] - ends[0]) / max(float(np.linalg.norm(ends[1] - ends[0])), 1e-9)
    return abs(float(along[0] * run[1] - along[1] * run[0]))


def _runs(line: shapely.Geometry) -> Iterator[Floats]:
    """The straight parts (2, 2) of a line."""
    for part in shapely.get_parts(line):
        at = shapely.get_coordinates(part)
        yield from (at[k : k + 2] for k in range(len(at) - 1))


def bond(bars: SlabBars, layer: Layer, materials: Sequence[Materials]) -> float:
    """The largest bond length of all standards [m]."""
    return max(anchorage(bars, layer, mat) for mat in materials)


def shift(bars: SlabBars, layer: Layer, materials: Sequence[Materials]) -> float:
    """The largest tension shift of all standards [m]."""
    d, diameter = bars.effective_depth(layer), bars.bars(layer).largest
    return max(tension_shift(mat.standard, d, diameter) for mat in materials)
