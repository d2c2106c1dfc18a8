"""Published cases of slabs on lines and girders, cantilevers and strips under wheels.

Prints are from memory (`row.PRINTS` names them in full). D = 1, spans of 1, load 1 unless said.
Where a case has no print the project's own series is the source, which knows nothing of the finite
elements. Infinite strips are meshed far enough for the ends not to matter.
"""

import itertools
import math

import numpy as np

from plate.elements.beam import BeamSection
from plate.exact.common import Patch, Rigidity
from plate.exact.infinite_strips import Strip, half_plane_clamped
from plate.exact.levy import LevyPlate
from plate.exact.lines import Line, clamped, simple
from plate.model.supports import BeamLine
from plate.verification.models import plate, under, unit_section
from plate.verification.row import PRINTED, TWK, Row, compared

W, M_X, M_Y, M_XY, Q_X, Q_Y = range(6)
POINT = 1e-4  # side of the patch that stands for a point load


def continuous_panels() -> list[Row]:
    rows = []
    levy = Rigidity.isotropic(1.0, 0.3)
    names = "w span 1, m_x span 1, m_y span 1, m_y support, w span 2, m_x span 2, m_y span 2"
    for spans, b, every in itertools.product((2, 3), (1.0, 0.5), (True, False)):
        offsets, loaded = [b * k for k in range(spans + 1)], spans if every else 1
        edges = dict.fromkeys(("C1", "C2", *(f"L{k + 1}" for k in range(spans + 1))), "soft")
        model = plate([0.0, 1.0], offsets, unit_section(0.3), edges, size=0.125)
        found = under(model, (0.5, b * loaded / 2, 1.0, b * loaded, b * loaded))
        at = found.at((0.5, b / 2), (0.5, b), (0.5, 1.5 * b))
        solution = LevyPlate(1.0, levy, tuple(simple(y) for y in offsets), 400).solve(
            [Patch(0.5, b * (k + 0.5), 1.0, b, b) for k in range(loaded)]
        )
        exact = solution.at(0.5, b * np.array([0.5, 1.0, 1.5])).stack()
        which = "all" if every else "first"
        shape = "square spans" if b == 1.0 else f"spans b/a = {b:g}"
        case = f"{spans} {shape} over lines, {which} loaded"
        wanted = [*exact[:3, 0], exact[M_Y, 1], *exact[:3, 2]]
        ours = [*at[0, :3], at[1, M_Y], *at[2, :3]]
        rows += compared(case, f"{TWK} art. 54, Lévy's series", names, wanted, ours)
        if loaded == spans == 2 and b == 1.0:
            # the same as a square with one edge clamped
            printed = (0.0028, 0.034, 0.039, -0.084)
            # prints of two digits: half a unit of the last one is 1.8 %
            four = ", ".join(names.split(", ")[:4])
            rows += compared(case, f"{TWK} table 32", four, printed, ours[:4], within=1.8e-2)
            support = [printed[3]], [ours[3]]
            rows += compared(case, f"{TWK} table 32", "m_y support", *support, within=PRINTED)
    return rows


def strip_under_a_wheel() -> list[Row]:
    rows = []
    for c, poisson in ((0.1, 0.2), (0.2, 0.2), (0.2, 0.0)):
        model = plate(
            [0.0, 1.0],
            [-3.0, 3.0],
            unit_section(poisson),
            {"C1": "soft", "C2": "soft"},
            size=0.25,
            bands_x=[(0.5 - c, 0.5 + c, c / 2)],
            bands_y=[(-c, c, c / 2)],
        )
        found = under(model, (0.5, 0.0, c, c, 1.0)).at((0.5, 0.0))[0]
        strip = Strip((simple(0.0), simple(1.0)), Rigidity.isotropic(1.0, poisson), 3.0)
        exact = strip.solve([Patch(0.5, 0.0, c, c)]).at(0.5, 0.0).stack()
        case = f"Simple strip, wheel {c:g} x {c:g} at midspan, nu = {poisson:g}"
        names = "w, m_x, m_y"
        rows += compared(case, "Fourier series", names, exact[:3], found[:3], within=2e-3)
        # a square of side c is as a circle of radius 0.5706 c
        m_x = ((1 + poisson) * math.log(2 / (math.pi * 0.57055 * c)) + 1) / (4 * math.pi)
        m_y = m_x - (1 - poisson) / (4 * math.pi)
        # a formula for small patches: 0.02 % off at c = 0.1, 0.3 % at 0.2
        both, source = [found[M_X], found[M_Y]], f"{TWK} art. 37, formula"
        rows += compared(case, source, "m_x, m_y", [m_x, m_y], both, within=1e-2)
    return rows


def strip_over_lines() -> list[Row]:
    rows = []
    for spans, loaded in ((2, 1), (3, 1), (3, 2)):
        stations = [float(k) for k in range(spans + 1)]
        at = loaded - 0.5
        model = plate(
            stations,
            [-3.0, 3.0],
            unit_section(0.2),
            {f"C{k + 1}": "soft" for k in range(spans + 1)},
            size=0.25,
            bands_x=[(at - 0.2, at + 0.2, 0.1)],
            bands_y=[(-0.2, 0.2, 0.1)],
        )
        inner = stations[1:-1]
        found = under(model, (at, 0.0, 0.2, 0.2, 1.0)).at((at, 0.0), *((x, 0.0) for x in inner))
        strip = Strip(tuple(simple(x) for x in stations), Rigidity.isotropic(1.0, 0.2), 9.0)
        places = [at, *inner], [0.0] * spans
        exact = strip.solve([Patch(at, 0.0, 0.2, 0.2)]).at(*places).stack()
        case = f"Strip of {spans} spans, wheel 0.2 x 0.2 in span {loaded}, nu = 0.2"
        wanted, ours = [*exact[:3, 0], *exact[M_X, 1:]], [*found[0, :3], *found[1:, M_X]]
        names = ", ".join(["w, m_x, m_y", *(f"m_x over line {k + 2}" for k in range(spans - 1))])
        rows += compared(case, "Fourier series", names, wanted, ours, within=2e-3)
    return rows


def cantilever() -> list[Row]:
    rows = []
    for at, poisson in ((1.0, 0.3), (0.5, 0.3), (1.0, 0.2)):
        x = min(at, 1.0 - POINT / 2)
        model = plate(
            [0.0, 1.0],
            [-7.0, 7.0],
            unit_section(poisson),
            {"C1": "clamped"},
            size=0.2,
            bands_y=[(-0.3, 0.3, 0.1)],
        )
        places = [0.0] * 3, [0.0, 0.5, 1.0]
        found = under(model, (x, 0.0, POINT, POINT, 1.0)).at(*zip(*places, strict=True))[:, M_X]
        case = f"Cantilever slab, point load at {at:g}, nu = {poisson:g}"
        strip = Strip((clamped(0.0), Line(y=1.0)), Rigidity.isotropic(1.0, poisson), 7.0)
        exact = strip.solve([Patch(x, 0.0, POINT, POINT)]).at(*places).m_x
        names = "m_x root, m_x root at 0.5, m_x root at 1"
        rows += compared(case, "Fourier series", names, exact, found, within=PRINTED)
        if at == 1.0 and poisson == 0.3:
            source = "Jaramillo 1950"
            rows += compared(case, source, "m_x root", [-0.509], found[:1], within=PRINTED)
    return rows


def wheel_beside_a_clamped_edge() -> list[Row]:
    """u from an edge of a clamped strip 50 u wide, which moves the root moment by 0.1 %."""
    u = 0.02
    model = plate(
        [0.0, 1.0],
        [-1.0, 1.0],
        unit_section(0.2),
        {"C1": "clamped", "C2": "clamped"},
        size=0.2,
        bands_x=[(0.0, 4 * u, u / 2)],
        bands_y=[(-4 * u, 4 * u, u / 2)],
    )
    found = under(model, (u, 0.0, POINT, POINT, 1.0)).at((0.0, 0.0), (0.0, u), (0.0, 2 * u))
    moment, _ = half_plane_clamped([0.0, 1.0, 2.0])
    case = "Point load near a long clamped edge"
    names = "m_x root, m_x root at u, m_x root at 2u"
    source = "half-plane, closed form -P/(pi (1 + s²))"
    return compared(case, source, names, moment, found[:, M_X], within=PRINTED, largest=True)


def slab_on_girders() -> list[Row]:
    rows = []
    for ratio in (1000.0, 100.0, 10.0):
        beams = [BeamLine(line=f"L{k}", section=BeamSection(ratio, 0.0)) for k in (1, 2, 3, 4)]
        model = plate(
            [0.0, 8.0],
            [0.0, 1.0, 2.0, 3.0],
            unit_section(0.2),
            {"C1": "soft", "C2": "soft"},
            size=0.25,
            beams=beams,
            bands_x=[(3.8, 4.2, 0.1)],
            bands_y=[(0.9, 2.1, 0.1)],
        )
        found = under(model, (4.0, 1.5, 0.2, 0.2, 1.0)).at((4.0, 1.5), (4.0, 1.0))
        lines = tuple(Line(y=float(y), ei=ratio) for y in range(4))
        levy = LevyPlate(8.0, Rigidity.isotropic(1.0, 0.2), lines, 2400)
        solution = levy.solve([Patch(4.0, 1.5, 0.2, 0.2)])
        exact = solution.at(4.0, np.array([1.5, 1.0])).stack()
        case = f"Four girders EI = {ratio:g} DS, wheel 0.2 x 0.2 mid deck"
        names = "w, m_x, m_y, m_y over girder"
        wanted, ours = [*exact[:3, 0], exact[M_Y, 1]], [*found[0, :3], found[1, M_Y]]
        source = f"Lévy's series ({TWK} art. 47)"
        rows += compared(case, source, names, wanted, ours, within=3e-3, largest=True)
    return rows


def wheel_at_a_free_edge() -> list[Row]:
    rows = []
    for poisson in (0.0, 0.2, 0.3):
        model = plate(
            [0.0, 1.0],
            [0.0, 6.0],
            unit_section(poisson),
            {"C1": "soft", "C2": "soft"},
            size=0.25,
            bands_x=[(0.35, 0.65, 0.05)],
            bands_y=[(0.0, 0.3, 0.05), (2.85, 3.15, 0.05)],
        )
        levy = LevyPlate(1.0, Rigidity.isotropic(1.0, poisson), (Line(y=0.0), Line(y=6.0)), 2000)
        for y, at, where in ((0.1, 0.0, "at its free end"), (3.0, 3.0, "far inside")):
            load = (0.5, y, 0.2, 0.2, 1.0)
            found = under(model, load).at((0.5, at))[0]
            exact = levy.solve([Patch(*load)]).at(0.5, at).stack()
            case = f"Strip, wheel 0.2 x 0.2 {where}, nu = {poisson:g}"
            pair = exact[:2], found[:2]
            rows += compared(case, "Lévy's series", "w, m_x", *pair, within=PRINTED)
    return rows


def shear_beside_a_line() -> list[Row]:
    rows = []
    for line, kind, c, at in (
        (simple, "hard", 0.2, 0.2),
        (clamped, "clamped", 0.1, 0.25),
        (clamped, "clamped", 0.2, 0.3),
    ):
        model = plate(
            [0.0, 1.0],
            [-2.0, 2.0],
            unit_section(0.2),
            {"C1": kind, "C2": kind},
            size=0.2,
            bands_x=[(0.0, at + c, c / 3)],
            bands_y=[(-0.3, 0.3, c / 3)],
        )
        found = under(model, (at, 0.0, c, c, 1.0)).at((0.0, 0.0))[0]
        strip = Strip((line(0.0), line(1.0)), Rigidity.isotropic(1.0, 0.2), 2.0)
        exact = strip.solve([Patch(at, 0.0, c, c)]).at(0.0, 0.0).stack()
        case = f"Strip, {'simple' if kind == 'hard' else kind} edges, wheel {c:g} at {at:g}"
        pairs = [exact[Q_X]], [found[Q_X]]
        rows += compared(case, "Fourier series", "q_x at the line", *pairs, within=1e-2)
        if kind == "clamped":
            pairs = [exact[M_X]], [found[M_X]]
            rows += compared(case, "Fourier series", "m_x root", *pairs, within=3e-3)
    return rows


CASES = (
    continuous_panels,
    strip_under_a_wheel,
    strip_over_lines,
    cantilever,
    wheel_beside_a_clamped_edge,
    slab_on_girders,
    wheel_at_a_free_edge,
    shear_beside_a_line,
)
