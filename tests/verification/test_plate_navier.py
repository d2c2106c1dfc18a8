"""Patches on a hard simply supported plate, b/a = 3, against Navier's series.

The series is the project's own (`plate.exact.navier`), summed to 1e-6 in moments and 1e-5 in
shears off the corners of a patch. Moments and shears of a hard simply supported Mindlin plate are
those of the thin plate; w grows by the shear deflection. All patches have sides of a/10 or more
and edges that cut cells. Fields are compared at their points, moments relative to the largest
|m|, shears to the largest |q| outside a band of width t round the patch's edge, across which q
has a kink in a thin plate.

What governs is the cell beside the patch: under it moments vary over the patch's own size and
their slopes have kinks along its edges, inside cells. Measured with order 3, largest error in m
over all points and 16 patches of least sides: cells of 0.75 of the patch's side 2.7 %, 0.375 1 %,
0.25 0.3 %, 0.2 0.2 %; order 4: 0.375 0.3 %, 0.3 0.2 %. Peak against peak it is 5 to 20 times less.
In q, where t is less than a cell, the kink leaves a tenth of cell over patch: 1 % from cells of a
tenth to a fifteenth of the side on.
"""

import numpy as np
import pytest

from plate.exact.common import Patch, Rigidity
from plate.exact.navier import mindlin_hard, simply_supported
from plate.geometry.plan import grid_plan
from plate.meshing.grid import Band, grid_mesh
from plate.model.model import PlateModel
from plate.results.fields import FieldRecovery
from tests.helpers import HARD, edge_supports, patch, shear_rigidity, solved, unit_section

NU = 0.2
THICKNESSES = (0.3, 0.1, 1e-2, 1e-3, 1e-4)
PATCHES = [(0.07, 1.2, 0.1, 0.1), (0.43, 1.37, 0.1, 0.2), (0.517, 1.433, 0.25, 0.13)]


def errors(
    t: float, place: tuple[float, float, float, float], size: float, fine: float | None
) -> tuple[float, float, float]:
    """Largest errors of w, m, q relative to the largest values, at the field points around the
    patch and a hundred others; `size` of all cells, `fine` of those near the patch."""
    x, y, u, v = place
    bands_u = [Band(x - u, x + u, fine)] if fine else []
    bands_y = [Band(y - v, y + v, fine)] if fine else []
    plan = grid_plan([0.0, 1.0], [0.0, 3.0])
    mesh = grid_mesh(plan, order=3, size=size, bands_u=bands_u, bands_y=bands_y)
    model = PlateModel(mesh=mesh, section=unit_section(t, NU), supports=edge_supports(HARD))
    _, U, _ = solved(model, patch(mesh, *place))
    recovery = FieldRecovery(model)
    fields = recovery.fields(U)[:, :, 0]
    points = recovery.points.plan
    outside = np.abs(points - [x, y]) - 0.5 * np.array([u, v])
    near = np.all(outside < 0.5 * min(u, v), axis=1)
    rng = np.random.default_rng(0)
    chosen = [rng.choice(np.flatnonzero(which), min(n, which.sum()), replace=False)
              for which, n in ((near, 300), (~near, 100))]  # fmt: skip
    index = np.concatenate(chosen)
    px, py = np.append(points[index, 0], x), np.append(points[index, 1], y)
    rigidity = Rigidity.isotropic(1.0, NU)
    thin = simply_supported(1.0, 3.0, rigidity, [Patch(*place)], px, py, modes=300)
    exact = mindlin_hard(thin, NU, shear_rigidity(model.section)).stack()
    error = np.abs(fields[:, index] - exact[:, :-1])
    distance = np.where(
        np.any(outside > 0.0, axis=1),
        np.linalg.norm(np.maximum(outside, 0.0), axis=1),
        -outside.max(axis=1),
    )[index]
    scale = [np.abs(exact[part]).max() for part in (slice(0, 1), slice(1, 4), slice(4, 6))]
    w, m, q = error[0], error[1:4], np.where(distance < t, 0.0, error[4:])
    return float(w.max() / scale[0]), float(m.max() / scale[1]), float(q.max() / scale[2])


@pytest.mark.parametrize("t", THICKNESSES)
def test_cells_of_a_tenth_of_the_patch(t: float) -> None:
    """m within 0.2 % at every point and q within 1 % outside the band, at every thickness."""
    w, m, q = errors(t, PATCHES[0], 0.15, 0.01)
    assert w < 1e-3
    assert m < 2e-3
    assert q < 1e-2


@pytest.mark.slow
@pytest.mark.parametrize("t", THICKNESSES)
@pytest.mark.parametrize("place", PATCHES[1:])
def test_cells_of_a_fifteenth_of_other_patches(
    place: tuple[float, float, float, float], t: float
) -> None:
    w, m, q = errors(t, place, 0.15, min(place[2:]) / 15.0)
    assert w < 1e-3
    assert m < 2e-3
    assert q < 1e-2


@pytest.mark.parametrize("place", PATCHES)
def test_cells_of_a_fifth_of_the_patch(place: tuple[float, float, float, float]) -> None:
    """Enough for moments at every point, and for shears of a plate as thick as decks are."""
    _, m, q = errors(0.1, place, 0.15, 0.19 * min(place[2:]))
    assert m < 2e-3
    assert q < 2e-3


@pytest.mark.parametrize("t", THICKNESSES)
def test_cells_of_three_quarters_of_the_patch(t: float) -> None:
    """What coarse cells leave, stated: 3.1 % in m, and 1 % in q only where the band covers a cell;
    in w 0.4 %, and 1.2 % in a plate so thick that it deflects in shear."""
    w, m, q = errors(t, PATCHES[0], 0.075, None)
    assert w < (4e-3 if t <= 0.1 else 1.2e-2)
    assert 2e-3 < m < 3.1e-2
    assert q < (1e-2 if t >= 0.1 else 0.1)
