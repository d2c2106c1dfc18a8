"""The governing values of a run: the peaks of every result over the deck.

Shears count only further than one thickness from edges, supports and beams: nearer, Mindlin's
edge layer and the shear strain of a beam tied to the slab are in them, and a design reads its
shear at the face of a support or further in. Nothing counts within one thickness of a place whose
moments are infinite.
"""

import re
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import KDTree

from pipelines.deck.deck import Deck
from pipelines.envelopes.single_vehicles import Envelopes, LoadPosition
from pipelines.envelopes.tolerance import Tolerance, tolerance_entry
from pipelines.model.responses import Solver
from pipelines.units import RESULT_KEYS, RESULT_SCALE, RESULT_UNITS
from plate.geometry.plan import EDGES
from plate.model.singular_points import singular_places

Floats = NDArray[np.float64]

UNITS = RESULT_UNITS
# Edges of any outline, and openings.
RIM = r"E\d+|opening \d+"
SHEARS = (4, 5)


@dataclass(frozen=True)
class Governing:
    """One peak in the units of the report.

    result : name; extreme : "max" or "min"; at : plan point [m]; coexisting : the six results
    there at the same load position (w in mm, kNm/m, kN/m).
    point, component, number : field point, result index and number of the load position.
    tolerance : same unit; None until it is estimated.
    """

    result: str
    extreme: str
    unit: str
    value: float
    at: tuple[float, float]
    position: LoadPosition | None
    coexisting: tuple[float, ...]
    point: int
    component: int
    number: int
    tolerance: Tolerance | None = None

    @property
    def error(self) -> float | None:
        """Numerical tolerance, mesh and step together; None until it is estimated."""
        return None if self.tolerance is None else self.tolerance.error

    def with_tolerance(self, tolerance: Tolerance) -> "Governing":
        """The same with its tolerance, given in SI."""
        return replace(self, tolerance=tolerance.scaled(RESULT_SCALE[self.component]))

    @property
    def goal(self) -> tuple[int, int, int]:
        """(field point, index in RESULTS, number of the governing load position)."""
        return self.point, self.component, self.number

    def entry(self) -> dict[str, Any]:
        """The peak as an entry of summary.json."""
        position = self.position
        return {
            "result": self.result,
            "extreme": self.extreme,
            "unit": self.unit,
            "value": self.value,
            **tolerance_entry(self.tolerance),
            "at_m": list(self.at),
            "vehicle": None if position is None else position.vehicle,
            "station_m": None if position is None else position.station,
            "offset_m": None if position is None else position.offset,
            "direction": None if position is None else position.direction,
        }


def governing_values(deck: Deck, solver: Solver, envelopes: Envelopes) -> list[Governing]:
    """Maximum and minimum of w, m_x, m_y, m_xy, q_x, q_y over the deck."""
    plan = solver.recovery.points.plan
    everywhere = readable(solver, deck.slab.thickness)
    clear = everywhere & clear_of_lines(solver, deck.slab.thickness)
    fields = envelopes.fields
    rows = []
    for k, name in enumerate(RESULT_KEYS):
        allowed = np.flatnonzero(clear if k in SHEARS and clear.any() else everywhere)
        for extreme, values, at, coexisting in (
            ("max", fields.extremes.maximum, fields.extremes.at_maximum, fields.with_maximum),
            ("min", fields.extremes.minimum, fields.extremes.at_minimum, fields.with_minimum),
        ):
            sign = 1.0 if extreme == "max" else -1.0
            point = int(allowed[np.argmax(sign * values[k, allowed])])
            rows.append(
                Governing(
                    name.removesuffix("_mm"),
                    extreme,
                    UNITS[k],
                    float(values[k, point]) * RESULT_SCALE[k],
                    (float(plan[point, 0]), float(plan[point, 1])),
                    envelopes.position(int(at[k, point])),
                    tuple((coexisting[k, :, point] * RESULT_SCALE).tolist()),
                    point,
                    k,
                    int(at[k, point]),
                )
            )
    return rows


def readable(solver: Solver, distance: float) -> NDArray[np.bool_]:
    """Field points (n_point,) further than `distance` [m] from every singular place."""
    mesh = solver.model.mesh
    points = solver.recovery.points.xy
    clear = np.ones(len(points), dtype=bool)
    for place in singular_places(solver.model):
        clear &= np.linalg.norm(points - mesh.xy[place.node], axis=1) >= distance
    return clear


def nearest(solver: Solver, allowed: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Number (n_point,) of the field point whose moments stand for each: itself where it is
    `allowed` (n_point,), else the nearest one that is."""
    clear = np.flatnonzero(allowed)
    points = solver.recovery.points.xy
    _, nearest = KDTree(points[clear]).query(points)
    found = clear[nearest]
    found[clear] = clear
    return np.asarray(found, dtype=np.int64)


def clear_of_widths(deck: Deck, points: Floats) -> NDArray[np.bool_]:
    """Points (n,) not over the width of a supporting line."""
    clear = np.ones(len(points), dtype=bool)
    for line in deck.lines:
        path = deck.plan.lines[line.name].full
        for a, b in pairwise(path):
            along = b - a
            share = np.clip((points - a) @ along / (along @ along), 0.0, 1.0)
            gap = np.linalg.norm(points - a - share[:, None] * along, axis=1)
            clear &= gap >= 0.5 * line.width - 1e-9
    return clear


def clear_of_lines(solver: Solver, distance: float) -> NDArray[np.bool_]:
    """Field points (n_point,) further than `distance` [m] from edges, supports and beams."""
    model = solver.model
    mesh = model.mesh
    names = [s.line for s in model.supports] + [b.line for b in model.beams]
    names += [name for name in mesh.lines if name in EDGES or re.fullmatch(RIM, name)]
    points = solver.recovery.points.xy
    clear = np.ones(len(points), dtype=bool)
    for name in dict.fromkeys(names):
        edges = mesh.lines[name][:, [0, -1]]
        for a, b in mesh.xy[edges]:
            along = b - a
            share = np.clip((points - a) @ along / (along @ along), 0.0, 1.0)
            gap = np.linalg.norm(points - a - share[:, None] * along, axis=1)
            clear &= gap >= distance
    return clear
