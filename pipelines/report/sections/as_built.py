"""Section of the report on the slab as built."""

from collections.abc import Sequence

import numpy as np

from pipelines.analysis.result import Result
from pipelines.bars.adequacy import Adequacy, Check, PanelVerdict, StandardVerdict
from pipelines.bars.checks.as_built import TOO_SMALL, Deviation, PanelCheck
from pipelines.bars.design import StandardDesign
from pipelines.deck.reinforcement import Survey
from pipelines.deck.survey import Key
from pipelines.numbers import length, rounded_up
from pipelines.report.document import Block, Paragraph, Short, Words, table
from pipelines.report.sections.bars_words import decisive_words, standard_of, traffic_words, used
from pipelines.standards.cores import InPlace
from pipelines.standards.resistance.bars import LAYERS, place_of

# Columns of the checks; those of a panel that are in none of them are told in words alone.
CHECKS = {
    Check.BENDING: "Bending",
    Check.SHEAR: "Shear",
    Check.PUNCHING: "Punching",
    Check.STRESSES: "Stresses",
    Check.CRACKS: "Crack width",
    Check.FATIGUE: "Fatigue",
    Check.STEEL: "Least steel",
    Check.SPACING: "Spacing",
    Check.COVER: "Cover",
}
THICKNESS = Key("thickness")
SET_OFF = ", as of the slab's own: less what the drawing has more at each place"
VALUES = {"mean": "the mean of repeated readings", "worst": "the least favourable reading"}


def as_built_section(result: Result) -> tuple[Block, ...]:
    """The as-built check of every panel with readings; nothing without a survey."""
    design = result.design
    if design is None or design.reinforcement.survey is None:
        return ()
    survey = design.reinforcement.survey
    parts: list[Block] = [
        Paragraph(
            f"As-built readings of {survey.path}{_when(survey)}: {VALUES[survey.value]} counts; "
            "what was not read comes from the drawing. Every panel is judged with its own bars, "
            "covers, thickness and concrete in the checks that the drawing is judged in, by the "
            "same rules; what the panel asks for is that of the deck as drawn, whose weight and "
            f"stiffness the readings do not change. {traffic_words(design)}"
        )
    ]
    for standard, verdict in zip(design.standards, result.verdicts, strict=True):
        parts += [_findings(standard, verdict), _details(standard)]
    parts += [
        Paragraph(
            "Deviations: + is how much worse the quantity alone may still get before any of the "
            "checks fails, \u2212 by how much it would have to be better; in brackets the check "
            "that fails first; \u201cor more\u201d: none fails up to half of what is drawn. Shear "
            "at the load positions, punching at the place that govern as built."
        ),
        *_readings(survey),
        Paragraph(
            "Cover: the least reading counts against the least cover that durability asks for, "
            "without the allowance for execution. Spalled concrete is taken off thickness and "
            "cover; bars laid bare have no bond and are not counted. Lost area is taken off the "
            "bars; the lower fatigue strength and ductility of corroded bars is not covered. Cores "
            "count at their characteristic strength, whichever reading counts elsewhere."
        ),
    ]
    return tuple(parts)


def _when(survey: Survey) -> str:
    days = sorted({day for built in survey.built.values() for day in built.readings.dates})
    return "" if not days else f" ({' to '.join(dict.fromkeys((days[0], days[-1])))})"


def _findings(standard: StandardDesign, verdict: StandardVerdict) -> Block:
    rows: list[list[Words]] = []
    for check, panel in zip(standard.panels, verdict.panels, strict=True):
        finding = panel.adequacy.value + f"; {TOO_SMALL}" * bool(check.durability)
        failing = panel.adequacy is Adequacy.NOT_ADEQUATE
        rows.append(
            [
                panel.panel,
                Short(finding) if failing else finding,
                *(_worst(panel, check) for check in CHECKS),
                decisive_words(panel),
            ]
        )
    head = ["Panel", "Finding", *CHECKS.values(), "Decided by"]
    caption = f"As-built check, {standard_of(standard)}: utilisation by check"
    columns = range(2, 2 + len(CHECKS))
    return table(caption, head, rows, numeric=columns, wide=(2 + len(CHECKS),))


def _worst(panel: PanelVerdict, check: Check) -> Words:
    """The largest utilisation of a check; in brackets where nothing is refused for it."""
    mine = [judged for judged in panel.judgements if judged.check is check]
    values = [judged.worst for judged in mine if judged.worst is not None]
    if not values:
        return "–"
    worst = max(values, key=lambda found: found.utilisation)
    if all(judged.asked for judged in mine) and not (worst.otherwise and not worst.met):
        return _used(worst.utilisation)
    return f"({rounded_up(worst.utilisation)})"


def _used(value: float) -> Words:
    return used(value) if np.isfinite(value) else Short("no resistance")


def _details(standard: StandardDesign) -> Block:
    rows: list[list[Words]] = []
    for check in standard.panels:
        shares: list[Words] = [
            (_used(check.utilisation[layer]), f" ({rounded_up(check.drawing[layer])})")
            if layer in check.utilisation
            else "–"
            for layer in LAYERS
        ]
        rows.append(
            [
                check.panel,
                *shares,
                _differs(check),
                _deviations(check.deviations),
            ]
        )
    head = [
        "Panel",
        *(place_of(layer) for layer in LAYERS),
        "Differs from the drawing",
        "Largest further deviation that passes",
    ]
    caption = (
        f"As-built bending, {standard_of(standard)}, as built (as drawn), and what may deviate"
    )
    return table(caption, head, rows, numeric=range(1, 5), wide=(5, 6))


def _differs(check: PanelCheck) -> Words:
    """Covers that are too small to last are set out."""
    rest = "; ".join(check.why)
    if not check.durability:
        return rest or "nothing by more than 3 %"
    return (Short("; ".join(check.durability)), f"; {rest}" if rest else "")


def _deviations(deviations: Sequence[Deviation]) -> str:
    """Those of which some passes, then the others by the check that stops them."""
    told = [deviation_words(deviation) for deviation in deviations if np.isfinite(deviation.value)]
    stopped: dict[str, list[str]] = {}
    for deviation in deviations:
        if not np.isfinite(deviation.value):
            by = "" if deviation.stops is None else f" ({deviation.stops.value})"
            stopped.setdefault(by, []).append(quantity_words(deviation))
    told += [f"none passes{by} of {'; of '.join(names)}" for by, names in stopped.items()]
    return "; ".join(told) or "–"


def quantity_words(deviation: Deviation) -> str:
    """What deviates, and for covers which way."""
    way = "more " if deviation.more else "less "
    return f"{way if deviation.key.quantity == 'cover' else ''}{deviation.key}"


def deviation_words(deviation: Deviation) -> str:
    """A deviation of which some passes, in the unit of its column of readings."""
    measure = deviation.key.measure
    stops = " or more" if deviation.stops is None else f" ({deviation.stops.value})"
    sign = "\u2212" if deviation.value < 0 else "+"
    amount = abs(deviation.value) / measure.unit
    return f"{quantity_words(deviation)} {sign}{amount:.1f} {measure.unit_words}{stops}"


def _readings(survey: Survey) -> tuple[Block, ...]:
    where: list[list[Words]] = []
    statistics: list[list[Words]] = []
    for number, built in survey.built.items():
        (x0, x1), (y0, y1) = survey.panels.extent(number)
        where.append(
            [
                built.panel,
                f"{length(x0)} to {length(x1)}",
                f"{length(y0)} to {length(y1)}",
                built.readings.days or "not stated",
                str(len(built.readings.places)) if built.readings.places else "–",
                _cores(built.cores),
                "; ".join(built.from_drawing) or "nothing",
            ]
        )
        for key, s in built.statistics.items():
            measure = key.measure
            mean, least, most, deviation = (
                value / measure.unit for value in (s.mean, s.least, s.most, s.deviation)
            )
            statistics.append(
                [
                    built.panel,
                    f"{key}{SET_OFF if built.readings.set_off and key == THICKNESS else ''}",
                    measure.unit_words,
                    str(s.n),
                    f"{mean:.1f}",
                    "–" if s.n < 2 else f"{deviation:.1f}",
                    f"{least:.1f}",
                    f"{most:.1f}",
                    f"{s.value(key.quantity, survey.value) / measure.unit:.1f}"
                    if key.quantity != "core strength"
                    else _cores(built.cores),
                ]
            )
    head = ["Panel", "Stations [m]", "Offsets [m]", "Days", "Places", "Cores", "From the drawing"]
    places = table("Panels with readings", head, where, numeric=(4,), wide=(6,))
    head = ["Panel", "Quantity", "Unit", "Readings", "Mean", "Deviation", "Least", "Most", "Counts"]
    numbers = table(
        "Statistics of the readings, and which value counts",
        head,
        statistics,
        numeric=range(3, 8),
    )
    return places, numbers


def _cores(cores: InPlace | None) -> str:
    return "none" if cores is None else cores.words
