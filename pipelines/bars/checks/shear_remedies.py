"""The three remedies where shear without links fails, what passes re-solved on the plate.

The load position that governs is held, and with it the place of the section; of a load model also
the patches of its wheels, which a thicker slab would spread further. A thicker slab and a
stronger concrete change weight, dispersal and stiffness: the plate is solved again. More
longitudinal steel changes the resistance alone, since the plate's stiffness is that of concrete.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipelines.bars.checks.remedies import Remedy, ShearDesign, remedies, steps
from pipelines.bars.demand.control_sections import (
    WIDTH_IN_DEPTHS,
    Sections,
    mean_weights,
)
from pipelines.bars.demand.moments import permanent_sums
from pipelines.bars.demand.sample_forces import force_rows
from pipelines.deck.deck import Deck
from pipelines.deck.reinforcement import DesignBasis
from pipelines.model.build import build_model
from pipelines.model.cache import ModelCache
from pipelines.model.case_responses import check_case
from pipelines.model.fixed_loads import loads_of
from pipelines.model.position_blocks import position_load
from pipelines.model.solution_checks import CASE_BALANCE, check_balance
from pipelines.model.static_cases import case_solutions
from pipelines.standards.actions.combinations import Combination, permanent_states
from pipelines.standards.actions.loads import Action
from pipelines.standards.materials import grade_ladder
from pipelines.standards.resistance.bars import DIRECTIONS, Face, SlabBars
from pipelines.standards.resistance.bending import utilisation
from pipelines.standards.resistance.shear import one_way_resistance, principal_shear
from pipelines.traffic.arrangements import Arrangement, LoadPosition
from pipelines.traffic.positions import LoadPositions, WheelPatches, load_positions
from plate.arrays import Floats
from plate.results.fields import field_points
from plate.results.functionals import held_results, interpolation
from plate.results.places import at_field_points, deepest

THICKER = (0.01, 0.15)  # step and most added to the thickness [m]
MORE_STEEL = (1e-4, 6e-3)  # step and most [m2/m]


@dataclass(frozen=True, kw_only=True)
class ShearCheck:
    """The section, load position and bars that govern in shear.

    sample : index among the sections' samples; position : of the traffic, None = the empty deck;
    held : its loads where it is an arrangement of a load model: their patches stay as they are;
    forces : (5, ...) coexisting there, of which the direction of the shear is taken.
    n : tension across the section [N/m], held as it is.
    """

    sections: Sections
    sample: int
    position: Arrangement | None
    held: WheelPatches | None
    forces: Floats
    n: float = 0.0


@dataclass(frozen=True)
class _Forces:
    """m_x .. q_y (5, n) at the samples of the governing piece, of each permanent action and of the
    load position."""

    permanent: Mapping[Action, Floats]
    traffic: Floats


Resolved = dict[tuple[float, float, Arrangement | None, int], _Forces]
"""Plates already solved: thickness, share of E, load position and piece of the sections."""


def shear_remedies(
    deck: Deck,
    bars: SlabBars,
    basis: DesignBasis,
    combination: Combination,
    check: ShearCheck,
    resolved: Resolved,
    models: ModelCache,
) -> tuple[Remedy, ...]:
    """The three remedies; resolved : plates already solved, added to. models : of the run."""
    mat = basis.materials
    m_x, m_y, m_xy, q_x, q_y = check.forces[:5]
    principal = principal_shear(q_x, q_y)
    c, s = float(principal.cosine), float(principal.sine)
    face: Face = "bottom" if m_x * c * c + m_y * s * s + 2 * m_xy * c * s >= 0 else "top"
    d = float(principal.along(*(bars.effective_depth((face, e)) for e in DIRECTIONS)))
    area = float(principal.along(*(bars.bars((face, e)).area for e in DIRECTIONS)))
    present = ShearDesign(bars.thickness, mat, area, bars.thickness - d)
    from_grade = deck.slab.concrete is not None

    def forces(design: ShearDesign) -> _Forces:
        ratio = design.materials.concrete.E_c / mat.concrete.E_c if from_grade else 1.0
        key = (design.thickness, ratio, check.position, int(check.sections.piece[check.sample]))
        if key not in resolved:
            resolved[key] = _solve(deck, models, design.thickness, ratio, check)
        return resolved[key]

    def used(design: ShearDesign, solved: ShearDesign) -> float:
        depth = design.thickness - design.axis
        v, m = _shear(forces(solved), combination, check, WIDTH_IN_DEPTHS * depth)
        resists = one_way_resistance(
            design.section(), design.materials, v, m, check.n, basis.aggregate
        )
        return float(utilisation(v, resists.v_Rd))

    t, more = bars.thickness, THICKER
    return remedies(
        present,
        used,
        steps(t, t + more[1], more[0]),
        grade_ladder(mat.standard),
        steps(area, area + MORE_STEEL[1], MORE_STEEL[0]),
    )


def _solve(
    deck: Deck, models: ModelCache, thickness: float, ratio: float, check: ShearCheck
) -> _Forces:
    slab = replace(deck.slab, thickness=thickness, E=deck.slab.E * ratio)
    changed = replace(deck, slab=slab)
    stiffness = models.stiffness(build_model(changed).model)
    model = stiffness.model
    piece = check.sections.piece == check.sections.piece[check.sample]
    fields = field_points(model)
    near = interpolation(fields, deepest(model.mesh, check.sections.points[piece]))
    rows = force_rows(model, fields, near)
    shape = (5, int(piece.sum()))
    combined = tuple(case for case in deck.cases if case.action != "none")
    permanent_deck = replace(changed, cases=combined)
    of_case = {}
    for name, solution in case_solutions(permanent_deck, stiffness, models).items():
        check_case(solution)
        forces = solution.of_slab(rows).reshape(shape)
        if solution.imposed is not None:
            every = at_field_points(fields, np.arange(fields.n_points))
            held = held_results(solution.stiffness.model, every, solution.imposed)
            forces = forces + np.asarray((near @ held.reshape(-1, 6)[:, 1:]).T)
        of_case[name] = forces
    permanent = permanent_sums(changed, of_case, lambda forces: forces)
    traffic = np.zeros(shape)
    if check.position is not None:
        if check.position.single is not None:
            run, index = _same_position(load_positions(changed), check.position.single)
            F = position_load(model, run, slice(index, index + 1))
        else:
            assert check.held is not None
            F = loads_of(model, [check.held])
        U = stiffness.solve(F, refine=True)
        check_balance(stiffness.reactions(U, F), F, CASE_BALANCE, "a remedy of the shear")
        traffic = np.asarray(rows @ U).reshape(shape)
    return _Forces(permanent, traffic)


def _same_position(
    runs: Sequence[LoadPositions], position: LoadPosition
) -> tuple[LoadPositions, int]:
    """The load position of the changed deck, whose runs may be longer by wider patches."""
    for run in runs:
        if run.vehicle.name == position.vehicle and run.direction == position.direction:
            gap = np.hypot(run.stations - position.station, run.offsets - position.offset)
            index = int(gap.argmin())
            if gap[index] < 1e-6:
                return run, index
    raise LookupError(f"no load position of {position.vehicle} at {position.station:g} m")


def _shear(
    forces: _Forces, combination: Combination, check: ShearCheck, width: float
) -> tuple[float, float]:
    """Mean principal shear over the width and the coexisting moment in its direction."""
    sections = check.sections
    piece = sections.piece == sections.piece[check.sample]
    sample = int(piece[: check.sample].sum())
    mean = mean_weights(int(piece.sum()), sample, width)
    traffic = combination.traffic * forces.traffic
    v = np.zeros(traffic.shape[1])
    for state in permanent_states(combination, list(forces.permanent)):
        total = traffic + sum(f * forces.permanent[a] for a, f in state.items())
        v = np.maximum(v, np.hypot(total[3], total[4]))
    first = permanent_states(combination, list(forces.permanent))[0]
    total = traffic + sum(f * forces.permanent[a] for a, f in first.items())
    m_x, m_y, m_xy, q_x, q_y = total[:, sample]
    c, s = np.array([q_x, q_y]) / max(float(np.hypot(q_x, q_y)), 1e-12)
    m = m_x * c**2 + m_y * s**2 + 2 * m_xy * c * s
    return float(mean @ v), float(m)
