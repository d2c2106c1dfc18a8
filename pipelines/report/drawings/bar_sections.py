"""What sections through the slab at named places meet: bars of the schedule where they lie."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely

from pipelines.bars.schedule.lines import in_bend, true_length
from pipelines.bars.schedule.marks import Mark, PlacedBar, Schedule
from pipelines.deck.deck import Deck, Line
from pipelines.deck.thicknesses import Thicknesses
from pipelines.deck.words import named_title
from pipelines.numbers import length
from pipelines.report.drawings.plan import line_path
from pipelines.standards.resistance.bars import (
    DIRECTIONS,
    Direction,
    Face,
    Layer,
    SlabBars,
    other_direction,
)
from plate.arrays import Floats
from plate.geometry.outline import DRAWN, region

PAST = 0.80  # of slab that a section at an edge shows past the first line [m]
HALF = 0.90  # to either side of a support, and of the middle of a bay [m]
ALONGSIDE = 0.35  # sine of the angle up to which bars run with a section
NEAR = 0.15  # of a section, of bars that lie by number [m]
AT_EDGE = 0.25  # from an edge along a bar, which ends there [m]
MOST_OPENINGS = 3
SAME = 1e-3
Scale = Literal[10, 20]


@dataclass(frozen=True, eq=False, kw_only=True)
class Cut:
    """A section: where, in words; plan points from its left to its right end (2, 2)."""

    where: str
    direction: Direction
    ends: Floats
    scale: Scale


@dataclass(frozen=True, kw_only=True)
class RoundBar:
    """A bar that a section cuts: its centre, from the left end and below the top [m]."""

    mark: Mark
    layer: Layer
    at: float
    depth: float


@dataclass(frozen=True, kw_only=True)
class LongBar:
    """A bar that runs with a section, from where to where; its centre below the top [m]."""

    mark: Mark
    layer: Layer
    start: float
    end: float
    depth: float


@dataclass(frozen=True, kw_only=True)
class BentBar:
    """A U-bar that runs with a section: the outside of its bend, the length of its legs [m], and
    whether they run to the right."""

    mark: Mark
    at: float
    leg: float
    rightward: bool


@dataclass(frozen=True, kw_only=True)
class Support:
    """A line that a section crosses, with its width there [m]."""

    line: Line
    at: float
    width: float


@dataclass(frozen=True, eq=False, kw_only=True)
class Section:
    """What a section shows. pieces : of slab, from where to where [m], and whether either end is
    an edge of the slab; depths : from where to where the slab is how thick [m]."""

    cut: Cut
    pieces: tuple[tuple[float, float, bool, bool], ...]
    depths: tuple[tuple[float, float, float], ...]
    rounds: tuple[RoundBar, ...]
    longs: tuple[LongBar, ...]
    bends: tuple[BentBar, ...]
    supports: tuple[Support, ...]

    @property
    def width(self) -> float:
        return max(end for _, end, *_ in self.pieces)

    @property
    def deepest(self) -> float:
        """The largest thickness that it shows [m]."""
        return max(t for *_, t in self.depths)

    def depth(self, at: float) -> float:
        """The thickness at a place, on a step the larger [m]."""
        inside = [t for start, end, t in self.depths if start - SAME <= at <= end + SAME]
        return max(inside, default=self.deepest)


def named_sections(deck: Deck, schedule: Schedule) -> Iterator[Section]:
    """Sections across and along the slab: at mid-bay, over a support, at every edge with its
    overhang, and through openings."""
    for cut in _cuts(deck, schedule):
        found = _section(deck, schedule, cut)
        if found is not None:
            yield found


# ---- Where ---------------------------------------------------------------------------------------


def _cuts(deck: Deck, schedule: Schedule) -> Iterator[Cut]:
    plan = deck.plan
    (x0, y0), (x1, y1) = plan.outline.min(axis=0).tolist(), plan.outline.max(axis=0).tolist()
    angle = deck.required_reinforcement.angle
    across, along = np.array([np.cos(angle), np.sin(angle)]), np.array([1.0, 0.0])
    far = x1 - x0 + y1 - y0

    def through(point: Floats, direction: Direction, where: str) -> Cut:
        run = along if direction == "x" else across
        ends = point + far * np.array([-run, run])
        return Cut(where=where, direction=direction, ends=ends, scale=20)

    if plan.is_grid:
        stations = np.array(plan.stations)
        bay = int(np.argmax(np.diff(stations)))
        u = float(stations[bay : bay + 2].mean())
        # off lines along the deck
        offsets = plan.line_offsets(np.array(u))
        gap = int(np.argmax(np.diff(offsets)))
        y = 0.5 * float(offsets[gap] + offsets[gap + 1])
        middle = plan.at(np.array(u), np.array(y))
        yield through(middle, "y", f"mid-bay C{bay + 1}-C{bay + 2}, x = {length(u)} m")
        over = len(stations) // 2
        at = plan.at(np.array(stations[over]), np.array(y))
        name = named_title(deck, f"C{over + 1}")
        yield through(at, "y", f"{name}, x = {length(float(stations[over]))} m")
        yield _about(middle, along, f"mid-bay C{bay + 1}-C{bay + 2}, y = {length(y)} m")
        yield _about(at, along, f"{name}, y = {length(y)} m")
    else:
        middle = np.array([0.5 * (x0 + x1), 0.5 * (y0 + y1)])
        yield through(middle, "y", f"x = {length(float(middle[0]))} m")
        yield through(middle, "x", f"y = {length(float(middle[1]))} m")
    joints = () if deck.traffic is None else deck.traffic.joints
    for edge in plan.edges:
        legs = [(m.a or 0.0) + PAST / 2 for m in schedule.marks if (m.use, m.of) == ("U-bar", edge)]
        path = plan.lines[edge].path
        at = path[len(path) // 2] if len(path) > 2 else path.mean(axis=0)
        run = path[-1] - path[0]
        direction: Direction = "y" if abs(run[0]) >= abs(run[1]) else "x"
        towards = across if direction == "y" else along
        inward = towards * np.sign((plan.outline.mean(axis=0) - at) @ towards)
        name = named_title(deck, edge) + (", joint" if edge in joints else "")
        yield Cut(
            where=name,
            direction=direction,
            ends=np.array([at, at + max(_reach(deck, at, inward), *legs, 0.0) * inward]),
            scale=10,
        )
    for k, ring in enumerate(plan.openings[:MOST_OPENINGS], start=1):
        corners = np.array([curve.at(0.5) for curve in ring])
        for direction in DIRECTIONS:
            yield through(corners.mean(axis=0), direction, f"opening {k}")


def _about(middle: Floats, run: Floats, where: str) -> Cut:
    return Cut(where=where, direction="x", ends=middle + HALF * np.array([-run, run]), scale=10)


def _reach(deck: Deck, at: Floats, inward: Floats) -> float:
    """From an edge to past the first line that the section crosses within 3 m [m]."""
    way = shapely.LineString([at - 1e-6 * inward, at + 3.0 * inward])
    met = [
        float(np.hypot(*(point - at)))
        for line in deck.lines
        for point in shapely.get_coordinates(
            way.intersection(shapely.LineString(line_path(deck, line)))
        )
    ]
    return min(met, default=PAST) + PAST


# ---- What they meet ------------------------------------------------------------------------------


def _section(deck: Deck, schedule: Schedule, cut: Cut) -> Section | None:
    slab = region(deck.plan, DRAWN)
    whole = shapely.LineString(cut.ends)
    parts = [
        np.array(part.coords)
        for part in shapely.get_parts(whole.intersection(slab))
        if isinstance(part, shapely.LineString) and part.length > SAME
    ]
    if not parts:
        return None
    run = cut.ends[1] - cut.ends[0]
    run = run / np.linalg.norm(run)
    origin = min((part[0] for part in parts), key=lambda point: float(point @ run))
    # one scale from plan to ground: a section runs at one offset, or across
    shown = np.array([origin, max((p[-1] for p in parts), key=lambda point: float(point @ run))])
    scale = true_length(deck.plan, shown) / float(np.hypot(*(shown[1] - shown[0])))
    line = shapely.LineString(shown)

    def s(point: Floats) -> float:
        return scale * float((point - origin) @ run)

    pieces = []
    for part in parts:
        ends = [part[0], part[-1]]
        edges = [slab.exterior.distance(shapely.Point(p)) < SAME for p in ends]
        holes = [
            any(ring.distance(shapely.Point(p)) < SAME for ring in slab.interiors) for p in ends
        ]
        open_ends = [a or b for a, b in zip(edges, holes, strict=True)]
        pieces.append((s(ends[0]), s(ends[1]), open_ends[0], open_ends[1]))
    rounds: list[RoundBar] = []
    longs: list[LongBar] = []
    bends: list[BentBar] = []
    mats = deck.required_reinforcement.bars
    for mark in schedule.marks:
        bars = mats.at(mark.thickness)
        with_cut: list[PlacedBar] = []
        for bar in mark.bars:
            along = bar.path[-1] - bar.path[0]
            sine = abs(along[0] * run[1] - along[1] * run[0]) / float(np.linalg.norm(along))
            if sine < ALONGSIDE:
                with_cut.append(bar)
                continue
            for point in shapely.get_coordinates(shapely.LineString(bar.path).intersection(line)):
                rounds += [
                    RoundBar(mark=mark, layer=layer, at=s(point) + aside, depth=depth)
                    for layer, depth, aside in _depths(bars, mark)
                ]
        for bar in _nearest(mark, with_cut, shown, run):
            bent, end = (s(at) + _askew(slab, line, at, far, scale) for at, far in _both(bar))
            low, high = max(min(bent, end), 0.0), min(max(bent, end), s(shown[1]))
            if high - low < SAME:
                continue
            if mark.use == "U-bar":
                leg = s(bar.path[-1]) - s(bar.path[0])
                if -SAME < bent < s(shown[1]) + SAME:
                    bends.append(BentBar(mark=mark, at=bent, leg=abs(leg), rightward=leg > 0.0))
                continue
            longs += [
                LongBar(mark=mark, layer=layer, start=low, end=high, depth=depth)
                for layer, depth, _ in _depths(bars, mark)
            ]
    return Section(
        cut=cut,
        pieces=tuple(sorted(pieces)),
        depths=tuple(sorted(_thicknesses(deck, parts, s))),
        rounds=tuple(rounds),
        longs=tuple(longs),
        bends=tuple(bends),
        supports=tuple(_supports(deck, line, s)),
    )


def _both(bar: PlacedBar) -> tuple[tuple[Floats, Floats], tuple[Floats, Floats]]:
    """Each end of a bar with the other."""
    first, last = bar.path[0], bar.path[-1]
    return (first, last), (last, first)


def _askew(
    slab: shapely.Polygon, line: shapely.LineString, end: Floats, far: Floats, scale: float
) -> float:
    """How much further along the section the end of a bar that lies beside it is drawn, so that it
    keeps its distance from an edge that is not square to both [m]."""
    out = (end - far) / np.linalg.norm(end - far)
    ahead = shapely.LineString([end, end + AT_EDGE * out]).intersection(slab.boundary)
    if ahead.is_empty:
        return 0.0
    gap = shapely.Point(end).distance(ahead)
    ends = np.array(line.coords)
    run = (ends[1] - ends[0]) / np.linalg.norm(ends[1] - ends[0])
    across = np.array([-run[1], run[0]])
    # the same edge on the section: from beside the bar's end to either side of it
    beside = end + float((ends[0] - end) @ across) * across
    way = shapely.LineString([beside - AT_EDGE * out, beside + 2.0 * AT_EDGE * out])
    met = shapely.get_coordinates(way.intersection(slab.boundary))
    if not len(met):
        return 0.0
    off = min(((point - beside) @ out - gap for point in met), key=abs)
    return float(scale * off * np.sign(out @ run))


def _thicknesses(
    deck: Deck, parts: Sequence[Floats], s: Callable[[Floats], float]
) -> Iterator[tuple[float, float, float]]:
    """From where to where along the section the slab is how thick."""
    for path in parts:
        for t, area in Thicknesses.of(deck).parts:
            for piece in shapely.get_parts(shapely.LineString(path).intersection(area)):
                if isinstance(piece, shapely.LineString) and piece.length > SAME:
                    start, end = sorted(s(np.array(piece.coords[k])) for k in (0, -1))
                    yield start, end, t


def _nearest(
    mark: Mark, bars: Sequence[PlacedBar], shown: Floats, run: Floats
) -> Sequence[PlacedBar]:
    """Of bars that run with a section those nearest to it, at each end of it for themselves: no
    farther than half their spacing, or where they lie by number, than `NEAR`."""
    if not bars:
        return ()
    aside = np.array([-run[1], run[0]])
    low, high = sorted((float(shown[0] @ run), float(shown[1] @ run)))
    found = [
        (abs(float((bar.path.mean(axis=0) - shown[0]) @ aside)), bar)
        for bar in bars
        if (bar.path @ run).max() > low + SAME and (bar.path @ run).min() < high - SAME
    ]
    reach = NEAR if mark.spacing == 0.0 else 0.5 * mark.spacing + SAME
    chosen: list[PlacedBar] = []
    for off, bar in sorted(found, key=lambda pair: pair[0]):
        middle = float(bar.path.mean(axis=0) @ run)
        apart = 0.5 * float(np.ptp(bar.path @ run))
        if off <= reach and all(
            abs(middle - float(other.path.mean(axis=0) @ run)) > apart for other in chosen
        ):
            chosen.append(bar)
    return chosen


def _depths(bars: SlabBars, mark: Mark) -> Iterator[tuple[Layer, float, float]]:
    """Every layer of a mark with the depth of its centre below the top, and how far it lies beside
    the bar of the mat in a section that cuts it [m]."""
    half = 0.5 * mark.diameter
    for layer in mark.layers:
        face, direction = layer
        mat, beside = bars.mat(face), 0.0
        cover = mat.cover_to(direction) + half
        if mark.use == "U-bar":
            beside = half + 0.5 * bars.bars(layer).diameter
        elif mark.use == "diagonal":
            inner = other_direction(mat.outer)
            cover = mat.cover_to(inner) + mat.bars(inner).largest + half
        elif mark.use == "edge bar":
            cover = mat.cover_to(other_direction(direction)) + in_bend(mark.diameter)
        yield layer, _below_top(bars, face, cover), beside


def _below_top(bars: SlabBars, face: Face, cover: float) -> float:
    return cover if face == "top" else bars.thickness - cover


def _supports(
    deck: Deck, shown: shapely.LineString, s: Callable[[Floats], float]
) -> Iterator[Support]:
    for line in deck.lines:
        path = shapely.LineString(line_path(deck, line))
        for point in shapely.get_coordinates(shown.intersection(path))[:1]:
            here = path.interpolate(path.project(shapely.Point(point)) + NEAR)
            before = path.interpolate(path.project(shapely.Point(point)) - NEAR)
            tangent = np.array(here.coords[0]) - np.array(before.coords[0])
            run = np.diff(np.array(shown.coords), axis=0)[0]
            sine = abs(tangent[0] * run[1] - tangent[1] * run[0]) / float(
                np.linalg.norm(tangent) * np.linalg.norm(run)
            )
            if sine > ALONGSIDE:
                yield Support(line=line, at=s(point), width=line.width / sine)
