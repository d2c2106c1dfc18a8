"""Beside which edges and lines Mindlin's layer holds twisting moments, by exact series."""

import numpy as np
import pytest

from plate.arrays import Floats
from plate.exact.common import Patch, Rigidity
from plate.exact.levy import LevyPlate
from plate.exact.lines import Line, simple
from plate.exact.thick import ThickPlate

T, E, NU, SPAN = 0.25, 30e9, 0.2, 4.0
D = E * T**3 / (12.0 * (1.0 - NU**2))
SHEAR = 5.0 / 6.0 * E / (2.0 * (1.0 + NU)) * T
EDGE, FAR = -2.0, simple(2.0)
# Shares of the thickness off the edge or line.
AWAY = np.array([0.0, 0.1, 0.25, 0.5, 1.0])
BEAM = {"ei": 50e6, "ga": 3e8}


def twists(lines: tuple[Line, ...], y: float, side: int) -> tuple[Floats, Floats]:
    """m_xy by Mindlin's and by Kirchhoff's theory on one side of y, beside a wheel."""
    load = [Patch(1.5, -1.0, 1.0, 1.0, 100e3)]
    thick = ThickPlate(a=SPAN, d=D, poisson=NU, shear_rigidity=SHEAR, lines=lines, modes=300)
    thin = LevyPlate(SPAN, Rigidity.isotropic(D, NU), lines, modes=300)
    at = y + side * np.maximum(AWAY * T, 1e-12)
    x = np.full(len(at), 0.7)
    return thick.solve(load).at(x, at).m_xy, thin.solve(load).at(x, at).m_xy


@pytest.mark.parametrize(
    "edge",
    [Line(y=EDGE), simple(EDGE), Line(y=EDGE, spring=1e8)],
    ids=["free", "softly supported", "on springs"],
)
def test_an_edge_that_does_not_hold_the_slope_has_the_layer(edge: Line) -> None:
    """The twist is Kirchhoff's but for a share exp(-sqrt(10) d/t), all of it at the edge; the next
    term is of the order of t^2 q/m_xy over the layer's sqrt(10), here 0.06."""
    thick, thin = twists((edge, FAR), EDGE, 1)
    layer = 1.0 - np.exp(-np.sqrt(10.0) * AWAY)
    assert thick[0] == pytest.approx(0.0, abs=1e-6 * np.abs(thin[0]))
    np.testing.assert_allclose(thick / thin, layer, rtol=0, atol=0.07)


def test_an_edge_that_holds_the_slope_has_none() -> None:
    thick, thin = twists((Line(y=EDGE, held=True, hard=True), FAR), EDGE, 1)
    np.testing.assert_allclose(thick, thin, rtol=0.01)


def test_a_beam_at_the_edge_has_a_part_of_it() -> None:
    """A thickness away the twist is Kirchhoff's, at the edge less than half of it."""
    thick, thin = twists((Line(y=EDGE, gj=1e6, **BEAM), FAR), EDGE, 1)
    assert abs(thick[0]) < 0.5 * abs(thin[0])
    assert thick[-1] == pytest.approx(thin[-1], rel=0.1)
    # what stands for it at the edge is on the safe side
    assert abs(thick[-1]) > abs(thin[0])


@pytest.mark.parametrize(
    "line",
    [simple(0.0), Line(y=0.0, gj=1e5, **BEAM), Line(y=0.0, gj=1e5, ei=50e6)],
    ids=["soft", "beam with a shear area", "beam without"],
)
def test_within_the_slab_the_layer_is_of_the_next_order_and_turns_its_sign(line: Line) -> None:
    """On the line each side is within a tenth of Kirchhoff's twist, their mean within 2 %; read a
    thickness away it would be as far off."""
    lines = (Line(y=EDGE), line, FAR)
    (before, thin), (after, _) = (twists(lines, 0.0, side) for side in (-1, 1))
    for thick in (before, after):
        assert thick[0] == pytest.approx(thin[0], rel=0.1)
    assert 0.5 * (before[0] + after[0]) == pytest.approx(thin[0], rel=0.02)
    assert abs(after[-1] / thin[0] - 1.0) > 0.05
