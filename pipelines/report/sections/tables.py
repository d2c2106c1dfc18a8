"""Tables of the report, in m, mm, kN, kNm/m and kN/m, to three figures."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from pipelines.deck.deck import Deck
from pipelines.deck.words import at_text, line_title, place, support_title
from pipelines.envelopes.peaks import SHEARS, UNITS, Governing, clear_of_lines, readable
from pipelines.envelopes.single_vehicles import LoadPosition
from pipelines.numbers import length, number, reading
from pipelines.report.page import SYMBOLS, table, text, together
from pipelines.result import Result
from pipelines.units import RESULT_KEYS, RESULT_SCALE

RESULT_HEADS = [
    f"{SYMBOLS[key.removesuffix('_mm')]} [{unit}]"
    for key, unit in zip(RESULT_KEYS, UNITS, strict=True)
]


# Edges of a wedge in words.
SUPPORT_WORDS = {
    "simple": "simply supported",
    "clamped": "clamped",
    "free": "free",
    "held": "held beam",
}


def position_text(at: LoadPosition | None) -> str:
    """A load position as it is entered again: vehicle, direction, station and offset."""
    if at is None:
        return "empty deck"
    spacing = f", variable spacing + {length(at.spread)}" if at.spread > 0.0 else ""
    return text(
        f"{at.vehicle}, {at.direction}, first axle at {length(at.station)}, {length(at.offset)}"
        f"{spacing}"
    )


def tolerance(error: float | None) -> str:
    """ " ± " and a numerical tolerance to two figures, no finer than a thousandth of the unit; ""
    where there is none."""
    if error is None or not np.isfinite(error):
        return ""
    shown = float(f"{error:.2g}")
    if shown < 5e-4:
        return " ± 0.001"
    decimals = max(0, min(3, 1 - int(np.floor(np.log10(shown)))))
    return f" ± {shown:.{decimals}f}"


def entry_position(entry: Mapping[str, Any]) -> str:
    """`position_text` of an entry of the summary."""
    if entry["vehicle"] is None:
        return "empty deck"
    return position_text(
        LoadPosition(entry["vehicle"], entry["direction"], entry["station_m"], entry["offset_m"])
    )


def governing_table(deck: Deck, rows: Sequence[Governing], read: Sequence[bool]) -> str:
    """Largest and smallest value of every result over the deck.

    read : for each row whether shears are to be read there; if not they stand in brackets.
    """
    body = []
    for row, clear in zip(rows, read, strict=True):
        coexisting = [reading(v) for v in row.coexisting]
        if not clear:
            coexisting = [f"({v})" if k in SHEARS else v for k, v in enumerate(coexisting)]
        body.append(
            [
                SYMBOLS[row.result],
                row.extreme,
                f"<strong>{number(row.value)}</strong>{tolerance(row.error)} {row.unit}",
                f"{text(place(deck, row.at))}<br>{together(at_text(row.at))}"
                if row.position
                else "–",
                position_text(row.position),
                *(coexisting if row.position else ["–"] * 6),
            ]
        )
    heads = ["Result", "", "Value", "Place; station, offset [m]", "Load position [m]"]
    with_heads = [f"with {head}" for head in RESULT_HEADS]
    return table(
        "Governing values over the deck, and what coexists at the same place and load position "
        "(shears in brackets: within one thickness of an edge or line, not to be read)",
        [*heads, *with_heads],
        body,
        numeric=(2, *range(5, 11)),
        wide=(3, 4),
    )


def equilibrium_table(summary: Mapping[str, Any]) -> str:
    """Load and reactions of every static case."""
    rows = [
        [
            text(name),
            number(e["load_kN"]),
            number(e["reaction_kN"]),
            number(e["relative_error"]),
        ]
        for name, e in summary["equilibrium"].items()
    ]
    heads = ["Case", "Load on the slab [kN]", "Sum of reactions [kN]", "Difference / load"]
    caption = "Equilibrium: reactions are from the elements' own forces, not from the load put in"
    return table(caption, heads, rows, numeric=(1, 2, 3))


def singular_table(summary: Mapping[str, Any]) -> str:
    """Places where moments are infinite; "" where there are none."""
    rows = []
    for one in summary["singular_places"]:
        first, last = (SUPPORT_WORDS[edge] for edge in one["edges"])
        rows.append(
            [
                at_text(tuple(one["at_m"])),
                f"{one['angle_deg']:.0f}",
                first if first == last else f"{first} / {last}",
                "ln r" if one["edges"][0] == "held" else f"{2.0 - one['exponent']:.2f}",
                length(one["mean_width_m"]),
            ]
        )
    if not rows:
        return ""
    caption = (
        "Singular places: moments grow without bound there and are not read within one thickness; "
        "a probe there gives the mean over the width"
    )
    heads = ["Station, offset [m]", "Angle [°]", "Edges"]
    heads += ["Moments as 1/r to the power", "Width of means [m]"]
    return table(caption, heads, rows, numeric=(1, 3, 4), tall=len(rows) > 24)


def reaction_table(deck: Deck, summary: Mapping[str, Any]) -> str:
    """Upward reactions of static cases and traffic."""
    cases = summary["reactions"]
    envelope = summary.get("reaction_envelopes", {})
    names = dict.fromkeys(n for case in cases.values() for n in case if n != "total_kN")
    names |= dict.fromkeys(envelope)
    heads = ["Support", *(text(name) for name in cases)]
    if envelope:
        heads += ["traffic, max", "load position [m]", "traffic, min", "load position [m]"]
    rows = []
    for name in names:
        row = [text(support_title(deck, name))]
        row += [reading(case[name]) if name in case else "–" for case in cases.values()]
        if envelope:
            for extreme in ("max", "min"):
                entry = envelope[name][extreme]
                row += [reading(entry["value"]), entry_position(entry)]
        rows.append(row)
    if cases:
        total = ["all together", *(number(case["total_kN"]) for case in cases.values())]
        rows.append(total + ["–"] * (4 if envelope else 0))
    count = len(cases)
    caption = "Reactions [kN], upward on the slab positive (a negative value is uplift)"
    numeric = [*range(1, count + 2), count + 3]
    return table(caption, heads, rows, numeric=numeric, wide=(0, count + 2, count + 4))


def beam_tables(deck: Deck, summary: Mapping[str, Any]) -> list[str]:
    """Extreme moments and shears of the beams: static cases, then traffic."""
    found: list[str] = []
    cases = [*summary["equilibrium"]]
    if not summary["beams"]:
        return found
    if cases:
        rows = []
        for name, entries in summary["beams"].items():
            row = [text(line_title(deck, name))]
            for case in cases:
                e = entries[case]
                row.append(
                    f"{reading(e['moment_max_kNm'])} at {length(e['at_max_m'])}<br>"
                    f"{reading(e['moment_min_kNm'])} at {length(e['at_min_m'])}"
                )
            rows.append(row)
        heads = ["Beam", *(text(case) for case in cases)]
        caption = "Beam moments [kNm], max and min with the distance from the line's first end [m]"
        found.append(table(f"{caption}: static cases", heads, rows, numeric=range(1, len(heads))))
    envelope = summary.get("beam_envelopes")
    if envelope:
        rows = []
        for name, entries in envelope.items():
            for key, words in (("moment_kNm", "moment [kNm]"), ("shear_kN", "shear [kN]")):
                row = [text(line_title(deck, name)), words]
                for extreme in ("max", "min"):
                    e = entries[key][extreme]
                    value = reading(e["value"]) + tolerance(e["error"])
                    row += [value, length(e["at_m"]), entry_position(e)]
                rows.append(row)
        heads = ["Beam", "", *["max", "at [m]", "load position [m]"], *["min", "at [m]"]]
        heads.append("load position [m]")
        caption = "Beam moments and shears under traffic, sagging positive, at = from the first end"
        found.append(table(caption, heads, rows, numeric=(2, 3, 5, 6), wide=(4, 7)))
    return found


def probe_tables(deck: Deck, summary: Mapping[str, Any]) -> list[str]:
    """Probes: where they are, static cases, traffic with its load positions."""
    if not deck.probes:
        return []
    where = []
    for i, probe in enumerate(deck.probes):
        if probe.at is not None:
            words = f"point ({at_text(probe.at)})"
        else:
            assert probe.start is not None
            assert probe.end is not None
            words = f"mean along ({at_text(probe.start)}) to ({at_text(probe.end)})"
        where.append([str(i + 1), text(probe.name), words])
    found = [table("Probes on the plan", ["No.", "Name", "Place [m]"], where)]
    rows, traffic = [], []
    for name, entry in summary["probes"].items():
        for case, values in entry["cases"].items():
            rows.append([text(name), text(case), *_with_tolerances(values)])
            for side, one in values.get("sides", {}).items():
                words = f"{text(case)}, {side} the line"
                rows.append([text(name), words, *_with_tolerances(one)])
        for key, head in zip(RESULT_KEYS, RESULT_HEADS, strict=True):
            if "envelope" in entry:
                row = [text(name), head]
                for extreme in ("max", "min"):
                    one = entry["envelope"][key][extreme]
                    row += [reading(one["value"]) + tolerance(one["error"]), entry_position(one)]
                traffic.append(row)
    if rows:
        heads = ["Probe", "Case", *RESULT_HEADS]
        found.append(table("Probes: static cases", heads, rows, numeric=range(2, 8)))
    if traffic:
        heads = ["Probe", "Result", "max", "load position [m]", "min", "load position [m]"]
        caption = "Probes: traffic (at a line the mean of both sides)"
        found.append(
            table(caption, heads, traffic, numeric=(2, 4), wide=(0, 3, 5), tall=len(traffic) > 24)
        )
    return found


def _with_tolerances(values: Mapping[str, Any]) -> list[str]:
    """The six results of a probe in one case."""
    return [reading(values[k]) + tolerance(values["error"][k]) for k in RESULT_KEYS]


def case_table(deck: Deck, result: Result) -> str:
    """Largest and smallest results of every static case over the slab, off singular places."""
    plan = result.solver.recovery.points.plan
    everywhere = readable(result.solver, deck.slab.thickness)
    clear = everywhere & clear_of_lines(result.solver, deck.slab.thickness)
    rows = []
    for name, response in result.cases.items():
        for k, head in enumerate(RESULT_HEADS):
            values = response.fields[k, :, 0] * RESULT_SCALE[k]
            allowed = np.flatnonzero(clear if k in SHEARS and clear.any() else everywhere)
            row = [text(name), head]
            for point in (allowed[values[allowed].argmax()], allowed[values[allowed].argmin()]):
                at = (float(plan[point, 0]), float(plan[point, 1]))
                row += [reading(float(values[point])), f"{text(place(deck, at))}; {at_text(at)}"]
            rows.append(row)
    heads = ["Case", "Result", "largest", "at [m]", "smallest", "at [m]"]
    caption = "Static cases: largest and smallest values over the slab"
    return table(caption, heads, rows, numeric=(2, 4), wide=(3, 5), tall=len(rows) > 24)
