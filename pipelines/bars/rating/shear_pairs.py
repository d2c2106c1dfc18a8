"""Shear of stretches of control sections, each under one load position, and the least multipliers.

Of many such pairs few come near to governing: it is looked for among those, and all others must
pass at what is found.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from pipelines.bars.demand.shear import ShearTracker
from pipelines.bars.rating.root import MOST, search, side_by_side
from pipelines.numbers import within
from pipelines.standards.resistance.bending import utilisation
from plate.arrays import Floats, Ints

# Pairs among which the multiplier is looked for first, and its steps as a factor.
FIRST, STEP = 12, 1.01
LEAST = 1e-9


@dataclass(frozen=True, eq=False)
class ShearPairs:
    """Pairs of a stretch and a load position, of one vehicle or of some.

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

    def used(self, multiplier: Floats | float) -> Floats:
        """(n,) utilisations with the traffic times a multiplier, one or of each (n,)."""
        q = multiplier * self.shears + self.steady
        sizes = np.hypot(q[:, 0], q[:, 1]).max(axis=0)
        acting = (self.weights * sizes).sum(axis=0)
        forces = multiplier * self.forces
        resists, _ = self.tracker.resistance_at(forces, self.judged, acting)
        return np.asarray(utilisation(acting, resists))

    def multipliers(
        self, groups: Mapping[int, Ints], start: Floats, without: Floats
    ) -> dict[int, float]:
        """Of each of some groups of pairs, none empty, the largest multiplier at which all of it
        pass.

        start : guesses, by the groups' numbers; without : (n,) utilisations without traffic, at
        which all pass.
        """
        pairs, lengths = np.concatenate([*groups.values()]), [len(one) for one in groups.values()]
        some, begin = self[pairs], np.cumsum([0, *lengths[:-1]])

        def most(asked: Mapping[int, float]) -> Iterable[float]:
            at = np.zeros(len(groups))
            at[[*asked]] = [*asked.values()]
            used = np.maximum.reduceat(some.used(np.repeat(at, lengths)), begin)
            return used[[*asked]].tolist()  # type: ignore[no-any-return]

        searches = [
            search(float(without[one].max()), float(start[k]), STEP) for k, one in groups.items()
        ]
        return dict(zip(groups, side_by_side(most, searches), strict=True))

    def least(self, of: Ints, start: Floats, without: Floats) -> tuple[Floats, Ints]:
        """The least multiplier (k,) of each of k vehicles and the number of its pair.

        of : (n,) number of each pair's vehicle, rising, none without; start : (k,) guesses;
        without : (n,) utilisations without traffic.
        """
        begin = np.searchsorted(of, np.arange(len(start) + 1))
        with np.errstate(divide="ignore", invalid="ignore"):
            share = (1.0 - without) / (self.used(start[of]) - without)
        foretold = np.where(share > 0.0, start[of] * share, np.inf).clip(max=MOST)
        values, worst = np.zeros(len(start)), np.zeros(len(start), dtype=np.int64)
        near: dict[int, Ints] = {}
        for k, (first, end) in enumerate(pairwise(begin.tolist())):
            worst[k] = first + without[first:end].argmax()
            if within(float(without[worst[k]])):
                near[k] = first + np.argsort(foretold[first:end], kind="stable")[:FIRST]
                values[k] = foretold[near[k][0]]
        while near:
            for k, value in self.multipliers(near, values, without).items():
                values[k] = value
            left = np.flatnonzero(np.isin(of, [*near]))
            used = self[left].used(np.maximum(values, LEAST)[of[left]])
            for k in [*near]:
                first, end = np.searchsorted(of[left], (k, k + 1))
                one = first + int(used[first:end].argmax())
                worst[k] = left[one]
                if within(float(used[one])) or worst[k] in near[k]:
                    del near[k]
                else:
                    near[k] = np.append(near[k], worst[k])
        return values, worst
