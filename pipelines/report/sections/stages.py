"""Stages of the deck's life and sums of static cases: the slab of every stage, and what is left of
a deck's history at result points and along beams."""

from collections.abc import Iterator, Mapping
from typing import Any

from pipelines.analysis.result import Result
from pipelines.deck.words import line_title
from pipelines.numbers import as_given, as_result, length, number
from pipelines.report.document import Block, Paragraph, Symbol, Table, Words, table
from pipelines.report.sections.tables import RESULT_HEADS
from pipelines.standards.actions.loads import cited
from pipelines.units import RESULT_KEYS

RULE = (
    "Each case is solved on the model of its stage; results are sums of what each stage adds. "
    "Fresh concrete is handed to beams and supports as by formwork that runs over them; its weight "
    "makes no moment in the slab, which hardens without stress, and between the beams its "
    "deflection follows theirs. A modular ratio is E of the beams over E of the slab, and changes "
    "the slab alone. Traffic finds the slab of the stage short-term."
)


def stages_section(result: Result, entries: Mapping[str, Any]) -> tuple[Block, ...]:
    """Stages and sums; nothing of a deck that has neither."""
    stages: Mapping[str, Any] = entries.get("stages", {})
    sums: Mapping[str, Any] = entries.get("sums", {})
    found: list[Block] = []
    if stages:
        found += [_stages(result, stages), Paragraph(RULE)]
    of_stages = {f"stage {n}" if "modular_ratio" in e else n: e for n, e in stages.items()}
    of_sums = {cited(f"sum {name}", entry["mark"]): entry for name, entry in sums.items()}
    every = {**of_stages, **of_sums}
    if sums:
        found.append(_factors(sums))
    if every:
        found += _at_points(result, every)
        found += _along_beams(result, every)
    return tuple(found)


def _stages(result: Result, stages: Mapping[str, Any]) -> Table:
    rows: list[list[Words]] = []
    for name, entry in stages.items():
        if "modular_ratio" not in entry:
            continue
        fresh = entry["modular_ratio"] is None
        rows.append(
            [
                name,
                "fresh, on the beams alone" if fresh else "hardened, joined to the beams as stated",
                "–" if fresh else number(entry["slab_E_GPa"]),
                "–" if fresh else number(entry["modular_ratio"]),
                ", ".join(entry["factors"]),
            ]
        )
    heads = ["Stage", "Slab", "E of the slab [GPa]", "Modular ratio", "Cases"]
    return table("Stages of the deck's life", heads, rows, numeric=(2, 3), wide=(4,))


def _factors(sums: Mapping[str, Any]) -> Table:
    rows = [
        [
            name,
            " + ".join(f"{as_given(f)} × {case}" for case, f in entry["factors"].items()),
            cited(entry["source"], entry["mark"]),
        ]
        for name, entry in sums.items()
    ]
    heads: list[Words] = ["Sum", "Factors and cases", "Stated by"]
    return table("Sums asked for", heads, rows, wide=(1,))


def _at_points(result: Result, every: Mapping[str, Any]) -> Iterator[Table]:
    rows: list[list[Words]] = []
    for probe in result.deck.probes:
        for name, entry in every.items():
            values = entry["probes"][probe.name]
            row: list[Words] = [probe.name, name, *(as_result(values[k]) for k in RESULT_KEYS)]
            row += [as_result(values[k]) for k in ("n_x", "n_y") if k in values]
            rows.append(row)
    if rows:
        heads: list[Words] = ["Result point", "Of", *RESULT_HEADS]
        if len(rows[0]) > len(heads):
            heads += [(Symbol("n", axis), " [kN/m]") for axis in ("x", "y")]
        caption = "Sums at result points (n: tension positive)"
        yield table(caption, heads, rows, numeric=range(2, len(heads)))


def _along_beams(result: Result, every: Mapping[str, Any]) -> Iterator[Table]:
    rows: list[list[Words]] = []
    beams = [line.name for line in result.deck.lines if line.beam is not None]
    for beam in beams:
        for name, entry in every.items():
            e = entry["beams"][beam]
            row: list[Words] = [line_title(result.deck, beam), name]
            for end in ("max", "min"):
                row.append(f"{as_result(e[f'moment_{end}_kNm'])} at {length(e[f'at_{end}_m'])}")
            row.append(f"{as_result(e['shear_max_kN'])} / {as_result(e['shear_min_kN'])}")
            if "axial_max_kN" in e:
                row.append(f"{as_result(e['axial_max_kN'])} / {as_result(e['axial_min_kN'])}")
            else:
                row.append("–")
            rows.append(row)
    if rows:
        heads = ["Beam", "Of", "M max [kNm] at [m]", "M min [kNm] at [m]"]
        heads += ["V max / min [kN]", "N max / min [kN]"]
        caption = (
            "Sums along beams: moments of the beam about its own centroid, sagging positive; axial "
            "force of a connected beam, tension positive; at = from the line's first end"
        )
        yield table(caption, heads, rows, numeric=range(2, 6))
