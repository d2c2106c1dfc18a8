"""Fields of a run in VTU files: static cases and envelopes on the deck's mesh.

Coordinates are (x, -y, -z) so that common viewers, whose z points up, show the deck from above
with offsets growing to the right. Points on lines and steps are doubled: one for each side.
"""

import json
from html import escape
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any

import numpy as np

from pipelines.errors import JobError
from pipelines.system.outputs import read_whole
from plate.arrays import Floats
from plate.results.fields import FieldPoints

if TYPE_CHECKING:
    import meshio

FILES = ("fields.vtu", "summary.json")


def write_fields(path: Path, points: FieldPoints, columns: dict[str, Floats]) -> None:
    """Write fields at the field points; columns : of any name, values by point."""
    import meshio  # here, where it is done: in a process beside the run as well as in it

    xy = points.xy
    coordinates = np.column_stack([xy[:, 0], -xy[:, 1], np.zeros(len(xy))])
    cells = [("quad", points.quads)]
    # The writer puts names into the file's attributes as they are.
    data = {escape(name): values for name, values in columns.items()}
    meshio.write(path, meshio.Mesh(coordinates, cells, point_data=data), file_format="vtu")


def read_results(folder: Path) -> tuple["meshio.Mesh", dict[str, Any]]:
    """Fields and summary in a folder of a run.

    Raises JobError where they are not there, not of one run, or damaged.
    """
    import meshio

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
