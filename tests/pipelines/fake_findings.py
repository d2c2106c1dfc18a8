"""Findings made by hand."""

from typing import Any

import numpy as np

from pipelines.findings.finding import Finding, PlateValue
from pipelines.strips.hand_strip import HandStrip
from pipelines.strips.sections import Section
from pipelines.traffic.arrangements import Arrangement, LoadPosition
from pipelines.traffic.positions import WheelPatches


def fake(ratio: float | None, *, peak: float = 20e3, **changes: Any) -> Finding:
    """A finding whose strip has so many times the plate's peak [N m/m]; changes are of the finding,
    or of its strip with hand_ before the name, or of the plate's value with plate_ before it."""
    given: dict[str, dict[str, Any]] = {"hand": {}, "plate": {}, "": {}}
    for key, value in changes.items():
        part, _, name = key.partition("_")
        given[part if part in given else ""][name if part in given else key] = value
    section = Section(
        kind="sagging",
        place=given[""].pop("place", "bay C1–C2"),
        where="",
        effect="sagging, bars along, soffit",
        component=1,
        sign=1,
        points=np.zeros(0, dtype=np.int64),
        lines=("C1", "C2"),
    )
    hand: dict[str, Any] = {
        "strip": "hand method",
        "clause": "clause <9>",
        "edition": "2020",
        "span": 3.0,
        "width": 2.0,
        "width_of": "axle",
        "effect": "sagging",
        "value": None if ratio is None else peak * ratio,
        "reason": "",
        "station": 1.4,
        "direction": "forward",
        "chosen": True,
    }
    position = LoadPosition(vehicle="lorry", direction="forward", station=1.5, offset=0.1)
    plate: dict[str, Any] = {
        "component": 1,
        "peak": peak,
        "at": (1.5, 0.2),
        "position": Arrangement.of(position),
        "held": WheelPatches(np.zeros((0, 4, 2)), np.zeros(0), np.zeros(0, dtype=np.intp)),
        "mean": 15e3,
        "mean_width": 2.0,
        "depth_mean": 17e3,
        "total": 60e3,
        "coexisting": (20e3, 3.21e3, -0.123e3),
        "beam_range": None,
        "point": 0,
        "number": 0,
    }
    row: dict[str, Any] = {
        "reference": "F1",
        "bars": "parallel",
        "section": section,
        "load": "lorry",
        "whole_model": False,
        "hand": HandStrip(**(hand | given["hand"])),
        "plate": PlateValue(**(plate | given["plate"])),
    }
    return Finding(**(row | given[""]))
