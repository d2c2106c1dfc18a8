"""From design to work: the deck of every row, rows that share a structure, memory.

Every row becomes a complete deck file of its own. Its key is the hash of that file, of the accuracy
wanted and of the program, so a row is computed once, and again only when one of them changes; what
is read from it may change without that.

Rows that differ in nothing but loads, vehicles, probes and bars share their structure. Where such
rows have patches in different places, each of their decks gets one more static case without load
that holds all of those patches: the mesh then follows all of them, is the same for all, and is
factorised once. The case stands in the deck file like any other, so `deckslab run` on a row's deck
gives the row's numbers.
"""

import hashlib
import json
import tempfile
from collections.abc import Callable, Iterator, Sequence
from copy import deepcopy
from dataclasses import dataclass, replace
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import Any

import tomli_w

import plate
from pipelines.deck.deck import Deck
from pipelines.deck.reading import dxf, survey_file, toml
from pipelines.deck.reading.deck_file import deck_of as read_tables
from pipelines.deck.reading.keys import set_key
from pipelines.deck.reading.mistakes import BESIDE, shown
from pipelines.errors import DeckError, JobError
from pipelines.study.design import design_rows
from pipelines.study.groups import geometry, set_groups
from pipelines.study.own import Codes, NotPermittedError, own_codes, tables_here
from pipelines.study.spec import Study, StudyError, Value
from pipelines.system.files import UnreadableError, is_beside, read_plain
from plate.errors import PlateError

# Tables that the stiffness of the deck depends on. Should one be missing here, its rows only get
# more patches than they need: what is shared is decided by the models themselves.
STRUCTURE = ("slab", "plan", "opening", "line", "point", "mesh")
# Keys that name another file beside the deck file, with its most bytes.
FILE_KEYS = (
    ("plan", "dxf", dxf.LARGEST_FILE),
    ("survey", "file", survey_file.LARGEST_FILE),
    ("factors", "file", toml.LARGEST_FILE),
)
MESH_CASE = "patches of the study, without load"
# Up to here one mesh for all is measured to be cheaper than several, on straight and skew decks.
MOST_PATCHES = 24
# Decks of one task: what a kill can lose, at most.
MOST_ROWS = 32


@dataclass(frozen=True, kw_only=True)
class Row:
    """One row of the design.

    values : parameters by name; variables : what formulas may name besides; deck : TOML text;
    files : other files that it names, by the names it uses; own : code of the user's own.
    structure : hash of what the stiffness depends on; tolerances : whether they are wanted.
    reason : why there is no valid deck, else "".
    """

    number: int
    values: dict[str, Value]
    variables: dict[str, float]
    deck: str = ""
    files: tuple[tuple[str, bytes], ...] = ()
    own: Codes = ()
    key: str = ""
    structure: str = ""
    tolerances: bool = False
    reason: str = ""


@dataclass(frozen=True)
class Task:
    """Rows that one worker computes one after the other, sharing what they can."""

    rows: tuple[Row, ...]


@dataclass(frozen=True)
class Plan:
    """rows : of the whole design; program : version and hash of the code."""

    rows: tuple[Row, ...]
    program: str

    def rounds(self, every: int, drawn: bool) -> tuple[tuple[Row, ...], ...]:
        """The valid rows in parts of so many and a few more, so that structures stay whole.

        drawn : in the order of the structures' hashes, as if drawn at random, and not as planned.
        """
        alike: dict[str, list[Row]] = {}
        for row in self.rows:
            if not row.reason:
                alike.setdefault(row.structure, []).append(row)
        found: list[list[Row]] = []
        for structure in sorted(alike) if drawn else alike:
            if not found or len(found[-1]) >= every:
                found.append([])
            found[-1] += alike[structure]
        return tuple(map(tuple, found))

    def tasks(
        self, done: Callable[[str], bool], rows: tuple[Row, ...] | None = None
    ) -> tuple[Task, ...]:
        """Tasks for the valid rows whose key is not done, each key once; rows : of them all."""
        wanted: dict[str, list[Row]] = {}
        seen: set[str] = set()
        for row in self.rows if rows is None else rows:
            if not row.reason and row.key not in seen and not done(row.key):
                seen.add(row.key)
                wanted.setdefault(row.structure, []).append(row)
        return tuple(
            Task(tuple(rows[k : k + MOST_ROWS]))
            for rows in wanted.values()
            for k in range(0, len(rows), MOST_ROWS)
        )


def plan_study(
    study: Study,
    told: Callable[[int, int], None] | None = None,
    own: Sequence[str | Path] = (),
) -> Plan:
    """The rows of a study.

    told : called with the rows planned and their number. own : files that may be run.

    Raises StudyError where no row gives a valid deck, and where one would run another file.
    """
    program = program_version()
    values = design_rows(study)
    rows: list[tuple[Row, dict[str, Any]]] = []
    for number, value in enumerate(values, start=1):
        rows.append(_row(study, number, value, own))
        if told is not None:
            told(number, len(values))
    broken = [row for row, _ in rows if row.reason]
    if len(broken) == len(rows):
        raise StudyError(f"no row gives a valid deck; the first: {broken[0].reason}")
    finished = {row.number: row for row in broken}
    for group in _groups([pair for pair in rows if not pair[0].reason]):
        for row in _with_mesh(study, group, program):
            finished[row.number] = row
    return Plan(tuple(finished[n] for n in sorted(finished)), program)


@cache
def program_version() -> str:
    """The distribution's version and the first digits of the hash of its code."""
    digest = hashlib.sha256()
    for folder in (Path(plate.__file__ or "").parent, Path(__file__).parents[1]):
        for path in sorted(folder.rglob("*.py")):
            digest.update(
                f"{path.relative_to(folder).as_posix()}\0".encode() + path.read_bytes() + b"\0"
            )
    return f"{version('deckslab')}+{digest.hexdigest()[:12]}"


def _row(
    study: Study, number: int, values: dict[str, Value], own: Sequence[str | Path]
) -> tuple[Row, dict[str, Any]]:
    """The row with its deck's tables, or with the reason why it has none."""
    tables = deepcopy(study.base)
    tables.pop("loadtest", None)  # has no part in a study, nor has the file of its readings
    row = Row(number=number, values=values, variables={})
    try:
        row = replace(row, variables=_resolve(study, tables, values))
        row = replace(row, files=_attached(tables, study.base_path.parent))
        row = replace(row, own=own_codes(tables, study.base_path.parent, own))
        row = replace(row, deck=tomli_w.dumps(tables))
        deck_of(row)
    except NotPermittedError:
        raise
    except (JobError, PlateError) as error:
        return replace(row, reason=" ".join(str(error).split())), tables
    except (KeyError, TypeError, ValueError, AttributeError, IndexError, ArithmeticError):
        # A base deck with mistakes of its own: the groups found no sound geometry in it.
        return replace(
            row, reason="the base deck has mistakes or lacks what [reference] names"
        ), tables
    return row, tables


def _attached(tables: dict[str, Any], folder: Path) -> tuple[tuple[str, bytes], ...]:
    """The files that a deck names, renamed in its tables to the hash of what they hold."""
    found = []
    if isinstance(tables.get("factors"), str):  # short for a table with that file
        tables["factors"] = {"file": tables["factors"]}
    for table, key, most in FILE_KEYS:
        named = tables.get(table)
        name = named.get(key) if isinstance(named, dict) else None
        if isinstance(name, str):
            if not is_beside(name):
                raise StudyError(f"[{table}] {key} = {shown(name)}: {BESIDE}")
            try:
                data = read_plain(folder / name, most)
            except UnreadableError as error:
                raise StudyError(f"[{table}] {key} = {shown(name)}: {error}") from None
            tables[table][key] = f"{hashlib.sha256(data).hexdigest()[:16]}{Path(name).suffix}"
            found.append((tables[table][key], data))
    return tuple(found)


def _resolve(study: Study, tables: dict[str, Any], values: dict[str, Value]) -> dict[str, float]:
    """Set the keys of a row in the deck's tables; returns the reference's variables."""
    groups: dict[str, float] = {}
    for parameter in study.parameters:
        for key in parameter.keys:
            set_key(tables, key, values[parameter.name])
        if parameter.group is not None:
            value = values[parameter.name]
            if isinstance(value, str | bool):
                raise StudyError(f"{parameter.name} = {value}: a group has numbers")
            groups[parameter.group] = float(value)
    reference = study.reference
    if reference is not None:
        reference = set_groups(tables, reference, groups)
    variables = {} if reference is None else geometry(tables, reference)
    for key, formulas in study.follows:
        found = [float(formula({**values, **variables})) for formula in formulas]
        set_key(tables, key, found if len(found) > 1 else found[0])
        if reference is not None:  # the next formula may name what this one has set
            variables = geometry(tables, reference)
    return variables


def _patches(tables: dict[str, Any]) -> list[str]:
    """Places and sizes of all patches, as text that sorts."""
    found = set()
    for case in tables.get("case", []):
        for patch in case.get("patches", []):
            found.add(json.dumps([patch["at_m"], patch["size_m"]]))
    return sorted(found)


def _groups(
    rows: list[tuple[Row, dict[str, Any]]],
) -> Iterator[list[tuple[Row, dict[str, Any]]]]:
    """Rows of the same structure, with few enough patches for one mesh."""
    alike: dict[str, list[tuple[Row, dict[str, Any]]]] = {}
    for row, tables in rows:
        kept = _digest({k: tables[k] for k in STRUCTURE if k in tables})
        alike.setdefault(kept, []).append((row, tables))
    for structure, members in alike.items():
        ordered = sorted(members, key=lambda pair: (_patches(pair[1]), pair[0].number))
        group: list[tuple[Row, dict[str, Any]]] = []
        patches: set[str] = set()
        for row, tables in ordered:
            more = patches | set(_patches(tables))
            if group and len(more) > MOST_PATCHES:
                yield group
                group, more = [], set(_patches(tables))
            group.append((replace(row, structure=structure), tables))
            patches = more
        yield group


def _with_mesh(
    study: Study, group: list[tuple[Row, dict[str, Any]]], program: str
) -> Iterator[Row]:
    """The group's rows with one mesh for all, their decks and keys."""
    sets = [_patches(tables) for _, tables in group]
    union = sorted({patch for lane_set in sets for patch in lane_set})
    for (row, tables), own in zip(group, sets, strict=True):
        tables.pop("title", None)
        if len(own) < len(union):
            places = [json.loads(patch) for patch in union]
            case = {
                "name": MESH_CASE,
                "patches": [{"at_m": at, "size_m": size, "load_kN": 0.0} for at, size in places],
            }
            tables["case"] = [*tables.get("case", []), case]
        deck = tomli_w.dumps(tables)
        structure = _digest([row.structure, union])
        every = study.tolerance_every
        tolerances = every > 0 and int(structure, 16) % every == 0
        target = study.error_target if tolerances else None
        # What is read from a deck does not change it, but the order that its target asks for.
        wanted = [tolerances, target, None if target is None else asked_of(study)]
        packages = [code.digest for _, code in row.own if not code.path]
        key = _digest([deck, row.values, wanted, program, *packages])
        yield replace(row, deck=deck, key=key, structure=structure, tolerances=tolerances)


def asked_of(study: Study) -> str:
    """What is asked of every deck, as a digest."""
    return _digest([repr(study.responses), repr(study.reference)])[:16]


def _digest(value: Any) -> str:
    return hashlib.sha256(json.dumps(value, sort_keys=True).encode()).hexdigest()


def deck_of(row: Row) -> Deck:
    """The row's deck, read from its own text; DeckError for its mistakes."""
    with tempfile.TemporaryDirectory() as folder:
        for name, data in row.files:
            (Path(folder) / name).write_bytes(data)
        tables, own = tables_here(row.deck, row.own)
        try:
            deck = read_tables(tables, str(Path(folder) / "deck.toml"), own=own)
            return replace(deck, path="deck")
        except DeckError as error:
            raise DeckError("deck", error.mistakes) from None
