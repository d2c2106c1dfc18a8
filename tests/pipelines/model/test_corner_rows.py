"""Rows of cells towards obtuse corners: as many as the corner's moments ask for."""

from pathlib import Path

import numpy as np
import pytest

from pipelines.model.build import build_model
from pipelines.model.responses import SolvedDeck, case_responses
from plate.meshing.grid import CORNER_RATIO, corner_width
from tests.pipelines.small_decks import deck_of

RHOMBUS = """
title = "rhombus"
[slab]
thickness_mm = 50
E_GPa = 30.0
poisson = 0.3
theory = "kirchhoff"
[plan]
stations_m = [0.0, 4.0]
offsets_m = [{low}, {high}]
skew_deg = {skew}
[[line]]
on = ["C*", "L*"]
support = "rigid"
[[case]]
name = "load"
pressure_kN_m2 = 10.0
[[probe]]
name = "middle"
at_m = [2.0, 0.0]
[mesh]
size_m = 0.5
"""


@pytest.mark.parametrize(("skew", "rows"), [(30.0, 2), (45.0, 3), (60.0, 5)])
def test_fewer_rows_spoil_nothing_in_the_middle(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, skew: float, rows: int
) -> None:
    """A simply supported rhombus, whose obtuse corners are the strongest there are between held
    edges: deflection and moments at its middle with the rows of each corner and with two more,
    within 0.2 %. Without rows those of 60 degrees are 11 % off."""
    half = 2.0 * float(np.cos(np.radians(skew)))
    deck = deck_of(tmp_path, RHOMBUS, skew=skew, low=-half, high=half)

    def found() -> tuple[int, np.ndarray]:
        solved = SolvedDeck.of(deck)
        values = case_responses(solved)["load"].probes[:3, 0]
        return solved.model.mesh.n_cells, values

    wide = corner_width(0.5, np.pi / np.radians(90.0 + skew))
    assert wide == pytest.approx(0.5 * CORNER_RATIO**rows)
    cells, own = found()
    assert build_model(deck).model.mesh.n_cells == cells
    monkeypatch.setattr("pipelines.model.build.corner_width", lambda size, *_: wide * 0.15**2)
    more, better = found()
    assert more > cells
    np.testing.assert_allclose(own, better, rtol=2e-3)
    monkeypatch.setattr("pipelines.model.build.corner_width", lambda size, *_: size)
    _, worse = found()
    assert np.abs(worse / better - 1.0).max() > 2e-3
