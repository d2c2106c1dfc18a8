"""The governing values of a case of traffic: the peaks of every result over the deck.

Shears, and by Mindlin's theory twisting moments, count only further than one thickness from edges,
supports and beams. Nearer, Mindlin's edge layer is in them: beside a free or softly supported edge
it takes the twisting moment to nothing and makes a shear along the edge of what is lost, falling
by e every t/3.2, so that a thickness away 4 % is left; beside a beam it does the same for what the
slab's twist and the beam's differ by. Bending moments of the layer are smaller by its width over
the length along the edge, and count everywhere. A design reads its shear at the face of a support
or further in besides. Hogging counts where `standards.supports` reads it, at the face of a support
or a quarter of its width off, with the value over the width beside. Nothing counts within one
thickness of a place whose moments are infinite.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import KDTree

from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.envelopes.governing_loads import governing_arrangement_loads
from pipelines.envelopes.tolerance import Tolerance, tolerance_entry
from pipelines.model.responses import SolvedDeck
from pipelines.traffic.arrangements import Arrangement, arrangement_entry
from pipelines.traffic.positions import WheelPatches
from pipelines.units import RESULT_KEYS, RESULT_SCALE, RESULT_UNITS

UNITS = RESULT_UNITS
SHEARS = (4, 5)
# Bending moments, of which the least are hogging.
BENDING = (1, 2)


@dataclass(frozen=True, eq=False, kw_only=True)
class Peak:
    """One governing value of a case of traffic, in the units of the report.

    result : name; extreme : "max" or "min"; at : plan point [m]; position : the arrangement that
    governs, None for the empty deck; coexisting : the six results there at the same time (w in mm,
    kNm/m, kN/m).
    point, component, number : field point, result index and number of the arrangement; held : its
    loads.
    tolerance : same unit; None until it is estimated.
    knife_edge : whether it is hogging over the width of a support, larger than where it counts;
    over_width : of hogging where it counts that other peak, None where there is none.
    """

    result: str
    extreme: str
    unit: str
    value: float
    at: tuple[float, float]
    position: Arrangement | None
    coexisting: tuple[float, ...]
    point: int
    component: int
    number: int
    held: WheelPatches
    tolerance: Tolerance | None = None
    knife_edge: bool = False
    over_width: "Peak | None" = None

    @property
    def error(self) -> float | None:
        """Numerical tolerance, mesh and step together; None until it is estimated."""
        return None if self.tolerance is None else self.tolerance.error

    @property
    def is_known(self) -> bool:
        """Whether the value is no smaller than what it may be wrong by."""
        return self.error is None or not self.error > abs(self.value)

    @property
    def sign(self) -> int:
        """1 for a maximum, -1 for a minimum."""
        return 1 if self.extreme == "max" else -1

    def with_tolerance(self, tolerance: Tolerance) -> "Peak":
        """The same with its tolerance, given in SI."""
        return replace(self, tolerance=tolerance.scaled(RESULT_SCALE[self.component]))

    def entry(self) -> dict[str, Any]:
        """The peak as an entry of summary.json."""
        return {
            "result": self.result,
            "extreme": self.extreme,
            "unit": self.unit,
            "value": self.value,
            **tolerance_entry(self.tolerance),
            "at_m": list(self.at),
            "over_width": None if self.over_width is None else self.over_width.entry(),
            **arrangement_entry(self.position),
        }


def governing_values(solved: SolvedDeck, envelope: TrafficEnvelope) -> tuple[Peak, ...]:
    """Maximum and minimum of w, m_x, m_y, m_xy, q_x, q_y over the deck under a case of traffic, and
    after a minimum of m_x or m_y that of a knife edge, where the widths of supports have more."""
    plan = solved.recovery.points.plan
    fields, e = envelope.fields, envelope.fields.extremes
    sides = (
        ("max", 1, e.maximum, e.at_maximum, fields.with_maximum),
        ("min", -1, e.minimum, e.at_minimum, fields.with_minimum),
    )
    places, knife_edges = [], []
    for k, read in enumerate(headline_points(solved)):
        for _, sign, values, at, _ in sides:
            size = sign * values[k]
            hogs = k in BENDING and sign < 0
            counts = solved.hogging_readable if hogs else read
            first, most = (int(np.argmax(np.where(m, size, -np.inf))) for m in (counts, read))
            points = [first, most] if hogs and size[most] > size[first] else [first]
            places += [(point, k, sign, int(at[k, point])) for point in points]
            knife_edges += [point != first for point in points]
    held = governing_arrangement_loads(solved, envelope, places)
    found = []
    for (point, k, sign, number), loads, over in zip(places, held, knife_edges, strict=True):
        extreme, _, values, _, coexisting = sides[0 if sign > 0 else 1]
        found.append(
            Peak(
                result=RESULT_KEYS[k].removesuffix("_mm"),
                extreme=extreme,
                unit=UNITS[k],
                value=float(values[k, point]) * RESULT_SCALE[k],
                at=(float(plan[point, 0]), float(plan[point, 1])),
                position=envelope.position(number),
                coexisting=tuple((coexisting[k, :, point] * RESULT_SCALE).tolist()),
                point=point,
                component=k,
                number=number,
                held=loads,
                knife_edge=over,
            )
        )
    return tuple(found)


def that_count(peaks: Sequence[Peak]) -> tuple[Peak, ...]:
    """The governing values that count, each with that of a knife edge, if one is known."""
    edges = {(p.result, p.extreme): p for p in peaks if p.knife_edge and p.is_known}
    return tuple(
        replace(peak, over_width=edges.get((peak.result, peak.extreme)))
        for peak in peaks
        if not peak.knife_edge
    )


def headline_points(solved: SolvedDeck) -> tuple[NDArray[np.bool_], ...]:
    """Of each of RESULTS the field points (n_point,) whose values may govern: off singular places,
    shears and twisting moments clear of the layer beside lines and edges too."""
    return tuple(solved.reading.headline(k) for k in range(len(RESULT_KEYS)))


def readable_results(solved: SolvedDeck) -> tuple[NDArray[np.bool_], ...]:
    """Of each of RESULTS the field points (n_point,) where it is to be read: deflections anywhere,
    moments off singular places, shears clear of lines too."""
    anywhere = np.ones(solved.recovery.points.n_points, dtype=bool)
    shears = solved.shears_readable
    return (anywhere, *[solved.readable] * 3, shears, shears)


def nearest(solved: SolvedDeck, allowed: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Number (n_point,) of the field point whose moments stand for each: itself where it is
    `allowed` (n_point,), else the nearest one that is."""
    clear = np.flatnonzero(allowed)
    points = solved.recovery.points.xy
    _, nearest = KDTree(points[clear]).query(points)
    found = clear[nearest]
    found[clear] = clear
    return np.asarray(found, dtype=np.int64)
