"""Envelopes as they are drawn: teeth of the lattice go, slopes, ridges and edges stay."""

import numpy as np
import pytest

from pipelines.report.drawings import smooth
from pipelines.report.drawings.cuts import FieldMap
from pipelines.report.drawings.smooth import Lattice
from plate.arrays import Floats

STEPS = (0.4, 0.8)


def lattice(divided: bool = False) -> Lattice:
    """A grid of cells of 0.1 m over 4 m by 4 m; divided : in two parts at x = 2 m."""
    nx, ny = 41, 41
    parts = [(0.0, 2.0), (2.0, 4.0)] if divided else [(0.0, 4.0)]
    xy, quads = np.empty((0, 2)), np.empty((0, 4), dtype=np.int64)
    for low, high in parts:
        columns = nx if not divided else 21
        x, y = np.meshgrid(np.linspace(low, high, columns), np.linspace(0.0, 4.0, ny))
        k = np.arange(columns * ny).reshape(ny, columns) + len(xy)
        own = np.stack([k[:-1, :-1], k[:-1, 1:], k[1:, 1:], k[1:, :-1]], axis=-1)
        xy = np.vstack([xy, np.column_stack([x.ravel(), y.ravel()])])
        quads = np.vstack([quads, own.reshape(-1, 4)])
    return Lattice(FieldMap(xy, xy, quads), xy, STEPS)


def tooth(distance: Floats) -> Floats:
    """What a wheel gives at a distance across from it."""
    return np.asarray(np.exp(-3.0 * np.abs(distance)))


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_slope_stays_up_to_its_edges(sign: float) -> None:
    one = lattice()
    x, y = one.track.T
    slope = 3.0 + 2.0 * x - 5.0 * y
    np.testing.assert_allclose(one.smoothed(slope, sign), slope, rtol=1e-12)


def test_stripes_of_the_lattice_go() -> None:
    """Wheels at every 0.8 m across: between them the envelope dips by 1 - exp(-1.2) = 70 %, of
    wheels anywhere it is one; beyond the outermost it falls as it did."""
    one = lattice()
    y = one.track[:, 1]
    wheels = np.arange(0.4, 3.7, 0.8)
    stripes = tooth(y[:, None] - wheels).max(axis=1)
    between = (y > 0.4) & (y < 3.6)
    assert stripes[between].min() < 0.31
    drawn = one.smoothed(stripes, 1.0)
    np.testing.assert_allclose(drawn[between], 1.0, atol=0.06)
    edge = np.isclose(y, 0.0)
    np.testing.assert_allclose(drawn[edge], stripes[edge], rtol=0.15)


def test_never_less_than_the_envelope_nor_more_than_its_largest() -> None:
    one = lattice()
    field = np.random.default_rng(4).normal(size=len(one.track))
    for sign in (1.0, -1.0):
        drawn = one.smoothed(field, sign)
        assert np.all(sign * drawn >= sign * field)
        assert np.abs(drawn).max() <= np.abs(field).max() + 1e-12


def test_a_ridge_is_not_widened() -> None:
    """A moment that falls on both sides of a line as it does over a support."""
    one = lattice()
    ridge = 1.0 - np.abs(one.track[:, 0] - 2.0)
    drawn = one.smoothed(ridge, 1.0)
    np.testing.assert_allclose(drawn, ridge, atol=1e-12)


def test_nothing_is_taken_across_a_division() -> None:
    one = lattice(divided=True)
    half = len(one.track) // 2
    field = np.repeat([1.0, 7.0], half)
    np.testing.assert_allclose(one.smoothed(field, 1.0), field, rtol=1e-12)


def test_pairs_are_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of a lattice that is coarse beside the mesh windows shrink, and a slope is still one."""
    monkeypatch.setattr(smooth, "PAIRS", 3e4)
    one = lattice()
    assert sum(len(near) for near, _ in one._windows) < 9 * 3e4
    slope = one.track[:, 0] - 2.0 * one.track[:, 1]
    np.testing.assert_allclose(one.smoothed(slope, 1.0), slope, rtol=1e-12, atol=1e-12)
