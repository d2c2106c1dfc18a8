"""Bars written into a deck file in place of those that it has; all else stays as its author wrote
it."""

import json
import re
import tomllib
from collections.abc import Iterator, Mapping
from typing import Any

from pipelines.bars.choice.least_steel import Chosen
from pipelines.errors import DeckError
from pipelines.numbers import as_given
from pipelines.standards.resistance.bars import DIRECTIONS, FACES, SlabBars

HEADER = re.compile(r"^\s*\[{1,2}\s*([A-Za-z0-9_.\"' -]+?)\s*\]{1,2}\s*(#.*)?$")
OURS = ("bars", "bars.added")
UNCLEAR = (
    "cannot be told from what stands around it: write each as a table of its own, its header on a "
    "line"
)
THICKNESS = re.compile(r"^(\s*)thickness_mm\s*=\s*[0-9_.]+", re.MULTILINE)


def with_tables(text: str, tables: str, thickness: float | None = None) -> str:
    """The text with `tables` in place of its [[bars]], or at its end; thickness : of the slab [m],
    where it changes.

    Raises
    ------
    DeckError
        If the file is written so that its bars cannot be told from the rest.
    """
    kept: list[str] = []
    place, mine = None, False
    for line in text.splitlines():
        header = HEADER.match(line)
        if header:
            mine = header.group(1).replace(" ", "") in OURS
            if mine and place is None:
                place = len(kept)
        if not mine:
            kept.append(line)
    at = len(kept) if place is None else place
    whole = "\n".join([*kept[:at], *tables.splitlines(), "", *kept[at:]]) + "\n"
    if thickness is not None:
        value = f"thickness_mm = {as_given(round(1e3 * thickness, 6))}"
        whole = re.sub(
            r"^(\s*)thickness_mm\s*=\s*[0-9_.]+", rf"\g<1>{value}", whole, count=1, flags=re.M
        )
    _check(text, whole)
    return whole


def _check(before: str, after: str) -> None:
    """Everything but the bars and the slab's thickness must read the same."""
    try:
        old, new = (tomllib.loads(text) for text in (before, after))
    except tomllib.TOMLDecodeError:
        raise DeckError("[[bars]]", [UNCLEAR]) from None
    for data in (old, new):
        data.pop("bars", None)
        data.get("slab", {}).pop("thickness_mm", None)
    if old != new:
        raise DeckError("[[bars]]", [UNCLEAR])


def kept_keys(data: Mapping[str, Any]) -> dict[str, str]:
    """Keys of the [[bars]] of a deck file that a design does not choose, as text by face."""
    found = {}
    for table in data.get("bars", []):
        lines = [f"{k} = {json.dumps(table[k])}" for k in ("angle_deg", "moment_at") if k in table]
        found[str(table.get("face"))] = "\n".join(lines)
    return found


def tables_of(bars: SlabBars, chosen: Chosen | None, more: Mapping[str, str]) -> str:
    """[[bars]] of both faces, with what is added; more : further keys of a face, as text."""
    return "\n".join(_lines(bars, chosen, more)) + "\n"


def _lines(bars: SlabBars, chosen: Chosen | None, more: Mapping[str, str]) -> Iterator[str]:
    number = 0
    for face in FACES:
        mat = bars.mat(face)
        yield "[[bars]]"
        yield f'face = "{face}"'
        yield f"cover_mm = {_mm(mat.cover)}"
        yield f'outer = "{mat.outer}"'
        for direction in DIRECTIONS:
            one = mat.bars(direction)
            yield (
                f"{direction} = {{ diameter_mm = {_mm(one.diameter)}, "
                f"spacing_mm = {_mm(one.spacing)} }}"
            )
        if face in more:
            yield from more[face].splitlines()
        yield ""
        for direction in DIRECTIONS:
            added = None if chosen is None else chosen.layers[face, direction].added
            if added is None:
                continue
            number += 1
            names = ", ".join(f'"{name}"' for name in added.along)
            yield "[[bars.added]]"
            yield f'mark = "A{number}"'
            yield f'direction = "{direction}"'
            yield f"diameter_mm = {_mm(added.bars.diameter)}"
            yield f"spacing_mm = {_mm(added.bars.spacing)}"
            yield f"along = [{names}]"
            yield f"reach_m = {as_given(added.reach)}"
            yield ""


def _mm(value: float) -> str:
    return as_given(round(1e3 * value, 6))
