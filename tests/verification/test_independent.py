"""Odd decks against scikit-fem, a general-purpose finite-element library.

Nothing is shared but the deck: its meshes, elements, quadrature and solver are the library's.
Thick decks: displacement elements of order 5 with full integration; the plate's shear layer and
patches are resolved by the mesh. Thin decks: Argyris's quintic C1 triangle, its supports by a
penalty. Moments agree within 0.3 % of the largest and shears, at least a thickness away from
edges, lines and patch edges, within 1 % of the largest.

Meshes of ours finer than the default are named with the deck. On the default mesh the thick decks
are within 0.12 % and 0.14 %, but 0.47 % under the wheel of the tapered one, whose edges cut cells
askew (stated there: 0.6 %); the thin ones are up to 0.6 % and 3.7 % off.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import skfem
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse.linalg import splu

from pipelines.deck.reading.deck_file import read_deck
from pipelines.model.build import build_model
from pipelines.model.probes import probe_rows
from pipelines.model.static_cases import case_load
from plate.arrays import Floats
from plate.results.fields import field_points
from plate.solver.stiffness import Stiffness

Map = Callable[[Floats, Floats], tuple[Floats, Floats]]

E, NU, KAPPA = 30e9, 0.2, 5.0 / 6.0
PRESSURE, WHEEL = 10e3, 150e3
MOMENT, SHEAR = 3e-3, 1e-2
SQUARE = 0.1  # side of the square over which thin shears of the library are averaged [m]

DECK = """
title = "odd deck"
[slab]
thickness_mm = {t}
E_GPa = 30.0
poisson = 0.2
theory = "{theory}"
[plan]
stations_m = {stations}
offsets_m = {offsets}
{plan}
{lines}
[[case]]
name = "uniform"
pressure_kN_m2 = 10.0
[[case]]
name = "wheel"
patches = [{{ at_m = [{x}, {y}], size_m = [{a}, {b}], load_kN = 150.0 }}]
"""


@dataclass(frozen=True, kw_only=True)
class Odd:
    """A deck in words of both sides.

    stations, offsets, overhang (left, right), skew [degrees], radius, taper (growth of the width to
    the right at the end) : the plan [m], a sheared, bent or widened rectangle; `plan` says the same
    in the deck file's language. mesh : its [mesh] table, where not the default.
    patch : x, y, a, b [m].
    supports : name of C or L line -> "rigid", "hard" or "clamped".
    places : plan points for moments; calm : those for shears, away from what disturbs them.
    """

    theory: str
    t: float
    stations: tuple[float, ...]
    offsets: tuple[float, ...]
    supports: dict[str, str]
    patch: tuple[float, float, float, float]
    places: tuple[tuple[float, float], ...]
    calm: tuple[tuple[float, float], ...]
    plan: str = ""
    mesh: str = ""
    skew: float = 0.0
    radius: float = np.inf
    taper: float = 0.0
    overhang: tuple[float, float] = (0.0, 0.0)

    @property
    def low(self) -> float:
        return self.offsets[0] - self.overhang[0]

    @property
    def high(self) -> float:
        return self.offsets[-1] + self.overhang[1]

    def to_plan(self, u: Floats, v: Floats) -> tuple[Floats, Floats]:
        """Rectangle to plan: sheared by the skew, widened to the right by the taper."""
        share = (u - self.stations[0]) / (self.stations[-1] - self.stations[0])
        wide = v + self.taper * share * (v - self.low) / (self.high - self.low)
        return u + wide * np.tan(np.radians(self.skew)), wide

    def to_rectangle(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        u = x - y * np.tan(np.radians(self.skew))
        share = (u - self.stations[0]) / (self.stations[-1] - self.stations[0])
        stretch = self.taper * share / (self.high - self.low)
        return u, (y + stretch * self.low) / (1.0 + stretch)

    def bent(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        """Plan to Cartesian: arcs about a centre at offset R."""
        if np.isinf(self.radius):
            return x, y
        R = self.radius
        return (R - y) * np.sin(x / R), R - (R - y) * np.cos(x / R)

    @property
    def loaded(self) -> tuple[float, float, float, float]:
        """The patch in plan coordinates: its length is that on the ground, on the arc at its
        centre."""
        x, y, a, b = self.patch
        return x, y, a / (1.0 - y / self.radius), b

    def text(self) -> str:
        lines = "".join(
            f'[[line]]\non = "{name}"\nsupport = "{kind if kind != "hard" else "rigid"}"\n'
            + ("hard = true\n" if kind == "hard" else "")
            for name, kind in self.supports.items()
        )
        probes = "".join(
            f'[[probe]]\nname = "p{k}"\nat_m = [{x}, {y}]\n'
            for k, (x, y) in enumerate((*self.places, *self.calm))
        )
        x, y, a, b = self.patch
        return (
            DECK.format(
                t=1000 * self.t,
                theory=self.theory,
                stations=list(self.stations),
                offsets=list(self.offsets),
                plan=self.plan,
                lines=lines,
                x=x,
                y=y,
                a=a,
                b=b,
            )
            + probes
            + self.mesh
        )


def ours(odd: Odd, folder: Path) -> Floats:
    """Moments and shears (case, point, 5) on the deck's default mesh."""
    path = folder / "deck.toml"
    path.write_text(odd.text(), encoding="utf-8")
    deck = read_deck(path)
    model = build_model(deck).model
    rows = probe_rows(deck, model, field_points(model))
    assert not rows.widths, "a probe stands at a singular place"
    assert len(rows.names) == len(deck.probes), "a probe stands on a line"
    loads = np.stack([case_load(deck, case, model) for case in deck.cases], axis=1)
    U = Stiffness(model).solve(loads, refine=True)
    return (rows.rows @ U).reshape(len(deck.probes), 6, -1)[:, 1:].transpose(2, 0, 1)


# --- the library's side --------------------------------------------------------------------


def breaks(lines: Sequence[float], size: float, fine: dict[float, float]) -> Floats:
    """Points that contain `lines`, no further apart than `size`; beside the lines in `fine` two
    cells of that width on each side."""
    marks = set(lines)
    for at, width in fine.items():
        for step in (-2.5, -1.0, 1.0, 2.5):
            if lines[0] < at + step * width < lines[-1]:
                marks.add(at + step * width)
    points = np.unique(np.round(sorted(marks), 9))
    pieces = [
        np.linspace(a, b, int(np.ceil((b - a) / size - 1e-9)) + 1)[:-1] for a, b in pairwise(points)
    ]
    return np.concatenate([*pieces, [points[-1]]])


def rectangle_lines(odd: Odd, size: float) -> tuple[Floats, Floats]:
    """Mesh lines of the rectangle: supports, patch edges where they can be, shear layers."""
    x, y, a, b = odd.loaded
    straight = odd.skew == 0.0 and odd.taper == 0.0
    us, vs = [*odd.stations], [*odd.offsets, odd.low, odd.high]
    if straight:
        us += [x - a / 2, x + a / 2]
        vs += [y - b / 2, y + b / 2]
    if odd.theory == "kirchhoff":
        return breaks(sorted(set(us)), size, {}), breaks(sorted(set(vs)), size, {})
    layer = odd.t / 3
    fine_u = dict.fromkeys((odd.stations[0], odd.stations[-1]), layer)
    fine_v = dict.fromkeys((odd.low, odd.high), layer)
    for name in odd.supports:
        k = int(name[1:]) - 1
        if name[0] == "C":
            fine_u[odd.stations[k]] = layer
        else:
            fine_v[odd.offsets[k]] = layer
    return breaks(sorted(set(us)), size, fine_u), breaks(sorted(set(vs)), size, fine_v)


def patch_points(odd: Odd, n: int = 48) -> tuple[Floats, Floats, Floats]:
    """Plan points in the patch and shares of its area that sum to one."""
    x, y, a, b = odd.loaded
    gauss, weight = np.polynomial.legendre.leggauss(2)
    side = (np.arange(n)[:, None] + 0.5 * (gauss + 1.0)).ravel() / n - 0.5
    w = np.tile(0.5 * weight / n, n)
    X, Y = np.meshgrid(x + a * side, y + b * side, indexing="ij")
    W = np.outer(w, w)
    if np.isfinite(odd.radius):
        W = W * (1.0 - Y / odd.radius)
    return X.ravel(), Y.ravel(), (W / W.sum()).ravel()


def on_line(odd: Odd, name: str, u: Floats, v: Floats) -> NDArray[np.bool_]:
    k = int(name[1:]) - 1
    if name[0] == "C":
        return np.abs(u - odd.stations[k]) < 1e-6
    inside = (u > odd.stations[0] - 1e-6) & (u < odd.stations[-1] + 1e-6)
    return (np.abs(v - odd.offsets[k]) < 1e-6) & inside


def thick(odd: Odd, size: float, order: int = 5) -> Floats:
    """Moments and shears (case, point, 5) by the library's quadrilaterals."""
    u_lines, v_lines = rectangle_lines(odd, size)
    flat = skfem.MeshQuad.init_tensor(u_lines, v_lines)
    if np.isfinite(odd.radius):
        mesh = skfem.MeshQuad2.from_mesh(flat)
        plan = odd.to_plan(*mesh.doflocs)
        mesh = skfem.MeshQuad2(np.array(odd.bent(*plan)), mesh.t)
    else:
        mesh = skfem.MeshQuad(np.array(odd.to_plan(*flat.p)), flat.t)
    basis = skfem.Basis(mesh, skfem.ElementQuadP(order), intorder=2 * order)
    n = basis.N

    def matrix(form: Callable[..., Floats]) -> sparse.csr_matrix:
        return skfem.BilinearForm(form).assemble(basis)

    xx = matrix(lambda p, q, _: p.grad[0] * q.grad[0])
    yy = matrix(lambda p, q, _: p.grad[1] * q.grad[1])
    xy = matrix(lambda p, q, _: p.grad[0] * q.grad[1])  # [q, p]
    mass = matrix(lambda p, q, _: p * q)
    wx = matrix(lambda p, q, _: p.grad[0] * q)  # [q, p]
    wy = matrix(lambda p, q, _: p.grad[1] * q)
    D = E * odd.t**3 / (12.0 * (1.0 - NU**2))
    S = KAPPA * E / (2.0 * (1.0 + NU)) * odd.t
    h = 0.5 * (1.0 - NU)
    # strain energy of w, theta_x, theta_y with gamma = grad w - theta
    K = sparse.block_array(
        [
            [S * (xx + yy), -S * wx.T, -S * wy.T],
            [-S * wx, D * (xx + h * yy) + S * mass, D * (NU * xy.T + h * xy)],
            [-S * wy, D * (NU * xy + h * xy.T), D * (yy + h * xx) + S * mass],
        ],
        format="csc",
    )
    F = np.zeros((3 * n, 2))
    F[:n, 0] = PRESSURE * skfem.LinearForm(lambda q, _: 1.0 * q).assemble(basis)
    x, y, share = patch_points(odd)
    F[:n, 1] = WHEEL * share @ values(odd, flat, basis, x, y)[0]
    held = np.unique(
        np.concatenate([_held(odd, flat, basis, *item) for item in odd.supports.items()])
    )
    free = np.setdiff1d(np.arange(3 * n), held)
    U = np.zeros((3 * n, 2))
    factor = splu(sparse.csc_matrix(K[free][:, free]))
    U[free] = factor.solve(F[free])
    N, N_x, N_y = values(odd, flat, basis, *np.array((*odd.places, *odd.calm)).T)
    w, tx, ty = U[:n], U[n : 2 * n], U[2 * n :]
    m_x = -D * (N_x @ tx + NU * (N_y @ ty))
    m_y = -D * (N_y @ ty + NU * (N_x @ tx))
    m_xy = -D * h * (N_y @ tx + N_x @ ty)
    q_x, q_y = S * (N_x @ w - N @ tx), S * (N_y @ w - N @ ty)
    return turned(odd, np.stack([m_x, m_y, m_xy, q_x, q_y], axis=1).transpose(2, 0, 1))


def _held(odd: Odd, flat: object, basis: object, name: str, kind: str) -> NDArray[np.int64]:
    """Dofs of the edge or inner line that its support holds."""
    middle = flat.p[:, flat.facets].mean(axis=1)
    facets = np.flatnonzero(on_line(odd, name, *middle))
    assert len(facets)
    dofs = basis.get_dofs(facets).all()
    n = basis.N
    if kind == "clamped":
        return np.concatenate([dofs, dofs + n, dofs + 2 * n])
    if kind == "hard":
        assert odd.skew == odd.taper == 1.0 / odd.radius == 0.0
        return np.concatenate([dofs, dofs + (2 * n if name[0] == "C" else n)])
    return dofs


def values(
    odd: Odd, flat: object, basis: object, x: Floats, y: Floats
) -> tuple[sparse.csr_array, sparse.csr_array, sparse.csr_array]:
    """Rows of N, N,x and N,y at plan points; the rectangle's grid says in which cell they lie."""
    u, v = odd.to_rectangle(x, y)
    corner = flat.p[:, flat.t]
    low, high = corner.min(axis=1), corner.max(axis=1)
    cell = np.array(
        [
            np.flatnonzero(np.all((at >= low.T - 1e-9) & (at <= high.T + 1e-9), axis=1))[0]
            for at in np.stack([u, v], axis=1)
        ]
    )
    origin = flat.p[:, flat.t[0, cell]]
    first = flat.p[:, flat.t[1, cell]] - origin
    last = flat.p[:, flat.t[3, cell]] - origin
    det = first[0] * last[1] - first[1] * last[0]
    du, dv = u - origin[0], v - origin[1]
    X = np.stack([(du * last[1] - dv * last[0]) / det, (first[0] * dv - first[1] * du) / det])
    blocks: list[list[tuple[Floats, Floats, Floats]]] = [[], [], []]
    for c in np.unique(cell):
        points = np.flatnonzero(cell == c)
        for i in range(basis.Nbfun):
            (field,) = basis.elem.gbasis(basis.mapping, X[:, points], i, np.array([c]))
            column = np.full(len(points), basis.element_dofs[i, c])
            for store, part in zip(blocks, (np.asarray(field), *field.grad), strict=True):
                store.append((points, column, np.broadcast_to(part, (1, len(points)))[0]))
    return tuple(_rows(store, len(x), basis.N) for store in blocks)


def _rows(store: list[tuple[Floats, Floats, Floats]], n: int, size: int) -> sparse.csr_array:
    row, column, value = (np.concatenate(part) for part in zip(*store, strict=True))
    return sparse.csr_array((value, (row, column)), shape=(n, size))


def thin(odd: Odd, size: float) -> Floats:
    """Moments and shears (case, point, 5) by Argyris's triangle. Cells small beside others lose
    the library's digits: its polynomials are global, so there is no grading to corners. A curved
    edge is a polygon of its cells' sides, which a free edge may be; a held one may not
    (`test_curved_plates.test_many_sides_are_no_circle`)."""
    u_lines, v_lines = rectangle_lines(odd, size)
    flat = skfem.MeshTri.init_tensor(u_lines, v_lines)
    mesh = skfem.MeshTri(np.array(odd.bent(*odd.to_plan(*flat.p))), flat.t)
    element = skfem.ElementTriArgyris()
    basis = skfem.Basis(mesh, element, intorder=10)
    D = E * odd.t**3 / (12.0 * (1.0 - NU**2))

    def bending(p: object, q: object, _: object) -> Floats:
        a, b = p.hess, q.hess
        trace = (a[0][0] + a[1][1]) * (b[0][0] + b[1][1])
        full = sum(a[i][k] * b[i][k] for i in (0, 1) for k in (0, 1))
        return D * (NU * trace + (1.0 - NU) * full)

    K = skfem.BilinearForm(bending).assemble(basis)
    u, v = flat.p[:, mesh.facets].mean(axis=1)
    for name, kind in odd.supports.items():
        assert name[0] == "C" or np.isinf(odd.radius)
        edge = skfem.FacetBasis(mesh, element, facets=np.flatnonzero(on_line(odd, name, u, v)))
        K = K + skfem.BilinearForm(lambda p, q, _: 1e8 * D * p * q).assemble(edge)
        if kind == "clamped":
            slope = skfem.BilinearForm(
                lambda p, q, c: 1e7 * D * _normal(p.grad, c.n) * _normal(q.grad, c.n)
            )
            K = K + slope.assemble(edge)
    F = np.zeros((basis.N, 2))
    F[:, 0] = PRESSURE * skfem.LinearForm(lambda q, _: 1.0 * q).assemble(basis)
    x, y, share = patch_points(odd)
    rows = _derivatives(mesh, basis, np.stack(odd.bent(x, y)))
    F[:, 1] = WHEEL * share @ rows[0]
    scale = 1.0 / np.sqrt(K.diagonal())
    scaled = sparse.csc_matrix(sparse.diags_array(scale) @ K @ sparse.diags_array(scale))
    factor = splu(scaled)
    U = factor.solve(scale[:, None] * F)
    for _ in range(2):
        U += factor.solve(scale[:, None] * F - scaled @ U)
    U = scale[:, None] * U
    at = np.stack(odd.bent(*np.array((*odd.places, *odd.calm)).T), axis=1)
    _, xx, xy, yy, *_ = _derivatives(mesh, basis, at.T)
    # third derivatives jump from cell to cell: their mean over a square, which moves the shears
    # themselves by their second differences only
    step = SQUARE * np.linspace(-0.4, 0.4, 5)
    square = np.stack(np.meshgrid(step, step), axis=-1).reshape(-1, 2)
    around = (at[:, None] + square).reshape(-1, 2).T
    mean = np.kron(np.eye(len(at)), np.full((1, len(square)), 1.0 / len(square)))
    xxx, xxy, xyy, yyy = (mean @ row for row in _derivatives(mesh, basis, around)[4:])
    found = [
        -D * (xx + NU * yy) @ U,
        -D * (yy + NU * xx) @ U,
        -D * (1.0 - NU) * xy @ U,
        -D * (xxx + xyy) @ U,
        -D * (xxy + yyy) @ U,
    ]
    return turned(odd, np.stack(found, axis=1).transpose(2, 0, 1))


def _normal(grad: Floats, n: Floats) -> Floats:
    return grad[0] * n[0] + grad[1] * n[1]


def _derivatives(mesh: object, basis: object, points: Floats) -> list[sparse.csr_array]:
    """Rows of w, w,xx, w,xy, w,yy, w,xxx, w,xxy, w,xyy, w,yyy at points (2, n)."""
    element = skfem.ElementTriArgyris()
    element.derivatives = 3
    cell = mesh.element_finder()(*points)
    X = basis.mapping.invF(points[:, :, None], tind=cell)[:, :, 0]
    stores: list[list[tuple[Floats, Floats, Floats]]] = [[] for _ in range(8)]
    for c in np.unique(cell):
        at = np.flatnonzero(cell == c)
        for i in range(basis.Nbfun):
            (f,) = element.gbasis(basis.mapping, X[:, at], i, np.array([c]))
            parts = (
                np.asarray(f),
                f.hess[0, 0],
                f.hess[0, 1],
                f.hess[1, 1],
                f.grad3[0, 0, 0],
                f.grad3[0, 0, 1],
                f.grad3[0, 1, 1],
                f.grad3[1, 1, 1],
            )
            column = np.full(len(at), basis.element_dofs[i, c])
            for store, part in zip(stores, parts, strict=True):
                store.append((at, column, part[0]))
    return [_rows(store, points.shape[1], basis.N) for store in stores]


def turned(odd: Odd, found: Floats) -> Floats:
    """Cartesian moments and shears along the local tangent and to the right of it."""
    if np.isinf(odd.radius):
        return found
    x = np.array((*odd.places, *odd.calm))[:, 0]
    c, s = np.cos(x / odd.radius), np.sin(x / odd.radius)
    m_x, m_y, m_xy, q_x, q_y = np.moveaxis(found, 2, 0)
    return np.stack(
        [
            c * c * m_x + s * s * m_y + 2 * c * s * m_xy,
            s * s * m_x + c * c * m_y - 2 * c * s * m_xy,
            c * s * (m_y - m_x) + (c * c - s * s) * m_xy,
            c * q_x + s * q_y,
            c * q_y - s * q_x,
        ],
        axis=2,
    )


DECKS = {
    "thick, skew 30": Odd(
        theory="mindlin",
        t=0.25,
        stations=(0.0, 5.0),
        offsets=(-2.0, 2.0),
        supports={"C1": "rigid", "C2": "rigid"},
        patch=(2.7, 0.3, 0.6, 0.6),
        places=((2.7, 0.3), (2.1, -0.6), (3.3, 1.1), (1.4, 0.2), (2.2, -1.7)),
        calm=((1.6, -0.4), (3.9, 0.9), (1.9, 0.9)),
        plan="skew_deg = 30.0",
        skew=30.0,
    ),
    "thick, curved": Odd(
        theory="mindlin",
        t=0.25,
        stations=(0.0, 5.0),
        offsets=(-2.0, 2.0),
        supports={"C1": "rigid", "C2": "rigid"},
        patch=(2.7, -0.4, 0.6, 0.5),
        places=((2.7, -0.4), (1.9, 0.6), (3.4, 1.2), (1.2, -1.1), (2.4, 1.8)),
        calm=((1.5, -0.4), (3.8, 0.4), (2.5, 0.9)),
        plan="radius_m = 9.0",
        radius=9.0,
    ),
    "thick, tapered, two spans": Odd(
        theory="mindlin",
        t=0.3,
        stations=(0.0, 3.2, 6.4),
        offsets=(-2.0, 2.0),
        supports={"C1": "rigid", "C2": "rigid", "C3": "clamped"},
        patch=(1.7, 0.3, 0.6, 0.6),
        places=((1.7, 0.3), (1.1, -0.7), (2.3, 1.1), (4.7, 0.8), (5.3, -1.2)),
        calm=((0.8, -0.3), (2.5, -0.6), (4.6, 0.5)),
        mesh="[mesh]\norder = 4\n",
        plan="end_offsets_m = [-2.0, 3.0]",
        taper=1.0,
    ),
    "thick, cantilevers, wheel at the tip": Odd(
        theory="mindlin",
        t=0.25,
        stations=(0.0, 5.0),
        offsets=(-1.5, 1.5),
        supports={"L1": "rigid", "L2": "rigid"},
        patch=(2.4, 2.4, 0.4, 0.5),
        places=((2.4, 2.2), (2.4, 0.7), (1.6, 1.9), (3.1, -0.6), (2.0, 0.0)),
        calm=((2.4, 1.82), (1.5, 0.9), (3.0, 0.4)),
        plan="overhang_m = { left = 1.3, right = 1.3 }",
        overhang=(1.3, 1.3),
    ),
    "very thick, clamped and hard": Odd(
        theory="mindlin",
        t=0.9,
        stations=(0.0, 4.0),
        offsets=(-2.0, 2.0),
        supports={"C1": "clamped", "C2": "hard", "L1": "hard"},
        patch=(1.7, 0.2, 0.6, 0.4),
        places=((1.7, 0.2), (1.2, -0.8), (2.7, 0.9), (3.1, -1.2), (2.0, 1.7)),
        calm=((2.95, 0.3), (2.9, -0.5)),
    ),
    "thin, skew 20, held all round": Odd(
        theory="kirchhoff",
        t=0.2,
        stations=(0.0, 4.0),
        offsets=(-2.0, 2.0),
        supports={"C1": "rigid", "C2": "rigid", "L1": "rigid", "L2": "rigid"},
        patch=(2.2, 0.3, 0.6, 0.6),
        places=((2.2, 0.3), (1.5, -0.6), (2.9, 0.9), (1.2, 0.4), (2.5, -1.3)),
        calm=((1.5, -0.5), (2.93, 0.87), (2.2, -0.9)),
        mesh="[mesh]\norder = 5\nsize_m = 0.3\n",
        plan="skew_deg = 20.0",
        skew=20.0,
    ),
    "thin, tapered, clamped at one end": Odd(
        theory="kirchhoff",
        t=0.2,
        stations=(0.0, 4.0),
        offsets=(-1.5, 1.5),
        supports={"C1": "clamped", "C2": "rigid"},
        patch=(2.1, 0.3, 0.6, 0.6),
        places=((2.1, 0.3), (1.3, -0.6), (2.9, 0.9), (0.8, 0.4), (2.4, -1.1)),
        calm=((1.4, -0.4), (2.9, 0.8), (2.0, -0.6)),
        mesh="[mesh]\norder = 5\nsize_m = 0.3\n",
        plan="end_offsets_m = [-1.5, 2.3]",
        taper=0.8,
    ),
    "thin, curved": Odd(
        theory="kirchhoff",
        t=0.2,
        stations=(0.0, 4.0),
        offsets=(-1.5, 1.5),
        supports={"C1": "rigid", "C2": "rigid"},
        patch=(2.1, 0.3, 0.6, 0.6),
        places=((2.1, 0.3), (1.3, -0.6), (2.9, 0.9), (0.8, 0.4), (2.4, -1.1)),
        calm=((1.4, -0.4), (2.9, 0.8), (2.0, -0.6)),
        mesh="[mesh]\norder = 5\nsize_m = 0.3\n",
        plan="radius_m = 8.0",
        radius=8.0,
    ),
}


def differences(odd: Odd, folder: Path) -> tuple[float, float]:
    """Largest difference of moments and, at the calm places, of shears, over both cases, each as
    a share of the largest moment and shear of its case."""
    found = ours(odd, folder)
    other = thick(odd, 0.5) if odd.theory == "mindlin" else thin(odd, 0.2)
    gap, size = np.abs(found - other), np.abs(other)
    n = len(odd.places)
    moment = (gap[..., :3].max(axis=(1, 2)) / size[..., :3].max(axis=(1, 2))).max()
    shear = (gap[:, n:, 3:].max(axis=(1, 2)) / size[:, n:, 3:].max(axis=(1, 2))).max()
    return float(moment), float(shear)


@pytest.mark.slow
@pytest.mark.parametrize("name", DECKS)
def test_odd_decks(name: str, tmp_path: Path) -> None:
    moment, shear = differences(DECKS[name], tmp_path)
    assert moment < MOMENT
    assert shear < SHEAR
