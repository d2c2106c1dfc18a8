"""Findings: plate against strip, section by section.

Each bay's sagging and each cross line's hogging under each vehicle alone, by the plate (peak, and
mean over a stated width) and by each hand strip. One vehicle is not a standard's load model, so no
row says that a strip covers the load model.
"""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pipelines.deck import Deck, Vehicle
from pipelines.envelopes import Envelopes, FieldEnvelope, LoadPosition, find_position
from pipelines.errors import MethodRangeError
from pipelines.responses import Solver, position_load
from pipelines.strips_deck import strip_deck
from pipelines.strips_moments import StripMoment, strip_moments
from pipelines.strips_train import DIRECTIONS
from plate.conventions import RESULTS
from plate.recovery import mean_along

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

M_X = RESULTS.index("m_x")

CAUTION = "single vehicle, not the load model"


@dataclass(frozen=True)
class Finding:
    """One row of the findings table; lengths in m, moments in N m/m, sagging positive.

    reference : short name of the row; place : in words; effect : in words, with the face in
        tension; vehicle : name of the load.
    strip, clause : the hand method and where it stands; span : that it uses; width : that carries
        an axle; strip_value : None where the method is outside its range, for `reason`.
    plate_peak : of the flexible deck; at : plan point of the peak; position : governing.
    plate_mean : mean over `mean_width` about the peak, at the same load position.
    coexisting : (m_x, m_y, m_xy) at the peak in that position.
    finding : in plain words. point, number : field point of the peak and number of its position.
    plate_error : numerical tolerance of the peak, None until it is estimated.
    """

    reference: str
    place: str
    effect: str
    vehicle: str
    strip: str
    clause: str
    span: float | None
    width: float | None
    strip_value: float | None
    reason: str
    plate_peak: float
    at: tuple[float, float]
    position: LoadPosition | None
    plate_mean: float
    mean_width: float
    coexisting: tuple[float, float, float]
    finding: str
    point: int
    number: int
    plate_error: float | None = None
    caution: str = CAUTION

    @property
    def goal(self) -> tuple[int, int, int]:
        """(field point, index in RESULTS, number of the governing load position)."""
        return self.point, M_X, self.number

    @property
    def ratio(self) -> float | None:
        """Strip value over plate peak; None where there is nothing to compare."""
        if self.strip_value is None or self.plate_peak * self.strip_value <= 0.0:
            return None
        return self.strip_value / self.plate_peak

    def entry(self) -> dict[str, Any]:
        """The row in the units of summary.json (m, kNm/m)."""
        position = self.position
        m_x, m_y, m_xy = (1e-3 * v for v in self.coexisting)
        return {
            "reference": self.reference,
            "place": self.place,
            "effect": self.effect,
            "vehicle": self.vehicle,
            "station_m": None if position is None else position.station,
            "offset_m": None if position is None else position.offset,
            "direction": None if position is None else position.direction,
            "strip": self.strip,
            "clause": self.clause,
            "span_m": self.span,
            "width_m": self.width,
            "strip_kNm_m": None if self.strip_value is None else 1e-3 * self.strip_value,
            "plate_peak_kNm_m": 1e-3 * self.plate_peak,
            "plate_error_kNm_m": None if self.plate_error is None else 1e-3 * self.plate_error,
            "peak_at_m": list(self.at),
            "plate_mean_kNm_m": 1e-3 * self.plate_mean,
            "mean_width_m": self.mean_width,
            "with_m_x": m_x,
            "with_m_y": m_y,
            "with_m_xy": m_xy,
            "strip_over_plate": self.ratio,
            "finding": self.finding,
            "reason": self.reason,
            "caution": self.caution,
        }


@dataclass(frozen=True)
class _Section:
    """A design section and the plate's field points on it."""

    place: str
    points: Ints
    sign: int


def strip_findings(
    deck: Deck, solver: Solver, envelopes: Envelopes | None
) -> tuple[tuple[Finding, ...], str]:
    """Findings of every vehicle, method, bay and cross line, and why there are none, if so."""
    if envelopes is None:
        return (), "the deck file has no traffic"
    assert deck.traffic is not None
    try:
        strips = strip_deck(deck)
    except MethodRangeError as error:
        return (), str(error)
    directions = DIRECTIONS if deck.traffic.directions == "both" else DIRECTIONS[:1]
    rows: list[Finding] = []
    for vehicle in deck.traffic.vehicles:
        envelope = envelopes.vehicles[vehicle.name]
        for strip in strip_moments(strips, vehicle, directions=directions):
            if strip.at != "face":
                section = _section(deck, solver, strip)
                rows.append(_compare(strip, vehicle, section, solver, envelope, envelopes))
    return tuple(_with_means(rows, solver, envelopes)), ""


def _section(deck: Deck, solver: Solver, strip: StripMoment) -> _Section:
    """Field points strictly inside a bay, or on a cross line."""
    plan = solver.model.mesh.plan[solver.recovery.points.node]
    u = deck.plan.logical_station(plan)
    at = [_station(deck, name) for name in strip.lines]
    if strip.effect == "sagging":
        inside = (u > at[0] + 1e-6) & (u < at[1] - 1e-6)
        place = f"bay {strip.lines[0]}\u2013{strip.lines[1]}"
        return _Section(place, np.flatnonzero(inside), 1)
    label = next((n.label for n in deck.lines if n.name == strip.lines[0] and n.label), "")
    place = label or f"cross line {strip.lines[0]}"
    return _Section(place, np.flatnonzero(np.abs(u - at[0]) < 1e-6), -1)


def _station(deck: Deck, name: str) -> float:
    low, high = deck.plan.u_range
    edges = {"start": low, "end": high}
    return edges[name] if name in edges else deck.stations[int(name[1:]) - 1]


def _compare(
    strip: StripMoment,
    vehicle: Vehicle,
    section: _Section,
    solver: Solver,
    envelope: FieldEnvelope,
    envelopes: Envelopes,
) -> Finding:
    """A finding without its mean."""
    if section.sign > 0:
        values, at = envelope.extremes.maximum[M_X], envelope.extremes.at_maximum[M_X]
        coexisting = envelope.with_maximum[M_X]
    else:
        values, at = envelope.extremes.minimum[M_X], envelope.extremes.at_minimum[M_X]
        coexisting = envelope.with_minimum[M_X]
    point = int(section.points[np.argmax(section.sign * values[section.points])])
    node = solver.recovery.points.node[point]
    peak, number = float(values[point]), int(at[point])
    x, y = solver.model.mesh.plan[node]
    m_x, m_y, m_xy = coexisting[1:4, point]
    ratio = None if strip.value is None or peak == 0.0 else strip.value / peak
    return Finding(
        reference="",
        place=section.place,
        effect=f"{strip.effect}, bars along, {'soffit' if section.sign > 0 else 'top'}",
        vehicle=vehicle.name,
        strip=strip.strips,
        clause=strip.method.clause,
        span=strip.span,
        width=strip.width,
        strip_value=strip.value,
        reason=strip.reason,
        plate_peak=peak,
        at=(float(x), float(y)),
        position=envelopes.position(number),
        plate_mean=peak,
        mean_width=0.0,
        coexisting=(float(m_x), float(m_y), float(m_xy)),
        finding=_words(ratio),
        point=point,
        number=number,
    )


def _words(ratio: float | None) -> str:
    if ratio is None:
        return "outside the method's range"
    if ratio < 0.0:
        return "not comparable"
    if ratio < 1.0:
        return f"strip short by {100.0 * (1.0 - ratio):.3g} %"
    # One vehicle alone is not a load model: no strip covers that.
    return "not short for this vehicle alone"


def _with_means(rows: list[Finding], solver: Solver, envelopes: Envelopes) -> list[Finding]:
    """The rows, worst first, with the plate's mean over the strip's width at the same position."""
    numbers = sorted({row.number for row in rows if row.number >= 0})
    loads = []
    for number in numbers:
        run, index = find_position(envelopes.runs, number)
        loads.append(position_load(solver.model, run, slice(index, index + 1)))
    U = solver.stiffness.solve(np.concatenate(loads, axis=1)) if loads else np.zeros((0, 0))
    column = {number: k for k, number in enumerate(numbers)}
    plan = solver.model.mesh.plan
    found = []
    for row in rows:
        if row.width and row.number >= 0:
            x, y = row.at
            low, high = _across(plan, y, row.width)
            mean = mean_along(solver.model, np.array([[x, low], [x, high]]))
            value = float((mean[[M_X]] @ U[:, column[row.number]])[0])
            row = replace(row, plate_mean=value, mean_width=high - low)
        found.append(row)
    worst = sorted(found, key=lambda f: np.inf if f.ratio is None else f.ratio)
    return [replace(f, reference=f"F{k}") for k, f in enumerate(worst, start=1)]


def _across(plan: Floats, y: float, width: float) -> tuple[float, float]:
    """The width about offset y, moved inward where it would leave the slab, at most the slab."""
    left, right = float(plan[:, 1].min()), float(plan[:, 1].max())
    width = min(width, right - left)
    low = min(max(y - 0.5 * width, left), right - width)
    return low, low + width
