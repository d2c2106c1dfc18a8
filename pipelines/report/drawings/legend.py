"""Legends: samples of lines, marks and areas with their words, in rows at the foot of a sheet."""

from collections.abc import Sequence
from dataclasses import dataclass

from pipelines.report.drawings.canvas import SMALL, Paper, room_of
from pipelines.report.drawings.colours import INK

# A sample's length, the paper after it and after its words, from row to row and at the foot
# [point].
SAMPLE, AFTER, NEXT, ROW, FOOT = 20.0, 5.0, 14.0, 12.0, 5.0
# Height of a sample of an area [point].
TALL = 7.0


@dataclass(frozen=True, kw_only=True)
class Key:
    """What a legend shows beside `words`: an area where it has a fill, else a line, a mark or
    both."""

    words: str
    ink: str = INK
    width: float = 0.0
    dash: tuple[float, ...] = ()
    mark: str = ""
    size: float = 5.0
    mark_fill: str = "none"
    mark_ink: str = INK
    fill: str = ""
    hatch: str = ""


def rows_of(keys: Sequence[Key], width: float) -> list[list[Key]]:
    """Keys in rows no wider than a sheet [point]."""
    rows: list[list[Key]] = []
    used = width
    for key in keys:
        room = _room(key)
        if not rows or used + room > width:
            rows.append([])
            used = 0.0
        rows[-1].append(key)
        used += room
    return rows


def legend_height(keys: Sequence[Key], width: float) -> float:
    """Room that a legend takes at the foot of a sheet [point]."""
    return ROW * len(rows_of(keys, width)) + FOOT


def legend(paper: Paper, keys: Sequence[Key]) -> None:
    """Draw a legend at the foot, every row in the middle."""
    rows = rows_of(keys, paper.width)
    y = paper.height - FOOT - ROW * (len(rows) - 0.5)
    for row in rows:
        x = 0.5 * (paper.width - sum(map(_room, row)) + NEXT)
        for key in row:
            _sample(paper, key, x, y)
            paper.text([x + SAMPLE + AFTER, y], key.words, size=SMALL, along="start")
            x += _room(key)
        y += ROW


def _room(key: Key) -> float:
    return SAMPLE + AFTER + room_of(key.words, SMALL) + NEXT


def _sample(paper: Paper, key: Key, x: float, y: float) -> None:
    if key.fill:
        low, high = y - 0.5 * TALL, y + 0.5 * TALL
        corners = [[x, low], [x + SAMPLE, low], [x + SAMPLE, high], [x, high]]
        paper.path(
            corners, closed=True, fill=key.fill, ink=key.ink, width=key.width, hatch=key.hatch,
            dash=key.dash,
        )  # fmt: skip
    elif key.width:
        paper.path([[x, y], [x + SAMPLE, y]], ink=key.ink, width=key.width, dash=key.dash)
    if key.mark:
        middle = [x + 0.5 * SAMPLE, y]
        paper.mark(middle, key.mark, key.size, fill=key.mark_fill, ink=key.mark_ink)
