"""Where fields may be read: points at just the distance asked for are decided alike everywhere."""

from pathlib import Path

import numpy as np
import pytest

from pipelines.model.build import build_model
from pipelines.model.readable import Mask, ReadablePoints, clear_of_lines, reaches
from plate.arrays import Floats
from plate.geometry.elementary import distance_from_segments
from plate.geometry.plan import EDGES
from plate.model.singular_points import singular_places
from plate.results.fields import FieldRecovery
from tests.pipelines.small_decks import SLAB, deck_of

T = 0.25
# Cells of twice the thickness, so that rows of field points lie one thickness from every line.
KIRCHHOFF = SLAB.replace("[slab]", '[slab]\ntheory = "kirchhoff"')
LINES = '[[line]]\non = "C*"\nsupport = "rigid"\n[mesh]\nsize_m = 0.5\norder = 3\n'


def clear(folder: Path, stations: list[float], offsets: list[float]) -> tuple[Floats, Mask]:
    """Field points of a deck of two bays, and which are one thickness clear of lines."""
    plan = f"[plan]\nstations_m = {stations}\noffsets_m = {offsets}\n"
    model = build_model(deck_of(folder, KIRCHHOFF, plan, LINES)).model
    xy = FieldRecovery(model).points.xy
    return xy, clear_of_lines(model, xy, T)


@pytest.mark.parametrize("shift", [0.1, 0.3, 1.7, 123.4])
def test_mirror_images_and_decks_elsewhere_are_read_at_the_same_points(
    tmp_path: Path, shift: float
) -> None:
    """The same deck shifted, and its mirror image, whose coordinates are rounded otherwise."""
    first = round(shift + 4.0, 9)
    at, read = clear(tmp_path, [0.0, 3.0, 6.0], [0.0, 4.0])
    expected = {(round(x, 6), round(y, 6)) for x, y in at[read]}
    # The points just one thickness from a line or an edge are among them.
    assert {x for x, _ in expected} >= {0.25, 2.75, 3.25, 5.75}
    assert {y for _, y in expected} >= {0.25, 3.75}
    ahead = [round(shift + s, 9) for s in (0.0, 3.0, 6.0)]
    at, read = clear(tmp_path, ahead, [shift, first])
    assert {(round(x - shift, 6), round(y - shift, 6)) for x, y in at[read]} == expected
    back = [-round(s, 9) for s in reversed(ahead)]
    at, read = clear(tmp_path, back, [-first, -shift])
    mirrored = {(round(-x - shift, 6), round(-y - shift, 6)) for x, y in at[read]}
    assert mirrored == expected


@pytest.mark.parametrize(("theory", "told"), [("mindlin", False), ("kirchhoff", True)])
def test_the_ends_of_beams_at_free_edges_are_not_read(
    tmp_path: Path, theory: str, told: bool
) -> None:
    """By Mindlin's theory moments across a beam's line are infinite at a free edge. Where a width
    is stated hogging is read nearer, at the face."""
    plan = (
        "[plan]\nstations_m = [0.0, 6.0]\noffsets_m = [-2.0, 0.0, 2.0]\n"
        "overhang_m = { start = 0.6, end = 0.6 }\n"
        '[[line]]\non = "L*"\nsupport = "beam"\nto_edges = true\nheld_at = ["C1", "C2"]\n'
        "width_mm = 300\n"
        "beam = { E_GPa = 210, G_GPa = 81, I_cm4 = 4e5, J_cm4 = 300, A_cm2 = 250, Av_cm2 = 90 }\n"
        "[mesh]\nsize_m = 0.5\n"
    )
    deck = deck_of(tmp_path, SLAB.replace("[slab]", f'[slab]\ntheory = "{theory}"'), plan)
    model = build_model(deck).model
    points = FieldRecovery(model).points
    reading = ReadablePoints(deck, model, singular_places(model), points)
    read = reading.off_places
    gap = np.linalg.norm(points.plan - [-0.6, 0.0], axis=1)
    assert gap.min() == 0.0
    assert np.all(read[gap < 0.99 * T] == told)
    assert gap[reading.hogging].min() == pytest.approx(0.15)
    off_hold = np.linalg.norm(points.plan, axis=1) > 1.01 * T
    assert np.all(read[(gap > 1.01 * T) & (gap < 1.5) & off_hold & (points.plan[:, 0] < 0.0)])


def test_points_that_are_nearer_are_not_read(tmp_path: Path) -> None:
    deck = deck_of(
        tmp_path,
        KIRCHHOFF,
        "[plan]\nstations_m = [0.0, 3.0, 6.0]\noffsets_m = [0.0, 4.0]\n",
        LINES,
    )
    model = build_model(deck).model
    row = np.array([[1.5, T], [1.5, T - 1e-9], [1.5, T - 1e-5]])
    assert clear_of_lines(model, row, T).tolist() == [True, True, False]


@pytest.mark.parametrize("plan", ["skew_deg = 30.0", "radius_m = 12.0", ""])
def test_straight_lines_are_one_side_and_arcs_are_their_chords(tmp_path: Path, plan: str) -> None:
    """Against the distance from every side of every cell along edges and supports."""
    deck = deck_of(
        tmp_path,
        SLAB,
        f"[plan]\nstations_m = [0.0, 2.0, 4.0]\noffsets_m = [-1.5, 1.5]\n{plan}\n",
        '[[line]]\non = "C2"\nsupport = "rigid"\n',
    )
    model = build_model(deck).model
    xy = FieldRecovery(model).points.xy
    lines = [model.mesh.lines[name][:, [0, -1]] for name in (*EDGES, "C2")]
    gap = distance_from_segments(xy, model.mesh.xy[np.concatenate(lines)])
    for distance in (T, 0.3, 0.7):
        expected = reaches(gap, distance)
        assert 0 < expected.sum() < len(xy)
        np.testing.assert_array_equal(clear_of_lines(model, xy, distance), expected)
