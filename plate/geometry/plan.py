"""Plan of a slab: outline, named lines and alignment, in plan coordinates (station, offset).

A grid plan has lines C1, C2, ... across the deck at the stations, L1, L2, ... along it at the
offsets, and edges start, end, left and right (left = smallest offset), all straight in plan
coordinates. Any other outline has edges E1, E2, ... in the order of its corners (`outline`).
Either may have openings and further lines anywhere.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np

from plate.arrays import Floats
from plate.errors import GeometryError
from plate.geometry.alignment import Alignment
from plate.geometry.curves import SAME, Curve, distance, polyline, winding

EDGES = ("start", "end", "left", "right")


@dataclass(frozen=True)
class PlanLine:
    """A line of the plan.

    path : its points (n, 2), on a grid the ends on the outermost lines that it crosses [m].
    full : the same carried on to the slab's edges, on a grid [m].
    curves : its true course where it is not a line of a grid; path and full are then points on it.
    """

    name: str
    path: Floats
    full: Floats
    curves: tuple[Curve, ...] = ()

    def course(self, *, full: bool = False) -> tuple[Curve, ...]:
        """The curves of its path, or of its full extent."""
        return self.curves or polyline((self.full if full else self.path).tolist())


@dataclass(frozen=True, kw_only=True)
class Plan:
    """Outline, lines and openings of a slab.

    outline : points (n, 2) on the slab's edge [m]: the corners of a grid plan in order
        start-left, end-left, end-right, start-right; of another outline its corners and, along
        arcs, as many points as a drawing needs.
    lines : by name. edges : names of those that bound the slab.
    ring : the true edge where it is not the polygon of `outline`.
    openings : closed chains of curves within the edge.
    """

    alignment: Alignment
    outline: Floats
    lines: Mapping[str, PlanLine]
    skew: float = 0.0
    stations: tuple[float, ...] = ()
    offsets: tuple[float, ...] = ()
    end_offsets: tuple[float, ...] = ()
    overhang: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    edges: tuple[str, ...] = EDGES
    ring: tuple[Curve, ...] = ()
    openings: tuple[tuple[Curve, ...], ...] = ()

    @property
    def is_grid(self) -> bool:
        """Whether the plan has C and L lines."""
        return bool(self.stations)

    @property
    def is_mapped(self) -> bool:
        """Whether all is made of C and L lines, so that a grid of cells fits."""
        return self.is_grid and not self.openings and not any(n.curves for n in self.lines.values())

    @property
    def twins(self) -> dict[str, str]:
        """The grid line with which an edge without overhang coincides, by the edge."""
        if not self.is_grid:
            return {}
        lines = ("C1", f"C{len(self.stations)}", "L1", f"L{len(self.offsets)}")
        pairs = zip(EDGES, lines, strict=True)
        return {edge: line for edge, line in pairs if self.overhang[edge] == 0.0}

    @property
    def boundary(self) -> tuple[tuple[Curve, ...], ...]:
        """The edge of the slab, then its openings, as closed chains."""
        corners = self.outline.tolist()
        return (self.ring or polyline([*corners, corners[0]]), *self.openings)

    @property
    def u_range(self) -> tuple[float, float]:
        """Logical stations of the start and the end edge [m]; the range of x of an outline."""
        if not self.is_grid:
            return float(self.outline[:, 0].min()), float(self.outline[:, 0].max())
        return (
            self.stations[0] - self.overhang["start"],
            self.stations[-1] + self.overhang["end"],
        )

    def line_offsets(self, u: Floats) -> Floats:
        """Offsets of left edge, L1..Lm and right edge at logical stations u: (..., m + 2) [m].

        Of an outline its range of y, (..., 2).
        """
        if not self.is_grid:
            y = self.outline[:, 1]
            return np.broadcast_to([y.min(), y.max()], (*np.shape(u), 2))
        s0, s1 = self.stations[0], self.stations[-1]
        share = ((np.asarray(u, dtype=float) - s0) / (s1 - s0))[..., None]
        first, last = np.array(self.offsets), np.array(self.end_offsets)
        inner = first + share * (last - first)
        left = inner[..., :1] - self.overhang["left"]
        right = inner[..., -1:] + self.overhang["right"]
        return np.concatenate([left, inner, right], axis=-1)

    def at(self, u: Floats, y: Floats) -> Floats:
        """Plan points (..., 2) of logical station u and offset y (skew shears along x)."""
        u, y = np.broadcast_arrays(np.asarray(u, dtype=float), np.asarray(y, dtype=float))
        return np.stack([u + y * np.tan(self.skew), y], axis=-1)

    def logical_station(self, plan: Floats) -> Floats:
        """u of plan points (..., 2): the station at offset zero of the cross line through each."""
        plan = np.asarray(plan, dtype=float)
        return np.asarray(plan[..., 0] - plan[..., 1] * np.tan(self.skew))

    def contains(self, plan: Floats, tolerance: float = 1e-9) -> np.ndarray:
        """Whether plan points (..., 2) lie on the slab (its edges included), as bools (...,)."""
        plan = np.asarray(plan, dtype=float)
        inside = self._on_grid(plan, tolerance) if self.is_grid else _within(self.ring, plan)
        for opening in self.openings:
            inside &= ~_within(opening, plan) | (distance(opening, plan) <= SAME)
        return inside if self.is_grid else inside | (distance(self.ring, plan) <= SAME)

    def _on_grid(self, plan: Floats, tolerance: float) -> np.ndarray:
        u = self.logical_station(plan)
        y = self.line_offsets(u)
        low, high = self.u_range
        return np.asarray(
            (u >= low - tolerance)
            & (u <= high + tolerance)
            & (plan[..., 1] >= y[..., 0] - tolerance)
            & (plan[..., 1] <= y[..., -1] + tolerance)
        )


def _within(ring: tuple[Curve, ...], points: Floats) -> np.ndarray:
    return np.asarray(winding(ring, points) != 0.0)


def grid_plan(
    stations: Sequence[float],
    offsets: Sequence[float],
    *,
    overhang: Mapping[str, float] | None = None,
    skew: float = 0.0,
    radius: float = np.inf,
    end_offsets: Sequence[float] | None = None,
) -> Plan:
    """Plan from lines across at the stations and lines along at the offsets.

    Parameters
    ----------
    stations, offsets : strictly increasing, at least two each [m].
    overhang : slab beyond the outermost lines at start, end, left, right [m], default none.
    skew : the line C_i passes (station_i + y tan(skew), y) [rad].
    radius : of the centre line [m]; finite: curved, positive to the right.
    end_offsets : offsets at the last station, linear between [m].

    Raises
    ------
    GeometryError
        Unsorted or too few stations or offsets, skew with a radius, a plan that folds.
    """
    for name, values in (("stations", stations), ("offsets", offsets)):
        if len(values) < 2 or np.any(np.diff(values) <= 0.0):
            raise GeometryError(f"{name} must be at least two, strictly increasing")
    ends = offsets if end_offsets is None else end_offsets
    if len(ends) != len(offsets) or np.any(np.diff(ends) <= 0.0):
        raise GeometryError("end offsets must match the offsets and be strictly increasing")
    if skew != 0.0 and np.isfinite(radius):
        raise GeometryError("skew and radius exclude each other")
    over = {edge: 0.0 for edge in EDGES} | dict(overhang or {})
    plan = Plan(
        alignment=Alignment(radius),
        outline=np.empty((0, 2)),
        lines={},
        skew=skew,
        stations=tuple(stations),
        offsets=tuple(offsets),
        end_offsets=tuple(ends),
        overhang=MappingProxyType(over),
    )
    low, high = plan.u_range
    y_low, y_high = plan.line_offsets(np.array([low, high]))
    if min(np.diff(y_low[1:-1]).min(), np.diff(y_high[1:-1]).min()) <= 0.0:
        raise GeometryError("the tapered lines cross each other within the overhangs")
    outline = plan.at(
        np.array([low, high, high, low]),
        np.array([y_low[0], y_high[0], y_high[-1], y_low[-1]]),
    )
    if np.any(plan.alignment.stretch(outline) <= 0.0):
        raise GeometryError("the slab reaches the centre of curvature")
    lines: dict[str, PlanLine] = {}
    for i, u in enumerate(stations):
        station = np.array(u)
        y = plan.line_offsets(station)
        path, full = plan.at(station, y[[1, -2]]), plan.at(station, y[[0, -1]])
        lines[f"C{i + 1}"] = PlanLine(f"C{i + 1}", path, full)
    inner, outer = np.array([stations[0], stations[-1]]), np.array([low, high])
    for j in range(len(offsets)):
        path = plan.at(inner, plan.line_offsets(inner)[:, j + 1])
        full = plan.at(outer, plan.line_offsets(outer)[:, j + 1])
        lines[f"L{j + 1}"] = PlanLine(f"L{j + 1}", path, full)
    corners = dict(zip(EDGES, ([0, 3], [1, 2], [0, 1], [3, 2]), strict=True))
    for edge, pair in corners.items():
        lines[edge] = PlanLine(edge, outline[pair], outline[pair])
    return Plan(
        alignment=plan.alignment,
        outline=outline,
        lines=MappingProxyType(lines),
        skew=skew,
        stations=tuple(stations),
        offsets=tuple(offsets),
        end_offsets=tuple(ends),
        overhang=MappingProxyType(over),
    )
