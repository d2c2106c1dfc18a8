"""Largest effects of equal groups of loads side by side on a strip."""

import numpy as np

from pipelines.strips.piecewise import (
    Piecewise,
    combine,
    critical_within,
)
from plate.arrays import Floats


def side_by_side(one: Piecewise, low: float, high: float, gap: float, most: int) -> Floats:
    """Largest effects (S, most) of exactly 1, 2, .. `most` equal groups of loads on a strip.

    one : effect of one group as a function of its station (S rows); a group's station lies in
    [low, high] and neighbours are at least `gap` apart [m]. -inf where so many do not fit.

    Exact: at the best arrangement the groups form clusters that touch (exactly `gap` apart), each
    cluster free to move, so each stands at a critical point of its own effect.
    """
    rows = one.knots.shape[0]
    beyond = [(np.zeros((rows, 1)), np.zeros((rows, 1)))]  # what n groups right of a station add
    best = np.full((rows, most), -np.inf)
    for n in range(1, most + 1):
        starts, totals = [], []
        for m in range(1, n + 1):
            last = high - (m - 1) * gap
            if last < low:
                break
            cluster = combine([one] * m, range(m), [1.0] * m, [-i * gap for i in range(m)])
            t, value = critical_within(cluster, low, last)
            rest = _suffix_best(*beyond[n - m], t + m * gap) if n > m else 0.0
            starts.append(t)
            totals.append(value + rest)
        if not starts:
            break
        t, total = np.concatenate(starts, axis=1), np.concatenate(totals, axis=1)
        order = np.argsort(t, axis=1)
        t, total = np.take_along_axis(t, order, 1), np.take_along_axis(total, order, 1)
        total = np.maximum.accumulate(total[:, ::-1], axis=1)[:, ::-1]
        beyond.append((t, total))
        best[:, n - 1] = total[:, 0]
    return best


def _suffix_best(t: Floats, best: Floats, start: Floats) -> Floats:
    """best at the first t >= start, row by row (t rising, best falling along it); else -inf."""
    padded = np.concatenate([best, np.full((t.shape[0], 1), -np.inf)], axis=1)
    # Clusters that touch would meet within rounding; they are a larger cluster's business.
    place = [np.searchsorted(row, s, side="left") for row, s in zip(t, start, strict=True)]
    return np.take_along_axis(padded, np.array(place), axis=1)
