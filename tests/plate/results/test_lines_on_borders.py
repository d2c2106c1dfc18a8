"""A straight line along a border of cells, written down with rounding: it is read whole."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from plate.geometry.curves import Curve, arc_through
from plate.geometry.outline import outline_plan
from plate.meshing.cell_sizes import uniform
from plate.meshing.free_mesh import quad_mesh
from plate.results.places import StraightLine

ENDS = np.array([[6.0, -4.6], [6.38462816, 3.55411698]])


@pytest.mark.parametrize("off", [0.0, 4.5e-10, -4.5e-10, 1e-12, 1e-8])
def test_a_line_beside_its_border_by_rounding(off: float) -> None:
    """Cells on both sides cut it, each with its own rounding; no stretch is lost or doubled, and
    the mean of its own share of the length is a half."""
    a, b = (tuple(p) for p in ENDS.tolist())
    corners = [(0.0, -4.0), (12.0, -6.0), (12.0, 2.6), (0.0, 4.0)]
    ring = (
        arc_through(corners[0], (6.0, -4.6), corners[1]),
        Curve(corners[1], corners[2]),
        arc_through(corners[2], (6.0, 3.6), corners[3]),
        Curve(corners[3], corners[0]),
    )
    plan = outline_plan(ring, lines={"W": (Curve(a, b),)})
    mesh = quad_mesh(plan, order=3, field=uniform(0.7))
    line = StraightLine.between(mesh, ENDS + np.array([off, 0.0]))
    assert np.diff(line.stretches, axis=1).sum() == pytest.approx(1.0, abs=1e-6)
    assert_allclose(line.stretches[1:, 0], line.stretches[:-1, 1], atol=1e-9)
    assert line.mean(line.share, 0.0, 1.0) == pytest.approx(0.5, abs=1e-6)
