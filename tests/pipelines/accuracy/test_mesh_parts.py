"""Mesh parts of stated errors: on axes of every angle, by a mesh no coarser than usual."""

from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.testing import assert_allclose

from pipelines.accuracy.mesh_parts import SAFETY, mesh_parts, on_all_axes
from pipelines.model.build import REFINEMENT, cell_size, richer_size, usual_size
from plate.elements.section import moment_rotation
from tests.pipelines.small_decks import BEAMS, PLAN, SLAB, TRAFFIC, deck_of

DIFFERENCES = np.array([[-0.2, 3.0, -1.0, 0.4, 0.7, -2.0], [0.1, 0.0, 0.0, 1.5, 0.0, 0.3]])


def test_components_over_all_angles_of_axes() -> None:
    """By turning the axes: squares are trigonometric sums up to four times the angle, which the
    mean of 16 angles has exactly."""
    angle = np.arange(16) * np.pi / 8.0
    axes = np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    moments = (moment_rotation(axes) @ DIFFERENCES[:, None, 1:4, None])[..., 0]
    across = np.stack([-axes[:, 1], axes[:, 0]], axis=-1)
    shears = np.stack([DIFFERENCES[:, 4:] @ one.T for one in (axes, across)], axis=-1)
    turned = np.concatenate([moments, shears], axis=-1)
    expected = np.sqrt(np.mean(turned**2, axis=1))
    found = on_all_axes(DIFFERENCES)
    assert_allclose(found[:, 1:], expected, rtol=1e-12)
    assert_allclose(found[:, 0], np.abs(DIFFERENCES[:, 0]))


def test_no_part_is_less_than_either() -> None:
    found = mesh_parts(DIFFERENCES)
    assert np.all(found >= SAFETY * np.abs(DIFFERENCES))
    assert np.all(found >= on_all_axes(DIFFERENCES))
    assert found[1, 1] > 1.0  # of m_xy alone, on other axes


def test_wide_cells_are_measured_by_usual_ones(tmp_path: Path) -> None:
    deck = deck_of(tmp_path, SLAB, PLAN, BEAMS, TRAFFIC)
    usual, _ = cell_size(deck)
    assert usual_size(replace(deck, mesh=replace(deck.mesh, size=1.5))) == usual
    assert richer_size(deck, usual) == usual / REFINEMENT
    assert richer_size(replace(deck, mesh=replace(deck.mesh, size=1.5)), 1.5) == usual
