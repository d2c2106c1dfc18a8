"""The files that a deck is read from."""

import tomllib
from contextlib import suppress
from pathlib import Path


def files_of(path: Path) -> tuple[Path, ...]:
    """A deck file and the files that it names, as far as it can be read: a drawing of the plan, the
    readings of a survey and of load tests, factors, code of the user's own."""
    tables = {}
    with suppress(OSError, ValueError):
        tables = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    found = [path]
    if isinstance(tables.get("factors"), str):
        tables["factors"] = {"file": tables["factors"]}
    keys = (("plan", "dxf"), ("survey", "file"), ("factors", "file"), ("loadtest", "file"))
    for table, key in keys:
        there = tables.get(table)
        for one in there if isinstance(there, list) else [there]:
            name = one.get(key) if isinstance(one, dict) else None
            if isinstance(name, str) and "\0" not in name:
                found.append(path.parent / name)
    own = tables.get("own")
    for name in own.values() if isinstance(own, dict) else ():
        if isinstance(name, str) and name.endswith(".py") and "\0" not in name:
            found.append(path.parent / name)
    return tuple(dict.fromkeys(found))
