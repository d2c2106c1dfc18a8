"""The part of the report that is looked at by hand: any point of the envelopes of vehicles and load
models, with the load position that governs there, sections along any line, and influence surfaces.

Fields are packed for the page as whole shares of their own extreme, 6e-5 of it at worst, and
compressed; `assets/explorer.js` unpacks and draws them. Nothing is computed there but differences
and interpolation between result points.
"""

import json
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib import colormaps
from matplotlib.colors import to_hex
from numpy.typing import NDArray

from pipelines.deck.deck import Deck
from pipelines.deck.words import line_title, place
from pipelines.envelopes.peaks import SHEARS, clear_of_lines, readable
from pipelines.findings.finding import Finding
from pipelines.report.drawings.contour_plans import MAPS, SHARE
from pipelines.report.drawings.plan import closed, line_path, traced
from pipelines.report.explorer.arrays import pack
from pipelines.report.explorer.influence import influence_data
from pipelines.result import Result
from pipelines.traffic.positions import LoadPositions, wheel_pattern
from pipelines.units import RESULT_KEYS, RESULT_SCALE, RESULT_UNITS
from plate.geometry.outline import points_of

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Reads = list[NDArray[np.bool_]]

ASSETS = Path(__file__).parents[1] / "assets"
COLOURS = 14
# Steps from zero to the value furthest from it.
STEPS = 8191
# Above this the vehicles' load positions are left out, then load models, the last first [bytes in
# the page].
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
    read = [_read(result, k) for k in range(len(RESULT_KEYS))]
    moving = _light_enough(_vehicle_loads(result, order, read), _model_loads(result, order, read))
    loads = moving + _case_loads(result, order, read)
    if not loads:
        return ""
    data = _frame(result, order, read) | {
        "loads": loads,
        "peaks": _peaks(result, order),
        "strips": _strips(result),
        "influence": influence_data(result, order, read),
    }
    text = json.dumps(data, separators=(",", ":"), allow_nan=False).replace("</", "<\\/")
    script = (ASSETS / "explorer.js").read_text(encoding="utf-8")
    return (
        (ASSETS / "explorer.html").read_text(encoding="utf-8")
        + f'<script type="application/json" id="explorer-data">{text}</script>\n'
        + f"<script>\n{script}</script>"
    )


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


def _frame(result: Result, order: Ints, read: Reads) -> dict[str, Any]:
    """The plan, its result points and what is drawn over them."""
    deck, points = result.deck, result.solver.recovery.points
    xy = points.xy[order]
    renumbered = np.empty(len(order), dtype=np.uint32)
    renumbered[order] = np.arange(len(order))
    low = xy.min(axis=0)
    step = float(np.ptp(xy, axis=0).max()) / 65535.0
    grid = np.rint((xy - low) / step).astype(np.uint16)
    chart = deck.plan.chart
    clear = read[1].astype(np.uint8) + read[SHEARS[0]]
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
            if name != "both"
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


def _vehicle_loads(result: Result, order: Ints, read: Reads) -> list[dict[str, Any]]:
    """Envelopes of each vehicle alone with its load positions."""
    envelopes = result.envelopes
    if envelopes is None:
        return []
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
    return found


def _model_loads(result: Result, order: Ints, read: Reads) -> list[dict[str, Any]]:
    """Envelopes of each load model; its arrangements are told at its governing values alone."""
    found = []
    for one in result.models:
        e = one.fields.extremes
        fields = [
            {
                extreme: quantised(values[k, order] * RESULT_SCALE[k], read[k][order])
                for extreme, values in (("max", e.maximum), ("min", e.minimum))
            }
            for k in range(len(RESULT_KEYS))
        ]
        found.append({"name": one.model.name, "kind": "model", "fields": fields})
    return found


def _light_enough(
    vehicles: list[dict[str, Any]], models: list[dict[str, Any]]
) -> list[dict[str, Any]]:
    """Both together, with what the page would get too heavy by left out."""

    def size(loads: list[dict[str, Any]]) -> int:
        fields = [f[x] for one in loads for f in one["fields"] for x in f]
        return sum(len(f["v"]) + len(f.get("at", "")) for f in fields)

    if size(vehicles) > LARGEST:
        for one in vehicles:
            for f in one["fields"]:
                for x in f:
                    del f[x]["at"]
    while models and size(vehicles) + size(models) > LARGEST:
        models.pop()
    return vehicles + models


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


def _case_loads(result: Result, order: Ints, read: Reads) -> list[dict[str, Any]]:
    """Static cases: one value a point."""
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
    """The governing values, to go to; those of load models with the arrangement and its wheels."""
    found: list[dict[str, Any]] = [
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
    chart = result.deck.plan.chart
    for envelope, peaks in zip(result.models, result.model_peaks, strict=True):
        for peak in peaks:
            wheels = chart.to_cartesian(envelope.wheels(peak.number).corners)
            found.append(
                {
                    "load": envelope.model.name,
                    "component": peak.component,
                    "extreme": peak.extreme,
                    "at": list(peak.at),
                    "point": int(np.flatnonzero(order == peak.point)[0]),
                    "value": peak.value,
                    "error": peak.whole_error,
                    "place": place(result.deck, peak.at),
                    "words": peak.position.words,
                    "wheels": np.round(wheels, 3).tolist(),
                }
            )
    return found


def _strips(result: Result) -> list[dict[str, Any]]:
    """Per vehicle or load model, strip and bay or cross line: the hand value furthest from zero
    [kNm/m]."""
    worst: dict[tuple[str, str, bool, int], Finding] = {}
    stations = np.array(result.deck.stations)
    for one in result.findings:
        # The field shown is m_x; of it sagging in bays and hogging over cross lines.
        sagging = one.kind == "sagging"
        if one.strip_value is None or one.kind not in ("sagging", "hogging"):
            continue
        if one.bars != "parallel":
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
