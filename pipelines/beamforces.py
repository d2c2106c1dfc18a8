"""Moments, shears and torsion of the beams under permanent actions and the streamed traffic."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipelines.combinations import Combination, permanent_states
from pipelines.deck import Action, Deck
from pipelines.designenvelope import permanent_sums
from pipelines.probes import BeamRows, beam_torsion_rows
from pipelines.responses import Response, Solver

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class BeamExtremes:
    """Largest values of one beam, all >= 0: sagging, hogging and torsional moments [N m], shear
    [N]. Each is enveloped by itself: they need not coexist."""

    sagging: float
    hogging: float
    shear: float
    torsion: float


@dataclass(frozen=True)
class BeamForces:
    """Samples of all beams: permanent action -> (3, n_sample) moments, shears, torsional moments
    [N m, N]; high, low : (3, n_sample) extremes of the traffic, 0 without any."""

    rows: BeamRows
    permanent: Mapping[Action, Floats]
    high: Floats
    low: Floats

    def extremes(self, combination: Combination, name: str) -> BeamExtremes:
        """Of one beam, the permanent actions in their worst state."""
        states = permanent_states(combination, list(self.permanent))
        zero = np.zeros(self.high.shape)
        sums = [sum((f * self.permanent[a] for a, f in s.items()), zero) for s in states]
        high = np.max(sums, axis=0) + combination.traffic * self.high
        low = np.min(sums, axis=0) + combination.traffic * self.low
        most = [max(float(self.rows.split(part)[name].max()), 0.0) for part in high]
        least = [max(-float(self.rows.split(part)[name].min()), 0.0) for part in low]
        return BeamExtremes(most[0], least[0], max(most[1], least[1]), max(most[2], least[2]))


class BeamWatch:
    """Observer of the streamed load positions: extremes at every sample of every beam."""

    def __init__(self, deck: Deck, solver: Solver, cases: Mapping[str, Response]) -> None:
        self.rows, self.torsion = solver.beams, beam_torsion_rows(solver.model)
        self.permanent = permanent_sums(deck, cases, lambda one: self._forces(one)[..., 0])
        self.high = np.zeros((3, self.torsion.shape[0]))
        self.low = np.zeros_like(self.high)

    def _forces(self, response: Response) -> Floats:
        torsion = np.asarray(self.torsion @ response.displacements)
        return np.stack([response.beam_moments, response.beam_shears, torsion])

    def __call__(self, first: int, response: Response) -> None:
        """Take in a block of load positions."""
        forces = self._forces(response)
        self.high = np.maximum(self.high, forces.max(axis=2))
        self.low = np.minimum(self.low, forces.min(axis=2))

    def forces(self) -> BeamForces:
        """What has been found so far."""
        return BeamForces(self.rows, self.permanent, self.high, self.low)
