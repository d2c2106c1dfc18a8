"""The part of the report that is looked at by hand: any point of the envelopes of vehicles and load
models, with the load position that governs there, sections along any line, and influence surfaces.

Fields are packed for the page as whole shares of their own extreme, 6e-5 of it at worst, and
compressed; `assets/explorer.js` unpacks and draws them. Nothing is computed there but differences
and interpolation between result points.
"""

from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pipelines.analysis.result import Result, TrafficResult
from pipelines.deck.deck import Deck
from pipelines.deck.words import line_title, place
from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.envelopes.extremes import FieldEnvelope
from pipelines.envelopes.peaks import SHEARS, readable_results
from pipelines.envelopes.picked_surfaces import PickedSurfaces
from pipelines.findings.finding import Finding
from pipelines.report.document import Interactive, page_data
from pipelines.report.drawings.colours import field_colours
from pipelines.report.drawings.plan import closed, line_path, traced
from pipelines.report.explorer.arrays import pack
from pipelines.report.explorer.influence import influence_data
from pipelines.traffic.lanes import arrangement_orders
from pipelines.traffic.positions import LoadPositions, wheel_pattern
from pipelines.units import RESULT_KEYS, RESULT_SCALE, RESULT_UNITS
from plate.arrays import Floats, Ints
from plate.geometry.outline import points_of

Reads = tuple[NDArray[np.bool_], ...]

ASSETS = Path(__file__).parents[1] / "assets"
COLOURS = 14
# Steps from zero to the value furthest from it.
STEPS = 8191
# Above this what governs at every point is left out, then loads, the last first [bytes in the
# page].
LARGEST = 2_400_000
WORDS = {
    "w": "deflection",
    "m_x": "moment, bars along the deck",
    "m_y": "moment, bars across the deck",
    "m_xy": "twisting moment",
    "q_x": "shear along the deck",
    "q_y": "shear across the deck",
}


def explorer(result: Result, surfaces: PickedSurfaces) -> tuple[Interactive, ...]:
    """The part with its data and script; nothing where there is no field to look at."""
    order = _order(result)
    read = readable_results(result.solved)
    moving = [load for case in result.traffic for load in _traffic_loads(case, order, read)]
    loads = _light_enough(moving) + _case_loads(result, order, read)
    if not loads:
        return ()
    points = result.solved.recovery.points
    data = _frame(result, order, read) | {
        "loads": loads,
        "peaks": _peaks(result, order),
        "strips": _strips(result),
        "influence": influence_data(result.deck, points, surfaces, order),
    }
    script = (ASSETS / "explorer.js").read_text(encoding="utf-8")
    html = (
        (ASSETS / "explorer.html").read_text(encoding="utf-8")
        + f'<script type="application/json" id="explorer-data">{page_data(data)}</script>\n'
        + f"<script>\n{script}</script>"
    )
    return (Interactive(html),)


def quantised(values: Floats, read: NDArray[np.bool_]) -> dict[str, Any]:
    """Values in print units as shares of the one furthest from zero of those that are `read`;
    the others may be cut off."""
    top = float(np.abs(values[read]).max(initial=0.0))
    share = values / top if top > 0.0 else np.zeros(len(values))
    limit = np.iinfo(np.int16).max
    return {"top": top, "v": pack(np.clip(np.rint(STEPS * share), -limit, limit).astype(np.int16))}


def _order(result: Result) -> Ints:
    """Result points across the deck and then along it: neighbours there differ least."""
    xy = result.solved.recovery.points.xy
    return np.lexsort((xy[:, 1], np.round(xy[:, 0], 3)))


def _frame(result: Result, order: Ints, read: Reads) -> dict[str, Any]:
    """The plan, its result points and what is drawn over them."""
    deck, points = result.deck, result.solved.recovery.points
    xy = points.xy[order]
    renumbered = np.empty(len(order), dtype=np.uint32)
    renumbered[order] = np.arange(len(order))
    low = xy.min(axis=0)
    step = float(np.ptp(xy, axis=0).max()) / 65535.0
    grid = np.rint((xy - low) / step).astype(np.uint16)
    alignment = deck.plan.alignment
    # Beside a beam's end hogging counts, and is finite, at the beam's faces.
    clear = (read[1] | result.solved.hogging_readable).astype(np.uint8) + read[SHEARS[0]]
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
        "radius": None if alignment.straight else alignment.radius,
        "axis": axis_pieces(deck),
        "lean": float(np.tan(deck.plan.skew)),
        "stations": [float(u) for u in deck.stations],
        "places": _places(deck),
        "drawn": _drawn(deck),
        "components": [
            {"key": key.removesuffix("_mm"), "unit": unit, "words": WORDS[key.removesuffix("_mm")]}
            for key, unit in zip(RESULT_KEYS, RESULT_UNITS, strict=True)
        ],
        # From zero on.
        "colours": {
            "max": field_colours("max", COLOURS),
            "min": field_colours("min", COLOURS),
        },
    }


def axis_pieces(deck: Deck) -> list[list[float]] | None:
    """Pieces of the carriageway's axis: station, point and heading at their start, curvature, turn
    of the axis up to there; the first carries it back, the last on."""
    axis = None if deck.traffic is None else deck.traffic.axis
    if axis is None:
        return None
    stations = np.array([0.0, *axis.knots])
    at, along = axis.points(stations)
    headings = np.arctan2(along[:, 1], along[:, 0])
    bends = [0.0, *axis.curvature, 0.0]
    turns = np.cumsum([0.0, 0.0, *(curve.sweep for curve in axis.curves)])
    rows = np.column_stack([stations, at, headings, bends, turns])
    return [[float(value) for value in row] for row in rows]


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


def _traffic_loads(case: TrafficResult, order: Ints, read: Reads) -> list[dict[str, Any]]:
    """Envelopes of a case of traffic, of vehicles alone each by itself, with what governs."""
    envelope = case.envelope
    starts = np.cumsum([0, *(len(run) for run in envelope.runs)])
    if envelope.whole:
        runs = [_run(run) for run in envelope.runs]
        # 0 stands for the empty deck.
        local = np.zeros(len(envelope.arrangements) + 1, dtype=np.uint32)
        local[:-1] = np.arange(1, len(local))
        found = _fields(envelope.fields, order, read, local)
        return [
            {
                "name": case.name,
                "kind": "model",
                "fields": found,
                "runs": runs,
                "arrangements": _arrangements(envelope),
            }
        ]
    loads = []
    for name, fields in envelope.of_vehicles.items():
        mine = [
            (int(start), run)
            for start, run in zip(starts, envelope.runs, strict=False)
            if run.vehicle.name == name
        ]
        local = np.zeros(envelope.n_positions + 1, dtype=np.uint32)
        count = 0
        for start, run in mine:
            local[start : start + len(run)] = np.arange(count + 1, count + 1 + len(run))
            count += len(run)
        found = _fields(fields, order, read, local)
        runs = [_run(run) for _, run in mine]
        loads.append({"name": name, "kind": "vehicle", "fields": found, "runs": runs})
    return loads


def _fields(
    fields: FieldEnvelope, order: Ints, read: Reads, local: NDArray[np.uint32]
) -> list[dict[str, Any]]:
    """Envelopes of the six results; local : (n + 1,) numbers as the page has them, its last that
    of the empty deck."""
    e = fields.extremes
    return [
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


def _arrangements(envelope: TrafficEnvelope) -> dict[str, Any]:
    """Every arrangement as its order and the load position of each lane, and the orders."""
    model = envelope.model
    lanes = (envelope.arrangements.shape[1] - 1) // 2
    rows = envelope.arrangements[:, : 1 + lanes]
    return {
        "lanes": lanes,
        "rows": pack(rows.astype(np.int32).ravel()),
        "orders": [
            {
                "factor": model.sets[lane_set].factor,
                "lanes": [
                    {"name": model.kinds[k].name, "factor": model.kinds[k].factor} for k in kinds
                ],
            }
            for lane_set, kinds in arrangement_orders(model)
        ],
    }


def _light_enough(loads: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The loads, the last first without what governs at every point where the page would get too
    heavy, then left out."""

    def size() -> int:
        fields = [f[x] for load in loads for f in load["fields"] for x in f]
        rows = [load["arrangements"]["rows"] for load in loads if "arrangements" in load]
        return sum(len(f["v"]) + len(f.get("at", "")) for f in fields) + sum(map(len, rows))

    for load in reversed(loads):
        if size() <= LARGEST:
            break
        load.pop("arrangements", None)
        load["runs"] = []
        for f in load["fields"]:
            for x in f:
                del f[x]["at"]
    while len(loads) > 1 and size() > LARGEST:
        loads.pop()
    return loads


def _run(run: LoadPositions) -> dict[str, Any]:
    spreads = np.zeros(len(run)) if run.spreads is None else run.spreads
    return {
        "vehicle": run.vehicle.name,
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
    """The governing values of every case of traffic, to go to."""
    return [
        {
            "load": case.name,
            "whole": case.envelope.whole,
            "component": row.component,
            "extreme": row.extreme,
            "at": list(row.at),
            "point": int(np.flatnonzero(order == row.point)[0]),
            "value": row.value,
            "error": None if row.error is None or not np.isfinite(row.error) else row.error,
            "place": place(result.deck, row.at),
        }
        for case in result.traffic
        for row in case.governing
        if row.position is not None
    ]


def _strips(result: Result) -> list[dict[str, Any]]:
    """Per vehicle or load model, strip and bay or cross line: the hand value furthest from zero
    [kNm/m]."""
    worst: dict[tuple[str, str, bool, int], Finding] = {}
    stations = np.array(result.deck.stations)
    if not len(stations):
        return []  # the page tells bays by C lines
    for finding in result.findings:
        # The field shown is m_x; of it sagging in bays and hogging over cross lines.
        sagging = finding.section.kind == "sagging"
        if finding.hand.value is None or finding.section.kind not in ("sagging", "hogging"):
            continue
        if finding.bars != "parallel":
            continue
        u = float(result.deck.plan.logical_station(np.array(finding.plate.at)))
        if sagging:
            index = int(np.clip(np.searchsorted(stations, u) - 1, 0, len(stations) - 2))
        else:
            index = int(np.argmin(np.abs(stations - u)))
        key = (finding.load, finding.hand.strip, sagging, index)
        if key not in worst or abs(finding.hand.value) > abs(worst[key].hand.value or 0.0):
            worst[key] = finding
    return [
        {
            "vehicle": vehicle,
            "strip": strip,
            "sagging": sagging,
            "index": index,
            "value": 1e-3 * (one.hand.value or 0.0),
        }
        for (vehicle, strip, sagging, index), one in worst.items()
    ]
