"""Code of the user's own in a study. Decks of rows name it by its digest; what travels is where it
lies, never the code: every worker runs the file, or the package, that it has there itself."""

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from socket import gethostname
from typing import Any

from pipelines.deck.reading.own import is_file, may_run, own_path, refusal
from pipelines.deck.reading.toml import tables_of_text
from pipelines.errors import OwnError
from pipelines.standards.own.code import KINDS, MARK, Kind, OwnCode
from pipelines.standards.own.own import Own
from pipelines.study.spec import Response, Study, StudyError

# At the end of a column's meaning, with names behind it.
OWN_MEANING = f" ({MARK}: "
# Keys of [traffic] that name what drives, and entries of summary.json that do not depend on it.
LISTED = ("vehicles", "load_models")
STATIC = ("reactions", "beams", "equilibrium", "model", "stages", "sums", "cracked")
Codes = tuple[tuple[Kind, OwnCode], ...]


class NotPermittedError(StudyError):
    """A file that may not be run: no row of the study is computed."""


def own_codes(tables: dict[str, Any], folder: Path, permitted: Sequence[str | Path]) -> Codes:
    """What the tables of a deck name in [own]; files are named there by their digest afterwards.

    folder : of the base deck; permitted : files that may be run.

    Raises NotPermittedError for a file that is not among them, OwnError for one that cannot be
    read.
    """
    named = tables.get("own")
    found: list[tuple[Kind, OwnCode]] = []
    if not isinstance(named, dict):
        return ()
    for kind in KINDS:
        name = named.get(kind)
        if not isinstance(name, str):
            continue
        if not is_file(name):
            found.append((kind, OwnCode.of_package(name)))
            continue
        path = own_path(folder, name)
        if not may_run(path, permitted):
            raise NotPermittedError(f'[own] {kind} = "{name}": {refusal(path)}')
        code = OwnCode.of_file(path)
        found.append((kind, code))
        named[kind] = f"{code.digest[:16]}{path.suffix}"
    return tuple(found)


def require_named(codes: Iterable[OwnCode], permitted: Sequence[str | Path]) -> None:
    """Raise NotPermittedError unless packages, too, are named: other machines are to run them."""
    for code in codes:
        if not code.path and code.name not in map(str, permitted):
            raise NotPermittedError(
                f"the workers of the cluster would run the package of the entry point {code.name} "
                f"that they have: give --own {code.name} (in Python own=[...]) to permit it"
            )


def tables_here(deck: str, codes: Codes) -> tuple[dict[str, Any], tuple[str, ...]]:
    """The tables of a row's deck with the places of its files on this machine, and these files."""
    tables = tables_of_text(deck, "deck")
    files = {kind: code.path for kind, code in codes if code.path}
    if files:
        tables["own"] |= files
    return tables, tuple(files.values())


def require_same(codes: Iterable[OwnCode]) -> None:
    """Raise StudyError where this machine has other code than the study was planned with."""
    for code in codes:
        try:
            code.require_same()
        except OwnError as error:
            raise StudyError(f"the worker on {gethostname()}: {error}") from None


def distinct(codes: Iterable[Codes]) -> tuple[OwnCode, ...]:
    """Every file and package of several rows once."""
    return tuple(dict.fromkeys(code for some in codes for _, code in some))


def own_names(codes: Iterable[Codes]) -> tuple[str, ...]:
    """Names of everything that the code of some rows gives."""
    return tuple(dict.fromkeys(name for some in dict.fromkeys(codes) for name in Own(some).names))


def own_meanings(study: Study, names: Sequence[str]) -> dict[str, str]:
    """What is added to the meaning of parameters and responses, by name, that are of things of the
    user's own, which have these names; responses by formulas follow those that they are made of,
    those under traffic the vehicles and load models that drive."""
    found = {}
    driving = _driving(study)
    for parameter in study.parameters:
        used = [name for name in names if name in (parameter.values or ())]
        if used:
            found[parameter.name] = f"{OWN_MEANING}{', '.join(used)})"
    for response in study.responses:
        of = _named_in(response) | (driving if _under_traffic(response) else set())
        used = [name for name in names if name in of]
        made = [] if response.formula is None else response.formula.names
        if used:
            found[response.name] = f"{OWN_MEANING}{', '.join(used)})"
        elif after := [found[name] for name in made if name in found]:
            found[response.name] = after[0]
    return found


def _driving(study: Study) -> set[object]:
    """Names of vehicles and load models that [traffic] lists, in any row."""
    traffic = study.base.get("traffic")
    listed = traffic if isinstance(traffic, dict) else {}
    found: set[object] = {
        name for key in LISTED for name in listed.get(key) or () if isinstance(name, str)
    }
    for parameter in study.parameters:
        if any(key.startswith("traffic.") for key in parameter.keys):
            found |= set(parameter.values or ())
    return found


def _under_traffic(response: Response) -> bool:
    """Whether what a response reads in summary.json depends on the traffic."""
    way = response.way
    if not way or way[0] in STATIC:
        return False
    return way[0] != "probes" or "envelope" in way


def _named_in(response: Response) -> set[object]:
    """Names that a response asks for."""
    hand = () if response.hand is None else response.hand[:1]
    matched = [value for part in response.way if isinstance(part, tuple) for _, value in part]
    return {*hand, *(part for part in response.way if isinstance(part, str)), *matched}


def entries(codes: Iterable[OwnCode]) -> list[Mapping[str, str]]:
    """The files and packages for the study's record."""
    return [{"name": code.name, "sha256": code.digest, "mark": MARK} for code in codes]
