"""A deck file's text with other bars, another thickness or grade; all else stays as its author
wrote it."""

import json
import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any

from pipelines.bars.choice.least_steel import Chosen, slab_bars
from pipelines.deck.deck import Deck
from pipelines.deck.reading.deck_file import deck_of
from pipelines.deck.reading.toml import tables_of_text
from pipelines.errors import DeckError
from pipelines.numbers import as_given
from pipelines.standards.resistance.bars import DIRECTIONS, FACES, SlabBars
from pipelines.standards.sources import Standard

HEADER = re.compile(r"^\s*(\[{1,2})\s*([A-Za-z0-9_.\"' -]+?)\s*\]{1,2}\s*(#.*)?$")
OURS = ("bars", "bars.added")
UNCLEAR = (
    "cannot be told from what stands around it: write each as a table of its own, its header on a "
    "line, every key on its own line"
)
# What a design may change.
BARS, THICKNESS, GRADE = "[[bars]]", "[slab] thickness_mm", "[[concrete]] grade"


@dataclass(frozen=True)
class DeckText:
    """Text of a deck file and the file's name; own : as of `read_deck`."""

    text: str
    name: str
    own: tuple[Path, ...] = ()

    @cached_property
    def tables(self) -> dict[str, Any]:
        """What the text says, as read."""
        return tables_of_text(self.text, self.name)

    @cached_property
    def deck(self) -> Deck:
        """The deck that it describes."""
        return deck_of(self.tables, self.name, own=self.own)

    def with_bars(self, bars: SlabBars, chosen: Chosen | None = None) -> "DeckText":
        """With these mats in place of its [[bars]], or at its end; angle_deg and moment_at stay.

        chosen : layers in place of those of `bars`, and what is added to them.

        Raises
        ------
        DeckError
            If the file is written so that its bars cannot be told from the rest.
        """
        more = _kept_keys(self.tables)
        if chosen is not None:
            bars = slab_bars(chosen, bars)
        kept: list[str] = []
        place, mine = None, False
        for line in self.text.splitlines():
            header = HEADER.match(line)
            if header:
                mine = _named(header) in OURS
                if mine and place is None:
                    place = len(kept)
            if not mine:
                kept.append(line)
        at = len(kept) if place is None else place
        return self._changed([*kept[:at], *_lines(bars, chosen, more), *kept[at:]], BARS)

    def with_thickness(self, thickness: float) -> "DeckText":
        """With another thickness of the slab [m], the same covers and bars.

        Raises
        ------
        DeckError
            If the file is written so that the key cannot be told from the rest.
        """
        if abs(thickness - 1e-3 * self.tables["slab"]["thickness_mm"]) < 1e-9:
            return self
        lines = self._with_key("slab", 0, "thickness_mm", _mm(thickness))
        return self._changed(lines, THICKNESS)

    def with_grades(self, grades: Mapping[Standard, str]) -> "DeckText":
        """With other grades of concrete, and [slab] concrete where it is one of those replaced.

        Raises
        ------
        DeckError
            If the file is written so that the keys cannot be told from the rest.
        """
        found = self
        before = []
        for number, table in enumerate(self.tables.get("concrete", [])):
            grade = grades.get(table["standard"])
            if grade is not None and grade != table["grade"]:
                before.append((table["grade"], grade))
                lines = found._with_key("concrete", number, "grade", f'"{grade}"')
                found = found._changed(lines, GRADE)
        for old, new in before:
            if self.tables["slab"].get("concrete") == old:
                lines = found._with_key("slab", 0, "concrete", f'"{new}"')
                return found._changed(lines, GRADE)
        return found

    def _with_key(self, table: str, number: int, key: str, value: str) -> list[str]:
        """The lines with another value of a key in the table of that number."""
        lines, at, seen = self.text.splitlines(), False, -1
        pattern = re.compile(rf"^(\s*{key}\s*=\s*)(\"[^\"]*\"|'[^']*'|[0-9_.eE+-]+)")
        for k, line in enumerate(lines):
            header = HEADER.match(line)
            if header:
                at = _named(header) == table
                seen += at
            elif at and seen == number and pattern.match(line):
                lines[k] = pattern.sub(rf"\g<1>{value}", line)
        return lines

    def _changed(self, lines: list[str], what: str) -> "DeckText":
        """Another text, of which all that a design does not choose must read the same, and `what`
        must not."""
        found = replace(self, text="\n".join(lines) + "\n")
        try:
            new = tomllib.loads(found.text)
        except tomllib.TOMLDecodeError:
            raise DeckError(self.name, [f"{what} {UNCLEAR}"]) from None
        if _fixed(new) != _fixed(self.tables) or (what != BARS and new == self.tables):
            raise DeckError(self.name, [f"{what} {UNCLEAR}"])
        return found


def _named(header: re.Match[str]) -> str:
    return header.group(2).replace(" ", "")


def _fixed(tables: Mapping[str, Any]) -> dict[str, Any]:
    """All that a design does not choose."""
    fixed = {key: value for key, value in tables.items() if key != "bars"}
    if isinstance(slab := fixed.get("slab"), dict):
        chosen = ("thickness_mm", "concrete")
        fixed["slab"] = {key: value for key, value in slab.items() if key not in chosen}
    if isinstance(concretes := fixed.get("concrete"), list):
        fixed["concrete"] = [{k: v for k, v in one.items() if k != "grade"} for one in concretes]
    return fixed


def _kept_keys(tables: Mapping[str, Any]) -> dict[str, list[str]]:
    """Keys of the [[bars]] that a design does not choose, as lines by face."""
    return {
        str(table.get("face")): [
            f"{key} = {json.dumps(table[key])}"
            for key in ("angle_deg", "moment_at")
            if key in table
        ]
        for table in tables.get("bars", [])
    }


def _lines(bars: SlabBars, chosen: Chosen | None, more: Mapping[str, list[str]]) -> Iterator[str]:
    """[[bars]] of both faces, with what is added; more : further keys of a face."""
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
        yield from more.get(face, [])
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
            where, reach = ("clear_of", "clear_m") if added.clear else ("along", "reach_m")
            yield f"{where} = [{names}]"
            yield f"{reach} = {as_given(added.reach)}"
            yield ""


def _mm(value: float) -> str:
    return as_given(round(1e3 * value, 6))
