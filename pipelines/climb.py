"""Local maxima of many functions at once, by values alone."""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Rounds of one search, and the share of its value by which a round must gain to go on unrefined.
MOST_ROUNDS = 25
LEAST_GAIN = 1e-6


def climb(
    value: Callable[[Ints, Floats], Floats],
    x: Floats,
    start: Floats,
    bounds: Floats,
    step: float,
    finest: float,
) -> tuple[Floats, Floats]:
    """Places (d, n) and values (n,) of local maxima near x (d, n) of values `start` (n,).

    Each round looks one step each way along each axis and where the parabolas through these
    values lead; where nothing is higher the step is divided by three, until it is below `finest`.

    value : (which, places (d, m)) -> values (m,) of those of the n; bounds : (d, 2) or, of each
    its own, (d, 2, n); equal where an axis is fixed.
    """
    limits = np.broadcast_to(
        bounds if bounds.ndim == 3 else bounds[..., None], (*bounds.shape[:2], len(start))
    )
    x, best = x.copy(), start.copy()
    steps = np.full(len(best), step)
    axes = np.flatnonzero((limits[:, 1] > limits[:, 0]).any(axis=1))
    for _ in range(MOST_ROUNDS if len(axes) else 0):
        live = np.flatnonzero(steps >= finest)
        if not len(live):
            break
        centre, h, within = x[:, live], steps[live], limits[:, :, live]
        star = np.repeat(centre[:, None], 2 * len(axes), axis=1)
        for k, axis in enumerate(axes):
            star[axis, 2 * k] = np.clip(centre[axis] - h, *within[axis])
            star[axis, 2 * k + 1] = np.clip(centre[axis] + h, *within[axis])
        around = value(np.tile(live, 2 * len(axes)), star.reshape(len(x), -1))
        around = around.reshape(2 * len(axes), -1)
        led = centre.copy()
        for k, axis in enumerate(axes):
            rise = around[2 * k + 1] - around[2 * k]
            bend = 2.0 * best[live] - around[2 * k] - around[2 * k + 1]
            shift = np.where(bend > 0.0, 0.5 * rise / np.where(bend > 0.0, bend, 1.0), 0.0)
            led[axis] = np.clip(led[axis] + h * np.clip(shift, -1.0, 1.0), *within[axis])
        trials = np.concatenate([centre[:, None], star, led[:, None]], axis=1)
        values = np.concatenate([best[live][None], around, value(live, led)[None]])
        top = values.argmax(axis=0)
        reached = values.max(axis=0)
        moved = reached > best[live] + LEAST_GAIN * np.abs(best[live])
        x[:, live] = np.take_along_axis(trials, top[None, None], axis=1)[:, 0]
        best[live] = reached
        steps[live[~moved]] /= 3.0
    return x, best
