"""Punching of a slab without links under a wheel anywhere, edges and corners included (SI, arrays).

The loaded area is that at the slab's top: dispersal through the surfacing only, if the user allows
it. The perimeter is the least of those of an interior, an edge and a corner load.

Loads whose perimeters overlap are also taken together, around the hull of their loaded areas
(common practice; EN 1992-1-1 6.4.2 and IRC:112 10.4 say nothing of groups of wheels). A single area
counts as far as one can be a concentrated load: its perimeter up to 12 d, its length up to twice
its width, with all of its load (ENV 1992-1-1 4.3.4.1 had 11 d; EN 1992-1-1 with its German annex,
6.4.1; from memory). Tracks are longer than that.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pipelines.errors import MethodRangeError
from pipelines.standards.materials import KSI, Materials
from pipelines.standards.resistance.bending import utilisation
from pipelines.standards.resistance.shear import concrete_shear_stress, strut_factor
from pipelines.standards.sources import Source, Standard
from plate.arrays import Floats

Corners = Literal["round", "straight"]
SHAPES = np.array(["interior", "edge across x", "edge across y", "corner"])

PUNCHING: dict[Standard, Source] = {
    "EN 1992": Source("EN 1992", "6.4.2, 6.4.4(1); 6.4.5(3) with amendment A1:2014"),
    "IRC:112": Source("IRC:112", "10.4"),
    "AASHTO LRFD": Source("AASHTO LRFD", "5.12.8.6"),
}


@dataclass(frozen=True)
class Perimeter:
    """length [m] of the least perimeter; shape: which one, as an index into SHAPES."""

    length: Floats
    shape: NDArray[np.intp]


def perimeter(
    c_x: ArrayLike,
    c_y: ArrayLike,
    distance: ArrayLike,
    edge_x: ArrayLike = np.inf,
    edge_y: ArrayLike = np.inf,
    corners: Corners = "round",
    cut: ArrayLike = 0.0,
) -> Perimeter:
    """Least control perimeter at `distance` from a loaded area.

    Parameters
    ----------
    c_x, c_y : sides of the loaded area [m]
    distance : from its sides [m]
    edge_x, edge_y : clear distance along x and along y to the nearest free edge [m]; the
        perimeter then runs straight to that edge and the edge itself does not count
    cut : by how much the outline of the loads is shorter than that of the area c_x by c_y [m]

    Raises
    ------
    MethodRangeError
        If the loaded area hangs over the edge: cut it first.
    """
    values = (np.asarray(v, dtype=float) for v in (c_x, c_y, distance, edge_x, edge_y))
    c_x, c_y, r, e_x, e_y = np.broadcast_arrays(*values)
    if min(e_x.min(), e_y.min()) < 0:
        raise MethodRangeError("the loaded area hangs over the free edge: keep what is on the slab")
    quarter = np.pi / 2 * r if corners == "round" else 2 * r
    shapes = np.stack(
        [
            2 * (c_x + c_y) + 4 * quarter,
            c_y + 2 * (c_x + e_x) + 2 * quarter,
            c_x + 2 * (c_y + e_y) + 2 * quarter,
            c_x + c_y + e_x + e_y + quarter,
        ]
    )
    return Perimeter(shapes.min(axis=0) - np.asarray(cut), shapes.argmin(axis=0))


def counted_sides(c_x: ArrayLike, c_y: ArrayLike, d: ArrayLike) -> tuple[Floats, Floats]:
    """Sides [m] of a loaded area as far as its perimeter carries punching: the shorter one b up to
    3 d, the longer one up to 2 b and 6 d - b."""
    c_x, c_y, d = (np.asarray(v, dtype=float) for v in (c_x, c_y, d))
    short = np.minimum(np.minimum(c_x, c_y), 3 * d)
    most = np.minimum(2 * short, 6 * d - short)
    return np.minimum(c_x, most), np.minimum(c_y, most)


@dataclass(frozen=True)
class MatAtPunching:
    """Depths [m] and areas [m2/m] along x and y of the bars that the punching cone crosses."""

    d_x: ArrayLike
    d_y: ArrayLike
    A_x: ArrayLike
    A_y: ArrayLike

    @property
    def d(self) -> Floats:
        """Mean effective depth [m]."""
        mean: Floats = (np.asarray(self.d_x, dtype=float) + np.asarray(self.d_y, dtype=float)) / 2
        return mean

    @property
    def rho(self) -> Floats:
        """sqrt(rho_x rho_y)."""
        rho_x = np.asarray(self.A_x, dtype=float) / np.asarray(self.d_x, dtype=float)
        rho_y = np.asarray(self.A_y, dtype=float) / np.asarray(self.d_y, dtype=float)
        mean: Floats = np.sqrt(rho_x * rho_y)
        return mean


@dataclass(frozen=True, kw_only=True)
class Punching:
    """Outcome for each wheel place.

    utilisation : the worse of the control perimeter and the loaded area's own perimeter.
    v_Ed, v_Rd : stresses on the control perimeter [Pa]; u, u_0 : both perimeters [m].
    shape : index into SHAPES. near_edge : within d of a free edge: U-bars there (EN 9.3.1.4).
    """

    utilisation: Floats
    v_Ed: Floats
    v_Rd: Floats
    u: Floats
    u_0: Floats
    shape: NDArray[np.intp]
    near_edge: NDArray[np.bool_]
    source: Source


def punching(
    load: ArrayLike,
    c_x: ArrayLike,
    c_y: ArrayLike,
    mat: Materials,
    bars: MatAtPunching,
    edge_x: ArrayLike = np.inf,
    edge_y: ArrayLike = np.inf,
    sigma_cp: ArrayLike = 0.0,
    beta: float = 1.0,
    group_cut: ArrayLike | None = None,
) -> Punching:
    """Punching of wheel loads [N] on areas c_x by c_y [m], with free edges at edge_x and edge_y.

    Parameters
    ----------
    sigma_cp : mean compression of the slab [Pa], tension negative (EN and IRC)
    beta : 1 for a wheel, which hands no moment to the slab; the user may raise it near edges
    group_cut : for several wheels together, c_x by c_y around all of them: `cut` of `perimeter`;
        None = a single wheel
    """
    load, c_x, c_y, edge_x, edge_y = np.broadcast_arrays(
        *(np.asarray(v, dtype=float) for v in (load, c_x, c_y, edge_x, edge_y))
    )
    force = beta * load
    cut = 0.0 if group_cut is None else group_cut
    if group_cut is None and mat.standard != "AASHTO LRFD":
        c_x, c_y = counted_sides(c_x, c_y, bars.d)
    if mat.standard == "AASHTO LRFD":
        # d_v of 5.7.2.8 without its 0.72 h, on the safe side
        depth = np.broadcast_to(0.9 * bars.d, force.shape)
        control = perimeter(c_x, c_y, depth / 2, edge_x, edge_y, "straight", cut)
        ratio = np.minimum(c_x, c_y) / np.maximum(c_x, c_y)
        stress = np.minimum(0.063 + 0.126 * ratio, 0.126) * np.sqrt(mat.concrete.f_ck / KSI)
        v_Rd = mat.factors["phi_shear"] * stress * KSI
    else:
        depth = np.broadcast_to(bars.d, force.shape)
        control = perimeter(c_x, c_y, 2 * depth, edge_x, edge_y, cut=cut)
        steel, least = concrete_shear_stress(mat, depth, bars.rho)
        compressed = mat.factors["k_1_punching"] * np.asarray(sigma_cp)
        v_Rd = np.maximum(np.maximum(steel, least) + compressed, 0.0)
    v_Ed = force / (control.length * depth)
    used = utilisation(v_Ed, v_Rd)
    u_0 = _loaded_perimeter(c_x, c_y, bars.d, control.shape)
    if mat.standard != "AASHTO LRFD":
        crushing = mat.factors["crushing"] * strut_factor(mat) * mat.f_cd
        used = np.maximum(used, force / (u_0 * depth) / crushing)
    near = np.minimum(edge_x, edge_y) < bars.d
    source = PUNCHING[mat.standard]
    return Punching(
        utilisation=used,
        v_Ed=v_Ed,
        v_Rd=v_Rd,
        u=control.length,
        u_0=u_0,
        shape=control.shape,
        near_edge=near,
        source=source,
    )


def _loaded_perimeter(c_x: ArrayLike, c_y: ArrayLike, d: Floats, shape: NDArray[np.intp]) -> Floats:
    """u_0 of EN 1992-1-1 6.4.5(3) for the shape that governs the control perimeter."""
    c_x, c_y = np.asarray(c_x, dtype=float), np.asarray(c_y, dtype=float)
    interior = 2 * (c_x + c_y)
    across_x = np.minimum(c_y + 3 * d, c_y + 2 * c_x)
    across_y = np.minimum(c_x + 3 * d, c_x + 2 * c_y)
    corner = np.minimum(3 * d, c_x + c_y)
    return np.choose(shape, np.broadcast_arrays(interior, across_x, across_y, corner))
