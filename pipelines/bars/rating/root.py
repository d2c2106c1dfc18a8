"""The largest multiplier at which something still passes, from below."""

from collections.abc import Callable, Generator, Iterable, Mapping, Sequence

from pipelines.numbers import within

# Multipliers beyond this are told as that much.
MOST = 100.0
# To this share a multiplier is found; it is stated on the passing side.
CLOSE = 1e-7
# The first multiplier that fails is looked for upwards in steps of this share.
STEP = 1.25
FIRST = 0.02
BEYOND = 1e6  # utilisations above this are as good as infinite
TIMES = 100
Search = Generator[float, float, float]
"""Asks for the utilisation at one multiplier after the other, and ends with what it finds."""


def largest(utilisation: Callable[[float], float], start: float = 1.0) -> float:
    """The largest multiplier of which none below fails: utilisation at most 1; 0 where it fails
    without traffic, `MOST` where it passes up to there.

    start : a multiplier at which to look first, a guess. A utilisation that rises above 1 and falls
    again within a step of 25 % is not seen.
    """
    without = utilisation(0.0)
    return from_nothing(utilisation, without, start, STEP) if within(without) else 0.0


def from_nothing(
    utilisation: Callable[[float], float], without: float, start: float, step: float
) -> float:
    """The same where it passes without traffic, at that utilisation, in steps of another factor."""
    [found] = side_by_side(
        lambda asked: [utilisation(one) for one in asked.values()], [search(without, start, step)]
    )
    return found


def side_by_side(
    utilisations: Callable[[Mapping[int, float]], Iterable[float]], searches: Sequence[Search]
) -> list[float]:
    """What some searches find.

    utilisations : of the multipliers that are asked for by number of the search, in that order.
    """
    found = [0.0] * len(searches)
    asked = {k: next(one) for k, one in enumerate(searches)}
    while asked:
        answers, asked = [*zip(asked, utilisations(asked), strict=True)], {}
        for k, used in answers:
            try:
                asked[k] = searches[k].send(used)
            except StopIteration as end:
                found[k] = end.value
    return found


def search(without: float, start: float, step: float) -> Search:
    """Arguments as of `from_nothing`."""
    low, at_low = 0.0, without
    high = min(max(start, FIRST), MOST)
    while within(at_high := min((yield high), BEYOND)):
        if high >= MOST:
            return MOST
        low, at_low, high = high, at_high, min(step * high, MOST)
    while low == 0.0 and high > CLOSE:
        lower = high / step
        at_lower = min((yield lower), BEYOND)
        if within(at_lower):
            low, at_low = lower, at_lower
        else:
            high, at_high, step = lower, at_lower, min(step**2, STEP)
    for k in range(TIMES):
        # as far as the chord is short of 1, and a little less so as to pass there
        gap = (1.0 - at_low) * (high - low) / (at_high - at_low)
        if min(gap, high - low) <= CLOSE * high or low == 0.0:
            break
        middle = low + (gap - 0.5 * CLOSE * high if k % 4 < 3 else 0.5 * (high - low))
        at_middle = min((yield middle), BEYOND)
        if within(at_middle):
            low, at_low = middle, at_middle
        else:
            high, at_high = middle, at_middle
    return low
