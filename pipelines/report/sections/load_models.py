"""The report's section on load models: what they are, and where they stand where they govern."""

from collections.abc import Sequence

from pipelines.analysis.result import Result, TrafficResult
from pipelines.deck.words import place
from pipelines.envelopes.peaks import Peak
from pipelines.numbers import number
from pipelines.report.document import (
    Block,
    Break,
    Bullets,
    Figure,
    Paragraph,
    Section,
    Strong,
    Words,
)
from pipelines.report.drawings.arrangements import arrangement_drawing
from pipelines.report.sections.most import most_governing
from pipelines.report.sections.positions import load_text
from pipelines.report.sections.vehicle_list import model_words
from pipelines.report.sections.words import SYMBOLS
from pipelines.standards.actions.loads import LoadModel

DRAWN = (("m_x", "max"), ("m_x", "min"), ("m_y", "max"))


def intro(models: Sequence[LoadModel]) -> str:
    """How load models act, in words."""
    words = "Each load model acts as a whole: "
    if any(len(lane_set.kinds) > 1 for model in models for lane_set in model.sets):
        words += (
            "its lanes stand anywhere on the carriageway in any order and keep their distances, "
            "every lane's vehicle takes its own worst station, "
        )
    else:
        words += "its vehicle stands anywhere on the carriageway, "
    if any(model.has_pressure for model in models):
        words += "distributed loads act on adverse parts only, "
    return (
        f"{words}and of its sets of lanes the worst governs. Characteristic values with the "
        "model's own factors for lanes, presence, impact and joints; no partial and no combination "
        "factor."
    )


def models_section(result: Result) -> tuple[Block, ...]:
    """Every load model of the deck file, and the arrangements that make most of moments in plan."""
    parts: list[Block] = []
    drawn = [
        most
        for most in most_governing(result)
        if (most.peak.result, most.peak.extreme) in DRAWN and most.peak.position is not None
    ]
    for k, case in enumerate(result.traffic, start=1):
        if not case.envelope.whole:
            continue
        model = case.envelope.model
        own: list[Block] = [
            Bullets(tuple(model_words(model))),
            Paragraph(f"Source: {model.cited}."),
        ]
        own += [
            _arrangement(result, case, most.peak, f"arrangement-{k}-{most.order}")
            for most in drawn
            if most.number == k
        ]
        parts.append(Section("", case.name, tuple(own)))
    models = [case.envelope.model for case in result.traffic if case.envelope.whole]
    return (Paragraph(intro(models)), *parts) if parts else ()


def _arrangement(result: Result, case: TrafficResult, peak: Peak, name: str) -> Figure:
    """The arrangement that governs a value, drawn and in words."""
    caption: list[Words] = [
        Strong((SYMBOLS[peak.result], f" {peak.extreme}")),
        f", {case.name}: {number(peak.value)} {peak.unit} at the ring, "
        f"{place(result.deck, peak.at)}.",
        Break(),
        load_text(peak.position),
    ]
    if len(peak.held.load) > len(case.envelope.wheels(peak.number).load):
        caption.append(". Shaded: where distributed load is adverse and acts")
    drawing = arrangement_drawing(result, case.envelope, peak, name)
    return Figure(f"plan-{name}", drawing, (*caption, "."))
