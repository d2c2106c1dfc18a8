"""Hostile files: mutants of good deck files, most of them valid TOML with hostile values, of
surveys and of drawings."""

import json
import math
import random
import tomllib
from collections.abc import Iterator
from copy import deepcopy
from typing import Any

Tree = dict[str, Any]

# Names with a meaning elsewhere: XML and HTML, a terminal's markup, formulas of drawings and of
# spreadsheets, places in our own pages.
NAMES = (
    *("A & B", 'a < b > "c"', "<!--<script>", "</script>", "%DATA%", "%TITLE%"),
    *("[/]", "[bold red]x[/x]", ":smile:", r"$\frac{a$", "$x$ and $y$", "{0}", "_x", "\\"),
)
FORMULAS = ("=1+1", "+1", "-1", "@A1")

HOSTILE: tuple[Any, ...] = (
    *(*NAMES, *FORMULAS),
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


# Sides of patches, from wires to fields, and distances by which places miss an edge [m].
SIDES = (0.005, 0.02, 0.1, 0.4, 3.0, 20.0)
MISSES = (0.0, 1e-9, -1e-9, 1e-7, 1e-4)


def generated(seed: int) -> str:
    """A deck of any outline with openings, or of bays some of which are tiny, under patches of any
    shape, with probes along its edges and names of any kind; the same for the same seed."""
    chance = random.Random(seed)
    tree: Tree = {
        "title": chance.choice(NAMES),
        "slab": {"thickness_mm": chance.choice((150, 250, 600)), "E_GPa": 30.0},
        "mesh": {"order": 2, "size_m": chance.choice((1.0, 1.5))},
    }
    if chance.random() < 0.7:
        n = chance.randrange(3, 9)
        turns = [2.0 * math.pi * (k + chance.uniform(0.2, 0.8)) / n for k in range(n)]
        radii = [chance.uniform(3.0, 7.0) for _ in range(n)]
        corners = [
            [round(r * math.cos(a), 2), round(r * math.sin(a), 2)]
            for r, a in zip(radii, turns, strict=True)
        ]
        tree["plan"] = {"outline_m": corners}
        tree["line"] = [{"on": "E*", "support": "rigid"}]
        tree["opening"] = [
            {
                "centre_m": [chance.uniform(-2.0, 2.0), chance.uniform(-2.0, 2.0)],
                "diameter_m": chance.choice((0.05, 0.5, 2.0)),
            }
            for _ in range(chance.choice((0, 0, 1, 2)))
        ]
    else:
        gaps = [chance.choice((0.011, 0.05, 3.0)) for _ in range(chance.randrange(1, 4))]
        stations = [round(sum(gaps[:k]), 3) for k in range(len(gaps) + 1)]
        corners = [[x, y] for x in stations for y in (-2.0, 2.0)]
        tree["plan"] = {"stations_m": stations, "offsets_m": [-2.0, 2.0]}
        tree["line"] = [{"on": "C*", "support": "rigid"}]
    sides = chance.choice((SIDES, SIDES[3:], SIDES[3:]))
    tree["case"] = [
        {
            "name": chance.choice((*NAMES, *FORMULAS)),
            "patches": [
                {
                    "at_m": [chance.uniform(-1.0, 1.0), chance.uniform(-1.0, 1.0)],
                    "size_m": [chance.choice(sides), chance.choice(sides)],
                    "load_kN": 10.0,
                }
                for _ in range(chance.choice((1, 1, 5, 40)))
            ],
        }
    ]
    k = chance.randrange(len(corners))
    (x, y), (u, v) = corners[k - 1], corners[k]
    miss = chance.choice(MISSES)
    ends = {"from_m": [x, y + miss], "to_m": [u, v + miss]}
    tree["probe"] = [{"name": chance.choice(NAMES), **ends}]
    if chance.random() < 0.5:
        patch = [1e3 * chance.choice(SIDES), 1e3 * chance.choice(SIDES)]
        axle = {"at_m": 0.0, "load_kN": 60.0, "wheels_m": [0.0], "patch_mm": patch}
        tree["vehicle"] = [{"name": chance.choice(NAMES), "axles": [axle]}]
        tree["traffic"] = {
            "carriageway_m": [-1.5, 1.5],
            "step_m": 2.0,
            "lateral_step_m": 1.0,
            "dispersal": chance.choice(("none", "mid-depth")),
        }
        if "outline_m" in tree["plan"] and chance.random() < 0.5:
            tree["traffic"]["carriageway_axis_m"] = _axis(chance)
    return toml_text({key: value for key, value in tree.items() if value != []})


def _axis(chance: random.Random) -> list[Any]:
    """An axis of a carriageway about the middle of the plan: straight, of arcs of any radius, with
    corners, with next to no length, far away."""

    def point(size: float) -> list[float]:
        return [round(chance.uniform(-size, size), 3) for _ in range(2)]

    size = chance.choice((0.02, 3.0, 8.0, 8.0, 8.0, 4e3))
    axis: list[Any] = [point(size), point(size)]
    for _ in range(chance.choice((0, 0, 1, 3))):
        arc = {"arc_to_m": point(size), "through_m": point(size)}
        axis.append(chance.choice((point(size), arc, arc)))
    if len(axis) > 2 and chance.random() < 0.7:
        del axis[1]  # one arc, which has no corner before it
    return axis


CELLS = (
    *(
        "",
        " ",
        "0",
        "-1",
        "1e9",
        "1e-300",
        "nan",
        "inf",
        "-inf",
        "0x10",
        "1,5",
        "\u0661\u0666",
        "x",
    ),
    *("y", "top", "C1-C2", "C9-C10", "panel", "=1+1", '"', "'", "\t", "a" * 5000, "\u202e", "\x00"),
)


def table_mutant(text: str, seed: int) -> bytes:
    """A mutant of a CSV table; the same for the same seed."""
    chance = random.Random(seed)
    if chance.random() < 0.1:
        return _broken(text.encode(), chance)
    rows = [line.split(",") for line in text.splitlines()]
    for _ in range(chance.choice((1, 1, 2, 4))):
        row = chance.choice(rows if chance.random() < 0.9 else rows[:1])
        column = chance.randrange(len(row)) if row else 0
        kind = chance.random()
        if kind < 0.5 and row:
            row[column] = chance.choice((*CELLS, *chance.choice(rows), row[column] + "0"))
        elif kind < 0.6 and row:
            del row[column]
        elif kind < 0.7:
            row.insert(column, chance.choice(CELLS))
        elif kind < 0.8:
            rows.extend([list(row) for _ in range(chance.choice((1, 2, 200)))])
        elif kind < 0.9 and len(rows) > 1:
            rows.remove(row)
        else:
            chance.shuffle(rows)
    end = chance.choice(("\n", "\n", "\r\n", "\r"))
    return end.join(",".join(row) for row in rows).encode("utf-8", "surrogatepass")


TAGS = (
    *("", "0", "-1", "1", "1e9", "1e308", "-1e308", "1e-300", "nan", "inf", "-inf", "x", "8.0"),
    *("LINE", "ARC", "CIRCLE", "SPLINE", "INSERT", "LWPOLYLINE", "SEQEND", "SECTION", "ENDSEC"),
    *("SLAB", "0.0.0", "99999999999999999999", "\u202e", "../../etc", "a" * 5000),
)


def drawing_mutant(text: str, seed: int) -> bytes:
    """A mutant of a DXF drawing, lines of a code and a value in turn, most often of what is drawn;
    the same for the same seed."""
    chance = random.Random(seed)
    if chance.random() < 0.1:
        return _broken(text.encode(), chance)
    lines = text.split("\n")
    pairs = [list(pair) for pair in zip(lines[::2], lines[1::2], strict=False)]
    first = next(k for k, pair in enumerate(pairs) if pair[1].strip() == "ENTITIES")
    last = next(k for k in range(first, len(pairs)) if pairs[k][1].strip() == "ENDSEC")
    for _ in range(chance.choice((1, 1, 2, 4))):
        k = chance.randrange(first, last) if chance.random() < 0.9 else chance.randrange(len(pairs))
        kind = chance.random()
        if kind < 0.35:
            pairs[k][1] = chance.choice(TAGS)
        elif kind < 0.6:
            try:
                value = float(pairs[k][1])
            except ValueError:
                pairs[k][1] = chance.choice(TAGS)
            else:
                factor = chance.choice((-1.0, 0.0, 0.5, 1.001, 3.0, 1e3, 1e-3, 1e12))
                pairs[k][1] = repr(factor * value)
        elif kind < 0.7:
            pairs[k][0] = chance.choice(("0", "8", "10", "20", "42", "40", "50", "70", "90", "x"))
        elif kind < 0.85:
            del pairs[k]
            last = min(last, len(pairs))
        else:
            pairs[k:k] = [list(pair) for pair in pairs[k : k + chance.choice((1, 5, 30))]]
    return "\n".join(f"{code}\n{value}" for code, value in pairs).encode("utf-8", "surrogatepass")
