"""Beams along lines: matrices, stubs, straight and curved, against closed forms."""

import math

import numpy as np
import pytest

from plate.arrays import Floats
from plate.conventions import N_FIELDS
from plate.elements.beam import (
    BeamSection,
    beam_matrices,
    bending_operator,
    edge_frame,
    stub_matrix,
    tie_operator,
    torsion_operator,
)
from plate.interpolation import gauss, lobatto

SECTION = BeamSection(EI=3.0, GJ=0.7, GA=5.0)


def straight_edges(order: int, length: float, n: int, angle: float = 0.0) -> tuple[Floats, Floats]:
    """Nodes (n p + 1, 2) and edges (n, p+1) of a straight line."""
    inner = 0.5 * (lobatto(order + 1) + 1.0)
    s = np.unique(np.concatenate([(k + inner) / n for k in range(n)]).round(14)) * length
    edges = order * np.arange(n)[:, None] + np.arange(order + 1)
    return np.outer(s, [math.cos(angle), math.sin(angle)]), edges


def arc_edges(order: int, radius: float, angle: float, n: int) -> tuple[Floats, Floats]:
    """Nodes and edges of an arc about the origin, from angle 0."""
    line, edges = straight_edges(order, angle, n)
    phi = line[:, 0]
    return radius * np.column_stack([np.cos(phi), np.sin(phi)]), edges


def assembled(xy: Floats, edges: Floats, section: BeamSection, length: float) -> Floats:
    """Stiffness of a line for (w, slopes) node by node, then psi - theta . t node by node if the
    beam has a shear area."""
    n = N_FIELDS * len(xy)
    K = np.zeros((n + len(xy) * section.own_rotation,) * 2)
    matrices = beam_matrices(xy[edges], section, section.tie(length))
    for nodes, matrix in zip(edges, matrices, strict=True):
        dofs = (N_FIELDS * nodes[:, None] + np.arange(N_FIELDS)).ravel()
        if section.own_rotation:
            dofs = np.concatenate([dofs, n + nodes])
        K[np.ix_(dofs, dofs)] += matrix
    return K


def cantilever(
    xy: Floats, edges: Floats, section: BeamSection, length: float, tip: Floats
) -> Floats:
    """Tip (w, theta_x, theta_y) of a line clamped at its first node: of a beam with a rotation of
    its own that is held, and the slab's slope along the line is not."""
    K = assembled(xy, edges, section, length)
    n = N_FIELDS * len(xy)
    fixed = [0, 1, 2]
    if section.own_rotation:
        # at the first node psi instead of psi - theta . t, slopes along and across the line
        t = edge_frame(xy[edges[:1]], np.array([-1.0])).tangent[0, 0]
        T = np.eye(len(K))
        T[1:3, 1:3] = np.array([t, [-t[1], t[0]]]).T
        T[n, 1] = -1.0
        K = T.T @ K @ T
        fixed = [0, 2, n]
    free = np.setdiff1d(np.arange(len(K)), fixed)
    F = np.zeros(len(K))
    F[n - N_FIELDS : n] = tip
    u = np.zeros(len(K))
    # The tie is much stiffer than the web: one step of refinement gives back lost digits. It holds
    # the slab's slope at as many points as the order says, so that without a slab a motion of the
    # slope alone is left in each edge: least squares leave it at rest.
    for _ in range(2):
        u[free] += np.linalg.lstsq(K[np.ix_(free, free)], (F - K @ u)[free], rcond=1e-14)[0]
    return u[n - N_FIELDS : n]


@pytest.mark.parametrize("angle", [0.0, 0.7])
@pytest.mark.parametrize("order", [1, 2, 3, 4])
def test_operators_of_rigid_and_simple_states(order: int, angle: float) -> None:
    xy, edges = straight_edges(order, 2.0, 1, angle)
    t, n = (
        np.array([math.cos(angle), math.sin(angle)]),
        np.array([-math.sin(angle), math.cos(angle)]),
    )
    s = xy @ t
    frame = edge_frame(xy[edges], gauss(order)[0])
    for w, slope, bend, twist in [
        (1.0 + 2.0 * s, 2.0 * t + 0 * s[:, None], 0.0, 0.0),
        (0.5 * s**2, s[:, None] * t, 1.0, 0.0),
        (0.0 * s, s[:, None] * n, 0.0, 1.0),
    ]:
        u = np.column_stack([w, slope]).ravel()
        np.testing.assert_allclose(bending_operator(frame)[0] @ u, bend, rtol=0, atol=1e-12)
        np.testing.assert_allclose(torsion_operator(frame)[0] @ u, twist, rtol=0, atol=1e-12)
        np.testing.assert_allclose(tie_operator(frame)[0] @ u, 0.0, rtol=0, atol=1e-12)


@pytest.mark.parametrize("section", [SECTION, BeamSection(3.0, 0.7)], ids=["timoshenko", "euler"])
@pytest.mark.parametrize("order", [2, 3, 4])
def test_three_rigid_motions_of_a_beam(order: int, section: BeamSection) -> None:
    xy, edges = arc_edges(order, 2.0, 1.0, 2)
    K = assembled(xy, edges, section, 2.0)
    values = np.linalg.eigvalsh(K) / np.abs(K).max()
    # on a curved line polynomials cannot be rigid and shear-free everywhere but where it counts
    assert np.all(np.abs(values[:3]) < 1e-9)
    assert values[3] > 1e-9


@pytest.mark.parametrize("order", [2, 3, 4])
def test_tip_load_on_a_straight_cantilever(order: int) -> None:
    """Timoshenko: w = P L^3 / 3 EI + P L / GA, exact from order 3; order 2 ties too (reduced)."""
    L, n = 2.0, 4
    xy, edges = straight_edges(order, L, n, 0.4)
    w = cantilever(xy, edges, SECTION, L, np.array([1.0, 0.0, 0.0]))[0]
    exact = L**3 / (3 * SECTION.EI) + L / 5.0
    assert w == pytest.approx(exact, rel=1e-10 if order > 2 else 1e-3)


def test_a_beam_without_shear_deformation() -> None:
    """The tie leaves 3e-7 of the tip's deflection: 3 EI / (GA L^2) with GA = 1e7 EI / L^2."""
    L = 3.0
    xy, edges = straight_edges(3, L, 2)
    w, slope, _ = cantilever(xy, edges, BeamSection(3.0, 0.7), L, np.array([1.0, 0.0, 0.0]))
    assert w == pytest.approx(L**3 / 9.0, rel=1e-6)
    assert slope == pytest.approx(L**2 / 6.0, rel=1e-6)


def test_torsion() -> None:
    L = 3.0
    xy, edges = straight_edges(2, L, 2)
    twist = cantilever(xy, edges, SECTION, L, np.array([0.0, 0.0, 1.0]))
    np.testing.assert_allclose(twist, [0.0, 0.0, L / SECTION.GJ], rtol=0, atol=1e-10)


@pytest.mark.parametrize("shear_area", [False, True])
@pytest.mark.parametrize("order", [2, 3, 4])
@pytest.mark.parametrize("angle", [0.6, math.pi / 2])
def test_curved_cantilever_under_a_tip_load(order: int, angle: float, shear_area: bool) -> None:
    """Bow girder, clamped at one end, P at the other; by the dummy-load method from
    M = P R sin(phi), T = P R (1 - cos(phi)) (any text on curved beams):
    w = P R^3 [(a/2 - sin 2a / 4) / EI + (3a/2 - 2 sin a + sin 2a / 4) / GJ] + P R a / GA."""
    R, a = 2.0, angle
    section = SECTION if shear_area else BeamSection(SECTION.EI, SECTION.GJ)
    xy, edges = arc_edges(order, R, a, 8)
    w = cantilever(xy, edges, section, R * a, np.array([1.0, 0.0, 0.0]))[0]
    bend = a / 2 - math.sin(2 * a) / 4
    twist = 1.5 * a - 2 * math.sin(a) + math.sin(2 * a) / 4
    exact = R**3 * (bend / section.EI + twist / section.GJ) + shear_area * R * a / 5.0
    # The tie's own strain adds 1e-7. A beam alone leaves the slab's slope along it free between
    # the points where it is tied, and on an arc that slope takes part in torsion.
    alone = {2: 2e-4, 3: 5e-5, 4: 1e-7}
    assert w == pytest.approx(
        exact, rel=alone[order] if shear_area else {2: 1e-4, 3: 1e-6, 4: 1e-6}[order]
    )


# --- stubs ---------------------------------------------------------------------------------


def explicit_stub(
    section: BeamSection, length: float, k: float, k_rot: float
) -> tuple[Floats, Floats]:
    """The stub as a fine beam: stiffness at its node (w, slope) and reaction of its hold."""
    xy, edges = straight_edges(3, length, 3)
    n = len(xy)
    beam = in_rotations(assembled(xy, edges, section, length), n)
    K = beam.copy()
    K[2 * n - 1, 2 * n - 1] += k_rot
    held = [0, n]
    if math.isinf(k):
        held.append(n - 1)
    else:
        K[n - 1, n - 1] += k
    # the slab's slope that no beam resists is held at one node
    free = np.setdiff1d(np.arange(len(K)), [*held, 2 * n])
    u = np.zeros((len(K), 2))
    u[[0, n]] = np.eye(2)
    # The shear of an Euler beam is 1e6 times as stiff as its bending here: one step of refinement
    # gives back the digits that the solution loses by that.
    for _ in range(2):
        u[free] -= np.linalg.solve(K[np.ix_(free, free)], (K @ u)[free])
    return (K @ u)[[0, n]], -(beam @ u)[n - 1]


def in_rotations(K: Floats, n: int) -> Floats:
    """Stiffness of a straight beam along x without twist, for w, then bending rotations, then, of a
    beam with a shear area, slopes of the slab, whose psi - theta is a degree of freedom."""
    w, slope = np.arange(0, N_FIELDS * n, N_FIELDS), np.arange(1, N_FIELDS * n, N_FIELDS)
    own = np.arange(N_FIELDS * n, len(K))
    order = np.concatenate([w, own, slope] if len(own) else [w, slope])
    A = K[np.ix_(order, order)].copy()
    if not len(own):
        return A
    T = np.eye(3 * n)
    T[n : 2 * n, 2 * n :] = -np.eye(n)
    return np.asarray(T.T @ A @ T)


@pytest.mark.parametrize("order", [3, 4])
@pytest.mark.parametrize("GA", [0.4, 5.0, 1e4])
def test_one_element_is_timoshenkos_beam(order: int, GA: float) -> None:
    """Condensed to its ends: the matrix that any text derives for constant shear, exact for
    w = a + b s + c s^2 + d s^3 and psi = w,s + EI psi,ss / GA, with phi = 12 EI / GA L^2."""
    L, EI = 1.7, 3.0
    xy, edges = straight_edges(order, L, 1)
    n = order + 1
    K = in_rotations(assembled(xy, edges, BeamSection(EI, 0.7, GA), L), n)
    ends = np.array([0, n, n - 1, 2 * n - 1])
    inner = np.setdiff1d(np.arange(3 * n), [*ends, 2 * n])  # one slope of the slab is held
    u = np.zeros((3 * n, 4))
    u[ends] = np.eye(4)
    for _ in range(2):
        u[inner] -= np.linalg.solve(K[np.ix_(inner, inner)], (K @ u)[inner])
    phi = 12.0 * EI / (GA * L**2)
    a, b = (4.0 + phi) * L**2, (2.0 - phi) * L**2
    exact = np.array(
        [
            [12.0, 6.0 * L, -12.0, 6.0 * L],
            [6.0 * L, a, -6.0 * L, b],
            [-12.0, -6.0 * L, 12.0, -6.0 * L],
            [6.0 * L, b, -6.0 * L, a],
        ]
    )
    exact *= EI / (L**3 * (1.0 + phi))
    np.testing.assert_allclose((K @ u)[ends], exact, rtol=0.0, atol=1e-8 * np.abs(exact).max())


def test_a_stiff_web_is_a_beam_without_shear_area() -> None:
    """GA = 1e8 EI / L^2: the tip deflects by 3e-8 more, and the tie is that of a beam without."""
    L = 3.0
    xy, edges = straight_edges(3, L, 2)
    stiff = cantilever(xy, edges, BeamSection(3.0, 0.7, 3e8 / L**2), L, np.array([1.0, 0.0, 0.0]))
    without = cantilever(xy, edges, BeamSection(3.0, 0.7), L, np.array([1.0, 0.0, 0.0]))
    assert stiff[0] == pytest.approx(without[0], rel=1e-6)


@pytest.mark.parametrize("order", [2, 3, 4])
def test_the_relative_rotation_twists_a_curved_beam(order: int) -> None:
    """psi - theta . t = 1 along an arc turns the section about t, which turns with dt/ds = n / R:
    torsion 1 / R and no bending."""
    xy, edges = arc_edges(order, 2.0, 0.3, 1)
    points = gauss(order + 1)[0]
    frame = edge_frame(xy[edges], points)
    assert frame.curvature[0] == pytest.approx(0.5, rel={2: 2e-2, 3: 1e-2, 4: 1e-3}[order])
    u = np.concatenate([np.zeros(N_FIELDS * len(xy)), np.ones(len(xy))])
    np.testing.assert_allclose(bending_operator(frame, own=True)[0] @ u, 0.0, atol=1e-12)
    np.testing.assert_allclose(torsion_operator(frame, own=True)[0] @ u, frame.curvature[0])


@pytest.mark.parametrize("section", [SECTION, BeamSection(3.0, 0.7)], ids=["timoshenko", "euler"])
@pytest.mark.parametrize(
    ("k", "k_rot"), [(math.inf, 0.0), (math.inf, 2.0), (4.0, 0.0), (4.0, 2.0), (0.0, 2.0)]
)
def test_stub_against_an_explicit_beam(section: BeamSection, k: float, k_rot: float) -> None:
    K, reaction = stub_matrix(section, 0.8, k, k_rot)
    exact, exact_reaction = explicit_stub(section, 0.8, k, k_rot)
    np.testing.assert_allclose(K, exact, rtol=1e-6, atol=1e-6)
    np.testing.assert_allclose(reaction, exact_reaction, rtol=1e-5, atol=1e-6)


def test_a_stub_that_is_held_by_nothing() -> None:
    K, reaction = stub_matrix(BeamSection(9e8, 1e6), 0.45, 0.0, 0.0)
    assert not K.any()
    assert not reaction.any()


def test_a_rigid_stub_is_a_lever() -> None:
    """EI large: w + L slope is held by k."""
    K, reaction = stub_matrix(BeamSection(1e9, 1e9), 0.5, 8.0, 0.0)
    np.testing.assert_allclose(K, 8.0 * np.array([[1.0, 0.5], [0.5, 0.25]]), rtol=1e-5)
    np.testing.assert_allclose(reaction, [8.0, 4.0], rtol=1e-5)


def test_no_stub() -> None:
    K, reaction = stub_matrix(SECTION, 0.0, 8.0, 3.0)
    np.testing.assert_array_equal(K, np.diag([8.0, 3.0]))
    np.testing.assert_array_equal(reaction, [8.0, 0.0])
    with pytest.raises(ValueError, match="constraint"):
        stub_matrix(SECTION, 0.0, math.inf, 0.0)
