"""The values that carry a stated error, as rows on the displacements of any mesh of the deck.

One list, in this order: maxima of the probes' results, their minima, peaks at field points,
extreme moments and shears of the beams; the parts of the error are lists of the same length.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from pipelines.deck.deck import Deck
from pipelines.envelopes.single_vehicles import Envelopes, Extremes, find_position
from pipelines.model.influence import field_rows
from pipelines.model.probes import beam_rows_at, probe_rows
from pipelines.model.responses import Solver
from plate.conventions import RESULTS
from plate.loads.loads import patch_loads
from plate.model.model import PlateModel
from plate.results.fields import field_points, point_operators
from plate.solver.stiffness import Stiffness

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Goal = tuple[int, int, int]
End = tuple[str, str, str]

# Load positions solved together.
BLOCK = 64


@dataclass(frozen=True)
class BeamEnd:
    """An extreme of a beam: its key (beam, "moment" or "shear", "max" or "min"), the number of
    its sample among those of all beams, the place from the line's first end [m]."""

    key: End
    sample: int
    at: float


@dataclass(frozen=True)
class Parts:
    """One part of the error of every headline value, or another amount beside it [SI].

    cases : case name -> (n_row,) of the probe rows.
    probes_max, probes_min : (n_row,) of the probe envelopes.
    peaks : (field point, component, position number) -> of governing values and findings.
    beams : (beam, "moment" or "shear", "max" or "min") -> of the envelope's extreme.
    """

    cases: dict[str, Floats]
    probes_max: Floats
    probes_min: Floats
    peaks: dict[Goal, float]
    beams: dict[End, float]


@dataclass(frozen=True, eq=False)
class Headline:
    """Headline values of a run under its moving loads.

    n_probe : rows of probes; goals, ends : the peaks and beam extremes.
    row : (n,) of each value among the rows of probes, goals and ends in that order.
    value : (n,) [SI]; sign : (n,) 1 for maxima, -1 for minima; number : (n,) of the governing load
    position, -1 for the empty deck.
    """

    n_probe: int
    goals: tuple[Goal, ...]
    ends: tuple[BeamEnd, ...]
    row: Ints
    value: Floats
    sign: Ints
    number: Ints

    def parts(self, amounts: Floats, cases: dict[str, Floats]) -> Parts:
        """Amounts (n,) by what they belong to; zeros for probes where nothing moves."""
        if not len(amounts):
            return Parts(cases, np.zeros(self.n_probe), np.zeros(self.n_probe), {}, {})
        n, m = self.n_probe, len(self.goals)
        high, low, peaks, ends = np.split(amounts, [n, 2 * n, 2 * n + m])
        return Parts(
            cases,
            high,
            low,
            dict(zip(self.goals, peaks.tolist(), strict=True)),
            dict(zip((end.key for end in self.ends), ends.tolist(), strict=True)),
        )


def headline(solver: Solver, envelopes: Envelopes | None, goals: Iterable[Goal]) -> Headline:
    """Probes, beam extremes and the peaks `goals` that a load position makes."""
    n = solver.probes.rows.shape[0]
    nothing = np.zeros(0, dtype=np.int64)
    if envelopes is None:
        return Headline(n, (), (), nothing, np.zeros(0), nothing, nothing)
    wanted = tuple(sorted({goal for goal in goals if goal[2] >= 0}))
    peaks = [_extreme(envelopes, goal) for goal in wanted]
    beams = list(_beam_ends(solver, envelopes))
    m, k = len(wanted), len(beams)
    e = envelopes.probes
    return Headline(
        n,
        wanted,
        tuple(end for end, *_ in beams),
        np.concatenate([np.tile(np.arange(n), 2), n + np.arange(m + k)]),
        np.concatenate([e.maximum, e.minimum, [p[0] for p in peaks], [b[1] for b in beams]]),
        np.concatenate(
            [np.ones(n), -np.ones(n), [p[1] for p in peaks], [b[2] for b in beams]]
        ).astype(np.int64),
        np.concatenate(
            [e.at_maximum, e.at_minimum, [g[2] for g in wanted], [b[3] for b in beams]]
        ).astype(np.int64),
    )


def own_rows(solver: Solver, stated: Headline) -> sparse.csr_array:
    """Rows (n_row, n_dof) of the headline values as the run itself reads them."""
    points, components = ([goal[k] for goal in stated.goals] for k in (0, 1))
    kinds = {"moment": solver.beams.moments, "shear": solver.beams.shears}
    ends = [kinds[end.key[1]][[end.sample]] for end in stated.ends]
    rows = [solver.probes.rows, field_rows(solver, points, components), *ends]
    return sparse.csr_array(sparse.vstack(rows, format="csr"))


def rows_on(deck: Deck, model: PlateModel, solver: Solver, stated: Headline) -> sparse.csr_array:
    """Rows (n_row, n_dof) of the same values on another mesh of the deck, on the same sides."""
    rows = [probe_rows(deck, model, field_points(model)).rows]
    plan = solver.recovery.points.plan
    if stated.goals:
        points, components = ([goal[k] for goal in stated.goals] for k in (0, 1))
        sides = np.array([side_of(solver, point) for point in points])
        rows.append(rows_at(model, plan[points], sides, components))
    for end in stated.ends:
        beam, kind, _ = end.key
        moment, shear = beam_rows_at(model, beam, end.at)
        rows.append(shear if kind == "shear" else moment)
    return sparse.csr_array(sparse.vstack(rows, format="csr"))


def rows_at(
    model: PlateModel, at: Floats, towards: Floats, components: Sequence[int]
) -> sparse.csr_array:
    """Rows (n, n_dof) of results at plan points (n, 2) [m], from the cells on the sides of
    `towards` (n, 2), plan points on the sides meant.

    components : (n,) indices in `plate.conventions.RESULTS`.
    """
    mesh = model.mesh
    found = [cells for cells, _ in mesh.locate(at + 1e-5 * (towards - at))]
    count = np.array([len(cells) for cells in found])
    owner, cells = np.repeat(np.arange(len(at)), count), np.concatenate(found)
    xi = mesh.invert(cells, mesh.chart.to_cartesian(at)[owner])
    operators = point_operators(model, cells, np.clip(xi, -1.0, 1.0))
    column = len(RESULTS) * np.arange(len(cells)) + np.asarray(components)[owner]
    shape = (len(at), operators.shape[0])
    mean = sparse.coo_array((1.0 / count[owner], (owner, column)), shape=shape).tocsr()
    return sparse.csr_array(mean @ operators)


def side_of(solver: Solver, point: int) -> tuple[float, float]:
    """A plan point inside the cells to which a field point belongs [m]."""
    cells = np.flatnonzero(np.any(solver.recovery.points.cells == point, axis=1))
    x, y = solver.model.mesh.corners[cells].mean(axis=(0, 1))
    return float(x), float(y)


def values_under(
    stiffness: Stiffness, rows: sparse.csr_array, stated: Headline, envelopes: Envelopes | None
) -> Floats:
    """Headline values (n,) [SI] at the same load positions by another stiffness and its rows."""
    out = np.zeros(len(stated.value))
    numbers = np.unique(stated.number[stated.number >= 0])
    for start in range(0, len(numbers), BLOCK):
        part = numbers[start : start + BLOCK]
        assert envelopes is not None
        U = stiffness.solve(_loads(stiffness.model, envelopes, part))
        found = rows @ U
        mine = np.flatnonzero(np.isin(stated.number, part))
        out[mine] = found[stated.row[mine], np.searchsorted(part, stated.number[mine])]
    return out


def _loads(model: PlateModel, envelopes: Envelopes, numbers: Ints) -> sparse.csc_array:
    """Right-hand sides (n_dof, n) of some load positions [N]."""
    corners, load, column = [], [], []
    for k, number in enumerate(numbers.tolist()):
        run, index = find_position(envelopes.runs, number)
        wheels = run.wheels(slice(index, index + 1))
        corners.append(wheels.corners)
        load.append(wheels.load)
        column.append(np.full(len(wheels.load), k))
    return patch_loads(
        model.mesh,
        np.concatenate(corners),
        np.concatenate(load),
        np.concatenate(column),
        len(numbers),
    )


def _extreme(envelopes: Envelopes, goal: Goal) -> tuple[float, int]:
    """The extreme value [SI] at a field point that the load position governs, and its sign."""
    point, component, number = goal
    for envelope in (envelopes.fields, *envelopes.vehicles.values()):
        e = envelope.extremes
        for values, at, sign in ((e.maximum, e.at_maximum, 1), (e.minimum, e.at_minimum, -1)):
            if at[component, point] == number:
                return float(values[component, point]), sign
    raise LookupError("no envelope has that load position at that point")


def _beam_ends(solver: Solver, envelopes: Envelopes) -> Iterator[tuple[BeamEnd, float, int, int]]:
    """Beam extremes with value, sign and number of the load position."""
    beams = solver.beams
    n_sample = solver.model.mesh.order + 1
    starts = np.cumsum([0, *(len(at) for at in beams.at)])

    def ends(kind: str, e: Extremes) -> Iterator[tuple[BeamEnd, float, int, int]]:
        for name, at, first in zip(beams.names, beams.at, starts, strict=False):
            for extreme, sign, values, numbers in (
                ("max", 1, e.maximum, e.at_maximum),
                ("min", -1, e.minimum, e.at_minimum),
            ):
                k = int(np.argmax(sign * values[first : first + len(at)]))
                # A shear jumps where beams cross: stay on the sample's own side.
                end = k % n_sample
                inward = 1e-6 if end == 0 else -1e-6 if end == n_sample - 1 else 0.0
                sample = int(first) + k
                place = BeamEnd((name, kind, extreme), sample, float(at[k]) + inward)
                yield place, float(values[sample]), sign, int(numbers[sample])

    yield from ends("moment", envelopes.beam_moments)
    yield from ends("shear", envelopes.beam_shears)
