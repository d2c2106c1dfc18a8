"""The plan of a deck file: a grid or any outline, from the file or a drawing, with its openings
and lines anywhere."""

import re
from collections.abc import Sequence
from math import inf, pi, radians
from pathlib import Path

from pipelines.deck.reading.chains import LEAST_GAP, gap, point, read_chain
from pipelines.deck.reading.dxf import Chain, Drawing, DrawingError
from pipelines.deck.reading.mistakes import BESIDE, Mistakes, shown
from pipelines.deck.reading.plan_schema import OpeningTable, PlanTable
from pipelines.deck.reading.smoothing import with_smooth_lines
from pipelines.deck.reading.supports_schema import LineTable
from pipelines.system.files import is_beside
from plate.errors import GeometryError
from plate.geometry.curves import FLAT, circle
from plate.geometry.outline import outline_plan, with_lines, with_openings
from plate.geometry.plan import EDGES, Plan, grid_plan

GRID_KEYS = ("overhang_m", "skew_deg", "radius_m", "end_offsets_m")
DXF_KEYS = ("dxf_layer", "dxf_opening_layer", "dxf_unit")
# Names that mean lines of a plan, edges, openings or totals already.
TAKEN = re.compile(r"([CLE]|opening |zone |point )\d+|start|end|left|right|total_kN|.*[*?\[:@].*")


def read_plan(
    table: PlanTable | None,
    openings: list[tuple[str, OpeningTable]],
    lines: list[tuple[str, LineTable]],
    folder: Path,
    mistakes: Mistakes,
    warnings: list[str],
) -> Plan | None:
    """The plan with its openings and its lines anywhere, those drawn as chords of a curve smooth;
    None where it has mistakes.

    folder : of the deck file, in which a drawing is looked for.
    """
    if table is None:
        return None
    before = len(mistakes.lines)
    drawing = _drawing(table, lines, folder, mistakes)
    plan = _outer(table, drawing, mistakes)
    if plan is None or len(mistakes.lines) > before:
        return None
    for where, opening in openings:
        plan = _with_opening(plan, where, _opening(where, opening, mistakes), mistakes)
    if drawing is not None and table.dxf_opening_layer is not None:
        key = "[plan] dxf_opening_layer"
        for chain in _chains(drawing, key, table.dxf_opening_layer, mistakes):
            plan = _with_opening(plan, key, chain, mistakes)
    for where, line in lines:
        plan = _with_line(plan, where, line, drawing, mistakes)
    if len(mistakes.lines) > before:
        return None
    return with_smooth_lines(plan, [line.name for _, line in lines if line.name], warnings)


def _outer(table: PlanTable, drawing: Drawing | None, mistakes: Mistakes) -> Plan | None:
    """The plan without openings and further lines."""
    ways = {
        "stations_m": table.stations_m is not None or table.offsets_m is not None,
        "outline_m": table.outline_m is not None,
        "dxf": table.dxf is not None,
    }
    given = [key for key, there in ways.items() if there]
    if len(given) > 1:
        mistakes.add(f"[plan] {given[1]}", None, f"give {given[0]} or {given[1]}, not both")
        return None
    if given in ([], ["stations_m"]):
        return _grid(table, mistakes)
    for key in GRID_KEYS:
        if key in table.model_fields_set:
            mistakes.add(f"[plan] {key}", None, f"belongs to a plan of stations_m, not {given[0]}")
    if table.outline_m is not None:
        ring = read_chain(table.outline_m, "[plan] outline_m", mistakes, closed=True)
    elif drawing is not None and table.dxf_layer is not None:
        ring = _single_ring(drawing, table.dxf_layer, mistakes)
    else:
        return None
    if not ring:
        return None
    try:
        return outline_plan(ring)
    except GeometryError as error:
        mistakes.add(f"[plan] {given[0]}", None, str(error))
        return None


def _grid(table: PlanTable, mistakes: Mistakes) -> Plan | None:
    if table.stations_m is None or table.offsets_m is None:
        for key in ("stations_m", "offsets_m"):
            if getattr(table, key) is None:
                allowed = "is missing; a plan has stations_m and offsets_m, or outline_m, or dxf"
                mistakes.add(f"[plan] {key}", None, allowed)
        return None
    before = len(mistakes.lines)
    ends = table.end_offsets_m
    _check_growing("[plan] stations_m", table.stations_m, mistakes)
    _check_growing("[plan] offsets_m", table.offsets_m, mistakes)
    _check_growing("[plan] end_offsets_m", ends or [], mistakes)
    if ends is not None and len(ends) != len(table.offsets_m):
        mistakes.add(
            "[plan] end_offsets_m",
            ends,
            f"must have {len(table.offsets_m)} entries, as many as offsets_m",
        )
    overhang = {edge: float(getattr(table.overhang_m, edge)) for edge in EDGES}
    for edge, width in overhang.items():
        if 0.0 < width < LEAST_GAP:
            mistakes.add(f"[plan] overhang_m.{edge}", width, f"must be 0, or {LEAST_GAP} m or more")
    if table.skew_deg != 0.0 and table.radius_m != inf:
        mistakes.add("[plan] skew_deg", table.skew_deg, "must be 0 where radius_m is not inf")
    length = table.stations_m[-1] - table.stations_m[0] + overhang["start"] + overhang["end"]
    if length >= 2.0 * pi * abs(table.radius_m):
        mistakes.add(
            "[plan] radius_m",
            table.radius_m,
            f"a slab of {length:g} m length would meet itself on this circle",
        )
    if len(mistakes.lines) > before:
        return None
    try:
        return grid_plan(
            table.stations_m,
            table.offsets_m,
            overhang=overhang,
            skew=radians(table.skew_deg),
            radius=table.radius_m,
            end_offsets=ends,
        )
    except GeometryError as error:
        mistakes.add("[plan]", None, f"{error} (radius_m is {table.radius_m:g})")
        return None


def _check_growing(key: str, values: Sequence[float], mistakes: Mistakes) -> None:
    """Tells the first value that does not lie beyond the one before it."""
    for i in range(1, len(values)):
        last, value = values[i - 1], values[i]
        if value < last + LEAST_GAP:
            allowed = f"must be {LEAST_GAP} m or more beyond the one before it, {last:g}"
            twice = "given twice; " if value == last else ""
            mistakes.add(f"{key} {i + 1}", value, twice + allowed)
            return


def _opening(where: str, table: OpeningTable, mistakes: Mistakes) -> Chain:
    round_ = table.centre_m is not None and table.diameter_m is not None
    if (table.corners_m is not None) == round_ or (
        not round_ and (table.centre_m or table.diameter_m)
    ):
        mistakes.add(where, None, "give corners_m, or centre_m and diameter_m of a round opening")
        return ()
    if table.corners_m is not None:
        return read_chain(table.corners_m, f"{where}, corners_m", mistakes, closed=True)
    return circle(point(table.centre_m or []), table.diameter_m or 0.0)


def _with_opening(plan: Plan, where: str, ring: Chain, mistakes: Mistakes) -> Plan:
    if not ring or not _arcs_allowed(plan, where, ring, mistakes):
        return plan
    try:
        return with_openings(plan, [ring])
    except GeometryError as error:
        mistakes.add(where, None, str(error))
        return plan


def _with_line(
    plan: Plan, where: str, table: LineTable, drawing: Drawing | None, mistakes: Mistakes
) -> Plan:
    """The plan with the line that a table describes by path_m or dxf_layer, if it does."""
    own = table.path_m is not None or table.dxf_layer is not None
    if own == (table.on is not None) or own != (table.name is not None):
        mistakes.add(
            where,
            None,
            "give `on` for lines of the plan, or `name` with path_m or dxf_layer for one of its "
            "own",
        )
        return plan
    if table.name is None:
        return plan
    if TAKEN.fullmatch(table.name):
        allowed = "means another line already, or has a sign of patterns; choose another name"
        mistakes.add(f"{where}, name", table.name, allowed)
        return plan
    if table.name in plan.lines:
        mistakes.add(f"{where}, name", table.name, "another line has this name already")
        return plan
    if table.path_m is not None and table.dxf_layer is not None:
        mistakes.add(f"{where}, dxf_layer", table.dxf_layer, "give path_m or dxf_layer, not both")
        return plan
    key = f"{where}, {'path_m' if table.path_m is not None else 'dxf_layer'}"
    if table.path_m is not None:
        curves = read_chain(table.path_m, key, mistakes, closed=False)
    else:
        chains = _chains(drawing, key, table.dxf_layer or "", mistakes)
        if len(chains) > 1:
            allowed = f"holds {len(chains)} separate curves; put each line on a layer of its own"
            mistakes.add(key, table.dxf_layer, allowed)
        curves = chains[0] if len(chains) == 1 else ()
    if not curves or not _arcs_allowed(plan, key, curves, mistakes):
        return plan
    try:
        return with_lines(plan, {table.name: curves})
    except GeometryError as error:
        mistakes.add(key, None, str(error))
        return plan


def _arcs_allowed(plan: Plan, key: str, curves: Chain, mistakes: Mistakes) -> bool:
    if plan.alignment.straight or all(abs(curve.sweep) < FLAT for curve in curves):
        return True
    allowed = "has arcs, which a curved deck has not: its coordinates are stations and offsets"
    mistakes.add(key, None, allowed)
    return False


def _drawing(
    table: PlanTable, lines: list[tuple[str, LineTable]], folder: Path, mistakes: Mistakes
) -> Drawing | None:
    """The drawing that the plan names, opened."""
    if table.dxf is None:
        asks = [f"[plan] {key}" for key in DXF_KEYS if key in table.model_fields_set]
        asks += [f"{where}, dxf_layer" for where, line in lines if line.dxf_layer is not None]
        for key in asks:
            mistakes.add(key, None, "there is no drawing: [plan] names no dxf")
        return None
    if table.dxf_layer is None:
        mistakes.add("[plan] dxf_layer", None, "is missing: the layer of the slab's outline")
    if not is_beside(table.dxf):
        mistakes.add("[plan] dxf", table.dxf, BESIDE)
        return None
    try:
        return Drawing(folder / table.dxf, table.dxf_unit)
    except DrawingError as error:
        mistakes.add("[plan] dxf", table.dxf, str(error))
        return None


def _chains(drawing: Drawing | None, key: str, layer: str, mistakes: Mistakes) -> list[Chain]:
    if drawing is None:
        return []  # told already
    try:
        chains = drawing.chains(layer)
    except DrawingError as error:
        mistakes.add(key, layer, str(error))
        return []
    for chain in chains:
        short = [curve for curve in chain if curve.length < LEAST_GAP]
        if short:
            x, y = short[0].start
            mistakes.add(
                key, layer, f"has a curve of less than {LEAST_GAP} m at {shown((x, y))} of the plan"
            )
            return []
    return chains


def _single_ring(drawing: Drawing, layer: str, mistakes: Mistakes) -> Chain:
    key = "[plan] dxf_layer"
    chains = _chains(drawing, key, layer, mistakes)
    if len(chains) > 1:
        mistakes.add(key, layer, f"holds {len(chains)} separate curves; the outline is one")
        return ()
    if chains and gap(chains[0][0].start, chains[0][-1].end) > 0.0:
        ends = " and ".join(shown(point) for point in (chains[0][0].start, chains[0][-1].end))
        mistakes.add(key, layer, f"is not closed: its ends are at {ends} of the plan")
        return ()
    return chains[0] if chains else ()
