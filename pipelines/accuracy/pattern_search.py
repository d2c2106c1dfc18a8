"""Local maxima of many functions at once, by values alone."""

import itertools
from collections.abc import Callable

import numpy as np

from plate.arrays import Floats, Ints

# Rounds of one search, and the share of its value by which a round must gain to go on unrefined.
MOST_ROUNDS = 25
LEAST_GAIN = 1e-6
# A bend below this share of the sharpest is level: the rounding of values is 1e-16 of them, and a
# step at which they differ by less than 1e-6 is not taken.
LEVEL = 1e-9


def pattern_search(
    value: Callable[[Ints, Floats], Floats],
    x: Floats,
    start: Floats,
    bounds: Floats,
    step: float,
    finest: float,
) -> tuple[Floats, Floats]:
    """Places (d, n) and values (n,) of local maxima near x (d, n) of values `start` (n,).

    Each round looks one step each way along each axis and the diagonals of each two, since ridges
    run askew, and where the quadratic through these values leads; where nothing is higher the step
    is divided by three, until it is below `finest`.

    value : (which, places (d, m)) -> values (m,) of those of the n; bounds : (d, 2) or, of each
    its own, (d, 2, n); equal where an axis is fixed.
    """
    limits = np.broadcast_to(
        bounds if bounds.ndim == 3 else bounds[..., None], (*bounds.shape[:2], len(start))
    )
    x, best = x.copy(), start.copy()
    steps = np.full(len(best), step)
    axes = np.flatnonzero((limits[:, 1] > limits[:, 0]).any(axis=1))
    ways = _ways(len(x), axes)
    for _ in range(MOST_ROUNDS if len(axes) else 0):
        live = np.flatnonzero(steps >= finest)
        if not len(live):
            break
        centre, low, high = x[:, live, None], limits[axes, 0][:, live], limits[axes, 1][:, live]
        star = centre + steps[live, None] * ways[:, None]
        star[axes] = np.clip(star[axes], low[..., None], high[..., None])
        around = value(np.repeat(live, ways.shape[1]), star.reshape(len(x), -1))
        around = around.reshape(len(live), -1)
        led = x[:, live]
        lead = steps[live] * _lead(around - best[live, None], len(axes))
        led[axes] = np.clip(led[axes] + lead, low, high)
        trials = np.concatenate([centre, star, led[..., None]], axis=2)
        values = np.column_stack([best[live], around, value(live, led)])
        top = values.argmax(axis=1)
        reached = values.max(axis=1)
        moved = reached > best[live] + LEAST_GAIN * np.abs(best[live])
        x[:, live] = trials[:, np.arange(len(live)), top]
        best[live] = reached
        steps[live[~moved]] /= 3.0
    return x, best


def _ways(d: int, axes: Ints) -> Floats:
    """Unit steps (d, n) both ways along each axis, then along the diagonals of each two."""
    unit = np.eye(d)[axes]
    ways = [sign * e for e in unit for sign in (1.0, -1.0)]
    for a, b in itertools.combinations(unit, 2):
        ways += [a + b, -a - b, a - b, b - a]
    return np.array(ways).T


def _lead(rise: Floats, d: int) -> Floats:
    """Steps (d, n) to the top of the quadratic through the rises (n, n_way), at most one along an
    axis; where it has no top, along each axis to the top of the parabola."""
    pair = rise[:, : 2 * d].reshape(-1, d, 2)
    slope = 0.5 * (pair[..., 0] - pair[..., 1])
    bend = pair.sum(axis=2)
    H = np.zeros((len(rise), d, d))
    H[:, range(d), range(d)] = np.where(bend < 0.0, bend, -np.inf)
    step = -slope / H[:, range(d), range(d)]
    for (a, b), four in zip(
        itertools.combinations(range(d), 2),
        np.moveaxis(rise[:, 2 * d :].reshape(len(rise), -1, 4), 1, 0),
        strict=True,
    ):
        H[:, a, b] = H[:, b, a] = 0.25 * (four @ [1.0, 1.0, -1.0, -1.0])
    finite = np.flatnonzero(np.all(bend < 0.0, axis=1))
    # A quadratic that is level in some direction has no top: two axes can be one and the same
    # motion, as a vehicle's station and a spacing are while only its rear axles are on the slab.
    bends = np.linalg.eigvalsh(H[finite])
    topped = finite[bends[:, -1] < LEVEL * bends[:, 0]]
    step[topped] = np.linalg.solve(H[topped], -slope[topped, :, None])[..., 0]
    return np.clip(step, -1.0, 1.0).T
