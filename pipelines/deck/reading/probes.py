"""The probes of a deck file."""

import numpy as np

from pipelines.deck.deck import Probe
from pipelines.deck.reading.loads import check_names
from pipelines.deck.reading.mistakes import Mistakes
from pipelines.deck.reading.plan_schema import ProbeTable
from plate.geometry.outline import covers
from plate.geometry.plan import Plan


def read_probes(
    tables: list[tuple[str, ProbeTable]], plan: Plan, mistakes: Mistakes
) -> tuple[Probe, ...]:
    """The probes, each at a point or along a segment of the slab."""
    check_names(((where, table.name) for where, table in tables), mistakes)
    probes = []
    for where, table in tables:
        at, start, end = (_pair(p) for p in (table.at_m, table.from_m, table.to_m))
        if (at is None) == (start is None and end is None) or (start is None) != (end is None):
            mistakes.add(where, None, "give at_m for a point, or from_m and to_m for a segment")
        elif start is not None and start == end:
            mistakes.add(f"{where}, to_m", end, "the segment has no length")
        off = False
        for key, place in (("at_m", at), ("from_m", start), ("to_m", end)):
            if place is not None and not plan.contains(np.array(place)):
                mistakes.add(f"{where}, {key}", place, "not on the slab")
                off = True
        segment = [place for place in (start, end) if place is not None]
        if len(segment) == 2 and not off and not covers(plan, np.array(segment)):
            mistakes.add(f"{where}, to_m", end, "the segment leaves the slab on its way")
        probes.append(Probe(table.name, at, start, end))
    return tuple(probes)


def _pair(values: list[float] | None) -> tuple[float, float] | None:
    return None if values is None else (values[0], values[1])
