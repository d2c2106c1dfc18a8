"""The largest multiplier at which something still passes, from below."""

from collections.abc import Callable

from scipy.optimize import brentq

from pipelines.numbers import within

# Multipliers beyond this are told as that much.
MOST = 100.0
# To this share a multiplier is found; it is stated on the passing side.
CLOSE = 1e-7
# The first multiplier that fails is looked for upwards in steps of this share.
STEP = 1.25
FIRST = 0.02
BEYOND = 1e6  # utilisations above this are as good as infinite


def largest(utilisation: Callable[[float], float], start: float = 1.0) -> float:
    """The largest multiplier of which none below fails: utilisation at most 1; 0 where it fails
    without traffic, `MOST` where it passes up to there.

    start : a multiplier at which to look first, a guess. A utilisation that rises above 1 and falls
    again within a step of 25 % is not seen.
    """
    if not within(utilisation(0.0)):
        return 0.0
    low, high = 0.0, min(max(start, FIRST), MOST)
    while within(utilisation(high)):
        if high >= MOST:
            return MOST
        low, high = high, min(STEP * high, MOST)
    while low == 0.0 and high > CLOSE:
        lower = high / STEP
        if within(utilisation(lower)):
            low = lower
        else:
            high = lower
    if low == 0.0:
        return 0.0
    found = float(
        brentq(lambda m: min(utilisation(m), BEYOND) - 1.0, low, high, xtol=1e-12, rtol=0.1 * CLOSE)
    )
    while found > low and not within(utilisation(found)):
        found *= 1.0 - CLOSE
    return max(found, low)
