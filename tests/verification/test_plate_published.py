"""Printed values of plate theory against the finite elements.

Handbook values are thin-plate (Kirchhoff) values; the series of `plate.series` recompute those
that are printed with few digits or known to be misprinted. D = 1, uniform pressure 1 unless said.
T&WK stands for Timoshenko and Woinowsky-Krieger, Theory of Plates and Shells, 2nd ed. 1959 (table
numbers from memory).
"""

import math
from dataclasses import replace

import numpy as np
import pytest

from plate.elements.beam import BeamSection
from plate.elements.section import Section
from plate.exact.circular import RingPlate
from plate.exact.clamped import clamped_rectangle
from plate.exact.common import Patch, Rigidity
from plate.exact.infinite_strips import Strip
from plate.exact.levy import LevyPlate
from plate.exact.lines import Line, clamped, simple
from plate.exact.mindlin_ritz import MindlinRectangle
from plate.exact.navier import simply_supported
from plate.exact.polygons import rhombus
from plate.geometry.plan import grid_plan
from plate.loads.loads import pressure
from plate.meshing.grid import Band, Grading, corner_width, grid_mesh
from plate.model.model import PlateModel
from plate.model.supports import BeamLine, LineSupport
from tests.helpers import (
    CLAMPED,
    HARD,
    SOFT,
    Floats,
    patch,
    rectangle,
    result,
    results,
    shear_rigidity,
    solved,
    unit_section,
)

PRINTED = 5e-3  # the printed values carry three or four digits
SERIES = 1e-3  # of the largest value, against series that carry all digits

SIMPLE = HARD  # the same under Kirchhoff's theory
W, M_X, M_Y, M_XY, Q_X, Q_Y = range(6)


def thin(poisson: float, span: float = 1.0) -> Section:
    """D = 1, run as Kirchhoff's theory."""
    return unit_section(0.01, poisson, thin_span=span)


# --- rectangles under uniform load ---------------------------------------------------------


@pytest.mark.parametrize(
    ("b", "printed"),
    [
        (1.0, (0.00406, 0.0479, 0.0479)),
        (1.5, (0.00772, 0.0812, 0.0498)),
        (2.0, (0.01013, 0.1017, 0.0464)),
        (3.0, (0.01223, 0.1189, 0.0406)),
    ],
)
def test_simply_supported(b: float, printed: tuple[float, ...]) -> None:
    """T&WK table 8, nu = 0.3: w, m_x, m_y of the centre."""
    model = rectangle(1.0, b, thin(0.3), SIMPLE, order=3, size=0.2)
    _, U, _ = solved(model, pressure(model.mesh, 1.0))
    found = result(model, U[:, 0], 0.5, b / 2)[:3]
    np.testing.assert_allclose(found, printed, rtol=PRINTED)
    exact = simply_supported(
        1.0, b, Rigidity.isotropic(1.0, 0.3), [Patch.uniform(1.0, b)], 0.5, b / 2
    )
    np.testing.assert_allclose(found, exact.stack()[:3], rtol=SERIES)


@pytest.mark.parametrize(
    ("b", "centre", "edges"),
    [
        # T&WK prints 0.0231 for the centre moment of the square; the series gives 0.022905
        (1.0, (0.00126, 0.0229051, 0.0229051), (-0.0513, -0.0513)),
        (1.5, (0.00220, 0.0368, 0.0203), (-0.0757, -0.0570)),
        (2.0, (0.00254, 0.0412, 0.0158), (-0.0829, -0.0571)),
    ],
)
def test_clamped(b: float, centre: tuple[float, ...], edges: tuple[float, float]) -> None:
    """T&WK table 35, nu = 0.3: centre, then normal moments at the middle of the edges."""
    model = rectangle(1.0, b, thin(0.3), CLAMPED, order=4, size=0.125)
    _, U, _ = solved(model, pressure(model.mesh, 1.0))
    found = results(model, U[:, 0], [(0.5, b / 2), (0.0, b / 2), (0.5, 0.0)])
    np.testing.assert_allclose(found[0, :3], centre, rtol=PRINTED)
    np.testing.assert_allclose([found[1, M_X], found[2, M_Y]], edges, rtol=PRINTED)
    series = clamped_rectangle(1.0, b, 1.0, 0.3, [Patch.uniform(1.0, b)])
    np.testing.assert_allclose(found[0, :3], series.at(0.5, b / 2).stack()[:3], rtol=SERIES)
    exact = [series.edge_moment(2, b / 2)[0], series.edge_moment(0, 0.5)[0]]
    np.testing.assert_allclose([found[1, M_X], found[2, M_Y]], exact, rtol=SERIES)


@pytest.mark.parametrize("poisson", [0.3, 0.2])
@pytest.mark.parametrize("b", [0.5, 1.0, 2.0])
def test_two_edges_free(b: float, poisson: float) -> None:
    """Lévy's series; T&WK table 47 as remembered is wrong at b/a = 0.5 and at the free edge."""
    edges = {"start": ("rigid", True), "end": ("rigid", True)}
    model = rectangle(1.0, b, thin(poisson), edges, order=4, size=0.125)
    _, U, _ = solved(model, pressure(model.mesh, 1.0))
    at = [(0.5, b / 2), (0.5, 0.0)]
    found = results(model, U[:, 0], at)
    plate = LevyPlate(1.0, Rigidity.isotropic(1.0, poisson), (Line(0.0), Line(b)), 400)
    exact = plate.solve([Patch.uniform(1.0, b)]).at(0.5, [b / 2, 0.0]).stack().T
    np.testing.assert_allclose(found[0, :3], exact[0, :3], rtol=SERIES)
    np.testing.assert_allclose(found[1, :2], exact[1, :2], rtol=SERIES)
    if (b, poisson) == (1.0, 0.3):  # printed: 0.01309, 0.1225, 0.0271
        np.testing.assert_allclose(found[0, :3], (0.01309, 0.1225, 0.0271), rtol=PRINTED)


def test_no_poisson_effect_is_a_beam() -> None:
    """nu = 0, two edges free: w = 5/384, m_x = 1/8, nothing else, for any width."""
    edges = {"start": ("rigid", False), "end": ("rigid", False)}
    model = rectangle(1.0, 0.7, thin(0.0), edges, order=4, size=0.25)
    _, U, _ = solved(model, pressure(model.mesh, 1.0))
    found = results(model, U[:, 0], [(0.5, 0.3), (0.5, 0.0), (0.25, 0.7)])
    np.testing.assert_allclose(found[:2, 0], 5.0 / 384.0, rtol=2e-5)  # the model error of thin
    np.testing.assert_allclose(found[:, M_X], [0.125, 0.125, 0.09375], rtol=1e-9)
    np.testing.assert_allclose(found[:, [M_Y, M_XY]], 0.0, rtol=0, atol=1e-9)


@pytest.mark.parametrize(
    ("edge", "b", "printed"),
    [
        ("both", 1.0, (0.00192, 0.0244, 0.0332, -0.0697)),  # T&WK table 29
        ("both", 2.0, (0.00844, 0.0869, 0.0474, -0.1191)),
        ("one", 1.0, (0.00279, 0.0339, 0.0392, -0.0839)),  # T&WK table 32 (0.0028, 0.034, 0.039)
        ("one", 2.0, (0.00927, 0.0941, 0.0469, -0.1215)),
    ],
)
def test_clamped_and_simple(edge: str, b: float, printed: tuple[float, ...]) -> None:
    """Simple at x = 0, a; both or one of y = 0, b clamped. nu = 0.3."""
    first, last = clamped(0.0), clamped(b) if edge == "both" else simple(b)
    edges = SIMPLE | {"left": ("clamped", False)}
    if edge == "both":
        edges |= {"right": ("clamped", False)}
    model = rectangle(1.0, b, thin(0.3), edges, order=4, size=0.125)
    _, U, _ = solved(model, pressure(model.mesh, 1.0))
    found = results(model, U[:, 0], [(0.5, b / 2), (0.5, 0.0)])
    values = [*found[0, :3], found[1, M_Y]]
    np.testing.assert_allclose(values, printed, rtol=PRINTED)
    plate = LevyPlate(1.0, Rigidity.isotropic(1.0, 0.3), (first, last), 400)
    exact = plate.solve([Patch.uniform(1.0, b)]).at(0.5, [b / 2, 0.0]).stack()
    np.testing.assert_allclose(values, [*exact[:3, 0], exact[M_Y, 1]], rtol=SERIES)


@pytest.mark.parametrize(
    ("b", "rigidity", "printed"),
    [
        # T&WK art. 85; D_x, D_y, D_1, D_xy with H = D_1 + 2 D_xy: w, m_x, m_y by Navier's series
        (1.0, (1.0, 0.5, 0.0, 0.353553), (0.0055679, 0.0515603, 0.0244359)),
        (1.0, (1.0, 0.1, 0.0, 0.158114), (0.0092164, 0.0874617, 0.0068952)),
        (1.0, (1.0, 2.0, 0.3, 0.35), (0.0032527, 0.0379304, 0.0693579)),
        (2.0, (1.0, 0.5, 0.15, 0.225), (0.0116594, 0.1140032, 0.0248683)),
    ],
)
def test_orthotropic(
    b: float, rigidity: tuple[float, float, float, float], printed: tuple[float, ...]
) -> None:
    section = Section(0.01, 1.0, 0.3, rigidity=rigidity, thin_span=1.0)
    model = rectangle(1.0, b, section, SIMPLE, order=4, size=0.125)
    _, U, _ = solved(model, pressure(model.mesh, 1.0))
    found = result(model, U[:, 0], 0.5, b / 2)[:3]
    np.testing.assert_allclose(found, printed, rtol=SERIES)
    Dx, Dy, D1, Dxy = rigidity
    uniform = [Patch.uniform(1.0, b)]
    exact = simply_supported(1.0, b, Rigidity(Dx, Dy, D1, Dxy), uniform, 0.5, b / 2)
    np.testing.assert_allclose(found, exact.stack()[:3], rtol=SERIES)


def test_huber_plate_is_an_isotropic_one_of_another_width() -> None:
    """H = sqrt(D_x D_y), D_1 = 0: the isotropic plate, nu = 0, of b' = b (D_x/D_y)^(1/4)."""
    section = Section(0.01, 1.0, 0.0, rigidity=(1.0, 0.25, 0.0, 0.25), thin_span=1.0)
    first = rectangle(1.0, 1.0, section, SIMPLE, order=4, size=0.125)
    second = rectangle(1.0, math.sqrt(2.0), thin(0.0), SIMPLE, order=4, size=0.125)
    values = []
    for model, b in ((first, 1.0), (second, math.sqrt(2.0))):
        _, U, _ = solved(model, pressure(model.mesh, 1.0))
        values.append(result(model, U[:, 0], 0.5, b / 2)[[W, M_X]])
    np.testing.assert_allclose(values[0], values[1], rtol=1e-4)


# --- point and patch loads -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("b", "alpha"),
    [(1.0, 0.01160), (1.4, 0.01484), (2.0, 0.01651)],  # T&WK table 23
)
def test_point_load_on_a_simply_supported_plate(b: float, alpha: float) -> None:
    model = rectangle(1.0, b, thin(0.3), SIMPLE, order=4, size=0.1)
    _, U, _ = solved(model, patch(model.mesh, 0.5, b / 2, 1e-6, 1e-6))
    w = result(model, U[:, 0], 0.5, b / 2)[W]
    assert w == pytest.approx(alpha, rel=PRINTED)
    m = np.arange(1, 60, 2)
    a = m * math.pi * b / 2
    exact = np.sum((np.tanh(a) - a / np.cosh(np.minimum(a, 300)) ** 2) / m**3) / (2 * math.pi**3)
    assert w == pytest.approx(exact, rel=SERIES)


@pytest.mark.parametrize(
    ("b", "w_printed", "m_printed"),
    [(1.0, 0.00560, -0.1257), (1.4, 0.00691, -0.1604), (2.0, 0.00722, -0.1674)],
)
def test_point_load_on_a_clamped_plate(b: float, w_printed: float, m_printed: float) -> None:
    """T&WK table 37: w under the load and the moment at the middle of the long edges."""
    model = rectangle(1.0, b, thin(0.3), CLAMPED, order=4, size=0.1)
    _, U, _ = solved(model, patch(model.mesh, 0.5, b / 2, 1e-6, 1e-6))
    w = result(model, U[:, 0], 0.5, b / 2)[W]
    m = result(model, U[:, 0], 0.0, b / 2)[M_X]
    assert w == pytest.approx(w_printed, rel=PRINTED)
    assert m == pytest.approx(m_printed, rel=PRINTED)


@pytest.mark.parametrize(
    ("b", "u", "v", "printed"),
    [
        # T&WK tables 20 to 22, central patch u along x, v along y, nu = 0.3, by Navier's series
        (1.0, 0.2, 0.2, (0.010864, 0.21241, 0.21241)),
        (1.0, 0.4, 0.2, (0.010083, 0.16060, 0.17871)),
        (1.4, 0.2, 0.6, (0.012459, 0.18063, 0.12458)),
        (2.0, 0.6, 0.4, (0.012812, 0.15026, 0.11450)),
    ],
)
def test_central_patch(b: float, u: float, v: float, printed: tuple[float, ...]) -> None:
    model = rectangle(1.0, b, thin(0.3), SIMPLE, order=4, size=0.07)
    _, U, _ = solved(model, patch(model.mesh, 0.5, b / 2, u, v))
    np.testing.assert_allclose(result(model, U[:, 0], 0.5, b / 2)[:3], printed, rtol=2e-3)


# --- continuous slabs, slabs on beams ------------------------------------------------------


@pytest.mark.parametrize("spans", [2, 3])
@pytest.mark.parametrize("b", [0.5, 1.0])
def test_continuous_over_lines(spans: int, b: float) -> None:
    """Simple at x = 0, 1, line supports at y = 0, b, ...; method as T&WK art. 54. First span
    loaded, then all. Printed for two square spans, both loaded: the plate with one edge clamped."""
    offsets = [b * k for k in range(spans + 1)]
    mesh = grid_mesh(grid_plan([0.0, 1.0], offsets), order=4, size=0.125)
    lines = ("C1", "C2", *(f"L{k + 1}" for k in range(spans + 1)))
    model = PlateModel(mesh, thin(0.3), tuple(LineSupport(n, "rigid") for n in lines))
    first = patch(mesh, 0.5, b / 2, 1.0, b, b)
    _, U, _ = solved(model, first, pressure(mesh, 1.0))
    plate = LevyPlate(1.0, Rigidity.isotropic(1.0, 0.3), tuple(simple(y) for y in offsets), 400)
    one = Patch(0.5, b / 2, 1.0, b, b)
    every = [replace(one, y=b / 2 + b * k) for k in range(spans)]
    y = np.array([b / 2, 1.5 * b, b])
    for k, loads in enumerate(([one], every)):
        found = results(model, U[:, k], [(0.5, v) for v in y])
        exact = plate.solve(loads).at(0.5, y).stack().T
        np.testing.assert_allclose(found[:2, :3], exact[:2, :3], rtol=SERIES, atol=2e-6)
        assert found[2, M_Y] == pytest.approx(exact[2, M_Y], rel=SERIES)
    if spans == 2 and b == 1.0:
        assert found[2, M_Y] == pytest.approx(-0.084, rel=PRINTED)  # T&WK table 32, as above


@pytest.mark.parametrize(
    ("spans", "loaded", "printed"),
    [
        # Fourier integral, nu = 0.2, patch 0.2 x 0.2 P = 1: w, m_x, m_y, m_x over inner supports
        (2, 1, (0.012828, 0.21842, 0.16709, -0.10480)),
        (3, 1, (0.012669, 0.21718, 0.16667, -0.10808, 0.01656)),
        (3, 2, (0.010607, 0.20217, 0.15730, -0.09152, -0.09152)),
    ],
)
def test_continuous_strip(spans: int, loaded: int, printed: tuple[float, ...]) -> None:
    """Spans of 1 along x, wide enough across for the far edges not to matter."""
    stations = [float(k) for k in range(spans + 1)]
    at = loaded - 0.5
    mesh = grid_mesh(
        grid_plan(stations, [-3.0, 3.0]),
        order=4,
        size=0.25,
        bands_u=[Band(at - 0.2, at + 0.2, 0.07)],
        bands_y=[Band(-0.2, 0.2, 0.07)],
    )
    lines = tuple(LineSupport(f"C{k + 1}", "rigid") for k in range(spans + 1))
    model = PlateModel(mesh, thin(0.2), lines)
    _, U, _ = solved(model, patch(mesh, at, 0.0, 0.2, 0.2))
    centre = result(model, U[:, 0], at, 0.0)
    over = results(model, U[:, 0], [(float(k), 0.0) for k in range(1, spans)])[:, M_X]
    np.testing.assert_allclose([*centre[:3], *over], printed, rtol=PRINTED)
    strip = Strip(tuple(simple(x) for x in stations), Rigidity.isotropic(1.0, 0.2), 3.0 * spans)
    exact = strip.solve([Patch(at, 0.0, 0.2, 0.2)])
    values = [*exact.at(at, 0.0).stack()[:3], *exact.at(stations[1:-1], np.zeros(spans - 1)).m_x]
    np.testing.assert_allclose([*centre[:3], *over], values, rtol=3e-3)


@pytest.mark.parametrize(
    ("ratio", "printed"),
    [(100.0, 0.00409), (10.0, 0.00434), (4.0, 0.00472), (1.0, 0.00624), (0.5, 0.00756)],
)
@pytest.mark.parametrize("poisson", [0.3, 0.2])
def test_edges_on_elastic_beams(ratio: float, printed: float, poisson: float) -> None:
    """Square, x edges simple, y edges on beams EI = ratio a D without torsion. T&WK art. 47-48
    prints w of the centre at nu = 0.3 (0.25 in print; from memory)."""
    edges = {"start": ("rigid", False), "end": ("rigid", False)}
    model = rectangle(1.0, 1.0, thin(poisson), edges, order=4, size=0.125)
    beams = tuple(BeamLine(e, BeamSection(ratio, 0.0)) for e in ("left", "right"))
    model = replace(model, beams=beams)
    _, U, _ = solved(model, pressure(model.mesh, 1.0))
    found = results(model, U[:, 0], [(0.5, 0.5), (0.5, 0.0)])
    if poisson == 0.3:
        assert found[0, W] == pytest.approx(printed, rel=PRINTED)
    lines = (Line(0.0, ei=ratio), Line(1.0, ei=ratio))
    plate = LevyPlate(1.0, Rigidity.isotropic(1.0, poisson), lines, 400)
    exact = plate.solve([Patch.uniform(1.0, 1.0)]).at(0.5, [0.5, 0.0]).stack().T
    np.testing.assert_allclose(found[0, :3], exact[0, :3], rtol=SERIES)
    np.testing.assert_allclose(found[1, :2], exact[1, :2], rtol=SERIES)


@pytest.mark.parametrize(
    ("ratio", "printed"),
    [
        (1000.0, (0.017230, 0.209593, 0.159929, -0.083724)),
        (100.0, (0.056529, 0.239564, 0.173148, -0.051729)),
        (10.0, (0.286970, 0.270086, 0.224662, -0.012356)),
    ],
)
def test_slab_on_flexible_girders(ratio: float, printed: tuple[float, ...]) -> None:
    """Length 8 along x, four girders 1 apart with EI = ratio D, patch 0.2 x 0.2 in the middle,
    nu = 0.2; exact Lévy deck: w, m across and along at the load, m across over a girder."""
    mesh = grid_mesh(
        grid_plan([0.0, 8.0], [0.0, 1.0, 2.0, 3.0]),
        order=4,
        size=0.25,
        bands_u=[Band(3.8, 4.2, 0.08)],
        bands_y=[Band(0.9, 2.1, 0.1)],
    )
    supports = (LineSupport("C1", "rigid"), LineSupport("C2", "rigid"))
    beams = tuple(BeamLine(f"L{k}", BeamSection(ratio, 0.0)) for k in (1, 2, 3, 4))
    model = PlateModel(mesh, thin(0.2), supports, beams)
    _, U, _ = solved(model, patch(mesh, 4.0, 1.5, 0.2, 0.2))
    centre, over = results(model, U[:, 0], [(4.0, 1.5), (4.0, 1.0)])
    found = np.array([centre[W], centre[M_Y], centre[M_X], over[M_Y]])
    np.testing.assert_allclose(found, printed, rtol=PRINTED)
    rigid = np.array([0.010607, 0.202173, 0.157304, -0.091518])
    np.testing.assert_allclose(found / rigid, np.array(printed) / rigid, rtol=0.02)


# --- cantilevers and free edges ------------------------------------------------------------


@pytest.mark.parametrize(
    ("poisson", "at", "root"),
    [
        # Jaramillo, J. Appl. Mech. 17 (1950) 67: root moment m_x / P beside the load at x / a
        (0.3, 1.0, (-0.50871, -0.38933, -0.20540)),
        (0.3, 0.5, (-0.36953, -0.19575, -0.07565)),
        (0.2, 1.0, (-0.49118, -0.37744, -0.20340)),
    ],
)
def test_cantilever_slab(poisson: float, at: float, root: tuple[float, ...]) -> None:
    """Root clamped along y at x = 0, free at x = 1; moment at y = 0, 0.5, 1 of the root."""
    mesh = grid_mesh(
        grid_plan([0.0, 1.0], [-7.0, 7.0]), order=4, size=0.2, bands_y=[Band(-0.3, 0.3, 0.1)]
    )
    model = PlateModel(mesh, thin(poisson), (LineSupport("C1", "clamped"),))
    small = 1e-4
    x = min(at, 1.0 - small / 2)
    _, U, _ = solved(model, patch(mesh, x, 0.0, small, small))
    found = results(model, U[:, 0], [(0.0, 0.0), (0.0, 0.5), (0.0, 1.0)])[:, M_X]
    np.testing.assert_allclose(found, root, rtol=PRINTED)


@pytest.mark.parametrize(
    ("poisson", "inside", "edge"),
    [(0.0, 0.215936, 0.455539), (0.2, 0.243383, 0.496599), (0.3, 0.257107, 0.513338)],
)
def test_patch_at_a_free_edge(poisson: float, inside: float, edge: float) -> None:
    """Strip of span 1, patch 0.2 x 0.2 far inside and touching the free end: m_x / P under its
    middle and at the edge. The edge moment is about twice the inner one."""
    fine = 0.05
    mesh = grid_mesh(
        grid_plan([0.0, 1.0], [0.0, 6.0]),
        order=4,
        size=0.25,
        bands_u=[Band(0.35, 0.65, fine)],
        bands_y=[Band(0.0, 0.3, fine), Band(2.85, 3.15, fine)],
    )
    supports = (LineSupport("C1", "rigid"), LineSupport("C2", "rigid"))
    model = PlateModel(mesh, thin(poisson), supports)
    _, U, _ = solved(model, patch(mesh, 0.5, 3.0, 0.2, 0.2), patch(mesh, 0.5, 0.1, 0.2, 0.2))
    found = [result(model, U[:, 0], 0.5, 3.0)[M_X], result(model, U[:, 1], 0.5, 0.0)[M_X]]
    np.testing.assert_allclose(found, [inside, edge], rtol=PRINTED)
    assert found[1] / found[0] == pytest.approx(edge / inside, rel=0.02)


# --- skew plates ---------------------------------------------------------------------------


def skew_model(
    degrees: float, edges: dict[str, tuple[str, bool]], poisson: float, size: float = 0.25
) -> PlateModel:
    """A rhombus of side 1 with an acute angle [degrees], graded to its corners.

    Without grading w and the moments of the middle are 16 to 23 % low at 30 degrees.
    """
    angle = math.radians(degrees)
    plan = grid_plan([0.0, 1.0], [0.0, math.sin(angle)], skew=math.pi / 2 - angle)
    fine = corner_width(size)
    grading = Grading({"C1": fine, "C2": fine}, {"L1": fine, "L2": fine})
    mesh = grid_mesh(plan, order=3, size=size, grading=grading)
    supports = tuple(LineSupport(e, k, h) for e, (k, h) in edges.items())
    return PlateModel(mesh, thin(poisson), supports)


def principal(values: Floats) -> tuple[float, float]:
    """The two principal moments, the larger first."""
    mx, my, mxy = values[1:4]
    centre, radius = 0.5 * (mx + my), math.hypot(0.5 * (mx - my), mxy)
    return centre + radius, centre - radius


@pytest.mark.parametrize(
    ("degrees", "printed", "tolerance"),
    [
        # Morley, Skew Plates and Structures, Pergamon 1963 (30 degrees: .000408, .0191, .0108, the
        # last converging to .01086), the other angles recomputed: w, m_1, m_2 of the centre
        (60.0, (0.002560099, 0.0425341, 0.0332913), 5e-3),
        (45.0, (0.001317140, 0.0322692, 0.0218975), 1e-2),
        (30.0, (0.000407845, 0.0190620, 0.0108573), 1e-2),
    ],
)
def test_simply_supported_rhombus(
    degrees: float, printed: tuple[float, ...], tolerance: float
) -> None:
    model = skew_model(degrees, SIMPLE, 0.3)
    _, U, _ = solved(model, pressure(model.mesh, 1.0))
    angle = math.radians(degrees)
    middle = (0.5 + 0.5 * math.cos(angle), 0.5 * math.sin(angle))
    found = result(model, U[:, 0], *middle)
    values = (found[W], *principal(found))
    np.testing.assert_allclose(values, printed, rtol=tolerance)
    exact = rhombus(angle, ("simple",) * 4, 0.3).solve().at(*middle).stack()
    np.testing.assert_allclose(values, (exact[W], *principal(exact)), rtol=tolerance)


@pytest.mark.parametrize(("degrees", "tolerance"), [(60.0, 5e-3), (45.0, 1e-2)])
def test_rhombus_with_free_edges(degrees: float, tolerance: float) -> None:
    """The inclined edges simple, the others free: Razzaque, IJNME 6 (1973) 333, 60 degrees, whose
    reference (w .7945e-2, m .9589e-1) is 0.44 % and 0.11 % off the converged values used here."""
    edges = {"start": ("rigid", False), "end": ("rigid", False)}
    model = skew_model(degrees, edges, 0.3)
    _, U, _ = solved(model, pressure(model.mesh, 1.0))
    angle = math.radians(degrees)
    cos, sin = math.cos(angle), math.sin(angle)
    middle, edge = (0.5 + 0.5 * cos, 0.5 * sin), (0.5, 0.0)
    found = results(model, U[:, 0], [middle, edge])
    plate = rhombus(angle, ("free", "simple", "free", "simple"), 0.3).solve()
    exact = plate.at([middle[0], edge[0]], [middle[1], edge[1]]).stack().T
    values = [found[0, W], *principal(found[0]), found[1, W], found[1, M_X]]
    wanted = [exact[0, W], *principal(exact[0]), exact[1, W], exact[1, M_X]]
    # the smaller principal moment of the middle is a few per cent of the larger one
    scale = np.array([wanted[0], wanted[1], wanted[1], wanted[3], wanted[4]])
    np.testing.assert_allclose(
        np.array(values) / scale, np.array(wanted) / scale, rtol=0, atol=tolerance
    )


# --- thick plates --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("edges", "kind", "t", "printed"),
    [
        # w in q a^4 / D at nu = 0.3, kappa = 5/6: hard .4273e-2, soft .4617e-2, clamped .150e-2
        # at t/a = 0.1, .217e-2 at 0.2 (finite-element literature, from memory)
        (HARD, "hard", 0.1, 0.004273),
        (SOFT, "soft", 0.1, 0.004617),
        (SOFT, "soft", 0.2, 0.005545),
        (CLAMPED, "clamped", 0.1, 0.001505),
        (CLAMPED, "clamped", 0.2, 0.00217),
    ],
)
def test_thick_square(
    edges: dict[str, tuple[str, bool]], kind: str, t: float, printed: float
) -> None:
    """w and m of the centre, m and q at the middle of an edge."""
    section = unit_section(t, 0.3)
    names = ("start", "end"), ("left", "right")
    grading = Grading(*({name: t / 2 for name in pair} for pair in names))
    model = rectangle(1.0, 1.0, section, edges, order=4, size=0.125, grading=grading)
    _, U, _ = solved(model, pressure(model.mesh, 1.0))
    found = results(model, U[:, 0], [(0.5, 0.5), (0.0, 0.5)])
    assert found[0, W] == pytest.approx(printed, rel=PRINTED)
    S = shear_rigidity(section)
    exact = MindlinRectangle(1.0, 1.0, 1.0, 0.3, S, kind, kind).at([0.5, 0.0], 0.5)
    values = [found[0, W], found[0, M_X], found[1, M_X], found[1, Q_X]]
    wanted = [exact.w[0], exact.m_x[0], exact.m_x[1], exact.q_x[1]]
    np.testing.assert_allclose(values, wanted, rtol=2e-3, atol=1e-4)


# --- rings ---------------------------------------------------------------------------------


@pytest.mark.parametrize("theory", ["thin", "thick"])
@pytest.mark.parametrize(
    ("hole", "outer", "printed"),
    [
        # Kirchhoff, nu = 0.3, outer radius 1, hole free: w and m_t at the hole, m_r outside
        (0.25, "simple", (0.0759680, 0.346958, 0.0)),
        (0.5, "simple", (0.0624417, 0.240443, 0.0)),
        (0.5, "clamped", (0.0052689, 0.027117, -0.079997)),
    ],
)
def test_sector_of_an_annulus(
    hole: float, outer: str, printed: tuple[float, ...], theory: str
) -> None:
    """A curved deck of 60 degrees between guided ends is a part of the whole ring."""
    R = 0.5 * (1.0 + hole)
    half = 0.5 * (1.0 - hole)
    plan = grid_plan([0.0, R * math.pi / 3], [-half, half], radius=R)
    section = thin(0.3) if theory == "thin" else unit_section(0.1, 0.3)
    mesh = grid_mesh(plan, order=4, size=0.1)
    guided = [LineSupport(c, "spring", k=0.0, k_rot=1e8) for c in ("C1", "C2")]
    edge = LineSupport("L1", "clamped" if outer == "clamped" else "rigid")
    model = PlateModel(mesh, section, (*guided, edge))
    _, U, _ = solved(model, pressure(mesh, 1.0))
    S = math.inf if theory == "thin" else shear_rigidity(section)
    ring = RingPlate(1.0, 1.0, 0.3, outer, hole, shear_rigidity=S)
    for share in (0.0, 0.37, 0.5):
        s = share * R * math.pi / 3
        found = results(model, U[:, 0], [(s, half), (s, 0.0), (s, -half)])
        w, m_r, m_t, q_r = ring.at([hole, R, 1.0])
        np.testing.assert_allclose(found[:, W], w, rtol=SERIES, atol=1e-9)
        np.testing.assert_allclose(found[:, M_X], m_t, rtol=SERIES, atol=1e-4)
        np.testing.assert_allclose(found[:, M_Y], m_r, rtol=SERIES, atol=2e-4)
        # the radius grows against the offset
        assert found[1, Q_Y] == pytest.approx(-q_r[1], rel=2e-3)
        if theory == "thin":
            got = (found[0, W], found[0, M_X], found[2, M_Y])
            np.testing.assert_allclose(got, printed, rtol=PRINTED, atol=2e-4)
