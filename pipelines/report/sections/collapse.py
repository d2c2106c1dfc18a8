"""The page of `deckslab collapse`, with mechanism and moments, and its words for the terminal."""

import math

from pipelines.bars.collapse.search import Bounded, Brittle, CollapseLoad
from pipelines.caution import CAUTION
from pipelines.numbers import at_least, at_most, length, number, rounded_up
from pipelines.report.document import (
    Block,
    Bullets,
    Caution,
    Document,
    Figure,
    Paragraph,
    Section,
    Table,
    Words,
    plain,
    table,
)
from pipelines.report.drawings.collapse_plans import mechanism_plan, moment_plan

# Positions that the page lists.
LISTED = 10
VEHICLE = "One vehicle alone, not the load model of a standard."
LOAD_MODEL = (
    "All of the load model is multiplied, distributed loads with it. Looked at are the "
    "arrangements that are worst for deflection and moments of the elastic slab in its parts and "
    "for the moments of its beams, with distributed loads where they are adverse to these; another "
    "arrangement may come before them at collapse. Where the edge of a lane’s load crosses a "
    "triangle, what lies on the triangle is spread over it: both bounds are of that load."
)
USE = (
    "It is the collapse load in bending of a slab whose sections turn as far as they need to: for "
    "the reserve of an existing deck beyond first yield, beside the checks of the standard, not "
    "in their place.",
    "Rotation capacity is assumed where the rows of ductility below are met, and not computed.",
    "Shear and punching come first where they are smaller; with --bending they are not looked at, "
    "and the multiplier is none of the deck.",
    "They are met up to the multiple told by the shears of the elastic slab, while the same face "
    "stays in tension where they are checked.",
    "Stresses, cracks, deflections and fatigue in service are apart: a slab may carry this load "
    "once and be unfit for use long before.",
    "Supports and beams hold as told and hold down; membrane forces, arching and torsion of beams "
    "are left out. Springs count as rigid. Bars count as anchored where the deck file has them.",
    "Permanent loads count with their unfavourable factors throughout, which may not be the worst "
    "where they relieve.",
    "Curved edges are chords of the triangles, and bars on a curve straight within each.",
)


def summary_lines(found: CollapseLoad) -> list[str]:
    """What is told on the terminal."""
    return [plain(words) for words in (*_result(found), *_conditions(found))]


def _result(found: CollapseLoad) -> list[Words]:
    one = found.governing
    both = one.found
    assert both is not None
    standard = found.basis.materials.standard
    lines: list[Words] = [
        f"Collapse in bending by the resistances of {standard}: {at_least(both.lower)} to "
        f"{at_most(both.upper)} times {_place(found)}, gap {100.0 * both.gap:.1f} %, "
        f"{len(both.triangles.cells)} triangles. Both bounds are certified.",
    ]
    first = found.first
    lines.append(
        f"Elastic first yield at the same position: {at_least(first.multiplier)} times the "
        f"traffic, {first.face} bars at station {length(first.at[0])} m, offset "
        f"{length(first.at[1])} m, by the stiffnesses of the deck file."
    )
    looked, closer = len(found.positions), sum(p.found is not None for p in found.positions)
    if looked > 1:
        lines.append(
            f"Of {found.of} {_places(found)} {looked} were looked at, {closer} of them between "
            f"both bounds; none of these {looked} collapses below {at_least(found.safe)}."
        )
    lines.append(
        f"The factor that {standard} asks of this traffic is {found.combination.traffic:g} "
        f"({found.combination.source}); permanent loads have theirs."
    )
    if both.floor > 0.0:
        lines.append(
            f"Where bars resist less than {number(1e-3 * both.floor)} kNm/m that is counted: the "
            "bounds are those of the slab so strengthened."
        )
    return lines


def _place(found: CollapseLoad) -> str:
    words = found.governing.words
    return f"{found.traffic}, {words}" if found.wanted.load_model else words


def _places(found: CollapseLoad) -> str:
    if found.wanted.load_model:
        return "arrangements that govern the elastic slab in its parts"
    return "load positions of this vehicle on the slab"


def _conditions(found: CollapseLoad) -> list[Words]:
    lines: list[Words] = [_brittle_words(found, one) for one in found.brittle]
    unmet = [row for row in found.rows if not row.passes]
    shown = bool(found.rows) and not unmet and found.ductile is True
    if not found.brittle:
        lines.append(
            "Shear and punching were not looked at: the multiplier is that of bending alone."
        )
    elif math.isnan(found.counts):
        lines.append("The plastic multiplier may not be used: a brittle check ends it.")
    elif shown:
        lines.append(f"What counts, the smallest of these: {at_least(found.counts)}.")
    else:
        lines.append(
            f"The smallest of these, {at_least(found.counts)}, counts only if it is shown that the "
            "sections turn; the following do not show it."
        )
    if not found.rows:
        lines.append(
            f"Ductility: no clause of {found.basis.materials.standard} on plastic analysis is "
            "known here; whoever uses the multiplier shows that the sections turn."
        )
    for row in unmet:
        lines.append(
            f"Ductility is not shown: {row.check}, {row.place}, {row.provided:.2f}, {row.sense} "
            f"{row.required:g} ({row.source})."
        )
    if found.rows and not unmet:
        lines.append(f"Ductility: all {len(found.rows)} rows are met ({found.rows[0].source}).")
    if found.ductile is not True:
        name = found.basis.materials.steel.name
        why = "is of class A" if found.ductile is False else "does not say its class"
        lines.append(f"Steel {name} {why}: plastic analysis needs class B or C.")
    return lines


def _brittle_words(found: CollapseLoad, one: Brittle) -> str:
    name = one.check.value
    if math.isnan(one.utilisation):
        return f"{name} is not judged: {one.why}."
    told = f"{name}: utilisation {rounded_up(one.utilisation)} under all traffic of the deck file"
    if math.isnan(one.limit):
        return f"{told}, not met, {one.place}."
    return f"{told}, met up to {at_least(one.limit)} times the traffic at least, {one.place}."


def collapse_page(found: CollapseLoad) -> Document:
    """A collapse load as one page."""
    deck, one = found.deck, found.governing
    place = _place(found)
    load_model = bool(found.wanted.load_model)
    beside = ", dashed where its distributed loads act" if load_model else ""
    of_traffic = LOAD_MODEL if load_model else VEHICLE
    figures = (
        Figure(
            "mechanism",
            mechanism_plan(deck, one),
            f"Mechanism of the upper bound, {place}{beside}. Between hinges the slab bends as "
            "well.",
        ),
        *(
            Figure(
                f"moments-{k}",
                moment_plan(deck, one, k),
                "Moments of the lower bound, in equilibrium with permanent loads and "
                f"{at_least(one.lower)} times the traffic, one of many such fields; where "
                "triangles meet they may jump, and the mean is drawn.",
            )
            for k in (0, 1)
        ),
    )
    return Document(
        title=f"Collapse load: {deck.title}",
        lead=f"{found.traffic}, bending of a rigid-plastic slab between two certified bounds",
        front=(Caution((Bullets(tuple(_result(found))), Bullets(tuple(_conditions(found))))),),
        sections=(
            Section(
                "use",
                "What it may be used for",
                (Bullets((of_traffic, *USE)),),
            ),
            Section("plans", "Mechanism and moments", figures),
            Section("positions", "Load positions", (_positions(found.positions),)),
            Section("ductility", "Ductility", (_ductility(found),)),
            Section("strengths", "Beams and supports", (Bullets(tuple(_beams(found))),)),
        ),
        end=CAUTION,
    )


def _positions(positions: tuple[Bounded, ...]) -> Table:
    rows = [
        (
            one.words,
            at_least(one.safe),
            "–" if one.found is None else at_least(one.found.lower),
            "–" if one.found is None else at_most(one.found.upper),
        )
        for one in positions[:LISTED]
    ]
    heads = ("load position or arrangement", "safe multiplier", "lower bound", "upper bound")
    return table("The load positions with the smallest multipliers", heads, rows, numeric=(1, 2, 3))


def _ductility(found: CollapseLoad) -> Block:
    if not found.rows:
        return Paragraph("No clause of this standard on plastic analysis is known here.")
    rows = [
        (
            row.check,
            row.place,
            f"{row.provided:.3f}",
            f"{row.sense} {row.required:g}",
            "met" if row.passes else "not met",
            str(row.source),
        )
        for row in found.rows
    ]
    heads = ("rule", "place", "found", "allowed", "finding", "source")
    return table("Ductility of the sections", heads, rows, numeric=(2,), wide=(5,))


def _beams(found: CollapseLoad) -> list[Words]:
    words: list[Words] = []
    for line in found.deck.lines:
        strength = found.wanted.beams.get(line.name)
        if line.beam is None or strength is None:
            words.append(f"{line.name}: {line.support}, holds without limit.")
        elif strength.rigid:
            words.append(
                f"{line.name}: a beam that is taken not to fail; its own collapse is not covered."
            )
        else:
            words.append(
                f"{line.name}: beam, plastic moments {number(1e-3 * strength.sagging)} kNm sagging "
                f"and {number(1e-3 * strength.hogging)} kNm hogging, as stated by the user."
            )
    return words
