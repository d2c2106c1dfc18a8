"""Results at places as rows on the displacements.

A row times the displacements under a load is the result under it; solved for as a load, it is the
result's influence surface.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from scipy import sparse

from plate.arrays import Floats, Ints, different_rows
from plate.conventions import N_FIELDS, RESULTS
from plate.elements.membrane import force_operators, membrane_dofs
from plate.elements.plate import cell_dofs
from plate.interpolation import shape
from plate.loads.imposed import ImposedStrain
from plate.model.model import PlateModel
from plate.results.fields import FieldPoints, cell_operators, inside_cells
from plate.results.places import Places, along_path
from plate.results.readings import SAME, Readings, Way


def result_rows(
    model: PlateModel, places: Places, kinds: Sequence[int] = tuple(range(len(RESULTS)))
) -> sparse.csr_array:
    """Rows (k count, n_dof) of results [m, N m/m, N/m], place after place.

    kinds : (k,) which of w, m_x, m_y, m_xy, q_x, q_y, ascending.
    """
    parts = []
    readings, asked = Readings(model), np.asarray(kinds)
    for way, every in _ways(readings, places):
        mine = np.intersect1d(every, asked)
        if len(mine):
            read = _read(readings, places, way)
            rows = len(asked) * read.place[:, None] + np.searchsorted(asked, mine)
            parts.append((read, rows, np.broadcast_to(mine, rows.shape)))
    return _rows_read(model, parts, len(asked) * places.count)


def component_rows(
    model: PlateModel, places: Places, components: Sequence[int] | Ints
) -> sparse.csr_array:
    """Rows (count, n_dof) of one result at each place.

    components : (count,) indices in `plate.conventions.RESULTS`.
    """
    wanted = np.asarray(components, dtype=np.int64)
    parts = []
    readings = Readings(model)
    for way, kinds in _ways(readings, places):
        mine = places.of(np.isin(wanted, kinds))
        if len(mine.cells):
            read = _read(readings, mine, way)
            parts.append((read, read.place[:, None], wanted[read.place][:, None]))
    return _rows_read(model, parts, places.count)


def mean_rows(model: PlateModel, path: Floats) -> sparse.csr_array:
    """Rows (6, n_dof) of the arc-length mean of each result along a path (n, 2) in plan [m]."""
    return result_rows(model, along_path(model.mesh, path))


def slope_rows(model: PlateModel, places: Places) -> sparse.csr_array:
    """Rows (2 count, n_dof) of the slopes theta of the slab's normal along the local tangent and
    the growing offset [-], place after place."""
    mesh = model.mesh
    N = shape(mesh.order, places.reference)
    plan = np.einsum("ni,nid->nd", N, mesh.plan[mesh.cells[places.cells]])
    tangent = mesh.alignment.tangent(plan)
    axes = np.stack([tangent, tangent[:, ::-1] * [-1.0, 1.0]], axis=1)
    local = np.zeros((*axes.shape[:2], N.shape[1], N_FIELDS))
    local[..., 1:] = np.einsum("ni,nkd->nkid", N, axes)
    dofs = cell_dofs(mesh.cells[places.cells])
    return _rows_of(places, local.reshape(*axes.shape[:2], -1), dofs, model.n_dof)


def membrane_rows(model: PlateModel, places: Places) -> sparse.csr_array:
    """Rows (3 count, n_dof) of the membrane forces n_x, n_y, n_xy [N/m], tension positive, place
    after place, of a slab that is joined to beams by its membrane."""
    mesh = model.mesh
    reference = places.reference[:, None, :]
    local = force_operators(mesh, model.section, places.cells, reference)[:, 0]
    return _rows_of(
        places, local, membrane_dofs(mesh.n_nodes, mesh.cells[places.cells]), model.n_dof
    )


def held_results(model: PlateModel, places: Places, imposed: ImposedStrain) -> Floats:
    """What an imposed strain adds to `result_rows` times the displacements (6 count,): the moments
    of a slab held without curvature."""
    return _held(model, places, lambda plan: _between(imposed.moments(model.section, plan)))


def held_forces(model: PlateModel, places: Places, imposed: ImposedStrain) -> Floats:
    """The same for `membrane_rows` (3 count,): the forces of a slab held in its plane."""
    return _held(model, places, lambda plan: imposed.forces(model.section, plan))


def _between(moments: Floats) -> Floats:
    """Moments (n, 3) as results (n, 6): no deflection before them, no shears after."""
    return np.pad(moments, ((0, 0), (1, 2)))


def _held(model: PlateModel, places: Places, of_plan: Callable[[Floats], Floats]) -> Floats:
    """Means over places of what holds at plan points of their cells, place after place."""
    mesh = model.mesh
    N = shape(mesh.order, places.reference)
    plan = np.einsum("ni,nid->nd", N, mesh.plan[mesh.cells[places.cells]])
    values = of_plan(inside_cells(mesh, places.cells, plan[:, None])[:, 0])
    found = np.zeros((places.count, values.shape[1]))
    np.add.at(found, places.place, places.weight[:, None] * values)
    return found.ravel()


def interpolation(fields: FieldPoints, places: Places) -> sparse.csr_array:
    """Rows (count, n_point) on values at the field points, which they interpolate at places."""
    values = shape(fields.order, places.reference)[:, None]
    return _rows_of(places, values, fields.cells[places.cells], fields.n_points)


def _ways(readings: Readings, places: Places) -> Sequence[tuple[Way, Ints]]:
    """The ways of reading and the results of each; means along lines are of the cells as they
    are."""
    if places.integrated:
        return ((Way(()), np.arange(len(RESULTS))),)
    return readings.ways


def _read(readings: Readings, places: Places, way: Way) -> Places:
    """The points of cells that results at places are read from in a way."""
    if not way.along:
        return places
    owner, cells, reference, share = readings.of(places.cells, places.reference, way)
    return replace(
        places,
        cells=cells,
        reference=reference,
        place=places.place[owner],
        weight=places.weight[owner] * share,
    )


def _rows_read(
    model: PlateModel, parts: Sequence[tuple[Places, Ints, Ints]], count: int
) -> sparse.csr_array:
    """Rows (count, n_dof) of what is read at points of cells: the points (n,), and of each the rows
    (n, k) that some of its results (n, k) add to. Points that several read are formed once."""
    if not parts:
        return sparse.csr_array((count, model.n_dof))
    cells = np.concatenate([read.cells for read, *_ in parts])
    reference = np.concatenate([read.reference for read, *_ in parts])
    keys = np.column_stack([cells, np.round(reference, SAME) + 0.0])
    first, which = different_rows(keys)
    formed = np.unique(np.concatenate([kinds.ravel() for *_, kinds in parts]))
    there = cell_operators(model, cells[first], reference[first][:, None, :], formed)[:, 0]
    dofs, begin = cell_dofs(model.mesh.cells[cells]), 0
    row, column, value = [], [], []
    for read, rows, kinds in parts:
        mine = slice(begin, begin + len(read.cells))
        begin = mine.stop
        local = read.weight[:, None, None] * there[which[mine][:, None], kinds]
        index = np.broadcast_arrays(rows[:, :, None], dofs[mine][:, None, :])
        row.append(index[0].ravel())
        column.append(index[1].ravel())
        value.append(local.ravel())
    entries = np.concatenate(value), (np.concatenate(row), np.concatenate(column))
    return sparse.coo_array(entries, shape=(count, model.n_dof)).tocsr()


def _rows_of(places: Places, local: Floats, columns: Ints, n_columns: int) -> sparse.csr_array:
    """Rows (k count, n_columns), place after place, of operators (n, k, n_local) at the points of
    cells, whose columns are (n, n_local)."""
    k = local.shape[1]
    rows = k * places.place[:, None] + np.arange(k)
    index = np.broadcast_arrays(rows[:, :, None], columns[:, None, :])
    values = (places.weight[:, None, None] * local).ravel()
    size = (k * places.count, n_columns)
    return sparse.coo_array((values, (index[0].ravel(), index[1].ravel())), shape=size).tocsr()
