"""A design in words for the terminal, and as rows and entries for other programs."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np

from pipelines.bars.choice.alternatives import Alternative
from pipelines.bars.choice.governs import Governs
from pipelines.bars.choice.least_steel import Chosen
from pipelines.bars.choice.one_step_less import Less
from pipelines.numbers import rounded_up
from pipelines.report.document import Block, Words, table
from pipelines.standards.resistance.bars import LAYERS, Layer, place_of

COLUMNS = (
    *("layer", "zone", "bars", "check", "utilisation", "next_check", "next_utilisation"),
    "one_step_less",
)

NOTHING = ("no bars of the set pass", "", "")


def layer_words(chosen: Chosen, governed: Sequence[Governs], less: Sequence[Less]) -> Iterator[str]:
    """The bars of every layer and zone with what sets them, and what a step less would fail."""
    for layer in LAYERS:
        yield f"  {place_of(layer)}{_outer(chosen, layer)}"
        for one in governed:
            if one.layer != layer:
                continue
            checks = ", next ".join(f"{check} {rounded_up(used)}" for check, used in one.checks[:2])
            yield f"    {one.bars} {one.zone}: {checks}"
        yield from (f"    {one.words}" for one in less if one.layer == layer)


def _outer(chosen: Chosen, layer: Layer) -> str:
    return ", outermost" if chosen.outer[layer[0]] == layer[1] else ""


def alternative_words(
    mass: float, area: float, alternatives: Sequence[Alternative]
) -> Iterator[str]:
    """What else would weigh, against the design's mass [kg] on a slab of that area [m2]."""
    how = ""
    for one in sorted(alternatives, key=lambda one: one.how):
        if one.how != how:
            how = one.how
            yield f"  Otherwise, {how}:"
        if one.mass is None:
            yield f"    {one.what}: no bars of the set pass"
            continue
        yield f"    {one.what}: {', '.join(_more(one.mass, mass, area))}"


def _more(other: float, mass: float, area: float) -> tuple[str, str, str]:
    """The difference of two masses [kg] in kg, in kg/m2 of a slab and as a share."""
    more = other - mass
    words = f"{more:+.0f} kg", f"{more / area:+.2f} kg/m²", f"{1e2 * more / mass:+.1f} %"
    kilograms, per_area, share = (one.replace("-", "\u2212") for one in words)
    return kilograms, per_area, share


def design_blocks(
    mass: float,
    area: float,
    governed: Sequence[Governs],
    less: Sequence[Less],
    alternatives: Sequence[Alternative],
) -> Iterator[Block]:
    """Tables of what governs and of what else would weigh."""
    heads: list[Words] = ["Layer", "Zone", "Bars", "Set by", "Next", "Bars a step smaller"]
    rows: list[list[Words]] = [
        [
            place_of(one.layer),
            one.zone,
            str(one.bars),
            *(f"{check} {rounded_up(used)}" for check, used in one.checks[:2]),
            "; ".join(_steps(one, less)),
        ]
        for one in governed
    ]
    yield table("What sets the bars of every layer and zone, and what would next", heads, rows)
    heads = ["Otherwise", "Steel", "Per area", "Share", "How it was found"]
    rows = [
        [one.what, *(_more(one.mass, mass, area) if one.mass is not None else NOTHING), one.how]
        for one in alternatives
    ]
    caption = f"What else would weigh, against {mass:.0f} kg without laps"
    yield table(caption, heads, rows, numeric=(1, 2, 3))


def _steps(one: Governs, less: Sequence[Less]) -> list[str]:
    """What stands against smaller bars of a zone's own."""
    added = bool(one.bars.between)
    return [step.words for step in less if step.layer == one.layer and step.added == added]


def governing_rows(governed: Sequence[Governs], less: Sequence[Less]) -> list[dict[str, Any]]:
    """One row a layer and zone, by COLUMNS; values that are none stay empty."""
    rows = []
    for one in governed:
        (check, used), (next_check, next_used) = (*one.checks, ("", np.nan), ("", np.nan))[:2]
        rows.append(
            {
                "layer": "_".join(one.layer),
                "zone": one.zone,
                "bars": str(one.bars),
                "check": check,
                "utilisation": _rounded(used),
                "next_check": next_check,
                "next_utilisation": _rounded(next_used),
                "one_step_less": "; ".join(_steps(one, less)),
            }
        )
    return rows


def alternative_entries(alternatives: Sequence[Alternative]) -> list[Mapping[str, Any]]:
    """Masses in kg."""
    return [
        {
            "what": one.what,
            "mass_kg": None if one.mass is None else round(one.mass, 3),
            "with_variety_kg": None if one.counted is None else round(one.counted, 3),
            "how": one.how,
        }
        for one in alternatives
    ]


def _rounded(value: float) -> float | None:
    return round(float(value), 4) if np.isfinite(value) else None
