"""Where wheel patches that move along x lie on a slab of any outline, openings taken out."""

import itertools
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from plate.geometry.alignment import Floats

Ints = NDArray[np.int64]

# A patch must overlap the slab by more than this to touch it [m].
SAME = 1e-9


def touching_multiples(start: Floats, rings: Sequence[Floats], step: float) -> Floats:
    """Integer multiples (n,) of the step by which any patch may move along x and lie on the slab.

    start : (k, 4, 2) patch corners at station 0, order (s-, y-), (s+, y-), (s+, y+), (s-, y+), with
    sides s- and s+ straight; rings : closed polygons (n, 2), the edge of the slab and its openings,
    corners not repeated.

    Between neighbouring levels of corners the slab is a row of trapezoids, within each of which
    the moves that overlap it form one open interval with its ends at the two levels.
    """
    sides = np.concatenate([np.stack([ring, np.roll(ring, -1, axis=0)], axis=1) for ring in rings])
    sides = sides[np.abs(sides[:, 1, 1] - sides[:, 0, 1]) > SAME]
    heights = np.unique(sides[..., 1])
    ranges: list[tuple[Ints, Ints]] = []
    bands, group = np.unique(np.round(start[:, [0, 3], 1], 9), axis=0, return_inverse=True)
    for k, (near, far) in enumerate(bands):
        patches = start[group.ravel() == k]
        low, high = max(near, heights[0]), min(far, heights[-1])
        if high - low <= SAME:
            continue
        levels = np.array([low, *heights[(heights > low) & (heights < high)], high])
        for pair in itertools.pairwise(levels):
            if pair[1] - pair[0] > SAME:
                ranges += _moves(patches, (near, far), sides, np.array(pair), step)
    if not ranges:
        return np.empty(0)
    first = np.concatenate([a for a, _ in ranges])
    last = np.concatenate([b for _, b in ranges])
    base = int(first.min())
    change = np.zeros(int(max(last.max(), first.max())) - base + 2, dtype=int)
    np.add.at(change, first - base, 1)
    np.add.at(change, np.maximum(last, first - 1) + 1 - base, -1)
    return np.asarray(step * (base + np.flatnonzero(np.cumsum(change) > 0)), dtype=float)


def _moves(
    patches: Floats, band: tuple[float, float], sides: Floats, levels: Floats, step: float
) -> list[tuple[Ints, Ints]]:
    """First and last multiple for each patch (k,) and each stretch of slab between two levels."""
    middle = 0.5 * levels.sum()
    y = sides[..., 1]
    across = sides[(y.min(axis=1) < middle) & (y.max(axis=1) > middle)]
    (x0, y0), (x1, y1) = across[:, 0].T, across[:, 1].T
    at = x0[:, None] + (x1 - x0)[:, None] * (levels - y0[:, None]) / (y1 - y0)[:, None]
    at = at[np.argsort(at.mean(axis=1))]
    share = (levels - band[0]) / (band[1] - band[0])
    behind = patches[:, [0], 0] + share * (patches[:, [3], 0] - patches[:, [0], 0])
    front = patches[:, [1], 0] + share * (patches[:, [2], 0] - patches[:, [1], 0])
    found = []
    for begin, end in zip(at[0::2], at[1::2], strict=True):
        first = np.floor(((begin - front).min(axis=1) + SAME) / step).astype(np.int64) + 1
        last = np.ceil(((end - behind).max(axis=1) - SAME) / step).astype(np.int64) - 1
        found.append((first, last))
    return found
