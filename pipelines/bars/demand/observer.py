"""What bars and shear need of the traffic: of every block of load positions as it is streamed, and
of the load models."""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from pipelines.bars.demand.beam_forces import BeamWatch
from pipelines.bars.demand.control_sections import (
    FORCES,
    WIDTH_IN_DEPTHS,
    ShearTracker,
    shear_sections,
)
from pipelines.bars.demand.load_models import FORMS, ModelWatch, ShearForms, held_for_shear
from pipelines.bars.demand.membrane import membrane_forces
from pipelines.bars.demand.moments import (
    MomentEnvelopes,
    combinations_of,
    permanent_fields,
    permanent_sums,
)
from pipelines.bars.demand.numbered import HeldLoads, Numbered
from pipelines.deck.deck import Deck
from pipelines.deck.reinforcement import DesignBasis
from pipelines.envelopes.arrangements import ModelEnvelope
from pipelines.envelopes.peaks import clear_of_widths, nearest, readable
from pipelines.envelopes.single_vehicles import Extremes
from pipelines.model.responses import Response, Solver, stream
from pipelines.standards.actions.combinations import Combination
from pipelines.standards.actions.load_models import for_bars
from pipelines.standards.actions.loads import Action, LoadModel
from pipelines.standards.resistance.bars import LAYERS

Floats = NDArray[np.float64]

# Widths that shear is averaged over, in effective depths, where the deck file states none.
SWEEP = (0.0, 2.0, 4.0, 6.0, 8.0)


class DesignWatch:
    """Observer of the streamed load positions for a deck with bars; load models are taken in after
    them.

    cases : responses of the static cases, by name.
    """

    def __init__(self, deck: Deck, solver: Solver, cases: Mapping[str, Response]) -> None:
        assert deck.reinforcement is not None
        one = deck.reinforcement
        n = solver.recovery.points.n_points
        none: dict[Action, Floats] = {"self-weight": np.zeros((5, n))}
        permanent = permanent_fields(deck, cases, FORCES) or none
        self.beams = BeamWatch(deck, solver, cases) if one.beams else None
        self.dead = sum(permanent.values(), np.zeros((5, n)))[:3]
        self.deck, self.solver, self.reinforcement = deck, solver, one
        self.combinations = combinations_of(deck)
        grades = [basis.materials for basis in one.bases]
        self.membrane = membrane_forces(deck, solver.model, solver.recovery.points, grades)
        own = None
        if self.membrane is not None and self.membrane.rows is not None:
            own = self._own(deck, cases, permanent)
        self._permanent, self._own_permanent, self._angle = permanent, own, one.angle
        # moments grow without limit towards singular places: a thickness off them stands for them
        readable_there = readable(solver, deck.slab.thickness)
        top = readable_there
        if one.hogging_at_face:
            top = top & clear_of_widths(deck, solver.recovery.points.plan)
        self.read_at = np.stack([nearest(solver, readable_there)] * 2 + [nearest(solver, top)] * 2)
        self.moments = self.moment_envelopes(self.combinations)
        if own is not None:
            permanent = {a: np.concatenate([f, own[a]]) for a, f in permanent.items()}
        depth = min(one.bars.effective_depth(layer) for layer in LAYERS if layer[0] == "bottom")
        self.design_width = round(WIDTH_IN_DEPTHS * depth, 3)
        widths = [round(k * depth, 3) for k in SWEEP]
        if one.shear_widths is not None:
            widths = [*one.shear_widths, self.design_width]
        self.sections = shear_sections(deck, solver, depth)
        self.shears = [
            ShearTracker(
                self.sections,
                sorted(set(widths)),
                self._ultimate(basis),
                permanent,
                one.bars,
                basis.materials,
                basis.aggregate,
                self.membrane,
            )
            for basis in one.bases
        ]
        self._shear_forms: ShearForms | None = None

    def of_model(self, model: LoadModel) -> ModelWatch | None:
        """What is to be enveloped under a load model; None where no standard here needs it."""
        if not any(for_bars(model, b.materials.standard) for b in self.reinforcement.bases):
            return None
        if self._shear_forms is None and len(self.sections.points):
            widths = sorted({0.0, self.design_width})
            self._shear_forms = ShearForms.of(self.solver, self.sections, widths)
        beams = None if self.beams is None else self.beams.forms
        return ModelWatch(self.reinforcement, model, self.moments, self._shear_forms, beams)

    def take_models(self, numbered: Numbered, envelopes: Sequence[ModelEnvelope]) -> None:
        """Take in load models; where they stand is numbered on."""
        for envelope in envelopes:
            first = numbered.add_model(envelope)
            n_beams = 0 if self.beams is None else self.beams.forms.shape[0]
            watched = envelope.watched
            for basis, tracker in zip(self.reinforcement.bases, self.shears, strict=True):
                standard = basis.materials.standard
                if not for_bars(envelope.model, standard):
                    continue
                forms = {share: f for (name, share), f in envelope.more.items() if name == FORMS}
                self.moments.take_model(first, forms, standard)
                if self.beams is not None:
                    beams = watched.part(0, n_beams)
                    self.beams.take_model(standard, beams.maximum, beams.minimum)
                if self._shear_forms is not None:
                    self._hold(numbered, envelope, watched.part(n_beams, None), tracker)

    def _hold(
        self, numbered: Numbered, envelope: ModelEnvelope, extremes: Extremes, tracker: ShearTracker
    ) -> None:
        """Solve the arrangements that may govern shear and let the tracker judge them."""
        assert self._shear_forms is not None
        held = held_for_shear(
            self.deck, self.solver, envelope, extremes, self._shear_forms, tracker
        )
        start = numbered.add_held(held)
        if held:
            for first, response, _ in stream(
                self.solver, [HeldLoads(held)], lambda _, response: response.fields
            ):
                tracker(start + first, response)

    def moment_envelopes(self, combinations: Sequence[Combination]) -> MomentEnvelopes:
        """Envelopes of some combinations before any load position."""
        return MomentEnvelopes(
            combinations,
            {a: f[:3] for a, f in self._permanent.items()},
            self._angle,
            self.membrane,
            self._own_permanent,
            self.read_at,
        )

    def _own(
        self, deck: Deck, cases: Mapping[str, Response], permanent: Mapping[Action, Floats]
    ) -> dict[Action, Floats]:
        """The model's n_x, n_y, n_xy (3, n_point) under each permanent action."""
        membrane = self.membrane
        assert membrane is not None

        def read(response: Response) -> Floats:
            forces = membrane.own(response)
            assert forces is not None
            return forces[:, :, 0]

        found = permanent_sums(deck, cases, read)
        return found or {a: np.zeros((3, f.shape[1])) for a, f in permanent.items()}

    def _ultimate(self, basis: DesignBasis) -> Combination:
        return next(
            c
            for c in self.combinations
            if c.standard == basis.materials.standard and c.limit_state == "ULS"
        )

    def __call__(self, first: int, response: Response) -> None:
        """Take in a block of load positions."""
        self.moments(first, response)
        if self.beams is not None:
            self.beams(first, response)
        if len(self.sections.points):
            for tracker in self.shears:
                tracker(first, response)
