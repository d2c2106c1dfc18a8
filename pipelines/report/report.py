"""The report: one HTML file that stands alone, from a finished run."""

import hashlib
from collections.abc import Mapping, Sequence
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

import numpy as np

from pipelines.envelopes.peaks import Governing, clear_of_lines
from pipelines.files import write_text
from pipelines.numbers import given, number
from pipelines.report.data.summary import summary
from pipelines.report.drawings.input_plan import sketch
from pipelines.report.drawings.plan import static_loads
from pipelines.report.drawings.vehicles import vehicle_drawing
from pipelines.report.explorer.page import explorer
from pipelines.report.page import bullets, figure, page, paragraph, section, table, text
from pipelines.report.sections.bars import bars_section, not_covered
from pipelines.report.sections.bars_words import bars_words
from pipelines.report.sections.detailing import asbuilt_section, detailing_section
from pipelines.report.sections.fields import case_results, envelope_plans, line_sections
from pipelines.report.sections.findings import (
    finding_words,
    findings_table,
    first_findings,
    strips_section,
)
from pipelines.report.sections.input import axle_table, beam_sections, cases_table, line_table
from pipelines.report.sections.load_models import models_section
from pipelines.report.sections.reconciliation import reconciliation_section
from pipelines.report.sections.shear import shear_section
from pipelines.report.sections.tables import (
    beam_tables,
    equilibrium_table,
    governing_table,
    probe_tables,
    reaction_table,
    singular_table,
)
from pipelines.report.sections.tolerances import TOLERANCE_RULE, governing_parts, probe_parts
from pipelines.report.sections.widths import widths_section
from pipelines.report.sections.words import (
    CAUTIONS,
    PROBE_RULE,
    SHEAR_RULE,
    assumptions,
    caution_words,
    conventions,
    slab_note,
)
from pipelines.result import Result
from pipelines.traffic.positions import dispersed


def write_report(path: Path, result: Result) -> None:
    """Write the report of a run; `path` is replaced as a whole once it is finished.

    The file refers to nothing outside itself and is the same from run to run of the same deck.
    """
    write_text(path, report(result))


def report(result: Result, entries: dict[str, Any] | None = None) -> str:
    """The report as HTML; entries : those of summary.json where they are made already."""
    deck = result.deck
    entries = summary(result) if entries is None else entries
    parts = [
        ("finding", "Finding and cautions", _finding(result)),
        ("governing", "Governing values", _governing(result, result.governing)),
        ("explore", "Look at any point and section", explorer(result)),
        ("input", "Input", _input(result)),
        ("actions", "Actions", _actions(result)),
        ("load-models", "Load models", models_section(result)),
        ("model", "Model and stiffness", _model(result, entries)),
        ("equilibrium", "Equilibrium", equilibrium_table(entries) if result.cases else ""),
        ("envelopes", "Envelopes in plan", envelope_plans(result, result.governing)),
        ("cases", "Static cases", case_results(result)),
        ("lines", "Envelopes along lines", line_sections(result)),
        ("strips", "Strips beside the plate", strips_section(result)),
        ("widths", "Back-figured widths", widths_section(result)),
        ("reconciliation", "Reconciliation, step by step", reconciliation_section(result)),
        ("probes", "Probes", _probes(result, entries)),
        ("reactions", "Reactions", _reactions(result, entries)),
        ("beams", "Beams", "\n".join(beam_tables(deck, entries))),
        ("bars", "Bars", bars_section(result)),
        ("shear", "Shear without links and punching", shear_section(result)),
        ("detailing", "Detailing", detailing_section(result)),
        ("as-built", "As-built check", asbuilt_section(result)),
        ("assumptions", "Assumptions", assumptions(deck, result.built.notes)),
        ("not-covered", "Not covered", bullets(not_covered(result))),
        ("source", "Program and input", _source(result)),
    ]
    parts = [part for part in parts if part[2]]
    body = "\n".join(section(*part) for part in parts)
    lead = "Deck slab under wheels: plate analysis, envelopes and hand strips"
    header = f'<h1>{text(deck.title)}</h1>\n<p class="lead">{lead}</p>'
    end = f"{text(CAUTIONS[0])}"
    contents = [(name, title) for name, title, _ in parts]
    return page(deck.title, header, contents, body, end)


def _finding(result: Result) -> str:
    cautions = '<div class="caution" role="note"><p><strong>Cautions</strong></p>'
    cautions += bullets([*caution_words(result.deck), *result.deck.warnings]) + "</div>"
    words = "".join(paragraph(w) for w in finding_words(result.findings, result.no_findings))
    if result.design is not None:
        words += paragraph(f"Bars. {text(bars_words(result.design))}")
    if not result.findings:
        return words + cautions
    first = [(one, 1) for one in first_findings(result.findings)]
    caption = (
        f"The worst of each effect, of {len(result.findings)} comparisons, worst first, "
        "small values last"
    )
    more = '<p><a href="#strips">All comparisons</a></p>'
    return words + cautions + findings_table(first, caption) + more


def _governing(result: Result, rows: Sequence[Governing]) -> str:
    if not rows:
        return ""
    assert result.envelopes is not None
    count = result.envelopes.n_positions
    intro = f"Largest and smallest of {count} load positions, single vehicles. {SHEAR_RULE}"
    plan = result.solver.recovery.points.plan
    clear = clear_of_lines(result.solver, result.deck.slab.thickness)
    read = [bool(clear[np.all(plan == np.array(row.at), axis=1)].any()) for row in rows]
    parts = governing_parts(result.deck, rows)
    return (
        conventions()
        + paragraph(intro)
        + governing_table(result.deck, rows, read)
        + (parts + paragraph(TOLERANCE_RULE) if parts else "")
    )


def _input(result: Result) -> str:
    lines = "C lines cross the deck at the stations, L lines run along it."
    if not result.deck.plan.is_grid:
        lines = "The outline's edges E1, E2, … are numbered in the order of its corners."
    caption = (
        "<strong>Plan of the model</strong>, seen from above: x (stations) to the right, y "
        f"(offsets) down the page; lengths in m. {lines} {text(slab_note(result.deck))}"
    )
    if not result.deck.plan.chart.straight:
        caption += (
            " The deck is curved: stations are arc lengths at offset 0, and components are along "
            "the local tangent and the growing offset."
        )
    return figure("plan-input", sketch(result.deck), caption) + line_table(result.deck)


def _actions(result: Result) -> str:
    deck = result.deck
    parts = []
    if deck.cases:
        parts.append(cases_table(deck))
        drawing = static_loads(deck)
        if drawing:
            caption = "<strong>Patches and line loads</strong> of the static cases"
            parts.append(figure("plan-static-loads", drawing, caption))
    traffic = deck.traffic
    for k, vehicle in enumerate(traffic.vehicles if traffic else ()):
        assert traffic is not None
        drawing = vehicle_drawing(vehicle, f"vehicle-{k + 1}")
        impact = "" if vehicle.impact == 1.0 else f" Loads include impact × {vehicle.impact:g}."
        caption = (
            f"<strong>{text(vehicle.name)}</strong>, travelling to the right, lengths in m."
            f"{impact} Source: {text(vehicle.source)}."
        )
        patches = [dispersed(a.patch, traffic, deck.slab.thickness) for a in vehicle.axles]
        parts.append(f"<h3>{text(vehicle.name)}</h3>")
        parts.append(figure(f"drawing-vehicle-{k + 1}", drawing, caption))
        parts.append(axle_table(vehicle, patches))
    if not parts:
        parts.append(paragraph("The deck file has no loads."))
    return "\n".join(parts)


def _model(result: Result, entries: Mapping[str, Any]) -> str:
    deck, facts = result.deck, entries["model"]
    slab = deck.slab
    Dx, Dy, D1, Dxy = result.built.model.section.rigidities
    rows = [
        ["Theory", text({"mindlin": "Mindlin", "kirchhoff": "Kirchhoff"}[slab.theory])],
        ["Thickness", f"{given(1e3 * slab.thickness)} mm"],
        ["E, ν", f"{number(1e-9 * slab.E)} GPa, {given(slab.poisson)}"],
        [
            "Factors on D<sub>x</sub>, D<sub>y</sub>, D<sub>xy</sub>",
            ", ".join(map(given, slab.stiffness)),
        ],
        [
            "D<sub>x</sub>, D<sub>y</sub>, D<sub>1</sub>, D<sub>xy</sub>",
            ", ".join(number(1e-3 * d) for d in (Dx, Dy, D1, Dxy)) + " kNm",
        ],
        ["Elements", f"{facts['cells']} quadrilaterals of order {facts['order']}"],
        ["Largest side of an element", f"{number(facts['size_m'])} m"],
        ["Degrees of freedom", str(facts["degrees_of_freedom"])],
        ["Result points", str(facts["result_points"])],
        ["Load positions", str(facts["load_positions"])],
    ]
    if facts["load_model_positions"]:
        rows.append(["of load models", str(facts["load_model_positions"])])
    parts = [table("Slab and mesh", ["What", "Value"], rows), beam_sections(deck)]
    if result.built.notes:
        parts.append(bullets(result.built.notes))
    parts.append(singular_table(entries))
    return "\n".join(parts)


def _probes(result: Result, entries: Mapping[str, Any]) -> str:
    tables = probe_tables(result.deck, entries)
    parts = probe_parts(result.deck, entries)
    return "\n".join([*tables, paragraph(PROBE_RULE), *parts]) if tables else ""


def _reactions(result: Result, entries: Mapping[str, Any]) -> str:
    if not (result.cases or "reaction_envelopes" in entries):
        return ""
    return reaction_table(result.deck, entries)


def _source(result: Result) -> str:
    path = Path(result.deck.path)
    try:
        digest = hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError:
        digest = "the file could not be read when the report was written"
    try:
        release = version("deckslab")
    except PackageNotFoundError:
        release = "not installed as a package"
    drawn = "" if result.design is None else ", bars.dxf (sections and zones of the bars)"
    rows = [
        ["Program", f"deckslab {text(release)}"],
        ["Deck file", f"<code>{text(path.name)}</code>"],
        ["sha256 of the deck file", f"<code>{digest}</code>"],
        ["Beside this report", "summary.json (all tables), fields.vtu (all fields)" + drawn],
    ]
    return table("Program and input", ["What", "Value"], rows)
