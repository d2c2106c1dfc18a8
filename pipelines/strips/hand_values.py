"""Every hand strip's value for the design sections of a deck, of one vehicle or load model."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from pipelines.deck.deck import Deck
from pipelines.deck.deck import Direction as Travel
from pipelines.standards.actions.loads import LoadModel, Vehicle
from pipelines.standards.resistance.bars import FACES, Direction
from pipelines.standards.strip_widths.method import Bars
from pipelines.standards.strip_widths.sets import FIRST_SET, StripSet
from pipelines.strips.deck_strip import StripDeck
from pipelines.strips.lanes import LaneStrips
from pipelines.strips.load_models import model_edge_moments, model_moments, model_shears
from pipelines.strips.moments import Limits, StripMoment, edge_moments, strip_moments
from pipelines.strips.sections import Section, stiffening
from pipelines.strips.shears import StripShear, strip_shears
from pipelines.strips.trains import DIRECTIONS

# Share of the thickness that the effective depth is taken as while no bars are given.
DEPTH_SHARE = 0.8


@dataclass(frozen=True)
class HandStrip:
    """A hand method's value at a section; units and None as in `Finding`.

    place, lines : in words and by name where they differ from the section's.
    station, direction : of the governing load position on the strip.
    """

    strip: str
    clause: str
    edition: str
    span: float | None
    width: float | None
    width_of: str
    effect: str
    value: float | None
    reason: str
    place: str = ""
    lines: tuple[str, ...] = ()
    station: float | None = None
    direction: Travel | None = None


@dataclass
class HandStrips:
    """The strips of one vehicle or load model, found once and looked up by section.

    vehicle : the vehicle, or the first one of the load model. depth : effective depth for shear
    [m]. edge_moments : what gives those along a free edge in a bay, kept in `edges`.
    """

    deck: Deck
    strip: StripDeck
    vehicle: Vehicle
    depth: float
    moments: Mapping[tuple[str, ...], list[StripMoment]]
    shears: Mapping[str, list[StripShear]]
    edge_moments: Callable[[str, Mapping[str, float], int], tuple[StripMoment, ...]]
    edges: dict[tuple[str, int], tuple[StripMoment, ...]] = field(default_factory=dict)

    def at(self, section: Section, bay: int | None = None) -> tuple[HandStrip, ...]:
        """All methods for a section; `bay` is the one in which the peak along an edge lies."""
        if section.kind == "sagging":
            return self._moments("bay", section.lines)
        if section.kind == "hogging":
            return self._moments("centre line", section.lines)
        if section.kind == "face":
            return self._moments("face", section.lines)
        if section.kind == "over line":
            return self._moments("over line", section.lines)
        if section.kind == "transverse":
            return tuple(self._share(one, s) for s, one in self._by_set("bay", section.lines))
        if section.kind == "shear":
            return self._shear(section)
        if section.kind == "corner":
            return self._corner(section.lines)
        if section.kind == "edge":
            assert bay is not None
            return self._edge(section.edge, bay)
        return (_none("no hand strip bends that way; half-width edge rules are for other edges"),)

    def _moments(self, at: str, lines: tuple[str, ...]) -> tuple[HandStrip, ...]:
        return tuple(_hand(one, one.strips) for one in self.moments.get((at, *lines), []))

    def _by_set(self, at: str, lines: tuple[str, ...]) -> list[tuple[StripSet, StripMoment]]:
        sets = {one.name: one for one in FIRST_SET}
        return [(sets[one.strips], one) for one in self.moments.get((at, *lines), [])]

    def _share(self, one: StripMoment, strips: StripSet) -> HandStrip:
        bay = self._bay(one.lines)
        share = strips.share.of(self.strip.span_input(self.vehicle.axles[0], bay))
        hand = _hand(one, one.strips)
        words = f"{100.0 * share:.3g} % of the strip's moment, {strips.share.clause}"
        value = None if hand.value is None else share * hand.value
        return replace(hand, clause=words, value=value)

    def _corner(self, lines: tuple[str, ...]) -> tuple[HandStrip, ...]:
        """Strips have no hogging at a simple end."""
        return tuple(
            replace(one, value=0.0, clause="simple end, no hogging", width=None)
            for one in self._moments("bay", lines)
            if one.value is not None
        )

    def _bay(self, lines: tuple[str, ...]) -> int:
        names = [support.name for support in self.strip.beam.supports]
        return names.index(lines[0])

    def _shear(self, section: Section) -> tuple[HandStrip, ...]:
        inward = 1.0 if section.sign > 0 else -1.0
        at = {one.name: one.at for one in self.strip.beam.supports}[section.lines[0]]
        return tuple(
            _hand(one, one.method.standard)
            for one in self.shears[section.lines[0]]
            if inward * (one.section - at) > 0.0
        )

    def _edge(self, edge: str, bay: int) -> tuple[HandStrip, ...]:
        supports = self.strip.beam.supports
        lines = (supports[bay].name, supports[bay + 1].name)
        place = f"{edge} edge, bay {lines[0]}\u2013{lines[1]}"
        gap = stiffening(self.deck, edge)
        span = supports[bay + 1].at - supports[bay].at
        if gap <= 0.5 * span:
            words = "a beam or support stiffens the edge, the rules are for edges that are free"
            return (replace(_none(words), place=place, lines=lines),)
        if (edge, bay) not in self.edges:
            distances = edge_distances(self.deck, self.strip, self.vehicle, edge)
            self.edges[edge, bay] = self.edge_moments(edge, distances, bay)
        found = self.edges[edge, bay]
        return tuple(replace(_hand(one, one.strips), place=place, lines=lines) for one in found)


def edge_distances(deck: Deck, strip: StripDeck, vehicle: Vehicle, edge: str) -> dict[str, float]:
    """From a free edge along the strip to the nearest wheel's centre and to what
    `StripSet.edge_from` calls the rail [m]."""
    traffic = deck.traffic
    assert traffic is not None
    if strip.bars == "across":
        gap = stiffening(deck, edge)
        wheel = 0.5 * min(axle.patch[0] for axle in vehicle.axles)
        return {"wheel": wheel, "rail": gap if np.isfinite(gap) else 0.0}
    low, high = centre_limits(deck, vehicle)["forward"]
    reach = [y for axle in vehicle.axles for y in axle.wheels]
    offsets = deck.plan.line_offsets(np.array(deck.plan.u_range))
    if edge == "left":
        slab = float(offsets[:, 0].max())
        return {"wheel": low + min(reach) - slab, "rail": traffic.carriageway[0] - slab}
    slab = float(offsets[:, -1].min())
    return {"wheel": slab - high - max(reach), "rail": slab - traffic.carriageway[1]}


def centre_limits(deck: Deck, vehicle: Vehicle) -> Limits:
    """Offsets between which the vehicle's centre line runs, by direction [m]."""
    traffic = deck.traffic
    assert traffic is not None
    if traffic.offsets is not None:
        both = (min(traffic.offsets), max(traffic.offsets))
        return {"forward": both, "reverse": both}
    return {d: traffic.offset_range(vehicle, d) for d in DIRECTIONS}


def hand_strips(deck: Deck, strip: StripDeck, vehicle: Vehicle) -> HandStrips:
    """All hand strips of a vehicle on a deck's strip."""
    assert deck.traffic is not None
    directions = DIRECTIONS if deck.traffic.directions == "both" else DIRECTIONS[:1]
    limits = centre_limits(deck, vehicle) if strip.bars == "across" else None
    depth = effective_depth(deck, strip.bars)

    def edges(edge: str, distances: Mapping[str, float], bay: int) -> tuple[StripMoment, ...]:
        return edge_moments(
            strip, vehicle, edge, distances, (bay,), directions=directions, limits=limits
        )

    moments = strip_moments(strip, vehicle, directions=directions, limits=limits)
    shears = strip_shears(strip, vehicle, depth, directions=directions, limits=limits)
    return _looked_up(deck, strip, vehicle, depth, moments, shears, edges)


def model_hand_strips(deck: Deck, strip: StripDeck, model: LoadModel) -> HandStrips:
    """All hand strips of a load model on a deck's strip."""
    lanes = LaneStrips(deck, strip, model)
    depth = effective_depth(deck, strip.bars)

    def edges(edge: str, distances: Mapping[str, float], bay: int) -> tuple[StripMoment, ...]:
        return model_edge_moments(lanes, edge, distances, bay)

    first = model.kinds[0].vehicles[0]
    moments, shears = model_moments(lanes), model_shears(lanes, depth)
    return _looked_up(deck, strip, first, depth, moments, shears, edges)


def _looked_up(
    deck: Deck,
    strip: StripDeck,
    vehicle: Vehicle,
    depth: float,
    all_moments: Sequence[StripMoment],
    all_shears: Sequence[StripShear],
    edges: Callable[[str, Mapping[str, float], int], tuple[StripMoment, ...]],
) -> HandStrips:
    moments: dict[tuple[str, ...], list[StripMoment]] = {}
    for one in all_moments:
        moments.setdefault((one.at, *one.lines), []).append(one)
    shears: dict[str, list[StripShear]] = {}
    for two in all_shears:
        shears.setdefault(two.line, []).append(two)
    return HandStrips(deck, strip, vehicle, depth, moments, shears, edges)


def effective_depth(deck: Deck, bars: Bars) -> float:
    """Effective depth for shear of a strip [m]: the lesser of both faces' bars along it; without
    bars in the deck file an assumed share of the thickness."""
    if deck.reinforcement is None:
        return DEPTH_SHARE * deck.slab.thickness
    given = deck.reinforcement.bars
    direction: Direction = "x" if bars == "parallel" else "y"
    return min(given.effective_depth((face, direction)) for face in FACES)


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
    )


def _carried(axles: int) -> str:
    return "axle" if axles == 1 else f"{axles} axles together"


def _none(reason: str) -> HandStrip:
    return HandStrip("none", "", "", None, None, "", "", None, reason)
