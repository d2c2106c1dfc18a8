"""The one picture of a finding: the plan with where the strip holds and where not, in words.

Shapes, hatches and words tell what colour tells as well, so that a grey print reads the same.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import Enum

import numpy as np
from shapely import box

from pipelines.deck.deck import Deck
from pipelines.report.document import Drawing
from pipelines.report.drawings.axes import Axes, canvas
from pipelines.report.drawings.canvas import SMALL, Paper, draw, room_of
from pipelines.report.drawings.colours import INK, SLAB
from pipelines.report.drawings.legend import Key, legend, legend_height
from pipelines.report.drawings.plan import (
    closed,
    faint_lines,
    line_names,
    line_path,
    outline,
    scale_bar,
    traced,
)
from plate.arrays import Floats


class Judgement(Enum):
    """What is said of a place, in the words of the legend."""

    SHORT = "the strip is short"
    HOLDS = "holds, or no less than the plate"
    EVEN = "no difference within the tolerance"
    NOT_COMPARABLE = "not comparable"
    LEFT_OUT = "no strip beside the plate's value"


SHORT = "#b3261e"
# Of each: the shape of its mark, its fill, the ink of its number; the hatch of its place.
LOOKS = {
    Judgement.SHORT: ("s", SHORT, "white", "/"),
    Judgement.HOLDS: ("o", "white", INK, ""),
    Judgement.EVEN: ("o", "#dddddd", INK, ""),
    Judgement.NOT_COMPARABLE: ("D", "white", INK, ""),
    Judgement.LEFT_OUT: ("^", "white", INK, ""),
}
# Marks, words beside them, rows of the list and its foot; from a mark to its words [point].
MARK, WORDS, ROW, FOOT = 13.0, 9.0, 16.0, 8.0
AWAY = (24.0, 38.0, 54.0, 72.0)
# Paper about the plan [point].
EDGE = 24.0
# Of words in bold to those that are not.
BOLD = 1.12
# Tallest plan, so that the picture stands in the first screen [point].
TALL = 200.0


@dataclass(frozen=True, kw_only=True)
class Judged:
    """What was found of an effect.

    effect : its name; judgement : of the strip there; words : in few words ("short by 12 %").
    place : in words; at : plan point; lines : names of the two lines of its bay, or of its line.
    """

    effect: str
    judgement: Judgement
    words: str
    place: str
    at: tuple[float, float]
    lines: tuple[str, ...] = ()


def findings_plan(deck: Deck, found: Sequence[Judged], name: str = "findings-plan") -> Drawing:
    """The plan with a numbered mark at each place, what is short in words, and a list below."""
    drawn = closed(deck, deck.plan.outline)
    gap = 0.03 * float(np.ptp(drawn, axis=0).max())
    shown = [kind for kind in Judgement if any(one.judgement is kind for one in found)]
    keys = [_key(kind) for kind in shown]
    rows = [f"{one.effect}: {one.words}" for one in found]
    places = 52.0 + max(BOLD * room_of(words, WORDS) for words in rows)
    room = canvas(drawn, (EDGE, EDGE, EDGE, 0.0), 2.0 * gap, TALL)
    needed = places + max(room_of(one.place, WORDS) for one in found)
    right = EDGE + max(0.0, needed - room.size[0])
    foot = 14.0 + ROW * len(found) + FOOT + legend_height(keys, room.size[0] + right - EDGE)
    room = replace(room, margins=(EDGE, EDGE, right, foot))

    def paint(paper: Paper) -> None:
        axes = room.axes(paper)
        outline(axes, deck, SLAB)
        for one in found:
            _place(axes, deck, one)
        outline(axes, deck)
        faint_lines(axes, deck)
        line_names(axes, deck, (gap, gap))
        if not deck.plan.alignment.straight:
            scale_bar(axes)
        _marks(axes, deck, found, gap)
        paper.text([EDGE, 12.0], "from above, along the deck to the right", along="start")
        y = axes.box[3] + 14.0 + 0.5 * ROW
        for number, (one, words) in enumerate(zip(found, rows, strict=True), start=1):
            _mark(paper, np.array([32.0, y]), one.judgement, number)
            bold = one.judgement is Judgement.SHORT
            paper.text([44.0, y], words, size=WORDS, along="start", bold=bold)
            paper.text([places, y], one.place, size=WORDS, along="start")
            y += ROW
        legend(paper, keys)

    told = "; ".join(f"{one.effect}: {one.words}, {one.place}" for one in found)
    return draw(name, f"Where the strip holds and where not. {told}.", room.size, paint)


def _key(kind: Judgement) -> Key:
    shape, fill, _, hatch = LOOKS[kind]
    if hatch:
        words = f"{kind.value}, its place hatched"
        return Key(words=words, fill="white", ink=SHORT, width=0.8, hatch=hatch)
    return Key(words=kind.value, mark=shape, size=8.0, mark_fill=fill)


def _place(axes: Axes, deck: Deck, one: Judged) -> None:
    """The bay or line of a place where the strip is short, hatched."""
    hatch = LOOKS[one.judgement][3]
    paths = []
    for line in one.lines:
        support = deck.line(line)
        if support is not None:
            paths.append(line_path(deck, support))
        elif line in deck.plan.lines:
            paths.append(deck.plan.lines[line].path)
    if not hatch or not paths:
        return
    if len(paths) == 2:
        ring = closed(deck, np.vstack([paths[0], paths[1][::-1]]))
        axes.path(ring, closed=True, ink=SHORT, width=1.0, hatch=hatch)
        return
    path = traced(deck, paths[0])
    axes.path(path, ink=SHORT, width=7.0)
    axes.path(path, ink="white", width=4.5)
    axes.path(path, ink=SHORT, width=4.5, dash=(0.4, 0.4))


def _marks(axes: Axes, deck: Deck, found: Sequence[Judged], gap: float) -> None:
    """Marks where they belong, those on one spot side by side; short ones with their words in free
    places."""
    spots: list[Floats] = []
    for one in found:
        spot = axes.at(deck.plan.alignment.to_cartesian(np.array(one.at)))
        while any(np.linalg.norm(spot - other) < MARK for other in spots):
            spot = spot + np.array([MARK, 0.0])
        spots.append(spot)
    left, top, right, bottom = axes.box
    taken = [box(*(s - 0.5 * MARK), *(s + 0.5 * MARK)) for s in spots]
    for u in deck.plan.stations if deck.plan.is_grid else ():
        at = deck.plan.at(np.array(u), deck.plan.line_offsets(np.array(u))[0] - gap)
        x, y = axes.at(deck.plan.alignment.to_cartesian(at))
        taken.append(box(x - 8.0, y - 5.0, x + 8.0, y + 5.0))
    for one, spot in zip(found, spots, strict=True):
        if one.judgement is not Judgement.SHORT:
            continue
        wide = max(room_of(one.effect, SMALL), BOLD * room_of(one.words, WORDS))
        half = np.array([0.5 * wide + 3.0, WORDS + 3.0])
        tried = [
            spot + np.array([0.0, side * away]) + np.array([slide * half[0], 0.0])
            for away in AWAY
            for side in (-1.0, 1.0)
            for slide in (0.0, 1.0, -1.0)
        ]

        def crowd(middle: Floats, half: Floats = half) -> float:
            """How much of a label would lie on others or off the plan."""
            own = box(*(middle - half), *(middle + half))
            beyond = own.area - own.intersection(box(left, top, right, bottom)).area
            return float(beyond + sum(own.intersection(other).area for other in taken))

        middle = min(tried, key=crowd)
        label = box(*(middle - half), *(middle + half))
        taken.append(label)
        axes.paper.path([spot, middle], width=0.7)
        rim = np.array(label.exterior.coords)[:-1]
        axes.paper.path(rim, closed=True, fill="white", width=1.2)
        down = np.array([0.0, 0.56 * WORDS])
        axes.paper.text(middle - down, one.effect, size=SMALL)
        axes.paper.text(middle + down, one.words, size=WORDS, bold=True)
    for number, (one, spot) in enumerate(zip(found, spots, strict=True), start=1):
        _mark(axes.paper, spot, one.judgement, number)


def _mark(paper: Paper, at: Floats, kind: Judgement, number: int) -> None:
    shape, fill, ink, _ = LOOKS[kind]
    size = {"D": 11.5, "^": 13.0}.get(shape, 12.0)
    paper.mark(at, shape, size, fill=fill, width=0.8)
    low = 1.5 if shape == "^" else 0.0
    paper.text(at + np.array([0.0, low]), f"{number}", size=SMALL, ink=ink, bold=True)
