"""Reads a deck file (TOML, version 1) into a `Deck`, or tells every mistake in it.

`tables` and the schemas behind it hold the keys and their bounds. What the values mean together is
checked here, in `slab`, `supports`, `loads` and `bars`, and turned into SI units.
Every part of the file is judged even where another has mistakes, so that one reading tells all.
"""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from pydantic_core import PydanticCustomError

from pipelines.deck.deck import Deck, MeshOptions
from pipelines.deck.reading.bars import BarTables, reinforcement
from pipelines.deck.reading.bars_schema import (
    BarChoiceTable,
    BarsTable,
    BeamBarsTable,
    ConcreteTable,
    SteelTable,
    SurveyTable,
)
from pipelines.deck.reading.checks_schema import (
    CollisionTable,
    FatigueTable,
    MembraneTable,
    ShearTable,
)
from pipelines.deck.reading.factors import stated_factors
from pipelines.deck.reading.load_test_schema import FittedTable, LoadTestTable
from pipelines.deck.reading.load_tests import Named, check_fitted, fitted_factors, load_tests
from pipelines.deck.reading.loads import (
    check_names,
    lane_factors,
    moving_loads,
    own_vehicles,
    static_cases,
)
from pipelines.deck.reading.loads_schema import (
    CaseTable,
    StagesTable,
    SumTable,
    TrafficTable,
    VehicleTable,
)
from pipelines.deck.reading.mistakes import AnyTable, Mistakes, printable, validated
from pipelines.deck.reading.offered import check_room, offered_by
from pipelines.deck.reading.own import read_own, sums_given
from pipelines.deck.reading.own_schema import OwnTable
from pipelines.deck.reading.plan import read_plan
from pipelines.deck.reading.plan_schema import (
    MeshTable,
    OpeningTable,
    PlanTable,
    ProbeTable,
    SlabTable,
)
from pipelines.deck.reading.plausible import check_flanges, check_size
from pipelines.deck.reading.probes import read_probes
from pipelines.deck.reading.slab import read_slab
from pipelines.deck.reading.stages import (
    check_cracked,
    check_imposed,
    read_stages,
    read_sums,
)
from pipelines.deck.reading.strip import design_strip
from pipelines.deck.reading.strip_schema import StripTable
from pipelines.deck.reading.supports import support_lines, support_points
from pipelines.deck.reading.supports_schema import LineTable, PointTable
from pipelines.deck.reading.tables import MOST_TABLES, TABLES, TITLE
from pipelines.deck.reading.toml import read_toml
from pipelines.deck.variants import factor_words, with_factors


def read_deck(path: str | Path, fitted: Path | None = None, own: Sequence[str | Path] = ()) -> Deck:
    """The deck that a file describes.

    fitted : a file of [[fitted]] tables that stand for those of the deck file. own : Python files
    that may be run where the deck file names them in [own].

    Raises
    ------
    DeckError
        The file cannot be read, is not TOML, or has mistakes: all of them, one line each.
    """
    data = read_toml(str(path))
    if fitted is None:
        return deck_of(data, str(path), own=own)
    return deck_of(data | _fitted_tables(fitted), str(path), str(fitted), own)


def _fitted_tables(path: Path) -> dict[str, Any]:
    """The tables of a file that has [[fitted]] ones alone. Raises DeckError for others."""
    data, mistakes = read_toml(str(path)), Mistakes(str(path))
    for key, value in data.items():
        if key != "fitted":
            told = "unknown key: a file of stiffnesses found has [[fitted]] tables alone"
            mistakes.add(_in_brackets(key, value), None, told)
    if "fitted" not in data:
        mistakes.add("[[fitted]]", None, "is missing: there is no stiffness in this file")
    mistakes.raise_if_any()
    return data


def deck_of(
    data: dict[str, Any],
    name: str,
    fitted_name: str | None = None,
    own: Sequence[str | Path] = (),
) -> Deck:
    """The deck of the tables of a deck file.

    name : of the file: messages tell it, and in its folder lie the files that it names; fitted_name
    : of the file of the [[fitted]] tables where that is another; own : as of `read_deck`. Raises
    DeckError for mistakes, all of them, one line each.
    """
    mistakes = Mistakes(name)
    of_fitted = mistakes if fitted_name is None else Mistakes(fitted_name)
    warnings: list[str] = []
    _check_tables(data, mistakes)
    own_table = _single(data, "own", OwnTable, mistakes)
    given = read_own(own_table, Path(name).parent, own, mistakes, warnings)
    title = _title(data, mistakes) if "title" in data else printable(Path(name).stem)
    plan_table = _single(data, "plan", PlanTable, mistakes)
    opening_tables = _listed(data, "opening", OpeningTable, mistakes)
    line_tables = _listed(data, "line", LineTable, mistakes)
    plan = read_plan(plan_table, opening_tables, line_tables, Path(name).parent, mistakes, warnings)
    slab = read_slab(_single(data, "slab", SlabTable, mistakes), plan, mistakes, warnings)
    point_tables = _listed(data, "point", PointTable, mistakes)
    case_tables = _listed(data, "case", CaseTable, mistakes)
    vehicle_tables = _listed(data, "vehicle", VehicleTable, mistakes)
    described = _described(data, "vehicle") | own_vehicles(vehicle_tables, mistakes)
    offered = offered_by(given, described, mistakes)
    traffic_table = _single(data, "traffic", TrafficTable, mistakes)
    probe_tables = _listed(data, "probe", ProbeTable, mistakes)
    mesh = _single(data, "mesh", MeshTable, mistakes) or MeshTable()
    test_tables = _listed(data, "loadtest", LoadTestTable, mistakes)
    fitted_tables = _listed(data, "fitted", FittedTable, of_fitted)
    if described and "traffic" not in data and "loadtest" not in data:
        mistakes.add("[[vehicle]]", None, "there is no [traffic] for it to drive in")
    if plan is None:
        mistakes.raise_if_any()
    assert plan is not None, "a plan is missing without a mistake"
    lines = support_lines(line_tables, plan, mistakes)
    points = support_points(point_tables, slab.thickness if slab else 0.0, plan, mistakes)
    check_flanges(plan, lines, mistakes)
    if slab is not None:
        check_size(slab, plan, lines, points, mistakes, warnings)
    cases = static_cases(case_tables, plan, mistakes, warnings)
    check_imposed(case_tables, lines, points, mistakes)
    stages = read_stages(
        _single(data, "stages", StagesTable, mistakes), cases, slab, lines, mistakes
    )
    sum_tables: list[tuple[str, SumTable]] = [
        *_listed(data, "sum", SumTable, mistakes),
        *sums_given(given, mistakes),
    ]
    check_names(((where, table.name) for where, table in sum_tables), mistakes)
    sums = read_sums(sum_tables, cases, mistakes)
    probes = read_probes(probe_tables, plan, mistakes)
    factors = stated_factors(data.get("factors"), name, Path(name).parent, given, mistakes)
    traffic = None
    if traffic_table is not None:
        factors["EN 1992"] = lane_factors(traffic_table, factors["EN 1992"], Path(name).name)
        traffic = moving_loads(
            traffic_table, described, offered, factors, plan, lines, mistakes, warnings
        )
        check_room(traffic, offered.load_models, mistakes)
    named = Named(plan, lines, points)
    drivable = {**offered.vehicles, **described}
    tests = load_tests(test_tables, drivable, named, probes, plan, Path(name).parent, mistakes)
    fitted = fitted_factors(fitted_tables, named, of_fitted)
    check_fitted(tests, fitted, of_fitted)
    strip = design_strip(_single(data, "strip", StripTable, mistakes), given.strips, mistakes)
    if "strip" in data and "traffic" not in data:
        mistakes.add("[strip]", None, "there is no [traffic] that it could be compared under")
    bar_tables = BarTables(
        concretes=tuple(_listed(data, "concrete", ConcreteTable, mistakes)),
        steels=tuple(_listed(data, "steel", SteelTable, mistakes)),
        bars=tuple(_listed(data, "bars", BarsTable, mistakes)),
        choice=_single(data, "bar_choice", BarChoiceTable, mistakes),
        shear=_single(data, "shear", ShearTable, mistakes),
        membrane=tuple(_listed(data, "membrane", MembraneTable, mistakes)),
        collision=_single(data, "collision", CollisionTable, mistakes),
        fatigue=_single(data, "fatigue", FatigueTable, mistakes),
        beams=tuple(_listed(data, "beam_bars", BeamBarsTable, mistakes)),
        survey=_single(data, "survey", SurveyTable, mistakes),
    )
    check_cracked(
        list(zip([where for where, _ in sum_tables], sums, strict=True)),
        cases,
        stages,
        slab,
        lines,
        mistakes,
        has_bars="bars" in data,
    )
    bars = reinforcement(bar_tables, factors, slab, plan, lines, Path(name).parent, given, mistakes)
    if not plan.is_grid and "collision" in data:
        mistakes.add("[collision]", None, "needs the edges of a plan with C and L lines")
    mistakes.raise_if_any()
    of_fitted.raise_if_any()
    assert slab is not None, "a slab is missing without a mistake"
    if fitted:
        warnings.append(f"stiffnesses found from a load test: {factor_words(fitted)}")
    deck = Deck(
        path=name,
        title=title,
        slab=slab,
        plan=plan,
        stations=plan.stations,
        offsets=plan.offsets,
        lines=lines,
        points=points,
        cases=cases,
        traffic=traffic,
        probes=probes,
        mesh=MeshOptions(mesh.order, mesh.size_m, mesh.error),
        warnings=tuple(warnings),
        reinforcement=bars,
        strip=strip,
        factors=tuple(factors.values()),
        load_tests=tests,
        fitted=fitted,
        stages=stages,
        sums=sums,
        own=given,
    )
    return with_factors(deck, fitted)


def _check_tables(data: dict[str, Any], mistakes: Mistakes) -> None:
    """Top-level keys: known, and single or double brackets as the table asks for."""
    for key, value in data.items():
        if key != "title" and key not in TABLES:
            mistakes.unknown_key(_in_brackets(key, value), key, ["title", *TABLES])
        elif key in MOST_TABLES:
            _check_listed(key, value, mistakes)
        elif key in TABLES and key != "factors" and not isinstance(value, dict):
            mistakes.add(key, value, f"must be a table, written [{key}]")
    for key in ("slab", "plan"):
        if key not in data:
            mistakes.add(f"[{key}]", None, "is missing; every deck has this table")


def _in_brackets(key: str, value: object) -> str:
    """A top-level key as the file writes it."""
    if isinstance(value, dict):
        return f"[{printable(key)}]"
    is_list_of_tables = isinstance(value, list) and any(isinstance(x, dict) for x in value)
    return f"[[{printable(key)}]]" if is_list_of_tables else printable(key)


def _check_listed(key: str, value: object, mistakes: Mistakes) -> None:
    most = MOST_TABLES[key]
    if not isinstance(value, list) or not all(isinstance(entry, dict) for entry in value):
        mistakes.add(key, value, f"must be a table, written [[{key}]]")
    elif not 1 <= len(value) <= most:
        mistakes.add(f"[[{key}]]", value, f"allowed are 1 to {most} of these tables")


def _title(data: dict[str, Any], mistakes: Mistakes) -> str:
    try:
        return TITLE.check(data["title"])
    except PydanticCustomError as error:
        mistakes.add("title", data["title"], error.message())
        return ""


def _single(
    data: dict[str, Any], key: str, model: type[AnyTable], mistakes: Mistakes
) -> AnyTable | None:
    table = data.get(key)
    return validated(model, table, f"[{key}]", mistakes) if isinstance(table, dict) else None


def _listed(
    data: dict[str, Any], key: str, model: type[AnyTable], mistakes: Mistakes
) -> list[tuple[str, AnyTable]]:
    """The valid tables of a list, each with its place in the file, "[[line]] 2"."""
    tables = data.get(key)
    if not isinstance(tables, list) or len(tables) > MOST_TABLES[key]:
        return []
    found = []
    for i, table in enumerate(tables):
        where = f"[[{key}]] {i + 1}"
        if isinstance(table, dict):
            valid = validated(model, table, where, mistakes)
            if valid is not None:
                found.append((where, valid))
    return found


def _described(data: dict[str, Any], key: str) -> dict[str, None]:
    """Names that the file gives in a list of tables, sound or not."""
    tables = data.get(key)
    if not isinstance(tables, list):
        return {}
    names = [table.get("name") for table in tables if isinstance(table, dict)]
    return dict.fromkeys(name for name in names if isinstance(name, str))
