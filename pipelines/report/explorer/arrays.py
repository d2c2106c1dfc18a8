"""Arrays as a page holds them: whole numbers, compressed, in base 64."""

import zlib
from base64 import b64encode
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[Any]


def pack(values: Array) -> str:
    """An array as the page holds it: differences of neighbours, all low bytes before the higher
    ones, compressed, in base 64.

    Differences wrap around in the array's own width and so come back exactly.
    """
    flat = values.ravel()
    steps = np.diff(flat, prepend=flat.dtype.type(0)).astype(flat.dtype.newbyteorder("<"))
    planes = np.ascontiguousarray(steps.view(np.uint8).reshape(-1, flat.itemsize).T)
    # The last twentieth of the size would take seven times as long.
    squeezed = zlib.compressobj(6, zlib.DEFLATED, -15)
    data = squeezed.compress(planes.tobytes())
    return b64encode(data + squeezed.flush()).decode()
