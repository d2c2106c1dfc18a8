"""Findings: plate against strip, section by section.

Every design section under each vehicle alone and under each load model: the plate's peak, its mean
over a stated width and every hand strip. One vehicle is not a standard's load model, so under it no
row says that a strip covers.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from pipelines.deck.deck import Deck
from pipelines.envelopes.arrangements import ModelEnvelope
from pipelines.envelopes.held import held_arrangements
from pipelines.envelopes.single_vehicles import Envelopes, find_position
from pipelines.errors import MethodRangeError
from pipelines.findings.finding import SHEARS, Finding
from pipelines.findings.plate_values import (
    Found,
    Reading,
    Source,
    Wanted,
    found_values,
    peak_reading,
    wanted_at,
)
from pipelines.model.responses import Solver
from pipelines.strips.deck_strip import StripDeck, strip_decks
from pipelines.strips.hand_values import hand_strips, model_hand_strips
from pipelines.strips.sections import Section, frame, sections
from pipelines.traffic.positions import WheelPatches

# Of the largest plate value of the same result: below it a value is small.
SMALL = 0.2


def strip_findings(
    deck: Deck,
    solver: Solver,
    envelopes: Envelopes | None,
    models: Sequence[ModelEnvelope] = (),
) -> tuple[tuple[Finding, ...], str]:
    """Findings of every vehicle, load model, method and section, worst first; why there are none,
    if so."""
    if envelopes is None and not models:
        return (), "the deck file has no traffic"
    try:
        strips = strip_decks(deck)
    except MethodRangeError as error:
        return (), str(error)
    found: list[Finding] = []
    for strip in strips:
        at = frame(deck, strip, solver)
        wanted: list[Wanted] = []
        for source in _sources(deck, solver, strip, envelopes, models):
            readings = [
                peak_reading(group, source.envelope)
                for group in _groups(sections(at, source.hands.depth))
            ]
            loaded = [reading for reading in readings if reading.number >= 0]
            for reading, held in zip(loaded, source.held(loaded), strict=True):
                wanted.append(wanted_at(at, source, reading, held))
        values = found_values(deck, at, solver, wanted)
        for one, peak in zip(wanted, values, strict=True):
            found += _findings(strip, one, peak)
    ordered = worst_first(found)
    return tuple(replace(f, reference=f"F{k}") for k, f in enumerate(ordered, start=1)), ""


def worst_first(findings: Sequence[Finding]) -> list[Finding]:
    """By the strip's share of the plate; small values, whose shares say little, after the others,
    and what is not compared last."""
    largest: dict[int, float] = {}
    for one in findings:
        largest[one.component] = max(largest.get(one.component, 0.0), abs(one.plate_peak))

    def order(one: Finding) -> tuple[int, float]:
        if one.ratio is None:
            return 2, 0.0
        return int(abs(one.plate_peak) < SMALL * largest[one.component]), one.ratio

    return sorted(findings, key=order)


def _sources(
    deck: Deck,
    solver: Solver,
    strip: StripDeck,
    envelopes: Envelopes | None,
    models: Sequence[ModelEnvelope],
) -> Iterator[Source]:
    assert deck.traffic is not None
    if envelopes is not None:
        runs = envelopes.runs

        def held(readings: Sequence[Reading]) -> list[WheelPatches]:
            places = [find_position(runs, one.number) for one in readings]
            return [run.wheels(np.array([i])) for run, i in places]

        for vehicle in deck.traffic.vehicles:
            yield Source(
                vehicle.name,
                False,
                envelopes.vehicles[vehicle.name],
                hand_strips(deck, strip, vehicle),
                envelopes.position,
                held,
            )
    for model in models:

        def arranged(
            readings: Sequence[Reading], model: ModelEnvelope = model
        ) -> list[WheelPatches]:
            return held_arrangements(deck, solver, model, [one.place for one in readings])

        yield Source(
            model.model.name,
            True,
            model.fields,
            model_hand_strips(deck, strip, model.model),
            model.position,
            arranged,
            model.joint,
        )


def _groups(all_sections: Iterable[Section]) -> Iterator[list[Section]]:
    """Sections of which the worse governs one row: both faces, both sides of a line."""
    groups: dict[tuple[Any, ...], list[Section]] = {}
    for one in all_sections:
        groups.setdefault((one.kind, one.place), []).append(one)
    yield from (group for group in groups.values() if any(len(one.points) for one in group))


def _findings(strip: StripDeck, one: Wanted, peak: Found) -> Iterator[Finding]:
    reading, section = one.reading, one.reading.section
    # Shears are printed as magnitudes.
    turn = float(section.sign) if section.component in SHEARS else 1.0
    value = turn * float(peak.results[section.component])
    m_x, m_y, m_xy = peak.results[1:4].tolist()
    of_beams = None
    if peak.beam_range is not None:
        low, high = sorted(turn * v for v in peak.beam_range)
        of_beams = (low, high)
    for hand, width, mean in zip(one.hands, one.widths, peak.means, strict=True):
        yield Finding(
            reference="",
            bars=strip.bars,
            kind=section.kind,
            place=hand.place or section.place,
            where=section.where,
            lines=hand.lines or section.lines,
            effect=section.effect,
            component=section.component,
            vehicle=one.source.name,
            strip=hand.strip,
            clause=hand.clause,
            edition=hand.edition,
            span=hand.span,
            width=hand.width,
            width_of=hand.width_of,
            method_effect=hand.effect,
            strip_value=hand.value,
            strip_station=hand.station,
            strip_direction=hand.direction,
            reason=hand.reason,
            plate_peak=value,
            at=peak.point,
            position=one.source.position(reading.number),
            plate_mean=value if mean is None else turn * mean,
            mean_width=width or 0.0,
            depth_mean=turn * peak.depth_mean,
            total=turn * peak.total,
            coexisting=(m_x, m_y, m_xy),
            beam_range=of_beams,
            point=reading.point,
            number=reading.number,
            whole_model=one.source.whole_model,
            held=one.held,
        )
