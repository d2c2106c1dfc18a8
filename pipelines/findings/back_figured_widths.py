"""Back-figured widths: the strip's resultant over what the plate finds, beside each code's width.

A strip's resultant is the moment or shear of the one-way beam on rigid lines under the vehicle at
its worst place, with the wheels spread along the strip as they are on the plate. Over the plate's
peak it gives the width that a strip would have to use; over a code's strip value the width that
the code does use, so the two compare as they stand.
"""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pipelines.deck.deck import Deck, Direction
from pipelines.errors import MethodRangeError
from pipelines.findings.finding import SHEARS, Finding
from pipelines.standards.actions.loads import Vehicle
from pipelines.strips.beam import moment_lines, shear_lines
from pipelines.strips.deck_strip import StripDeck, strip_decks
from pipelines.strips.hand_values import centre_limits, effective_depth
from pipelines.strips.piecewise import highest
from pipelines.strips.sections import Kind
from pipelines.strips.trains import (
    DIRECTIONS,
    Extreme,
    Reach,
    StripLoad,
    Train,
    bay_sagging,
    distinct,
    response,
    support_hogging,
    worst,
)
from pipelines.traffic.positions import dispersed

Floats = NDArray[np.float64]

# Widths are shown where the plate's moment is at least this share of its peak.
SHOWN = 0.4
KINDS: tuple[Kind, ...] = ("sagging", "hogging", "edge", "shear")


@dataclass(frozen=True)
class BackWidth:
    """One place under one vehicle; lengths in m, resultants in N m (N for shears), magnitudes.

    strip_resultant : of the beam on rigid lines; plate_resultant : of the plate over the whole
        line through its peak at the governing load position.
    peak, depth_mean : of the plate. codes : strip and the width that it uses.
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
            "width_by_peak_m": self.by_peak,
            "width_by_mean_3h_m": self.by_mean,
            "width_of_plate_m": self.spread,
            "code_widths_m": dict(self.codes),
        }


def back_widths(deck: Deck, findings: Sequence[Finding]) -> tuple[BackWidth, ...]:
    """Widths for sagging, hogging, edges and support shear, of every bay, line and vehicle."""
    if deck.traffic is None or not findings:
        return ()
    vehicles = {one.name: one for one in deck.traffic.vehicles}
    strips = _strips(deck)
    beams = {
        (strip.bars, name): _Beam(deck, strip, vehicle)
        for strip in strips
        for name, vehicle in vehicles.items()
    }
    groups: dict[tuple[Any, ...], list[Finding]] = {}
    for one in findings:
        if one.kind in KINDS and not one.whole_model:
            key = (one.kind, one.place, one.where, one.effect, one.vehicle)
            groups.setdefault(key, []).append(one)
    found = []
    for rows in groups.values():
        first = rows[0]
        resultant = abs(beams[first.bars, first.vehicle].resultant(first))
        if resultant == 0.0 or first.plate_peak == 0.0 or first.depth_mean == 0.0:
            continue
        codes = [
            (f"{one.strip} {one.clause}", resultant / abs(one.strip_value))
            for one in rows
            if one.strip_value
        ]
        found.append(
            BackWidth(
                first.kind,
                first.place,
                first.where,
                first.effect,
                first.vehicle,
                first.component,
                resultant,
                abs(first.total),
                abs(first.plate_peak),
                abs(first.depth_mean),
                tuple(sorted(codes)),
            )
        )
    order = [one.name for one in deck.traffic.vehicles]
    return tuple(
        sorted(found, key=lambda w: (KINDS.index(w.kind), order.index(w.vehicle), w.place))
    )


def _strips(deck: Deck) -> tuple[StripDeck, ...]:
    try:
        return strip_decks(deck)
    except MethodRangeError:
        return ()


@dataclass(frozen=True)
class _Beam:
    """The one-way beam under one vehicle whose strip is one metre wide."""

    deck: Deck
    strip: StripDeck
    vehicle: Vehicle

    @property
    def directions(self) -> tuple[Direction, ...]:
        assert self.deck.traffic is not None
        return DIRECTIONS if self.deck.traffic.directions == "both" else DIRECTIONS[:1]

    def train(self) -> Train:
        """All axles on a strip along traffic; the heaviest axle's wheels on one across it."""
        assert self.deck.traffic is not None
        traffic, thickness = self.deck.traffic, self.deck.slab.thickness
        impact = self.vehicle.impact
        if self.strip.bars == "parallel":
            return Train(
                tuple(
                    StripLoad(a.at, impact * a.load, dispersed(a.patch, traffic, thickness)[0])
                    for a in self.vehicle.axles
                )
            )
        axle = max(self.vehicle.axles, key=lambda a: a.load)
        length = dispersed(axle.patch, traffic, thickness)[1]
        share = impact * axle.load / len(axle.wheels)
        return Train(tuple(StripLoad(-y, share, length) for y in axle.wheels))

    def reach(self, direction: Direction) -> Reach:
        if self.strip.bars == "parallel":
            return None
        return centre_limits(self.deck, self.vehicle)[direction]

    def resultant(self, one: Finding) -> float:
        """The beam's moment [N m] or shear [N] for the place of a finding."""
        train, best = self.train(), 0.0
        for direction in distinct(train, self.directions):
            found = self._search(one, train, direction)
            best = max(best, abs(found.value))
        return best

    def _search(self, one: Finding, train: Train, direction: Direction) -> Extreme:
        beam, reach = self.strip.beam, self.reach(direction)
        names = [support.name for support in beam.supports]
        if one.kind in ("sagging", "edge"):
            bay = names.index(one.lines[0])
            return bay_sagging(beam, bay, train, (direction,), reach)
        support = names.index(one.lines[0])
        if one.kind == "hogging":
            return support_hogging(beam, support, train, 0.0, (direction,), reach)
        line = beam.supports[support]
        away = 0.5 * line.width + effective_depth(self.deck, self.strip.bars)
        found = [Extreme(0.0, line.at, "right")]
        for sign in (-1.0, 1.0):
            at = np.array([line.at + sign * away])
            if beam.start < at[0] < beam.end:
                lines = shear_lines(beam, at, "right")
                found.append(worst(lines, train, at, "right", sign, (direction,), reach))
        return max(found, key=lambda e: abs(e.value))

    def envelope(self, s: Floats, sign: float) -> Floats:
        """Largest sagging (sign = 1) or hogging (-1) moment at stations s (n,) [N m]."""
        train, best = self.train(), np.zeros(len(s))
        lines = moment_lines(self.strip.beam, s, "right")
        for direction in distinct(train, self.directions):
            total = response(lines, train, direction)
            top, _ = highest(total if sign > 0 else -total, self.reach(direction))
            best = np.maximum(best, top)
        return best


def width_field(
    deck: Deck, strip: StripDeck, vehicle: Vehicle, s: Floats, values: Floats, sign: float
) -> Floats:
    """Back-figured width (n,) [m] at points with stations s along the strip (n,), where the
    plate's envelope has `values` (n,) [N m/m]; nan where these are small.

    The beam's moment is taken at the points' own stations.
    """
    beam = _Beam(deck, strip, vehicle)
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
