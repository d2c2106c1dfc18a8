"""How wrong the numbers can be.

Mesh part: every stated value is computed again with elements one order higher and 1.5 times
smaller, at the same place, on the same side of a line and for the same load position. The richer
answer is mostly several times nearer the truth, so the difference is the error, not a guess at it;
`SAFETY` covers what the richer answer still misses. Twice the difference covers it where the richer
answer is no more than half as wrong: so it was in 97 % of the values of
`benchmarks/effectivity.py`, against 84 % of them with 1.25.

Step part: how much higher the value is at its true worst load position (`worst`). The stated error
is the sum of both. Beside it stands what the other plate theory makes of the value: no error, but a
reminder of what the theory decides.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from pipelines.accuracy.stated_values import (
    End,
    Goal,
    Headline,
    Parts,
    headline,
    own_rows,
    rows_on,
    values_under,
)
from pipelines.accuracy.worst_position import step_errors
from pipelines.deck.deck import Deck
from pipelines.envelopes.single_vehicles import Envelopes
from pipelines.envelopes.tolerance import Tolerance
from pipelines.model.build import BuiltModel, richer_model
from pipelines.model.cache import Shelf
from pipelines.model.free_mesh import shortest_span
from pipelines.model.influence import surfaces
from pipelines.model.probes import probe_rows
from pipelines.model.responses import Response, Solver, case_load
from plate.solver.stiffness import Stiffness

Floats = NDArray[np.float64]

SAFETY = 2.0


@dataclass(frozen=True)
class Tolerances:
    """The parts of every stated error, and beside them what the other theory adds.

    mesh, step : parts of the error; theory : value by the other of Mindlin's and Kirchhoff's
    theory less the value stated, on the same mesh.
    """

    mesh: Parts
    step: Parts
    theory: Parts

    def peak(self, goal: Goal) -> Tolerance:
        """That of a peak; zero where no load makes it."""
        return Tolerance(*(part.peaks.get(goal, 0.0) for part in self._parts))

    def beam(self, end: End) -> Tolerance:
        """That of a beam's extreme."""
        return Tolerance(
            *(part.beams.get(end, 0.0) for part in (self.mesh, self.step, self.theory))
        )

    def probes(self, extreme: str) -> Floats:
        """Mesh part, step part and difference of the theories (n_row, 3) of all probe rows' "max"
        or "min"."""
        high = extreme == "max"
        return np.stack([p.probes_max if high else p.probes_min for p in self._parts], axis=1)

    @property
    def _parts(self) -> tuple[Parts, Parts, Parts]:
        return self.mesh, self.step, self.theory


def estimate(
    deck: Deck,
    built: BuiltModel,
    solver: Solver,
    cases: Mapping[str, Response],
    envelopes: Envelopes | None,
    goals: Iterable[Goal],
    mesh_only: Iterable[Goal] = (),
    shelf: Shelf | None = None,
) -> Tolerances:
    """Parts of the error of probes, peaks and beam extremes.

    goals : (field point, index in RESULTS, number of the governing load position) of each peak
    under all vehicles; mesh_only : of more peaks, without the step part, which takes its time.
    shelf : where an equal richer model may be found.
    """
    every = set(goals)
    others = set(mesh_only) - every
    stated = headline(solver, envelopes, every | others)
    return Tolerances(
        mesh_part(deck, built, solver, cases, envelopes, stated, shelf or Shelf()),
        _step_part(deck, solver, cases, envelopes, stated, others),
        _theory(deck, solver, cases, envelopes, stated),
    )


def mesh_part(
    deck: Deck,
    built: BuiltModel,
    solver: Solver,
    cases: Mapping[str, Response],
    envelopes: Envelopes | None,
    stated: Headline,
    shelf: Shelf,
) -> Parts:
    """Mesh part of the error, against the richer mesh."""
    richer = shelf.stiffness(richer_model(deck, built).model)
    rows = rows_on(deck, richer.model, solver, stated)
    found, moving = values_by(deck, richer, rows, stated, envelopes)
    return stated.parts(
        SAFETY * np.abs(moving - stated.value),
        {name: SAFETY * np.abs(found[name] - r.probes[:, 0]) for name, r in cases.items()},
    )


def not_estimated(solver: Solver, cases: Iterable[str], goals: Iterable[Goal]) -> Tolerances:
    """Tolerances that are all unknown (not a number)."""
    unknown = np.full(solver.probes.rows.shape[0], np.nan)
    ends = [
        (name, kind, extreme)
        for name in solver.beams.names
        for kind in ("moment", "shear")
        for extreme in ("max", "min")
    ]
    parts = Parts(
        dict.fromkeys(cases, unknown),
        unknown,
        unknown,
        dict.fromkeys(goals, np.nan),
        dict.fromkeys(ends, np.nan),
    )
    return Tolerances(parts, parts, parts)


def _theory(
    deck: Deck,
    solver: Solver,
    cases: Mapping[str, Response],
    envelopes: Envelopes | None,
    stated: Headline,
) -> Parts:
    """Values by the other of Mindlin's and Kirchhoff's theory, on the same mesh, less those
    stated."""
    model = solver.model
    span = None if model.section.thin else shortest_span(deck)
    other = replace(model, section=replace(model.section, thin_span=span))
    probes = probe_rows(deck, other, solver.recovery.points)
    theirs = replace(solver, stiffness=Stiffness(other), probes=probes)
    rows = own_rows(theirs, stated)
    found, moving = values_by(deck, theirs.stiffness, rows, stated, envelopes)
    return stated.parts(
        moving - stated.value, {name: found[name] - r.probes[:, 0] for name, r in cases.items()}
    )


def values_by(
    deck: Deck,
    stiffness: Stiffness,
    rows: sparse.csr_array,
    stated: Headline,
    envelopes: Envelopes | None,
) -> tuple[dict[str, Floats], Floats]:
    """Probe results (n_probe,) of every static case and headline values (n,) [SI] by a stiffness
    and the rows (n_row, n_dof) on it."""
    model = stiffness.model
    loads = [case_load(deck, case, model) for case in deck.cases]
    F = np.array(loads).reshape(-1, model.n_plate_dof).T
    values = rows[: stated.n_probe] @ stiffness.solve(F, refine=True)
    cases = {case.name: values[:, k] for k, case in enumerate(deck.cases)}
    return cases, values_under(stiffness, rows, stated, envelopes)


def _step_part(
    deck: Deck,
    solver: Solver,
    cases: Iterable[str],
    envelopes: Envelopes | None,
    stated: Headline,
    passed_over: set[Goal],
) -> Parts:
    """Step part of the headline values; not a number for peaks passed over, none of static
    cases."""
    errors = np.full(len(stated.value), np.nan)
    still = {name: np.zeros(stated.n_probe) for name in cases}
    if envelopes is None:
        return stated.parts(errors, still)
    surface = surfaces(solver.stiffness, own_rows(solver, stated))
    first = 2 * stated.n_probe
    skipped = {first + k for k, goal in enumerate(stated.goals) if goal in passed_over}
    mine = [k for k in range(len(errors)) if k not in skipped]
    wanted = list(zip(stated.row[mine].tolist(), stated.sign[mine].tolist(), strict=True))
    starts = [envelopes.position(number) for number in stated.number[mine].tolist()]
    values = stated.value[mine].tolist()
    errors[mine] = step_errors(deck, surface, wanted, values, starts).errors
    return stated.parts(errors, still)
