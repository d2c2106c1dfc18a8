"""The finished rows of a study on disk: one file each, written whole, named by the row's key."""

import json
from dataclasses import fields
from hashlib import sha256
from math import isfinite
from pathlib import Path
from typing import Any

from pipelines.study.plan import Row
from pipelines.study.task import Finished
from pipelines.system.files import write_bytes, write_text

DIGEST = "sha256_of_the_rest"


class RowFiles:
    """Row files in a folder, which is made if it is new.

    A file that is damaged, as its digest tells, or is not a row of this key, counts as none.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        folder.mkdir(parents=True, exist_ok=True)

    def path(self, key: str) -> Path:
        return self.folder / f"{key}.json"

    def write(self, row: Row, finished: Finished) -> None:
        """Keep a finished row with the deck, and the files beside it, that it was computed from.

        Raises OSError where the disk is full; the folder is then as it was before.
        """
        for name, data in row.files:
            if not (self.folder / name).exists():
                write_bytes(self.folder / name, data)
        # JSON has no infinity, which is the deck's own word for a straight alignment.
        values = {k: v if _in_json(v) else str(v) for k, v in row.values.items()}
        entry = finished.entry() | {"parameters": values, "deck": row.deck}
        entry |= {DIGEST: _digest(entry)}
        write_text(self.path(finished.key), json.dumps(entry, indent=1, allow_nan=False) + "\n")

    def read(self, key: str) -> Finished | None:
        """The finished row, None where it is not there."""
        try:
            entry = json.loads(self.path(key).read_text(encoding="utf-8"))
            told = entry.pop(DIGEST)
            found = Finished(**{field.name: entry[field.name] for field in fields(Finished)})
        except (OSError, ValueError, LookupError, TypeError, AttributeError, RecursionError):
            return None
        return found if found.key == key and told == _digest(entry) else None


def _digest(entry: dict[str, Any]) -> str:
    """SHA-256 of a row's entry, however it is set in lines."""
    return sha256(json.dumps(entry, sort_keys=True).encode()).hexdigest()


def _in_json(value: object) -> bool:
    return not isinstance(value, float) or isfinite(value)
