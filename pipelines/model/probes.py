"""Named results as rows on the displacements: points, segment means, moments along beams."""

import math
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from pipelines.deck.deck import Deck, Probe
from pipelines.units import RESULT_KEYS, RESULT_SCALE
from plate.conventions import RESULTS
from plate.elements.beam import bending_operator, edge_frame, shear_operator, torsion_operator
from plate.elements.membrane import axial_operator, force_operators, membrane_dofs
from plate.elements.plate import cell_dofs
from plate.interpolation import gauss, lagrange, lobatto
from plate.loads.loads import segment_points
from plate.model.model import PlateModel, plain_name
from plate.model.singular_points import SingularPlace, singular_places
from plate.model.supports import BeamLine
from plate.results.fields import FieldPoints, mean_along, point_operators

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
T = TypeVar("T", np.float64, np.int64)


@dataclass(frozen=True)
class ProbeRows:
    """Rows (6 n, n_dof) of all probes' results in the order of `names`.

    A probe where the slab is divided (a support, a beam, a step of thickness) has rows for the
    mean of both sides, and rows `name/before` and `name/after`.
    widths : probe name -> width [m] of the mean that stands for a point value, for probes at a
    singular place.
    """

    names: tuple[str, ...]
    rows: sparse.csr_array
    widths: dict[str, float]

    def values(self, results: NDArray[T]) -> dict[str, NDArray[T]]:
        """Results (6 n, ...) as name -> (6, ...)."""
        split = results.reshape(len(self.names), len(RESULTS), *results.shape[1:])
        return dict(zip(self.names, split, strict=True))


def probe_rows(deck: Deck, model: PlateModel, points: FieldPoints) -> ProbeRows:
    """Rows of the deck's probes."""
    names: list[str] = []
    rows: list[sparse.csr_array] = []
    widths: dict[str, float] = {}
    places = singular_places(model) if deck.probes else ()
    for probe in deck.probes:
        path = _averaged(deck, probe, places)
        if path is not None:
            widths[probe.name] = float(path[1, 1] - path[0, 1])
            found = [(probe.name, mean_along(model, path))]
        else:
            found = _rows(probe, model, points)
        for name, row in found:
            names.append(name)
            rows.append(row)
    empty = sparse.csr_array((0, model.n_dof))
    stacked = sparse.csr_array(sparse.vstack([*rows, empty], format="csr"))
    return ProbeRows(tuple(names), stacked, widths)


def _averaged(deck: Deck, probe: Probe, places: tuple[SingularPlace, ...]) -> Floats | None:
    """Path (2, 2) across the deck, two thicknesses long and on the slab, over which the results
    of a probe at a singular place are averaged; None where point values are finite."""
    t = deck.slab.thickness
    if probe.at is None or not any(math.dist(probe.at, place.at) < t for place in places):
        return None
    centre = np.array(probe.at)
    for shift in (0.0, -1.0, 1.0):
        path = centre + np.array([[0.0, (shift - 1.0) * t], [0.0, (shift + 1.0) * t]])
        if deck.plan.contains(path).all():
            return np.asarray(path)
    return None


def _rows(
    probe: Probe, model: PlateModel, points: FieldPoints
) -> list[tuple[str, sparse.csr_array]]:
    if probe.at is None:
        return [(probe.name, mean_along(model, np.array([probe.start, probe.end])))]
    [(cells, xi)] = model.mesh.locate(np.array([probe.at]))
    groups = _sides(model, points, cells)
    means = []
    for group in groups:
        rows = [point_operators(model, cells[[k]], xi[[k]]) for k in group]
        means.append(sparse.csr_array(sum(rows[1:], rows[0]) / len(rows)))
    if len(means) == 1:
        return [(probe.name, means[0])]
    towards = np.array([_direction(model, cells[group], probe.at) for group in groups])
    spread = np.ptp(towards, axis=0)
    along = 0 if spread[0] >= spread[1] - 1e-9 else 1
    first = towards[:, along] < towards[:, along].mean()
    before = _mean([m for m, f in zip(means, first, strict=True) if f])
    after = _mean([m for m, f in zip(means, first, strict=True) if not f])
    both = _mean([before, after])
    return [
        (probe.name, both),
        (f"{probe.name}/before", before),
        (f"{probe.name}/after", after),
    ]


def _mean(rows: list[sparse.csr_array]) -> sparse.csr_array:
    return sparse.csr_array(sum(rows[1:], rows[0]) / len(rows))


def _direction(model: PlateModel, cells: Ints, at: tuple[float, float]) -> Floats:
    """Mean direction (2,) from a point to the cells around it, in cell sizes."""
    corners = model.mesh.corners[cells]
    step = (corners.mean(axis=1) - np.array(at)) / np.ptp(corners, axis=1)
    return np.asarray(step.mean(axis=0))


def _sides(model: PlateModel, points: FieldPoints, cells: Ints) -> list[list[int]]:
    """Groups of indices into `cells` that no support, beam or step of thickness divides."""
    group = list(range(len(cells)))
    for i in range(len(cells)):
        for k in range(i):
            shared = np.intersect1d(points.cells[cells[i]], points.cells[cells[k]])
            if len(shared) > points.order:  # a whole side
                old, new = group[i], group[k]
                group = [new if g == old else g for g in group]
    return [[i for i, g in enumerate(group) if g == label] for label in dict.fromkeys(group)]


def membrane_rows(deck: Deck, model: PlateModel) -> sparse.csr_array:
    """Rows (3 n_probe, n_dof) of n_x, n_y, n_xy [N/m], tension positive, at every probe.

    At a point the mean of the cells that meet; along a segment the arc-length mean. Empty where
    no beam is connected to the slab's membrane.
    """
    rows = [sparse.csr_array((0, model.n_dof))]
    if model.connected:
        for probe in deck.probes:
            if probe.at is not None:
                [(cells, xi)] = model.mesh.locate(np.array([probe.at]))
                rows.append(_membrane_mean(model, cells, xi, np.ones(len(cells))))
            else:
                path = np.array([probe.start, probe.end])
                [(cells, xi, weights)] = segment_points(model.mesh, path)
                rows.append(_membrane_mean(model, cells, xi, weights))
    return sparse.csr_array(sparse.vstack(rows, format="csr"))


def _membrane_mean(model: PlateModel, cells: Ints, xi: Floats, weights: Floats) -> sparse.csr_array:
    """Rows (3, n_dof) of the weighted mean of the membrane forces at points of cells."""
    local = force_operators(model.mesh, model.section, cells, xi[:, None, :])[:, 0]
    local *= (weights / weights.sum())[:, None, None]
    dofs = membrane_dofs(model.mesh.n_nodes, model.mesh.cells[cells])
    rows = np.broadcast_to(np.arange(3)[:, None], local.shape)
    columns = np.broadcast_to(dofs[:, None, :], local.shape)
    index = (rows.ravel(), columns.ravel())
    return sparse.coo_array((local.ravel(), index), shape=(3, model.n_dof)).tocsr()


@dataclass(frozen=True)
class BeamRows:
    """Rows of bending moments (sagging positive) [N m] and shears [N] along every beam.

    names : of the beams; at : distance of each sample from the line's first end [m], per beam.
    moments, shears : rows (n_sample, n_dof), beam after beam.
    """

    names: tuple[str, ...]
    at: tuple[Floats, ...]
    moments: sparse.csr_array
    shears: sparse.csr_array

    def split(self, values: NDArray[T]) -> dict[str, NDArray[T]]:
        """Values (n_sample, ...) as beam name -> (its samples, ...)."""
        starts = np.cumsum([0, *(len(at) for at in self.at)])
        return {n: values[a:b] for n, a, b in zip(self.names, starts, starts[1:], strict=False)}


def beam_rows(model: PlateModel) -> BeamRows:
    """Rows at the Gauss-Lobatto points of every edge of every beam."""
    samples = lobatto(model.mesh.order + 1)
    names: list[str] = []
    at: list[Floats] = []
    moments = [sparse.csr_array((0, model.n_dof))]
    shears = [sparse.csr_array((0, model.n_dof))]
    for beam in model.beams:
        edges = model.line_edges(beam.line)
        names.append(plain_name(beam.line))
        at.append(_distances(model.mesh.xy[edges], samples))
        moment, shear = _edge_rows(model, beam, edges, samples)
        moments.append(moment)
        shears.append(shear)
    return BeamRows(
        tuple(names),
        tuple(at),
        sparse.csr_array(sparse.vstack(moments, format="csr")),
        sparse.csr_array(sparse.vstack(shears, format="csr")),
    )


def beam_torsion_rows(model: PlateModel) -> sparse.csr_array:
    """Rows (n_sample, n_dof) of the torsional moment [N m] at the samples of `beam_rows`."""
    samples = lobatto(model.mesh.order + 1)
    rows = [sparse.csr_array((0, model.n_dof))]
    for beam in model.beams:
        edges = model.line_edges(beam.line)
        frame = edge_frame(model.mesh.xy[edges], samples)
        twist = beam.section.GJ * torsion_operator(frame)
        rows.append(_scatter(twist, cell_dofs(edges), model.n_dof))
    return sparse.csr_array(sparse.vstack(rows, format="csr"))


def beam_axial_rows(model: PlateModel) -> sparse.csr_array:
    """Rows (n_sample, n_dof) of the axial force [N], tension positive, at the samples of
    `beam_rows`; empty rows for beams that are not connected to the slab's membrane."""
    samples = lobatto(model.mesh.order + 1)
    rows = [sparse.csr_array((0, model.n_dof))]
    for beam in model.beams:
        edges = model.line_edges(beam.line)
        if beam.connection == 0.0:
            rows.append(sparse.csr_array((len(edges) * len(samples), model.n_dof)))
            continue
        frame = edge_frame(model.mesh.xy[edges], samples)
        if np.isinf(beam.connection):
            strain = np.concatenate(axial_operator(frame, beam.eccentricity), axis=-1)
        else:
            strain = np.zeros((*frame.dN.shape[:2], model.axial_dofs(beam).shape[1]))
            strain[..., -frame.dN.shape[-1] :] = frame.dN
        rows.append(_scatter(beam.section.EA * strain, model.axial_dofs(beam), model.n_dof))
    return sparse.csr_array(sparse.vstack(rows, format="csr"))


def beam_rows_at(
    model: PlateModel, name: str, at: float
) -> tuple[sparse.csr_array, sparse.csr_array]:
    """Rows (1, n_dof) of a beam's moment and shear `at` [m] from its line's first end."""
    beam = next(b for b in model.beams if plain_name(b.line) == name)
    edges = model.line_edges(beam.line)
    ends = _distances(model.mesh.xy[edges], np.array([-1.0, 1.0])).reshape(-1, 2)
    edge = int(np.clip(np.searchsorted(ends[:, 1], at - 1e-9), 0, len(edges) - 1))
    low, high = ends[edge]
    sample = np.clip(2.0 * (at - low) / (high - low) - 1.0, -1.0, 1.0)
    return _edge_rows(model, beam, edges[[edge]], np.array([sample]))


def _edge_rows(
    model: PlateModel, beam: BeamLine, edges: Ints, samples: Floats
) -> tuple[sparse.csr_array, sparse.csr_array]:
    """Rows of moment and shear at samples of the reference interval of each edge."""
    inner, _ = gauss(model.mesh.order)
    xy, dofs = model.mesh.xy[edges], cell_dofs(edges)
    M = -beam.section.EI * bending_operator(edge_frame(xy, samples))
    GA = beam.section.shear_rigidity(model.line_length(beam.line))
    V = GA * (lagrange(inner, samples) @ shear_operator(edge_frame(xy, inner)))
    return _scatter(M, dofs, model.n_dof), _scatter(V, dofs, model.n_dof)


def _distances(xy: Floats, samples: Floats) -> Floats:
    """Arc length from the first end at the samples of each edge (n_edge * n_sample,) [m]."""
    x, weights = gauss(xy.shape[1])
    lengths = np.sum(edge_frame(xy, x).speed * weights, axis=1)
    starts = np.concatenate([[0.0], np.cumsum(lengths)[:-1]])
    return np.asarray((starts[:, None] + 0.5 * (samples + 1.0) * lengths[:, None]).ravel())


def _scatter(local: Floats, dofs: Ints, n_dof: int) -> sparse.csr_array:
    n_edge, n_sample, _n_local = local.shape
    rows = np.arange(n_edge * n_sample).reshape(n_edge, n_sample, 1)
    index = np.broadcast_arrays(rows, dofs[:, None, :])
    values = (local.ravel(), (index[0].ravel(), index[1].ravel()))
    return sparse.coo_array(values, shape=(n_edge * n_sample, n_dof)).tocsr()


def point_result(values: Floats) -> dict[str, float]:
    """(6,) SI results as a summary entry: w_mm, m [kNm/m], q [kN/m]."""
    return {k: float(v) for k, v in zip(RESULT_KEYS, values * RESULT_SCALE, strict=True)}
