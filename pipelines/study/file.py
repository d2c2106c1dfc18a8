"""Reads a study file (TOML): a family of decks, and what is wanted of each.

title, base         the base deck file, beside the study file
licence             of the data
[design]            kind = "grid" | "latin hypercube" | "sobol" | "saltelli" | "rows"; rows, seed,
                    file
[reference]         what the dimensionless groups mean on this deck (`studygroups`)
[[parameter]]       name; key (dotted, or several) or group, or neither; values, or range
[set]               further keys as formulas of parameters and of the reference's lengths
[[response]]        name, unit; path into summary.json, strip, hand or formula
[run]               tolerance_every, error_target_percent
[stop]              fit, error_percent, every: no more decks once a fit is good enough
"""

from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

from pipelines.deck.reading.keys import KeyMistake, split_key
from pipelines.deck.reading.mistakes import BESIDE, Mistakes, validated
from pipelines.deck.reading.rules import Choice, Text
from pipelines.deck.reading.schema import Table
from pipelines.deck.reading.toml import read_toml
from pipelines.standards.strip_widths.sets import FIRST_SET
from pipelines.study.fit.file import read_fit
from pipelines.study.formula import Formula, FormulaError, read_formula
from pipelines.study.groups import EDGE_DISTANCES, VARIABLES, Reference
from pipelines.study.schema import (
    DesignTable,
    ParameterTable,
    ReferenceTable,
    ResponseTable,
    RunTable,
    StopTable,
    StripTable,
    StudyTable,
)
from pipelines.study.spec import ERROR, OWN_COLUMNS, Design, Parameter, Response, Stop, Study
from pipelines.system.files import is_beside

AnyTable = TypeVar("AnyTable", bound=Table)
T = TypeVar("T")


def read_study(path: Path) -> Study:
    """Raises DeckError with every mistake of the study file."""
    data = read_toml(str(path))
    mistakes = Mistakes(str(path))
    for key in data:
        if key not in StudyTable.model_fields:
            mistakes.unknown_key(key, key, StudyTable.model_fields)
    title = _text(data, "title", mistakes)
    base_name = _text(data, "base", mistakes)
    licence = _text(data, "licence", mistakes) if "licence" in data else ""
    design = _table(data, "design", DesignTable, mistakes)
    reference = _table(data, "reference", ReferenceTable, mistakes) if "reference" in data else None
    run = _table(data, "run", RunTable, mistakes) if "run" in data else RunTable()
    stop_table = _table(data, "stop", StopTable, mistakes) if "stop" in data else None
    stop = None if stop_table is None else _stop(stop_table, path, mistakes)
    tables = _tables(data, "parameter", ParameterTable, mistakes)
    parameters = tuple(_parameter(w, t, design, reference, mistakes) for w, t in tables)
    given = {p.name for p in parameters} | (set(VARIABLES) if reference else set())
    follows = _follows(data.get("set", {}), given, mistakes)
    tables_of_responses = _tables(data, "response", ResponseTable, mistakes)
    responses = _responses(tables_of_responses, given, reference is not None, mistakes)
    _check_groups(parameters, mistakes)
    _check_names(parameters, responses, reference is not None, mistakes)
    if design is not None:
        _check_design(design, parameters, mistakes)
    mistakes.raise_if_any()
    assert design is not None, "a design is missing without a mistake"
    assert run is not None, "a run table is wrong without a mistake"
    base_path = path.parent / base_name
    base = read_toml(str(base_path))
    if "own" not in base:
        _check_hands(responses, mistakes)
        mistakes.raise_if_any()
    return Study(
        path=path,
        title=title,
        licence=licence,
        base_path=base_path,
        base=base,
        design=Design(
            design.kind,
            design.rows,
            design.seed or 0,
            None if design.file is None else path.parent / design.file,
        ),
        reference=None if reference is None else _reference(reference),
        parameters=parameters,
        follows=follows,
        responses=responses,
        tolerance_every=run.tolerance_every,
        error_target=None if run.error_target_percent is None else run.error_target_percent / 100.0,
        stop=stop,
    )


def _stop(table: StopTable, path: Path, mistakes: Mistakes) -> Stop | None:
    """Raises DeckError with the mistakes of the fit file."""
    if not is_beside(table.fit):
        mistakes.add("[stop] fit", table.fit, BESIDE)
        return None
    fit = read_fit(path.parent / table.fit)
    if not fit.hold_out:
        mistakes.add("[stop] fit", table.fit, "has no [hold_out], which judges it")
    return Stop(fit, table.error_percent / 100.0, table.every)


def _text(data: dict[str, Any], key: str, mistakes: Mistakes) -> str:
    value = data.get(key)
    try:
        return Text(500).check(value)
    except Exception:  # whatever the rule raises says no more than this
        mistakes.add(key, value, f"must be {Text(500).allowed}")
        return ""


def _table(
    data: dict[str, Any], key: str, model: type[AnyTable], mistakes: Mistakes
) -> AnyTable | None:
    table = data.get(key)
    if not isinstance(table, dict):
        mistakes.add(f"[{key}]", None, "is missing" if table is None else "must be a table")
        return None
    return validated(model, table, f"[{key}]", mistakes)


def _tables(
    data: dict[str, Any], key: str, model: type[AnyTable], mistakes: Mistakes
) -> list[tuple[str, AnyTable]]:
    tables = data.get(key)
    if not isinstance(tables, list) or not tables or not all(isinstance(t, dict) for t in tables):
        mistakes.add(f"[[{key}]]", None, "there must be one or more of these tables")
        return []
    found = []
    for k, table in enumerate(tables, start=1):
        valid = validated(model, table, f"[[{key}]] {k}", mistakes)
        if valid is not None:
            found.append((f"[[{key}]] {k}", valid))
    return found


def _reference(table: ReferenceTable) -> Reference:
    return Reference(
        bay=table.bay,
        cases=tuple(table.cases),
        beams=table.beams,
        edge=table.edge,
        surfacing=table.surfacing_mm / 1e3,
    )


def _parameter(
    where: str,
    table: ParameterTable,
    design: DesignTable | None,
    reference: ReferenceTable | None,
    mistakes: Mistakes,
) -> Parameter:
    if table.key is not None and table.group is not None:
        mistakes.add(where, None, "give key or group, not both")
    if table.group is not None and reference is None:
        mistakes.add(f"{where}, group", table.group, "groups need a [reference] table")
    for key in table.key or []:
        _try(f"{where}, key", lambda key=key: split_key(key), mistakes)  # type: ignore[misc]
    kind = None if design is None else design.kind
    if kind == "rows":
        if table.values is not None or table.range is not None:
            mistakes.add(where, None, "its values come from the design's file")
    elif (table.values is None) == (table.range is None):
        mistakes.add(where, None, "give values, or range")
    if table.group is not None and any(isinstance(v, str | bool) for v in table.values or []):
        mistakes.add(f"{where}, values", None, "a group has numbers")
    low, high = table.range or (0.0, 1.0)
    if table.range is not None:
        if not low < high:
            mistakes.add(f"{where}, range", table.range, "the second must be the larger")
        if table.scale == "log" and low <= 0.0:
            mistakes.add(f"{where}, range", table.range, "must be positive on a log scale")
        if (kind == "grid" or table.crossed) and table.steps is None:
            mistakes.add(
                f"{where}, steps", None, "a range on a grid, or crossed, needs a number of steps"
            )
    stepped = (kind == "grid" or table.crossed) and table.range is not None
    if table.steps is not None and not stepped:
        mistakes.add(f"{where}, steps", table.steps, "belongs to a range on a grid, or crossed")
    if table.crossed and kind in ("grid", "rows", "saltelli"):
        mistakes.add(f"{where}, crossed", True, "belongs to a sampled design, but not saltelli")
    return Parameter(
        name=table.name,
        keys=tuple(table.key or ()),
        group=table.group,
        values=None if table.values is None else tuple(table.values),
        low=low,
        high=high,
        steps=table.steps,
        log=table.scale == "log",
        crossed=table.crossed,
        unit=table.unit or "",
    )


def _check_design(
    table: DesignTable, parameters: tuple[Parameter, ...], mistakes: Mistakes
) -> None:
    sampled = table.kind in ("latin hypercube", "sobol", "saltelli")
    if sampled and table.rows is None:
        mistakes.add("[design] rows", None, f"is missing; a {table.kind} design has so many rows")
    if not sampled and table.rows is not None:
        mistakes.add("[design] rows", table.rows, f'kind "{table.kind}" has no such key')
    if not sampled and table.seed is not None:
        mistakes.add("[design] seed", table.seed, f'kind "{table.kind}" has no such key')
    if sampled and table.seed is None:
        mistakes.add("[design] seed", None, "is missing; with it the same design comes again")
    even = table.kind in ("sobol", "saltelli")
    if even and table.rows and table.rows & (table.rows - 1):
        mistakes.add(
            "[design] rows", table.rows, f"a {table.kind} design has 2, 4, 8, 16, ... rows"
        )
    if (table.kind == "rows") != (table.file is not None):
        mistakes.add("[design] file", table.file, 'kind "rows" needs a CSV file, others have none')
    if sampled and all(parameter.crossed for parameter in parameters):
        mistakes.add(
            "[design]", None, f"a {table.kind} design needs a parameter that is not crossed"
        )
    count = (table.rows or 1) if sampled else 1
    count *= len(parameters) + 2 if table.kind == "saltelli" else 1
    for parameter in parameters:
        if table.kind == "grid" or parameter.crossed:
            count *= len(parameter.values) if parameter.values else (parameter.steps or 1)
    if count > 100_000:
        mistakes.add("[design]", None, f"{count} decks; allowed are 100 000")


def _follows(
    table: object, given: set[str], mistakes: Mistakes
) -> tuple[tuple[str, tuple[Formula, ...]], ...]:
    if not isinstance(table, dict):
        mistakes.add("[set]", table, "must be a table of keys and formulas")
        return ()
    found = []
    for key, value in table.items():
        where = f'[set] "{key}"'
        _try(where, lambda key=key: split_key(key), mistakes)  # type: ignore[misc]
        texts = value if isinstance(value, list) else [value]
        formulas = []
        for text in texts:
            formula = _formula(where, text, given, mistakes)
            if formula is not None:
                formulas.append(formula)
        found.append((key, tuple(formulas)))
    return tuple(found)


def _formula(where: str, text: object, given: set[str], mistakes: Mistakes) -> Formula | None:
    if not isinstance(text, str | int | float) or isinstance(text, bool):
        mistakes.add(where, text, "must be a formula in quotes, or a number")
        return None
    formula = _try(where, lambda: read_formula(str(text)), mistakes)
    for name in () if formula is None else formula.names:
        if name not in given:
            mistakes.unknown_key(f"{where}, {name}", name, sorted(given) or ["(none)"])
    return formula


def _try(where: str, make: Callable[[], T], mistakes: Mistakes) -> T | None:
    try:
        return make()
    except (FormulaError, KeyMistake) as error:
        mistakes.add(where, None, str(error))
        return None


def _responses(
    tables: list[tuple[str, ResponseTable]], given: set[str], referred: bool, mistakes: Mistakes
) -> tuple[Response, ...]:
    found: list[Response] = []
    for where, table in tables:
        kinds = (table.path, table.strip, table.hand, table.formula)
        if sum(kind is not None for kind in kinds) != 1:
            mistakes.add(where, None, "give one of path, strip, hand, formula")
        if (table.strip is not None or table.hand is not None) and not referred:
            mistakes.add(where, None, "strip and hand need a [reference] table")
        formula = None
        if table.formula is not None:
            earlier = given | {one.name for one in found}
            formula = _formula(f"{where}, formula", table.formula, earlier, mistakes)
        way: tuple[Any, ...] = ()
        if isinstance(table.path, str):
            text = table.path
            way = tuple(_try(f"{where}, path", lambda t=text: split_key(t), mistakes) or ())  # type: ignore[misc]
        elif table.path is not None:
            way = tuple(tuple(p.items()) if isinstance(p, dict) else p for p in table.path)
        found.append(
            Response(
                name=table.name,
                unit=table.unit or "",
                way=way,
                strip=None if table.strip is None else _strip(table.strip),
                hand=None if table.hand is None else (table.hand.strips, *_strip(table.hand)),
                formula=formula,
            )
        )
    return tuple(found)


def _strip(table: StripTable) -> tuple[str, float | None]:
    return table.case, table.place_in_bay


def _check_groups(parameters: tuple[Parameter, ...], mistakes: Mistakes) -> None:
    taken: dict[str, str] = {}
    for parameter in parameters:
        if parameter.group is None:
            continue
        what = (
            parameter.group.partition("/")[0]
            if parameter.group in EDGE_DISTANCES
            else parameter.group
        )
        if what in taken:
            mistakes.add("[[parameter]] group", parameter.group, f"{taken[what]} sets it already")
        taken[what] = parameter.name


def _check_hands(responses: tuple[Response, ...], mistakes: Mistakes) -> None:
    """Hand methods where the deck has none of the user's own: what their code has is known when it
    has been run."""
    methods = Choice(tuple(method.name for method in FIRST_SET))
    for one in responses:
        if one.hand is not None and one.hand[0] not in methods.options:
            where = f"[[response]] {one.name}, hand.strips"
            mistakes.add(where, one.hand[0], f"allowed is {methods.allowed}")


def _check_names(
    parameters: tuple[Parameter, ...],
    responses: tuple[Response, ...],
    referred: bool,
    mistakes: Mistakes,
) -> None:
    taken = dict.fromkeys(OWN_COLUMNS, "a column of every table")
    if referred:
        taken |= dict.fromkeys(VARIABLES, "a length or stiffness of the reference")
    for kind, named in (("parameter", parameters), ("response", responses)):
        for one in named:
            for name in (one.name,) if kind == "parameter" else (one.name, one.name + ERROR):
                if name in taken:
                    mistakes.add(f"[[{kind}]] name", name, f"is taken: {taken[name]}")
                taken[name] = f"another {kind}"
