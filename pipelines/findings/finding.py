"""One row of the findings: a hand strip beside the plate at one section, and the words for it."""

from dataclasses import dataclass, field
from typing import Any

from pipelines.deck.deck import Direction
from pipelines.envelopes.arrangements import ModelPosition
from pipelines.envelopes.single_vehicles import LoadPosition
from pipelines.standards.strip_widths.method import Bars
from pipelines.strips.sections import Kind
from pipelines.traffic.positions import WheelPatches
from plate.conventions import RESULTS

CAUTION = "single vehicle, not the load model"
COVERS = "strip covers"
OUTSIDE = "outside the method's range"
NOT_COMPARABLE = "not comparable"

SHEARS = (RESULTS.index("q_x"), RESULTS.index("q_y"))


@dataclass(frozen=True)
class Finding:
    """One row of the findings table; lengths in m, moments in N m/m, shears in N/m.

    Moments are sagging positive, shears are magnitudes.
    reference : short name of the row. bars : direction of the strip. place, where : in words;
        lines : names of the bay's two lines or of the line. effect : in words, with the bars
        and the face in tension; component : index in RESULTS.
    vehicle : name of the load; whole_model : whether it is all of a standard's load model, on the
        plate and on the strip. held : its patches where it governs.
    strip, clause, edition : the hand method and where it stands; span : that it uses; width : that
        carries what `width_of` says; strip_value : None outside the method's range, for `reason`;
        strip_station, strip_direction : the strip's own load position, of a strip across traffic
        the offset of the vehicle's centre line.
    plate_peak : of the flexible deck; at : plan point of the peak; position : governing.
    plate_mean : mean over `mean_width` about the peak, at the same load position; 0 = no width.
    depth_mean : mean over three thicknesses; total : over the whole line through the peak,
        from edge to edge [N m] or [N].
    coexisting : (m_x, m_y, m_xy) at the peak in that position.
    beam_range : least and largest plate value there with the beams' stiffness times BEAM_RANGE,
        the load position held; None without beams.
    point, number : field point at or next to the peak and number of its load position.
    plate_error : numerical tolerance of the peak, None until it is estimated.
    resistance : m_Rd of the bars [N m/m] with the sign of the peak; utilisation : by the strip
        (None outside the method's range) and by the plate, at the ultimate limit state of
        `standard`, as module `utilisation` says; None without bars.
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
    position: LoadPosition | ModelPosition | None
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
    resistance: float | None = None
    utilisation: tuple[float | None, float] | None = None
    standard: str = ""
    held: WheelPatches | None = field(default=None, compare=False, repr=False)

    @property
    def goal(self) -> tuple[int, int, int]:
        """(field point, index in RESULTS, number of the governing load position)."""
        return self.point, self.component, self.number

    @property
    def ratio(self) -> float | None:
        """Strip value over plate peak; None where there is nothing to compare."""
        if self.strip_value is None or self.plate_peak == 0.0:
            return None
        ratio = self.strip_value / self.plate_peak + 0.0
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
        single = position if isinstance(position, LoadPosition) else None
        whole = position if isinstance(position, ModelPosition) else None
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
            "station_m": None if single is None else single.station,
            "offset_m": None if single is None else single.offset,
            "direction": None if single is None else single.direction,
            "lanes": [] if whole is None else [lane.entry() for lane in whole.lanes],
            "lanes_factor": None if whole is None else whole.factor,
            "arrangement": "" if whole is None else whole.words,
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
            "resistance": kilo(self.resistance),
            "utilisation_strip": None if self.utilisation is None else self.utilisation[0],
            "utilisation_plate": None if self.utilisation is None else self.utilisation[1],
            "resistance_standard": self.standard or None,
            "finding": self.finding,
            "reason": self.reason,
            "caution": "" if self.whole_model else CAUTION,
        }
