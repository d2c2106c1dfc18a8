"""Influence surfaces: one solution of the stiffness for each result tells its value under any load.

A result is a row r on the displacements, r K^-1 F under loads F. With z = K^-1 r, K being
symmetric, it is z F for every F: the deflections in z are the result's influence surface, its
value under a unit load at each place (reciprocity of Maxwell and Betti).

At the point of a moment the surface grows without bound, like the logarithm of the distance, at
that of a shear like its inverse (Pucher, Einflussfelder elastischer Platten; from memory): there
the mesh limits it, and only its mean under a patch is to be read.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import sparse

from pipelines.deck.deck import Probe
from pipelines.errors import JobError
from pipelines.model.probes import probe_rows
from pipelines.model.responses import SolvedDeck
from pipelines.traffic.positions import WheelPatches
from plate.arrays import Floats, Ints
from plate.conventions import N_FIELDS, RESULTS
from plate.loads.loads import patch_shares, segment_points
from plate.meshing.mesh import Mesh
from plate.results.functionals import component_rows
from plate.results.places import at_field_points
from plate.solver.stiffness import Stiffness

# Patches integrated together, to bound the memory.
PATCHES = 20000


@dataclass(frozen=True, eq=False)
class Surfaces:
    """Influence surfaces of some results.

    ordinates : (n_row, n_node) result under a unit load at each node [result per N].
    """

    mesh: Mesh
    ordinates: Floats

    def under(self, rows: Ints, wheels: WheelPatches) -> Floats:
        """Results (n,) of rows (n,) under the wheels of positions 0 .. n - 1, one row each."""
        found = np.zeros(len(rows))
        # Patches near each other together: cells far from all of them are passed over at once.
        order = np.argsort(wheels.corners[:, 0, 0], kind="stable")
        for start in range(0, len(order), PATCHES):
            part = order[start : start + PATCHES]
            nodes, patch, shares = patch_shares(self.mesh, wheels.corners[part])
            position = wheels.position[part][patch]
            means = np.einsum("km,km->k", shares, self.ordinates[rows[position][:, None], nodes])
            values = wheels.load[part][patch] * means
            found += np.bincount(position, weights=values, minlength=len(rows))
        return found

    def means(self, corners: Floats) -> Floats:
        """Results (n_row, n) of every row under a unit load on each of the patches (n, 4, 2)."""
        found = np.empty((len(self.ordinates), len(corners)))
        for start in range(0, len(corners), PATCHES):
            part = corners[start : start + PATCHES]
            nodes, patch, shares = patch_shares(self.mesh, part)
            index = np.repeat(patch, nodes.shape[1]), nodes.ravel()
            shape = len(part), self.ordinates.shape[1]
            w = sparse.coo_array((shares.ravel(), index), shape=shape).tocsr()
            found[:, start : start + len(part)] = np.asarray(w @ self.ordinates.T).T
        return found


def surfaces(stiffness: Stiffness, rows: sparse.csr_array) -> Surfaces:
    """Influence surfaces of rows (n_row, n_dof) on the displacements."""
    mesh = stiffness.model.mesh
    ordinates = np.empty((rows.shape[0], mesh.n_nodes))
    deflections = N_FIELDS * np.arange(mesh.n_nodes)
    for part, solution in stiffness.in_blocks(sparse.csc_array(rows.T)):
        ordinates[part] = solution[deflections].T
    return Surfaces(mesh, ordinates)


def probe_surfaces(solved: SolvedDeck) -> Surfaces:
    """Influence surfaces of the probes' results, solved for once."""
    model = solved.model
    Z = solved.probe_influence[: model.n_plate_dof : N_FIELDS]
    return Surfaces(model.mesh, np.ascontiguousarray(Z.T))


def field_rows(
    solved: SolvedDeck, points: Sequence[int], components: Sequence[int]
) -> sparse.csr_array:
    """Rows (n, n_dof) of fields: components[k] of RESULTS at field point points[k]."""
    places = at_field_points(solved.recovery.points, points)
    return component_rows(solved.model, places, components)


@dataclass(frozen=True, kw_only=True)
class Wanted:
    """A result whose influence is asked for.

    component : name in RESULTS; at, or start and end of a segment : plan points [m];
    resultant : the integral along the segment instead of the mean;
    side : "before" or "after" where `at` lies on a line that divides the slab, "" = mean of both.
    """

    component: str
    at: tuple[float, float] | None = None
    start: tuple[float, float] | None = None
    end: tuple[float, float] | None = None
    resultant: bool = False
    side: str = ""

    @property
    def words(self) -> str:
        """The result in words."""
        if self.at is not None:
            place = f"at station {self.at[0]:g} m, offset {self.at[1]:g} m"
            return f"{self.component} {place}" + (f", {self.side} the line" if self.side else "")
        assert self.start is not None
        assert self.end is not None
        kind = "resultant" if self.resultant else "mean"
        a, b = (f"({p[0]:g}, {p[1]:g})" for p in (self.start, self.end))
        return f"{kind} of {self.component} from {a} to {b} m"


def wanted_row(solved: SolvedDeck, wanted: Wanted) -> sparse.csr_array:
    """Row (1, n_dof) of a result.

    Raises JobError where a place is off the slab, or a side is asked for where nothing divides it.
    """
    ends = [wanted.at] if wanted.at is not None else [wanted.start, wanted.end]
    for place in ends:
        assert place is not None
        if not solved.deck.plan.contains(np.array([place]))[0]:
            words = f"station {place[0]:g} m, offset {place[1]:g} m is not on the slab"
            key = "to" if place is wanted.end else "at"
            raise JobError.of(words, key, place, "a station and an offset on the slab [m]")
    probe = Probe("wanted", wanted.at, wanted.start, wanted.end)
    found = probe_rows(replace(solved.deck, probes=(probe,)), solved.model, solved.recovery.points)
    name = f"wanted/{wanted.side}" if wanted.side else "wanted"
    if name not in found.names:
        words = f"no line divides the slab at {wanted.words}"
        raise JobError.of(words, "side", wanted.side, "none but on a line")
    index = len(RESULTS) * found.names.index(name) + RESULTS.index(wanted.component)
    row = sparse.csr_array(found.rows[[index]])
    if not wanted.resultant:
        return row
    assert wanted.start is not None
    path = np.array([wanted.start, wanted.end])
    pieces = segment_points(solved.model.mesh, path)
    return sparse.csr_array(row * sum(float(weights.sum()) for *_, weights in pieces))
