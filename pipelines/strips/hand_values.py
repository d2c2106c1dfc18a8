"""Every hand strip's value for the design sections of a deck, of one vehicle or load model."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from pipelines.deck.deck import Deck
from pipelines.errors import MethodRangeError
from pipelines.standards.actions.loads import Axle, LoadModel, Vehicle
from pipelines.standards.strip_widths.aashto_table import DECK_TABLE, require_girders
from pipelines.standards.strip_widths.method import Effect, StripInput, StripMethod
from pipelines.standards.strip_widths.sets import StripSet
from pipelines.strips.chosen import ChosenStrip
from pipelines.strips.clearances import edge_distances
from pipelines.strips.deck_strip import StripDeck
from pipelines.strips.frame import mean_span
from pipelines.strips.hand_strip import NONE, HandStrip, as_chosen
from pipelines.strips.lanes import LaneStrips
from pipelines.strips.load_models import (
    model_edge_hogging,
    model_edge_moments,
)
from pipelines.strips.moments import (
    Limits,
    StripMoment,
    edge_hogging,
    edge_moments,
)
from pipelines.strips.sections import Section
from pipelines.strips.shears import StripShear

# Why a value of a strip cannot stand beside the plate's.
NO_MOMENT = "the strip has no moment here"
RIGID = "the strip stands on rigid lines, this line yields"
STIFFENED = "a beam or support stiffens the edge, the rules are for edges that are free"


@dataclass(kw_only=True)
class HandStrips:
    """The strips of one vehicle or load model, found once and looked up by section.

    vehicle : the vehicle, or the first one of the load model. depth : effective depth for shear
    [m]. lanes : all that stands on the strip; limits : of the vehicle's centre line, on a strip
    across traffic. edges : the moments along free edges, once they have been asked for.
    deck_table : factor on the moments of AASHTO's table A4-1, None where the load is not HL-93.
    chosen : the strip that the run is about; sets : all widths, its own among them.
    """

    deck: Deck
    strip: StripDeck
    vehicle: Vehicle
    depth: float
    moments: Mapping[tuple[str, ...], list[StripMoment]]
    shears: Mapping[str, list[StripShear]]
    lanes: LaneStrips
    limits: Limits | None
    chosen: ChosenStrip
    sets: tuple[StripSet, ...]
    edges: dict[tuple[str, bool, int], tuple[StripMoment, ...]] = field(default_factory=dict)
    deck_table: float | None = None

    def at(self, section: Section, bay: int | None = None) -> tuple[HandStrip, ...]:
        """All methods for a section, the chosen one first; `bay` is the one in which the peak along
        an edge lies."""
        found = [as_chosen(hand, section, self.chosen) for hand in self._at(section, bay)]
        return tuple(sorted(found, key=lambda hand: not hand.chosen))

    def _at(self, section: Section, bay: int | None) -> tuple[HandStrip, ...]:
        """All methods for a section."""
        if section.kind == "sagging":
            found = self._moments("bay", section.lines) + self._deck_table(section.lines)
            return found + self._by_rule("sagging", section.lines)
        if section.kind in ("hogging", "face"):
            at = "centre line" if section.kind == "hogging" else "face"
            found = self._moments(at, section.lines)
            return found + (self._by_rule("hogging", section.lines) if found else ())
        if section.kind == "over line":
            return self._over_line(section.lines)
        if section.kind == "transverse":
            return tuple(self._share(one, s) for s, one in self._by_set("bay", section.lines))
        if section.kind == "shear":
            return self._shear(section)
        if section.kind == "corner":
            return self._simple_end(section.lines)
        if section.kind in ("joint", "joint face"):
            return self._simple_end(self._bay_at(section.lines[0]))
        if section.kind == "edge hogging":
            return self._edge_hogging(section.edge, section.lines[0], "centre line")
        if section.kind == "edge face":
            return self._edge_hogging(section.edge, section.lines[0], "face")
        if section.kind == "edge":
            assert bay is not None
            return self._edge(section.edge, bay)
        return (_none("no hand strip bends that way; half-width edge rules are for other edges"),)

    def _moments(self, at: str, lines: tuple[str, ...]) -> tuple[HandStrip, ...]:
        return tuple(_hand(one, one.strips) for one in self.moments.get((at, *lines), []))

    def _deck_table(self, lines: tuple[str, ...]) -> tuple[HandStrip, ...]:
        """Table A4-1 for a bay of a strip across traffic under HL-93 axles."""
        if self.deck_table is None or self.strip.bars != "across":
            return ()
        method = DECK_TABLE
        assert method.moment is not None
        axle = max(self.vehicle.axles, key=lambda a: a.load)
        span_input = self.strip.span_input(axle, self._bay(lines))
        girders = [support.at for support in self.strip.beam.supports]
        value, reason = None, ""
        try:
            require_girders(np.array(girders))
            value = self.deck_table * float(method.moment(span_input, axle.load / len(axle.wheels)))
        except MethodRangeError as error:
            reason = str(error)
        name = method.name
        found = HandStrip(
            strip=name,
            clause=method.clause,
            edition=method.edition,
            span=span_input.span,
            width=None,
            width_of="",
            effect=method.effect,
            value=value,
            reason=reason,
            mark=method.mark,
            note=method.note,
        )
        return (found,)

    def _by_rule(self, effect: Effect, lines: tuple[str, ...]) -> tuple[HandStrip, ...]:
        """Moments that rules of the user's own give for a bay, or over a line, there those of the
        bays beside it."""
        rules = [one for one in self.deck.own.strips.moments if one.effect == effect]
        if effect == "sagging":
            bays = [self._bay(lines)]
        else:
            line = self._bay(lines)
            bays = [bay for bay in (line - 1, line) if bay in self.strip.bays]
        return tuple(self._largest(rule, bays) for rule in rules)

    def _largest(self, rule: StripMethod, bays: Sequence[int]) -> HandStrip:
        """The largest moment that a rule gives any axle of the load by itself in some bays."""
        assert rule.moment is not None
        value, reason = None, ""
        try:
            value = max(
                float(rule.moment(centred(self.strip.span_input(axle, bay)), carried(rule, axle)))
                * factor
                for vehicle, factor in factored(self.lanes.model)
                for axle in vehicle.axles
                for bay in bays
            )
        except MethodRangeError as error:
            reason = str(error)
        spans = [self.strip.span_input(self.vehicle.axles[0], bay).span for bay in bays]
        sign = -1.0 if rule.effect == "hogging" else 1.0
        return HandStrip(
            strip=rule.standard,
            clause=rule.clause,
            edition=rule.edition,
            span=max(spans),
            width=None,
            width_of="",
            effect=rule.effect,
            value=None if value is None else sign * value,
            reason=reason,
            mark=rule.mark,
            note=rule.note,
        )

    def _by_set(self, at: str, lines: tuple[str, ...]) -> list[tuple[StripSet, StripMoment]]:
        sets = {method.name: method for method in self.sets}
        return [(sets[one.strips], one) for one in self.moments.get((at, *lines), [])]

    def _share(self, moment: StripMoment, strips: StripSet) -> HandStrip:
        bay = self._bay(moment.lines)
        hand = _hand(moment, moment.strips)
        try:
            share = strips.share.of(self.strip.span_input(self.vehicle.axles[0], bay))
        except MethodRangeError as error:
            return replace(hand, value=None, reason=str(error))
        words = f"{100.0 * share:.3g} % of the strip's moment, {strips.share.clause}"
        value = None if hand.value is None else share * hand.value
        return replace(hand, clause=words, value=value, mark=strips.share.mark)

    def _over_line(self, lines: tuple[str, ...]) -> tuple[HandStrip, ...]:
        """Sagging over a line: on a beam most of it comes from the beam's own deflection, which a
        strip on rigid lines has not."""
        line = self.deck.line(lines[0])
        yields = line is not None and line.support == "beam"
        return tuple(
            replace(moment, reason=RIGID) if yields and moment.value is not None else moment
            for moment in self._moments("over line", lines)
        )

    def _simple_end(self, lines: tuple[str, ...]) -> tuple[HandStrip, ...]:
        """Strips have no hogging at a simple end of a bay."""
        return tuple(
            moment
            if moment.value is None
            else replace(
                moment, value=0.0, clause="simple end, no hogging", width=None, reason=NO_MOMENT
            )
            for moment in self._moments("bay", lines)
        )

    def _bay_at(self, line: str) -> tuple[str, ...]:
        """The bay at an end line."""
        names = [support.name for support in self.strip.beam.supports]
        return tuple(names[:2] if line == names[0] else names[-2:])

    def _bay(self, lines: tuple[str, ...]) -> int:
        names = [support.name for support in self.strip.beam.supports]
        return names.index(lines[0])

    def _shear(self, section: Section) -> tuple[HandStrip, ...]:
        inward = 1.0 if section.sign > 0 else -1.0
        at = {support.name: support.at for support in self.strip.beam.supports}[section.lines[0]]
        return tuple(
            _hand(one, one.method.standard)
            for one in self.shears[section.lines[0]]
            if inward * (one.section - at) > 0.0
        )

    def _edge(self, edge: str, bay: int) -> tuple[HandStrip, ...]:
        supports = self.strip.beam.supports
        lines = (supports[bay].name, supports[bay + 1].name)
        place = f"{edge} edge, bay {lines[0]}\u2013{lines[1]}"
        gap = self.strip.on_deck.stiffening(edge)
        span = supports[bay + 1].at - supports[bay].at
        if gap <= 0.5 * span:
            return (replace(_none(STIFFENED), place=place, lines=lines),)
        found = self._at_edge(edge, False, bay, "bay")
        return tuple(replace(one, place=place, lines=lines) for one in found)

    def _edge_hogging(
        self, edge: str, line: str, at: Literal["centre line", "face"]
    ) -> tuple[HandStrip, ...]:
        """Hogging over a line of the strips along a free edge."""
        if self.strip.on_deck.stiffening(edge) <= 0.5 * mean_span(self.strip):
            return (_none(STIFFENED),)
        names = [support.name for support in self.strip.beam.supports]
        support = names.index(line)
        found = self._at_edge(edge, True, support, at)
        return found or self._simple_end(self._bay_at(line))

    def _at_edge(
        self, edge: str, hogging: bool, number: int, at: Literal["bay", "centre line", "face"]
    ) -> tuple[HandStrip, ...]:
        key = (edge, hogging, number)
        if key not in self.edges:
            self.edges[key] = self._along_edge(*key)
        return tuple(_hand(one, one.strips) for one in self.edges[key] if one.at == at)

    def _along_edge(self, edge: str, hogging: bool, number: int) -> tuple[StripMoment, ...]:
        """Moments along a free edge, sagging in the bay of that number or hogging over the line of
        that number."""
        strip, vehicle, sets, lanes = self.strip, self.vehicle, self.sets, self.lanes
        distances = edge_distances(self.deck, strip, vehicle, edge)
        if lanes.model.whole:
            over_lanes = model_edge_hogging if hogging else model_edge_moments
            return over_lanes(lanes, edge, distances, number, sets)
        if hogging:
            return edge_hogging(
                strip, vehicle, edge, distances, number, sets, lanes.directions, self.limits
            )
        return edge_moments(
            strip, vehicle, edge, distances, (number,), sets, lanes.directions, self.limits
        )


def centred(one: StripInput) -> StripInput:
    """The load in the middle of its span."""
    return replace(one, position=0.5 * one.span)


def carried(rule: StripMethod, axle: Axle) -> float:
    """What of an axle a rule for a wheel, a line of wheels or an axle is asked about [N]."""
    shares = {"wheel": 1.0 / len(axle.wheels), "wheel line": 0.5}
    return shares.get(rule.per, 1.0) * axle.load


def factored(model: LoadModel) -> Iterator[tuple[Vehicle, float]]:
    """Every vehicle of a load model with all factors on it, impact too, the largest that its lane
    may have."""
    for k, kind in enumerate(model.kinds):
        most = max((one.factor for one in model.sets if k in one.kinds), default=1.0)
        for vehicle in kind.vehicles:
            yield vehicle, most * kind.factor * vehicle.impact


def _hand(one: StripMoment | StripShear, strip: str) -> HandStrip:
    return HandStrip(
        strip=strip,
        clause=one.method.clause,
        edition=one.method.edition,
        span=one.span,
        width=one.width,
        width_of=_carried(one.axles),
        effect=one.method.effect,
        value=one.value,
        reason=one.reason,
        station=one.station,
        direction=one.direction,
        mark=one.method.mark,
        note=one.method.note,
    )


def _carried(axles: int) -> str:
    return "axle" if axles == 1 else f"{axles} axles together"


def _none(reason: str) -> HandStrip:
    return HandStrip(
        strip=NONE,
        clause="",
        edition="",
        span=None,
        width=None,
        width_of="",
        effect="",
        value=None,
        reason=reason,
    )
