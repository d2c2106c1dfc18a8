"""Results at places as rows on the displacements.

A row times the displacements under a load is the result under it; solved for as a load, it is the
result's influence surface.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from scipy import sparse

from plate.arrays import Floats, Ints
from plate.conventions import N_FIELDS, RESULTS
from plate.elements.membrane import force_operators, membrane_dofs
from plate.elements.plate import cell_dofs
from plate.interpolation import shape
from plate.loads.imposed import ImposedStrain
from plate.model.model import PlateModel
from plate.results.fields import FieldPoints, cell_operators, inside_cells
from plate.results.places import Places, along_path
from plate.results.readings import SAME, Readings, Way


def result_rows(model: PlateModel, places: Places) -> sparse.csr_array:
    """Rows (6 count, n_dof) of w, m_x, m_y, m_xy, q_x, q_y [m, N m/m, N/m], place after place."""
    n = len(RESULTS)
    total = sparse.csr_array((n * places.count, model.n_dof))
    for way, kinds in Readings(model).ways:
        read, local, dofs = _read(model, places, way)
        for k in kinds.tolist():
            own = replace(read, count=n * places.count, place=n * read.place + k)
            total = total + _rows_of(own, local[:, [k]], dofs, model.n_dof)
    return sparse.csr_array(total)


def component_rows(
    model: PlateModel, places: Places, components: Sequence[int] | Ints
) -> sparse.csr_array:
    """Rows (count, n_dof) of one result at each place.

    components : (count,) indices in `plate.conventions.RESULTS`.
    """
    wanted = np.asarray(components, dtype=np.int64)
    total = sparse.csr_array((places.count, model.n_dof))
    for way, kinds in Readings(model).ways:
        mine = places.of(np.isin(wanted, kinds))
        if len(mine.cells):
            read, local, dofs = _read(model, mine, way)
            chosen = local[np.arange(len(dofs)), wanted[read.place]][:, None]
            total = total + _rows_of(read, chosen, dofs, model.n_dof)
    return sparse.csr_array(total)


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


def _read(model: PlateModel, places: Places, way: Way) -> tuple[Places, Floats, Ints]:
    """What results at places are read from that are read in a way, the operators
    (n, 6, n_local) there and their degrees of freedom (n, n_local); means along lines are those of
    the cells as they are."""
    owner, cells, reference, share = Readings(model).of(
        places.cells, places.reference, Way(()) if places.integrated else way
    )
    keys = np.column_stack([cells, np.round(reference, SAME) + 0.0])
    _, first, which = np.unique(keys, axis=0, return_index=True, return_inverse=True)
    there = cell_operators(model, cells[first], reference[first][:, None, :])[:, 0]
    read = replace(
        places,
        cells=cells,
        reference=reference,
        place=places.place[owner],
        weight=places.weight[owner] * share,
    )
    return read, there[which.ravel()], cell_dofs(model.mesh.cells[cells])


def _rows_of(places: Places, local: Floats, columns: Ints, n_columns: int) -> sparse.csr_array:
    """Rows (k count, n_columns), place after place, of operators (n, k, n_local) at the points of
    cells, whose columns are (n, n_local)."""
    k = local.shape[1]
    rows = k * places.place[:, None] + np.arange(k)
    index = np.broadcast_arrays(rows[:, :, None], columns[:, None, :])
    values = (places.weight[:, None, None] * local).ravel()
    size = (k * places.count, n_columns)
    return sparse.coo_array((values, (index[0].ravel(), index[1].ravel())), shape=size).tocsr()
