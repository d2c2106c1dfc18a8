"""Lines that are drawn as chords of a curve are read as the curve, unless others rely on chords."""

import math
from pathlib import Path

import numpy as np
import pytest

from pipelines.deck.deck import Deck
from plate.geometry.curves import Curve
from tests.pipelines.outline_decks import BEAM
from tests.pipelines.small_decks import SLAB, deck_of

PLAN = """
[plan]
outline_m = [[0, -4], [8, -4], [8, 4], [0, 4]]
[[line]]
on = ["E2", "E4"]
support = "rigid"
[[line]]
name = "girder"
path_m = {path}
support = "beam"
held_at = ["E2", "E4"]
"""
RIB = """
[[line]]
name = "rib"
path_m = [{start}, [4.0, -4.0]]
support = "beam"
held_at = ["E1"]
"""
# An arc across the slab, drawn as eight chords.
ARC = Curve((0.0, 0.0), (8.0, 0.0), 0.3)
CHORDS = np.round(ARC.at(np.linspace(0.0, 1.0, 9)), 9).tolist()


def read(folder: Path, path: list[list[float]], *more: str, **replaced: object) -> Deck:
    parts = [part + BEAM + "\n" for part in (PLAN, *more)]
    return deck_of(folder, SLAB, *parts, path=path, **replaced)


def test_chords_are_read_as_the_curve_with_a_word(tmp_path: Path) -> None:
    deck = read(tmp_path, CHORDS)
    for curve in deck.plan.lines["girder"].curves:
        assert ARC.nearest(curve.at(np.linspace(0.0, 1.0, 5)))[1].max() < 1e-7
    sagitta = 1e3 * ARC.radius * (1.0 - math.cos(0.3 / 16.0))
    assert deck.warnings == (
        "line girder is drawn as chords that turn by 2.1° at most; it is read as the smooth curve "
        f"through their 7 corners, {sagitta:.2g} mm from the chords at most",
    )


@pytest.mark.parametrize("path", [[[0, 0], [8, 0]], [[0, 0], [3, 0.5], [8, 0]]])
def test_lines_that_are_no_curve_stay_without_a_word(
    tmp_path: Path, path: list[list[float]]
) -> None:
    deck = read(tmp_path, path)
    assert [curve.start for curve in deck.plan.lines["girder"].curves] == [
        (float(x), float(y)) for x, y in path[:-1]
    ]
    assert not deck.warnings


def test_a_line_that_ends_on_a_chord_keeps_it(tmp_path: Path) -> None:
    """At a corner it may end: that is on the curve, too."""
    middle = (0.5 * np.add(CHORDS[3], CHORDS[4])).tolist()
    kept = read(tmp_path, CHORDS, RIB, start=middle)
    assert all(curve.sweep == 0.0 for curve in kept.plan.lines["girder"].curves)
    assert "other lines or edges meet them, so they are kept" in kept.warnings[0]
    smooth = read(tmp_path, CHORDS, RIB, start=CHORDS[4])
    assert any(curve.sweep != 0.0 for curve in smooth.plan.lines["girder"].curves)
