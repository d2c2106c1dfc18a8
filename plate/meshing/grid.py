"""Graded meshes of plans made of lines across and lines along.

Every line, edge and step of thickness is a mesh line. Along free edges and soft lines the first
row of cells is no wider than half the thickness, since moments and shears change there over a
length of t/sqrt(12 k) (Arnold and Falk 1990); towards corners whose moments are singular the
cells shrink geometrically.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from plate.arrays import Floats
from plate.geometry.plan import Plan
from plate.meshing.mesh import Mesh, subdivide

# Widths of neighbouring cells in a graded row grow at most by this factor.
GROWTH = 3.0
# Ratio and number of rows of a corner grading (Szabo and Babuska 1991: 0.15).
CORNER_RATIO = 0.15
CORNER_ROWS = 5


@dataclass(frozen=True)
class Grading:
    """Widths [m] of the first cell on either side of a mesh line; absent = no grading.

    across : by name of C line or edge start, end. along : by name of L line or edge left, right.
    """

    across: Mapping[str, float] = field(default_factory=dict)
    along: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Band:
    """A range low..high [m] of logical stations or offsets with cells no longer than size [m]."""

    low: float
    high: float
    size: float


@dataclass(frozen=True)
class Breaks:
    """Boundaries of cells in one direction.

    at : (n + 1,) logical stations or offsets [m]; lines : which of them each named line is.
    """

    at: Floats
    lines: dict[str, int]

    @property
    def count(self) -> int:
        """Cells in this direction."""
        return len(self.at) - 1


def graded_breaks(length: float, size: float, first: float, last: float) -> Floats:
    """Points (n + 1,) from 0 to `length` with cells no longer than `size`, the end cells no
    longer than `first` and `last`, growing by at most `GROWTH`."""
    head, tail = _ramp(first, size), _ramp(last, size)
    total = sum(head) + sum(tail)
    if total > length:
        # No room for both ramps: halve the interval and grade each half by itself.
        if len(head) and len(tail):
            half = 0.5 * length
            left = graded_breaks(half, size, first, size)
            right = half - graded_breaks(half, size, last, size)[::-1]
            return np.concatenate([left, half + right[1:]])
        ramp = head or tail
        kept: list[float] = []
        while ramp and sum(kept) + ramp[0] < length * (1.0 - 1e-9):
            kept.append(ramp.pop(0))
        rest = length - sum(kept)
        if kept and rest < 0.5 * kept[-1]:
            rest += kept.pop()
            kept_points = np.concatenate([[0.0], np.cumsum([*kept, 0.5 * rest, 0.5 * rest])])
        else:
            kept_points = np.concatenate([[0.0], np.cumsum([*kept, rest])])
        return kept_points if head else length - kept_points[::-1]
    rest = length - total
    n = max(int(np.ceil(rest / size - 1e-9)), 0)
    ramp = max(head, tail, key=sum)
    if n == 1 and ramp and rest < ramp[-1] / GROWTH:
        # No sliver beside the widest cell of a ramp: both share their width.
        rest, n = rest + ramp.pop(), 2
    middle = [rest / n] * n if n else []
    widths = np.array(head + middle + tail[::-1])
    if not n:
        widths *= length / widths.sum()
    return np.concatenate([[0.0], np.cumsum(widths[:-1]), [length]])


def _ramp(first: float, size: float) -> list[float]:
    """Cell widths growing from `first` up to `size`, which is not included: by `GROWTH`, and where
    they are narrower than any layer, towards a corner, by the ratio of its rows."""
    finest = size * CORNER_RATIO**2
    widths: list[float] = []
    while first < size * (1.0 - 1e-9):
        widths.append(first)
        first = first / CORNER_RATIO if first < finest * (1.0 - 1e-9) else GROWTH * first
    return widths


def corner_width(size: float) -> float:
    """First cell width [m] of a corner grading from cells of the given size [m]."""
    return float(size * CORNER_RATIO**CORNER_ROWS)


def grid_mesh(
    plan: Plan,
    *,
    order: int,
    size: float,
    grading: Grading | None = None,
    extra_u: Sequence[float] = (),
    extra_y: Sequence[float] = (),
    bands_u: Sequence[Band] = (),
    bands_y: Sequence[Band] = (),
) -> Mesh:
    """Mesh of order p >= 1 of a plan of lines across and along; the rest as in `grid_breaks`."""
    across, along = grid_breaks(
        plan,
        size=size,
        grading=grading,
        extra_u=extra_u,
        extra_y=extra_y,
        bands_u=bands_u,
        bands_y=bands_y,
    )
    u_nodes, v_nodes = subdivide(across.at, order), subdivide(along.at, order)
    # Offsets of each v between its neighbouring lines, which taper linearly along u.
    offsets = plan.line_offsets(np.array(plan.stations[0]))
    fixed = np.unique(offsets)
    moving = plan.line_offsets(u_nodes)[:, np.unique(offsets, return_index=True)[1]]
    k = np.clip(np.searchsorted(fixed, v_nodes, side="right") - 1, 0, len(fixed) - 2)
    share = (v_nodes - fixed[k]) / (fixed[k + 1] - fixed[k])
    y = moving[:, k] * (1.0 - share) + moving[:, k + 1] * share
    points = plan.at(u_nodes[:, None], y)

    n_u, n_v = across.count, along.count
    number = np.arange(len(u_nodes) * len(v_nodes)).reshape(len(u_nodes), len(v_nodes))
    i = order * np.arange(n_u)[:, None, None, None] + np.arange(order + 1)[:, None]
    j = order * np.arange(n_v)[:, None, None] + np.arange(order + 1)
    cells = number[i, j].reshape(n_u * n_v, -1)

    lines: dict[str, NDArray[np.int64]] = {}
    for name, k_u in across.lines.items():
        full = name in ("start", "end")
        ends = (0, n_v) if full else (along.lines["L1"], along.lines[f"L{len(plan.offsets)}"])
        column = number[order * k_u]
        lines[name] = _edges(column, order, *ends)
        lines[f"{name}:full"] = _edges(column, order, 0, n_v)
    for name, k_v in along.lines.items():
        full = name in ("left", "right")
        last_c = f"C{len(plan.stations)}"
        ends = (0, n_u) if full else (across.lines["C1"], across.lines[last_c])
        row = number[:, order * k_v]
        lines[name] = _edges(row, order, *ends)
        lines[f"{name}:full"] = _edges(row, order, 0, n_u)
    return Mesh(
        order=order, alignment=plan.alignment, plan=points.reshape(-1, 2), cells=cells, lines=lines
    )


def grid_breaks(
    plan: Plan,
    *,
    size: float,
    grading: Grading | None = None,
    extra_u: Sequence[float] = (),
    extra_y: Sequence[float] = (),
    bands_u: Sequence[Band] = (),
    bands_y: Sequence[Band] = (),
) -> tuple[Breaks, Breaks]:
    """Boundaries of the cells along x, at the lines across, and along y, at the lines along.

    Parameters
    ----------
    size : largest cell side in plan [m].
    grading : first cell widths at lines and edges.
    extra_u : further mesh lines across, as logical stations [m].
    extra_y : further mesh lines along, as offsets [m]; only where the plan does not taper.
    bands_u, bands_y : ranges of smaller cells across and along.
    """
    grading = grading or Grading()
    low, high = plan.u_range
    across = {f"C{i + 1}": s for i, s in enumerate(plan.stations)} | {"start": low, "end": high}
    ends_u = [x for band in bands_u for x in (band.low, band.high)]
    inner_u = [x for x in [*extra_u, *ends_u] if low < x < high]
    u, u_lines = _merge(across, grading.across, inner_u)
    offsets = plan.line_offsets(np.array(plan.stations[0]))
    names = ["left", *(f"L{j + 1}" for j in range(len(plan.offsets))), "right"]
    along = dict(zip(names, offsets.tolist(), strict=True))
    ends_y = [y for band in bands_y for y in (band.low, band.high)]
    inner_y = [y for y in [*extra_y, *ends_y] if offsets[0] < y < offsets[-1]]
    v, v_lines = _merge(along, grading.along, inner_y)

    stretch = float(plan.alignment.stretch(plan.outline).max())
    u_breaks, u_at = _breaks(u, size / stretch, bands_u)
    widest = plan.line_offsets(np.array([low, high]))
    scale = float(max(1.0, (np.diff(widest, axis=-1).max(axis=0).sum()) / np.ptp(offsets)))
    # On a skew plan a cell's side along the C lines is longer than its step of offset.
    v_breaks, v_at = _breaks(v, size * float(np.cos(plan.skew)) / scale, bands_y)
    return (
        Breaks(u_breaks, {name: u_at[k] for name, k in u_lines.items()}),
        Breaks(v_breaks, {name: v_at[k] for name, k in v_lines.items()}),
    )


def _merge(
    named: Mapping[str, float], first: Mapping[str, float], extra: Sequence[float]
) -> tuple[list[tuple[float, float]], dict[str, int]]:
    """Sorted distinct mesh lines as (coordinate, first cell width), and the index of each name."""
    values = np.array(sorted([*named.values(), *extra]))
    tolerance = 1e-9 * max(np.ptp(values), 1e-300)
    keep = np.concatenate([[True], np.diff(values) > tolerance])
    values = values[keep]
    index = {n: int(np.abs(values - x).argmin()) for n, x in named.items()}
    widths = np.full(len(values), np.inf)
    for name, width in first.items():
        widths[index[name]] = min(widths[index[name]], width)
    return list(zip(values.tolist(), widths.tolist(), strict=True)), index


def _breaks(
    lines: list[tuple[float, float]], size: float, bands: Sequence[Band]
) -> tuple[Floats, list[int]]:
    """Cell boundaries through all mesh lines, and the boundary index of each mesh line."""
    coordinate = np.array([x for x, _ in lines])
    middle = 0.5 * (coordinate[:-1] + coordinate[1:])
    sizes = np.full(len(middle), size)
    for band in bands:
        inside = (middle > band.low) & (middle < band.high)
        sizes[inside] = np.minimum(sizes[inside], band.size)
    # Next to a fine interval a coarse one starts with cells of the fine size.
    beside = np.concatenate([[np.inf], sizes, [np.inf]])
    breaks, at = [coordinate[:1]], [0]
    for k, own in enumerate(sizes):
        a, b = coordinate[k], coordinate[k + 1]
        first = min(lines[k][1], own, beside[k])
        last = min(lines[k + 1][1], own, beside[k + 2])
        piece = a + graded_breaks(b - a, own, first, last)
        piece[-1] = b
        breaks.append(piece[1:])
        at.append(at[-1] + len(piece) - 1)
    return np.concatenate(breaks), at


def _edges(nodes: NDArray[np.int64], order: int, first: int, last: int) -> NDArray[np.int64]:
    """Edges (n, p+1) between cell boundaries `first` and `last` of a row of nodes."""
    starts = order * np.arange(first, last)[:, None]
    return np.asarray(nodes[starts + np.arange(order + 1)])
