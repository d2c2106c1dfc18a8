"""Shear of stretches of control sections, each under one load position, and their least multiplier.

Of many such pairs few come near to governing: it is looked for among those, and all others must
pass at what is found.
"""

from dataclasses import dataclass

import numpy as np

from pipelines.bars.demand.shear import ShearTracker
from pipelines.bars.rating.root import MOST, from_nothing
from pipelines.numbers import within
from pipelines.standards.resistance.bending import utilisation
from plate.arrays import Floats, Ints

# Pairs among which the multiplier is looked for first, and its steps as a factor.
FIRST, STEP = 12, 1.01
LEAST = 1e-9


@dataclass(frozen=True, eq=False)
class ShearPairs:
    """Pairs of a stretch and a load position.

    shears : (2, n_weight, n) factored q_x, q_y at the samples of each stretch; steady : (n_state,
    2, n_weight, n) of permanent actions; weights : (n_weight, n) of their mean. forces : (5, n)
    factored at the judged samples `judged` (n,).
    """

    tracker: ShearTracker
    shears: Floats
    steady: Floats
    weights: Floats
    forces: Floats
    judged: Ints

    @classmethod
    def of(
        cls,
        tracker: ShearTracker,
        shears: Floats,
        samples: Ints,
        weights: Floats,
        forces: Floats,
        judged: Ints,
    ) -> "ShearPairs":
        """samples : (n_weight, n) those of each stretch."""
        steady = tracker.permanent[:, 3:5][:, :, samples]
        return cls(tracker, shears, steady, weights, forces, judged)

    def __getitem__(self, some: Ints) -> "ShearPairs":
        return ShearPairs(
            self.tracker,
            self.shears[..., some],
            self.steady[..., some],
            self.weights[:, some],
            self.forces[:, some],
            self.judged[some],
        )

    def used(self, multiplier: float) -> Floats:
        """(n,) utilisations with the traffic times a multiplier."""
        q = multiplier * self.shears + self.steady
        sizes = np.hypot(q[:, 0], q[:, 1]).max(axis=0)
        acting = (self.weights * sizes).sum(axis=0)
        forces = multiplier * self.forces
        resists, _ = self.tracker.resistance_at(forces, self.judged, acting)
        return np.asarray(utilisation(acting, resists))

    def least(self, start: float, without: Floats) -> tuple[float, int]:
        """The least multiplier and the number of its pair.

        start : a guess; without : (n,) utilisations without traffic.
        """
        if not within(float(without.max())):
            return 0.0, int(without.argmax())
        with np.errstate(divide="ignore", invalid="ignore"):
            share = (1.0 - without) / (self.used(start) - without)
        foretold = np.where(share > 0.0, start * share, np.inf).clip(max=MOST)
        near = np.argsort(foretold, kind="stable")[:FIRST]
        value = float(foretold[near[0]])
        while True:
            some, at_nothing = self[near], float(without[near].max())
            value = from_nothing(
                lambda m, some=some: float(some.used(m).max()),  # type: ignore[misc]
                at_nothing,
                value,
                STEP,
            )
            every = self.used(max(value, LEAST))
            worst = int(every.argmax())
            if within(float(every[worst])) or worst in near:
                return value, worst
            near = np.append(near, worst)
