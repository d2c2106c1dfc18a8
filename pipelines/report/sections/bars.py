"""Section of the report on bars: demands, layers, choice, rules; and what the report leaves out."""

import numpy as np

from pipelines.bars.checks.bending_and_service import CREEP_SOURCE
from pipelines.bars.demand.moments import ROWS
from pipelines.bars.design import Design, LayerCheck, StandardDesign
from pipelines.deck.words import at_text, place
from pipelines.envelopes.peaks import clear_of_lines
from pipelines.numbers import given, number
from pipelines.report.drawings.bars import layer_name, layer_title, outer_words, section_drawing
from pipelines.report.drawings.contour_plans import ContourPlans, PlanField
from pipelines.report.drawings.cuts import field_map
from pipelines.report.page import figure, paragraph, table, text
from pipelines.report.sections.bars_actions import (
    beams_part,
    collision_part,
    fatigue_part,
    membrane_part,
)
from pipelines.report.sections.bars_words import (
    bars_words,
    load_text,
    moments_at,
    rounded_up,
    standard_of,
    traffic_words,
    used,
)
from pipelines.report.sections.words import NOT_COVERED as GENERAL
from pipelines.result import Result
from pipelines.standards.detailing.rules import Row
from pipelines.standards.resistance.bars import FACES
from pipelines.standards.sources import CAUTION, EDITIONS

UNITS = {
    "m": (1e3, "mm"),
    "m2/m": (1e6, "mm²/m"),
    "m2": (1e6, "mm²"),
    "N m/m": (1e-3, "kNm/m"),
    "N m": (1e-3, "kNm"),
    "N": (1e-3, "kN"),
    "Pa": (1e-6, "MPa"),
    "-": (1.0, ""),
}

FACTORS_HEAD = "γ<sub>c</sub>, γ<sub>s</sub>, α<sub>cc</sub>"
WITHOUT_BARS = (
    "Resistance: reinforcement, shear without links, punching, crack widths, stresses, fatigue: "
    "the deck file names no bars.",
)
WITH_BARS = (
    "Groups of traffic beyond single vehicles and load models each by itself: footways, braking; "
    "other lanes and distributed loads where the deck file names no load model of a standard's own "
    "family. Shear under a load model: of the arrangements that are worst for its parts in four "
    "directions.",
    "Stages change no stiffness: every case acts on the same model.",
    "Fatigue of concrete, of links, of bent or welded bars; by IRC:112 beyond the stress that "
    "needs no verification.",
    "Wheels on the kerb; collision where the deck file has no [collision], its vertical force "
    "where it states none.",
    "Shear beside supporting lines that are curved. Beams along lines where the deck file has no "
    "[[beam_bars]]; the joint of beam and slab. Laps. Links in the slab.",
    "Membrane forces in the utilisation of the findings table, in punching and in the as-built "
    "panels' own lever arms; the compression of the slab's outer layers and the core's shear in "
    "the layered method.",
    "Partial factors other than the recommended ones; national annexes.",
)


def not_covered(result: Result) -> tuple[str, ...]:
    """What the report leaves out, with or without bars."""
    return (*GENERAL, *(WITHOUT_BARS if result.design is None else WITH_BARS))


def bars_section(result: Result) -> str:
    """Bars at the ultimate and the serviceability limit states; "" for a deck without bars."""
    design = result.design
    if design is None:
        return ""
    bars = design.reinforcement.bars
    parts = [
        paragraph(bars_words(design)),
        paragraph(f"{CAUTION} {traffic_words(design)}"),
        _combinations(result, design),
        figure(
            "section-bars-along",
            section_drawing(bars, "x"),
            "<strong>Section along the deck</strong>, to scale, lengths in mm. Layer 1 is the one "
            "nearest to its face: B at the bottom, T at the top.",
        ),
        figure(
            "section-bars-across",
            section_drawing(bars, "y"),
            "<strong>Section across the deck</strong>, to scale, lengths in mm.",
        ),
        _layers(result, design),
        membrane_part(design),
        paragraph(
            "Wood and Armer's rule is formed at every load position with its coexisting moments, "
            "then enveloped; under a load model every term of the rule has its own worst "
            "arrangement of lanes. Where a position needs no bars in the other direction the value "
            "may be above the rule's own, never below. Gain: how much less that is than the rule "
            "on enveloped components. Face: the largest moment clear of the widths of supporting "
            f"lines, for reading. {moments_at(design)} Demands carry no "
            "numerical tolerance of their own: that of the envelopes, of mesh and steps, applies."
        ),
        _order(design),
        _choice(design),
        *_plans(result, design),
        _rules(design),
        fatigue_part(design),
        collision_part(design),
        beams_part(result, design),
    ]
    return "\n".join(part for part in parts if part)


def _combinations(result: Result, design: Design) -> str:
    rows = []
    for one in design.standards:
        for state, demand in one.demands.items():
            c = demand.combination
            actions = list(demand.states[0])
            factors = "; ".join(
                f"{a} {given(round(c.permanent[a][0], 4))} / {given(c.permanent[a][1])}"
                for a in actions
            )
            rows.append(
                [
                    text(standard_of(one)),
                    text(state),
                    text(factors or "none"),
                    given(c.traffic)
                    if c.distributed is None
                    else f"{given(c.traffic)}; distributed {given(c.distributed)}",
                    text(str(c.source)),
                ]
            )
    head = [
        "Standard",
        "Combination",
        "Permanent, unfavourable / favourable",
        "Traffic",
        "Source",
    ]
    found = table("Combinations of actions: factors", head, rows, numeric=(3,))
    found += table(
        "Standards, grades and editions",
        ["Standard", "Concrete", "Steel", FACTORS_HEAD, "Edition"],
        [
            [
                text(standard_of(one)),
                text(one.basis.materials.concrete.name),
                text(one.basis.materials.steel.name),
                ", ".join(
                    given(v)
                    for v in (
                        one.basis.materials.factors.gamma_c,
                        one.basis.materials.factors.gamma_s,
                        one.basis.materials.factors.alpha_cc,
                    )
                ),
                text(EDITIONS[one.basis.materials.standard]),
            ]
            for one in design.standards
        ],
    )
    stages = "; ".join(f"{c.name}: {c.stage}" for c in result.deck.cases if c.action != "none")
    words = f"Stages as stated: {stages or 'none'}."
    if design.left_out:
        words += f" In no combination (no action named): {', '.join(design.left_out)}."
    return found + paragraph(words)


def _layers(result: Result, design: Design) -> str:
    bars = design.reinforcement.bars
    rows = []
    for k in range(len(ROWS)):
        for one in design.standards:
            check: LayerCheck = one.layers[k]
            rows.append(
                [
                    text(layer_title(bars, check.layer)),
                    text(standard_of(one)),
                    number(1e-3 * check.m_Ed),
                    number(1e-3 * check.m_Rd),
                    used(check.utilisation),
                    number(1e6 * check.required),
                    number(1e6 * bars.bars(check.layer).area),
                    number(1e-3 * check.m_face),
                    "–" if check.gain is None else f"{100 * check.gain:.1f}",
                    text(f"{place(result.deck, check.at)}, ({at_text(check.at)}) m"),
                    load_text(check.position),
                ]
            )
    head = [
        "Layer",
        "Standard",
        "m<sub>Ed</sub> [kNm/m]",
        "m<sub>Rd</sub> [kNm/m]",
        "m<sub>Ed</sub>/m<sub>Rd</sub>",
        "Steel needed [mm²/m]",
        "Steel drawn [mm²/m]",
        "Face [kNm/m]",
        "Gain [%]",
        "Place",
        "Load position",
    ]
    caption = "Bending at the ultimate limit state, centre line"
    return table(caption, head, rows, numeric=range(2, 9), wide=(9, 10))


def _order(design: Design) -> str:
    bars = design.reinforcement.bars
    rows = []
    for face in FACES:
        for one in design.standards:
            for cost in one.order[face]:
                layer = (face, cost.direction)
                rows.append(
                    [
                        text(layer_title(bars, layer)),
                        text(standard_of(one)),
                        f"{1e3 * cost.d:.0f}",
                        f"{1e3 * cost.d_swapped:.0f}",
                        number(1e-3 * cost.m_Rd),
                        number(1e-3 * cost.m_Rd_swapped),
                        f"{100 * (cost.m_Rd_swapped / cost.m_Rd - 1):+.1f}".replace("-", "−"),
                        text(one.outermost[face]),
                    ]
                )
    head = [
        "Layer",
        "Standard",
        "d [mm]",
        "d, other order",
        "m<sub>Rd</sub> [kNm/m]",
        "m<sub>Rd</sub>, other order",
        "Change [%]",
        "Larger moment: bars along",
    ]
    drawn = "; ".join(f"{face}: {outer_words(bars, face)}" for face in FACES)
    return table(
        "What the other layer order would cost", head, rows, numeric=range(2, 7)
    ) + paragraph(
        f"As drawn, {drawn}. The direction with the larger moment belongs outermost (common "
        "practice)."
    )


def _choice(design: Design) -> str:
    rows = []
    for face in FACES:
        for one in design.standards:
            if face not in one.choice:
                continue
            mat = one.choice[face]
            drawn = design.reinforcement.bars.mat(face)
            rows.append(
                [
                    text(face),
                    text(standard_of(one)),
                    "none of the set" if mat is None else text(f"{mat.x}"),
                    "" if mat is None else text(f"{mat.y}"),
                    "" if mat is None else text(mat.outer),
                    "" if mat is None else number(1e6 * mat.area),
                    number(1e6 * drawn.area),
                ]
            )
    if not rows:
        return ""
    head = [
        "Face",
        "Standard",
        "Bars along x",
        "Bars along y",
        "Outermost",
        "Steel of both [mm²/m]",
        "As drawn [mm²/m]",
    ]
    return table("Least steel from the set of bars", head, rows, numeric=(5, 6)) + paragraph(
        "Passes bending, the rules for the layer, stresses and crack width at the cover drawn. "
        "Shear, fatigue and collision are judged apart. Diameters and spacings in mm."
    )


def _plans(result: Result, design: Design) -> list[str]:
    """Utilisation in plan of each layer, the larger of all standards at each point."""
    deck, solver = result.deck, result.solver
    bars = design.reinforcement.bars
    plans = ContourPlans(deck, field_map(solver), clear_of_lines(solver, deck.slab.thickness))
    plan = solver.recovery.points.plan
    found = []
    for k, layer in enumerate(ROWS):
        values = np.max([one.utilisation[k] for one in design.standards], axis=0)
        top = int(values.argmax())
        name = layer_name(bars, layer)
        at = (float(plan[top, 0]), float(plan[top, 1]))
        by = max(design.standards, key=lambda one: float(one.utilisation[k, top]))
        drawing = plans.plan(
            PlanField(f"used-{name}", "m_Ed / m_Rd", "-", values, "max", float(values[top]), at)
        )
        found.append(
            figure(
                f"plan-used-{name}",
                drawing,
                f"<strong>Utilisation of {text(layer_title(bars, layer))}</strong>, "
                "m<sub>Ed</sub>/m<sub>Rd</sub> at the ultimate limit state, the larger of the "
                f"standards. Peak {rounded_up(values[top])} ({text(standard_of(by))}), "
                f"{text(place(deck, at))}; {text(by.traffic)}.",
            )
        )
    return found


def _rules(design: Design) -> str:
    rows: list[tuple[bool, list[str]]] = []
    for one in design.standards:
        rows += [(row.passes, _rule(one, row)) for row in one.rows]
    rows.sort(key=lambda r: r[0])
    head = ["Check", "Standard", "Place", "Required", "Provided", "", "Finding", "Clause and mark"]
    return table(
        "Rules of the standards, those not met first",
        head,
        [cells for _, cells in rows],
        numeric=(3, 4),
        tall=True,
    ) + paragraph(
        f"Stresses and cracks: cracked section, {CREEP_SOURCE} for the bars and the crack width. "
        "Crack width under: "
        + "; ".join(f"{standard_of(o)} {o.basis.crack_combination}" for o in design.standards)
        + "."
    )


def _rule(one: StandardDesign, row: Row) -> list[str]:
    scale, unit = UNITS[row.unit]
    if row.check == "crack width":
        required, provided = f"{scale * row.required:.2f}", f"{scale * row.provided:.2f}"
    else:
        required, provided = number(scale * row.required), number(scale * row.provided)
    sign = "≥" if row.sense == "at least" else "≤"
    finding = "passes" if row.passes else '<span class="short">not met</span>'
    return [
        text(row.check),
        text(standard_of(one)),
        text(row.place),
        f"{sign} {required}",
        provided,
        unit,
        finding,
        text(str(row.source)),
    ]
