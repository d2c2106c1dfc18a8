"""The report's section on load models: what they are, where they govern, drawn and in words."""

import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch, Polygon
from matplotlib.path import Path
from numpy.typing import NDArray

from pipelines.deck.words import at_text, place
from pipelines.envelopes.arrangements import ModelEnvelope, ModelPosition
from pipelines.envelopes.model_peaks import ModelPeak
from pipelines.envelopes.peaks import SHEARS, clear_of_lines
from pipelines.numbers import number, reading
from pipelines.report.drawings.canvas import draw
from pipelines.report.drawings.contour_plans import ContourPlans, PlanField
from pipelines.report.drawings.cuts import field_map
from pipelines.report.drawings.plan import (
    LOAD_INK,
    closed,
    deck_canvas,
    faint_lines,
    frame,
    line_names,
    outline,
    traced,
)
from pipelines.report.page import SYMBOLS, bullets, figure, paragraph, table, text, together
from pipelines.report.sections.tables import RESULT_HEADS, tolerance
from pipelines.report.sections.vehicle_list import model_words
from pipelines.result import Result
from pipelines.units import RESULT_KEYS, RESULT_SCALE

Floats = NDArray[np.float64]

DRAWN = (("m_x", "max"), ("m_x", "min"), ("m_y", "max"))
INTRO = (
    "Each load model acts as a whole: its lanes stand anywhere on the carriageway in any order and "
    "keep their distances, every lane's vehicle takes its own worst station, distributed loads act "
    "on adverse parts only, and of its sets of lanes the worst governs. Characteristic values with "
    "the model's own factors for lanes, presence, impact and joints; no partial and no combination "
    "factor. ± numerical tolerance of the mesh; step: what refining the governing arrangement "
    "continuously may add."
)
PRESSED = "#e3d3df"


def arrangement_text(position: ModelPosition) -> str:
    """The arrangement lane by lane, from left to right."""
    lanes = "<br>".join(text(lane.words.replace(" -", " −")) for lane in position.lanes)
    factor = position.factor
    return lanes if abs(factor - 1.0) < 1e-9 else f"all lanes × {factor:.3g}:<br>{lanes}"


def models_section(result: Result) -> str:
    """Every load model of the deck file with its governing values; "" without one."""
    if not result.models:
        return ""
    parts = [paragraph(INTRO)]
    clear = clear_of_lines(result.solver, result.deck.slab.thickness)
    plans = ContourPlans(result.deck, field_map(result.solver), clear)
    for envelope, peaks in zip(result.models, result.model_peaks, strict=True):
        parts.append(f"<h3>{text(envelope.model.name)}</h3>")
        parts.append(bullets(model_words(envelope.model)))
        parts.append(paragraph(f"Source: {envelope.model.source}."))
        parts.append(_peaks_table(result, envelope, peaks))
        for k, peak in enumerate(peaks):
            if (RESULT_KEYS[peak.component], peak.extreme) in DRAWN:
                name = f"arrangement-{result.models.index(envelope) + 1}-{k + 1}"
                parts.append(_envelope_plan(result, plans, envelope, peak, name))
                caption = (
                    f"<strong>{SYMBOLS[RESULT_KEYS[peak.component]]} {peak.extreme}</strong>, "
                    f"{text(envelope.model.name)}: {number(peak.value)} {peak.unit} at the ring, "
                    f"{text(place(result.deck, peak.at))}.<br>{arrangement_text(peak.position)}"
                )
                if len(peak.held.load) > len(envelope.wheels(peak.number).load):
                    caption += ". Shaded: where distributed load is adverse and acts"
                drawing = arrangement_drawing(result, envelope, peak, name)
                parts.append(figure(f"plan-{name}", drawing, f"{caption}."))
    return "\n".join(parts)


def _envelope_plan(
    result: Result, plans: ContourPlans, envelope: ModelEnvelope, peak: ModelPeak, name: str
) -> str:
    """The envelope over all arrangements in plan."""
    extremes, k = envelope.fields.extremes, peak.component
    values = extremes.maximum[k] if peak.extreme == "max" else extremes.minimum[k]
    key, model = RESULT_KEYS[k], text(envelope.model.name)
    drawing = plans.plan(
        PlanField(
            f"envelope-{name}",
            f"{key} {peak.extreme}, {envelope.model.name}",
            peak.unit,
            values * RESULT_SCALE[k],
            peak.extreme,
            peak.value,
            peak.at,
        )
    )
    caption = (
        f"<strong>{SYMBOLS[key]} {peak.extreme}</strong> [{peak.unit}], {model}: envelope, each "
        "point under its own worst arrangement of lanes. Below, the arrangement at the ring."
    )
    return figure(f"plan-envelope-{name}", drawing, caption)


def _peaks_table(result: Result, envelope: ModelEnvelope, peaks: tuple[ModelPeak, ...]) -> str:
    body = []
    for peak in peaks:
        step = "–" if peak.step_error is None else number(peak.step_error)
        coexisting = [
            f"({reading(v)})" if k in SHEARS and peak.component not in SHEARS else reading(v)
            for k, v in enumerate(peak.coexisting)
        ]
        body.append(
            [
                RESULT_HEADS[peak.component],
                peak.extreme,
                f"<strong>{number(peak.value)}</strong>{tolerance(peak.error)} {peak.unit}",
                step,
                f"{text(place(result.deck, peak.at))}<br>{together(at_text(peak.at))}",
                arrangement_text(peak.position),
                *coexisting,
            ]
        )
    heads = [
        "Result",
        "",
        "Value",
        "Step",
        "Place; station, offset [m]",
        "Lanes from left to right, middle and first axle [m]",
        *(f"with {head}" for head in RESULT_HEADS),
    ]
    caption = (
        f"{envelope.model.name}: governing values over the deck, and what coexists at the same "
        "place in the same arrangement (shears in brackets: not to be read near lines)"
    )
    return table(caption, heads, body, numeric=(2, 3, *range(6, 12)), wide=(4, 5))


def arrangement_drawing(result: Result, envelope: ModelEnvelope, peak: ModelPeak, name: str) -> str:
    """Wheels and distributed load of an arrangement on the plan, the peak ringed."""
    deck = result.deck
    room = deck_canvas(deck, 1.0, 0.45)
    wheels = len(envelope.wheels(peak.number).load)

    def paint(sheet: Figure) -> None:
        axes = room.axes(sheet)
        frame(axes, deck)
        outline(axes, deck, "#f8f6f1")
        slab = _slab(axes, result)
        for rings in _pressed(peak.held.corners[wheels:]):
            path = Path.make_compound_path(*(Path(closed(deck, r), closed=True) for r in rings))
            patch = PathPatch(path, fc=PRESSED, ec="none", zorder=3.5)
            axes.add_patch(patch)
            patch.set_clip_path(slab)
        faint_lines(axes, deck)
        line_names(axes, deck, (0.5, 0.5))
        _kerbs(axes, result)
        for corners in peak.held.corners[:wheels]:
            axes.add_patch(
                Polygon(closed(deck, corners), fc="white", ec=LOAD_INK, lw=1.1, zorder=7)
            )
        x, y = deck.plan.chart.to_cartesian(np.array(peak.at))
        axes.plot(x, y, "o", ms=9, mfc="none", mec="#b3261e", mew=1.4, zorder=9)

    words = f"{envelope.model.name}, {peak.position.words}: wheels and distributed load in plan."
    return draw(name, words, room.size, paint)


def _pressed(corners: Floats) -> list[list[Floats]]:
    """Rings (k, 2) in plan round the loaded area of cells (n, 4, 2), outer ones first, part by
    part."""
    area = shapely.union_all(shapely.polygons(corners), grid_size=1e-6)
    return [
        [np.array(ring.coords)[:-1] for ring in (part.exterior, *part.interiors)]
        for part in shapely.get_parts(area)
        if isinstance(part, shapely.Polygon)
    ]


def _slab(axes: Axes, result: Result) -> Polygon:
    slab = Polygon(closed(result.deck, result.deck.plan.outline), fc="none", ec="none")
    axes.add_patch(slab)
    return slab


def _kerbs(axes: Axes, result: Result) -> None:
    assert result.deck.traffic is not None
    low, high = result.deck.plan.outline[:, 0].min(), result.deck.plan.outline[:, 0].max()
    for y in result.deck.traffic.carriageway:
        path = traced(result.deck, np.array([[low, y], [high, y]]))
        axes.plot(*path.T, color="#777777", lw=0.7, ls=(0, (6, 3)), zorder=5)
