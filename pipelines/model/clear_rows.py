"""Rows of cells that end where shears are read first: one thickness off edges, supports and beams.

Shears and twisting moments rise towards lines, so that their governing values stand as near to
them as they are read. Without a mesh line there the nearest row of result points does, which is
another one on every mesh: on the packaged estuary deck q_y is 89.6 kN/m a thickness off the edge
beam, and was told as 77.6 kN/m 0.60 m off it.
"""

import numpy as np

from pipelines.deck.deck import Deck

Range = tuple[float, float]

# Places nearer to a range's end or to a thickness than this share are at it.
ROUNDED = 1e-9


def clear_rows(deck: Deck, stations: Range, offsets: Range) -> tuple[list[float], list[float]]:
    """Logical stations and offsets [m] of such rows beside lines within the ranges looked at [m].

    Thin theory has no layer beside lines, and none. On a curve the stations are a thickness apart
    where it is shortest; lines along a deck that tapers run askew to its rows and have none.
    """
    plan, t = deck.plan, deck.slab.thickness
    if deck.slab.theory == "kirchhoff":
        return [], []
    held = {line.name for line in deck.lines}
    low, high = plan.u_range
    across = {f"C{i + 1}": at for i, at in enumerate(plan.stations)}
    u = [low, *(at for name, at in across.items() if name in held), high]
    stretch = float(plan.alignment.stretch(plan.outline).min())
    rows_u = _beside(u, t / (float(np.cos(plan.skew)) * stretch), stations)
    if plan.end_offsets != plan.offsets:
        return rows_u, []
    left, *inner, right = plan.line_offsets(np.array(low)).tolist()
    y = [left, *(at for j, at in enumerate(inner) if f"L{j + 1}" in held), right]
    return rows_u, _beside(y, t, offsets)


def _beside(lines: list[float], reach: float, looked_at: Range) -> list[float]:
    """Places between the first and the last of the lines, at `reach` from one that is looked at and
    no nearer to any other."""
    low, high = looked_at
    near = [at for at in dict.fromkeys(lines) if low - ROUNDED <= at <= high + ROUNDED]
    places = [at + side * reach for at in near for side in (-1.0, 1.0)]
    return [
        place
        for place in places
        if lines[0] < place < lines[-1]
        and min(abs(place - line) for line in lines) >= (1.0 - ROUNDED) * reach
    ]
