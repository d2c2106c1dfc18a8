"""Findings: plate against strip, section by section.

Every design section under each vehicle alone: the plate's peak, its mean over a stated width and
every hand strip. One vehicle is not a standard's load model, so no row says that a strip covers.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pipelines.beamstiffness import BEAM_RANGE, with_beam_factor
from pipelines.build import Near, build_model
from pipelines.deck import Deck, Vehicle
from pipelines.envelopes import Envelopes, FieldEnvelope, LoadPosition
from pipelines.errors import MethodRangeError
from pipelines.handstrips import HandStrip, HandStrips, hand_strips
from pipelines.heldpositions import LineRows, line_rows, point_rows, values_at
from pipelines.responses import Solver
from pipelines.sections import Frame, Kind, Section, frame, sections
from pipelines.strips_deck import strip_decks
from pipelines.strips_input import Bars
from pipelines.strips_train import Direction
from plate.conventions import RESULTS
from plate.recovery import N_RESULTS
from plate.stiffness import Stiffness

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

CAUTION = "single vehicle, not the load model"
COVERS = "strip covers"
OUTSIDE = "outside the method's range"
NOT_COMPARABLE = "not comparable"

# Beside a section that is on no mesh points the peak is sought so near to that of the points [m].
NEAR = 0.6
# A point is drawn so far into its cells, as a share of their size, to be read on their side.
BESIDE = 1e-5
# No part of the deck has cells as fine as its wheels ask.
NOWHERE = Near((np.inf, np.inf), (np.inf, np.inf))
# Thicknesses over which a mean is always given (of the kind of Swedish practice, from memory).
MEAN_DEPTHS = 3.0
SHEARS = (RESULTS.index("q_x"), RESULTS.index("q_y"))


@dataclass(frozen=True)
class Finding:
    """One row of the findings table; lengths in m, moments in N m/m, shears in N/m.

    Moments are sagging positive, shears are magnitudes.
    reference : short name of the row. bars : direction of the strip. place, where : in words;
        lines : names of the bay's two lines or of the line. effect : in words, with the bars
        and the face in tension; component : index in RESULTS.
    vehicle : name of the load; whole_model : whether it is all of a standard's load model.
    strip, clause, edition : the hand method and where it stands; span : that it uses; width : that
        carries what `width_of` says; strip_value : None outside the method's range, for `reason`;
        strip_station, strip_direction : the strip's own load position, of a strip across traffic
        the offset of the vehicle's centre line.
    plate_peak : of the flexible deck; at : plan point of the peak; position : governing.
    plate_mean : mean over `mean_width` about the peak, at the same load position; 0 = no width.
    depth_mean : mean over MEAN_DEPTHS thicknesses; total : over the whole line through the peak,
        from edge to edge [N m] or [N].
    coexisting : (m_x, m_y, m_xy) at the peak in that position.
    beam_range : least and largest plate value there with the beams' stiffness times BEAM_RANGE,
        the load position held; None without beams.
    point, number : field point at or next to the peak and number of its load position.
    plate_error : numerical tolerance of the peak, None until it is estimated.
    """

    reference: str
    bars: Bars
    kind: Kind
    place: str
    where: str
    lines: tuple[str, ...]
    effect: str
    component: int
    vehicle: str
    strip: str
    clause: str
    edition: str
    span: float | None
    width: float | None
    width_of: str
    method_effect: str
    strip_value: float | None
    strip_station: float | None
    strip_direction: Direction | None
    reason: str
    plate_peak: float
    at: tuple[float, float]
    position: LoadPosition | None
    plate_mean: float
    mean_width: float
    depth_mean: float
    total: float
    coexisting: tuple[float, float, float]
    point: int
    number: int
    beam_range: tuple[float, float] | None = None
    plate_error: float | None = None
    whole_model: bool = False

    @property
    def goal(self) -> tuple[int, int, int]:
        """(field point, index in RESULTS, number of the governing load position)."""
        return self.point, self.component, self.number

    @property
    def ratio(self) -> float | None:
        """Strip value over plate peak; None where there is nothing to compare."""
        if self.strip_value is None or self.plate_peak == 0.0:
            return None
        ratio = self.strip_value / self.plate_peak
        return None if ratio < 0.0 else ratio

    @property
    def finding(self) -> str:
        """In the words of practice."""
        if self.strip_value is None:
            return OUTSIDE
        ratio = self.ratio
        if ratio is None:
            return NOT_COMPARABLE
        error = self.plate_error or 0.0
        if abs(self.strip_value - self.plate_peak) <= error:
            return f"no difference within ±{100.0 * error / abs(self.plate_peak):.2g} %"
        if ratio < 1.0:
            return f"strip short by {100.0 * (1.0 - ratio):.3g} %"
        return COVERS if self.whole_model else CAUTION

    @property
    def overhangs(self) -> bool:
        """Whether the hand strip is a cantilever's."""
        return self.method_effect == "overhang"

    @property
    def is_short(self) -> bool:
        return self.finding.startswith("strip short")

    @property
    def caution(self) -> str:
        """What is added to the finding of a single vehicle."""
        return "" if self.whole_model or self.finding == CAUTION else CAUTION

    @property
    def unit(self) -> str:
        return "kN/m" if self.component in SHEARS else "kNm/m"

    def entry(self) -> dict[str, Any]:
        """The row in the units of summary.json (m, kNm/m or kN/m as `unit` says)."""
        position = self.position
        m_x, m_y, m_xy = (1e-3 * v for v in self.coexisting)
        low, high = self.beam_range or (None, None)

        def kilo(value: float | None) -> float | None:
            return None if value is None else 1e-3 * value

        return {
            "reference": self.reference,
            "strip_bars": self.bars,
            "kind": self.kind,
            "place": self.place,
            "where": self.where,
            "effect": self.effect,
            "result": RESULTS[self.component],
            "load": self.vehicle,
            "station_m": None if position is None else position.station,
            "offset_m": None if position is None else position.offset,
            "direction": None if position is None else position.direction,
            "combination": "characteristic, traffic alone",
            "strip": self.strip,
            "clause": self.clause,
            "edition": self.edition,
            "span_m": self.span,
            "width_m": self.width,
            "width_of": self.width_of,
            "unit": self.unit,
            "strip_value": kilo(self.strip_value),
            "strip_station_m": self.strip_station if self.bars == "parallel" else None,
            "strip_offset_m": self.strip_station if self.bars == "across" else None,
            "strip_direction": self.strip_direction,
            "plate_peak": 1e-3 * self.plate_peak,
            "plate_error": kilo(self.plate_error),
            "peak_at_m": list(self.at),
            "plate_mean": 1e-3 * self.plate_mean if self.mean_width else None,
            "mean_width_m": self.mean_width or None,
            "plate_mean_3h": 1e-3 * self.depth_mean,
            "plate_total": 1e-3 * self.total,
            "strip_over_plate": self.ratio,
            "with_m_x_kNm_m": m_x,
            "with_m_y_kNm_m": m_y,
            "with_m_xy_kNm_m": m_xy,
            "plate_low": kilo(low),
            "plate_high": kilo(high),
            "resistance": None,
            "utilisation_strip": None,
            "utilisation_plate": None,
            "finding": self.finding,
            "reason": self.reason,
            "caution": "" if self.whole_model else CAUTION,
        }


@dataclass(frozen=True)
class _Reading:
    """The plate's peak on the sections of one place under one vehicle, by its field points."""

    section: Section
    vehicle: Vehicle
    value: float
    point: int
    number: int
    coexisting: Floats


@dataclass(frozen=True)
class _Wanted:
    """What is read at a reading's load position: the line s = const through the peak, and the
    widths of means on it, at most the slab [m]."""

    reading: _Reading
    s: float
    hands: tuple[HandStrip, ...]
    widths: tuple[float | None, ...]


def strip_findings(
    deck: Deck, solver: Solver, envelopes: Envelopes | None
) -> tuple[tuple[Finding, ...], str]:
    """Findings of every vehicle, method and section, worst first; why there are none, if so."""
    if envelopes is None:
        return (), "the deck file has no traffic"
    assert deck.traffic is not None
    try:
        strips = strip_decks(deck)
    except MethodRangeError as error:
        return (), str(error)
    found: list[Finding] = []
    for strip in strips:
        at = frame(deck, strip, solver)
        wanted: list[_Wanted] = []
        for vehicle in deck.traffic.vehicles:
            hands = hand_strips(deck, strip, vehicle)
            envelope = envelopes.vehicles[vehicle.name]
            for group in _groups(sections(at, hands.depth)):
                reading = _reading(group, vehicle, envelope)
                if reading.number >= 0:
                    wanted.append(_wanted(at, reading, hands))
        found += _compared(deck, at, solver, envelopes, wanted)
    found.sort(key=lambda f: np.inf if f.ratio is None else f.ratio)
    return tuple(replace(f, reference=f"F{k}") for k, f in enumerate(found, start=1)), ""


def _groups(all_sections: Sequence[Section]) -> Iterator[list[Section]]:
    """Sections of which the worse governs one row: both faces, both sides of a line."""
    groups: dict[tuple[Any, ...], list[Section]] = {}
    for one in all_sections:
        groups.setdefault((one.kind, one.place), []).append(one)
    yield from (group for group in groups.values() if any(len(one.points) for one in group))


def _reading(group: Sequence[Section], vehicle: Vehicle, envelope: FieldEnvelope) -> _Reading:
    extremes = envelope.extremes
    best = None
    for section in group:
        if not len(section.points):
            continue
        k = section.component
        if section.sign > 0:
            values, at, coexisting = extremes.maximum, extremes.at_maximum, envelope.with_maximum
        else:
            values, at, coexisting = extremes.minimum, extremes.at_minimum, envelope.with_minimum
        point = int(section.points[np.argmax(section.sign * values[k, section.points])])
        value = float(values[k, point])
        if best is None or abs(value) > abs(best.value):
            number, with_it = int(at[k, point]), coexisting[k, 1:4, point]
            best = _Reading(section, vehicle, value, point, number, with_it)
    assert best is not None
    return best


def _wanted(at: Frame, reading: _Reading, hands: HandStrips) -> _Wanted:
    section = reading.section
    s = float(at.s[reading.point]) if section.s is None else section.s
    chosen = hands.at(section, _bay_at(at, s) if section.kind == "edge" else None)
    low, high = at.t_range(s)
    widths = tuple(
        None if one.width is None or one.value is None else min(one.width, high - low)
        for one in chosen
    )
    return _Wanted(reading, s, chosen, widths)


def _bay_at(at: Frame, s: float) -> int:
    supports = at.strip.beam.supports
    return int(np.clip(sum(one.at < s for one in supports) - 1, 0, len(supports) - 2))


def _about(at: Frame, s: float, t: float, width: float) -> tuple[float, float]:
    """The width about t, moved inward where it would leave the slab, at most the slab."""
    low, high = at.t_range(s)
    width = min(width, high - low)
    start = min(max(t - 0.5 * width, low), high - width)
    return start, start + width


@dataclass(frozen=True)
class _Found:
    """The plate's peak of a reading: all six results there, its plan point and one beside it on
    the side that is read, the means over the strips' widths and over some thicknesses, and the sum
    over the line."""

    results: Floats
    point: tuple[float, float]
    means: tuple[float | None, ...]
    depth_mean: float
    total: float
    inner: Floats


def _compared(
    deck: Deck, at: Frame, solver: Solver, envelopes: Envelopes, wanted: Sequence[_Wanted]
) -> list[Finding]:
    """The findings of all readings: one solution for each load position, and the same with softer
    and with stiffer beams."""
    model = solver.model
    lines = {s: line_rows(model, at.line(s)) for s in {round(one.s, 9) for one in wanted}}
    numbers = [one.reading.number for one in wanted]
    rows = [lines[round(one.s, 9)].rows for one in wanted]
    values = values_at(solver.stiffness, envelopes.runs, list(zip(numbers, rows, strict=True)))
    found: list[_Found] = []
    for k, one in enumerate(wanted):
        found.append(_found(at, solver, one, lines[round(one.s, 9)], values[k]))
    held = list(zip(numbers, found, strict=True))
    components = np.array([one.reading.section.component for one in wanted])
    others = _with_other_beams(deck, envelopes, held, components)
    findings: list[Finding] = []
    for k, one in enumerate(wanted):
        of_beams = None
        if others:
            value = float(found[k].results[one.reading.section.component])
            three = [value, *(value + float(other[k]) for other in others)]
            of_beams = (min(three), max(three))
        findings += _findings(at.strip.bars, envelopes, one, found[k], of_beams)
    return findings


def _found(at: Frame, solver: Solver, one: _Wanted, line: LineRows, values: Floats) -> _Found:
    section, reading = one.reading.section, one.reading
    tried = values.reshape(-1, N_RESULTS)
    low, high = at.t_range(one.s)
    t = float(at.t[reading.point])
    if section.s is not None:
        # Not on mesh points: the peak is the largest of those tried near that of the points.
        places = low + line.share * (high - low)
        near = np.abs(places - t) < NEAR
        k = int(np.argmax(np.where(near, section.sign * tried[:, section.component], -np.inf)))
        results, t = tried[k], float(places[k])
        inner = at.points(one.s, t)
    else:
        results = np.array([0.0, *reading.coexisting, 0.0, 0.0])
        results[section.component] = reading.value
        cells = np.any(solver.recovery.points.cells == reading.point, axis=1)
        own = at.points(at.s[reading.point], t)
        inner = own + BESIDE * (solver.model.mesh.corners[cells].mean(axis=(0, 1)) - own)
    x, y = at.points(one.s if section.s is not None else at.s[reading.point], t)

    def mean(width: float) -> float:
        start, end = ((v - low) / (high - low) for v in _about(at, one.s, t, width))
        return line.mean(tried[:, section.component], start, end)

    return _Found(
        results=results,
        point=(float(x), float(y)),
        means=tuple(None if width is None else mean(width) for width in one.widths),
        depth_mean=mean(min(MEAN_DEPTHS * at.strip.depth, high - low)),
        total=mean(high - low) * (high - low),
        inner=inner,
    )


def _with_other_beams(
    deck: Deck, envelopes: Envelopes, held: Sequence[tuple[int, _Found]], k: Ints
) -> list[Floats]:
    """What softer and stiffer beams add to the held values (n,); nothing without beams.

    The difference is smooth, so wide cells give it.
    k : (n,) component of each value.
    """
    if not any(line.beam for line in deck.lines):
        return []
    wide = replace(deck, cases=(), probes=())
    own = build_model(wide, NOWHERE).model
    rows = point_rows(own, np.array([peak.inner for _, peak in held]))
    wanted = [(number, rows[[N_RESULTS * i + int(k[i])]]) for i, (number, _) in enumerate(held)]
    found = []
    for factor in (1.0, *BEAM_RANGE):
        # The mesh and the slab are the same, so the rows are too.
        beams = build_model(with_beam_factor(wide, factor), NOWHERE).model.beams
        values = values_at(Stiffness(replace(own, beams=beams)), envelopes.runs, wanted)
        found.append(np.array([float(v[0]) for v in values]))
    return [one - found[0] for one in found[1:]]


def _findings(
    bars: Bars,
    envelopes: Envelopes,
    one: _Wanted,
    peak: _Found,
    of_beams: tuple[float, float] | None,
) -> Iterator[Finding]:
    reading, section = one.reading, one.reading.section
    # Shears are printed as magnitudes.
    turn = float(section.sign) if section.component in SHEARS else 1.0
    value = turn * float(peak.results[section.component])
    m_x, m_y, m_xy = peak.results[1:4].tolist()
    for hand, width, mean in zip(one.hands, one.widths, peak.means, strict=True):
        yield Finding(
            reference="",
            bars=bars,
            kind=section.kind,
            place=hand.place or section.place,
            where=section.where,
            lines=hand.lines or section.lines,
            effect=section.effect,
            component=section.component,
            vehicle=reading.vehicle.name,
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
            position=envelopes.position(reading.number),
            plate_mean=value if mean is None else turn * mean,
            mean_width=width or 0.0,
            depth_mean=turn * peak.depth_mean,
            total=turn * peak.total,
            coexisting=(m_x, m_y, m_xy),
            beam_range=None if of_beams is None else _sorted(turn * v for v in of_beams),
            point=reading.point,
            number=reading.number,
        )


def _sorted(values: Iterator[float]) -> tuple[float, float]:
    low, high = sorted(values)
    return low, high
