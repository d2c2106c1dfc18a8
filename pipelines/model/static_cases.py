"""Static cases: their loads, what they impose on slab and supports, and the model of their stage.

With `[stages]` a case is solved on the model of its stage. Loads that stay and shrinkage find the
slab with a modulus of their own. Fresh concrete has no stiffness: its formwork hands its weight to
beams and supports as a slab on rigid lines, and the beams carry it without composite action.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy import sparse

from pipelines.deck.cases import Case, Stage
from pipelines.deck.deck import Deck
from pipelines.model.cache import ModelCache
from plate.arrays import Floats
from plate.elements.section import Section
from plate.loads.imposed import ImposedStrain, imposed_load
from plate.loads.loads import edge_load, line_load, patch_loads, pressure, self_weight
from plate.model.model import PlateModel
from plate.model.supports import LineSupport
from plate.solver.settlement import Settlement
from plate.solver.stiffness import Stiffness

# Share of the slab's modulus that fresh concrete keeps, so that there is a deflection between the
# beams: of a beam's load it carries less than a hundred thousandth.
FRESH = 1e-6


def case_load(deck: Deck, case: Case, model: PlateModel) -> Floats:
    """Right-hand side (n_plate_dof,) [N] of the loads of a static case."""
    F = np.zeros(model.n_plate_dof)
    if case.pressure:
        F += pressure(model.mesh, case.pressure)
    if case.self_weight:
        F += self_weight(model.mesh, model.section, deck.slab.density)
    for line in case.lines:
        if line.on:
            F += edge_load(model.mesh, line.on, line.load)
        else:
            F += line_load(model.mesh, np.array(line.path), line.load)
    if case.patches:
        at, size = [p.at for p in case.patches], [p.size for p in case.patches]
        corners = model.mesh.alignment.rectangles(at, size)
        load = np.array([p.load for p in case.patches])
        column = np.zeros(len(load), dtype=np.int64)
        F += patch_loads(model.mesh, corners, load, column, 1).toarray()[:, 0]
    return F


def imposed_strain(case: Case) -> ImposedStrain | None:
    """What a case imposes on the slab; None of a case of loads and settlements alone."""
    mean, difference = -case.shrinkage, 0.0
    if case.temperature is not None:
        mean += case.temperature.expansion * case.temperature.mean
        difference = case.temperature.expansion * case.temperature.difference
    return ImposedStrain(difference, mean) if mean or difference else None


@dataclass(frozen=True, eq=False, kw_only=True)
class CaseSolution:
    """A static case solved on the model of its stage.

    U : (n_dof, 1) displacements; load : (n_plate_dof, 1) the loads on the slab [N], put : as the
    model of the stage takes them; V, F : what was solved for and under which right-hand side
    (n_dof, 1), without the way of the supports; slab : share of the slab's modulus.
    """

    case: Case
    stiffness: Stiffness
    U: Floats
    load: Floats
    put: Floats
    V: Floats
    F: Floats
    settlement: Settlement | None
    slab: float

    @property
    def imposed(self) -> ImposedStrain | None:
        """The strain imposed on the slab."""
        return imposed_strain(self.case)

    def of_slab(self, rows: sparse.csr_array) -> Floats:
        """`slab_values` of the case (n_row, 1)."""
        return slab_values(rows, self.U, self.slab)

    @cached_property
    def reactions(self) -> dict[str, Floats]:
        """Upward reactions (1,) [N], as `Stiffness.reactions` gives them."""
        if self.settlement is None:
            return self.stiffness.reactions(self.V, self.F)
        return self.settlement.reactions(self.V, self.F)


def case_solutions(deck: Deck, stiffness: Stiffness, models: ModelCache) -> dict[str, CaseSolution]:
    """The static cases of a deck by name, refined to full accuracy.

    stiffness : of the deck as it is in the end, on any mesh and by either theory; models : through
    which those of the stages are factorised.
    """
    solved: dict[str, CaseSolution] = {}
    for stage in dict.fromkeys(case.stage for case in deck.cases):
        own = stage_stiffness(deck, stage, stiffness, models)
        fresh = deck.stages is not None and stage == "wet concrete"
        cases = [case for case in deck.cases if case.stage == stage]
        loads = [case_load(deck, case, stiffness.model) for case in cases]
        put = [handed_over(stiffness.model, load, models) if fresh else load for load in loads]
        settlements = [
            Settlement(own, dict(case.settlements)) if case.settlements else None for case in cases
        ]
        F = np.zeros((own.model.n_dof, len(cases)))
        for k, (case, load, settlement) in enumerate(zip(cases, put, settlements, strict=True)):
            F[: len(load), k] = load
            imposed = imposed_strain(case)
            if imposed is not None:
                mesh, section = own.model.mesh, own.model.section
                joined = bool(own.model.connected)
                strains = imposed_load(mesh, section, imposed, membrane=joined)
                F[: len(strains), k] += strains
            if settlement is not None:
                F[:, k] += settlement.load
        V = own.solve(F, refine=True)
        for k, (case, load, settlement) in enumerate(zip(cases, loads, settlements, strict=True)):
            mine = slice(k, k + 1)
            lift = 0.0 if settlement is None else settlement.lift[:, None]
            solved[case.name] = CaseSolution(
                case=case,
                stiffness=own,
                U=V[:, mine] + lift,
                load=load[:, None],
                put=put[k][:, None],
                V=V[:, mine],
                F=F[:, mine],
                settlement=settlement,
                slab=slab_share(deck, stage),
            )
    return {case.name: solved[case.name] for case in deck.cases}


def stage_stiffness(
    deck: Deck, stage: Stage, stiffness: Stiffness, models: ModelCache
) -> Stiffness:
    """The stiffness of the deck in a stage of its life; itself where stages change nothing."""
    if deck.stages is None or stage == "short-term":
        return stiffness
    model = stiffness.model
    share = FRESH if stage == "wet concrete" else deck.stages.share(stage)
    beams = model.beams
    if stage == "wet concrete":
        beams = tuple(replace(beam, connection=0.0) for beam in beams)
    changed = replace(model, section=_softer(model.section, share), beams=beams)
    return models.stiffness(changed)


def _softer(section: Section, share: float) -> Section:
    """The section of a concrete with a share of the modulus."""
    rigidity = section.rigidity
    if rigidity is not None:
        Dx, Dy, D1, Dxy = rigidity
        rigidity = (share * Dx, share * Dy, share * D1, share * Dxy)
    return replace(section, E=share * section.E, rigidity=rigidity)


def handed_over(model: PlateModel, load: Floats, models: ModelCache) -> Floats:
    """Right-hand side (n_plate_dof,) of what formwork on rigid beams and supports hands them of a
    load (n_plate_dof,) on it."""
    lines = [support.line for support in model.supports] + [beam.line for beam in model.beams]
    formwork = replace(
        model,
        supports=tuple(LineSupport(line=line, kind="rigid") for line in lines),
        beams=(),
        points=tuple(replace(point, k=np.inf) for point in model.points),
    )
    stiffness = models.stiffness(formwork)
    U = stiffness.solve(load[:, None], refine=True)
    return np.asarray(load - stiffness.force(U)[: len(load), 0])


def slab_values(rows: sparse.csr_array, U: Floats, share: float) -> Floats:
    """Moments, shears or forces (n_row, n) of the slab but what an imposed strain adds, by rows of
    the deck in the end on displacements (n_dof, n) in a stage where it has a share of its modulus;
    none of fresh concrete."""
    if share == 0.0:
        return np.zeros((rows.shape[0], U.shape[1]))
    return np.asarray(share * (rows @ U))


def slab_share(deck: Deck, stage: Stage) -> float:
    """The share of its modulus that the slab has in a stage; 0 of fresh concrete."""
    if deck.stages is None:
        return 1.0
    return 0.0 if stage == "wet concrete" else deck.stages.share(stage)


def by_stage(deck: Deck) -> Mapping[Stage, list[str]]:
    """Names of the cases of every stage that has some, in the order of a deck's life."""
    found: dict[Stage, list[str]] = {}
    stages: tuple[Stage, ...] = ("wet concrete", "long-term", "shrinkage", "short-term")
    for stage in stages:
        names = [case.name for case in deck.cases if case.stage == stage]
        if names:
            found[stage] = names
    return found
