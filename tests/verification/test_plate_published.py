"""Published cases of `plate.verification`, each group a test; and what holds without a print."""

import math
from collections.abc import Callable

import numpy as np
import pytest

from plate.elements.section import Section
from plate.loads.loads import pressure
from plate.verification.row import Row
from plate.verification.table import CASES
from tests.helpers import HARD, rectangle, result, results, solved, unit_section

W, M_X, M_Y, M_XY = range(4)


# Dear, and the same square in `tests/plate/plastic/test_collapse.py`.
SLOW = ("plastic_square",)
PUBLISHED = [
    pytest.param(case, id=name, marks=[pytest.mark.slow] if name in SLOW else [])
    for case, name in ((case, case.__name__) for case in CASES)
]


@pytest.mark.parametrize("case", PUBLISHED)
def test_published(case: Callable[[], list[Row]]) -> None:
    rows = case()
    assert rows
    assert not [row for row in rows if not row.passes]


def test_no_poisson_effect_is_a_beam() -> None:
    """nu = 0, two edges free: w = 5/384, m_x = 1/8, nothing else, for any width."""
    edges = {"start": ("rigid", False), "end": ("rigid", False)}
    section = unit_section(0.01, 0.0, thin_span=1.0)
    model = rectangle(1.0, 0.7, section, edges, order=4, size=0.25)
    _, U, _ = solved(model, pressure(model.mesh, 1.0))
    found = results(model, U[:, 0], [(0.5, 0.3), (0.5, 0.0), (0.25, 0.7)])
    np.testing.assert_allclose(found[:2, 0], 5.0 / 384.0, rtol=2e-5)  # the model error of thin
    np.testing.assert_allclose(found[:, M_X], [0.125, 0.125, 0.09375], rtol=1e-9)
    np.testing.assert_allclose(found[:, [M_Y, M_XY]], 0.0, rtol=0, atol=1e-9)


def test_huber_plate_is_an_isotropic_one_of_another_width() -> None:
    """H = sqrt(D_x D_y), D_1 = 0: the isotropic plate, nu = 0, of b' = b (D_x/D_y)^(1/4)."""
    section = Section(
        thickness=0.01, E=1.0, poisson=0.0, rigidity=(1.0, 0.25, 0.0, 0.25), thin_span=1.0
    )
    isotropic = unit_section(0.01, 0.0, thin_span=1.0)
    values = []
    for one, b in ((section, 1.0), (isotropic, math.sqrt(2.0))):
        model = rectangle(1.0, b, one, HARD, order=4, size=0.125)
        _, U, _ = solved(model, pressure(model.mesh, 1.0))
        values.append(result(model, U[:, 0], 0.5, b / 2)[[W, M_X]])
    np.testing.assert_allclose(values[0], values[1], rtol=1e-4)
