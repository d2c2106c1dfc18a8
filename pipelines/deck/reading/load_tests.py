"""Load tests of a deck file, and the stiffnesses that were found from one."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from pipelines.deck.deck import Line, Point, Probe
from pipelines.deck.load_test import (
    Factor,
    Kind,
    LoadTest,
    Reading,
    Standing,
    Stiffness,
    Unknown,
)
from pipelines.deck.reading.load_test_file import read_load_test
from pipelines.deck.reading.load_test_schema import (
    FittedTable,
    LoadTestTable,
    StandingTable,
    UnknownTable,
)
from pipelines.deck.reading.loads import check_names, own_vehicles
from pipelines.deck.reading.loads_schema import VehicleTable
from pipelines.deck.reading.mistakes import BESIDE, Mistakes, nearest, shown
from pipelines.deck.reading.supports import matching
from pipelines.errors import DeckError
from pipelines.standards.actions.loads import Vehicle
from pipelines.standards.actions.vehicles import library
from pipelines.system.files import is_beside
from plate.geometry.plan import Plan


class Named:
    """The stiffnesses that a deck has, by kind and by the names that a file may use."""

    def __init__(self, plan: Plan, lines: Sequence[Line], points: Sequence[Point]) -> None:
        beams = [line for line in lines if line.beam is not None]
        springs = [line for line in lines if line.support == "spring"]
        holds = [(line, held) for line in beams for held in line.held_at]
        tied = [b.name for b in beams if b.beam is not None and 0.0 < b.beam.connection < np.inf]
        of_lines: dict[Kind, list[str]] = {
            "beam EI": [line.name for line in beams],
            "beam E": [line.name for line in beams],
            "connection k": tied,
            "spring k": [line.name for line in springs if line.k > 0.0],
            "spring k_rot": [line.name for line in springs if line.k_rot > 0.0],
            "hold k": [line.name for line, held in holds if 0.0 < held.k < np.inf],
            "hold k_rot": [line.name for line, held in holds if held.k_rot > 0.0],
        }
        # An edge that coincides with a line may be called by either name.
        twins = plan.twins
        self.by_kind: dict[Kind, dict[str, str]] = {
            kind: {
                alias: name
                for name in dict.fromkeys(names)
                for alias in plan.lines
                if twins.get(alias, alias) == twins.get(name, name)
            }
            for kind, names in of_lines.items()
        }
        self.by_kind["point k"] = {p.name: p.name for p in points if 0.0 < p.k < np.inf}

    def stiffness(
        self, where: str, table: UnknownTable | FittedTable, mistakes: Mistakes
    ) -> Stiffness | None:
        """The stiffness that a table names; None with a mistake."""
        if table.of.startswith("slab"):
            if table.on is not None:
                mistakes.add(f"{where}, on", table.on, f"{table.of} is of the whole slab")
                return None
            return Stiffness(table.of)
        known = self.by_kind[table.of]
        if not known:
            told = f"the deck has none that is neither zero nor rigid: {NEEDS[table.of]}"
            mistakes.add(f"{where}, of", table.of, told)
            return None
        if table.on is None:
            some = ", ".join(list(known)[:8])
            mistakes.add(f"{where}, on", None, f"is missing; names or patterns of {some}")
            return None
        found: dict[str, None] = {}
        for pattern in table.on:
            names = matching(pattern, known)
            if not names:
                told = (
                    f"has no {table.of} that is neither zero nor rigid, {nearest(pattern, known)}"
                )
                mistakes.add(f"{where}, on", pattern, told)
                return None
            found |= dict.fromkeys(known[name] for name in names)
        return Stiffness(table.of, tuple(found))


NEEDS: dict[Kind, str] = {
    "beam EI": 'a [[line]] with support = "beam"',
    "beam E": 'a [[line]] with support = "beam"',
    "connection k": "a beam with connection.k_kN_m2",
    "spring k": 'a [[line]] with support = "spring" and k_kN_m2',
    "spring k_rot": 'a [[line]] with support = "spring" and k_rot_kNm_rad_m',
    "hold k": "a beam with held_at k_kN_m",
    "hold k_rot": "a beam with held_at k_rot_kNm_rad",
    "point k": 'a [[point]] with support = "spring"',
}


def load_tests(
    tables: list[tuple[str, LoadTestTable]],
    own: Mapping[str, Vehicle | None],
    named: Named,
    probes: Sequence[Probe],
    plan: Plan,
    folder: Path,
    mistakes: Mistakes,
) -> tuple[LoadTest, ...]:
    """The load tests; own : vehicles of the file by name; folder : in which the readings lie."""
    check_names(((where, table.name) for where, table in tables), mistakes)
    places = {probe.name: probe.at for probe in probes if probe.at is not None}
    found = []
    for where, table in tables:
        vehicle = _vehicle(where, table, own, mistakes)
        positions = _positions(where, table.positions, mistakes)
        unknowns = _unknowns(where, table.fit or [], named, mistakes)
        if not is_beside(table.file):
            mistakes.add(f"{where}, file", table.file, BESIDE)
            continue
        try:
            readings = read_load_test(
                folder / table.file, tuple(positions), places, plan, named.by_kind["beam EI"]
            )
        except DeckError as error:
            for line in error.mistakes:
                mistakes.add(f"{where}, {table.file}", None, line)
            continue
        if unknowns:
            _check_accuracy(where, table.file, readings, mistakes)
            if len(readings) <= len(unknowns):
                told = f"{len(readings)} readings in {table.file}: they have to be more"
                mistakes.add(f"{where}, fit", table.fit, told)
        if vehicle is not None:
            found.append(
                LoadTest(
                    name=table.name,
                    vehicle=vehicle,
                    positions=positions,
                    file=table.file,
                    readings=readings,
                    unknowns=unknowns,
                )
            )
    return tuple(found)


def _vehicle(
    where: str, table: LoadTestTable, own: Mapping[str, Vehicle | None], mistakes: Mistakes
) -> Vehicle | None:
    """The vehicle without impact: it stands still."""
    if (table.vehicle is None) == (table.axles is None):
        mistakes.add(where, None, "give vehicle, the name of one, or its axles")
        return None
    if table.axles is not None:
        name = f"vehicle of {table.name}"[:100]
        one = VehicleTable(name=name, axles=table.axles)
        return own_vehicles([(where, one)], mistakes)[name]
    assert table.vehicle is not None
    known = {**library, **own}
    if table.vehicle not in known:
        hint = nearest(table.vehicle, known)
        mistakes.add(f"{where}, vehicle", table.vehicle, f"unknown vehicle, {hint}")
        return None
    vehicle = known[table.vehicle]
    if vehicle is not None and vehicle.variable is not None:
        told = "has a spacing that may vary: give the axles as they stood"
        mistakes.add(f"{where}, vehicle", table.vehicle, told)
        return None
    return None if vehicle is None else replace(vehicle, impact=1.0)


def _positions(
    where: str, tables: list[StandingTable], mistakes: Mistakes
) -> dict[str, tuple[Standing, ...]]:
    found: dict[str, tuple[Standing, ...]] = {}
    for i, table in enumerate(tables):
        one = Standing(table.station_m, table.offset_m, table.direction)
        there = found.get(table.name, ())
        if any((one.station, one.offset) == (o.station, o.offset) for o in there):
            told = f"a vehicle stands there already at {table.name}"
            mistakes.add(f"{where}, positions {i + 1}, station_m", table.station_m, told)
        found[table.name] = (*there, one)
    return found


def _unknowns(
    where: str, tables: list[UnknownTable], named: Named, mistakes: Mistakes
) -> tuple[Unknown, ...]:
    found: list[Unknown] = []
    for i, table in enumerate(tables):
        key = f"{where}, fit {i + 1}"
        low, high = table.factor
        if not low < high:
            mistakes.add(f"{key}, factor", table.factor, "the second must be larger")
        one = named.stiffness(key, table, mistakes)
        if one is None:
            continue
        name = table.name or " ".join([table.of, listed(one.on)]).strip()
        for k, other in enumerate(found):
            if one.overlaps(other.stiffness):
                told = f"fit {k + 1} has this stiffness already"
                mistakes.add(f"{key}, of", table.of, told)
            if name == other.name:
                mistakes.add(f"{key}, name", name, f"fit {k + 1} has this name already")
        found.append(Unknown(name, one, low, high))
    return tuple(found)


def listed(names: Sequence[str]) -> str:
    """Names in a few words."""
    return ", ".join(names if len(names) <= 4 else [*names[:2], "…", names[-1]])


def _check_accuracy(where: str, file: str, readings: Sequence[Reading], mistakes: Mistakes) -> None:
    """How readings weigh against each other has to be known: by the accuracy of each, or because
    they are all of one quantity."""
    unknown = [one for one in readings if one.accuracy is None]
    if not unknown:
        return
    quantities = sorted({one.quantity for one in readings})
    told = ""
    if len(unknown) < len(readings):
        told = f"is missing; {len(readings) - len(unknown)} other readings have theirs"
    elif len(quantities) > 1:
        told = f"is missing, and so is that of all others, which are {' and '.join(quantities)}"
    if told:
        key = f"{where}, {file}, line {unknown[0].line}, accuracy"
        mistakes.add(key, None, f"{told}: a fit has to know how readings weigh against each other")


def fitted_factors(
    tables: list[tuple[str, FittedTable]], named: Named, mistakes: Mistakes
) -> tuple[Factor, ...]:
    """Factors on the deck file's stiffnesses."""
    found: dict[str, Factor] = {}
    for where, table in tables:
        one = named.stiffness(where, table, mistakes)
        if one is None:
            continue
        for other_where, other in found.items():
            if one.overlaps(other.stiffness):
                mistakes.add(f"{where}, of", table.of, f"{other_where} has this stiffness already")
        found[where] = Factor(one, table.factor)
    return tuple(found.values())


def check_fitted(tests: Sequence[LoadTest], factors: Sequence[Factor], mistakes: Mistakes) -> None:
    """A stiffness that has a factor already can be sought again for the same lines or points, whose
    factor then becomes another; not for some of them."""
    for test in tests:
        for unknown in test.unknowns:
            for factor in factors:
                one, other = unknown.stiffness, factor.stiffness
                if one.overlaps(other) and set(one.on) != set(other.on):
                    told = (
                        f"fit of load test {shown(test.name)} asks for {listed(one.on)}, this "
                        f"table is of {listed(other.on)}: take it out, or seek the same"
                    )
                    mistakes.add("[[fitted]] on", list(other.on), told)
