"""What alone would make shear without links pass: thickness, concrete grade, longitudinal steel.

Practice raises these three before it adds links (common practice). What passes is re-solved by the
caller's function, from the plate if need be: a thicker slab draws other forces.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Literal, TypeVar

import numpy as np

from pipelines.standards.materials import Concrete, Materials
from pipelines.standards.resistance.bending import Section
from pipelines.standards.sources import Source

REMEDIES = Source(None, "thickness, grade or longitudinal steel before links", "common practice")

T = TypeVar("T")


@dataclass(frozen=True)
class ShearDesign:
    """What the remedies change: thickness [m], materials, steel in tension A_s [m2/m].

    axis : from the face in tension to the bars' centre [m]; stays when the slab gets thicker.
    """

    thickness: float
    materials: Materials
    A_s: float
    axis: float

    def section(self) -> Section:
        return Section(h=self.thickness, d=self.thickness - self.axis, A_s=self.A_s)


@dataclass(frozen=True, kw_only=True)
class Remedy:
    """One row of the remedies table.

    needed : least candidate that passes alone (thickness [m], grade's name, A_s [m2/m]); None if
        none of those tried does. utilisation : re-solved with it, or with the last one tried.
    """

    name: Literal["thickness", "concrete", "longitudinal steel"]
    present: float | str
    needed: float | str | None
    utilisation: float
    source: Source = REMEDIES


def least_passing(
    candidates: Sequence[T], utilisation: Callable[[T, T], float]
) -> tuple[int | None, float]:
    """Index of the first of the increasing candidates with utilisation <= 1, and its utilisation.

    utilisation : of a candidate under the demand found for another, or for itself. Each demand may
    be a plate to solve, so one is asked for only where those found on either side do not agree.
    The answer passes under its own demand. Its predecessor fails, under its own or under both of
    those beside it, and is the last that does where utilisations fall and demands rise or fall.
    (None, utilisation of the last) if that fails.
    """

    def under(k: int, demand: int) -> float:
        return utilisation(candidates[k], candidates[demand])

    if under(0, 0) <= 1:
        return 0, under(0, 0)
    last = len(candidates) - 1
    low, high = 0, len(candidates)
    while low < last:
        if high > last:
            k = next((k for k in range(low + 1, last) if under(k, low) <= 1), last)
        else:
            both = {k: (under(k, low), under(k, high)) for k in range(low + 1, high)}
            doubtful = [k for k, values in both.items() if min(values) <= 1]
            if not doubtful:
                return high, under(high, high)
            k = next((k for k in doubtful if _between(*both[k], (k - low) / (high - low)) <= 1),
                     doubtful[-1])  # fmt: skip
        if under(k, k) <= 1:
            high = k
        else:
            low = k
    return None, under(last, last)


def _between(low: float, high: float, share: float) -> float:
    """Between two utilisations, by their logarithms."""
    return float(low ** (1.0 - share) * high**share)


def remedies(
    present: ShearDesign,
    utilisation: Callable[[ShearDesign, ShearDesign], float],
    thicknesses: Sequence[float],
    grades: Sequence[Concrete],
    areas: Sequence[float],
) -> tuple[Remedy, Remedy, Remedy]:
    """The three remedies, each changed alone and re-solved.

    Parameters
    ----------
    utilisation : v_Ed/v_Rd, of the resistance of a design and the demand solved for another
    thicknesses, grades, areas : candidates, increasing; those below the present value are passed
        over, the present value itself comes first
    """
    t, concrete, a = present.thickness, present.materials.concrete, present.A_s
    thicker = [t, *(v for v in thicknesses if v > t)]
    stronger = [concrete, *(g for g in grades if g.f_ck > concrete.f_ck)]
    more = [a, *(v for v in areas if v > a)]

    def thickened(thickness: float, demand: float) -> float:
        return utilisation(*(replace(present, thickness=value) for value in (thickness, demand)))

    def graded(grade: Concrete, demand: Concrete) -> float:
        both = (replace(present.materials, concrete=value) for value in (grade, demand))
        return utilisation(*(replace(present, materials=changed) for changed in both))

    def reinforced(area: float, demand: float) -> float:
        return utilisation(*(replace(present, A_s=value) for value in (area, demand)))

    i, u_h = least_passing(thicker, thickened)
    j, u_g = least_passing(stronger, graded)
    k, u_s = least_passing(more, reinforced)
    return (
        Remedy(
            name="thickness", present=t, needed=None if i is None else thicker[i], utilisation=u_h
        ),
        Remedy(
            name="concrete",
            present=concrete.name,
            needed=None if j is None else stronger[j].name,
            utilisation=u_g,
        ),
        Remedy(
            name="longitudinal steel",
            present=a,
            needed=None if k is None else more[k],
            utilisation=u_s,
        ),
    )


def steps(start: float, stop: float, step: float) -> list[float]:
    """Multiples of `step` from above `start` to `stop`: round candidates for a drawing."""
    first = int(np.floor(start / step + 1e-9)) + 1
    return [round(i * step, 12) for i in range(first, int(np.floor(stop / step + 1e-9)) + 1)]
