"""Collapse loads of rigid-plastic slabs with closed forms: certified bounds on both sides.

Nielsen's square yield condition, resistance m_p = 1 in every direction and on both faces, spans or
radius of 1. What a bound may lie off is the gap that was asked for; a value beyond both bounds by
more than their rounding is a fault, which the tests look at.
"""

import math
from collections.abc import Callable, Mapping
from importlib.util import find_spec

import numpy as np

from plate.geometry.curves import circle
from plate.geometry.elementary import rectangle_corners
from plate.geometry.outline import outline_plan
from plate.geometry.plan import grid_plan
from plate.meshing.cell_sizes import uniform as evenly
from plate.meshing.free_mesh import quad_mesh
from plate.meshing.grid import grid_mesh
from plate.plastic.collapse import Collapse, collapse
from plate.plastic.slab import Hold, PlasticBeam, PlasticLoad, PlasticSlab, PressedPatch, uniform
from plate.plastic.triangles import Triangles, split_in_four
from plate.verification.row import Row, compared

NIELSEN = "Nielsen"
FOX = "Fox"
HAND = "hinge lines and moments by hand"
# Where moments and mechanism of the closed form are in the spaces of both bounds.
EXACT = 1e-5
COARSE = 2e-2  # gap asked for of the clamped square

UNIFORM = PlasticLoad(pressure=1.0)
NAMES = "lower bound, upper bound"


def panel(a: float, b: float, size: float) -> Triangles:
    """Triangles of a rectangle with edges start, end, left and right."""
    return split_in_four(grid_mesh(grid_plan([0.0, a], [0.0, b]), order=1, size=size))


def all_edges(hold: Hold) -> dict[str, Hold]:
    """The same on all four edges."""
    return dict.fromkeys(("start", "end", "left", "right"), hold)


def isotropic(
    triangles: Triangles, holds: Mapping[str, Hold], *beams: PlasticBeam, m: float = 1.0
) -> PlasticSlab:
    """A slab of resistance m in every direction on both faces."""
    tensor = m * np.eye(2)
    return PlasticSlab(
        triangles=triangles, resistances=uniform(tensor, tensor), holds=holds, beams=beams
    )


def wheel(x: float, y: float, a: float, b: float, total: float = 1.0) -> PlasticLoad:
    """A patch of sides a and b about (x, y)."""
    corners = rectangle_corners([(x, y)], (a, b))[0]
    return PlasticLoad(patches=[PressedPatch(corners, total / (a * b))])


def _rows(case: str, source: str, value: float, found: Collapse, within: float) -> list[Row]:
    bounds = (found.lower, found.upper)
    return compared(case, source, NAMES, (value, value), bounds, within=within)


def plastic_square() -> list[Row]:
    simple = collapse(isotropic(panel(1.0, 1.0, 0.25), all_edges("simple")), UNIFORM)
    clamped = collapse(isotropic(panel(1.0, 1.0, 0.25), all_edges("clamped")), UNIFORM, gap=COARSE)
    return [
        *_rows("Collapse of a simple square: 24 m_p/L2", NIELSEN, 24.0, simple, EXACT),
        *_rows("Collapse of a clamped square: 42.851 m_p/L2", FOX, 42.851, clamped, COARSE),
    ]


def plastic_strips() -> list[Row]:
    rows = []
    ends: tuple[tuple[Hold, float], ...] = (("simple", 8.0), ("clamped", 16.0))
    for hold, value in ends:
        slab = isotropic(panel(1.0, 0.25, 0.25), {"start": hold, "end": hold})
        case = f"Collapse of a {hold} strip: {value:g} m_p/L2"
        rows += _rows(case, HAND, value, collapse(slab, UNIFORM), EXACT)
    for plastic in (0.1, 0.3):
        beams = [PlasticBeam(line=n, sagging=plastic, hogging=plastic) for n in ("left", "right")]
        slab = isotropic(panel(1.0, 0.5, 0.25), {"start": "simple", "end": "simple"}, *beams)
        # 8 (m_p b + 2 M_p) = q b L2
        value = 8.0 * (0.5 + 2.0 * plastic) / 0.5
        case = f"Collapse of a simple strip, width 0.5 L, edge beams {plastic:g} m_p L"
        rows += _rows(case, HAND, value, collapse(slab, UNIFORM), EXACT)
    return rows


def plastic_circle() -> list[Row]:
    """Above by the regular polygon within the circle, below by the one around it: strict bounds of
    the clamped circle, not of the simple one, whose polygons hold their corners down."""
    rows = []
    holds: tuple[tuple[Hold, float], ...] = (("simple", 6.0), ("clamped", 12.0))
    for hold, value in holds:
        plan = outline_plan(circle((0.0, 0.0), 2.0))
        mesh = split_in_four(quad_mesh(plan, order=2, field=evenly(0.2)))
        found = collapse(isotropic(mesh, {"E1": hold, "E2": hold}), UNIFORM, gap=COARSE)
        case = f"Collapse of a {hold} circle: {value:g} m_p/R2"
        around = math.cos(math.pi / int(mesh.on_rim.sum())) ** 2
        bounds = (found.lower * around, found.upper)
        within = COARSE + 1.0 - around  # the gap, and what the polygon within leaves out
        rows += compared(case, NIELSEN, NAMES, (value, value), bounds, within=within)
    return rows


def plastic_wheel() -> list[Row]:
    slab = isotropic(panel(1.0, 1.0, 0.2), all_edges("simple"))
    found = collapse(slab, wheel(0.5, 0.5, 0.2, 0.2))
    # total load 8 m_p/(1 - 2 c/3 L) of a patch of side c
    case = "Collapse of a simple square under a patch of 0.2 L: 9.2308 m_p"
    return _rows(case, NIELSEN, 8.0 / (1.0 - 0.4 / 3.0), found, EXACT)


CASES: tuple[Callable[[], list[Row]], ...] = (
    (plastic_square, plastic_strips, plastic_circle, plastic_wheel)
    if find_spec("clarabel") is not None
    else ()
)
