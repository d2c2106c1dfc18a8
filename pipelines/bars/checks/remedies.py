"""What alone would make shear without links pass: thickness, concrete grade, longitudinal steel.

Practice raises these three before it adds links (common practice). Each candidate is re-solved by
the caller's function, from the plate if need be: a thicker slab draws other forces.
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
    candidates: Sequence[T], utilisation: Callable[[T], float]
) -> tuple[int | None, float]:
    """Index of the first of the increasing candidates with utilisation <= 1, and its utilisation.

    The answer passes and its predecessor fails; it is the least of all where the utilisation does
    not rise along the candidates. (None, utilisation of the last) if that fails. Each trial may be
    a plate to solve: it is sought where the logarithm of the utilisation passes 0, which a smooth
    one does near the straight line between its ends, and half-way where that has twice not halved
    what is left.
    """
    first, last = utilisation(candidates[0]), utilisation(candidates[-1])
    if first <= 1:
        return 0, first
    if not last <= 1:
        return None, last
    low, high, above, best = 0, len(candidates) - 1, first, last
    slow = 0
    while high - low > 1:
        before = high - low
        middle = (low + high) // 2
        if slow < 2 and np.isfinite(above) and best > 0.0:
            share = np.log(above) / np.log(above / best)
            middle = min(max(low + int(np.ceil(share * before)), low + 1), high - 1)
        value = utilisation(candidates[middle])
        if value <= 1:
            high, best = middle, value
        else:
            low, above = middle, value
        slow = 0 if slow == 2 or 2 * (high - low) <= before + 1 else slow + 1
    return high, best


def remedies(
    present: ShearDesign,
    utilisation: Callable[[ShearDesign], float],
    thicknesses: Sequence[float],
    grades: Sequence[Concrete],
    areas: Sequence[float],
) -> tuple[Remedy, Remedy, Remedy]:
    """The three remedies, each changed alone and re-solved.

    Parameters
    ----------
    utilisation : v_Ed/v_Rd of a design, demand and resistance both solved for it
    thicknesses, grades, areas : candidates, increasing; those below the present value are passed
        over, the present value itself comes first
    """
    t, concrete, a = present.thickness, present.materials.concrete, present.A_s
    thicker = [t, *(v for v in thicknesses if v > t)]
    stronger = [concrete, *(g for g in grades if g.f_ck > concrete.f_ck)]
    more = [a, *(v for v in areas if v > a)]

    def thickened(thickness: float) -> float:
        return utilisation(replace(present, thickness=thickness))

    def graded(grade: Concrete) -> float:
        changed = replace(present.materials, concrete=grade)
        return utilisation(replace(present, materials=changed))

    def reinforced(area: float) -> float:
        return utilisation(replace(present, A_s=area))

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
