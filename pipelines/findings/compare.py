"""Findings: plate against strip, section by section.

Every design section under each vehicle alone and under each load model: the plate's peak, its mean
over a stated width and every hand strip. One vehicle is not a standard's load model, so under it no
row says that a strip covers.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.envelopes.extremes import FieldEnvelope
from pipelines.envelopes.governing_loads import governing_arrangement_loads
from pipelines.errors import MethodRangeError
from pipelines.findings.finding import SHEARS, Finding, PlateValue
from pipelines.findings.plate_values import (
    Found,
    Reading,
    Source,
    Wanted,
    found_values,
    peak_reading,
    wanted_at,
)
from pipelines.model.responses import SolvedDeck
from pipelines.standards.strip_widths.method import Bars
from pipelines.strips.deck_strip import StripDeck, strip_decks
from pipelines.strips.frame import frame
from pipelines.strips.hand_values import NO_MOMENT, HandStrips
from pipelines.strips.sections import Section, sections
from pipelines.strips.under_traffic import apart, hands_of
from pipelines.traffic.positions import WheelPatches

# Of the largest plate value of the same result: below it a value is small.
SMALL = 0.2
# Of the largest value of the same strip under the same load: below it the strip has no moment.
NOTHING = 0.01


def strip_findings(
    solved: SolvedDeck,
    traffic: Sequence[TrafficEnvelope],
    hands: Mapping[tuple[Bars, str], HandStrips] | None = None,
) -> tuple[tuple[Finding, ...], str]:
    """Findings of every case of traffic, method and section, worst first; why there are none, if
    so.

    hands : the deck's hand strips (`hands_of`), found here if they are not at hand.
    """
    deck = solved.deck
    if not traffic:
        return (), "the deck file has no traffic"
    try:
        strips = strip_decks(deck)
    except MethodRangeError as error:
        return (), str(error)
    hands = hands_of(deck) if hands is None else hands
    found: list[Finding] = []
    for strip in strips:
        at = frame(strip, solved)
        wanted: list[Wanted] = []
        for source in _sources(solved, strip, traffic, hands):
            readings = [
                of_group(group, source.envelope)
                for group in _groups(sections(at, source.hands.depth))
            ]
            loaded = [reading for reading in readings if reading.number >= 0]
            for reading, held in zip(loaded, source.held(loaded), strict=True):
                wanted.append(wanted_at(at, source, reading, held))
        if not wanted:
            continue
        values = found_values(at, solved, wanted)
        for one, peak in _worst_rows(wanted, values):
            found += _findings(strip, one, peak)
    if not found:
        return (), "no traffic loads a strip's sections"
    ordered = worst_first(_without_nothing(found))
    return tuple(replace(f, reference=f"F{k}") for k, f in enumerate(ordered, start=1)), ""


def _worst_rows(
    wanted: Sequence[Wanted], values: Sequence[Found]
) -> Iterable[tuple[Wanted, Found]]:
    """What is read and found, of several rows of points beside one section the larger."""
    best: dict[tuple[str, str, str], tuple[Wanted, Found]] = {}
    for one, peak in zip(wanted, values, strict=True):
        section = one.reading.section
        key = one.source.name, section.kind, section.place
        k = section.component
        if key not in best or abs(peak.results[k]) > abs(best[key][1].results[k]):
            best[key] = one, peak
    return best.values()


def _without_nothing(findings: Sequence[Finding]) -> list[Finding]:
    """The findings, those of strips that have next to no moment where it is read told as such."""

    def key(finding: Finding) -> tuple[str, str, str, str]:
        return finding.bars, finding.load, finding.hand.strip, finding.unit

    largest: dict[tuple[str, str, str, str], float] = {}
    for one in findings:
        largest[key(one)] = max(largest.get(key(one), 0.0), abs(one.hand.value or 0.0))
    return [
        replace(finding, hand=replace(finding.hand, reason=NO_MOMENT))
        if finding.hand.value is not None
        and not finding.hand.reason
        and abs(finding.hand.value) <= NOTHING * largest[key(finding)]
        else finding
        for finding in findings
    ]


def worst_first(findings: Sequence[Finding]) -> list[Finding]:
    """The findings by the strip's share of the plate; small values, whose shares say little, after
    the others, and what is not compared last."""
    largest: dict[int, float] = {}
    for one in findings:
        largest[one.section.component] = max(
            largest.get(one.section.component, 0.0), abs(one.plate.peak)
        )

    def order(finding: Finding) -> tuple[int, float]:
        if finding.ratio is None:
            return 2, 0.0
        return int(
            abs(finding.plate.peak) < SMALL * largest[finding.section.component]
        ), finding.ratio

    return sorted(findings, key=order)


def _sources(
    solved: SolvedDeck,
    strip: StripDeck,
    traffic: Sequence[TrafficEnvelope],
    hands: Mapping[tuple[Bars, str], HandStrips],
) -> Iterator[Source]:
    """What loads the deck and its strip: every load model, and every vehicle that drives alone."""
    for envelope in traffic:

        def held(
            readings: Sequence[Reading], envelope: TrafficEnvelope = envelope
        ) -> list[WheelPatches]:
            return governing_arrangement_loads(
                solved, envelope, [reading.place for reading in readings]
            )

        fields = {envelope.name: envelope.fields} if envelope.whole else envelope.of_vehicles
        for name in apart(envelope.model):
            yield Source(
                name=name,
                whole_model=envelope.whole,
                envelope=fields[name],
                hands=hands[strip.bars, name],
                position=envelope.position,
                held=held,
                joint=envelope.joint,
            )


def _groups(all_sections: Iterable[Section]) -> Iterator[list[Section]]:
    """Sections of which the worse governs one row: both faces, both sides of a line."""
    groups: dict[tuple[Any, ...], list[Section]] = {}
    for section in all_sections:
        groups.setdefault((section.kind, section.place, section.row), []).append(section)
    yield from (group for group in groups.values() if any(len(one.points) for one in group))


def of_group(group: Sequence[Section], envelope: FieldEnvelope) -> Reading:
    """The worst of the sections of a place, its section with the points of all of them."""
    found = peak_reading(group, envelope)
    points = np.unique(np.concatenate([one.points for one in group]))
    return replace(found, section=replace(found.section, points=points))


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
    hands = one.source.hands
    of = hands.lanes.model if one.source.whole_model else hands.vehicle
    for hand, width, mean in zip(one.hands, one.widths, peak.means, strict=True):
        yield Finding(
            reference="",
            bars=strip.bars,
            section=replace(
                section, place=hand.place or section.place, lines=hand.lines or section.lines
            ),
            load=one.source.name,
            whole_model=one.source.whole_model,
            load_source=of.cited,
            load_mark=of.mark,
            hand=hand,
            plate=PlateValue(
                component=section.component,
                peak=value,
                at=peak.point,
                position=one.source.position(reading.number),
                held=one.held,
                mean=value if mean is None else turn * mean,
                mean_width=width or 0.0,
                depth_mean=turn * peak.depth_mean,
                total=turn * peak.total,
                coexisting=(m_x, m_y, m_xy),
                beam_range=of_beams,
                point=reading.point,
                number=reading.number,
            ),
        )
