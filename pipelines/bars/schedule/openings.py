"""Trimmers beside openings, and diagonal bars at their corners.

On either side lies half of the steel that the opening cuts, in bars of the mat's diameter, no fewer
than two, anchored past it; at
each corner one diagonal bar a face, the bond length to each side (common practice).
"""

from collections.abc import Iterator, Mapping, Sequence
from math import ceil

import numpy as np
import shapely

from pipelines.bars.schedule.laid import LaidBars
from pipelines.bars.schedule.lines import SHORTEST, Course, course_of, true_length
from pipelines.bars.schedule.marks import SLACK, Mark, PlacedBar, Use, down
from pipelines.bars.schedule.steps import level_along
from pipelines.deck.deck import Deck
from pipelines.deck.thicknesses import Thicknesses
from pipelines.standards.resistance.bars import FACES, LAYERS, Layer
from plate.arrays import Floats
from plate.geometry.curves import sampled
from plate.geometry.outline import DRAWN

APART = 0.050  # of trimmers, centre to centre, no less than three diameters [m]
FEWEST = 2


def bars_at_openings(
    deck: Deck, laid: Sequence[LaidBars], anchored: Mapping[Layer, float]
) -> Iterator[Mark]:
    """anchored : bond length of every layer [m]."""
    for number, ring in enumerate(deck.plan.openings, start=1):
        points = sampled(ring, DRAWN)
        for layer in LAYERS:
            # what is added to the layer, in bars of the mat
            diameter = deck.required_reinforcement.bars.bars(layer).diameter
            more = sum(
                _ended(one, f"opening {number}") * (one.bars.diameter / diameter) ** 2
                for one in laid
                if one.layer == layer and one.mark
            )
            course = course_of(deck, layer[1])
            yield from _trimmers(course, layer, number, points, anchored[layer], more)
        for face in FACES:
            bars = deck.required_reinforcement.bars.mat(face)
            layer = (face, "x" if bars.x.diameter >= bars.y.diameter else "y")
            yield from _diagonals(course_of(deck, layer[1]), layer, number, points, anchored[layer])


def _ended(laid: LaidBars, edge: str) -> int:
    """How many bars an opening cuts: those with ends at its edge."""
    return len({line.number for line in laid.lines if edge in line.ends})


def _trimmers(
    course: Course, layer: Layer, number: int, ring: Floats, bond: float, more: float
) -> Iterator[Mark]:
    """more : bars that the opening cuts beside those of the mat."""
    bars = course.deck.required_reinforcement.bars.bars(layer)
    _, places = course.places(bars)
    across, along = ring @ course.aside, ring @ course.along
    low, high = across.min() - course.inset, across.max() + course.inset
    cut = int(np.sum((places > low) & (places < high)))
    each = max(FEWEST, ceil((cut + more) / 2 - SLACK))
    apart = max(APART, 3.0 * bars.diameter)
    stretch = course.deck.plan.alignment.stretch(ring).min() if layer[1] == "x" else 1.0
    reach = course.inset + bond / float(min(stretch, 1.0))
    ends = np.array([along.min() - reach, along.max() + reach])
    found: list[list[PlacedBar]] = []
    for side, edge in ((-1.0, low), (1.0, high)):
        found.append([])
        for k in range(each):
            at = edge + side * (0.5 * bars.diameter + k * apart)
            path = at * course.aside + ends[:, None] * course.along
            found[-1] += _clipped(course, path, float(at))
    yield from _mark(course.deck, "trimmer", layer, number, bars.diameter, found)


def _diagonals(
    course: Course, layer: Layer, number: int, ring: Floats, bond: float
) -> Iterator[Mark]:
    diameter = course.deck.required_reinforcement.bars.bars(layer).diameter
    found = []
    for angle in np.pi / 4 + np.pi / 2 * np.arange(4):
        out = np.array([np.cos(angle), np.sin(angle)])
        aside = np.array([-out[1], out[0]])
        corner = ring[(ring @ out).argmax()]
        middle = corner + (np.sqrt(2.0) * course.inset + 0.5 * diameter) * out
        path = middle + np.array([[-bond], [bond]]) * aside
        found.append(_clipped(course, path, float(middle @ course.aside)))
    yield from _mark(course.deck, "diagonal", layer, number, diameter, found)


def _clipped(course: Course, path: Floats, across: float) -> list[PlacedBar]:
    """The longest part of a bar that lies on the slab."""
    parts = shapely.get_parts(shapely.LineString(path).intersection(course.slab))
    lines = [np.array(p.coords)[[0, -1]] for p in parts if isinstance(p, shapely.LineString)]
    plan = course.deck.plan
    lines = sorted(lines, key=lambda line: true_length(plan, line))
    if not lines or true_length(plan, lines[-1]) < SHORTEST:
        return []
    return [PlacedBar(lines[-1], down(true_length(plan, lines[-1])), across)]


def _mark(
    deck: Deck,
    use: Use,
    layer: Layer,
    number: int,
    diameter: float,
    placed: list[list[PlacedBar]],
) -> Iterator[Mark]:
    """One mark, of bars that an edge makes shorter a series; nothing where none has room. placed :
    bars side by side."""
    cuts = {round(bar.cut, 3) for side in placed for bar in side}
    if cuts:
        paths = [bar.path for side in placed for bar in side]
        yield Mark(
            number=0,
            use=use,
            layers=(layer,),
            thickness=level_along(Thicknesses.of(deck), paths),
            of=f"opening {number}",
            diameter=diameter,
            spacing=0.0,
            shape="00",
            a=cuts.pop() if len(cuts) == 1 else None,
            b=None,
            c=None,
            radius=None,
            ranges=tuple(tuple(side) for side in placed if side),
        )
