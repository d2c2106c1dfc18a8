"""Section of the report on bars: demands, layers, choice, rules."""

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from pipelines.analysis.result import Result
from pipelines.bars.checks.bending_and_service import CREEP_SOURCE
from pipelines.bars.checks.part import LayerCheck
from pipelines.bars.demand.moments import LAYER_ROWS
from pipelines.bars.design import AddedChecks, Design, StandardDesign
from pipelines.bars.schedule.marks import Schedule
from pipelines.deck.words import at_text, place
from pipelines.numbers import as_given, number, rounded_up
from pipelines.report.document import (
    Block,
    Figure,
    Paragraph,
    Short,
    Strong,
    Symbol,
    Table,
    Words,
    table,
)
from pipelines.report.drawings.bars import layer_name, layer_title, outer_words, section_drawing
from pipelines.report.drawings.contour_plans import ContourPlans, PlanField
from pipelines.report.drawings.cuts import field_map
from pipelines.report.drawings.smooth import RULE, Lattice
from pipelines.report.sections.added_bars import added_part
from pipelines.report.sections.bars_actions import (
    beams_part,
    collision_part,
    fatigue_part,
    membrane_part,
)
from pipelines.report.sections.bars_words import (
    moments_at,
    standard_of,
    traffic_words,
    used,
    verdict_table,
)
from pipelines.report.sections.positions import load_text
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

M_ED, M_RD = Symbol("m", "Ed"), Symbol("m", "Rd")


def bars_section(result: Result) -> tuple[Block, ...]:
    """Bars at the ultimate and the serviceability limit states; nothing for a deck without bars."""
    design = result.design
    if design is None:
        return ()
    bars = design.reinforcement.bars
    return (
        verdict_table(result),
        Paragraph(f"{CAUTION} {traffic_words(design)}"),
        *_combinations(result, design),
        Figure(
            "section-bars-along",
            section_drawing(bars, "x"),
            (
                Strong("Section along the deck"),
                ", to scale, lengths in mm. Layer 1 is the one nearest to its face: B at the "
                "bottom, T at the top.",
            ),
        ),
        Figure(
            "section-bars-across",
            section_drawing(bars, "y"),
            (Strong("Section across the deck"), ", to scale, lengths in mm."),
        ),
        _layers(result, design),
        *added_part(result.deck, design),
        *membrane_part(design),
        Paragraph(
            "Wood and Armer's rule is formed at every load position with its coexisting moments, "
            "then enveloped; under a load model every term of the rule has its own worst "
            "arrangement of lanes. Where a position needs no bars in the other direction the value "
            "may be above the rule's own, never below. Gain: how much less that is than the rule "
            f"on enveloped components. {moments_at(result.deck)} Demands carry no "
            "numerical tolerance of their own: that of the envelopes, of mesh and steps, applies."
        ),
        *_order(design),
        *_choice(design),
        *_plans(result, design),
        *_rules(design, result.schedule),
        *fatigue_part(design),
        *collision_part(design),
        *beams_part(result, design),
    )


def _combinations(result: Result, design: Design) -> tuple[Block, ...]:
    rows: list[list[Words]] = []
    for standard in design.standards:
        for state, demand in standard.demands.items():
            c = demand.combination
            actions = list(demand.states[0])
            factors = "; ".join(
                f"{a} {as_given(round(c.permanent[a][0], 4))} / {as_given(c.permanent[a][1])}"
                for a in actions
            )
            rows.append(
                [
                    standard_of(standard),
                    state,
                    factors or "none",
                    as_given(c.traffic)
                    if c.distributed is None
                    else f"{as_given(c.traffic)}; distributed {as_given(c.distributed)}",
                    str(c.source),
                ]
            )
    head = [
        "Standard",
        "Combination",
        "Permanent, unfavourable / favourable",
        "Traffic",
        "Source",
    ]
    factors_table = table("Combinations of actions: factors", head, rows, numeric=(3,))
    grades = table(
        "Standards, grades and editions",
        ["Standard", "Concrete", "Steel", "Edition"],
        [
            [
                standard_of(standard),
                standard.basis.materials.concrete.name,
                standard.basis.materials.steel.name,
                EDITIONS[standard.basis.materials.standard],
            ]
            for standard in design.standards
        ],
    )
    stages = "; ".join(f"{c.name}: {c.stage}" for c in result.deck.cases if c.action != "none")
    words = f"Stages as stated: {stages or 'none'}."
    if design.left_out:
        words += f" In no combination (no action named): {', '.join(design.left_out)}."
    return factors_table, grades, Paragraph(words)


def _layers(result: Result, design: Design) -> Table:
    bars = design.reinforcement.bars
    rows: list[list[Words]] = []
    checks: list[tuple[StandardDesign, LayerCheck]] = [
        (standard, check) for standard in design.standards for check in standard.layers
    ]
    for layer in LAYER_ROWS:
        for standard, check in checks:
            if check.layer != layer:
                continue
            rows.append(
                [
                    layer_title(bars, layer),
                    standard_of(standard),
                    number(1e-3 * check.m_Ed),
                    number(1e-3 * check.m_Rd),
                    used(check.utilisation),
                    number(1e6 * check.required),
                    number(1e6 * bars.bars(check.layer).area),
                    number(1e-3 * check.m_face),
                    number(1e-3 * check.m_centre),
                    "–" if check.gain is None else f"{100 * check.gain:.1f}",
                    f"{place(result.deck, check.at)}, ({at_text(check.at)}) m",
                    load_text(check.position, named=True),
                ]
            )
    head: list[Words] = [
        "Layer",
        "Standard",
        (M_ED, " [kNm/m]"),
        (M_RD, " [kNm/m]"),
        (M_ED, "/", M_RD),
        "Steel needed [mm²/m]",
        "Steel drawn [mm²/m]",
        "Beside supports [kNm/m]",
        "Centre lines [kNm/m]",
        "Gain [%]",
        "Place",
        "Load position",
    ]
    caption = "Bending at the ultimate limit state"
    if design.reinforcement.added:
        caption += ", of the mats outside added bars"
    return table(caption, head, rows, numeric=range(2, 10), wide=(10, 11))


def _order(design: Design) -> tuple[Block, ...]:
    bars = design.reinforcement.bars
    rows: list[list[Words]] = []
    for face in FACES:
        for standard in design.standards:
            for cost in standard.order[face]:
                layer = (face, cost.direction)
                rows.append(
                    [
                        layer_title(bars, layer),
                        standard_of(standard),
                        f"{1e3 * cost.d:.0f}",
                        f"{1e3 * cost.d_swapped:.0f}",
                        number(1e-3 * cost.m_Rd),
                        number(1e-3 * cost.m_Rd_swapped),
                        f"{100 * (cost.m_Rd_swapped / cost.m_Rd - 1):+.1f}".replace("-", "−"),
                        standard.outermost[face],
                    ]
                )
    head: list[Words] = [
        "Layer",
        "Standard",
        "d [mm]",
        "d, other order",
        (M_RD, " [kNm/m]"),
        (M_RD, ", other order"),
        "Change [%]",
        "Larger moment: bars along",
    ]
    drawn = "; ".join(f"{face}: {outer_words(bars, face)}" for face in FACES)
    caption = "What the other layer order would cost"
    return table(caption, head, rows, numeric=range(2, 7)), Paragraph(
        f"As drawn, {drawn}. The direction with the larger moment belongs outermost (common "
        "practice)."
    )


def _choice(design: Design) -> tuple[Block, ...]:
    rows: list[list[Words]] = []
    for face in FACES:
        for standard in design.standards:
            if face not in standard.choice:
                continue
            mat = standard.choice[face]
            drawn = design.reinforcement.bars.mat(face)
            rows.append(
                [
                    face,
                    standard_of(standard),
                    "none of the set" if mat is None else f"{mat.x}",
                    "" if mat is None else f"{mat.y}",
                    "" if mat is None else mat.outer,
                    "" if mat is None else number(1e6 * mat.area),
                    number(1e6 * drawn.area),
                ]
            )
    if not rows:
        return ()
    head = [
        "Face",
        "Standard",
        "Bars along x",
        "Bars along y",
        "Outermost",
        "Steel of both [mm²/m]",
        "As drawn [mm²/m]",
    ]
    return table("Least steel from the set of bars", head, rows, numeric=(5, 6)), Paragraph(
        "Passes bending, the rules for the layer, stresses and crack width at the cover drawn. "
        "Shear, fatigue and collision are judged apart. Diameters and spacings in mm."
    )


def _plans(result: Result, design: Design) -> list[Figure]:
    """Utilisation in plan of each layer, the larger of all standards at each point."""
    deck, solved = result.deck, result.solved
    bars = design.reinforcement.bars
    fields = field_map(solved)
    lattice = None if deck.traffic is None else Lattice.of(deck, fields)
    plans = ContourPlans(deck, fields, solved.clear_of_lines, lattice)
    plan = solved.recovery.points.plan
    found = []
    for k, layer in enumerate(LAYER_ROWS):
        values = np.max([standard.utilisation[k] for standard in design.standards], axis=0)
        top = int(values.argmax())
        name = layer_name(bars, layer)
        at = (float(plan[top, 0]), float(plan[top, 1]))
        by = max(design.standards, key=lambda one: float(one.utilisation[k, top]))
        drawing = plans.plan(
            PlanField(
                name=f"used-{name}",
                title="m_Ed / m_Rd",
                unit="-",
                values=values,
                extreme="max",
                peak=float(values[top]),
                at=at,
            )
        )
        found.append(
            Figure(
                f"plan-used-{name}",
                drawing,
                (
                    Strong(f"Utilisation of {layer_title(bars, layer)}"),
                    *(", ", M_ED, "/", M_RD),
                    " at the ultimate limit state, the larger of the standards. "
                    f"Peak {rounded_up(values[top])} ({standard_of(by)}), "
                    f"{place(deck, at)}; {by.traffic}. {RULE if k == 0 else ''}",
                ),
            )
        )
    return found


def _rules(design: Design, schedule: Schedule | None) -> tuple[Block, ...]:
    rows: list[tuple[bool, list[Words]]] = []
    for standard in design.standards:
        for part in standard.drawn:
            name = f", {part.name}" if isinstance(part, AddedChecks) else ""
            rows += [
                (row.passes, _rule(standard, replace(row, place=f"{row.place}{name}")))
                for row in part.rows
            ]
        if schedule is not None:
            of_schedule = schedule.anchorage[standard.basis.materials.standard]
            rows += [(row.passes, _rule(standard, row)) for row in _worst(of_schedule)]
    rows.sort(key=lambda r: r[0])
    head = ["Check", "Standard", "Place", "Required", "Provided", "", "Utilisation", "Finding"]
    return table(
        "Rules of the standards, those not met first",
        [*head, "Clause and mark"],
        [cells for _, cells in rows],
        numeric=(3, 4, 6),
    ), Paragraph(
        f"Stresses and cracks: cracked section, {CREEP_SOURCE} for the bars and the crack width. "
        "Crack width under: "
        + "; ".join(_cracks_under(standard) for standard in design.standards)
        + "."
    )


def _worst(rows: Sequence[Row]) -> Iterator[Row]:
    """What is not met, and else the worst of every rule: of ends and laps there are many."""
    for check in dict.fromkeys(row.check for row in rows):
        mine = [row for row in rows if row.check == check]
        failing = [row for row in mine if not row.passes]
        yield from failing or [max(mine, key=lambda row: row.utilisation)]


def _cracks_under(design: StandardDesign) -> str:
    """Combination of the crack widths, in words."""
    chosen = design.basis.crack_combination
    if chosen not in design.demands:
        return f"{standard_of(design)} none, its spacing rule under the characteristic"
    no_traffic = " (no traffic is in it)" if chosen == "quasi-permanent" else ""
    return f"{standard_of(design)} {chosen}{no_traffic}"


def _rule(design: StandardDesign, row: Row) -> list[Words]:
    scale, unit = UNITS[row.unit]
    if row.check == "crack width":
        required, provided = f"{scale * row.required:.2f}", f"{scale * row.provided:.2f}"
    else:
        required, provided = number(scale * row.required), number(scale * row.provided)
    sign = "≥" if row.sense == "at least" else "≤"
    finding: Words = "passes" if row.passes else Short("not met")
    if row.otherwise and not row.passes:
        finding = (finding, f": {row.otherwise}")
    return [
        row.check,
        standard_of(design),
        row.place,
        f"{sign} {required}",
        provided,
        unit,
        used(row.utilisation),
        finding,
        str(row.source),
    ]
