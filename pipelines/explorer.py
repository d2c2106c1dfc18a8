"""The part of the report that is looked at by hand: any point of the envelopes, with the load
position that governs there, and sections along any line.

Fields are packed for the page as whole shares of their own extreme, 6e-5 of it at worst, and
compressed; `assets/explorer.js` unpacks and draws them. Nothing is computed there but differences
and interpolation between result points.
"""

import json
import zlib
from base64 import b64encode
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib import colormaps
from matplotlib.colors import to_hex
from numpy.typing import NDArray

from pipelines.contourfigures import MAPS, SHARE
from pipelines.deck import Deck
from pipelines.findings import Finding
from pipelines.governing import SHEARS, clear_of_lines, readable
from pipelines.places import line_title, place
from pipelines.planfigures import closed, line_path, traced
from pipelines.result import Result
from pipelines.traffic import LoadPositions, wheel_pattern
from pipelines.units import RESULT_KEYS, RESULT_SCALE, RESULT_UNITS
from plate.outline import points_of

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Array = NDArray[Any]

ASSETS = Path(__file__).parent / "assets"
COLOURS = 14
# Steps from zero to the value furthest from it.
STEPS = 8191
# Above this the vehicles are left out, those that govern least first [bytes in the page].
LARGEST = 2_400_000
WORDS = {
    "w": "deflection",
    "m_x": "moment, bars along the deck",
    "m_y": "moment, bars across the deck",
    "m_xy": "twisting moment",
    "q_x": "shear along the deck",
    "q_y": "shear across the deck",
}


def explorer(result: Result) -> str:
    """The section's HTML with its data and script; "" where there is no field to look at."""
    order = _order(result)
    loads = _vehicle_loads(result, order) + _case_loads(result, order)
    if not loads:
        return ""
    data = _frame(result, order) | {
        "loads": loads,
        "peaks": _peaks(result, order),
        "strips": _strips(result),
    }
    text = json.dumps(data, separators=(",", ":"), allow_nan=False).replace("</", "<\\/")
    script = (ASSETS / "explorer.js").read_text()
    return (
        (ASSETS / "explorer.html").read_text()
        + f'<script type="application/json" id="explorer-data">{text}</script>\n'
        + f"<script>\n{script}</script>"
    )


def pack(values: Array) -> str:
    """An array as the page holds it: differences of neighbours, all low bytes before the higher
    ones, compressed, in base 64.

    Differences wrap around in the array's own width and so come back exactly.
    """
    flat = values.ravel()
    steps = np.diff(flat, prepend=flat.dtype.type(0)).astype(flat.dtype.newbyteorder("<"))
    planes = np.ascontiguousarray(steps.view(np.uint8).reshape(-1, flat.itemsize).T)
    squeezed = zlib.compressobj(9, zlib.DEFLATED, -15)
    data = squeezed.compress(planes.tobytes())
    return b64encode(data + squeezed.flush()).decode()


def quantised(values: Floats, read: NDArray[np.bool_]) -> dict[str, Any]:
    """Values in print units as shares of the one furthest from zero of those that are `read`;
    the others may be cut off."""
    top = float(np.abs(values[read]).max(initial=0.0))
    share = values / top if top > 0.0 else np.zeros(len(values))
    limit = np.iinfo(np.int16).max
    return {"top": top, "v": pack(np.clip(np.rint(STEPS * share), -limit, limit).astype(np.int16))}


def _read(result: Result, component: int) -> NDArray[np.bool_]:
    """(n_point,) whether a result is to be read at a point: moments not near singular places, nor
    shears near lines and edges."""
    t = result.deck.slab.thickness
    sound = readable(result.solver, t)
    if component == 0:
        return np.ones(len(sound), dtype=bool)
    clear = sound & clear_of_lines(result.solver, t)
    return clear if component in SHEARS and clear.any() else sound


def _order(result: Result) -> Ints:
    """Result points across the deck and then along it: neighbours there differ least."""
    xy = result.solver.recovery.points.xy
    return np.lexsort((xy[:, 1], np.round(xy[:, 0], 3)))


def _frame(result: Result, order: Ints) -> dict[str, Any]:
    """The plan, its result points and what is drawn over them."""
    deck, points = result.deck, result.solver.recovery.points
    xy = points.xy[order]
    renumbered = np.empty(len(order), dtype=np.uint32)
    renumbered[order] = np.arange(len(order))
    low = xy.min(axis=0)
    step = float(np.ptp(xy, axis=0).max()) / 65535.0
    grid = np.rint((xy - low) / step).astype(np.uint16)
    chart = deck.plan.chart
    clear = _read(result, 1).astype(np.uint8) + _read(result, SHEARS[0])
    return {
        "order": points.order,
        "points": points.n_points,
        "steps": STEPS,
        "low": low.tolist(),
        "high": xy.max(axis=0).tolist(),
        "step": step,
        "x": pack(grid[:, 0]),
        "y": pack(grid[:, 1]),
        "cells": pack(renumbered[points.cells]),
        "clear": pack(clear[order]),
        "radius": None if chart.straight else chart.radius,
        "lean": float(np.tan(deck.plan.skew)),
        "stations": [float(u) for u in deck.stations],
        "places": _places(deck),
        "drawn": _drawn(deck),
        "components": [
            {"key": key.removesuffix("_mm"), "unit": unit, "words": WORDS[key.removesuffix("_mm")]}
            for key, unit in zip(RESULT_KEYS, RESULT_UNITS, strict=True)
        ],
        "colours": {
            name: [
                to_hex(colormaps[MAPS[name]](a + (b - a) * k / (COLOURS - 1)))
                for k in range(COLOURS)
            ]
            for name, (a, b) in SHARE.items()
        },
    }


def _places(deck: Deck) -> dict[str, list[str]]:
    """Bays and cross lines in words, by number."""
    count = len(deck.stations)
    return {
        "bays": [f"bay C{i + 1}\u2013C{i + 2}" for i in range(count - 1)],
        "lines": [line_title(deck, f"C{i + 1}") for i in range(count)],
    }


def _drawn(deck: Deck) -> list[dict[str, Any]]:
    """Polylines of the plan [m] with what they are, and names beside them."""
    rings = [deck.plan.outline, *points_of(deck.plan.openings)]
    found: list[dict[str, Any]] = [
        {"kind": "outline", "path": np.round(closed(deck, ring), 3).tolist()} for ring in rings
    ]
    for name, line in deck.plan.lines.items():
        support = deck.line(name)
        if support is None and name in deck.plan.edges:
            continue
        path = line.path if support is None else line_path(deck, support)
        xy = np.round(traced(deck, path), 3)
        kind = "free" if support is None else support.support
        found.append({"kind": kind, "name": name, "path": xy.tolist()})
    return found


def _vehicle_loads(result: Result, order: Ints) -> list[dict[str, Any]]:
    """Envelopes of each vehicle alone with its load positions."""
    envelopes = result.envelopes
    if envelopes is None:
        return []
    read = [_read(result, k) for k in range(len(RESULT_KEYS))]
    found = []
    starts = np.cumsum([0, *(len(run) for run in envelopes.runs)])
    for name, envelope in envelopes.vehicles.items():
        runs = [
            (int(start), run)
            for start, run in zip(starts, envelopes.runs, strict=False)
            if run.vehicle.name == name
        ]
        e = envelope.extremes
        local = np.zeros(envelopes.n_positions + 1, dtype=np.uint32)
        count = 0
        for start, run in runs:
            local[start : start + len(run)] = np.arange(count + 1, count + 1 + len(run))
            count += len(run)
        fields = [
            {
                extreme: quantised(values[k, order] * RESULT_SCALE[k], read[k][order])
                | {"at": pack(local[at[k, order]])}
                for extreme, values, at in (
                    ("max", e.maximum, e.at_maximum),
                    ("min", e.minimum, e.at_minimum),
                )
            }
            for k in range(len(RESULT_KEYS))
        ]
        runs_there = [_run(run) for _, run in runs]
        found.append({"name": name, "kind": "vehicle", "fields": fields, "runs": runs_there})
    return _light_enough(found)


def _light_enough(loads: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The loads with the load positions left out where the page would get too heavy."""
    size = sum(len(f[x]["v"]) + len(f[x]["at"]) for one in loads for f in one["fields"] for x in f)
    if size > LARGEST:
        for one in loads:
            for f in one["fields"]:
                for x in f:
                    del f[x]["at"]
    return loads


def _run(run: LoadPositions) -> dict[str, Any]:
    spreads = np.zeros(len(run)) if run.spreads is None else run.spreads
    return {
        "direction": run.direction,
        "wheels": np.round(wheel_pattern(run.vehicle, run.patches), 6).tolist(),
        "impact": run.vehicle.impact,
        "stations": pack(np.rint(1e4 * run.stations).astype(np.int32)),
        "offsets": pack(np.rint(1e4 * run.offsets).astype(np.int32)),
        "spreads": pack(np.rint(1e4 * spreads).astype(np.int32)),
    }


def _case_loads(result: Result, order: Ints) -> list[dict[str, Any]]:
    """Static cases: one value a point."""
    read = [_read(result, k) for k in range(len(RESULT_KEYS))]
    return [
        {
            "name": name,
            "kind": "case",
            "fields": [
                {"value": quantised(response.fields[k, order, 0] * RESULT_SCALE[k], read[k][order])}
                for k in range(len(RESULT_KEYS))
            ],
        }
        for name, response in result.cases.items()
    ]


def _peaks(result: Result, order: Ints) -> list[dict[str, Any]]:
    """The governing values, to go to."""
    return [
        {
            "component": row.component,
            "extreme": row.extreme,
            "at": list(row.at),
            "point": int(np.flatnonzero(order == row.point)[0]),
            "value": row.value,
            "error": row.error,
            "place": place(result.deck, row.at),
        }
        for row in result.governing
        if row.position is not None
    ]


def _strips(result: Result) -> list[dict[str, Any]]:
    """Per vehicle, strip and bay or cross line the hand value furthest from zero [kNm/m]."""
    worst: dict[tuple[str, str, bool, int], Finding] = {}
    stations = np.array(result.deck.stations)
    for one in result.findings:
        # The field shown is m_x; of it sagging in bays and hogging over cross lines.
        sagging = one.kind == "sagging"
        if one.strip_value is None or one.kind not in ("sagging", "hogging"):
            continue
        if one.bars != "parallel" or one.whole_model:
            continue
        u = float(result.deck.plan.logical_station(np.array(one.at)))
        if sagging:
            index = int(np.clip(np.searchsorted(stations, u) - 1, 0, len(stations) - 2))
        else:
            index = int(np.argmin(np.abs(stations - u)))
        key = (one.vehicle, one.strip, sagging, index)
        if key not in worst or abs(one.strip_value) > abs(worst[key].strip_value or 0.0):
            worst[key] = one
    return [
        {
            "vehicle": vehicle,
            "strip": strip,
            "sagging": sagging,
            "index": index,
            "value": 1e-3 * (one.strip_value or 0.0),
        }
        for (vehicle, strip, sagging, index), one in worst.items()
    ]
