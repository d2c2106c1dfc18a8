"""Responses of the factorised deck to its static cases, each on the model of its stage."""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from pipelines.model.beam_rows import beam_rows, samples_in_holds
from pipelines.model.probes import ProbeRows, membrane_places
from pipelines.model.responses import Response, SolvedDeck
from pipelines.model.solution_checks import CASE_BALANCE, check_sum, sums
from pipelines.model.static_cases import (
    CaseSolution,
    case_solutions,
    imposed_strain,
)
from plate.arrays import Floats
from plate.conventions import N_FIELDS
from plate.errors import SolutionError
from plate.loads.imposed import ImposedStrain
from plate.model.model import PlateModel
from plate.results.functionals import held_forces, held_results
from plate.results.places import at_field_points
from plate.solver.solution import WholeSolution
from plate.solver.stiffness import Stiffness

# Of forces that hold a deck against what is imposed on it, as a share.
ROUNDING = 1e-5


def case_responses(solved: SolvedDeck) -> dict[str, Response]:
    """Responses of the deck's static cases, refined to full accuracy."""
    stages: dict[Stiffness, SolvedDeck | None] = {solved.stiffness: None}
    found = {}
    for name, solution in case_solutions(solved.deck, solved.stiffness, solved.models).items():
        if solution.stiffness not in stages:
            stages[solution.stiffness] = _on_stage(solved, solution.stiffness)
        check_case(solution)
        found[name] = _response(solved, stages[solution.stiffness], solution)
    return read_cases(solved, found)


def check_case(solution: CaseSolution) -> None:
    """Stop where a case's solution is not finite, or where its reactions do not carry its load.

    Strains and settlements put no load on the slab: the reactions that they make balance each
    other, but for rounding of the forces that hold the deck where it was.

    Raises
    ------
    SolutionError
        With the name of the case, of the check and by how much it fails.
    """
    what = f"case {solution.case.name}"
    put = sums(np.abs(solution.load))
    if solution.case.imposes:
        model = solution.stiffness.model
        plate, membrane = np.split(np.abs(solution.F), [model.n_plate_dof])
        bending = plate.reshape(-1, N_FIELDS).sum(axis=0) / np.ptp(model.mesh.xy, axis=0).min()
        holding = plate[::N_FIELDS].sum() + bending[1:].sum() + membrane.sum()
        put = put + sum(abs(force) for force in solution.reactions.values()) + ROUNDING * holding
    if not np.isfinite(solution.U).all():
        raise SolutionError(f"{what}: check of finite values: the solution is not finite")
    check_sum(solution.reactions, sums(solution.load), put, CASE_BALANCE, what)


def read_cases(solved: SolvedDeck, cases: Mapping[str, Response]) -> dict[str, Response]:
    """Responses of the same plate to static cases, with this deck's probes."""
    decks = {id(None): solved}
    found = {}
    for case in solved.deck.cases:
        response = cases[case.name]
        stage = response.of_stage
        if id(stage) not in decks:
            assert stage is not None, "the deck itself is among the decks"
            decks[id(stage)] = stage.of_deck(solved.deck)
        of, U = decks[id(stage)], response.displacements
        probes = np.asarray(of.probes.rows @ U)
        # without composite action there are no membrane forces
        membrane = np.zeros((solved.membrane.shape[0], 1))
        imposed = imposed_strain(case)
        if imposed is not None:
            probes += held_probes(of.model, of.probes, imposed)[:, None]
        if of.membrane.shape[0]:
            membrane += of.membrane @ U
            if imposed is not None:
                places = membrane_places(of.deck, of.model)
                forces = [held_forces(of.model, one, imposed) for one in places]
                membrane += np.concatenate(forces)[:, None]
        found[case.name] = replace(response, probes=probes, membrane=membrane)
    return found


def held_probes(model: PlateModel, probes: ProbeRows, imposed: ImposedStrain) -> Floats:
    """What a strain imposed on the slab adds to the probes' results (6 n,)."""
    none = np.zeros(0)
    return np.concatenate([none, *(held_results(model, one, imposed) for one in probes.places)])


def _on_stage(solved: SolvedDeck, stiffness: Stiffness) -> SolvedDeck:
    """The deck in another stage of its life."""
    recovery = solved.models.recovery(stiffness.model)
    beams = beam_rows(stiffness.model)
    there = replace(solved, stiffness=stiffness, recovery=recovery, beams=beams)
    return there.of_deck(solved.deck)


def _response(solved: SolvedDeck, stage: SolvedDeck | None, solution: CaseSolution) -> Response:
    of = solved if stage is None else stage
    U, reactions, imposed = solution.U, solution.reactions, solution.imposed
    held = None
    if imposed is not None:
        points = at_field_points(of.recovery.points, np.arange(of.recovery.points.n_points))
        held = held_results(of.model, points, imposed).reshape(-1, 6).T
    shears = np.asarray(of.beams.shears @ U)
    if solution.settlement is not None:
        # the ground moves under yielding holds: the rows know the beam's way alone
        for sample, name, sign in samples_in_holds(of.model):
            shears[sample] = sign * reactions[name]
    return Response(
        solution=WholeSolution(U),
        recovery=of.recovery,
        probes=np.zeros((0, 1)),
        membrane=np.zeros((0, 1)),
        beam_moments=np.asarray(of.beams.moments @ U),
        beam_shears=shears,
        reactions=reactions,
        total=sums(solution.load),
        imposed=imposed,
        held=held,
        of_stage=stage,
        slab=solution.slab,
    )
