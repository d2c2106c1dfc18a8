"""The one picture of a finding: the plan with where the strip holds and where not, in words.

Shapes, hatches and words tell what colour tells as well, so that a grey print reads the same.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

import numpy as np

from pipelines.deck.deck import Deck
from pipelines.report.document import Drawing
from pipelines.report.drawings.axes import NARROWEST, Axes, Canvas
from pipelines.report.drawings.canvas import SMALL, WIDTH, Paper, draw, room_of
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
# A mark, words in a label, and a label's paper about them [point].
MARK, WORDS, PAPER = 13.0, 9.0, 3.0
# Paper about the plan, and from it to the names of lines; beside plans that leave room for labels,
# and above and below those too flat to hold a label [point].
EDGE, NAMES, BESIDE, FLAT, ABOVE = 28.0, 15.0, 120.0, 90.0, 34.0
# Of words in bold to those that are not.
BOLD = 1.12
# Tallest plan, so that the picture stands in the first screen [point].
TALL = 220.0
# From one place that is tried for a label to the next [point]; what a leader over a label or a mark
# costs, in points of its length.
TRIED, CROSSED = 7.0, 40.0
# Directions in which a mark makes way.
AROUND = np.array([[1, 0], [-1, 0], [0, 1], [0, -1], [1, 1], [-1, 1], [1, -1], [-1, -1]])


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
    """The plan with a mark at each place, numbered in the order of `found`, and what is short in
    words."""
    drawn = closed(deck, deck.plan.outline)
    low, high = drawn.min(axis=0), drawn.max(axis=0)
    scale = float(min((WIDTH - 2.0 * EDGE) / (high - low)[0], TALL / (high - low)[1]))
    width, height = scale * (high - low)
    beside = min(BESIDE, 0.5 * (WIDTH - width)) - 0.5 * max(NARROWEST - width, 0.0)
    beside = float(max(EDGE, beside))
    above = EDGE + (ABOVE if height < FLAT else 0.0)
    keys = [_key(kind) for kind in Judgement if any(one.judgement is kind for one in found)]
    foot = above + legend_height(keys, max(float(width), NARROWEST) + 2.0 * beside)
    room = Canvas(low, high, scale, (beside, above + 8.0, beside, foot))
    gap = NAMES / scale

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
        paper.text([8.0, 9.0], "from above, along the deck to the right", along="start")
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
    """Marks where they belong, or beside there with a line to it; short ones with their words in
    free places."""
    places = [axes.at(deck.plan.alignment.to_cartesian(np.array(one.at))) for one in found]
    spots = _apart(axes, places)
    for place, spot in zip(places, spots, strict=True):
        if not np.array_equal(place, spot):
            axes.paper.path([place, spot], width=0.7)
            axes.paper.mark(place, "o", 3.0, fill=INK)
    taken = [np.concatenate([spot - 0.5 * MARK, spot + 0.5 * MARK]) for spot in spots]
    for u in deck.plan.stations if deck.plan.is_grid else ():
        at = deck.plan.at(np.array(u), deck.plan.line_offsets(np.array(u))[0] - gap)
        x, y = axes.at(deck.plan.alignment.to_cartesian(at))
        taken.append(np.array([x - 8.0, y - 5.0, x + 8.0, y + 5.0]))
    labels: list[tuple[Judged, Floats, Floats]] = []
    for one, spot in zip(found, spots, strict=True):
        if one.judgement is Judgement.SHORT:
            wide = max(room_of(one.effect, SMALL), BOLD * room_of(one.words, WORDS))
            half = np.array([0.5 * wide + PAPER, WORDS + PAPER])
            leaders = [(start, middle) for _, start, middle in labels]
            middle = _free_place(axes, spot, half, np.array(taken), leaders)
            labels.append((one, spot, middle))
            taken.append(np.concatenate([middle - half, middle + half]))
    axes.paper.path(*([spot, middle] for _, spot, middle in labels), width=0.7)
    for (one, _, middle), rim in zip(labels, taken[len(taken) - len(labels) :], strict=True):
        left, top, right, bottom = rim
        corners = [[left, top], [right, top], [right, bottom], [left, bottom]]
        axes.paper.path(corners, closed=True, fill="white", width=1.2)
        down = np.array([0.0, 0.56 * WORDS])
        axes.paper.text(middle - down, one.effect, size=SMALL)
        axes.paper.text(middle + down, one.words, size=WORDS, bold=True)
    for number, (one, spot) in enumerate(zip(found, spots, strict=True), start=1):
        _mark(axes.paper, spot, one.judgement, number)


def _apart(axes: Axes, places: Sequence[Floats]) -> list[Floats]:
    """Where marks stand so that none covers another: at their places, else as near as can be and
    on the plan."""
    left, top, right, bottom = axes.box
    spots: list[Floats] = []
    for place in places:
        steps = [np.zeros(2), *(MARK * ring * way for ring in range(1, 9) for way in AROUND)]
        tried = [place + step for step in steps]
        free = [spot for spot in tried if all(abs(spot - other).max() >= MARK for other in spots)]
        inside = [x for x in free if left <= x[0] <= right and top <= x[1] <= bottom]
        spots.append((inside or free or tried)[0])
    return spots


def _free_place(
    axes: Axes,
    spot: Floats,
    half: Floats,
    taken: Floats,
    leaders: Sequence[tuple[Floats, Floats]],
) -> Floats:
    """The middle of a label of half that size, near its mark and on nothing.

    taken : (n, 4) left, top, right, bottom of what is there; leaders : from marks to labels.
    """
    bottom = axes.box[3] + axes.box[1] - half[1] - 14.0
    across = np.arange(half[0] + 2.0, axes.paper.width - half[0] - 2.0, TRIED)
    down = np.arange(half[1] + 14.0, bottom, TRIED)
    tried = np.stack(np.meshgrid(across, down), axis=-1).reshape(-1, 1, 2)
    low, high = tried - half - 1.0, tried + half + 1.0
    shared = np.minimum(high, taken[:, 2:]) - np.maximum(low, taken[:, :2])
    covered = np.prod(np.maximum(shared, 0.0), axis=-1).sum(axis=1)
    cost = np.linalg.norm(tried[:, 0] - spot, axis=-1) + 10.0 * covered
    share = np.linspace(0.0, 1.0, 25)[:, None]
    for start, end in leaders:  # a label over the leader of another
        points = start + share * (end - start)
        cost += CROSSED * np.any(np.all((points >= low) & (points <= high), axis=-1), axis=1)
    own = spot + share * (tried - spot)  # its leader over what is there
    for box in taken:
        if not (np.all(spot >= box[:2]) and np.all(spot <= box[2:])):
            within = np.all((own >= box[:2]) & (own <= box[2:]), axis=-1)
            cost += CROSSED * np.any(within, axis=1)
    return np.asarray(tried[int(np.argmin(cost)), 0])


def _mark(paper: Paper, at: Floats, kind: Judgement, number: int) -> None:
    shape, fill, ink, _ = LOOKS[kind]
    size = {"D": 11.5, "^": 13.0}.get(shape, 12.0)
    paper.mark(at, shape, size, fill=fill, width=0.8)
    low = 1.5 if shape == "^" else 0.0
    paper.text(at + np.array([0.0, low]), f"{number}", size=SMALL, ink=ink, bold=True)
