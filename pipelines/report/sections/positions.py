"""Where loads stand, as they are entered again: positions of vehicles, arrangements of lanes."""

from collections.abc import Mapping
from typing import Any

from pipelines.numbers import length
from pipelines.report.document import Strong, Words, lines
from pipelines.traffic.arrangements import Arrangement, LoadedLane, LoadPosition


def position_text(at: LoadPosition) -> str:
    """A load position as it is entered again: vehicle, direction, station and offset."""
    spacing = f", variable spacing + {length(at.spread)}" if at.spread > 0.0 else ""
    return (
        f"{at.vehicle}, {at.direction}, first axle at {length(at.station)}, {length(at.offset)}"
        f"{spacing}"
    )


def load_text(at: Arrangement | None, *, named: bool = False) -> Words:
    """A load position, or the lanes of a load model from left to right, line by line.

    named : whether the load model's name stands before its lanes.
    """
    if at is None:
        return "empty deck"
    if at.single is not None:
        return position_text(at.single)
    lanes = [lane.words.replace(" -", " −") for lane in at.lanes]
    factor = at.factor
    rows: list[Words] = [Strong(at.model)] if named else []
    if abs(factor - 1.0) >= 1e-9:
        rows.append(f"all lanes × {factor:.3g}:")
    return lines([*rows, *lanes])


def entry_text(entry: Mapping[str, Any]) -> Words:
    """`load_text` of an entry of the summary."""
    if entry["lanes"]:
        lanes = tuple(
            LoadedLane(lane["lane"], lane["factor"], _position(lane), lane["lane_offset_m"])
            for lane in entry["lanes"]
        )
        return load_text(Arrangement(model="", whole=True, lanes=lanes, factor=entry["factor"]))
    at = _position(entry)
    return "empty deck" if at is None else position_text(at)


def _position(entry: Mapping[str, Any]) -> LoadPosition | None:
    if entry["vehicle"] is None:
        return None
    return LoadPosition(
        vehicle=entry["vehicle"],
        direction=entry["direction"],
        station=entry["station_m"],
        offset=entry["offset_m"],
        spread=entry.get("spread_m") or 0.0,
    )
