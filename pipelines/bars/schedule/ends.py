"""U-bars at the slab's edges, and bars along the edge in their bends."""

from collections.abc import Iterator, Mapping, Sequence

import numpy as np
import shapely

from pipelines.bars.schedule.laid import LaidBars
from pipelines.bars.schedule.lines import (
    BarLine,
    Course,
    arc_radius,
    course_of,
    in_bend,
    true_length,
)
from pipelines.bars.schedule.marks import (
    Mark,
    PlacedBar,
    down,
    side_by_side,
    u_length,
    up,
)
from pipelines.bars.schedule.pieces import lapped
from pipelines.bars.schedule.steps import lines_by_level, room_at_level
from pipelines.deck.deck import Deck
from pipelines.deck.thicknesses import Thicknesses
from pipelines.standards.detailing.laps import bend_radius
from pipelines.standards.resistance.bars import (
    FACES,
    Direction,
    Layer,
    SlabBars,
)
from plate.arrays import Floats
from plate.geometry.outline import DRAWN

THINNER = (0.016, 0.012, 0.010, 0.008)  # of U-bars where the layer's own do not bend in the slab


def u_bars(
    deck: Deck,
    laid: Sequence[LaidBars],
    edges: Mapping[str, tuple[tuple[Direction, ...], bool]],
    laps: Mapping[Layer, float],
) -> Iterator[Mark]:
    """U-bars of legs of 2 h, or of a lap where they anchor the bars, one beside every bar of the
    fuller of both mats that ends at such an edge, and beside every added bar there without which
    they would be less than its layer; thinner where these do not bend in the slab."""
    bars = deck.required_reinforcement.bars
    for edge, (directions, anchors) in edges.items():
        for direction in directions:
            full = fuller(bars, direction)
            for one in laid:
                more = one.mark and one.whole.bars(one.layer).area > bars.bars(full).area
                if one.layer == full or (more and one.layer[1] == direction):
                    for h, ends in _by_thickness(deck, one, edge).items():
                        there = bars.at(h)
                        lap = thinner(there, direction) * max(
                            laps[face, direction] for face in FACES
                        )
                        leg = up(max(2.0 * h, lap if anchors else 0.0))
                        yield from _u_bars(deck, one, there, ends, edge, leg)


def _by_thickness(deck: Deck, laid: LaidBars, edge: str) -> dict[float, list[tuple[BarLine, int]]]:
    """Lines that end at an edge, each with the number of its end there, by the thickness of the
    slab [m]; none of bars that run on past a step up to the edge: others lie below them."""
    ended = [
        (line, side) for line in laid.lines for side, name in enumerate(line.ends) if name == edge
    ]
    if not ended:
        return {}
    found: dict[float, list[tuple[BarLine, int]]] = {}
    points = np.array([line.path[-side] for line, side in ended])
    for one, h in zip(ended, Thicknesses.of(deck).at(points).tolist(), strict=True):
        if laid.layer[0] == "top" or h == laid.whole.thickness:
            found.setdefault(h, []).append(one)
    return found


def _u_bars(
    deck: Deck,
    laid: LaidBars,
    bars: SlabBars,
    ends: Sequence[tuple[BarLine, int]],
    edge: str,
    most: float,
) -> Iterator[Mark]:
    """Those beside bars that end at an edge, bars : of the slab there; most : length of their legs,
    which end before a step to a thinner part; shorter ones, beside bars that are shorter
    themselves, are a series."""
    thicknesses, cover = Thicknesses.of(deck), course_of(deck, laid.layer[1]).cover
    direction, height = laid.layer[1], u_height(bars, laid.layer[1])
    diameter = u_diameter(laid.bars.diameter, height)
    radius = bend_radius(diameter)
    whole: list[PlacedBar] = []
    shorter: list[PlacedBar] = []
    rooms = [room_at_level(thicknesses, line, side, cover) for line, side in ends]
    if len({round(down(room), 3) for room in rooms}) == 1:
        most = min(most, down(rooms[0]))
    for (line, side), room in zip(ends, rooms, strict=True):
        own = min(most, down(room))
        path = line.part(0.0, own) if side == 0 else line.part(line.length - own, line.length)[::-1]
        cut = up(u_length(own, height, diameter, radius))
        placed = whole if own == most else shorter
        placed.append(PlacedBar(path, cut, line.across))
    for those, leg in ((whole, round(most, 3)), (shorter, None)):
        if those:
            yield Mark(
                number=0,
                use="U-bar",
                layers=(("top", direction), ("bottom", direction)),
                thickness=bars.thickness,
                of=edge,
                diameter=diameter,
                spacing=laid.bars.spacing,
                shape="21",
                a=leg,
                b=round(height, 4),
                c=leg,
                radius=(radius, radius),
                ranges=side_by_side(those),
            )


def fuller(bars: SlabBars, direction: Direction) -> Layer:
    """The layer along a direction with more steel in its mat."""
    layers: list[Layer] = [(face, direction) for face in FACES]
    return max(layers, key=lambda layer: bars.bars(layer).diameter ** 2 / bars.bars(layer).spacing)


def u_height(bars: SlabBars, direction: Direction) -> float:
    """Of U-bars between the outsides of both layers along a direction [m]."""
    return bars.thickness - sum(bars.mat(face).cover_to(direction) for face in FACES)


def u_diameter(diameter: float, height: float) -> float:
    """The largest diameter, no more than that of the bars, that bends within a height [m]."""
    for one in (diameter, *THINNER):
        if one <= diameter and 2.0 * (bend_radius(one) + one) <= height:
            return one
    return THINNER[-1]


def thinner(bars: SlabBars, direction: Direction) -> float:
    """How much longer laps of U-bars are that are thinner than the bars beside which they lie: in
    proportion to the diameters, as their stress grows with the square."""
    own = bars.bars(fuller(bars, direction)).diameter
    return own / u_diameter(own, u_height(bars, direction))


def edge_bars(
    deck: Deck,
    edges: Mapping[str, tuple[tuple[Direction, ...], bool]],
    laps: Mapping[Layer, float],
    stock: float,
) -> Iterator[Mark]:
    """A bar at the top and one at the bottom along every edge of the slab with U-bars, in their
    bends; openings have trimmers."""
    mats = deck.required_reinforcement.bars
    bars = mats.at(Thicknesses.of(deck).parts[0][0])
    for edge, (directions, _) in edges.items():
        if edge.startswith("opening") or not directions:
            continue
        a, b = np.array(course_of(deck, "x").edges[edge].coords)[[0, -1]]
        direction: Direction = "y" if abs(b - a)[0] >= abs(b - a)[1] else "x"
        layer = fuller(bars, direction)
        course = course_of(deck, layer[1])
        height = u_height(bars, direction)
        diameter = u_diameter(bars.bars(layer).diameter, height)
        path = _beside(course, edge, diameter)
        if path is None:
            continue
        length = true_length(deck.plan, path)
        along: Direction = "y" if direction == "x" else "x"
        for number, face in enumerate(FACES):
            line = BarLine(number=number, path=path, length=length, across=0.0, ends=("", ""))
            # as of the layer's own bars, in AASHTO with the square of the diameter
            lap = laps[face, along] * max(diameter / bars.bars((face, along)).largest, 1.0) ** 2
            for t, mine in lines_by_level(deck, (face, along), [line], course.cover).items():
                for group in lapped(mine, lap, stock, lambda points: np.zeros(len(points))):
                    for placed in group.pieces():
                        yield _edge_bar(deck, (face, along), t, edge, diameter, placed)


def _edge_bar(
    deck: Deck,
    layer: Layer,
    thickness: float,
    edge: str,
    diameter: float,
    placed: Sequence[PlacedBar],
) -> Mark:
    bend = arc_radius(deck.plan, placed[0].path)
    cuts = {round(bar.cut, 3) for bar in placed}
    return Mark(
        number=0,
        use="edge bar",
        layers=(layer,),
        thickness=thickness,
        of=edge,
        diameter=diameter,
        spacing=0.0,
        shape="00" if bend is None else "67",
        a=cuts.pop() if len(cuts) == 1 else None,
        b=None,
        c=None,
        radius=None if bend is None else (round(bend, 3), round(bend, 3)),
        ranges=(tuple(placed),),
    )


def _beside(course: Course, edge: str, diameter: float) -> Floats | None:
    """Plan points of a bar along an edge in the bends of U-bars of its diameter [m], with the cover
    to the neighbouring edges on all of its width."""
    line, slab = course.edges[edge], course.slab.buffer(-diameter / 2, join_style="mitre")
    inside = in_bend(diameter)
    sides = []
    for distance in (course.inset + inside, -course.inset - inside):
        met = line.offset_curve(distance).intersection(slab)
        parts = [
            p for p in shapely.get_parts(met) if isinstance(p, shapely.LineString) and p.length
        ]
        sides += [shapely.line_merge(shapely.MultiLineString(parts))] if parts else []
    if not sides:
        return None
    found = max(sides, key=lambda side: side.length)
    part = max(shapely.get_parts(found), key=lambda part: part.length)
    points = np.array(part.simplify(DRAWN).coords)
    return points if part.length > 0.3 else None
