"""Shears and moments beside a thin support line of a wheel close by, on the default mesh.

A panel held hard on four sides, whose moments and shears are those of the thin plate by Navier's
series (`plate.exact.navier`), under a wheel of 0.76 by 1.01 m whose edges cut cells of 0.62 m, at
places off the line from 0.4 to 1.4 m. The series is summed to 1e-4 of the largest shear.
"""

import numpy as np
import pytest

from pipelines.model.build import build_model
from plate.arrays import Floats
from plate.elements.plate import cell_dofs
from plate.exact.common import Patch, Rigidity
from plate.exact.navier import mindlin_hard, simply_supported
from plate.geometry.elementary import rectangle_corners
from plate.model.model import PlateModel
from plate.results.fields import FieldRecovery, cell_operators
from plate.results.kinks import shears_missed
from plate.results.places import at_field_points
from tests.helpers import patch, shear_rigidity, solved
from tests.pipelines.small_decks import SLAB, deck_of

LENGTH, WIDTH = 4.0, 6.0
WHEEL = (0.76, 1.01)
PANEL = """
[plan]
stations_m = [0.0, 4.0]
offsets_m = [-3.0, 3.0]
[[line]]
on = ["C*", "L*"]
support = "rigid"
hard = true
[traffic]
carriageway_m = [-3.0, 3.0]
offsets_m = [0.0]
step_m = 0.5
surfacing_mm = 80
[[vehicle]]
name = "wheels"
axles = [{ at_m = 0.0, load_kN = 100, gauge_m = 1.8, patch_mm = [350, 600] }]
"""
# centre of the wheel, from a corner of the panel
OFF = (0.4, 0.5, 0.63, 0.7, 0.8, 0.9, 1.0, 1.2, 1.4)
PLACES = [(x, 3.0 + y) for x, y in zip(OFF, 4 * (0.03, 0.21) + (0.03,), strict=True)]


@pytest.fixture(scope="module")
def shears(tmp_path_factory: pytest.TempPathFactory) -> tuple[Floats, Floats, Floats, Floats]:
    """At plan points 0.25 to 1.0 m off the line the six results (6, n, n_place) as the run reads
    them, as the mean of the cells, and exact; what shears (2, n, n_place) lack as they are read."""
    deck = deck_of(tmp_path_factory.mktemp("deck"), SLAB, PANEL)
    model = build_model(deck).model
    loads = [patch(model.mesh, x, y - 0.5 * WIDTH, *WHEEL) for x, y in PLACES]
    _, U, _ = solved(model, *loads)
    recovery = FieldRecovery(model)
    points = recovery.points.plan + np.array([0.0, 0.5 * WIDTH])
    t = deck.slab.thickness
    off, beside = points[:, 0], np.abs(points[:, 1] - 0.5 * WIDTH)
    chosen = np.flatnonzero((off >= t - 1e-9) & (off <= 1.0) & (beside < 1.2))
    at = points[chosen]
    rigidity = Rigidity.isotropic(1.0, model.section.poisson)
    exact = []
    for x, y in PLACES:
        load = [Patch(x, y, *WHEEL)]
        thin = simply_supported(LENGTH, WIDTH, rigidity, load, at[:, 0], at[:, 1], modes=200)
        hard = mindlin_hard(thin, model.section.poisson, shear_rigidity(model.section))
        exact.append(hard.stack())
    mean = cell_means(model, recovery, U)[:, chosen]
    places = at_field_points(recovery.points, chosen)
    lacking = np.empty((2, len(chosen), len(PLACES)))
    for j, (x, y) in enumerate(PLACES):
        loads = [(rectangle_corners((x, y - 0.5 * WIDTH), WHEEL)[None], np.ones(1))]
        under = np.zeros(len(chosen), dtype=np.int64)
        for k in (4, 5):
            components = np.full(len(chosen), k)
            lacking[k - 4, :, j] = shears_missed(model, places, components, loads, under)
    return recovery.fields(U)[:, chosen], mean, np.stack(exact, axis=-1), lacking


def cell_means(model: PlateModel, recovery: FieldRecovery, U: Floats) -> Floats:
    """The six results (6, n_point, n) as means of the cells that meet."""
    cells = recovery.points.cells
    operators = cell_operators(model, np.arange(len(cells)), recovery.points.reference)
    local = np.einsum("cqrd,cdn->cqrn", operators, U[cell_dofs(model.mesh.cells)], optimize=True)
    total = np.zeros((recovery.points.n_points, 6, U.shape[1]))
    np.add.at(total, cells, local)
    return np.asarray((total / np.bincount(cells.ravel())[:, None, None]).swapaxes(0, 1))


def test_moments_beside_the_line(shears: tuple[Floats, Floats, Floats, Floats]) -> None:
    """Within 2 % of the largest anywhere and 0.6 % in the mean; those along the wheel's way off the
    line and the twist have half the error of the cells' means (measured 0.48 and 0.51)."""
    read, mean, exact, _ = shears
    for k in (1, 2, 3):
        assert np.abs(read[k] - exact[k]).max() < 0.02 * np.abs(exact[k]).max()
        assert rms(read[k] - exact[k]) < 0.006 * np.abs(exact[k]).max()
    for k in (1, 3):
        assert rms(read[k] - exact[k]) < 0.6 * rms(mean[k] - exact[k])


def test_shears_beside_the_line(shears: tuple[Floats, Floats, Floats, Floats]) -> None:
    """In the mean within 1.2 and 2.2 % of the largest, three quarters of what the cells' means err
    by; anywhere, where a wheel's edge that cuts cells lies beside, within 8 %."""
    read, mean, exact, _ = shears
    for k, least in ((4, 0.012), (5, 0.022)):
        largest = np.abs(exact[k]).max()
        assert rms(read[k] - exact[k]) < least * largest
        assert rms(read[k] - exact[k]) < 0.85 * rms(mean[k] - exact[k])
        assert np.abs(read[k] - exact[k]).max() < 0.08 * largest


def test_what_is_known_to_be_lacking(shears: tuple[Floats, Floats, Floats, Floats]) -> None:
    """With it shears are within 2 % of the largest everywhere, and have less than two fifths of the
    error (measured 0.35 and 0.22)."""
    read, _, exact, lacking = shears
    for k in (4, 5):
        largest = np.abs(exact[k]).max()
        left = read[k] + lacking[k - 4] - exact[k]
        assert np.abs(left).max() < 0.02 * largest
        assert rms(left) < 0.4 * rms(read[k] - exact[k])


def rms(errors: Floats) -> float:
    return float(np.sqrt(np.mean(errors**2)))
