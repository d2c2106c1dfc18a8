"""summary.json: the numbers of a run in the units of the deck file."""

import json
import math
import os
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pipelines.deck import Deck
from pipelines.envelopes import Envelopes, with_sums
from pipelines.probes import BeamRows, ProbeRows, point_result
from pipelines.responses import Response
from plate.conventions import RESULTS

Floats = NDArray[np.float64]
Json = Any

SCHEMA = 1
RESULT_KEYS = ("w_mm", *RESULTS[1:])
RESULT_SCALE = (1e3, 1e-3, 1e-3, 1e-3, 1e-3, 1e-3)


def case_probes(probes: ProbeRows, response: Response) -> dict[str, Json]:
    """name -> results of one case, with both `sides` where a probe lies on a division."""
    values = {n: point_result(v[:, 0]) for n, v in probes.values(response.probes).items()}
    found: dict[str, Json] = {}
    for name in plain_names(probes):
        found[name] = dict(values[name])
        if f"{name}/before" in values:
            found[name]["sides"] = {s: values[f"{name}/{s}"] for s in ("before", "after")}
    return found


def plain_names(probes: ProbeRows) -> list[str]:
    """Names of the probes themselves, in the deck's order."""
    sides = {f"{n}/{s}" for n in probes.names for s in ("before", "after")}
    return [name for name in probes.names if name not in sides]


def governing(envelopes: Envelopes, value: float, number: int, scale: float) -> dict[str, Json]:
    """One entry of an envelope: value, error and the governing load position."""
    position = envelopes.position(number)
    if position is None:
        where: dict[str, Json] = dict.fromkeys(("vehicle", "station_m", "offset_m", "direction"))
    else:
        where = {
            "vehicle": position.vehicle,
            "station_m": round(position.station, 9),
            "offset_m": round(position.offset, 9),
            "direction": position.direction,
        }
    return {"value": value * scale, "error": None, **where}


def envelope_probes(probes: ProbeRows, envelopes: Envelopes) -> dict[str, Json]:
    """name -> component -> max, min with the governing load position."""
    e = envelopes.probes
    values = [probes.values(a) for a in (e.maximum, e.minimum)]
    places = [probes.values(a) for a in (e.at_maximum, e.at_minimum)]

    def entry(name: str, k: int) -> dict[str, Json]:
        high, low = (float(t[name][k]) for t in values)
        at_high, at_low = (int(t[name][k]) for t in places)
        scale = RESULT_SCALE[k]
        return {
            "max": governing(envelopes, high, at_high, scale),
            "min": governing(envelopes, low, at_low, scale),
        }

    found: dict[str, Json] = {}
    for name in plain_names(probes):
        found[name] = {key: entry(name, k) for k, key in enumerate(RESULT_KEYS)}
        if f"{name}/before" in values[0]:
            for k, key in enumerate(RESULT_KEYS):
                found[name][key]["sides"] = {
                    side: entry(f"{name}/{side}", k) for side in ("before", "after")
                }
    return found


def beam_case(beams: BeamRows, response: Response) -> dict[str, Json]:
    """Beam name -> extreme moments with their places and extreme shears of one case."""
    moments = beams.split(response.beam_moments[:, 0])
    shears = beams.split(response.beam_shears[:, 0])
    found = {}
    for name, at in zip(beams.names, beams.at, strict=True):
        M, V = moments[name], shears[name]
        found[name] = {
            "moment_max_kNm": float(M.max()) * 1e-3,
            "moment_min_kNm": float(M.min()) * 1e-3,
            "at_max_m": float(at[M.argmax()]),
            "at_min_m": float(at[M.argmin()]),
            "shear_max_kN": float(V.max()) * 1e-3,
            "shear_min_kN": float(V.min()) * 1e-3,
        }
    return found


def beam_envelope(beams: BeamRows, envelopes: Envelopes) -> dict[str, Json]:
    """Beam name -> extreme moments and shears of the traffic with place and load position."""
    found: dict[str, Json] = {name: {} for name in beams.names}
    for key, e in (("moment_kNm", envelopes.beam_moments), ("shear_kN", envelopes.beam_shears)):
        high, low = beams.split(e.maximum), beams.split(e.minimum)
        at_high, at_low = beams.split(e.at_maximum), beams.split(e.at_minimum)
        for name, at in zip(beams.names, beams.at, strict=True):
            i, j = int(high[name].argmax()), int(low[name].argmin())
            found[name][key] = {
                "max": governing(envelopes, float(high[name][i]), int(at_high[name][i]), 1e-3)
                | {"at_m": float(at[i])},
                "min": governing(envelopes, float(low[name][j]), int(at_low[name][j]), 1e-3)
                | {"at_m": float(at[j])},
            }
    return found


def reaction_case(response: Response) -> dict[str, float]:
    """total_kN and each support's upward reaction [kN]."""
    named = with_sums(response.reactions)
    total = sum(float(v[0]) for v in response.reactions.values())
    return {"total_kN": total * 1e-3} | {n: float(v[0]) * 1e-3 for n, v in named.items()}


def reaction_envelope(envelopes: Envelopes) -> dict[str, Json]:
    """Support name -> max, min upward reaction [kN] of the traffic with its load position."""
    e = envelopes.reactions
    return {
        name: {
            "max": governing(envelopes, float(e.maximum[k]), int(e.at_maximum[k]), 1e-3),
            "min": governing(envelopes, float(e.minimum[k]), int(e.at_minimum[k]), 1e-3),
        }
        for k, name in enumerate(envelopes.reaction_names)
    }


def equilibrium(response: Response) -> dict[str, float]:
    """Load on the slab, sum of reactions [kN] and their relative difference, of one case."""
    load = float(response.total[0])
    total = sum(float(v[0]) for v in response.reactions.values())
    error = abs(total - load) / abs(load) if load else abs(total)
    return {"load_kN": load * 1e-3, "reaction_kN": total * 1e-3, "relative_error": error}


def summarise(
    deck: Deck,
    probes: ProbeRows,
    beams: BeamRows,
    cases: dict[str, Response],
    envelopes: Envelopes | None,
    findings: Sequence[dict[str, Json]],
    model: dict[str, Json],
) -> dict[str, Json]:
    """Everything of summary.json, as plain values."""
    found: dict[str, Json] = {
        "schema": SCHEMA,
        "title": deck.title,
        "probes": {name: {"cases": {}} for name in plain_names(probes)},
        "reactions": {name: reaction_case(r) for name, r in cases.items()},
        "beams": {name: {} for name in beams.names},
        "equilibrium": {name: equilibrium(r) for name, r in cases.items()},
        "findings": list(findings),
        "model": model,
        "warnings": list(deck.warnings),
    }
    for case, response in cases.items():
        for name, values in case_probes(probes, response).items():
            found["probes"][name]["cases"][case] = values
        for name, values in beam_case(beams, response).items():
            found["beams"][name][case] = values
    if envelopes is not None:
        for name, entries in envelope_probes(probes, envelopes).items():
            found["probes"][name]["envelope"] = entries
        found["reaction_envelopes"] = reaction_envelope(envelopes)
        found["beam_envelopes"] = beam_envelope(beams, envelopes)
    return found


def finite(value: Json) -> Json:
    """The value with None for every number that is not finite."""
    if isinstance(value, dict):
        return {k: finite(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [finite(v) for v in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def write_text(path: Path, text: str) -> None:
    """Write a file so that a reader finds the old one or the new one, never a part."""
    write_bytes(path, text.encode())


def write_bytes(path: Path, data: bytes) -> None:
    """`write_text` for bytes."""
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        os.chmod(name, 0o644)
        os.replace(name, path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


def write_summary(path: Path, summary: dict[str, Json]) -> None:
    """Write summary.json."""
    write_text(path, json.dumps(finite(summary), indent=1, allow_nan=False) + "\n")
