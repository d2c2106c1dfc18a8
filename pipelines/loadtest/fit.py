"""Unknowns found from readings by least squares, their intervals, and what the readings cannot
tell.

Unknowns are logarithms of factors on stiffnesses, so that a factor is positive and an interval
reaches as many times up as down. Readings are weighted by their accuracy where it is known;
otherwise all are taken as equally accurate, by what the differences left over say. The intervals
are those of the linearised model: x ± t s_x, t of Student's distribution with as many degrees of
freedom as there are more readings than unknowns, or of the normal one where the accuracy is known
(Draper and Smith, Applied Regression Analysis, chapter 24: from memory).
"""

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from scipy.special import chdtrc, ndtri, stdtrit

from plate.arrays import Floats

CONFIDENCE = 0.95
# Differences as large as those left over are this unlikely, if all is as stated: the model is said
# to be wrong.
UNLIKELY = 0.01
# An interval so many times wider than it would be if all other unknowns were known: the readings do
# not tell these apart. Of two unknowns that is a correlation of 0.98.
WIDER = 5.0
# Strength of a direction of unknowns as a share of the strongest: less is told by no reading. An
# unknown takes part in such directions by more than BLIND.
SINGULAR = 1e-5
BLIND = 1e-3
AT_BOUND = 1e-6  # of the logarithm of a factor
# Influence of an unknown as a share of the largest: less is none.
NO_INFLUENCE = 1e-9


class Computed(Protocol):
    """What is computed of each reading from unknowns x (n_unknown,)."""

    def values(self, x: Floats) -> Floats:
        """(n_reading,)."""

    def jacobian(self, x: Floats) -> Floats:
        """(n_reading, n_unknown)."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Fit:
    """Unknowns found.

    x : (n,); deviation : (n,) their standard deviations, infinite of those that no reading tells,
    not a number of those at a bound; quantile : of the intervals x ± quantile deviation.
    at_bound : (n,) -1 at the lower, 1 at the upper bound, 0 between. together : unknowns, two or
    more each time, that the readings do not tell apart, with the correlation of two.
    freedom : degrees of freedom; spread : root mean square of the differences left over, per degree
    of freedom, over the accuracy stated, or in SI units where there is none.
    too_large : whether the accuracy stated does not explain the differences left over.
    """

    x: Floats
    deviation: Floats
    quantile: float
    at_bound: Floats
    together: tuple[tuple[tuple[int, ...], float], ...]
    freedom: int
    spread: float
    too_large: bool

    @property
    def low(self) -> Floats:
        """Lower ends (n,) of the intervals of x."""
        return self.x - self.quantile * self.deviation

    @property
    def high(self) -> Floats:
        """Upper ends (n,) of the intervals of x."""
        return self.x + self.quantile * self.deviation


def fit(
    computed: Computed,
    measured: Floats,
    accuracy: Floats | None,
    start: Floats,
    bounds: tuple[Floats, Floats],
) -> Fit:
    """The unknowns at which computed and measured differ least.

    measured : (n_reading,), more than unknowns; accuracy : (n_reading,) standard deviations, None =
    equal and not known. start : (n_unknown,); bounds : least and largest (n_unknown,).
    """
    # Without accuracies the largest reading is the unit, so that tolerances mean something.
    unit = np.full(len(measured), np.abs(measured).max() or 1.0) if accuracy is None else accuracy
    low, high = bounds

    def left_over(x: Floats) -> Floats:
        return np.asarray((computed.values(x) - measured) / unit)

    def influence(x: Floats) -> Floats:
        return np.asarray(computed.jacobian(x) / unit[:, None])

    from scipy.optimize import least_squares  # here, since few decks need it

    found = least_squares(
        left_over,
        np.clip(start, low + 1e-3 * (high - low), high - 1e-3 * (high - low)),
        jac=influence,
        bounds=bounds,
        xtol=1e-10,
        ftol=1e-12,
        gtol=1e-12,
        max_nfev=100,
    )
    x = found.x
    at_bound = np.where(x - low < AT_BOUND, -1, np.where(high - x < AT_BOUND, 1, 0))
    free = np.flatnonzero(at_bound == 0)
    left = left_over(x)
    freedom = len(measured) - len(free)
    spread = float(np.sqrt(left @ left / freedom))
    too_large = accuracy is not None and bool(chdtrc(freedom, left @ left) < UNLIKELY)
    by_differences = accuracy is None or too_large
    share = 0.5 + 0.5 * CONFIDENCE
    quantile = stdtrit(freedom, share) if by_differences else ndtri(share)
    deviation, together = _told(influence(x)[:, free])
    every = np.full(len(x), np.nan)
    every[free] = deviation * (spread if by_differences else 1.0)
    return Fit(
        x=x,
        deviation=every,
        quantile=float(quantile),
        at_bound=at_bound,
        together=tuple((tuple(free[list(who)].tolist()), rho) for who, rho in together),
        freedom=freedom,
        spread=spread * (float(unit[0]) if accuracy is None else 1.0),
        too_large=too_large,
    )


def _told(J: Floats) -> tuple[Floats, list[tuple[tuple[int, ...], float]]]:
    """Standard deviations (n,) of unknowns at unit accuracy, infinite of those that are not told,
    and the unknowns that are not told apart, with the correlation of two.

    J : (n_reading, n) derivatives of the readings in units of their accuracy.
    """
    deviation = np.full(J.shape[1], np.inf)
    size = np.linalg.norm(J, axis=0)
    seen = np.flatnonzero(size > NO_INFLUENCE * size.max(initial=0.0))
    if not len(seen):
        return deviation, []
    _, strength, ways = np.linalg.svd(J[:, seen] / size[seen], full_matrices=False)
    told = strength > SINGULAR * strength[0]
    # Directions in which unknowns move and no reading does: none of these is told.
    blind = ways[~told].T @ ways[~told]
    linked = np.abs(blind) > BLIND
    groups = [np.flatnonzero(linked[i]) for i in np.flatnonzero(np.diag(linked))]
    together = [
        (
            tuple(seen[who].tolist()),
            float(np.sign(blind[who[0], who[1]])) if len(who) == 2 else np.nan,
        )
        for who in {tuple(one.tolist()): one for one in groups if len(one) > 1}.values()
    ]
    unit = (ways[told].T / strength[told] ** 2) @ ways[told]
    wider = np.sqrt(np.diag(unit))
    alone = ~np.diag(linked)
    deviation[seen[alone]] = wider[alone] / size[seen[alone]]
    correlation = unit / np.outer(wider, wider)
    correlation[:, ~alone] = 0.0
    for i in np.flatnonzero(alone & (wider > WIDER)):
        # With the one that widens its interval most.
        others = np.abs(correlation[i]) * (np.arange(len(seen)) != i)
        k = int(np.argmax(others))
        pair = tuple(sorted((int(seen[i]), int(seen[k]))))
        if pair not in [who for who, _ in together]:
            together.append((pair, float(correlation[i, k])))
    return deviation, together
