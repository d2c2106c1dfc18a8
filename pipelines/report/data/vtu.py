"""Values at the field points as an unstructured grid in a VTU file.

Coordinates are (x, -y, -z) so that common viewers, whose z points up, show the deck from above
with offsets growing to the right. Points on lines and steps are doubled: one for each side.
"""

import sys
import zlib
from base64 import b64encode
from collections.abc import Iterator, Mapping
from pathlib import Path
from xml.sax.saxutils import quoteattr

import numpy as np
from numpy.typing import NDArray

from plate.arrays import Floats
from plate.results.fields import FieldPoints

# What the format calls a quadrilateral, and the types of arrays.
QUAD = 9
TYPES = {"f8": "Float64", "i8": "Int64", "u1": "UInt8"}


def write_vtu(path: Path, points: FieldPoints, columns: Mapping[str, Floats]) -> None:
    """Write the quadrilaterals between the field points and values there (n_point,), of any
    name."""
    with path.open("w", encoding="utf-8", newline="\n") as stream:
        stream.writelines(f"{line}\n" for line in _lines(points, columns))


def _lines(points: FieldPoints, columns: Mapping[str, Floats]) -> Iterator[str]:
    xy, quads = points.xy, points.quads
    yield '<?xml version="1.0" encoding="utf-8"?>'
    yield (
        '<VTKFile type="UnstructuredGrid" version="1.0" header_type="UInt64" '
        f'byte_order="{sys.byteorder.capitalize()}Endian" compressor="vtkZLibDataCompressor">'
    )
    yield (
        f'<UnstructuredGrid><Piece NumberOfPoints="{len(xy)}" NumberOfCells="{len(quads)}"><Points>'
    )
    yield _array("Points", np.column_stack([xy[:, 0], -xy[:, 1], np.zeros(len(xy))]))
    yield "</Points><Cells>"
    yield _array("connectivity", quads.ravel())
    yield _array("offsets", quads.shape[1] * np.arange(1, len(quads) + 1))
    yield _array("types", np.full(len(quads), QUAD, dtype=np.uint8))
    yield "</Cells><PointData>"
    for name, values in columns.items():
        yield _array(name, values)
    yield "</PointData></Piece></UnstructuredGrid></VTKFile>"


def _array(name: str, values: NDArray[np.generic]) -> str:
    """An array as one compressed block: how many, its size, that of the last, that compressed."""
    data = values.tobytes()
    packed = zlib.compress(data)
    head = np.array([1, len(data), len(data), len(packed)], dtype=np.uint64).tobytes()
    size = f' NumberOfComponents="{values.shape[1]}"' if values.ndim > 1 else ""
    return (
        f'<DataArray type="{TYPES[values.dtype.str[1:]]}" Name={quoteattr(name)}{size} '
        f'format="binary">{b64encode(head).decode()}{b64encode(packed).decode()}</DataArray>'
    )
