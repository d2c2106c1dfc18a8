"""How bars are anchored at the slab's edges, past end supports and by U-bars, and how they lap,
judged by each standard."""

from collections.abc import Iterator, Mapping, Sequence
from math import pi

import numpy as np
import shapely
from numpy.typing import NDArray

from pipelines.bars.checks.free_edges import free_edges
from pipelines.bars.schedule.ends import thinner
from pipelines.bars.schedule.laid import LaidBars
from pipelines.bars.schedule.lines import BarLine
from pipelines.bars.schedule.marks import EndAnchorage, LayerLaps, Schedule, TurnedEnd
from pipelines.bars.schedule.pieces import Used
from pipelines.deck.deck import Deck, Line
from pipelines.deck.thicknesses import Thicknesses
from pipelines.standards.detailing.anchorage import anchorage
from pipelines.standards.detailing.laps import (
    ALL,
    CROSSED,
    CROSSING,
    EDGES,
    ENDS,
    LAPS,
    end_length,
    lap_length,
)
from pipelines.standards.detailing.rules import Row, Unit
from pipelines.standards.materials import Materials
from pipelines.standards.resistance.bars import (
    DIRECTIONS,
    Direction,
    Layer,
    other_direction,
    place_of,
)
from pipelines.standards.sources import Source
from plate.arrays import Floats
from plate.geometry.curves import sampled
from plate.geometry.outline import DRAWN

MOST_ENDS = 24  # of an edge that are looked at
WITHIN = 9  # places along a bar at which its tension is read
PROBE = 0.05  # along a bar, from which its angle with a line is taken [m]
ALONG = 0.1  # sine of that angle up to which a bar lies along the line
NOTHING = 0.02  # a layer that is used less at a support needs no anchorage there


def end_anchorages(
    deck: Deck,
    laid: Sequence[LaidBars],
    mat: Materials,
    used: Mapping[Layer, Used],
    shift: Mapping[Layer, float],
) -> Iterator[EndAnchorage]:
    """Of every layer at every edge, the worst: straight, past the first line that supports it.

    used : utilisation of every layer in bending; shift : of the tension [m]. The force at the face
    is the largest from the line to the shift beyond it.
    """
    supports = [(line.name, line.width) for line in deck.lines]
    courses = np.array([_course(deck, line) for line in deck.lines], dtype=object)
    worst: dict[tuple[Layer, str], EndAnchorage] = {}
    for one, edge, path in ((mats, *end) for mats in laid for end in _sampled(mats)):
        layer = one.layer
        first = _first_support(path, supports, courses)
        if first is None:
            continue
        name, gap, half = first
        at = gap + np.linspace(0.0, half + shift[layer], WITHIN)
        share = float(_used(path, used[layer], at).max())
        if layer[0] == "top" and share < NOTHING:
            continue
        end = EndAnchorage(
            edge=edge,
            line=name,
            layer=layer,
            standard=mat.standard,
            used=share,
            needed=end_length(one.whole, layer, mat, share),
            room=gap + half,
            source=ENDS[mat.standard],
        )
        known = worst.get((layer, edge))
        if known is None or end.needed - end.room > known.needed - known.room:
            worst[layer, edge] = end
    yield from worst.values()


def turned_ends(
    deck: Deck,
    laid: Sequence[LaidBars],
    mat: Materials,
    used: Mapping[Layer, Used],
    shift: Mapping[Layer, float],
) -> Iterator[TurnedEnd]:
    """Of every layer at every edge, the worst, if U-bars go round it; from there to where the bars
    are anchored by themselves."""
    leg = least_leg(deck)
    worst: dict[tuple[Layer, str], TurnedEnd] = {}
    for one in laid:
        layer, bond = one.layer, anchorage(one.whole, one.layer, mat)
        at = np.linspace(0.0, bond, WITHIN)
        ahead = at[:, None] + np.linspace(0.0, shift[layer], WITHIN)
        bars = one.whole.bars(layer)
        stressed, free = (lap_length(one.whole, layer, mat, share, ALL) for share in (1.0, 0.0))
        for edge, path in _sampled(one):
            end = TurnedEnd(
                edge=edge,
                layer=layer,
                standard=mat.standard,
                at=tuple(at.tolist()),
                used=tuple(_used(path, used[layer], ahead).max(axis=1).tolist()),
                bond=bond,
                lap=(stressed, free),
                steel=bars.area,
                diameter=bars.largest,
                source=EDGES[mat.standard],
            )
            known = worst.get((layer, edge))
            if known is None or _worse(end, known, leg):
                worst[layer, edge] = end
    yield from worst.values()


def _worse(one: TurnedEnd, other: TurnedEnd, leg: float) -> bool:
    needed, known = (end.laps(leg) for end in (one, other))
    return needed[0] - needed[1] > known[0] - known[1]


def least_leg(deck: Deck) -> float:
    """Of U-bars that need not anchor more, where the slab is thinnest [m]."""
    return 2.0 * Thicknesses.of(deck).parts[0][0]


def _used(path: Floats, used: Used, at: Floats) -> Floats:
    """Utilisation at distances along a bar from its end [m], of any shape."""
    run = path[-1] - path[0]
    s = np.clip(at, 0.0, np.linalg.norm(run))[..., None]
    points = path[0] + s * run / np.linalg.norm(run)
    return used(points.reshape(-1, 2)).reshape(at.shape)


def _sampled(laid: LaidBars) -> Iterator[tuple[str, Floats]]:
    """Some of the bars that end at every edge, from there."""
    for edge, paths in _ends(laid.lines).items():
        for path in paths[:: max(len(paths) // MOST_ENDS, 1)]:
            yield edge, path


def _ends(lines: Sequence[BarLine]) -> dict[str, list[Floats]]:
    """Paths of bars from their ends at edges of the slab, by edge."""
    found: dict[str, list[Floats]] = {}
    for line in lines:
        for name, path in zip(line.ends, (line.path, line.path[::-1]), strict=True):
            if name and not name.startswith("opening"):
                found.setdefault(name, []).append(path)
    return found


def _course(deck: Deck, line: Line) -> shapely.LineString:
    """A supporting line as far as it supports."""
    curves = deck.plan.lines[line.name].course(full=line.to_edges)
    return shapely.LineString(sampled(curves, DRAWN))


def _first_support(
    path: Floats, supports: Sequence[tuple[str, float]], courses: NDArray[np.object_]
) -> tuple[str, float, float] | None:
    """The first line that a bar crosses from its end, how far from there, less than nothing where
    it lies beyond, and half of its width along the bar [m]."""
    inward = (path[-1] - path[0]) / np.linalg.norm(path[-1] - path[0])
    reach = shapely.LineString([path[0] - inward * 0.3, path[-1]])
    best: tuple[str, float, float] | None = None
    # Of all lines at once: most bars cross few of them.
    met, line = shapely.get_coordinates(shapely.intersection(reach, courses), return_index=True)
    for k in np.unique(line).tolist():
        name, width = supports[k]
        gap = float(((met[line == k] - path[0]) @ inward).min())
        sine = courses[k].distance(shapely.Point(path[0] + (gap + PROBE) * inward)) / PROBE
        # a bar that lies along a line rests on it nowhere in particular
        if sine > ALONG and (best is None or gap < best[1]):
            best = (name, gap, 0.5 * width / sine)
    return best


def edges_with_u_bars(
    deck: Deck, ends: Sequence[EndAnchorage], turned: Sequence[TurnedEnd] = ()
) -> dict[str, tuple[tuple[Direction, ...], bool]]:
    """Edges with the directions of the bars whose ends get U-bars, and whether these have to anchor
    the bars by more than their least legs: free edges, joints, and where straight bars lack
    room."""
    leg = least_leg(deck)
    bars = deck.required_reinforcement.bars.at(leg / 2.0)
    lacking = {(end.edge, end.layer[1]) for end in ends if not end.holds}
    long = {
        (end.edge, end.layer[1])
        for end in turned
        if not end.holds(leg, thinner(bars, end.layer[1]))
    }
    wanted = dict(free_edges(deck))
    for joint in () if deck.traffic is None else deck.traffic.joints:
        wanted.setdefault(joint, DIRECTIONS[:1])
    for edge, direction in sorted(lacking):
        wanted[edge] = tuple(dict.fromkeys((*wanted.get(edge, ()), direction)))
    return {
        edge: (directions, any((edge, d) in lacking | long for d in directions))
        for edge, directions in wanted.items()
    }


def anchorage_rows(schedule: Schedule, mat: Materials) -> tuple[Row, ...]:
    """Ends and laps as they are in the schedule against what one standard asks for.

    Of U-bars the whole legs count: those beside bars that are shorter themselves overlap each
    other.
    """
    rows: list[Row] = []
    u_bars = [m for m in schedule.marks if m.use == "U-bar" and m.a is not None]
    for end in schedule.ends:
        if end.standard == mat.standard and end.holds:
            place = f"{place_of(end.layer)}, edge {end.edge}, past line {end.line}"
            rows.append(_at_least("anchorage", place, end.needed, end.room, "m", end.source))
    for one in schedule.turned:
        mine = [m for m in u_bars if m.of == one.edge and one.layer in m.layers]
        if one.standard != mat.standard or not mine:
            continue
        steel = sum(pi / 4 * m.diameter**2 / m.spacing for m in mine)
        thickest = max(m.diameter for m in mine)
        weaker = max(thickest / one.diameter * one.steel / steel, 1.0)
        needed, there = one.laps(min(m.a for m in mine if m.a is not None), weaker)
        place = f"{place_of(one.layer)}, edge {one.edge}"
        rows.append(_at_least("lap with U-bars", place, needed, there, "m", one.source))
        asked = max(one.rest) * one.steel
        rows.append(_at_least("U-bars", place, asked, steel, "m2/m", one.source))
    return (*rows, *_lap_rows(schedule.laps, mat))


def _lap_rows(laps: Sequence[LayerLaps], mat: Materials) -> Iterator[Row]:
    """Laps of straight bars where they lie, and the bars across those of thick ones."""
    for one in laps:
        if one.highest is None:
            continue
        place, source = place_of(one.layer), LAPS[mat.standard]
        needed = max(lap_length(whole, one.layer, mat, one.highest) for whole in one.sets)
        yield _at_least("lap", place, needed, one.length, "m", source)
        mats, thickest = one.sets[0], max(whole.bars(one.layer).largest for whole in one.sets)
        if mat.standard in CROSSING and thickest >= CROSSED:
            across = mats.bars((one.layer[0], other_direction(one.layer[1])))
            there = across.area * one.length * 2 / 3  # in its outer thirds
            asked = pi / 4 * thickest**2
            source = CROSSING[mat.standard]
            yield _at_least("lap, bars across it", place, asked, there, "m2", source)


def _at_least(
    check: str, place: str, required: float, provided: float, unit: Unit, source: Source
) -> Row:
    return Row(
        check=check,
        place=place,
        required=required,
        provided=provided,
        sense="at least",
        unit=unit,
        source=source,
    )
