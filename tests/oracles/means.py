"""Means of a shear over widths."""

import numpy as np
from numpy.typing import ArrayLike

from pipelines.errors import MethodRangeError
from plate.arrays import Floats


def means_over_widths(s: ArrayLike, v: ArrayLike, centre: float, widths: ArrayLike) -> Floats:
    """Mean of v over [centre - w/2, centre + w/2] for each width w, v linear between samples.

    Parameters
    ----------
    s : increasing places along the section [m], (n,)
    v : shear there [N/m], (n,) or (n_position, n); the result is (..., n_width)

    Raises
    ------
    MethodRangeError
        If a width reaches beyond the samples: the mean would count what is not known.
    """
    s, v, w = (np.asarray(value, dtype=float) for value in (s, v, np.atleast_1d(widths)))
    low, high = centre - w / 2, centre + w / 2
    if low.min() < s[0] or high.max() > s[-1]:
        raise MethodRangeError(
            f"a width of {w.max():g} m about {centre:g} m leaves the section {s[0]:g} to {s[-1]:g}"
        )
    steps = np.diff(s)
    areas = np.cumsum(steps * (v[..., 1:] + v[..., :-1]) / 2, axis=-1)
    areas = np.concatenate([np.zeros((*v.shape[:-1], 1)), areas], axis=-1)

    def integral(at: Floats) -> Floats:
        i = np.clip(np.searchsorted(s, at, side="right") - 1, 0, len(s) - 2)
        t = at - s[i]
        slope = (v[..., i + 1] - v[..., i]) / steps[i]
        return np.asarray(areas[..., i] + v[..., i] * t + slope * t**2 / 2)

    return np.asarray((integral(high) - integral(low)) / w)
