"""Influence surfaces as the part of the report that is looked at by hand holds them."""

from typing import Any

import numpy as np

from pipelines.deck.deck import Deck
from pipelines.deck.words import place
from pipelines.envelopes.picked_surfaces import PickedSurfaces
from pipelines.report.explorer.arrays import pack
from plate.arrays import Ints
from plate.results.fields import FieldPoints

# Steps from zero to the ordinate furthest from it.
STEPS = 500


def influence_data(
    deck: Deck, points: FieldPoints, found: PickedSurfaces, order: Ints
) -> dict[str, Any]:
    """Points that can be picked and their surfaces.

    order : (n_point,) field points as the page numbers them.
    """
    number = np.empty(len(order), dtype=np.int64)
    number[order] = np.arange(len(order))
    values = found.ordinates[:, order]
    top = np.abs(values).max(axis=1, initial=0.0)
    shares = values / np.where(top > 0.0, top, 1.0)[:, None]
    slot = {k: i for i, k in enumerate(dict.fromkeys(k for k, _ in found.goals))}
    entries: list[dict[str, Any]] = [
        {"pick": slot[k], "component": c, "top": float(most)}
        for (k, c), most in zip(found.goals, top, strict=True)
    ]
    for entry, one in zip(entries, found.governing, strict=False):
        entry["wheels"] = {
            "extreme": one.row.extreme,
            "value": one.row.value,
            "count": one.n_wheel,
            "loads": (1e-3 * one.load).tolist(),
            "ordinates": one.ordinates.tolist(),
        }
    return {
        "steps": STEPS,
        "picks": [_pick(deck, points, number, k) for k in slot],
        "surfaces": entries,
        "ordinates": pack(np.rint(STEPS * shares).astype(np.int16)),
    }


def _pick(deck: Deck, points: FieldPoints, number: Ints, point: int) -> dict[str, Any]:
    """A point that can be picked, in words: on a line that divides the slab also its side."""
    at = points.plan[point]
    words = place(deck, (float(at[0]), float(at[1])))
    if np.sum(np.linalg.norm(points.plan - at, axis=1) < 1e-6) > 1:
        around = points.cells[np.any(points.cells == point, axis=1)]
        inside = at + 0.05 * (points.plan[around].mean(axis=(0, 1)) - at)
        words += f", side of {place(deck, (float(inside[0]), float(inside[1])))}"
    return {"at": np.round(at, 4).tolist(), "point": int(number[point]), "place": words}
