"""Supports of a deck file: which lines of the plan a name or pattern means, and point supports."""

from collections import Counter
from collections.abc import Collection, Mapping
from dataclasses import replace
from fnmatch import fnmatchcase

import numpy as np

from pipelines.deck.deck import Beam, Held, Line, Point
from pipelines.deck.reading.mistakes import Mistakes, nearest, shown
from pipelines.deck.reading.plausible import check_beam
from pipelines.deck.reading.supports_schema import (
    BeamTable,
    ConnectionTable,
    HeldTable,
    LineTable,
    PointTable,
)
from plate.geometry.outline import crossings, over_opening
from plate.geometry.plan import EDGES, Plan

# Places along a beam closer than this are one [m].
SAME_PLACE = 1e-5
ACROSS = ("C", "start", "end")

USED_KEYS = {
    "free": (),
    "rigid": ("hard", "lifts", "to_edges", "width_mm", "rests", "label"),
    "clamped": ("to_edges", "width_mm", "label"),
    "spring": ("to_edges", "width_mm", "rests", "label", "k_kN_m2", "k_rot_kNm_rad_m"),
    "beam": ("to_edges", "width_mm", "rests", "label", "beam", "held_at"),
}
"""The keys, besides `on`, that each kind of support has a use for."""


def support_lines(
    tables: list[tuple[str, LineTable]], plan: Plan, mistakes: Mistakes
) -> tuple[Line, ...]:
    """The supporting lines in the order of the plan.

    An edge without overhang is the outermost line beside it under another name: either name may
    be used, but not both.
    """
    named: dict[str, tuple[str, str]] = {}
    lines: dict[str, Line] = {}
    for where, table in tables:
        _check_keys(where, table, mistakes)
        names = _named(where, table, plan, named, mistakes)
        for name in names if table.support != "free" else ():
            told = len(mistakes.lines)
            lines[name] = _line(where, name, table, plan, len(names) > 1, mistakes)
            if len(mistakes.lines) > told:
                break  # told for one beam of the table, not for each
    lines = _told_apart(lines)
    return tuple(lines[name] for name in plan.lines if name in lines)


def _told_apart(lines: Mapping[str, Line]) -> dict[str, Line]:
    """The lines by their names; those that share a label with their names added to it."""
    count = Counter(line.label for line in lines.values())
    if max(count.values(), default=1) == 1:
        return dict(lines)
    return _told_apart(
        {
            name: replace(line, label=f"{line.label} {name}") if count[line.label] > 1 else line
            for name, line in lines.items()
        }
    )


def _named(
    where: str,
    table: LineTable,
    plan: Plan,
    named: dict[str, tuple[str, str]],
    mistakes: Mistakes,
) -> list[str]:
    """The lines that a table means, added to those named by other tables.

    named : by line, the table that names it and the name used there.
    """
    found: list[str] = []
    for pattern in table.on or [table.name or ""]:
        matches = matching(pattern, plan.lines)
        if not matches:
            hint = nearest(pattern, plan.lines)
            mistakes.add(f"{where}, on", pattern, f"matches no line of the plan, {hint}")
        for name in matches:
            line = plan.twins.get(name, name)
            if line in named:
                first_where, first_name = named[line]
                same = "" if first_name == name else f' (there as "{first_name}", the same line)'
                mistakes.add(
                    f"{where}, on",
                    name,
                    f"a line has one support, and {first_where} names this one already{same}",
                )
            else:
                named[line] = (where, name)
                found.append(name)
    return found


def matching(pattern: str, names: Collection[str]) -> list[str]:
    """Of some names those that a name or a pattern means."""
    if pattern in names:
        return [pattern]
    return [name for name in names if fnmatchcase(name, pattern)]


def _check_keys(where: str, table: LineTable, mistakes: Mistakes) -> None:
    used = USED_KEYS[table.support]
    for key in sorted(table.model_fields_set - {"on", "name", "path_m", "dxf_layer", "support"}):
        value = getattr(table, key)
        if key not in used and value is not False:
            of = f"; it has {', '.join(used)}" if used else ""
            shown_value = None if key in ("beam", "held_at") else value
            mistakes.add(
                f"{where}, {key}", shown_value, f'support "{table.support}" has no such key{of}'
            )
    if table.lifts and table.hard:
        mistakes.add(f"{where}, lifts", True, "a line that lifts off is not hard: leave one out")
    for held in table.held_at or []:
        if held.lifts and (held.stub_m > 0.0 or held.k_kN_m is not None):
            mistakes.add(f"{where}, held_at.lifts", True, "needs a hold without stub_m and k_kN_m")
    needed = {"spring": "k_kN_m2", "beam": "beam"}.get(table.support)
    if needed and getattr(table, needed) is None:
        mistakes.add(f"{where}, {needed}", None, f'is missing: support "{table.support}" needs it')
    if table.beam:
        _check_connection(where, table.beam, mistakes)


def _check_connection(where: str, beam: BeamTable, mistakes: Mistakes) -> None:
    connection = beam.connection
    key = f"{where}, beam.connection"
    ways = '"none", "full" or { k_kN_m2 = ... }'
    if connection is None:
        if beam.eccentricity_mm != 0.0:
            mistakes.add(key, None, f"is missing: a beam off the slab's mid-plane needs {ways}")
    elif (connection.kind is None) == (connection.k_kN_m2 is None):
        mistakes.add(key, None, f"is one of {ways}")


def _line(
    where: str, name: str, table: LineTable, plan: Plan, one_of_many: bool, mistakes: Mistakes
) -> Line:
    label = table.label or _kind(name, table.support, plan)
    if one_of_many or table.label is None:
        label = f"{label} {name}"
    held_at: tuple[Held, ...] = ()
    if table.to_edges and plan.lines[name].curves:
        mistakes.add(f"{where}, to_edges", True, f"line {name} ends where its path ends")
    hole = over_opening(plan, name, full=table.to_edges) if table.support == "beam" else None
    if hole is not None:
        mistakes.add(
            where,
            None,
            f"beam {name} would run over opening {hole + 1}: describe its parts by paths of their "
            "own, or leave the opening out",
        )
    if table.support == "beam" and table.held_at:
        held_at = _held(where, name, table.to_edges, table.held_at, plan, mistakes)
    if table.beam:
        check_beam(f"{where}, beam", table.beam, mistakes)
    return Line(
        name=name,
        support=table.support,
        hard=table.hard,
        lifts=table.lifts,
        to_edges=table.to_edges,
        k=1e3 * (table.k_kN_m2 or 0.0),
        k_rot=1e3 * (table.k_rot_kNm_rad_m or 0.0),
        beam=_beam(table.beam) if table.beam else None,
        held_at=held_at,
        width=(table.width_mm or 0.0) / 1e3,
        rests=_rests(table),
        label=label,
    )


def _rests(table: LineTable) -> bool:
    """Whether the slab only rests on a line: as its table says, else where it may turn there."""
    if table.rests is not None:
        return table.rests
    return table.support == "rigid" or (table.support == "spring" and not table.k_rot_kNm_rad_m)


def _kind(name: str, support: str, plan: Plan) -> str:
    if name in plan.edges:
        return "edge beam" if support == "beam" else "edge"
    if support != "beam":
        return "line"
    if plan.lines[name].curves:
        return "beam"
    return "cross beam" if name.startswith("C") else "longitudinal beam"


def _beam(table: BeamTable) -> Beam:
    return Beam(
        E=1e9 * table.E_GPa,
        G=1e9 * table.G_GPa,
        I=table.I_cm4 / 1e8,
        J=table.J_cm4 / 1e8,
        A=table.A_cm2 / 1e4,
        Av=None if table.Av_cm2 is None else table.Av_cm2 / 1e4,
        eccentricity=table.eccentricity_mm / 1e3,
        connection=_connection(table.connection),
    )


def _connection(table: ConnectionTable | None) -> float:
    """Stiffness along the beam [N/m2]: 0 for none, inf for a full connection."""
    if table is None or table.kind == "none":
        return 0.0
    return 1e3 * table.k_kN_m2 if table.k_kN_m2 is not None else np.inf


def _held(
    where: str,
    beam: str,
    to_edges: bool,
    tables: list[HeldTable],
    plan: Plan,
    mistakes: Mistakes,
) -> tuple[Held, ...]:
    crossed, ends = (_crossings if plan.is_mapped else _met)(beam, to_edges, plan)
    held: dict[float, Held] = {}
    for i, table in enumerate(tables):
        key = f"{where}, held_at {i + 1}"
        matches = matching(table.on, crossed)
        if not matches:
            mistakes.add(
                f"{key}, on",
                table.on,
                f"beam {beam} crosses no such line within its length; "
                f"it crosses {_listed(list(crossed)) or 'none'}",
            )
        if table.k_kN_m == 0.0 and table.k_rot_kNm_rad == 0.0:
            mistakes.add(f"{key}, k_kN_m", 0.0, "holds nothing; leave it out for a rigid hold")
        for name in matches:
            place = crossed[name]
            if place in held:
                mistakes.add(
                    f"{key}, on",
                    table.on,
                    f"beam {beam} is held at {name} already (by {held[place].on})",
                )
            if table.stub_m > 0.0 and place not in ends:
                mistakes.add(
                    f"{key}, stub_m",
                    table.stub_m,
                    f"beam {beam} does not end at {name}: a stub runs on past an end",
                )
            held[place] = Held(
                on=name,
                k=np.inf if table.k_kN_m is None else 1e3 * table.k_kN_m,
                k_rot=1e3 * table.k_rot_kNm_rad,
                stub=table.stub_m,
                lifts=table.lifts,
            )
    return tuple(held.values())


def _met(beam: str, to_edges: bool, plan: Plan) -> tuple[dict[str, float], tuple[float, float]]:
    """Lines that a beam of any course meets once, each with its distance from the beam's first
    end, and the distances of both ends [m]."""
    length = sum(curve.length for curve in plan.lines[beam].course(full=to_edges))
    found: dict[str, float] = {}
    known = [0.0, length]
    for name, places in crossings(plan, beam, full=to_edges).items():
        if len(places) == 1:
            # Two names of one place have one number.
            near = [place for place in known if abs(place - places[0]) < SAME_PLACE]
            found[name] = near[0] if near else places[0]
            known.append(found[name])
    return found, (0.0, length)


def _crossings(
    beam: str, to_edges: bool, plan: Plan
) -> tuple[dict[str, float], tuple[float, float]]:
    """Lines that a beam of a grid crosses within its length, each with its place along the beam,
    and the places of both ends.

    The place is the offset or station counted on the first line of the other family, so that two
    names of one place have one number. An edge is crossed where the beam reaches it.
    """
    if beam.startswith(ACROSS):
        lines = [f"L{j + 1}" for j in range(len(plan.offsets))]
        places, edges = list(plan.offsets), ("left", "right")
    else:
        lines = [f"C{i + 1}" for i in range(len(plan.stations))]
        places, edges = list(plan.stations), ("start", "end")
    found = dict(zip(lines, places, strict=True))
    if to_edges or beam in EDGES or plan.overhang[edges[0]] == 0.0:
        found[edges[0]] = places[0] - plan.overhang[edges[0]]
    if to_edges or beam in EDGES or plan.overhang[edges[1]] == 0.0:
        found[edges[1]] = places[-1] + plan.overhang[edges[1]]
    return found, (min(found.values()), max(found.values()))


def _listed(names: list[str]) -> str:
    return ", ".join(names if len(names) <= 8 else [*names[:3], "…", *names[-3:]])


def support_points(
    tables: list[tuple[str, PointTable]], default_size: float, plan: Plan, mistakes: Mistakes
) -> tuple[Point, ...]:
    """The point supports; without a name they are called "point 1" and so on, in file order.

    default_size : side of the square held where the file gives none [m].
    """
    points: list[Point] = []
    for i, (where, table) in enumerate(tables):
        name = table.name or f"point {i + 1}"
        at = (table.at_m[0], table.at_m[1])
        if name in plan.lines or name == "total_kN":
            mistakes.add(f"{where}, name", name, "already the name of a line or total of the deck")
        if not plan.contains(np.array(at)):
            mistakes.add(f"{where}, at_m", at, "not on the slab")
        for other in points:
            if other.name == name:
                mistakes.add(f"{where}, name", name, "given to two points")
            if other.at == at:
                mistakes.add(f"{where}, at_m", at, f"{shown(other.name)} stands there already")
        if (table.support == "spring") != (table.k_kN_m is not None):
            mistakes.add(
                f"{where}, k_kN_m",
                table.k_kN_m,
                f'needed by support "spring" and by no other; this is "{table.support}"',
            )
        points.append(
            Point(
                name=name,
                at=at,
                k=np.inf if table.k_kN_m is None else 1e3 * table.k_kN_m,
                size=default_size if table.size_mm is None else table.size_mm / 1e3,
                lifts=table.lifts,
            )
        )
    return tuple(points)
