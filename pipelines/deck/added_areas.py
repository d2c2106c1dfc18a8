"""Parts of the slab along lines of the plan, or clear of them, in which bars may be added."""

from collections.abc import Iterable

import shapely

from plate.geometry.curves import sampled
from plate.geometry.outline import DRAWN, region
from plate.geometry.plan import Plan


def courses(plan: Plan, names: Iterable[str]) -> shapely.Geometry:
    """Lines of the plan to the slab's edges, as one geometry."""
    return shapely.union_all(
        [shapely.LineString(sampled(plan.lines[name].course(full=True), DRAWN)) for name in names]
    )


def along_lines(plan: Plan, names: Iterable[str], reach: float) -> shapely.Geometry:
    """What lies within a reach [m] of some lines, on the slab or beside it: to each side, and as
    far beyond their ends, where an edge of the slab may be askew to them."""
    return shapely.union_all(
        [
            courses(plan, [name]).buffer(reach, cap_style="square", join_style="mitre")
            for name in names
        ]
    )


def clear_of_lines(plan: Plan, names: Iterable[str], clear: float) -> shapely.Geometry:
    """The slab without what lies nearer to some lines than a distance [m]."""
    return shapely.difference(region(plan, DRAWN), courses(plan, names).buffer(clear))
