"""Cells of decks askew: few towards the corners, the row of the layer beside edges, the rest for
what lies between."""

from pathlib import Path

import numpy as np
import pytest

from pipelines.model.build import build_model
from pipelines.model.case_responses import case_responses
from pipelines.model.responses import SolvedDeck
from plate.exact.polygons import rhombus
from tests.pipelines.small_decks import deck_of

RHOMBUS = """
title = "rhombus"
[slab]
thickness_mm = {t}
E_GPa = 30.0
poisson = 0.3
theory = "{theory}"
[plan]
stations_m = [0.0, 4.0]
offsets_m = [{low}, {high}]
skew_deg = {skew}
[[line]]
on = ["C*"{more}]
support = "rigid"
[[case]]
name = "load"
pressure_kN_m2 = 10.0
[[probe]]
name = "middle"
at_m = [2.0, 0.0]
"""


@pytest.mark.parametrize("skew", [30.0, 45.0])
def test_the_default_mesh_has_the_middle_of_a_rhombus(tmp_path: Path, skew: float) -> None:
    """A thin one on four simple edges, whose obtuse corners spoil the middle of a mesh that is not
    graded by 0.2 and 2 %: deflection and principal moments by Williams' corner functions, within
    0.3 %."""
    half = 2.0 * float(np.cos(np.radians(skew)))
    more = ', "L*"'
    deck = deck_of(
        tmp_path, RHOMBUS, t=40, theory="kirchhoff", skew=skew, low=-half, high=half, more=more
    )
    w, mx, my, mxy = case_responses(SolvedDeck.of(deck))["load"].probes[:4, 0]
    angle = np.radians(90.0 - skew)
    of_unit = rhombus(angle, ("simple",) * 4, 0.3).solve()
    centre = np.array([[0.5 * (1.0 + np.cos(angle)), 0.5 * np.sin(angle)]])
    exact = of_unit.at(centre[:, 0], centre[:, 1]).stack().T[0]
    side, D = 4.0, 30e9 * 0.04**3 / 12.0 / (1.0 - 0.3**2)
    np.testing.assert_allclose(w, exact[0] * 1e4 * side**4 / D, rtol=3e-3)
    known = principal(*(exact[1:4] * 1e4 * side**2))
    np.testing.assert_allclose(principal(mx, my, mxy), known, rtol=3e-3)


def principal(mx: float, my: float, mxy: float) -> list[float]:
    """The principal moments."""
    radius = np.hypot(0.5 * (mx - my), mxy)
    return [0.5 * (mx + my) + radius, 0.5 * (mx + my) - radius]


def test_rows_of_half_a_thickness_go_on_beside_the_cells_of_corners(tmp_path: Path) -> None:
    """On the free edges of a skew deck no cell nearer than half a thickness reaches further in."""
    deck = deck_of(
        tmp_path, RHOMBUS, t=400, theory="mindlin", skew=30.0, low=-3.0, high=3.0, more=""
    )
    mesh = build_model(deck).model.mesh
    y = np.unique(mesh.corners[..., 1].round(9))
    assert {-2.8, 2.8} <= set(y.tolist())
    beside = np.diff(y[y <= -2.8 + 1e-9])
    # four rows, each 0.15 of the next, others three times the one before and what is left
    np.testing.assert_allclose(beside[:3] / beside[1:4], 0.15, rtol=1e-3)
    assert np.all(beside[4:] <= 3.0 * beside[3:-1] * (1.0 + 1e-6))
