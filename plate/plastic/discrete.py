"""A slab and its loads on triangles, in numbers near one.

Units are the square root of the slab's area, the largest resistance of bars per metre, and of the
load that is multiplied a tenth of its total: interior-point solvers told a thousandth of the true
multiplier, as solved, where units were newtons and millimetres.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray

from plate.arrays import Floats, Ints
from plate.errors import CollapseError, LoadError, SupportError
from plate.plastic.cutting import Cutter
from plate.plastic.slab import PlasticBeam, PlasticLoad, PlasticSlab, floored
from plate.plastic.triangles import Triangles

# Least resistance in any direction as a share of the largest, of a beam of its larger: without any
# the yield condition has no interior, and nothing can be certified.
FLOOR = 1e-3
# Total of the load that is multiplied, in units of resistance per metre.
TOTAL = 10.0
# What of a patch on the slab is no area [m2].
NOTHING = 1e-12
# Points of a beam are this near to a straight line, as a share of its length.
STRAIGHT = 1e-6


@dataclass(frozen=True, kw_only=True)
class BeamRun:
    """Edges (k,) of a beam without gaps and their points (k + 1,) in order; whether its ends are
    built in; plastic moments."""

    edges: Ints
    points: Ints
    built_in: tuple[bool, bool]
    sagging: float
    hogging: float


@dataclass(frozen=True, kw_only=True)
class Discrete:
    """Without units, but for the last three.

    positive, negative : tensors (m, 2, 2) of each triangle. held, turnless : edges (e,) that do
    not deflect, that do not turn about themselves. held_points : points (n,) that do not deflect.
    live, dead : pressures (m,) that are multiplied, and not. live_lines, dead_lines : loads (e,)
    per length of edges. beams. length [m], moment [N m/m] : units. factor : multiplier of the load
    as given per multiplier here. floor [N m/m] : least resistance where bars resist less, else 0.
    """

    triangles: Triangles
    positive: Floats
    negative: Floats
    held: NDArray[np.bool_]
    turnless: NDArray[np.bool_]
    held_points: NDArray[np.bool_]
    live: Floats
    dead: Floats
    live_lines: Floats
    dead_lines: Floats
    beams: tuple[BeamRun, ...]
    length: float
    moment: float
    factor: float
    floor: float

    @cached_property
    def edge_tensors(self) -> tuple[Floats, Floats]:
        """Resistances (e,) to a hinge along each edge, sagging and hogging: of two different
        triangles the lesser."""
        mesh = self.triangles
        least = []
        for tensors in (self.positive, self.negative):
            across = np.einsum("mki,mij,mkj->mk", mesh.outward, tensors, mesh.outward)
            found = np.full(len(mesh.edges), np.inf)
            np.minimum.at(found, mesh.cell_edges.ravel(), across.ravel())
            least.append(found)
        return least[0], least[1]


def with_loads(slab: PlasticSlab, *loads: PlasticLoad) -> Triangles:
    """The slab's triangles with its held points and the edges of all patches cut in.

    Raises
    ------
    LoadError
        A patch wholly off the slab.
    GeometryError
        A held point off the slab.
    """
    cutter = Cutter(slab.triangles)
    for x, y in slab.points:
        cutter.point((x, y))
    patches = [patch for load in loads for patch in load.patches]
    if patches:
        for k, patch in enumerate(patches):
            on_slab = shapely.Polygon(patch.corners).intersection(slab.triangles.region)
            parts = [part for part in shapely.get_parts(on_slab) if part.area > NOTHING]
            if not parts:
                raise LoadError("a patch lies off the slab")
            for part in parts:
                for ring in (part.exterior, *part.interiors):
                    cutter.polygon(shapely.get_coordinates(ring)[:-1], f"patch {k + 1}")
    return cutter.triangles()


def discrete(slab: PlasticSlab, mesh: Triangles, live: PlasticLoad, dead: PlasticLoad) -> Discrete:
    """The slab on triangles into which patches were cut.

    Raises
    ------
    CollapseError
        No bars, or no load to be multiplied.
    SupportError
        A beam whose line is not straight.
    """
    positive, negative = slab.resistances(mesh.corners)
    moment = float(np.abs(np.linalg.eigvalsh(np.stack([positive, negative]))).max())
    if not 0.0 < moment < np.inf:
        raise CollapseError("there are no bars")
    length = float(np.sqrt(mesh.areas.sum()))
    plus, low_plus = floored(positive, FLOOR * moment)
    minus, low_minus = floored(negative, FLOOR * moment)
    held, turnless = (np.zeros(len(mesh.edges), dtype=bool) for _ in range(2))
    for name, hold in slab.holds.items():
        edges = mesh.edges_of(name)
        held[edges] |= hold != "guided"
        turnless[edges] |= hold != "simple"
    held_points = np.zeros(len(mesh.points), dtype=bool)
    held_points[mesh.edges[held]] = True
    for place in slab.points:
        held_points[np.argmin(np.linalg.norm(mesh.points - place, axis=1))] = True
    pressures, on_lines = zip(*(_pressures(mesh, load) for load in (live, dead)), strict=True)
    total = float(np.abs(pressures[0]) @ mesh.areas + np.abs(on_lines[0]) @ mesh.lengths)
    if not 0.0 < total < np.inf:
        raise CollapseError("there is no load to be multiplied")
    factor = TOTAL * moment / total
    return Discrete(
        triangles=mesh.scaled(length),
        positive=plus / moment,
        negative=minus / moment,
        held=held,
        turnless=turnless,
        held_points=held_points,
        live=pressures[0] * factor * length**2 / moment,
        dead=pressures[1] * length**2 / moment,
        live_lines=on_lines[0] * factor * length / moment,
        dead_lines=on_lines[1] * length / moment,
        beams=tuple(run for beam in slab.beams for run in _runs(mesh, beam, moment * length)),
        length=length,
        moment=moment,
        factor=factor,
        floor=FLOOR * moment if low_plus or low_minus else 0.0,
    )


def _pressures(mesh: Triangles, load: PlasticLoad) -> tuple[Floats, Floats]:
    pressure = np.full(len(mesh.cells), load.pressure)
    for patch in load.patches:
        polygon = shapely.Polygon(patch.corners)
        inside = shapely.contains_xy(polygon, mesh.centroids)
        # all of its load on what its cut sides, moved a little here and there, enclose
        area = float(polygon.intersection(mesh.region).area)
        pressure[inside] += patch.pressure * area / max(float(mesh.areas[inside].sum()), NOTHING)
    if load.spread:
        cells = shapely.polygons(mesh.corners)
        for patch in load.spread:
            covered = shapely.area(shapely.intersection(cells, shapely.Polygon(patch.corners)))
            pressure += patch.pressure * covered / mesh.areas
    lines = np.zeros(len(mesh.edges))
    for name, value in load.lines.items():
        lines[mesh.edges_of(name)] += value
    return pressure, lines


def _runs(mesh: Triangles, beam: PlasticBeam, unit: float) -> list[BeamRun]:
    """A beam's edges in order, without those that lie in openings."""
    edges = mesh.edges_of(beam.line)
    ends = mesh.points[mesh.edges[edges]]
    every = ends.reshape(-1, 2)
    far = every[np.argmax(np.linalg.norm(every - every[0], axis=1))]
    other = every[np.argmax(np.linalg.norm(every - far, axis=1))]
    first, last = sorted([tuple(far.tolist()), tuple(other.tolist())])
    along = np.subtract(last, first)
    length = float(np.linalg.norm(along))
    off = (every - first) @ np.array([-along[1], along[0]]) / length
    if np.abs(off).max() > STRAIGHT * length:
        raise SupportError(f"the beam on {beam.line} is not straight")
    place = (ends - first) @ along / length
    order = np.argsort(place.mean(axis=1))
    edges, place = edges[order], place[order]
    pairs = np.where(
        (place[:, 0] < place[:, 1])[:, None], mesh.edges[edges], mesh.edges[edges][:, ::-1]
    )
    breaks = np.flatnonzero(pairs[1:, 0] != pairs[:-1, 1]) + 1
    least = FLOOR * max(beam.sagging, beam.hogging)
    runs = list(zip(np.split(edges, breaks), np.split(pairs, breaks), strict=True))
    return [
        BeamRun(
            edges=own,
            points=np.append(pair[:, 0], pair[-1, 1]),
            built_in=(beam.built_in[0] and k == 0, beam.built_in[1] and k == len(runs) - 1),
            sagging=max(beam.sagging, least) / unit,
            hogging=max(beam.hogging, least) / unit,
        )
        for k, (own, pair) in enumerate(runs)
    ]
