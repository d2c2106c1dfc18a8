"""What bars and shear need of every block of load positions as it is streamed."""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from pipelines.bars import LAYERS
from pipelines.beamforces import BeamWatch
from pipelines.combinations import Combination
from pipelines.deck import Action, Deck
from pipelines.designenvelope import (
    MomentEnvelopes,
    combinations_of,
    permanent_fields,
    permanent_sums,
)
from pipelines.designmembrane import membrane_forces
from pipelines.reinforcement import DesignBasis
from pipelines.responses import Response, Solver
from pipelines.shearremedies import WIDTH_IN_DEPTHS
from pipelines.shearsections import FORCES, ShearTracker, shear_sections

Floats = NDArray[np.float64]

# Widths that shear is averaged over, in effective depths, where the deck file states none.
SWEEP = (0.0, 2.0, 4.0, 6.0, 8.0)


class DesignWatch:
    """Observer of the streamed load positions for a deck with bars.

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
        self.combinations = combinations_of(deck)
        grades = [basis.materials for basis in one.bases]
        self.membrane = membrane_forces(deck, solver.model, solver.recovery.points, grades)
        own = None
        if self.membrane is not None and self.membrane.rows is not None:
            own = self._own(deck, cases, permanent)
        self._permanent, self._own_permanent, self._angle = permanent, own, one.angle
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

    def moment_envelopes(self, combinations: Sequence[Combination]) -> MomentEnvelopes:
        """Envelopes of some combinations before any load position."""
        return MomentEnvelopes(
            combinations,
            {a: f[:3] for a, f in self._permanent.items()},
            self._angle,
            self.membrane,
            self._own_permanent,
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
