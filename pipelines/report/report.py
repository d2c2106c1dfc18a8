"""The report as a document, from a finished run and what was computed for it."""

import hashlib
from collections.abc import Callable, Iterable, Iterator, Mapping
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

from pipelines.analysis.result import Result, TrafficResult
from pipelines.caution import CAUTION
from pipelines.deck.deck import Deck
from pipelines.deck.traffic import Traffic
from pipelines.envelopes.picked_surfaces import PickedSurfaces
from pipelines.findings.back_figured_widths import width_fields
from pipelines.numbers import as_given, number
from pipelines.report.again import Again
from pipelines.report.document import (
    Block,
    Bullets,
    Code,
    Document,
    Figure,
    Paragraph,
    Section,
    Strong,
    Table,
    Words,
    joined,
    table,
)
from pipelines.report.drawings.input_plan import input_plan
from pipelines.report.drawings.plan import static_loads
from pipelines.report.drawings.vehicles import vehicle_drawing
from pipelines.report.explorer.page import explorer
from pipelines.report.sections.arching import arching_section
from pipelines.report.sections.as_built import as_built_section
from pipelines.report.sections.assumptions import assumptions
from pipelines.report.sections.bars import bars_section
from pipelines.report.sections.bars_words import bars_findings
from pipelines.report.sections.cracked import cracked_section
from pipelines.report.sections.detailing import detailing_section
from pipelines.report.sections.factors import factors_section
from pipelines.report.sections.fields import case_results, line_sections
from pipelines.report.sections.findings import strips_section
from pipelines.report.sections.first_page import comparison_table, first_page
from pipelines.report.sections.input import axle_table, beam_sections, cases_table, line_table
from pipelines.report.sections.limits import not_covered
from pipelines.report.sections.load_models import models_section
from pipelines.report.sections.load_test import load_test_sections
from pipelines.report.sections.reconciliation import reconciliation_section
from pipelines.report.sections.shear import shear_section
from pipelines.report.sections.stages import stages_section
from pipelines.report.sections.tables import (
    beam_tables,
    equilibrium_table,
    governing_table,
    own_results_table,
    probe_tables,
    reaction_tables,
    singular_table,
    uncertain_words,
    unread_words,
)
from pipelines.report.sections.tolerances import TOLERANCE_RULE, governing_parts
from pipelines.report.sections.widths import widths_section
from pipelines.report.sections.words import (
    D_1,
    D_X,
    D_XY,
    D_Y,
    PROBE_RULE,
    case_title,
    conventions,
    shear_rule,
    slab_note,
)
from pipelines.traffic.positions import dispersed


def report(
    result: Result,
    entries: Mapping[str, Any],
    surfaces: PickedSurfaces,
    again: Again,
    plans: Callable[[], tuple[Block, ...]],
) -> Document:
    """The report of a run, the same from run to run of the same deck.

    entries : those of summary.json; surfaces : influence surfaces to look at; again : what sections
    show of the run without its probes, and of the plate alone; plans : those of the envelopes,
    asked for last.
    """
    deck = result.deck

    def rest(show: Callable[[Result], Iterable[Block]]) -> tuple[Block, ...]:
        return again.section(show, again.but_probes)

    def plate(show: Callable[[Result], Iterable[Block]]) -> tuple[Block, ...]:
        return again.section(show, again.of_plate)

    summary: list[tuple[str, str, Iterable[Block]]] = [
        ("finding", "Finding", rest(first_page)),
        ("input", "Plan of the model", _input(result)),
        ("governing", "Governing values", _governing(result)),
        ("comparison", "Other methods beside the strip", _comparison(result)),
        ("bars-summary", "Bars by check", rest(bars_findings)),
        ("assumptions", "Assumptions", (assumptions(deck, result.built.notes),)),
        ("not-covered", "Not covered", (Bullets(_not_covered(result, entries)),)),
        ("explore", "Look at any point and section", explorer(result, surfaces)),
    ]
    record: list[tuple[str, str, Iterable[Block]]] = [
        ("lines-of-the-plan", "Lines of the plan", (line_table(deck),)),
        ("actions", "Actions", _actions(result)),
        ("factors", "Factors and national choices", factors_section(deck)),
        ("load-models", "Load models", plate(models_section)),
        ("model", "Model and stiffness", _model(result, entries)),
        ("equilibrium", "Equilibrium", (equilibrium_table(entries),) if result.cases else ()),
        ("values", "Values of other traffic, parts of tolerances", _values(result)),
        ("envelopes", "Envelopes in plan", _last(plans)),
        ("cases", "Static cases", case_results(result)),
        ("stages", "Stages and sums of static cases", stages_section(result, entries)),
        ("cracked", "Cracked stiffness, iterated", cracked_section(entries)),
        ("lines", "Envelopes along lines", rest(line_sections)),
        ("strips", "Strips beside the plate", rest(strips_section)),
        ("widths", "Back-figured widths", rest(_widths)),
        ("reconciliation", "Reconciliation, step by step", rest(reconciliation_section)),
        ("probes", "Results asked for by name", _probes(result, entries)),
        ("reactions", "Reactions", _reactions(result, entries)),
        ("beams", "Beams", beam_tables(result, entries)),
        ("bars", "Bars", rest(bars_section)),
        ("shear", "Shear without links and punching", rest(shear_section)),
        ("arching", "Arching and the empirical method", rest(arching_section)),
        ("detailing", "Detailing", rest(detailing_section)),
        ("as-built", "As-built check", rest(as_built_section)),
        ("load-tests", "Load tests", load_test_sections(result.load_tests)),
        ("source", "Program and input", (_source(result),)),
    ]
    return Document(
        title=deck.title,
        lead="Deck slab under wheels: plate analysis, envelopes and hand strips",
        front=(),
        sections=_sections(summary),
        end=CAUTION,
        record=_sections(record),
    )


def _last(blocks: Callable[[], Iterable[Block]]) -> Iterator[Block]:
    """Blocks that others make meanwhile: asked for once all else is there."""
    yield from blocks()


def _sections(parts: Iterable[tuple[str, str, Iterable[Block]]]) -> tuple[Section, ...]:
    return tuple(Section(name, title, tuple(blocks)) for name, title, blocks in parts)


def _not_covered(result: Result, entries: Mapping[str, Any]) -> tuple[str, ...]:
    return not_covered(result.deck, singular=bool(entries["singular_places"]))


def _governing(result: Result) -> tuple[Block, ...]:
    """Governing values of the leading case of traffic."""
    return () if result.leading is None else (*_case_values(result, result.leading),)


def _values(result: Result) -> tuple[Block, ...]:
    """Governing values of the other cases of traffic, and the parts of the leading one's
    tolerances."""
    found: list[Block] = [conventions(result.deck)] if result.traffic else []
    stated = False
    for case in result.traffic:
        own: tuple[Block, ...]
        if case is result.leading:
            parts = governing_parts(result.deck, case)
            stated = parts is not None
            own = () if parts is None else (parts,)
        else:
            own = tuple(_case_values(result, case))
        if own:
            found.append(Section("", case_title(case), own))
    return (*found, Paragraph(TOLERANCE_RULE)) if stated else tuple(found)


def _case_values(result: Result, case: TrafficResult) -> Iterator[Block]:
    count = f"Largest and smallest of {case.envelope.n_positions} load positions"
    kind = ", combined lane by lane." if case.envelope.whole else ", one vehicle at a time."
    yield Paragraph(f"{count}{kind} {shear_rule(result.deck)}")
    yield governing_table(result, case)
    if case.uncertain:
        yield Paragraph(uncertain_words(case))
    if case.unread:
        yield Paragraph(unread_words(result.deck, case))


def _comparison(result: Result) -> tuple[Block, ...]:
    found = comparison_table(result)
    return () if found is None else (found,)


def _input(result: Result) -> tuple[Block, ...]:
    lines = "C lines cross the deck at the stations, L lines run along it."
    if not result.deck.plan.is_grid:
        lines = "The outline's edges E1, E2, … are numbered in the order of its corners."
    of_x, of_y = (" (stations)", " (offsets)") if result.deck.plan.is_grid else ("", "")
    caption = (
        f", seen from above: x{of_x} to the right, y{of_y} down the page; lengths in m. "
        f"{lines} {slab_note(result.deck)}"
    )
    if result.deck.traffic is not None and result.deck.traffic.axis is not None:
        caption += (
            " Stations and offsets of traffic are lengths along the carriageway's axis, from the "
            "dot on, and distances from it, positive to the right of traffic."
        )
    if not result.deck.plan.alignment.straight:
        caption += (
            " The deck is curved: stations are arc lengths at offset 0, and components are along "
            "the local tangent and the growing offset."
        )
    title = Strong("Plan of the model")
    return (Figure("plan-input", input_plan(result.deck), (title, caption)),)


def _actions(result: Result) -> tuple[Block, ...]:
    deck = result.deck
    parts: list[Block] = []
    if deck.cases:
        parts.append(cases_table(deck))
        drawing = static_loads(deck)
        if drawing is not None:
            words = (Strong("Patches and line loads"), " of the static cases")
            parts.append(Figure("plan-static-loads", drawing, words))
    if deck.traffic is not None:
        parts += _vehicles(deck, deck.traffic)
    return tuple(parts) or (Paragraph("The deck file has no loads."),)


def _vehicles(deck: Deck, traffic: Traffic) -> Iterator[Block]:
    """Every vehicle that drives alone, drawn and as a table of its axles."""
    for k, vehicle in enumerate(traffic.vehicles, start=1):
        impact = "" if vehicle.impact == 1.0 else f" Loads include impact × {vehicle.impact:g}."
        caption = f", travelling to the right, lengths in m.{impact} Source: {vehicle.cited}."
        patches = [dispersed(a.patch, traffic, deck.slab.thickness) for a in vehicle.axles]
        own = (
            Figure(
                f"drawing-vehicle-{k}",
                vehicle_drawing(vehicle, f"vehicle-{k}"),
                (Strong(vehicle.name), caption),
            ),
            axle_table(vehicle, patches),
        )
        yield Section("", vehicle.name, own)


def _model(result: Result, entries: Mapping[str, Any]) -> tuple[Block, ...]:
    deck, facts = result.deck, entries["model"]
    slab = deck.slab
    Dx, Dy, D1, Dxy = result.built.model.section.rigidities
    rows: list[tuple[Words, str]] = [
        ("Theory", {"mindlin": "Mindlin", "kirchhoff": "Kirchhoff"}[slab.theory]),
        ("Thickness", f"{as_given(1e3 * slab.thickness)} mm"),
        ("E, ν", f"{number(1e-9 * slab.E)} GPa, {as_given(slab.poisson)}"),
        (
            ("Factors on ", *joined(", ", (D_X, D_Y, D_XY))),
            ", ".join(map(as_given, slab.stiffness)),
        ),
        (
            joined(", ", (D_X, D_Y, D_1, D_XY)),
            ", ".join(number(1e-3 * d) for d in (Dx, Dy, D1, Dxy)) + " kNm",
        ),
        ("Elements", f"{facts['cells']} quadrilaterals of order {facts['order']}"),
        ("Largest side of an element", f"{number(facts['size_m'])} m"),
        ("Degrees of freedom", str(facts["degrees_of_freedom"])),
        ("Result points", str(facts["result_points"])),
        ("Load positions", str(facts["load_positions"])),
    ]
    if facts["load_model_positions"]:
        rows.append(("of load models", str(facts["load_model_positions"])))
    parts = [
        table("Slab and mesh", ["What", "Value"], rows),
        beam_sections(deck),
        Bullets(result.built.notes) if result.built.notes else None,
        singular_table(entries),
    ]
    return tuple(part for part in parts if part is not None)


def _widths(result: Result) -> tuple[Block, ...]:
    envelopes = [case.envelope for case in result.traffic]
    return widths_section(result, width_fields(result.solved, envelopes, result.findings))


def _probes(result: Result, entries: Mapping[str, Any]) -> tuple[Block, ...]:
    tables = probe_tables(result, entries)
    own = own_results_table(entries)
    found: tuple[Block, ...] = (*tables, Paragraph(PROBE_RULE)) if tables else ()
    return found if own is None else (*found, own)


def _reactions(result: Result, entries: Mapping[str, Any]) -> tuple[Block, ...]:
    return tuple(reaction_tables(result, entries))


def _source(result: Result) -> Table:
    path = Path(result.deck.path)
    try:
        digest = hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError:
        digest = "the file could not be read when the report was written"
    try:
        release = version("deckslab")
    except PackageNotFoundError:
        release = "not installed as a package"
    drawn = "" if result.design is None else ", bars.dxf (drawings of the bars), bar_schedule.csv"
    rows: list[list[Words]] = [
        ["Program", f"deckslab {release}"],
        ["Deck file", Code(path.name)],
        ["sha256 of the deck file", Code(digest)],
        [
            "Beside this report",
            "summary.json and values.csv (all values), fields.vtu (all fields)" + drawn,
        ],
    ]
    return table("Program and input", ["What", "Value"], rows)
