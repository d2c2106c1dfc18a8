"""Bars on arcs so flat that they are delivered straight and sprung to the arc when placed."""

from collections.abc import Mapping
from math import inf, isfinite
from types import MappingProxyType

from pipelines.bars.schedule.marks import Mark, Schedule
from pipelines.numbers import as_given
from pipelines.standards.sources import Source

SPRUNG = Source(
    None, "are delivered straight, sprung to the arc when placed and tied to it", "common practice"
)
PREFORMED: Mapping[float, float] = MappingProxyType(
    {
        0.006: 2.5,
        0.008: 2.75,
        0.010: 3.5,
        0.012: 4.25,
        0.016: 7.5,
        0.020: 14.0,
        0.025: 30.0,
        0.032: 43.0,
        0.040: 58.0,
    }
)
"""Radius [m] up to which bars of a diameter [m] are bent before they are delivered."""
LIMITS = Source(None, "BS 8666")


def bent_up_to(diameter: float) -> float:
    """Radius [m] up to which a bar is bent, that of the next larger diameter [m] that is listed;
    infinite beyond the largest."""
    return min((r for d, r in PREFORMED.items() if d > diameter - 1e-6), default=inf)


def is_sprung(mark: Mark) -> bool:
    """Whether all bars of a mark lie on arcs too flat to be bent before."""
    return (
        mark.shape == "67"
        and mark.radius is not None
        and min(mark.radius) > bent_up_to(mark.diameter)
    )


def sprung_words(schedule: Schedule) -> list[str]:
    """A sentence on which marks on arcs are sprung and which are bent; none without arcs
    of listed diameters."""
    arcs = [mark for mark in schedule.marks if mark.shape == "67"]
    limits = ", ".join(
        f"{as_given(bent_up_to(d))} m for {as_given(round(1e3 * d, 6))} mm"
        for d in sorted({mark.diameter for mark in arcs})
        if isfinite(bent_up_to(d))
    )
    if not limits:
        return []
    words = f"Bars of shape 67 with R above {limits} by {LIMITS} {SPRUNG}"
    for done, flat in (("marks sprung", True), ("marks bent before", False)):
        numbers = [str(mark.number) for mark in arcs if is_sprung(mark) is flat]
        if numbers:
            words += f"; {done}: {', '.join(numbers)}"
    return [f"{words}."]
