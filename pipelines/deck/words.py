"""Places of the deck in words."""

import numpy as np

from pipelines.deck.deck import Deck
from pipelines.numbers import length
from plate.geometry.curves import distance
from plate.geometry.plan import EDGES

# Points closer to a line than this lie on it [m].
ON = 1e-6


def line_title(deck: Deck, name: str) -> str:
    """A line's own label, or its kind and name: never a bare C3."""
    line = deck.line(name)
    if line is not None and line.label:
        return line.label
    if name.startswith("step "):
        return f"{name} of the soffit"
    if name.startswith("opening "):
        return f"edge of {name}"
    if name in EDGES:
        return f"{name} edge"
    if name in deck.plan.edges:
        return f"edge {name}"
    if name.startswith("C") and not deck.plan.lines[name].curves:
        return f"cross line {name}"
    return f"line {name}"


def named_title(deck: Deck, name: str) -> str:
    """The title of a line or an edge with its name in the plans: "edge beam E3"."""
    title = line_title(deck, name)
    found = deck.plan.lines.get(name)
    named = found is not None and (deck.line(name) is not None or bool(found.curves))
    return f"{title} {name}" if named and name not in title.split() else title


def support_title(deck: Deck, name: str) -> str:
    """The name of a reaction: a line, a point, or a beam's hold such as C3@L1."""
    beam, _, other = name.partition("@")
    if other:
        return f"{line_title(deck, beam)} at {line_title(deck, other)}"
    if any(point.name == name for point in deck.points):
        return name
    return line_title(deck, name)


def place(deck: Deck, at: tuple[float, float]) -> str:
    """The bay or cross line of a plan point; without a grid the line or opening that it lies on."""
    plan = deck.plan
    if not plan.is_grid:
        return _on_line(deck, at)
    u = float(plan.logical_station(np.array(at)))
    stations = np.array(deck.stations)
    low, high = plan.u_range
    on = np.flatnonzero(np.abs(stations - u) <= ON)
    if len(on):
        along = line_title(deck, f"C{on[0] + 1}")
    elif abs(u - low) <= ON:
        along = "start edge"
    elif abs(u - high) <= ON:
        along = "end edge"
    elif u < stations[0]:
        along = "overhang at the start"
    elif u > stations[-1]:
        along = "overhang at the end"
    else:
        i = int(np.searchsorted(stations, u))
        along = f"bay C{i}–C{i + 1}"
    offsets = plan.line_offsets(np.array(u))
    if abs(at[1] - offsets[0]) <= ON and deck.plan.overhang["left"] > 0.0:
        return f"{along}, left edge"
    if abs(at[1] - offsets[-1]) <= ON and deck.plan.overhang["right"] > 0.0:
        return f"{along}, right edge"
    beside = np.flatnonzero(np.abs(offsets[1:-1] - at[1]) <= ON)
    return f"{along}, {line_title(deck, f'L{beside[0] + 1}')}" if len(beside) else along


def _on_line(deck: Deck, at: tuple[float, float]) -> str:
    found = [
        line_title(deck, name)
        for name, line in deck.plan.lines.items()
        if distance(line.course(), np.array(at)) <= ON
    ]
    found += [
        f"edge of opening {k + 1}"
        for k, ring in enumerate(deck.plan.openings)
        if distance(ring, np.array(at)) <= ON
    ]
    return ", ".join(found) or "slab"


def at_text(at: tuple[float, float]) -> str:
    """Station and offset of a plan point."""
    return f"{length(at[0])}, {length(at[1])}"
