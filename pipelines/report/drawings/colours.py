"""Colours of report, explorer and scenes: one palette, told apart without colour as well.

Series differ in lightness as well as in hue, so that grey prints and eyes that do not tell red from
green keep them apart; ramps run evenly from light to dark. Lightness and steps are those of the
OKLab space (B. Ottosson, A perceptual color space for image processing, 2020; from memory).
"""

import numpy as np
from numpy.typing import ArrayLike

from plate.arrays import Floats

INK, PALE, SOFT = "#222222", "#8a8a8a", "#444444"
SLAB, RULE = "#f4f2ec", "#dddddd"
# Series in order, and their dashes in widths of the line.
SERIES = ("#12426e", "#d0730f", "#58aa9c", "#5169d7", "#2e5305", "#1c717e")
DASHES: tuple[tuple[float, ...], ...] = ((), (4, 1.6), (1.5, 1.2), (7, 1.5, 1.5, 1.5), (9, 2), ())
MARKS = ("s", "D", "^", "v", "P", "X")
# Traffic on a plan, what holds a slab, beams, the carriageway.
LOAD, HOLD, BEAM, BEAM_FILL, ROAD = "#7a1f5c", "#8c2d04", "#2b5f8a", "#cfe0ee", "#3f7d3a"

# Light to dark, one hue for each sign; labels in ink stay readable on the darkest.
LARGEST = ("#fbf8e6", "#cfe3d0", "#8cc0c4", "#4a94b6", "#2f6b9d")
SMALLEST = ("#fff6e0", "#f9dba8", "#eeb06e", "#d98345", "#b55a2c")
# Of scenes: one ramp for values of either sign or of none.
SCENE = ("#1b2b55", "#2f6b9d", "#4aa5a5", "#a9cf8e", "#fbf3b0")

_TO_CONES = np.array(
    [
        [0.4122214708, 0.5363325363, 0.0514459929],
        [0.2119034982, 0.6806995451, 0.1073969566],
        [0.0883024619, 0.2817188376, 0.6299787005],
    ]
)
_TO_LAB = np.array(
    [
        [0.2104542553, 0.7936177850, -0.0040720468],
        [1.9779984951, -2.4285922050, 0.4505937099],
        [0.0259040371, 0.7827717662, -0.8086757660],
    ]
)


def rgb(colour: str) -> Floats:
    """Red, green, blue (3,) from 0 to 1 of "#rrggbb"."""
    return np.array([int(colour[k : k + 2], 16) for k in (1, 3, 5)]) / 255.0


def oklab(colours: ArrayLike) -> Floats:
    """Lightness and two hues (..., 3) of red, green, blue (..., 3)."""
    c = np.asarray(colours, dtype=float)
    linear = np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)
    return np.asarray(np.cbrt(linear @ _TO_CONES.T) @ _TO_LAB.T)


def ramp(anchors: tuple[str, ...], count: int) -> list[str]:
    """So many colours "#rrggbb", evenly from the first anchor to the last."""
    lab = oklab([rgb(colour) for colour in anchors])
    at = np.linspace(0.0, 1.0, len(anchors))
    shares = np.linspace(0.0, 1.0, count)
    mixed = np.column_stack([np.interp(shares, at, lab[:, k]) for k in range(3)])
    linear = (mixed @ np.linalg.inv(_TO_LAB).T) ** 3 @ np.linalg.inv(_TO_CONES).T
    linear = np.clip(linear, 0.0, 1.0)
    shown = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    return ["#" + "".join(f"{v:02x}" for v in row) for row in np.rint(255 * shown).astype(int)]


def field_colours(extreme: str, count: int) -> list[str]:
    """Colours of so many bands from low to high: "max" from zero up, "min" up to zero, "both"
    about zero."""
    if extreme == "max":
        return ramp(LARGEST, count)
    if extreme == "min":
        return ramp(SMALLEST, count)[::-1]
    below = count // 2
    return ramp(SMALLEST, below)[::-1] + ramp(LARGEST, count - below)
