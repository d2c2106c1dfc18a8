"""The page of `deckslab rate`: multipliers of vehicles, and where the deck is short."""

from collections.abc import Sequence

import numpy as np

from pipelines.bars.adequacy import Check
from pipelines.bars.rating.multipliers import Multiplier, Rated
from pipelines.bars.rating.rate import Rating
from pipelines.bars.rating.root import MOST
from pipelines.caution import CAUTION
from pipelines.deck.words import place
from pipelines.numbers import as_given
from pipelines.report.document import (
    Block,
    Bullets,
    Caution,
    Document,
    Figure,
    Paragraph,
    Section,
    Short,
    Strong,
    Words,
    table,
)
from pipelines.report.drawings.contour_plans import ContourPlans, PlanField
from pipelines.report.drawings.cuts import field_map
from pipelines.report.sections.factors import factors_section
from pipelines.traffic.arrangements import Arrangement

# Vehicles that the page tells; the CSV has all of them. From so many on a summary comes first.
TOLD, SUMMED_UP = 50, 12
MEANING = (
    "Multiplier: the largest factor on the vehicle or load model, with its impact, at which the "
    "check is still adequate at every step of the load positions, permanent actions as they are. "
    "Below 1 it fails; 1 and more is adequate in the checks of the table alone, not in what "
    "\u201cNot covered\u201d lists. It is rounded down."
)
SLAB = (
    "Of the slab alone: beams and girders that carry it, bearings and joints are not rated, and "
    "may allow less."
)
# What a plan shows where permanent actions alone are too much.
FULL = 10.0


def rounded_down(value: float) -> str:
    """A multiplier to the hundredth, never above its value."""
    if value >= MOST:
        return f"≥ {MOST:g}"
    return f"{np.floor(100.0 * value + 1e-9) / 100.0:.2f}"


def rated_line(one: Rated) -> str:
    """A vehicle in one line for the terminal."""
    least, following = one.least, one.following
    words = "adequate in what is rated" if least.adequate else "short"
    found = f"{one.words}, {one.standard}: {rounded_down(least.value)} ({words}), {_of(least)}"
    found += f" at {least.where}"
    if least.position is not None:
        found += f", {stands(least.position)}"
    if following is None:
        return found
    return f"{found}; then {rounded_down(following.value)} {_of(following)}"


def stands(at: Arrangement) -> str:
    """Where the traffic stands, without the name of a vehicle that stands alone."""
    one = at.single
    if one is None:
        return at.words
    return f"{one.direction}, first axle at {one.station:.2f}, {one.offset:.2f}"


def _of(one: Multiplier) -> str:
    return f"{one.rule}, {one.words}"


def rating_page(rating: Rating) -> Document:
    """The multipliers as one page."""
    rated = rating.worst_first[:TOLD]
    checks = [check for check in Check if any(one.of(check) for one in rating.rated)]
    parts: list[tuple[str, str, Sequence[Block]]] = [
        ("summary", "Summary", _summary(rating) if len(rating.rated) >= SUMMED_UP else ()),
        ("multipliers", "Multipliers by vehicle and check", _multipliers(rating, rated, checks)),
        ("governing", "Where each vehicle is limited", _governing(rated)),
        ("short", "Where the deck is short", _plan(rating)),
        ("levels", "Levels of rating", _levels(rating, rated)),
        ("factors", "Factors and national choices", factors_section(rating.deck)),
        ("not-covered", "Not covered", (Bullets(rating.notes),)),
    ]
    return Document(
        title=rating.deck.title,
        lead="How much of each vehicle the deck carries",
        front=(Caution((Bullets((CAUTION, SLAB, *rating.notes[:1])),)), Paragraph(MEANING)),
        sections=tuple(Section(name, title, tuple(b)) for name, title, b in parts if b),
        end=CAUTION,
    )


def _summary(rating: Rating) -> tuple[Block, ...]:
    """How many ratings every check governs, and how many of those fail; the least first."""
    every = rating.worst_first
    governed: dict[tuple[str, str], list[Rated]] = {}
    for one in every:
        governed.setdefault((one.standard, one.least.check.value), []).append(one)
    rows: list[list[Words]] = []
    for (standard, check), mine in governed.items():
        short = sum(not one.least.adequate for one in mine)
        middle = mine[len(mine) // 2].least
        row: list[Words] = [standard, check.capitalize(), str(len(mine))]
        row += [Short(str(short)) if short else "0", _value(mine[0].least, strong=True)]
        rows.append([*row, mine[0].words, mine[0].least.where, _value(middle)])
    head: list[Words] = [
        "Standard",
        "Check that governs",
        "Ratings",
        "Below 1",
        "Least",
        "Of",
        "Place",
        "Middle one",
    ]
    short = sum(not one.least.adequate for one in every)
    vehicles = dict.fromkeys(one.vehicle for one in every)
    failing = dict.fromkeys(one.vehicle for one in every if not one.least.adequate)
    told = (
        f"{len(vehicles)} vehicles and load models: {len(failing)} fall short by one standard at "
        f"least; of {len(every)} ratings {short} are below 1. rating.csv has all of them."
    )
    caption = "Checks that govern, that with the least multiplier first"
    return Paragraph(told), table(caption, head, rows, numeric=(2, 3, 4, 7), wide=(6,))


def _multipliers(
    rating: Rating, rated: Sequence[Rated], checks: Sequence[Check]
) -> tuple[Block, ...]:
    rows: list[list[Words]] = []
    for one in rated:
        row: list[Words] = [one.words, *_size(one), one.standard]
        row.append(_value(one.least, strong=True))
        for check in checks:
            found = one.of(check)
            row.append("–" if found is None else _value(found))
        rows.append(row)
    named = [check.value.capitalize() for check in checks]
    sizes = ["Axles", "Weight [kN]"]
    head: list[Words] = ["Vehicle or load model", *sizes, "Standard", "Least", *named]
    words = f"The {len(rated)} least of {len(rating.rated)}. " if len(rating.rated) > TOLD else ""
    short = sum(not one.least.adequate for one in rating.rated)
    told = f"{words}{short} of {len(rating.rated)} ratings are below 1. Weight is without impact."
    if any(m.floor for one in rated for m in one.multipliers):
        told += " \u2265: no less than this, where it cannot govern."
    numeric = (1, 2, *range(4, len(head)))
    return Paragraph(told), table("Multipliers, the least first", head, rows, numeric=numeric)


def _size(one: Rated) -> tuple[str, str]:
    """Axles and weight of a vehicle."""
    if one.axles is None or one.weight is None:
        return "\u2013", "\u2013"
    return str(len(one.axles)), f"{one.weight / 1e3:.0f}"


def _value(one: Multiplier, *, strong: bool = False) -> Words:
    text = ("≥ " if one.floor and one.value < MOST else "") + rounded_down(one.value)
    if not one.adequate:
        return Short(text)
    return Strong(text) if strong else text


def _governing(rated: Sequence[Rated]) -> tuple[Block, ...]:
    rows: list[list[Words]] = []
    for one in rated:
        least, following = one.least, one.following
        at = least.position
        rows.append(
            [
                one.words,
                one.standard,
                _value(least),
                _between(one),
                _of(least),
                least.where,
                "–" if at is None else stands(at),
                "–" if following is None else f"{rounded_down(following.value)}: {_of(following)}",
                f"{one.n}{', at places' if one.at_places else ''}",
                str(least.source),
            ]
        )
    head: list[Words] = [
        "Vehicle or load model",
        "Standard",
        "Multiplier",
        "Between the steps",
        "Check",
        "Place",
        "Where it stands: station, offset [m]",
        "Next",
        "Load positions",
        "Clause and mark",
    ]
    caption = "The check that limits each vehicle, and the next"
    words = (
        "Between the steps: wherever the vehicle stands the multiplier of this check is no less "
        "than this at the same place; other checks and places are not looked at between them."
    )
    told = (Paragraph(words),) if any(one.between is not None for one in rated) else ()
    return (
        *told,
        table(caption, head, rows, numeric=(2, 3), wide=(5, 7)),
    )


def _between(one: Rated) -> str:
    """No less than this is the multiplier at its place between the steps."""
    between = one.between
    if between is None:
        return "\u2013"
    value = rounded_down(min(between.value, one.least.value))
    return f"\u2265 {value}" if between.proven else f"{value}, searched"


def _plan(rating: Rating) -> tuple[Block, ...]:
    """1 over the least multiplier in bending at every result point."""
    solved = rating.solved
    values = np.minimum(1.0 / np.maximum(rating.short, 1.0 / FULL), FULL)
    values = np.where(rating.short >= MOST, 0.0, values)
    top = int(values.argmax())
    plan = solved.recovery.points.plan
    at = (float(plan[top, 0]), float(plan[top, 1]))
    plans = ContourPlans(rating.deck, field_map(solved), solved.clear_of_lines)
    drawing = plans.plan(
        PlanField(
            name="short-in-bending",
            title="1 / multiplier",
            unit="-",
            values=values,
            extreme="max",
            peak=float(values[top]),
            at=at,
        )
    )
    some = any(one.at_places for one in rating.rated)
    driven = "vehicles driven over the whole deck, of all " if some else "that is rated, of all "
    caption = (
        f", the largest of all {driven}layers and standards: above 1 the deck is short there. By "
        "the terms of Wood and Armer's rule that add up, which is on the safe side where bars of "
        f"one direction alone are needed. Most at {place(rating.deck, at)}."
    )
    words = (Strong("1 / multiplier in bending"), caption)
    return (Figure("plan-short-in-bending", drawing, words),)


def _levels(rating: Rating, rated: Sequence[Rated]) -> tuple[Block, ...]:
    rows: list[list[Words]] = [
        [
            one.words,
            one.standard,
            level.name,
            as_given(level.gamma),
            rounded_down(one.at_level(level)),
            level.source,
        ]
        for one in rated
        for level in rating.levels
        if one.has_level(level)
    ]
    if not rows:
        return ()
    head: list[Words] = [
        "Vehicle or load model",
        "Standard",
        "Level",
        "Factor",
        "Multiplier",
        "Source",
    ]
    caption = "Least multiplier of the ultimate limit state by level"
    return (table(caption, head, rows, numeric=(3, 4)),)
