"""Drawings: what becomes of their curves, and files that are none. Drawings are written here."""

import math
import random
from itertools import pairwise
from pathlib import Path
from time import process_time
from typing import Any

import numpy as np
import pytest
from ezdxf import units

from pipelines.deck.reading.deck_file import read_deck
from pipelines.deck.reading.dxf import LARGEST_FILE, Drawing, DrawingError
from pipelines.errors import DeckError
from plate.geometry.curves import ring_area
from plate.geometry.outline import plan_area
from tests.pipelines.dxf_drawings import drawing, on, slab
from tests.pipelines.small_decks import SLAB


@pytest.mark.parametrize(("unit", "scale"), [(units.M, 1.0), (units.CM, 1e2), (units.MM, 1e3)])
def test_a_closed_polyline_with_a_bulge(tmp_path: Path, unit: int, scale: float) -> None:
    path = drawing(tmp_path, lambda space: slab(space, scale), unit)
    [ring] = Drawing(path, None).chains("slab")  # names of layers know no case
    assert [tuple(np.round(curve.start, 9) + 0.0) for curve in ring] == [
        (0.0, 0.0),
        (8.0, 0.0),
        (8.0, -4.0),
        (0.0, -4.0),
    ]
    # seen with y down the page what turned left in the drawing turns the other way
    assert abs(ring_area(ring)) == pytest.approx(32.0 + 2.0 * math.pi, rel=1e-12)
    assert ring_area(ring) < 0.0
    np.testing.assert_allclose(ring[1].at(0.5), [10.0, -2.0], atol=1e-12)


def test_the_unit_of_the_deck_file_goes_before_the_header(tmp_path: Path) -> None:
    path = drawing(tmp_path, lambda space: slab(space, 1e3), units.M)
    [ring] = Drawing(path, "mm").chains("SLAB")
    assert abs(ring_area(ring)) == pytest.approx(32.0 + 2.0 * math.pi, rel=1e-12)


def test_a_drawing_without_a_unit(tmp_path: Path) -> None:
    path = drawing(tmp_path, slab, 0)
    with pytest.raises(DrawingError, match="no unit; give dxf_unit"):
        Drawing(path, None)


def test_separate_curves_are_joined(tmp_path: Path) -> None:
    """Lines in any direction and an arc, with ends that miss each other by 0.01 mm."""

    def draw(space: Any) -> None:
        space.add_line((0, 0), (8, 0), dxfattribs=on("A"))
        space.add_line((0, 4), (8, 4.00001), dxfattribs=on("A"))
        space.add_line((0, 4), (0, 0.00001), dxfattribs=on("A"))
        space.add_arc((8, 2), 2.0, -90.0, 90.0, dxfattribs=on("A"))
        space.add_text("SLAB 250", dxfattribs=on("A"))

    [ring] = Drawing(drawing(tmp_path, draw), None).chains("A")
    assert len(ring) == 4
    assert ring[0].start == (0.0, 0.0)
    assert ring[0].end == (8.0, 0.0)  # the first one keeps its direction
    assert ring[-1].end == ring[0].start
    for before, after in pairwise(ring):
        assert before.end == after.start
    assert abs(ring_area(ring)) == pytest.approx(32.0 + 2.0 * math.pi, rel=1e-4)


def test_circles_old_polylines_and_open_lines(tmp_path: Path) -> None:
    def draw(space: Any) -> None:
        space.add_circle((3, 2), 0.5, dxfattribs=on("HOLES"))
        points = [(5, 1, 0.0), (6, 1, 0.0), (6, 2, 0.0), (5, 2, -1.0)]
        space.add_polyline2d(points, format="xyb", close=True, dxfattribs=on("HOLES"))
        space.add_polyline2d([(1, 0), (2, 2), (2, 4)], dxfattribs=on("LINE"))

    found = Drawing(drawing(tmp_path, draw, version="R12", unit=units.M), "m")
    areas = sorted(abs(ring_area(ring)) for ring in found.chains("HOLES"))
    # a square metre whose last side is dented by a half circle of 1 m
    np.testing.assert_allclose(areas, [1.0 - math.pi / 8.0, math.pi / 4.0], rtol=1e-9)
    [line] = found.chains("LINE")
    assert [curve.start for curve in line] == [(1.0, 0.0), (2.0, -2.0)]
    assert line[-1].end == (2.0, -4.0)


REFUSED = {
    "spline": (
        lambda s: s.add_spline([(0, 0, 0), (1, 1, 0), (2, 0, 0)], dxfattribs=on("A")),
        "SPLINE on layer A: only lines, arcs, circles",
    ),
    "ellipse": (
        lambda s: s.add_ellipse((0, 0), (1, 0), 0.5, dxfattribs=on("A")),
        "ELLIPSE on layer A: only lines, arcs, circles",
    ),
    "3D polyline": (
        lambda s: s.add_polyline3d([(0, 0, 0), (1, 1, 1)], dxfattribs=on("A")),
        "POLYLINE on layer A: is a mesh, a 3D polyline",
    ),
    "mirrored": (
        lambda s: s.add_circle((0, 0), 1, dxfattribs={**on("A"), "extrusion": (0, 0, -1)}),
        "CIRCLE on layer A: is mirrored",
    ),
    "far away": (
        lambda s: s.add_line((5e5, 0), (5e5, 1), dxfattribs=on("A")),
        "LINE on layer A: has a point further than 10000 m",
    ),
    "branch": (
        lambda s: [
            s.add_line((0, 0), end, dxfattribs=on("A")) for end in ((1, 0), (0, 1), (-1, 0))
        ],
        r"curves on layer A branch.* at \(0\.000, 0\.000\) m",
    ),
    "only text": (
        lambda s: s.add_text("x", dxfattribs=on("A")),
        "no curves on layer A; layers with something on them: a",
    ),
    "too many": (
        lambda s: [s.add_circle((0.1 * k, 0), 0.01, dxfattribs=on("A")) for k in range(1001)],
        "more than 2000 curves on layer A",
    ),
}


@pytest.mark.parametrize("name", REFUSED)
def test_what_is_no_plan_curve(tmp_path: Path, name: str) -> None:
    draw, message = REFUSED[name]
    with pytest.raises(DrawingError, match=message):
        Drawing(drawing(tmp_path, draw), None).chains("A")


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"\x00" * 100,
        b"no drawing",
        b"  0\nSECTION\n  2\nENTITIES\n  0\nLINE\n",
        b"AutoCAD Binary DXF\r\n\x1a\x00" + b"\xff" * 40,
        b"  0\nSECTION\n  2\nHEADER\n  9\n$INSUNITS\n 70\nmany\n  0\nENDSEC\n  0\nEOF\n",
    ],
)
def test_files_that_are_no_drawing(tmp_path: Path, content: bytes) -> None:
    """One clear error, whatever the file holds; an empty drawing has no layer."""
    path = tmp_path / "plan.dxf"
    path.write_bytes(content)
    with pytest.raises(DrawingError) as caught:
        Drawing(path, "m").chains("A")
    assert "\n" not in str(caught.value)


def test_a_drawing_that_is_too_large_or_missing(tmp_path: Path) -> None:
    path = tmp_path / "plan.dxf"
    with pytest.raises(DrawingError, match="there is no such file"):
        Drawing(path, "m")
    with path.open("wb") as file:
        file.truncate(LARGEST_FILE + 1)
    with pytest.raises(DrawingError, match="allowed is 20 MB at most"):
        Drawing(path, "m")
    with pytest.raises(DrawingError, match="not a plain file"):
        Drawing(tmp_path, "m")


DECK = """
[plan]
dxf = "plan.dxf"
dxf_layer = "SLAB"
dxf_opening_layer = "HOLES"
[[line]]
on = "E4"
support = "rigid"
[[line]]
name = "wall"
dxf_layer = "WALL"
support = "rigid"
"""


def with_holes_and_wall(space: Any) -> None:
    slab(space)
    space.add_circle((2, 1), 0.25, dxfattribs=on("HOLES"))
    space.add_line((4, 0), (5, 4), dxfattribs=on("WALL"))


def test_a_deck_from_a_drawing(tmp_path: Path) -> None:
    drawing(tmp_path, with_holes_and_wall)
    (tmp_path / "deck.toml").write_text(SLAB + DECK, encoding="utf-8")
    deck = read_deck(tmp_path / "deck.toml")
    assert deck.plan.edges == ("E1", "E2", "E3", "E4")
    expected = 32.0 + 2.0 * math.pi - math.pi / 16.0
    assert plan_area(deck.plan) == pytest.approx(expected, rel=1e-9)
    np.testing.assert_allclose(deck.plan.lines["wall"].path, [[4, 0], [5, -4]], atol=1e-12)
    assert [line.name for line in deck.lines] == ["E4", "wall"]


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('"SLAB"', '"SLABS"', '[plan] dxf_layer = "SLABS": no curves on layer SLABS'),
        ('"HOLES"', '"WALL"', "[plan] dxf_opening_layer: opening 1 is not closed"),
        ('dxf_layer = "SLAB"\n', "", "[plan] dxf_layer: is missing"),
        ('"SLAB"', '"WALL"', '[plan] dxf_layer = "WALL": is not closed: its ends are at'),
        ('"plan.dxf"', '"other.dxf"', '[plan] dxf = "other.dxf": there is no such file'),
        ('dxf_layer = "SLAB"', 'dxf_layer = "SLAB"\ndxf_unit = "ft"', '[plan] dxf_unit = "ft"'),
    ],
)
def test_mistakes_about_a_drawing(tmp_path: Path, old: str, new: str, message: str) -> None:
    drawing(tmp_path, with_holes_and_wall)
    (tmp_path / "deck.toml").write_text(SLAB + DECK.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(DeckError) as caught:
        read_deck(tmp_path / "deck.toml")
    told = caught.value.mistakes
    assert any(line.startswith(message) for line in told), told


def test_two_thousand_separate_lines_are_joined_at_once(tmp_path: Path) -> None:
    """In any order and direction; by comparing all ends with all others it took half a minute."""
    corners = [
        (10.0 * math.cos(0.001 * math.pi * k), 10.0 * math.sin(0.001 * math.pi * k))
        for k in range(2000)
    ]
    sides = [(corners[k - 1], corners[k]) for k in range(2000)]
    chance = random.Random(1)
    chance.shuffle(sides)

    def draw(space: Any) -> None:
        for a, b in sides:
            ends = (a, b) if chance.random() < 0.5 else (b, a)
            space.add_line(*ends, dxfattribs=on("SLAB"))

    opened = Drawing(drawing(tmp_path, draw), None)
    start = process_time()
    (ring,) = opened.chains("SLAB")
    assert process_time() - start < 3.0
    assert len(ring) == 2000
    assert all(one.end == other.start for one, other in zip(ring, ring[1:] + ring[:1], strict=True))
