"""Keys of a deck file as one dotted word.

`line.C*.beam.I_cm4` is the inertia of the [[line]] table whose `on` is "C*"; cases, vehicles,
probes and points are found by their name; entries of lists count from 1, as in
`case.wheel.patches.1.load_kN`. A name with a dot in it stands in quotes.
"""

import re
from typing import Any

from pipelines.errors import JobError, Mistake

# The key that names a table written in double brackets.
NAMED_BY = {"line": "on", "case": "name", "vehicle": "name", "probe": "name", "point": "name"}

_PART = re.compile(r"\s*(?:\"([^\"]*)\"|'([^']*)'|([^.\"']+))\s*(\.|$)")


class KeyMistake(JobError):
    """A dotted key that leads nowhere; why : in words. Its one mistake has no value."""

    def __init__(self, key: str, why: str) -> None:
        self.mistakes = [Mistake(f"{key}: {why}", key, None, why)]
        super().__init__(self.mistakes[0])

    def __reduce__(self) -> tuple[Any, ...]:
        return KeyMistake, (self.mistakes[0].key, self.mistakes[0].allowed)


def split_key(text: str) -> list[str]:
    """Parts of a dotted key."""
    parts: list[str] = []
    at = 0
    while at < len(text) or not parts:
        found = _PART.match(text, at)
        if found is None or (found[4] == "." and found.end() == len(text)):
            raise KeyMistake(text, "is not a dotted key")
        parts.append(next(g for g in found.groups()[:3] if g is not None).strip())
        at = found.end()
    return parts


def get_key(deck: dict[str, Any], key: str) -> Any:
    """The value at a key; KeyMistake where there is none."""
    *way, last = split_key(key)
    place = _walk(deck, key, way, make=False)
    if isinstance(place, list):
        return place[_entry(place, last, key, _named_by(way))]
    if last not in place:
        raise KeyMistake(key, "the deck has no such key")
    return place[last]


def set_key(deck: dict[str, Any], key: str, value: Any) -> None:
    """Set the value at a key; tables on the way that the deck leaves out are made."""
    *way, last = split_key(key)
    place = _walk(deck, key, way, make=True)
    if isinstance(place, list):
        place[_entry(place, last, key, _named_by(way))] = value
    else:
        place[last] = value


def _walk(deck: dict[str, Any], key: str, way: list[str], make: bool) -> Any:
    place: Any = deck
    for k, part in enumerate(way):
        if isinstance(place, list):
            place = place[_entry(place, part, key, _named_by(way[:k]))]
        elif isinstance(place, dict):
            if part not in place:
                if not make or (k == 0 and part in NAMED_BY):
                    raise KeyMistake(key, f"the deck has no {part}")
                place[part] = {}
            place = place[part]
        if not isinstance(place, dict | list):
            raise KeyMistake(key, f"{part} is not a table")
    return place


def _named_by(way: list[str]) -> str | None:
    """The key that names the entries of a list at the end of a way; None: they are numbered."""
    return NAMED_BY.get(way[0]) if len(way) == 1 else None


def _entry(entries: list[Any], part: str, key: str, named_by: str | None = None) -> int:
    """Index of an entry given by its name or, from 1, by its number."""
    if named_by is None:
        if not part.isdecimal() or not 1 <= int(part) <= len(entries):
            raise KeyMistake(key, f'"{part}" is not one of the entries 1 to {len(entries)}')
        return int(part) - 1
    names = [entry.get(named_by) for entry in entries]
    for i, name in enumerate(names):
        if part == name or (isinstance(name, list) and part in name):
            if isinstance(name, list) and len(name) > 1:
                raise KeyMistake(key, f'"{part}" shares its table with {len(name) - 1} more')
            return i
    known = ", ".join(f'"{n}"' if isinstance(n, str) else str(n) for n in names)
    raise KeyMistake(key, f'there is no table for "{part}"; there are {known}')
