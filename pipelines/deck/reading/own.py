"""Code of the user's own that a deck file names, run where whoever asks for it permits that."""

import os
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TypeVar, cast

from pipelines.deck.reading.mistakes import Mistakes, shown, validated
from pipelines.deck.reading.own_schema import (
    OwnLoadModelTable,
    OwnSumTable,
    OwnTable,
    OwnVehicleTable,
)
from pipelines.errors import OwnError
from pipelines.standards.own.code import Kind, OwnCode
from pipelines.standards.own.own import Own

WHERE = "[own]"
FILE = ".py"

Given = TypeVar("Given", OwnVehicleTable, OwnLoadModelTable, OwnSumTable)


def read_own(
    table: OwnTable | None,
    folder: Path,
    permitted: Sequence[str | Path],
    mistakes: Mistakes,
    warnings: list[str],
) -> Own:
    """What the code of a deck gives.

    folder : of the deck file. permitted : files that may be run.

    Raises DeckError at once, with nothing run, where a file is named that is not permitted.
    """
    named = own_names(table)
    files = {kind: own_path(folder, name) for kind, name in named.items() if is_file(name)}
    for kind, path in files.items():
        if not may_run(path, permitted):
            mistakes.add(f"{WHERE} {kind}", named[kind], refusal(path))
            mistakes.raise_if_any()
    known = {_same(path) for path in files.values()}
    for one in permitted:
        if _same(Path(one)) not in known and str(one) not in named.values():
            warnings.append(f"--own {shown(str(one))}: {WHERE} does not name it; it is not run")
    codes: dict[Kind, OwnCode] = {}
    for kind, name in named.items():
        try:
            packaged = kind not in files
            codes[kind] = OwnCode.of_package(name) if packaged else OwnCode.of_file(files[kind])
        except OwnError as error:
            mistakes.add(f"{WHERE} {kind}", name, str(error))
    made = Own(tuple(codes.items()))
    for kind, name in named.items():
        try:
            made.of(kind).check()
        except OwnError as error:
            mistakes.add(f"{WHERE} {kind}", name, str(error))
            made = Own(tuple(pair for pair in made.codes if pair[0] != kind))
    return made


def vehicles_given(own: Own, mistakes: Mistakes) -> list[tuple[str, OwnVehicleTable]]:
    """The vehicles of a deck's own code, each with where it stands."""
    return _tables_given(own, "vehicles", own.vehicles, OwnVehicleTable, mistakes)


def load_models_given(own: Own, mistakes: Mistakes) -> list[tuple[str, OwnLoadModelTable]]:
    """The load models of a deck's own code, each with where it stands."""
    return _tables_given(own, "load_models", own.load_models, OwnLoadModelTable, mistakes)


def sums_given(own: Own, mistakes: Mistakes) -> list[tuple[str, OwnSumTable]]:
    """The sums of static cases of a deck's own code, each with where it stands."""
    return _tables_given(own, "sums", own.sums, OwnSumTable, mistakes)


def _tables_given(
    own: Own, kind: Kind, tables: Sequence[object], model: type[Given], mistakes: Mistakes
) -> list[tuple[str, Given]]:
    """Valid tables; those that state no source have the name of the code."""
    code = own.code(kind)
    found = []
    for k, table in enumerate(tables, start=1):
        assert code is not None, "tables without code"
        where = f"{WHERE} {code.name}, {kind} {k}"
        if not isinstance(table, dict):
            mistakes.add(where, table, "must be a table (dict)")
        elif (valid := validated(model, table, where, mistakes)) is not None:
            found.append((where, valid.model_copy(update={"source": valid.source or code.name})))
    return found


def own_names(table: OwnTable | None) -> dict[Kind, str]:
    """The files and packages that a table names, by what they are to give."""
    if table is None:
        return {}
    found: Mapping[str, str] = table.model_dump(exclude_none=True)
    return {cast(Kind, kind): name for kind, name in found.items()}


def is_file(name: str) -> bool:
    """Whether a name is that of a file, not of a package's entry point."""
    return name.endswith(FILE)


def own_path(folder: Path, name: str) -> Path:
    """The file of that name, relative to the deck file's folder."""
    return (folder / name).resolve()


def may_run(path: Path, permitted: Sequence[str | Path]) -> bool:
    """Whether a file is among those that may be run."""
    return _same(path) in {_same(Path(one)) for one in permitted}


def refusal(path: Path) -> str:
    """Why a file is not run, and how it is permitted."""
    return (
        f"the deck file would run the Python file {path}, and code that a file names is run only "
        f"where the command names it, too: read it, then give --own {path} (in Python own=[...])"
    )


def _same(path: Path) -> str:
    """A path as two of the same file have it."""
    return os.path.normcase(path.resolve())
