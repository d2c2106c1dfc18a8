"""Bars of a deck file that are added to a mat in parts of the slab, and where these parts lie."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np
import shapely

from pipelines.deck.added_areas import along_lines, clear_of_lines
from pipelines.deck.reading.bars_schema import AddedTable, BarsTable
from pipelines.deck.reading.mistakes import Mistakes, nearest
from pipelines.deck.reading.supports import matching
from pipelines.deck.reinforcement import NOTHING, AddedBars
from pipelines.numbers import length
from pipelines.standards.resistance.bars import Bars, SlabBars
from plate.geometry.curves import sampled
from plate.geometry.outline import DRAWN, region
from plate.geometry.plan import Plan

MM = 1e-3


def added_bars(
    tables: Sequence[tuple[str, BarsTable]], mats: SlabBars, plan: Plan, mistakes: Mistakes
) -> tuple[AddedBars, ...]:
    """The added bars of all mats in the order of the file, those with mistakes left out."""
    found: list[AddedBars] = []
    for where, table in tables:
        for k, added in enumerate(table.added or []):
            key = f"{where}, added[{k + 1}]"
            one = _added(key, table, added, len(found), mats, plan, mistakes)
            if one is not None:
                found.append(one)
    for one, other in combinations(found, 2):
        if one.mark == other.mark:
            mistakes.add("[[bars.added]] mark", one.mark, "stands twice")
    return _placed(found, mats, mistakes)


def _placed(
    found: Sequence[AddedBars], mats: SlabBars, mistakes: Mistakes
) -> tuple[AddedBars, ...]:
    """The same with their places between the bars of the mats: of sets that lie in one layer and
    part of the slab the first has the middle of its gaps, each further one what is left."""
    placed: list[AddedBars] = []
    for one in found:
        beside = [o for o in placed if o.layer == one.layer and o.overlaps(one)]
        mat = mats.bars(one.layer)
        try:
            bars = mat.placed(one.bars, [other.bars for other in beside])
            together = replace(mat, between=(*(other.bars for other in beside), bars))
        except ValueError as error:
            marks = " and ".join(other.mark for other in beside)
            told = f"{one.mark} lies in one layer with {marks}: {error}"
            mistakes.add("[[bars.added]]", None, told)
            continue
        placed.append(replace(one, bars=replace(together.between[-1], mark=one.mark)))
    return tuple(placed)


def _added(
    key: str,
    table: BarsTable,
    added: AddedTable,
    number: int,
    mats: SlabBars,
    plan: Plan,
    mistakes: Mistakes,
) -> AddedBars | None:
    layer = (table.face, added.direction)
    before = len(mistakes.lines)
    bars = Bars(MM * added.diameter_mm, MM * added.spacing_mm)
    try:
        mats.with_added(layer, bars)
    except ValueError as error:
        mistakes.add(f"{key}, spacing_mm", added.spacing_mm, str(error))
    area = _area(key, added, plan, mistakes)
    if len(mistakes.lines) > before:
        return None
    if shapely.area(area) < NOTHING:
        mistakes.add(key, None, "lies nowhere on the slab")
        return None
    return AddedBars(
        mark=added.mark or f"A{number + 1}",
        layer=layer,
        bars=bars,
        area=area,
        where=", ".join(_words(added)),
    )


def _area(key: str, added: AddedTable, plan: Plan, mistakes: Mistakes) -> shapely.Geometry:
    """Where all that the table says holds, on the slab."""
    if (added.reach_m is not None) != (added.along is not None or added.opening is not None):
        told = "goes with along or opening, each of which needs it"
        mistakes.add(f"{key}, reach_m", added.reach_m, told)
        return shapely.Polygon()
    if (added.clear_m is not None) != (added.clear_of is not None):
        mistakes.add(f"{key}, clear_m", added.clear_m, "goes with clear_of, which needs it")
        return shapely.Polygon()
    parts = [*_beside(key, added, plan, mistakes), *_ranges(key, added, plan, mistakes)]
    if added.corners_m is not None:
        polygon = shapely.Polygon(added.corners_m)
        if not polygon.is_valid:
            mistakes.add(f"{key}, corners_m", None, "the polygon crosses itself")
            return shapely.Polygon()
        parts.append(polygon)
    if not parts:
        told = (
            "needs along, clear_of, opening, corners_m, stations_m or offsets_m: where the bars lie"
        )
        mistakes.add(key, None, told)
    return shapely.intersection_all([region(plan, DRAWN), *parts])


def _beside(
    key: str, added: AddedTable, plan: Plan, mistakes: Mistakes
) -> Iterator[shapely.Geometry]:
    """Along lines, clear of lines, and round an opening."""
    reach = added.reach_m or 0.0
    if added.along is not None:
        names = _names(f"{key}, along", added.along, plan, mistakes)
        yield along_lines(plan, names, reach)
    if added.clear_of is not None:
        names = _names(f"{key}, clear_of", added.clear_of, plan, mistakes)
        yield clear_of_lines(plan, names, added.clear_m or 0.0)
    if added.opening is not None:
        if added.opening > len(plan.openings):
            told = f"the plan has {len(plan.openings)} openings"
            mistakes.add(f"{key}, opening", added.opening, told)
            return
        ring = sampled(plan.openings[added.opening - 1], DRAWN)
        yield shapely.Polygon(ring).buffer(reach, join_style="mitre")


def _names(key: str, patterns: Iterable[str], plan: Plan, mistakes: Mistakes) -> list[str]:
    """The lines of the plan that some patterns match."""
    found: list[str] = []
    for pattern in patterns:
        names = matching(pattern, plan.lines)
        if not names:
            hint = nearest(pattern, plan.lines)
            mistakes.add(key, pattern, f"matches no line of the plan, {hint}")
        found += names
    return found


def _ranges(
    key: str, added: AddedTable, plan: Plan, mistakes: Mistakes
) -> Iterator[shapely.Geometry]:
    """Between stations and between offsets."""
    beyond = np.ptp(plan.outline, axis=0).max() + 1.0
    low, high = plan.outline.min(axis=0) - beyond, plan.outline.max(axis=0) + beyond
    for name, pair in (("stations_m", added.stations_m), ("offsets_m", added.offsets_m)):
        if pair is None:
            continue
        if not pair[0] < pair[1]:
            mistakes.add(f"{key}, {name}", pair, "the second must be larger than the first")
            return
        if name == "stations_m":
            u, y = np.array(pair)[[0, 1, 1, 0]], np.array([low[1], low[1], high[1], high[1]])
            yield shapely.Polygon(plan.at(u, y))
        else:
            yield shapely.box(low[0], pair[0], high[0], pair[1])


def _words(added: AddedTable) -> Iterator[str]:
    reach = length(added.reach_m or 0.0)
    if added.along is not None:
        yield f"within {reach} m of {', '.join(added.along)}"
    if added.clear_of is not None:
        yield f"clear of {', '.join(added.clear_of)} by {length(added.clear_m or 0.0)} m"
    if added.opening is not None:
        yield f"within {reach} m of opening {added.opening}"
    if added.corners_m is not None:
        yield f"a polygon of {len(added.corners_m)} corners"
    for name, pair in (("stations", added.stations_m), ("offsets", added.offsets_m)):
        if pair is not None:
            yield f"{name} {length(pair[0])} to {length(pair[1])} m"
