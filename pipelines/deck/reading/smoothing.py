"""Lines of a deck file that are drawn as chords of a curve, read as the curve.

A line stays as drawn where something on the plan relies on its chords: the end of another line that
lies on one, a line that would no longer be met, or the slab's own edge.
"""

from collections.abc import Iterable

import numpy as np

from plate.errors import GeometryError
from plate.geometry.curves import SAME, distance
from plate.geometry.outline import crossings, with_lines
from plate.geometry.plan import Plan
from plate.geometry.smoothing import Smoothed, smoothed


def with_smooth_lines(plan: Plan, names: Iterable[str], warnings: list[str]) -> Plan:
    """The plan with the named lines smooth where they were a curve, and a sentence on each."""
    if not plan.alignment.straight:
        return plan  # in stations and offsets there are no arcs
    for name in names:
        found = smoothed(plan.lines[name].curves)
        if found.corners:
            plan = _with_smooth(plan, name, found, warnings)
    return plan


def _with_smooth(plan: Plan, name: str, found: Smoothed, warnings: list[str]) -> Plan:
    turn = np.degrees(found.turn)
    drawn = f"line {name} is drawn as chords that turn by {turn:.2g}° at most"
    try:
        smooth = with_lines(plan, {name: found.curves})
    except GeometryError:
        smooth = plan
    if smooth is plan or _relied_on(plan, smooth, name):
        warnings.append(
            f"{drawn}; other lines or edges meet them, so they are kept: every corner is a place "
            "of infinite moments; draw arcs"
        )
        return plan
    warnings.append(
        f"{drawn}; it is read as the smooth curve through their {found.corners} corners, "
        f"{1e3 * found.move:.2g} mm from the chords at most"
    )
    return smooth


def _relied_on(plan: Plan, smooth: Plan, name: str) -> bool:
    """Whether another line ends on the chords but not on the curve, or meets the chords only."""
    before, after = crossings(plan, name), crossings(smooth, name)
    if {k: len(v) for k, v in before.items()} != {k: len(v) for k, v in after.items()}:
        return True
    courses = [line.course(full=True) for other, line in plan.lines.items() if other != name]
    ends = np.array([end for course in courses for end in (course[0].start, course[-1].end)])
    was = distance(plan.lines[name].curves, ends) < SAME
    stays = distance(smooth.lines[name].curves, ends) < SAME
    return bool(np.any(was & ~stays))
