"""Fields of a run in VTU files: static cases and envelopes on the deck's mesh.

Coordinates are (x, -y, -z) so that common viewers, whose z points up, show the deck from above
with offsets growing to the right. Points on lines and steps are doubled: one for each side.
"""

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import meshio
import numpy as np
from numpy.typing import NDArray

from pipelines.envelopes.arrangements import ModelEnvelope
from pipelines.envelopes.single_vehicles import Envelopes
from pipelines.errors import JobError
from pipelines.model.responses import Response
from pipelines.units import RESULT_KEYS, RESULT_SCALE
from plate.results.fields import FieldPoints

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

UNITS = ("", *["_kNm_m"] * 3, *["_kN_m"] * 2)


def quads(points: FieldPoints) -> Ints:
    """The quadrilaterals between the points of every cell (n, 4) as numbers of field points."""
    n = points.order + 1
    local = np.arange(n * n).reshape(n, n)
    corners = [local[:-1, :-1], local[1:, :-1], local[1:, 1:], local[:-1, 1:]]
    return points.cells[:, np.stack([c.ravel() for c in corners], axis=1)].reshape(-1, 4)


def field_columns(
    cases: dict[str, Response],
    envelopes: Envelopes | None,
    models: Sequence[ModelEnvelope] = (),
) -> dict[str, Floats]:
    """Every field by its name (n_point,); w in mm, moments in kNm/m, shears in kN/m.

    For an envelope of single vehicles `<component>_max` also the number of the governing position
    and, as `<component>_max_with_<other>`, what coexists with it. Those of load models begin with
    the model's name.
    """
    data: dict[str, Floats] = {}
    for name, response in cases.items():
        for k, key in enumerate(RESULT_KEYS):
            data[f"{name} {key}{UNITS[k]}"] = response.fields[k, :, 0] * RESULT_SCALE[k]
    if envelopes is not None:
        fields = envelopes.fields
        for label, values, at, coexisting in (
            ("max", fields.extremes.maximum, fields.extremes.at_maximum, fields.with_maximum),
            ("min", fields.extremes.minimum, fields.extremes.at_minimum, fields.with_minimum),
        ):
            for k, key in enumerate(RESULT_KEYS):
                data[f"{key}_{label}{UNITS[k]}"] = values[k] * RESULT_SCALE[k]
                data[f"{key}_{label}_position"] = at[k].astype(float)
                for j, other in enumerate(RESULT_KEYS[1:], start=1):
                    if j != k:
                        name = f"{key}_{label}_with_{other}{UNITS[j]}"
                        data[name] = coexisting[k, j] * RESULT_SCALE[j]
    for model in models:
        extremes = model.fields.extremes
        for label, values in (("max", extremes.maximum), ("min", extremes.minimum)):
            for k, key in enumerate(RESULT_KEYS):
                name = f"{model.model.name} {key}_{label}{UNITS[k]}"
                data[name] = values[k] * RESULT_SCALE[k]
    return data


def write_fields(path: Path, points: FieldPoints, columns: dict[str, Floats]) -> None:
    """Write fields at the field points."""
    xy = points.xy
    coordinates = np.column_stack([xy[:, 0], -xy[:, 1], np.zeros(len(xy))])
    cells = [("quad", quads(points))]
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
