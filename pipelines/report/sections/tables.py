"""Tables of the report, in m, mm, kN, kNm/m and kN/m, to three figures."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from pipelines.analysis.result import Result, TrafficResult
from pipelines.deck.deck import Deck
from pipelines.deck.words import at_text, line_title, place, support_title
from pipelines.envelopes.peaks import SHEARS, UNITS, Peak, headline_points
from pipelines.numbers import as_result, length, number
from pipelines.report.document import (
    Break,
    Strong,
    Table,
    Together,
    Words,
    lines,
    table,
)
from pipelines.report.sections.most import load_head, most_entries, most_title
from pipelines.report.sections.positions import load_text
from pipelines.report.sections.words import SYMBOLS, values_title
from pipelines.units import RESULT_KEYS, RESULT_SCALE

RESULT_HEADS: list[Words] = [
    (SYMBOLS[key.removesuffix("_mm")], f" [{unit}]")
    for key, unit in zip(RESULT_KEYS, UNITS, strict=True)
]


# Edges of a wedge in words.
SUPPORT_WORDS = {
    "simple": "simply supported",
    "clamped": "clamped",
    "free": "free",
    "held": "held beam",
    "crossed": "crossing beams",
    "kinked": "kinked beam",
}


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


def governing_table(result: Result, case: TrafficResult) -> Table:
    """Largest and smallest value of every result over the deck under a case of traffic; shears in
    brackets where they are not to be read."""
    deck, clear = result.deck, result.solved.clear_of_lines
    body = []
    for row in case.governing:
        coexisting = [as_result(v) for v in row.coexisting]
        if not clear[row.point]:
            coexisting = [f"({v})" if k in SHEARS else v for k, v in enumerate(coexisting)]
        body.append(
            [
                SYMBOLS[row.result],
                row.extreme,
                (
                    Strong(number(row.value)),
                    f"{tolerance(row.error)} {row.unit}{over_width_words(row)}",
                ),
                lines((place(deck, row.at), Together(at_text(row.at)))) if row.position else "–",
                load_text(row.position),
                *(coexisting if row.position else ["–"] * 6),
            ]
        )
    heads: list[Words] = ["Result", "", "Value", "Place; station, offset [m]", load_head(result)]
    with_heads: list[Words] = [("with ", head) for head in RESULT_HEADS]
    caption = (
        f"{values_title(case, len(result.traffic))} over the deck, and what coexists at the same "
        "place and time (shears in brackets: within one thickness of an edge or line, not to be "
        "read)"
    )
    if any(row.over_width for row in case.governing):
        caption += (
            "; hogging over supports whose width is stated where it counts for the slab, at their "
            "faces or a quarter of the width off, beside it the value of a knife edge over the "
            "width"
        )
    return table(
        caption,
        [*heads, *with_heads],
        body,
        numeric=(2, *range(5, 11)),
        wide=(3, 4),
    )


def over_width_words(peak: Peak) -> str:
    """What of hogging is larger over the widths of supports, after the value that counts; "" where
    nothing is."""
    more = peak.over_width
    if more is None:
        return ""
    return f"; over the width {number(more.value)}{tolerance(more.error)} at {at_text(more.at)}"


def uncertain_words(case: TrafficResult) -> str:
    """What is no governing value since it may be wrong by more than itself; "" where nothing is."""
    if not case.uncertain:
        return ""
    listed = [
        f"{peak.result} {peak.extreme}{' over the width of a support' if peak.knife_edge else ''} "
        f"({number(peak.value)}{tolerance(peak.error)} {peak.unit} at "
        f"{at_text(peak.at)})"
        for peak in case.uncertain
    ]
    return f"Left out, as uncertain by more than themselves: {'; '.join(listed)}."


def unread_words(deck: Deck, case: TrafficResult) -> str:
    """Larger moments that are not read, with their values; "" where there are none."""
    if not case.unread:
        return ""
    listed = [
        f"{one.result} {number(one.value)} {one.unit} ({place(deck, one.at_m)}, at "
        f"{at_text(one.at_m)})"
        for one in case.unread
    ]
    return (
        "Not read, within a thickness of places of infinite moments, where a finer mesh has more, "
        f"{case.name}: {'; '.join(listed)}. The value a thickness off stands for them; for a "
        "beam's hold or crossing that is the mean of about two thicknesses."
    )


def equilibrium_table(summary: Mapping[str, Any]) -> Table:
    """Load and reactions of every static case."""
    rows = [
        [
            name,
            number(e["load_kN"]),
            number(e["reaction_kN"]),
            number(e["relative_error"]) if e["load_kN"] else "no load",
        ]
        for name, e in summary["equilibrium"].items()
    ]
    heads = ["Case", "Load on the slab [kN]", "Sum of reactions [kN]", "Difference / load"]
    caption = "Equilibrium: reactions are from the elements' own forces, not from the load put in"
    return table(caption, heads, rows, numeric=(1, 2, 3))


def singular_table(summary: Mapping[str, Any]) -> Table | None:
    """Places where moments are infinite; None where there are none."""
    rows = []
    for one in summary["singular_places"]:
        first, last = (SUPPORT_WORDS[edge] for edge in one["edges"])
        rows.append(
            [
                at_text(tuple(one["at_m"])),
                f"{one['angle_deg']:.0f}",
                first if first == last else f"{first} / {last}",
                "ln r"
                if one["edges"][0] in ("held", "crossed")
                else f"{2.0 - one['exponent']:.2f}",
                length(one["mean_width_m"]),
            ]
        )
    if not rows:
        return None
    caption = (
        "Singular places: moments grow without bound there and are not read within one thickness; "
        "a result asked for there along a segment is the mean over the width"
    )
    heads = ["Station, offset [m]", "Angle [°]", "Edges"]
    heads += ["Moments as 1/r to the power", "Width of means [m]"]
    return table(caption, heads, rows, numeric=(1, 3, 4))


def reaction_tables(result: Result, summary: Mapping[str, Any]) -> list[Table]:
    """Upward reactions of static cases, and of every case of traffic."""
    deck, cases = result.deck, summary["reactions"]
    caption = "Reactions [kN], upward on the slab positive (a negative value is uplift)"
    found = []
    if cases:
        names = dict.fromkeys(n for case in cases.values() for n in case if n != "total_kN")
        rows = [
            [
                support_title(deck, name),
                *(as_result(case[name]) if name in case else "–" for case in cases.values()),
            ]
            for name in names
        ]
        rows.append(["all together", *(as_result(case["total_kN"]) for case in cases.values())])
        heads = ["Support", *cases]
        found.append(table(f"{caption}: static cases", heads, rows, numeric=range(1, len(heads))))
    body: list[list[Words]] = []
    for (name,), ends in most_entries(result, summary, "reactions"):
        row: list[Words] = [support_title(deck, name)]
        for one in ends:
            row += [as_result(one.entry["value"]), one.words]
        body.append(row)
    if body:
        heads = ["Support", "max", load_head(result), "min", load_head(result)]
        words = f"{caption}: {most_title(result)}"
        found.append(table(words, heads, body, numeric=(1, 3), wide=(0, 2, 4)))
    return found


def beam_tables(result: Result, summary: Mapping[str, Any]) -> list[Table]:
    """Extreme moments and shears of the beams: static cases, then every case of traffic."""
    deck = result.deck
    found: list[Table] = []
    cases = [*summary["equilibrium"]]
    if not summary["beams"]:
        return found
    if cases:
        rows = []
        for name, entries in summary["beams"].items():
            row: list[Words] = [line_title(deck, name)]
            for case in cases:
                e = entries[case]
                row.append(
                    (
                        f"{as_result(e['moment_max_kNm'])} at {length(e['at_max_m'])}",
                        Break(),
                        f"{as_result(e['moment_min_kNm'])} at {length(e['at_min_m'])}",
                    )
                )
            rows.append(row)
        heads = ["Beam", *(case for case in cases)]
        caption = "Beam moments [kNm], max and min with the distance from the line's first end [m]"
        found.append(table(f"{caption}: static cases", heads, rows, numeric=range(1, len(heads))))
    rows = []
    for (name, key), ends in most_entries(result, summary, "beams"):
        row = [
            line_title(deck, name),
            {"moment_kNm": "moment [kNm]", "shear_kN": "shear [kN]"}[key],
        ]
        for one in ends:
            value = as_result(one.entry["value"]) + tolerance(one.entry["error"])
            row += [value, length(one.entry["at_m"]), one.words]
        rows.append(row)
    if rows:
        head = load_head(result)
        heads = ["Beam", "", "max", "at [m]", head, "min", "at [m]", head]
        caption = (
            f"Beam moments and shears: {most_title(result)}; sagging positive, at = from the first "
            "end"
        )
        found.append(table(caption, heads, rows, numeric=(2, 3, 5, 6), wide=(4, 7)))
    return found


def probe_tables(result: Result, summary: Mapping[str, Any]) -> list[Table]:
    """Results asked for by name: where they are, static cases, every case of traffic."""
    deck = result.deck
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
        where.append([str(i + 1), probe.name, words])
    found = [table("Where they are asked for", ["No.", "Name", "Place [m]"], where)]
    rows = []
    for name, entry in summary["probes"].items():
        for case, values in entry["cases"].items():
            rows.append([name, case, *_with_tolerances(values)])
            for side, one in values.get("sides", {}).items():
                words = f"{case}, {side} the line"
                rows.append([name, words, *_with_tolerances(one)])
    if rows:
        heads = ["Name", "Case", *RESULT_HEADS]
        found.append(table("Asked for by name: static cases", heads, rows, numeric=range(2, 8)))
    body: list[list[Words]] = []
    results = dict(zip(RESULT_KEYS, RESULT_HEADS, strict=True))
    for (name, key), ends in most_entries(result, summary, "probes"):
        row: list[Words] = [name, results[key]]
        for one in ends:
            value = as_result(one.entry["value"]) + tolerance(one.entry["error"])
            row += [value, one.words]
        body.append(row)
    if body:
        head = load_head(result)
        caption = f"Asked for by name: {most_title(result)} (at a line the mean of both sides)"
        heads = ["Name", "Result", "max", head, "min", head]
        found.append(table(caption, heads, body, numeric=(2, 4), wide=(0, 3, 5)))
    return found


def own_results_table(summary: Mapping[str, Any]) -> Table | None:
    """Results that code of the user's own makes of them."""
    rows: list[list[Words]] = [
        [
            f"{name} ({entry['mark']})",
            entry["reason"] if entry["value"] is None else number(entry["value"]),
            entry["unit"],
            entry["source"],
        ]
        for name, entry in summary.get("own_results", {}).items()
    ]
    if not rows:
        return None
    heads: list[Words] = ["Name", "Value", "Unit", "Source"]
    return table("Results of the user's own", heads, rows, numeric=(1,))


def _with_tolerances(values: Mapping[str, Any]) -> list[str]:
    """The six results of a probe in one case."""
    return [as_result(values[k]) + tolerance(values["error"][k]) for k in RESULT_KEYS]


def fresh_cases(deck: Deck) -> set[str]:
    """Cases that fresh concrete carries: it has a deflection, no moments."""
    if deck.stages is None:
        return set()
    return {case.name for case in deck.cases if case.stage == "wet concrete"}


def case_table(deck: Deck, result: Result) -> Table:
    """Largest and smallest results of every static case over the slab, off singular places."""
    plan, headlines = result.solved.recovery.points.plan, headline_points(result.solved)
    rows, fresh = [], fresh_cases(deck)
    for name, response in result.cases.items():
        for k, (head, read) in enumerate(zip(RESULT_HEADS, headlines, strict=True)):
            if name in fresh and k > 0:
                break
            values = response.fields[k, :, 0] * RESULT_SCALE[k]
            allowed = np.flatnonzero(read)
            row: list[Words] = [name, head]
            for point in (allowed[values[allowed].argmax()], allowed[values[allowed].argmin()]):
                at = (float(plan[point, 0]), float(plan[point, 1]))
                row += [as_result(float(values[point])), f"{place(deck, at)}; {at_text(at)}"]
            rows.append(row)
    heads = ["Case", "Result", "largest", "at [m]", "smallest", "at [m]"]
    caption = "Static cases: largest and smallest values over the slab"
    return table(caption, heads, rows, numeric=(2, 4), wide=(3, 5))
