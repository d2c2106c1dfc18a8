"""values.csv: one row a value: governing ones, results asked for by name, reactions, beams, in
static cases and under all traffic, with the parts of their tolerances.

The report has of each the traffic that makes most of it.
"""

import csv
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from pipelines.analysis.result import Result, TrafficResult
from pipelines.caution import TO_VERIFY
from pipelines.envelopes.peaks import UNITS
from pipelines.system.files import plain_cell
from pipelines.units import RESULT_KEYS

UNIT = {key.removesuffix("_mm"): unit for key, unit in zip(RESULT_KEYS, UNITS, strict=True)}
PARTS = (
    *("error", "error_mesh", "error_step", "error_step_is", "theory_difference"),
    "above_steps",
)
COLUMNS = (
    *("kind", "name", "load", "load_mark", "result", "extreme", "unit", "value"),
    *PARTS,
    *("station_m", "offset_m", "along_beam_m", "load_position", "caution"),
)
Row = dict[str, Any]


def write_values(path: Path, result: Result, summary: Mapping[str, Any]) -> None:
    """Write values.csv; what is not known stays empty."""
    with path.open("w", encoding="utf-8", newline="") as file:
        rows = csv.DictWriter(file, COLUMNS, restval="")
        rows.writeheader()
        for row in values_table(result, summary):
            cells = {key: _cell(value) for key, value in row.items() if value is not None}
            rows.writerow(cells)


def values_table(result: Result, summary: Mapping[str, Any]) -> Iterator[Row]:
    """Rows by COLUMNS, those that are told first in the report first."""
    yield from (row | {"caution": TO_VERIFY} for row in _rows(result, summary))


def _rows(result: Result, summary: Mapping[str, Any]) -> Iterator[Row]:
    for case in result.traffic:
        for peak in case.governing:
            entry = peak.entry()
            at = dict(zip(("station_m", "offset_m"), entry["at_m"], strict=True))
            row = {"kind": "governing", "load": case.name, "result": peak.result, **at}
            row["load_mark"] = load_mark(case)
            yield {**row, **_extreme(peak.extreme, entry), "unit": peak.unit}
    yield from _static(summary)
    yield from _sums(summary)
    for name, entry in summary.get("own_results", {}).items():
        told = {"kind": "user's", "name": name, "load_mark": entry["mark"]}
        yield {**told, "unit": entry["unit"], "value": entry["value"]}
    for case in result.traffic:
        mark = load_mark(case)
        for row in _of_traffic(case.name, traffic_entries(summary, case)):
            yield {**row, "load_mark": mark}


def load_mark(case: TrafficResult) -> str:
    """How far the numbers of a case of traffic are to be trusted; of vehicles that drive alone for
    each that has a mark."""
    model = case.envelope.model
    if case.envelope.whole:
        return model.mark
    vehicles = (vehicle for kind in model.kinds for vehicle in kind.vehicles if vehicle.mark)
    return "; ".join(f"{vehicle.name}: {vehicle.mark}" for vehicle in vehicles)


def traffic_entries(summary: Mapping[str, Any], case: TrafficResult) -> Mapping[str, Any]:
    """What stands in the summary under a case of traffic: probes, reactions, beams."""
    if case.envelope.whole:
        entries: Mapping[str, Any] = summary["load_models"][case.name]
        return entries
    return {
        "probes": {
            name: entry["envelope"]
            for name, entry in summary["probes"].items()
            if "envelope" in entry
        },
        "reactions": summary["reaction_envelopes"],
        "beams": summary["beam_envelopes"],
    }


def _static(summary: Mapping[str, Any]) -> Iterator[Row]:
    """Values in the static cases."""
    for name, entry in summary["probes"].items():
        for case, values in entry["cases"].items():
            sides = values.get("sides", {}).items()
            told = [(case, values), *((f"{case}, {side} the line", one) for side, one in sides)]
            for load, one in told:
                for key in RESULT_KEYS:
                    yield {
                        **_named("by name", name, load, key),
                        "value": one[key],
                        "error": one["error"][key],
                        "theory_difference": one.get("theory_difference", {}).get(key),
                    }
    for case, values in summary["reactions"].items():
        for name, value in values.items():
            support = "all together" if name == "total_kN" else name
            yield {**_named("reaction", support, case, "reaction"), "value": value}
    for name, cases in summary["beams"].items():
        for case, entry in cases.items():
            for extreme in ("max", "min"):
                row = _named("beam", name, case, "moment")
                value, along = entry[f"moment_{extreme}_kNm"], entry[f"at_{extreme}_m"]
                yield {**row, "extreme": extreme, "value": value, "along_beam_m": along}


def _sums(summary: Mapping[str, Any]) -> Iterator[Row]:
    """Values in the sums of static cases: of stages, and those asked for."""
    stages, asked = summary.get("stages", {}), summary.get("sums", {})
    named = [(f"stage {n}" if "modular_ratio" in e else n, e) for n, e in stages.items()]
    for load, entry in (*named, *((f"sum {name}", one) for name, one in asked.items())):
        mark = {"load_mark": entry.get("mark")}
        for name, values in entry["probes"].items():
            for key in RESULT_KEYS:
                yield {**_named("by name", name, load, key), **mark, "value": values[key]}
        for name, value in entry["reactions"].items():
            support = "all together" if name == "total_kN" else name
            yield {**_named("reaction", support, load, "reaction"), **mark, "value": value}
        for name, values in entry["beams"].items():
            for extreme in ("max", "min"):
                row = _named("beam", name, load, "moment") | mark
                value, along = values[f"moment_{extreme}_kNm"], values[f"at_{extreme}_m"]
                yield {**row, "extreme": extreme, "value": value, "along_beam_m": along}


def _of_traffic(load: str, entries: Mapping[str, Any]) -> Iterator[Row]:
    """Values under a case of traffic."""
    for name, results in entries["probes"].items():
        for key in RESULT_KEYS:
            for extreme in ("max", "min"):
                row = _named("by name", name, load, key)
                yield {**row, **_extreme(extreme, results[key][extreme])}
    for name, ends in entries["reactions"].items():
        for extreme in ("max", "min"):
            row = _named("reaction", name, load, "reaction")
            yield {**row, **_extreme(extreme, ends[extreme])}
    for name, results in entries["beams"].items():
        for key, told in (("moment_kNm", "moment"), ("shear_kN", "shear")):
            for extreme in ("max", "min"):
                one = results[key][extreme]
                row = _named("beam", name, load, told)
                yield {**row, **_extreme(extreme, one), "along_beam_m": one["at_m"]}


def _named(kind: str, name: str, load: str, key: str) -> Row:
    short = key.removesuffix("_mm")
    unit = {"moment": "kNm", "shear": "kN", "reaction": "kN", **UNIT}[short]
    return {"kind": kind, "name": name, "load": load, "result": short, "unit": unit}


def _extreme(extreme: str, entry: Mapping[str, Any]) -> Row:
    """A value of an envelope with its tolerance and where its loads stand."""
    parts = {key: entry[key] for key in PARTS}
    where = _loads(entry)
    return {"extreme": extreme, "value": entry["value"], **parts, "load_position": where}


def _loads(entry: Mapping[str, Any]) -> str:
    """Where the loads of an entry of the summary stand, lane by lane."""
    if entry["lanes"]:
        return "; ".join(
            f"{lane['lane']} at {lane['lane_offset_m']:.6g} m x {lane['factor']:.4g}: "
            + (_vehicle(lane) if lane["vehicle"] else "no vehicle")
            for lane in entry["lanes"]
        )
    return _vehicle(entry) if entry["vehicle"] else "empty deck"


def _vehicle(entry: Mapping[str, Any]) -> str:
    at = f"first axle at {entry['station_m']:.6g}, {entry['offset_m']:.6g} m"
    return f"{entry['vehicle']} {entry['direction']}, {at}"


def _cell(value: Any) -> Any:
    if isinstance(value, float):
        return f"{value:.6g}"
    return plain_cell(value) if isinstance(value, str) else value
