"""Fields of a run in VTU files: static cases and envelopes on the deck's mesh.

Coordinates are (x, -y, -z) so that common viewers, whose z points up, show the deck from above
with offsets growing to the right. Points on lines and steps are doubled: one for each side.
"""

import json
from pathlib import Path
from typing import Any

import meshio
import numpy as np
from numpy.typing import NDArray

from pipelines.errors import JobError
from plate.results.fields import FieldPoints

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def write_fields(path: Path, points: FieldPoints, columns: dict[str, Floats]) -> None:
    """Write fields at the field points."""
    xy = points.xy
    coordinates = np.column_stack([xy[:, 0], -xy[:, 1], np.zeros(len(xy))])
    cells = [("quad", points.quads)]
    meshio.write(path, meshio.Mesh(coordinates, cells, point_data=columns), file_format="vtu")


def read_results(folder: Path) -> tuple[meshio.Mesh, dict[str, Any]]:
    """Fields and summary in a folder of a run.

    Raises JobError where they are not there, or damaged.
    """
    path = folder / "fields.vtu"
    if not path.is_file():
        raise JobError(f"{folder}: has no fields.vtu; give a folder that `deckslab run` wrote")
    try:
        mesh = meshio.vtu.read(path)
        path = folder / "summary.json"
        summary = json.loads(path.read_text(encoding="utf-8"))
        title = summary["title"]
        mesh.cells_dict["quad"]
    except OSError:
        raise
    except Exception as error:  # damaged files fail in as many ways as their readers have lines
        reason = " ".join(f"{type(error).__name__} {error}".split())
        raise JobError(f"{path}: is damaged, or not of `deckslab run` ({reason})") from None
    return mesh, summary | {"title": str(title)}
