"""Sensitivity of a response to parameters: Sobol's indices of first and total order.

The parameters are independent and evenly spread in their designs' sense. Of two samples A and B of
theirs and of A with one column each from B, f being the response less its mean and V its variance
over A and B,

    first order  S_i = mean(f(B) (f(A with B's i) - f(A))) / V       (Saltelli et al. 2010)
    total order  T_i = mean((f(A) - f(A with B's i))^2) / (2 V)      (Jansen 1999; both from memory)

S_i is the share of V that goes with parameter i alone, T_i that which goes with it in any company.
Intervals are of 95 %, by drawing the sampled points again and again with replacement: on a Sobol
sequence, which is more even than chance, they are rather wide than narrow.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.stats import qmc

from plate.arrays import Floats

RESAMPLES = 1000
SEED = 1
ENDS = (2.5, 97.5)
# Points of a formula that is asked itself, which costs next to nothing; blocks of resamples.
FORMULA_POINTS = 1024
BLOCK = 50
# Fewer points tell nothing.
LEAST_POINTS = 8


@dataclass(frozen=True, kw_only=True)
class Sensitivity:
    """Indices of a response by parameter.

    first, total (d,) with their intervals (d, 2); points : sampled points used; left_out : those
    with a value missing.
    """

    response: str
    names: tuple[str, ...]
    first: Floats
    total: Floats
    first_ends: Floats
    total_ends: Floats
    points: int
    left_out: int


def two_samples(dimensions: int, points: int, seed: int) -> Floats:
    """Shares (points, d + 2, d) from 0 to 1, a scrambled Sobol sequence in 2 d dimensions: of every
    point A, B and A with one parameter each from B.

    points : a power of two.
    """
    rng = np.random.default_rng(seed)
    sample = qmc.Sobol(2 * dimensions, rng=rng).random(points)
    a, b = sample[:, :dimensions], sample[:, dimensions:]
    mixed = np.repeat(a[:, None, :], dimensions, axis=1)
    each = np.arange(dimensions)
    mixed[:, each, each] = b
    return np.concatenate([a[:, None, :], b[:, None, :], mixed], axis=1)


def indices(response: str, names: Sequence[str], values: Floats) -> Sensitivity | None:
    """Indices from values (points, d + 2) as `two_samples` has them, nan where one is missing; None
    for fewer than `LEAST_POINTS` or a response that does not change."""
    there = np.isfinite(values).all(axis=1)
    f = values[there]
    if len(f) < LEAST_POINTS or np.ptp(f[:, :2]) <= 1e-12 * np.abs(f).max():
        return None
    first, total = _indices(f[None])
    rng = np.random.default_rng(SEED)
    firsts, totals = [], []
    for _ in range(0, RESAMPLES, BLOCK):
        drawn = f[rng.integers(len(f), size=(BLOCK, len(f)))]
        one, all_of_it = _indices(drawn)
        firsts.append(one)
        totals.append(all_of_it)
    return Sensitivity(
        response=response,
        names=tuple(names),
        first=first[0],
        total=total[0],
        first_ends=np.nanpercentile(np.concatenate(firsts), ENDS, axis=0).T,
        total_ends=np.nanpercentile(np.concatenate(totals), ENDS, axis=0).T,
        points=len(f),
        left_out=int(np.sum(~there)),
    )


def formula_indices(formula: Callable[[Floats], Floats], ranges: Floats) -> tuple[Floats, Floats]:
    """First and total order (d,) of a formula of inputs (n, d) that spread evenly by their
    logarithms, each by itself, over ranges (d, 2)."""
    n_input = len(ranges)
    shares = two_samples(n_input, FORMULA_POINTS, SEED)
    low, high = np.log(ranges).T
    x = np.exp(low + shares * (high - low))
    first, total = _indices(formula(x.reshape(-1, n_input)).reshape(1, *shares.shape[:2]))
    return first[0], total[0]


def _indices(f: Floats) -> tuple[Floats, Floats]:
    """First and total order (k, d) of k samples (k, points, d + 2)."""
    f = f - f[:, :, :2].mean(axis=(1, 2), keepdims=True)
    a, b, mixed = f[:, :, 0, None], f[:, :, 1, None], f[:, :, 2:]
    variance = f[:, :, :2].var(axis=(1, 2))[:, None]
    with np.errstate(invalid="ignore", divide="ignore"):
        first = (b * (mixed - a)).mean(axis=1) / variance
        total = ((a - mixed) ** 2).mean(axis=1) / (2.0 * variance)
    return first, total
