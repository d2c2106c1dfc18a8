"""One row of the findings: a hand strip beside the plate at one section, and the words for it."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from typing import Any, Literal

from pipelines.standards.resistance.bending import BENDING
from pipelines.standards.sources import Mark, Standard
from pipelines.standards.strip_widths.method import Bars
from pipelines.strips.hand_strip import HandStrip
from pipelines.strips.sections import AT_FACES, Section
from pipelines.traffic.arrangements import Arrangement, arrangement_entry
from pipelines.traffic.positions import WheelPatches
from plate.conventions import RESULTS

CAUTION = "single vehicle, not the load model"

SHEARS = (RESULTS.index("q_x"), RESULTS.index("q_y"))


class Verdict(Enum):
    """What a finding says, in the words that are printed; a share follows some of them."""

    SHORT = "strip short by"
    EVEN = "no difference within"
    COVERS = "strip covers"
    NO_LESS = CAUTION
    OUTSIDE = "outside the method's range"
    NOT_COMPARABLE = "not comparable"


@dataclass(frozen=True, eq=False, kw_only=True)
class PlateValue:
    """What the plate has at a section; moments [N m/m], sagging positive, or shears [N/m],
    magnitudes.

    component : index in RESULTS. peak : of the flexible deck; error : its numerical tolerance,
        None until it is estimated.
    at : plan point of the peak [m]; position : the traffic that governs, held : its patches.
    mean : over `mean_width` [m] about the peak at the same load position; 0 = no width.
    depth_mean : over three thicknesses; total : over the whole line through the peak, from edge to
        edge [N m] or [N].
    coexisting : (m_x, m_y, m_xy) at the peak in that position.
    beam_range : least and largest value there with the beams' stiffness times BEAM_RANGE, the load
        position held; None without beams.
    point, number : field point at or next to the peak and number of the load position.
    """

    component: int
    peak: float
    at: tuple[float, float]
    position: Arrangement | None
    held: WheelPatches
    mean: float
    mean_width: float
    depth_mean: float
    total: float
    coexisting: tuple[float, float, float]
    beam_range: tuple[float, float] | None
    point: int
    number: int
    error: float | None = None


@dataclass(frozen=True, kw_only=True)
class Used:
    """What the bars resist at a finding and how far they are used, at the ultimate limit state.

    resistance : m_Rd [N m/m] with the sign of the peak. by_strip : None outside the method's range.
    """

    resistance: float
    by_strip: float | None
    by_plate: float
    standard: Standard


@dataclass(frozen=True, eq=False, kw_only=True)
class Finding:
    """One row of the findings table.

    reference : short name of the row. bars : direction of the strip. section : where it is read,
        with the place that the hand strip names. load : name of the vehicle or the load model;
        whole_model : whether it is all of a standard's load model, on the plate and on the strip.
    load_source : where the load's numbers come from, with the mark; load_mark : how far they are to
        be trusted, "" for those of the deck file.
    used : None without bars, for shears, and for traffic that does not count under the standard.
    """

    reference: str
    bars: Bars
    section: Section
    load: str
    whole_model: bool
    hand: HandStrip
    plate: PlateValue
    used: Used | None = None
    load_source: str = "deck file"
    load_mark: Mark | Literal[""] = ""

    @property
    def ratio(self) -> float | None:
        """Strip value over plate peak; None where there is nothing to compare."""
        if self.hand.value is None or self.hand.reason or self.plate.peak == 0.0:
            return None
        ratio = self.hand.value / self.plate.peak + 0.0
        return None if ratio < 0.0 else ratio

    @property
    def verdict(self) -> Verdict:
        if self.hand.value is None:
            return Verdict.OUTSIDE
        ratio = self.ratio
        if ratio is None:
            return Verdict.NOT_COMPARABLE
        if abs(self.hand.value - self.plate.peak) <= (self.plate.error or 0.0):
            return Verdict.EVEN
        if ratio < 1.0:
            return Verdict.SHORT
        return Verdict.COVERS if self.whole_model else Verdict.NO_LESS

    @property
    def words(self) -> str:
        """The verdict in the words of practice, with its share."""
        verdict = self.verdict
        if verdict is Verdict.EVEN:
            error = self.plate.error or 0.0
            return f"{verdict.value} ±{100.0 * error / abs(self.plate.peak):.2g} %"
        if verdict is Verdict.SHORT:
            return f"{verdict.value} {100.0 * (1.0 - (self.ratio or 0.0)):.3g} %"
        return str(verdict.value)

    @property
    def is_short(self) -> bool:
        return self.verdict is Verdict.SHORT

    @property
    def place(self) -> str:
        """The section's place, with where beside its line hogging is read."""
        if self.section.kind not in AT_FACES.values():
            return self.section.place
        face = self.section.where == "face"
        off = "at its face" if face else f"{self.section.where} its centre line"
        return f"{self.section.place}, {off}"

    @property
    def overhangs(self) -> bool:
        """Whether the hand strip is a cantilever's."""
        return self.hand.effect == "overhang"

    @property
    def caution(self) -> str:
        """What is added to the words on a single vehicle."""
        return "" if self.whole_model or self.verdict is Verdict.NO_LESS else CAUTION

    @property
    def unit(self) -> str:
        return "kN/m" if self.section.component in SHEARS else "kNm/m"

    def entry(self) -> dict[str, Any]:
        """The row in the units of summary.json (m, kNm/m or kN/m as `unit` says)."""
        section, hand, plate, used = self.section, self.hand, self.plate, self.used
        where = arrangement_entry(plate.position)
        m_x, m_y, m_xy = (1e-3 * v for v in plate.coexisting)
        low, high = plate.beam_range or (None, None)

        def kilo(value: float | None) -> float | None:
            return None if value is None else 1e-3 * value

        return {
            "reference": self.reference,
            "strip_bars": self.bars,
            "kind": section.kind,
            "place": section.place,
            "where": section.where,
            "effect": section.effect,
            "result": RESULTS[section.component],
            "load": self.load,
            "load_source": self.load_source,
            "station_m": where["station_m"],
            "offset_m": where["offset_m"],
            "direction": where["direction"],
            "lanes": where["lanes"],
            "lanes_factor": where["factor"],
            "arrangement": plate.position.words if plate.position and plate.position.whole else "",
            "combination": "characteristic, traffic alone",
            "strip": hand.strip,
            "strip_of_design": hand.chosen,
            "clause": hand.clause,
            "edition": hand.edition,
            "mark": hand.mark,
            "note": hand.note,
            "span_m": hand.span,
            "width_m": hand.width,
            "width_of": hand.width_of,
            "unit": self.unit,
            "strip_value": kilo(hand.value),
            "strip_station_m": hand.station if self.bars == "parallel" else None,
            "strip_offset_m": hand.station if self.bars == "across" else None,
            "strip_direction": hand.direction,
            "plate_peak": 1e-3 * plate.peak,
            "plate_error": kilo(plate.error),
            "peak_at_m": list(plate.at),
            "plate_mean": 1e-3 * plate.mean if plate.mean_width else None,
            "mean_width_m": plate.mean_width or None,
            "plate_mean_3h": 1e-3 * plate.depth_mean,
            "plate_total": 1e-3 * plate.total,
            "strip_over_plate": self.ratio,
            "with_m_x_kNm_m": m_x,
            "with_m_y_kNm_m": m_y,
            "with_m_xy_kNm_m": m_xy,
            "plate_low": kilo(low),
            "plate_high": kilo(high),
            "resistance": None if used is None else 1e-3 * used.resistance,
            "utilisation_strip": None if used is None else used.by_strip,
            "utilisation_plate": None if used is None else used.by_plate,
            "resistance_standard": None if used is None else used.standard,
            "resistance_source": None if used is None else str(BENDING[used.standard]),
            "finding": self.words,
            "reason": hand.reason,
            "caution": "" if self.whole_model else CAUTION,
        }


def under(load: str, component: int, sign: int, findings: Sequence[Finding]) -> list[Finding]:
    """The findings that read that side of a result under a load; shears are read as magnitudes."""
    return [
        finding
        for finding in findings
        if (finding.load, finding.section.component) == (load, component)
        and (component in SHEARS or finding.section.sign == sign)
    ]


def without_centre_lines(findings: Sequence[Finding]) -> list[Finding]:
    """The findings without hogging at centre lines of lines that are read beside them too."""
    beside = {(f.bars, f.section.kind, f.section.lines, f.section.edge) for f in findings}

    def counts(finding: Finding) -> bool:
        section = finding.section
        face = AT_FACES.get(section.kind)
        return (finding.bars, face, section.lines, section.edge) not in beside

    return [finding for finding in findings if counts(finding)]


def at_centre_line(face: Finding, findings: Sequence[Finding]) -> Finding | None:
    """The finding at the centre line of the line at whose face another is read, by the same strip
    under the same load; None where the finding is not at a face."""
    mine = face.section
    return next(
        (
            finding
            for finding in findings
            if AT_FACES.get(finding.section.kind) == mine.kind
            and finding.bars == face.bars
            and (finding.section.lines, finding.section.edge) == (mine.lines, mine.edge)
            and (finding.load, finding.hand.strip) == (face.load, face.hand.strip)
        ),
        None,
    )


def chosen(findings: Sequence[Finding]) -> list[Finding]:
    """The findings of the strip that the run is about."""
    return [finding for finding in findings if finding.hand.chosen]


def governing(findings: Sequence[Finding], *kinds: str) -> Finding | None:
    """The worst finding at the largest plate value of some kinds; under load models where there
    are any, else under vehicles that drive alone."""
    whole = any(finding.whole_model for finding in findings)
    rows = [
        finding
        for finding in findings
        if finding.section.kind in kinds
        and finding.ratio is not None
        and finding.whole_model == whole
    ]
    if not rows:
        return None
    most = max(abs(row.plate.peak) for row in rows)
    return next(row for row in rows if abs(row.plate.peak) == most)
