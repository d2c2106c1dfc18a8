"""The three remedies where shear without links fails, each re-solved on the plate.

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
    field_interpolation,
    force_rows,
)
from pipelines.bars.demand.moments import permanent_sums
from pipelines.deck.deck import Deck
from pipelines.deck.reinforcement import DesignBasis
from pipelines.model.cache import ModelCache
from pipelines.model.fixed_loads import loads_of
from pipelines.model.responses import Response, SolvedDeck, case_responses, position_load
from pipelines.standards.actions.combinations import Combination, permanent_states
from pipelines.standards.actions.loads import Action
from pipelines.standards.materials import grade_ladder
from pipelines.standards.resistance.bars import DIRECTIONS, Face, SlabBars
from pipelines.standards.resistance.bending import utilisation
from pipelines.standards.resistance.shear import one_way_resistance, principal_shear
from pipelines.traffic.arrangements import Arrangement, LoadPosition
from pipelines.traffic.positions import LoadPositions, WheelPatches, load_positions
from plate.arrays import Floats

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
    c, s = float(np.cos(principal.angle)), float(np.sin(principal.angle))
    face: Face = "bottom" if m_x * c * c + m_y * s * s + 2 * m_xy * c * s >= 0 else "top"
    d = float(principal.along(*(bars.effective_depth((face, e)) for e in DIRECTIONS)))
    area = float(principal.along(*(bars.bars((face, e)).area for e in DIRECTIONS)))
    present = ShearDesign(bars.thickness, mat, area, bars.thickness - d)
    from_grade = deck.slab.concrete is not None

    def used(design: ShearDesign) -> float:
        ratio = design.materials.concrete.E_c / mat.concrete.E_c if from_grade else 1.0
        key = (design.thickness, ratio, check.position, int(check.sections.piece[check.sample]))
        if key not in resolved:
            resolved[key] = _solve(deck, models, design.thickness, ratio, check)
        depth = design.thickness - design.axis
        v, m = _shear(resolved[key], combination, check, WIDTH_IN_DEPTHS * depth)
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
    # probes are not wanted here
    changed = replace(deck, slab=slab, probes=())
    solved = SolvedDeck.of(changed, models=models)
    piece = check.sections.piece == check.sections.piece[check.sample]
    rows = force_rows(solved, field_interpolation(solved, check.sections.points[piece]))

    def read(response: Response) -> Floats:
        return np.asarray(rows @ response.displacements)[:, 0].reshape(5, -1)

    permanent = permanent_sums(changed, case_responses(solved), read)
    traffic = np.zeros((5, int(piece.sum())))
    if check.position is not None:
        if check.position.single is not None:
            run, index = _same_position(load_positions(changed), check.position.single)
            F = position_load(solved.model, run, slice(index, index + 1))
        else:
            assert check.held is not None
            F = loads_of(solved.model, [check.held])
        traffic = read(solved.respond(F))
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
    local = Sections(
        names=sections.names,
        line=sections.line[piece],
        side=sections.side[piece],
        points=sections.points[piece],
        piece=sections.piece[piece],
        rows=sections.rows[piece],
        judged=sections.judged[piece],
    )
    mean = local.means(width)[[int(piece[: check.sample].sum())]]
    traffic = combination.traffic * forces.traffic
    v = np.zeros(traffic.shape[1])
    for state in permanent_states(combination, list(forces.permanent)):
        total = traffic + sum(f * forces.permanent[a] for a, f in state.items())
        v = np.maximum(v, np.hypot(total[3], total[4]))
    first = permanent_states(combination, list(forces.permanent))[0]
    total = traffic + sum(f * forces.permanent[a] for a, f in first.items())
    m_x, m_y, m_xy, q_x, q_y = total[:, int(piece[: check.sample].sum())]
    c, s = np.array([q_x, q_y]) / max(float(np.hypot(q_x, q_y)), 1e-12)
    m = m_x * c**2 + m_y * s**2 + 2 * m_xy * c * s
    return float((mean @ v)[0]), float(m)
