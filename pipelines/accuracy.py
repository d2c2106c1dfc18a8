"""How wrong the numbers can be: the same loads on a richer mesh of the same deck.

Every stated value is computed again with elements one order higher and 1.5 times smaller, at the
same place, on the same side of a line and for the same load position. The richer answer is mostly
several times nearer the truth, so the difference is the error, not a guess at it; `SAFETY` covers
what the richer answer still misses. Twice the difference covers it where the richer answer is no
more than half as wrong: so it was in 97 % of the values of `benchmarks/effectivity.py`, against
84 % of them with 1.25.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from pipelines.build import BuiltModel, build_model
from pipelines.deck import Deck
from pipelines.envelopes import Envelopes, find_position
from pipelines.probes import beam_rows_at, probe_rows
from pipelines.responses import Response, Solver, case_load, position_load
from pipelines.shelf import Shelf
from plate.model import PlateModel
from plate.recovery import field_points, point_operators
from plate.stiffness import Stiffness

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

REFINEMENT = 1.5
SAFETY = 2.0
ENDS = ("max", "min")


@dataclass(frozen=True)
class Richer:
    """The deck on the richer mesh, with the load positions that govern something solved.

    cases, positions : displacements (n_dof,) by case name and by number of load position.
    """

    stiffness: Stiffness
    probes: sparse.csr_array
    cases: dict[str, Floats]
    positions: dict[int, Floats]

    @property
    def model(self) -> PlateModel:
        return self.stiffness.model


def richer_model(deck: Deck, built: BuiltModel) -> BuiltModel:
    """The deck's model with elements one order higher and 1.5 times smaller."""
    order = built.model.mesh.order + 1
    options = replace(deck.mesh, order=order, size=built.size / REFINEMENT)
    return build_model(replace(deck, mesh=options))


def solve_richer(
    deck: Deck,
    built: BuiltModel,
    envelopes: Envelopes | None,
    numbers: Iterable[int],
    shelf: Shelf,
) -> Richer:
    """Solve static cases and the given load positions on the richer mesh."""
    model = richer_model(deck, built).model
    stiffness = shelf.stiffness(model)
    rows = probe_rows(deck, model, field_points(model)).rows
    loads = [case_load(deck, case, model) for case in deck.cases]
    F = np.array(loads).reshape(-1, model.n_plate_dof).T
    U = stiffness.solve(F, refine=True)
    cases = {case.name: U[:, k] for k, case in enumerate(deck.cases)}
    wanted = sorted({int(n) for n in numbers if n >= 0})
    positions: dict[int, Floats] = {}
    for start in range(0, len(wanted), 64):
        part = wanted[start : start + 64]
        assert envelopes is not None
        found = [find_position(envelopes.runs, n) for n in part]
        loads = [position_load(model, run, slice(i, i + 1)) for run, i in found]
        U = stiffness.solve(sparse.hstack(loads, format="csc"))
        positions |= {n: U[:, k] for k, n in enumerate(part)}
    return Richer(stiffness, rows, cases, positions)


def probe_differences(richer: Richer, values: Floats, numbers: Ints) -> Floats:
    """|value - richer value| of probe extremes (n_row,) with their load positions (n_row,)."""
    out = np.zeros(len(values))
    for number in np.unique(numbers[numbers >= 0]):
        rows = np.flatnonzero(numbers == number)
        out[rows] = np.abs(richer.probes[rows] @ richer.positions[int(number)] - values[rows])
    return out


def row_at(
    model: PlateModel, at: Sequence[float], towards: Sequence[float], component: int
) -> sparse.csr_array:
    """Row (1, n_dof) of a result at a plan point, from the cells on the side of `towards`.

    component : index in `plate.conventions.RESULTS`; towards : plan point on the side meant [m].
    """
    point = np.array([at], dtype=float)
    nudged = point + 1e-5 * (np.array([towards]) - point)
    [(cells, _)] = model.mesh.locate(nudged)
    xi = model.mesh.invert(cells, np.repeat(model.mesh.chart.to_cartesian(point), len(cells), 0))
    rows = point_operators(model, cells, np.clip(xi, -1.0, 1.0))
    pick = np.arange(len(cells)) * 6 + component
    return sparse.csr_array(rows[pick].sum(axis=0).reshape(1, -1) / len(cells))


def side_of(solver: Solver, point: int) -> tuple[float, float]:
    """A plan point inside the cells to which a field point belongs [m]."""
    cells = np.flatnonzero(np.any(solver.recovery.points.cells == point, axis=1))
    x, y = solver.model.mesh.corners[cells].mean(axis=(0, 1))
    return float(x), float(y)


def field_difference(
    richer: Richer, solver: Solver, point: int, component: int, number: int, value: float
) -> float:
    """|value - richer value| of a result at a field point under a load position."""
    at = solver.recovery.points.plan[point]
    row = row_at(richer.model, at, side_of(solver, point), component)
    return abs(float((row @ richer.positions[number])[0]) - value)


def beam_difference(
    richer: Richer, beam: str, at: float, shear: bool, value: float, u: Floats
) -> float:
    """|value - richer value| of a beam's moment or shear `at` [m] from its first end."""
    moment_row, shear_row = beam_rows_at(richer.model, beam, at)
    row = shear_row if shear else moment_row
    return abs(float((row @ u)[0]) - value)


@dataclass(frozen=True)
class Tolerances:
    """Mesh part of the error of every stated value, in SI; the shapes of what they belong to.

    cases : case name -> (n_row,) of the probe rows.
    probes_max, probes_min : (n_row,) of the probe envelopes.
    peaks : (field point, component, position number) -> error, for governing values and findings.
    beams : (beam, "moment" or "shear", "max" or "min") -> error of the envelope's extreme.
    """

    cases: dict[str, Floats]
    probes_max: Floats
    probes_min: Floats
    peaks: dict[tuple[int, int, int], float]
    beams: dict[tuple[str, str, str], float]


def estimate(
    deck: Deck,
    built: BuiltModel,
    solver: Solver,
    cases: Mapping[str, Response],
    envelopes: Envelopes | None,
    goals: Iterable[tuple[int, int, int]],
    shelf: Shelf | None = None,
) -> Tolerances:
    """Mesh part of the error of probes, peaks and beam extremes.

    goals : (field point, index in RESULTS, number of the governing load position) of each peak.
    shelf : where an equal richer model may be found.
    """
    goals = {goal for goal in goals if goal[2] >= 0}
    numbers = {number for _, _, number in goals}
    extremes = []
    if envelopes is not None:
        numbers |= set(np.unique(envelopes.probes.at_maximum).tolist())
        numbers |= set(np.unique(envelopes.probes.at_minimum).tolist())
        extremes = list(_beam_extremes(solver, envelopes))
        numbers |= {number for *_, number in extremes}
    richer = solve_richer(deck, built, envelopes, numbers, shelf or Shelf())
    case_errors = {
        name: SAFETY * np.abs(richer.probes @ richer.cases[name] - response.probes[:, 0])
        for name, response in cases.items()
    }
    if envelopes is None:
        empty = np.zeros(solver.probes.rows.shape[0])
        return Tolerances(case_errors, empty, empty, {}, {})
    probes = envelopes.probes
    return Tolerances(
        case_errors,
        SAFETY * probe_differences(richer, probes.maximum, probes.at_maximum),
        SAFETY * probe_differences(richer, probes.minimum, probes.at_minimum),
        {
            goal: SAFETY * field_difference(richer, solver, *goal, _value(envelopes, goal))
            for goal in sorted(goals)
        },
        {
            (name, kind, extreme): SAFETY
            * beam_difference(richer, name, at, kind == "shear", value, richer.positions[number])
            for name, kind, extreme, at, value, number in extremes
            if number >= 0
        },
    )


def not_estimated(
    solver: Solver, cases: Iterable[str], goals: Iterable[tuple[int, int, int]]
) -> Tolerances:
    """Tolerances that are all unknown (not a number)."""
    unknown = np.full(solver.probes.rows.shape[0], np.nan)
    ends = [(n, k, e) for n in solver.beams.names for k in ("moment", "shear") for e in ENDS]
    return Tolerances(
        dict.fromkeys(cases, unknown),
        unknown,
        unknown,
        dict.fromkeys(goals, np.nan),
        dict.fromkeys(ends, np.nan),
    )


def _value(envelopes: Envelopes, goal: tuple[int, int, int]) -> float:
    """The extreme value [SI] at a field point that the load position governs."""
    point, component, number = goal
    for envelope in (envelopes.fields, *envelopes.vehicles.values()):
        e = envelope.extremes
        for values, at in ((e.maximum, e.at_maximum), (e.minimum, e.at_minimum)):
            if at[component, point] == number:
                return float(values[component, point])
    raise LookupError("no envelope has that load position at that point")


def _beam_extremes(
    solver: Solver, envelopes: Envelopes
) -> Iterable[tuple[str, str, str, float, float, int]]:
    """(beam, kind, extreme, place [m], value, number of the load position) of the envelopes."""
    beams = solver.beams
    n_sample = solver.model.mesh.order + 1
    for kind, e in (("moment", envelopes.beam_moments), ("shear", envelopes.beam_shears)):
        for extreme, values, numbers, pick in (
            ("max", beams.split(e.maximum), beams.split(e.at_maximum), np.argmax),
            ("min", beams.split(e.minimum), beams.split(e.at_minimum), np.argmin),
        ):
            for name, at in zip(beams.names, beams.at, strict=True):
                k = int(pick(values[name]))
                number = int(numbers[name][k])
                # A shear jumps where beams cross: stay on the sample's own side.
                end = k % n_sample
                inward = 1e-6 if end == 0 else -1e-6 if end == n_sample - 1 else 0.0
                place = float(at[k]) + inward
                yield name, kind, extreme, place, float(values[name][k]), number
