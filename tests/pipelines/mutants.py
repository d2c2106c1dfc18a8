"""Hostile deck files: mutants of good ones, most of them valid TOML with hostile values."""

import json
import math
import random
import tomllib
from collections.abc import Iterator
from copy import deepcopy
from typing import Any

Tree = dict[str, Any]

HOSTILE: tuple[Any, ...] = (
    *(0, -1, 1, 10**9, -(10**9), 10**19, 2**63),
    *(0.0, -0.0, 1e-300, 1e-9, 0.001, -0.5, 1e9, 1e308, -1e308, 5e-324),
    *(math.nan, math.inf, -math.inf, True, False),
    *("", "C1", "C*", "L9", "*", "[", "../../etc", "\u202e", "\x00x", "a" * 5000, "NaN", "1"),
    *([], [0.0], [[]], [1, "a"], {}, {"x": 1}, [[0.0, 0.0], [0.0, 0.0]]),
)


def toml_text(tree: Tree) -> str:
    """A tree as TOML with inline tables; `tomllib` reads it back."""
    lines = []
    for key, value in tree.items():
        lines.append(f"{json.dumps(key)} = {_value(value)}")
    return "\n".join(lines) + "\n"


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return "nan" if math.isnan(value) else repr(value).replace("e+", "e")
    if isinstance(value, dict):
        return "{" + ", ".join(f"{json.dumps(k)} = {_value(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_value, value)) + "]"
    if isinstance(value, str):
        return json.dumps(value).replace("\x7f", "\\u007f")
    return str(value)


def places(node: Any) -> Iterator[tuple[Any, Any]]:
    """(container, key) of every value below a node."""
    if isinstance(node, dict | list):
        for key in list(node) if isinstance(node, dict) else range(len(node)):
            yield node, key
            yield from places(node[key])


def mutant(texts: list[str], seed: int) -> bytes:
    """A mutant of one of the texts; the same for the same seed."""
    chance = random.Random(seed)
    text = chance.choice(texts)
    if chance.random() < 0.06:
        return _broken(text.encode(), chance)
    tree = tomllib.loads(text)
    for _ in range(chance.choice((1, 1, 1, 2, 3, 6))):
        _change(tree, texts, chance)
    return toml_text(tree).encode("utf-8", "surrogatepass")


def _broken(data: bytes, chance: random.Random) -> bytes:
    """Bytes cut, flipped or repeated."""
    at = chance.randrange(len(data))
    return chance.choice(
        (
            data[:at],
            data[:at] + bytes([chance.randrange(256)]) + data[at + 1 :],
            data[:at] + data[at : at + 40] * 3 + data[at:],
            data[:at] + b"\xff\xfe\x00" + data[at:],
        )
    )


def _change(tree: Tree, texts: list[str], chance: random.Random) -> None:
    found = list(places(tree))
    if not found:
        return
    node, key = chance.choice(found)
    kind = chance.random()
    old = node[key]
    number = isinstance(old, int | float) and not isinstance(old, bool)
    if number and kind < 0.5:
        node[key] = chance.choice(
            (old * 10, old / 10, -old, old * 1000, old * 1e-3, old + 1e-12, 0.0, old * 1e12)
        )
    elif kind < 0.7:
        node[key] = deepcopy(chance.choice(HOSTILE))
    elif kind < 0.78:
        del node[key]
    elif kind < 0.84 and isinstance(node, dict):
        node[str(key) + chance.choice("xs_")] = old
    elif kind < 0.9 and isinstance(node, list):
        node.extend(deepcopy(old) for _ in range(chance.choice((1, 2, 50))))
    elif kind < 0.95:
        other, name = chance.choice(list(places(tomllib.loads(chance.choice(texts)))))
        node[key] = other[name]
    elif isinstance(old, list):
        chance.shuffle(old)
