"""Fields and summary of a run, read back from its folder."""

import json
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import meshio

from pipelines.errors import JobError
from pipelines.outputs import read_whole

FILES = ("fields.vtu", "summary.json")


def read_results(folder: Path) -> tuple[meshio.Mesh, dict[str, Any]]:
    """Fields and summary in a folder of a run.

    Raises JobError where they are not there, not of one run, or damaged.
    """
    found = read_whole(folder, "results", FILES)
    path = folder / FILES[0]
    try:
        with TemporaryDirectory() as scratch:  # what was looked at is read, whatever is written now
            copy = Path(scratch) / path.name
            copy.write_bytes(found[path.name])
            mesh = meshio.vtu.read(copy)
        path = folder / FILES[1]
        summary = json.loads(found[path.name])
        title = summary["title"]
        mesh.cells_dict["quad"]
    except OSError:
        raise
    except Exception as error:  # damaged files fail in as many ways as their readers have lines
        reason = " ".join(f"{type(error).__name__} {error}".split())
        raise JobError(f"{path}: is damaged, or not of `deckslab run` ({reason})") from None
    return mesh, summary | {"title": str(title)}
