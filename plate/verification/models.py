"""Small plates of rigidity 1 for the published cases, and their results at points."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from plate.arrays import Floats
from plate.elements.section import Section
from plate.geometry.elementary import rectangle_corners
from plate.geometry.plan import grid_plan
from plate.loads.loads import patch_loads, pressure
from plate.meshing.grid import Band, Grading, grid_mesh
from plate.model.model import PlateModel
from plate.model.supports import BeamLine, LineSupport
from plate.results.functionals import result_rows
from plate.results.places import at_points
from plate.solver.stiffness import Stiffness

Point = tuple[float, float]

ORDER = 4
# (centre x, centre y, side along x, side across y, total) of a patch
Load = tuple[float, float, float, float, float]


@dataclass(frozen=True)
class Analysis:
    """A solved plate."""

    model: PlateModel
    u: Floats

    def at(self, *points: Point) -> Floats:
        """w, m_x, m_y, m_xy, q_x, q_y (n, 6) at plan points, the mean of the cells that meet."""
        places = at_points(self.model.mesh, np.array(points))
        return np.asarray(result_rows(self.model, places) @ self.u).reshape(-1, 6)


def unit_section(poisson: float, t: float = 0.01, *, thin: bool = True) -> Section:
    """A section of rigidity D = 1; thin: by Kirchhoff's theory, in panels about 1 wide."""
    E = 12.0 * (1.0 - poisson**2) / t**3
    return Section(thickness=t, E=E, poisson=poisson, thin_span=1.0 if thin else None)


def shear_rigidity(section: Section) -> float:
    """kappa G t of the section [N/m]."""
    return float(section.shear(np.zeros((1, 2)))[0])


def plate(
    stations: Sequence[float],
    offsets: Sequence[float],
    section: Section,
    supports: Mapping[str, str],
    *,
    size: float,
    beams: Sequence[BeamLine] = (),
    springs: Sequence[LineSupport] = (),
    bands_x: Sequence[tuple[float, float, float]] = (),
    bands_y: Sequence[tuple[float, float, float]] = (),
    grading: Grading | None = None,
    skew: float = 0.0,
    radius: float = np.inf,
) -> PlateModel:
    """A plate on a grid of lines.

    supports : line name -> "soft", "hard" or "clamped". bands_x, bands_y : low, high and cell
    size [m] of ranges that are meshed finer.
    """
    mesh = grid_mesh(
        grid_plan(stations, offsets, skew=skew, radius=radius),
        order=ORDER,
        size=size,
        grading=grading,
        bands_u=[Band(*b) for b in bands_x],
        bands_y=[Band(*b) for b in bands_y],
    )
    held = [
        LineSupport(
            line=name, kind="clamped" if kind == "clamped" else "rigid", hard=kind == "hard"
        )
        for name, kind in supports.items()
    ]
    return PlateModel(mesh=mesh, section=section, supports=(*held, *springs), beams=tuple(beams))


def under(model: PlateModel, *loads: Load, uniform: float = 0.0) -> Analysis:
    """Solve for patches and a uniform pressure acting together."""
    F = pressure(model.mesh, uniform)
    for x, y, a, b, total in loads:
        corners = rectangle_corners([(x, y)], (a, b))
        one = np.zeros(1, dtype=np.int64)
        F = F + patch_loads(model.mesh, corners, np.array([total]), one, 1).toarray()[:, 0]
    return Analysis(model, Stiffness(model).solve(F[:, None], refine=True)[:, 0])
