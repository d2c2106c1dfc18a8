"""Back-figured widths: the strip's resultant over what the plate finds, beside each code's width.

A strip's resultant is the moment or shear of the one-way beam on rigid lines under all that stands
on the deck at its worst place: a vehicle alone, or every lane of a load model with the distributed
loads of the whole carriageway, with the wheels spread along the strip as they are on the plate (on
a strip across traffic the wheels of the heaviest axles, without distributed loads). Over the
plate's peak it gives the width that a strip would have to use; over a code's strip value the width
that the code does use, so the two compare as they stand.
"""

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from pipelines.deck.deck import Deck
from pipelines.deck.traffic import Direction, Traffic
from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.errors import MethodRangeError
from pipelines.findings.finding import (
    SHEARS,
    Finding,
    at_centre_line,
    governing,
    without_centre_lines,
)
from pipelines.model.responses import SolvedDeck
from pipelines.standards.actions.loads import LaneKind, LaneSet, LoadModel, alone
from pipelines.standards.strip_widths.method import Bars
from pipelines.strips.beam import moment_lines, shear_lines
from pipelines.strips.clearances import centre_limits
from pipelines.strips.deck_strip import StripDeck, strip_decks
from pipelines.strips.frame import M_X, M_Y, frame
from pipelines.strips.piecewise import Piecewise, highest
from pipelines.strips.sections import Kind
from pipelines.strips.trains import (
    DIRECTIONS,
    Extreme,
    Formed,
    Reach,
    StripLoad,
    Train,
    bay_sagging,
    distinct,
    response,
    support_hogging,
    worst,
)
from pipelines.strips.under_traffic import effective_depth
from pipelines.traffic.positions import dispersed
from pipelines.traffic.trains import spreads, widened
from plate.arrays import Floats

# Widths are shown where the plate's moment is at least this share of its peak.
SHOWN = 0.4
# Parts of the beam over which effects of distributed loads are summed [m].
PART = 0.05
KINDS: tuple[Kind, ...] = ("sagging", "hogging", "face", "edge", "shear")
# Of the fields, with the kinds of section that each is of and the sign of their moments.
FIELDS: tuple[tuple[Kind, tuple[Kind, ...], float], ...] = (
    ("sagging", ("sagging",), 1.0),
    ("hogging", ("face", "hogging"), -1.0),
)


@dataclass(frozen=True, kw_only=True)
class BackWidth:
    """One place under one load; lengths in m, resultants in N m (N for shears), magnitudes.

    strip_resultant : of the beam on rigid lines; plate_resultant : of the plate over the whole
        line through its peak at the governing load position.
    peak, depth_mean : of the plate; at_centre : the plate's peak at the centre line of a line that
        is read beside it, else None. codes : strip and the width that it uses.
    """

    kind: Kind
    place: str
    where: str
    effect: str
    vehicle: str
    component: int
    strip_resultant: float
    plate_resultant: float
    peak: float
    depth_mean: float
    codes: tuple[tuple[str, float], ...]
    at_centre: float | None = None

    @property
    def by_peak(self) -> float:
        return self.strip_resultant / self.peak

    @property
    def by_mean(self) -> float:
        return self.strip_resultant / self.depth_mean

    @property
    def spread(self) -> float:
        """Width of the plate's own line: its resultant over its peak."""
        return self.plate_resultant / self.peak

    def entry(self) -> dict[str, Any]:
        """The row in the units of summary.json."""
        return {
            "place": self.place,
            "where": self.where,
            "effect": self.effect,
            "load": self.vehicle,
            "unit": "kN" if self.component in SHEARS else "kNm",
            "strip_resultant": 1e-3 * self.strip_resultant,
            "plate_resultant": 1e-3 * self.plate_resultant,
            "plate_peak": 1e-3 * self.peak,
            "plate_peak_at_centre_line": None if self.at_centre is None else 1e-3 * self.at_centre,
            "width_by_peak_m": self.by_peak,
            "width_by_mean_3h_m": self.by_mean,
            "width_of_plate_m": self.spread,
            "code_widths_m": dict(self.codes),
        }


def back_widths(deck: Deck, findings: Sequence[Finding]) -> tuple[BackWidth, ...]:
    """Widths for sagging, hogging where it counts, edges and support shear, of every bay, line and
    vehicle."""
    if deck.traffic is None or not findings:
        return ()
    models = models_by_name(deck.traffic)
    beams = {
        (strip.bars, name): StripBeamUnder(deck, strip, model)
        for strip in _strips(deck)
        for name, model in models.items()
    }
    groups: dict[tuple[Any, ...], list[Finding]] = {}
    for finding in without_centre_lines(findings):
        if finding.section.kind in KINDS:
            key = (
                finding.section.kind,
                finding.section.place,
                finding.section.where,
                finding.section.effect,
                finding.load,
            )
            groups.setdefault(key, []).append(finding)
    found = []
    resultants: dict[tuple[object, ...], float] = {}
    for rows in groups.values():
        first = rows[0]
        place = first.bars, first.load, _place_of(first), first.section.lines[0]
        if place not in resultants:
            resultants[place] = abs(beams[first.bars, first.load].resultant(first))
        resultant = resultants[place]
        if resultant == 0.0 or first.plate.peak == 0.0 or first.plate.depth_mean == 0.0:
            continue
        codes = [
            (f"{row.hand.strip} {row.hand.clause}", resultant / abs(row.hand.value))
            for row in rows
            if row.hand.value
        ]
        centre = at_centre_line(first, findings)
        found.append(
            BackWidth(
                kind=first.section.kind,
                place=first.section.place,
                where=first.section.where,
                effect=first.section.effect,
                vehicle=first.load,
                component=first.section.component,
                strip_resultant=resultant,
                plate_resultant=abs(first.plate.total),
                peak=abs(first.plate.peak),
                depth_mean=abs(first.plate.depth_mean),
                codes=tuple(sorted(codes)),
                at_centre=None if centre is None else abs(centre.plate.peak),
            )
        )
    order = list(models)
    return tuple(
        sorted(found, key=lambda w: (KINDS.index(w.kind), order.index(w.vehicle), w.place))
    )


def _place_of(finding: Finding) -> Kind:
    """The kind of section of the beam, which has no edges."""
    return "sagging" if finding.section.kind == "edge" else finding.section.kind


def models_by_name(traffic: Traffic) -> dict[str, LoadModel]:
    """Load models, then every vehicle that drives alone as a load model of one lane, by name."""
    return {model.name: model for model in traffic.load_models} | {
        vehicle.name: alone((vehicle,)) for vehicle in traffic.vehicles
    }


def _strips(deck: Deck) -> tuple[StripDeck, ...]:
    try:
        return strip_decks(deck)
    except MethodRangeError:
        return ()


@dataclass(frozen=True)
class StripBeamUnder:
    """The one-way beam under a load model whose strip is one metre wide."""

    deck: Deck
    strip: StripDeck
    model: LoadModel

    @property
    def directions(self) -> tuple[Direction, ...]:
        return DIRECTIONS if self.deck.required_traffic.directions == "both" else DIRECTIONS[:1]

    def resultant(self, finding: Finding) -> float:
        """The beam's moment [N m] or shear [N] for the place of a finding, as a magnitude."""
        tops = [self._worst(finding, kind) for kind in self.model.kinds]
        found = []
        for lane_set in self.model.sets:
            lanes = [(self.model.kinds[k].factor * abs(tops[k].value), k) for k in lane_set.kinds]
            total = lane_set.factor * sum(value for value, _ in lanes)
            pressure = self._pressure(lane_set)
            if pressure:
                total += pressure * self._area(self._lines(finding, tops[max(lanes)[1]]))[0]
            found.append(float(total))
        return max(found)

    def envelope(self, s: Floats, sign: float) -> Floats:
        """Largest sagging (sign = 1) or hogging (-1) moment at stations s (n,) [N m]."""
        lines = moment_lines(self.strip.beam, s, "right")
        lines = lines if sign > 0 else -lines
        area = self._area(lines)
        lanes = []
        for kind in self.model.kinds:
            best = np.zeros(len(s))
            for train, directions, reach in self._trains(kind):
                formed: Formed = {}
                for direction in directions:
                    total = response(lines, train, direction, formed)
                    best = np.maximum(best, highest(total, reach)[0])
            lanes.append(kind.factor * best)
        sums = [
            lane_set.factor * sum(lanes[k] for k in lane_set.kinds)
            + self._pressure(lane_set) * area
            for lane_set in self.model.sets
        ]
        return np.asarray(np.max(sums, axis=0))

    def _trains(self, kind: LaneKind) -> Iterator[tuple[Train, Sequence[Direction], Reach]]:
        """The vehicles of a lane on a strip along traffic with all axles, on one across it with the
        heaviest axle's wheels; with their directions and the range of the first load in these."""
        traffic, thickness = self.deck.required_traffic, self.deck.slab.thickness
        for base in kind.vehicles:
            for vehicle in (widened(base, by) for by in spreads(base)):
                impact = vehicle.impact
                if self.strip.bars == "parallel":
                    train = Train(
                        tuple(
                            StripLoad(
                                a.at, impact * a.load, dispersed(a.patch, traffic, thickness)[0]
                            )
                            for a in vehicle.axles
                        )
                    )
                else:
                    axle = max(vehicle.axles, key=lambda a: a.load)
                    length = dispersed(axle.patch, traffic, thickness)[1]
                    share = impact * axle.load / len(axle.wheels)
                    train = Train(tuple(StripLoad(-y, share, length) for y in axle.wheels))
                directions = distinct(train, self.directions)
                if self.strip.bars == "parallel":
                    yield train, directions, None
                else:
                    limits = centre_limits(self.deck, vehicle)
                    yield from ((train, (one,), limits[one]) for one in directions)

    def _worst(self, finding: Finding, kind: LaneKind) -> Extreme:
        """The worst of the vehicles of a lane for the place of a finding."""
        found = [self._search(finding, *driven) for driven in self._trains(kind)]
        return max(found, key=lambda e: abs(e.value))

    def _search(
        self, finding: Finding, train: Train, directions: Sequence[Direction], reach: Reach
    ) -> Extreme:
        beam = self.strip.beam
        names = [support.name for support in beam.supports]
        first = names.index(finding.section.lines[0])
        if _place_of(finding) == "sagging":
            return bay_sagging(beam, first, train, directions, reach)
        line = beam.supports[first]
        if finding.section.kind in ("hogging", "face"):
            off = line.hogging_at if finding.section.kind == "face" else 0.0
            return support_hogging(beam, first, train, off, directions, reach)
        away = 0.5 * line.width + effective_depth(self.deck, self.strip.bars)
        found = [Extreme(value=0.0, section=line.at, side="right")]
        for sign in (-1.0, 1.0):
            at = np.array([line.at + sign * away])
            if beam.start < at[0] < beam.end:
                lines = shear_lines(beam, at, "right")
                found.append(worst(lines, train, at, "right", sign, directions, reach))
        return max(found, key=lambda e: abs(e.value))

    def _lines(self, finding: Finding, top: Extreme) -> Piecewise:
        """The effect of a unit load at any station on what `_search` found, its sign positive."""
        form = shear_lines if finding.section.kind == "shear" else moment_lines
        lines = form(self.strip.beam, [top.section], top.side)
        return -lines if top.value < 0.0 else lines

    def _pressure(self, lane_set: LaneSet) -> float:
        """Distributed load per metre of the beam [N/m], on a strip along traffic."""
        if self.strip.bars == "across":
            return 0.0
        low, high = self.deck.required_traffic.carriageway
        kinds = [self.model.kinds[k] for k in lane_set.kinds]
        lanes = sum(kind.pressure * kind.width for kind in kinds)
        return self.model.pressure * (high - low) + lane_set.factor * lanes

    def _area(self, lines: Piecewise) -> Floats:
        """Integrals (n,) of the positive parts of effects over the beam."""
        beam = self.strip.beam
        edges = np.linspace(beam.start, beam.end, int(np.ceil((beam.end - beam.start) / PART)) + 1)
        middles = 0.5 * (edges[1:] + edges[:-1])
        return np.asarray(np.maximum(lines.at(middles), 0.0).sum(axis=1) * (edges[1] - edges[0]))


@dataclass(frozen=True, eq=False)
class WidthField:
    """Widths (n_point,) [m] at the field points that a strip along `bars` would have to use there
    for the envelope under a load; nan where they are not shown."""

    bars: Bars
    kind: Kind
    load: str
    widths: Floats


def width_fields(
    solved: SolvedDeck,
    traffic: Sequence[TrafficEnvelope],
    findings: Sequence[Finding],
) -> tuple[WidthField, ...]:
    """The field, for sagging and hogging along each strip, of the load that governs."""
    deck = solved.deck
    if not traffic or deck.traffic is None or not findings:
        return ()
    models = models_by_name(deck.traffic)
    fields = {
        name: fields
        for case in traffic
        for name, fields in (
            {case.name: case.fields} if case.whole else dict(case.of_vehicles)
        ).items()
    }
    found, counted = [], without_centre_lines(findings)
    for strip in strip_decks(deck):
        at = frame(strip, solved)
        component = M_X if strip.bars == "parallel" else M_Y
        for kind, kinds, sign in FIELDS:
            one = governing(counted, *kinds)
            if one is None:
                continue
            extremes = fields[one.load].extremes
            values = (extremes.maximum if sign > 0 else extremes.minimum)[component]
            # Near singular places, and over the widths of supports, the plate's moment is not read,
            # nor is a width.
            read = solved.readable if sign > 0 else solved.hogging_readable
            values = np.where(read, values, 0.0)
            widths = width_field(deck, strip, models[one.load], at.s, values, sign)
            if np.isfinite(widths).any():
                found.append(WidthField(strip.bars, kind, one.load, widths))
    return tuple(found)


def width_field(
    deck: Deck, strip: StripDeck, model: LoadModel, s: Floats, values: Floats, sign: float
) -> Floats:
    """Back-figured width (n,) [m] at points with stations s along the strip (n,), where the
    plate's envelope has `values` (n,) [N m/m]; nan where these are small.

    The beam's moment is taken at the points' own stations.
    """
    beam = StripBeamUnder(deck, strip, model)
    stations = _stations(strip)
    moment = np.interp(s, stations, beam.envelope(stations, sign))
    size = sign * values
    with np.errstate(divide="ignore", invalid="ignore"):
        width = moment / size
    return np.where(size > SHOWN * size.max(), width, np.nan)


def _stations(strip: StripDeck) -> Floats:
    """Stations between which the beam's envelope is nearly straight."""
    beam = strip.beam
    nodes = beam.nodes.tolist()
    parts = [np.linspace(a, b, 13)[:-1] for a, b in itertools.pairwise(nodes)]
    return np.concatenate([*parts, nodes[-1:]])
