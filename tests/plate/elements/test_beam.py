"""Beams along lines: matrices, stubs, straight and curved, against closed forms."""

import math

import numpy as np
import pytest

from plate.conventions import N_FIELDS
from plate.elements.beam import (
    BeamSection,
    beam_matrices,
    bending_operator,
    edge_frame,
    shear_operator,
    stub_matrix,
    torsion_operator,
)
from plate.interpolation import gauss, lobatto
from tests.helpers import Floats

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
    K = np.zeros((N_FIELDS * len(xy),) * 2)
    for nodes, matrix in zip(edges, beam_matrices(xy[edges], section, length), strict=True):
        dofs = (N_FIELDS * nodes[:, None] + np.arange(N_FIELDS)).ravel()
        K[np.ix_(dofs, dofs)] += matrix
    return K


def cantilever(
    xy: Floats, edges: Floats, section: BeamSection, length: float, tip: Floats
) -> Floats:
    """Tip (w, theta_x, theta_y) of a line clamped at its first node."""
    K = assembled(xy, edges, section, length)
    free = np.arange(N_FIELDS, len(K))
    F = np.zeros(len(K))
    F[-N_FIELDS:] = tip
    u = np.zeros(len(K))
    u[free] = np.linalg.solve(K[np.ix_(free, free)], F[free])
    return u[-N_FIELDS:]


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
        np.testing.assert_allclose(shear_operator(frame)[0] @ u, 0.0, rtol=0, atol=1e-12)


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


@pytest.mark.parametrize("order", [2, 3, 4])
@pytest.mark.parametrize("angle", [0.6, math.pi / 2])
def test_curved_cantilever_under_a_tip_load(order: int, angle: float) -> None:
    """Bow girder, clamped at one end, P at the other; by the dummy-load method from
    M = P R sin(phi), T = P R (1 - cos(phi)) (any text on curved beams):
    w = P R^3 [(a/2 - sin 2a / 4) / EI + (3a/2 - 2 sin a + sin 2a / 4) / GJ] + P R a / GA."""
    R, a, section = 2.0, angle, SECTION
    xy, edges = arc_edges(order, R, a, 8)
    w = cantilever(xy, edges, section, R * a, np.array([1.0, 0.0, 0.0]))[0]
    bend = a / 2 - math.sin(2 * a) / 4
    twist = 1.5 * a - 2 * math.sin(a) + math.sin(2 * a) / 4
    exact = R**3 * (bend / section.EI + twist / section.GJ) + R * a / 5.0
    assert w == pytest.approx(exact, rel={2: 1e-4, 3: 1e-6, 4: 1e-8}[order])


# --- stubs ---------------------------------------------------------------------------------


def explicit_stub(
    section: BeamSection, length: float, k: float, k_rot: float
) -> tuple[Floats, Floats]:
    """The stub as a fine beam: stiffness at its node (w, slope) and reaction of its hold."""
    xy, edges = straight_edges(3, length, 3)
    K = assembled(xy, edges, section, length)
    keep = np.setdiff1d(np.arange(len(K)), np.arange(2, len(K), N_FIELDS))  # no twist
    beam = K[np.ix_(keep, keep)]
    K = beam.copy()
    K[-1, -1] += k_rot
    held = math.isinf(k)
    if not held:
        K[-2, -2] += k
    free = np.setdiff1d(np.arange(2, len(K)), [len(K) - 2] if held else [])
    u = np.zeros((len(K), 2))
    u[:2] = np.eye(2)
    # The shear of an Euler beam is 1e6 times as stiff as its bending here: one step of refinement
    # gives back the digits that the solution loses by that.
    for _ in range(2):
        u[free] -= np.linalg.solve(K[np.ix_(free, free)], (K @ u)[free])
    return K[:2] @ u, -(beam @ u)[-2]


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
