"""Drawings: numbers in print, SVG that stands alone, cuts through fields, plans of any shape."""

import itertools
import re
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from shapely import LinearRing, Polygon, hausdorff_distance

from pipelines.deck.deck import Deck
from pipelines.deck.words import line_title, place, support_title
from pipelines.findings.finding import Finding
from pipelines.numbers import as_given, as_result, length, number
from pipelines.report.drawings.axes import (
    APART,
    MARK,
    Axes,
    decades,
    round_levels,
    round_ticks,
)
from pipelines.report.drawings.canvas import CAPITAL, SMALL, UNSEEN, Paper, draw, room_of
from pipelines.report.drawings.colours import (
    HOLD,
    LARGEST,
    LOAD,
    SCENE,
    SERIES,
    SLAB,
    SMALLEST,
    oklab,
    ramp,
    rgb,
)
from pipelines.report.drawings.contour_plans import ContourPlans, PlanField, contour_levels
from pipelines.report.drawings.contours import CLEAR, TALL, WIDE, bands, label_contours
from pipelines.report.drawings.cuts import FieldMap, along_path, cross_path, cut
from pipelines.report.drawings.findings_plan import LOOKS, Judged, Judgement, findings_plan
from pipelines.report.drawings.input_plan import hold_place, input_plan
from pipelines.report.drawings.legend import Key, legend, legend_height, rows_of
from pipelines.report.drawings.lines import StripMark, strip_marks
from pipelines.report.drawings.marching import Triangles
from pipelines.report.drawings.plan import StandingLoad, along_carriageway, standing
from pipelines.report.drawings.vehicles import vehicle_drawing
from pipelines.report.html import ASSETS
from pipelines.standards.actions.vehicles import library
from pipelines.traffic.arrangements import LoadPosition
from pipelines.traffic.positions import load_positions
from tests.pipelines.fake_findings import fake
from tests.pipelines.small_decks import BEAMS, MESH, PLAN, PROBES, TRAFFIC, deck_of
from tests.pipelines.small_decks import SLAB as SLAB_TEXT

SVG = "{http://www.w3.org/2000/svg}"
SHAPES = {
    "straight": PLAN,
    "skew": PLAN + "skew_deg = 25\n",
    "tapered": PLAN + "end_offsets_m = [-2.6, 2.4]\n",
    "curved": PLAN.replace("overhang_m", "radius_m = 20\noverhang_m"),
}
KINDS = """
[[line]]
on = "C1"
support = "clamped"
[[line]]
on = "C2"
support = "spring"
k_kN_m2 = 20000
[[line]]
on = "C3"
support = "rigid"
hard = true
[[point]]
name = "bearing A"
at_m = [1.5, 0.5]
support = "rigid"
size_mm = 300
"""


@pytest.fixture(params=SHAPES)
def deck(request: pytest.FixtureRequest, tmp_path: Path) -> Deck:
    return deck_of(tmp_path, SLAB_TEXT, SHAPES[request.param], BEAMS, TRAFFIC, PROBES, MESH)


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0.0, "0"),
        (55.84, "55.8"),
        (-0.48649, "−0.486"),
        (1234.4, "1230"),
        (0.99961, "1.00"),
        (99.96, "100"),
        (2.404e-13, "2.40 × 10⁻¹³"),
        (float("nan"), "–"),
    ],
)
def test_number_has_three_figures(value: float, text: str) -> None:
    assert number(value) == text


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (12.345, "12.3"),
        (2.0348, "2.03"),
        (-0.00433, "−0.004"),
        (2e-5, "0"),
        (-3e-4, "0"),
        (0.05601, "0.056"),
    ],
)
def test_reading_leaves_out_what_is_rounding(value: float, text: str) -> None:
    assert as_result(value) == text


def test_lengths_and_given_numbers() -> None:
    assert [length(v) for v in (3.1, -0.4866, -0.0004)] == ["3.10", "−0.487", "0.00"]
    assert [as_given(v) for v in (429200.0, 0.2, -80.0)] == ["429200", "0.2", "−80"]
    assert as_given(1.25e6) == "1250000"


def points_of(d: str) -> np.ndarray:
    """Absolute points of path data of one closed polygon in relative steps."""
    start, moves = re.fullmatch(r"M([^l]*)l([^z]*)z", d).groups()
    values = [
        np.array(re.findall(r"-?(?:\d+\.\d+|\.\d+|\d+)", part), dtype=float).reshape(-1, 2)
        for part in (start, moves)
    ]
    return np.cumsum(np.concatenate(values), axis=0)


def test_drawn_paths_leave_out_only_what_nobody_sees() -> None:
    rng = np.random.default_rng(5)
    angle = np.linspace(0.0, 2.0 * np.pi, 1500, endpoint=False)
    radius = 20.0 + 8.0 * np.cos(5.0 * angle) + rng.uniform(-0.02, 0.02, len(angle))
    corners = np.column_stack([60 + radius * np.cos(angle), 36 + radius * np.sin(angle)])

    def paint(paper: Paper) -> None:
        paper.path(corners, closed=True, fill="red")

    svg = draw("one", "a star", (144.0, 72.0), paint).svg
    drawn = points_of(max(re.findall(r'\bd="([^"]*)"', svg), key=len))
    assert len(drawn) < 150
    # What is left out, and half the grid of 0.1 pt in both directions.
    gap = hausdorff_distance(LinearRing(drawn), LinearRing(corners))
    assert gap < UNSEEN + 0.0501 * 2**0.5


def test_drawing_is_the_same_again_and_all_names_are_its_own() -> None:
    def hatched(paper: Paper) -> None:
        paper.path([[0, 0], [9, 0], [9, 9]], closed=True, hatch="/")
        paper.path([[9, 9], [9, 0], [0, 9]], closed=True, hatch="x", ink="#12426e")

    one, again, other = (
        draw(name, "two areas", (72.0, 72.0), hatched).svg for name in ("first", "first", "second")
    )
    assert one == again
    ids = [set(re.findall(r'\bid="([^"]*)"', svg)) for svg in (one, other)]
    assert len(ids[0]) == 2
    assert ids[0]
    assert not ids[0] & ids[1]
    assert set(re.findall(r"url\(#([^)]*)", one)) == ids[0]
    vehicle = library["AASHTO HL-93 truck"]
    assert vehicle_drawing(vehicle, "v") == vehicle_drawing(vehicle, "v")
    root = ElementTree.fromstring(vehicle_drawing(vehicle, "v").svg)
    assert root.get("role") == "img"
    assert "145 kN at 4.30 m" in (root.get("aria-label") or "")
    assert {"35 kN", "145 kN", "4.30", "1.80"} <= set(root.itertext())


def strip_of_two() -> tuple[FieldMap, np.ndarray]:
    """Two unit squares that meet at x = 1 without sharing points; values 1 + y and 5 + y."""
    square = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])
    plan = np.concatenate([square, square + np.array([1.0, 0.0])])
    values = np.repeat([1.0, 5.0], 4) + plan[:, 1]
    return FieldMap(plan, plan, np.arange(8).reshape(2, 4)), values[None]


def test_cut_across_a_division_has_both_values() -> None:
    fields, values = strip_of_two()
    points, found = cut(fields, np.array([0.0, 0.25]), np.array([2.0, 0.25]), values)
    np.testing.assert_allclose(points[:, 0], [0.0, 1.0, 1.0, 2.0], atol=1e-12)
    # The cut runs 1e-6 beside the line.
    np.testing.assert_allclose(found[0], [1.25, 1.25, 5.25, 5.25], rtol=0, atol=2e-6)


def test_oblique_cut_is_exact_in_a_linear_field() -> None:
    fields, _ = strip_of_two()
    values = 2.0 + 3.0 * fields.plan[:, 0] - 5.0 * fields.plan[:, 1]
    a, b = np.array([0.2, 0.0]), np.array([1.4, 1.0])
    points, found = cut(fields, a, b, values[None])
    # The cut runs 1e-6 beside the line.
    np.testing.assert_allclose(points[[0, -1]], [a, b], rtol=0, atol=2e-6)
    (dx, dy), (x, y) = b - a, (points - a).T
    np.testing.assert_allclose(dx * y - dy * x, 0.0, rtol=0, atol=2e-6)
    np.testing.assert_allclose(found[0], 2.0 + 3.0 * points[:, 0] - 5.0 * points[:, 1], rtol=1e-12)


@pytest.mark.parametrize(("side", "level"), [(1, 1.0), (-1, 5.0)])
def test_cut_along_a_division_takes_the_side_asked_for(side: int, level: float) -> None:
    fields, values = strip_of_two()
    points, found = cut(fields, np.array([1.0, 0.0]), np.array([1.0, 1.0]), values, side)
    np.testing.assert_allclose(points[:, 1], [0.0, 1.0], atol=1e-12)
    np.testing.assert_allclose(found[0], [level, level + 1.0], rtol=0, atol=2e-6)


def test_cuts_reach_from_edge_to_edge(deck: Deck) -> None:
    low, high = deck.plan.u_range
    a, b = cross_path(deck, 1.0)
    np.testing.assert_allclose(deck.plan.logical_station(np.stack([a, b])), 1.0, atol=1e-12)
    y = deck.plan.line_offsets(np.array(1.0))
    np.testing.assert_allclose([a[1], b[1]], y[[0, -1]], atol=1e-12)
    a, b = along_path(deck, 0.25)
    y = deck.plan.line_offsets(np.array([low, high]))
    np.testing.assert_allclose([a[1], b[1]], 0.75 * y[:, 0] + 0.25 * y[:, -1], atol=1e-12)
    np.testing.assert_allclose(deck.plan.logical_station(np.stack([a, b])), [low, high], atol=1e-9)


@pytest.mark.parametrize(
    ("peak", "extreme"), [(55.8, "max"), (-17.5, "min"), (-3.1, "both"), (3e-4, "max")]
)
def test_levels_are_round_cover_the_peak_and_start_at_zero(peak: float, extreme: str) -> None:
    field = PlanField(
        name="n",
        title="t",
        unit="kNm/m",
        values=np.array([peak]),
        extreme=extreme,
        peak=peak,
        at=(0.0, 0.0),
    )
    levels = contour_levels(field, abs(peak))
    assert np.all(np.diff(levels) > 0)
    assert levels[0] <= peak <= levels[-1]
    assert 5 <= len(levels) <= 14
    if extreme != "both":
        assert levels[0 if extreme == "max" else -1] == 0.0
    step = levels[1] - levels[0]
    assert float(f"{step:.2g}") == pytest.approx(step, rel=1e-9)


def test_sketch_shows_lines_lengths_and_probes(deck: Deck) -> None:
    root = ElementTree.fromstring(input_plan(deck).svg)
    words = [t.strip() for t in root.itertext()]
    assert {"C1", "C2", "C3", "L1", "L2", "3.00", "0.40", "1", "2", "3"} <= set(words)
    assert any("hold of a beam" in w for w in words)
    widths = {"4.00", "5.00"} if deck.plan.end_offsets != deck.plan.offsets else {"4.00"}
    assert widths <= set(words)


def test_sketch_runs_down_the_page(tmp_path: Path) -> None:
    deck = deck_of(tmp_path, SLAB_TEXT, PLAN, BEAMS)
    at = {}
    for one in ElementTree.fromstring(input_plan(deck).svg).iter(
        "{http://www.w3.org/2000/svg}text"
    ):
        shift = re.search(r"translate\(([-\d.]+) ([-\d.]+)\)", one.get("transform") or "")
        x, y = (float(v) for v in shift.groups()) if shift else (one.get("x"), one.get("y"))
        at["".join(one.itertext()).strip()] = (float(x), float(y))
    assert at["L1"][1] < at["L2"][1]
    assert at["C1"][0] < at["C2"][0] < at["C3"][0]


def test_every_kind_of_support_has_its_legend(tmp_path: Path) -> None:
    deck = deck_of(tmp_path, SLAB_TEXT, PLAN, KINDS)
    words = {t.strip() for t in ElementTree.fromstring(input_plan(deck).svg).itertext()}
    kinds = {"clamped line", "line spring", "rigid line (hard)", "point support", "bearing A"}
    assert kinds | {"line without support"} <= words


def test_edges_and_axis_of_a_carriageway_are_drawn_along_it(tmp_path: Path) -> None:
    """Three green lines, 2 m apart, that bend with the axis; one without it, along x."""
    parts = (
        SLAB_TEXT,
        "[plan]\noutline_m = [[0, -6], [12, -6], [12, 4], [0, 4]]\n",
        '[[line]]\non = ["E2", "E4"]\nsupport = "rigid"\n',
        '[traffic]\ncarriageway_m = [-2, 2]\nvehicles = ["EN 1991-2 LM2"]\n',
    )
    axis = "carriageway_axis_m = [[0, 0], { arc_to_m = [12, -2], through_m = [6, -0.5] }]\n"
    bent = deck_of(tmp_path, *parts, axis)
    for offset in (-2.0, 0.0, 2.0):
        path = along_carriageway(bent, offset)
        curve = bent.required_traffic.axis
        assert curve is not None
        np.testing.assert_allclose(curve.to_track(path)[:, 1], offset, atol=1e-9)
    legend = "carriageway's axis, 0 at the dot"
    words = [t.strip() for t in ElementTree.fromstring(input_plan(bent).svg).itertext()]
    assert legend in words
    plain = deck_of(tmp_path, *parts)
    np.testing.assert_allclose(along_carriageway(plain, 2.0), [[0.0, 2.0], [12.0, 2.0]])
    words = [t.strip() for t in ElementTree.fromstring(input_plan(plain).svg).itertext()]
    assert legend not in words


def test_hold_stands_at_the_crossing_and_points_off_the_beam(deck: Deck) -> None:
    line = deck.line("C2")
    assert line is not None
    path = deck.plan.lines["C2"].path
    for held, end, other in zip(line.held_at, path, path[::-1], strict=True):
        at, away = hold_place(deck, path, held)
        np.testing.assert_allclose(at, end, atol=1e-12)
        assert away @ (end - other) == pytest.approx(np.linalg.norm(end - other))


def test_wheels_are_drawn_where_the_position_has_them(deck: Deck) -> None:
    runs = load_positions(deck)
    run = runs[-1]
    index = len(run) // 2
    at = LoadPosition(
        vehicle=run.vehicle.name,
        direction=run.direction,
        station=float(run.stations[index]),
        offset=float(run.offsets[index]),
    )
    expected = run.wheels(slice(index, index + 1)).corners
    # 10 points a metre, from the corner (-10, -10) m.
    paper = Paper("wheels", 400.0, 200.0)
    axes = Axes(paper=paper, box=(0.0, 0.0, 400.0, 200.0), x=(-10.0, 30.0), y=(-10.0, 10.0))
    standing(axes, deck, StandingLoad(expected, (at,)))
    outlines, again = re.findall(r'<path d="(M[^"]*z)" stroke', paper.drawing("wheels").svg)
    assert outlines == again  # ink over paper
    rings = [points_of(one + "z") for one in outlines.split("z")[:-1]]
    assert len(rings) == len(expected)
    for ring, corners in zip(rings, deck.plan.alignment.to_cartesian(expected), strict=True):
        gaps = np.linalg.norm(ring[:, None] - (10.0 * corners + 100.0), axis=2).min(axis=0)
        # Half the grid of 0.1 pt in both directions, at each of a few steps.
        assert gaps.max() < 0.2


def test_places_are_said_in_words(tmp_path: Path) -> None:
    deck = deck_of(tmp_path, SLAB_TEXT, PLAN, BEAMS)
    assert place(deck, (1.5, 0.0)) == "bay C1–C2"
    assert place(deck, (-0.4, 0.0)) == "start edge"
    assert place(deck, (6.2, 0.0)) == "overhang at the end"
    assert "C2" in place(deck, (3.0, 0.0))
    assert place(deck, (3.0, 0.0)) != "C2"
    assert place(deck, (1.5, -2.0)) == f"bay C1–C2, {line_title(deck, 'L1')}"
    for name in ("C1", "L1", "C2@L1"):
        assert support_title(deck, name) != name
    along = deck_of(tmp_path, SLAB_TEXT, PLAN, '[[line]]\non = "L*"\nsupport = "rigid"\n')
    assert place(along, (3.0, 0.0)) == "cross line C2"


def finding(strip: str, where: str, value: float | None) -> Finding:
    return fake(None, place=where, hand_strip=strip, hand_value=value)


def test_strip_marks_are_the_furthest_from_zero_of_each_sign() -> None:
    rows = [
        finding("A", "bay C1–C2", 10e3),
        finding("A", "bay C1–C2", 30e3),
        finding("A", "bay C1–C2", -5e3),
        finding("B", "bay C1–C2", 20e3),
        finding("B", "bay C2–C3", None),
    ]
    assert set(strip_marks(rows)) == {
        StripMark("A", "bay C1–C2", 30e3),
        StripMark("A", "bay C1–C2", -5e3),
        StripMark("B", "bay C1–C2", 20e3),
    }


def test_a_field_that_is_zero_says_so(tmp_path: Path) -> None:
    deck = deck_of(tmp_path, SLAB_TEXT, PLAN, BEAMS)
    plan = np.array([[0.0, -2.0], [6.0, -2.0], [6.0, 2.0], [0.0, 2.0]])
    fields = FieldMap(plan, plan, np.array([[0, 1, 2, 3]]))
    plans = ContourPlans(deck, fields, np.ones(4, dtype=bool))
    field = PlanField(
        name="zero",
        title="m",
        unit="kNm/m",
        values=np.zeros(4),
        extreme="min",
        peak=0.0,
        at=(0.0, 0.0),
    )
    assert "zero everywhere" in plans.plan(field).svg


def sheet_of(width: float, height: float, x: float, y: float) -> Axes:
    """Axes that fill a sheet, from zero to x across and to y down."""
    paper = Paper("one", width, height)
    return Axes(paper=paper, box=(0.0, 0.0, width, height), x=(0.0, x), y=(0.0, y))


def grid(nx: int, ny: int, x: float, y: float) -> Triangles:
    """Triangles between nx by ny points over x by y."""
    across, down = np.meshgrid(np.linspace(0, x, nx), np.linspace(0, y, ny))
    k = np.arange(nx * ny).reshape(ny, nx)
    quads = np.stack([k[:-1, :-1], k[:-1, 1:], k[1:, 1:], k[1:, :-1]], axis=-1).reshape(-1, 4)
    return Triangles.of_quads(np.column_stack([across.ravel(), down.ravel()]), quads)


def test_contours_are_whole_and_their_labels_have_room() -> None:
    """Bands over bands fill the plan; labels stand on their own contour, off lines and apart."""
    mesh = grid(81, 41, 10.0, 5.0)
    levels = np.arange(-6.0, 7.0)
    axes = sheet_of(576.0, 288.0, 10.0, 5.0)  # 57.6 points a metre
    beam = axes.at([[5.0, 0.0], [5.0, 5.0]])
    colours = ramp(LARGEST, len(levels) - 1)
    contours = bands(axes, mesh, 1.2 * (mesh.xy[:, 0] - 5.0), levels, colours)
    assert [len(lines) for lines in contours] == [1] * (len(levels) - 2)
    for level, [line] in zip(levels[1:-1], contours, strict=True):
        np.testing.assert_allclose(line[:, 0], 5.0 + level / 1.2, atol=1e-9)
        np.testing.assert_allclose(np.sort(line[:, 1])[[0, -1]], [0.0, 5.0], atol=1e-12)
    filled = re.findall(r'fill="(#\w+)"', axes.paper.drawing("bands").svg)
    assert filled == colours
    label_contours(axes, levels[1:-1], contours, [beam])
    labels = ElementTree.fromstring(axes.paper.drawing("bands").svg).iter(f"{SVG}text")
    places = [("".join(t.itertext()), float(t.get("x")), float(t.get("y"))) for t in labels]
    assert len(places) >= 6
    for words, x, _ in places:
        # To the tenth of a point.
        assert x / 57.6 == pytest.approx(5.0 + float(words.replace("\u2212", "-")) / 1.2, abs=1e-3)
        assert abs(x - 288.0) > 0.5 * WIDE + CLEAR
    at = np.array([place[1:] for place in places])
    gaps = np.linalg.norm(at[:, None] - at, axis=2)[np.triu_indices(len(at), 1)]
    assert gaps.min() > 6.0 * TALL - 0.2


def test_areas_above_levels_are_those_of_the_field() -> None:
    """Of a cone about the middle: rings of the circle's area, less what triangles cut off; where
    the base is not reached, with a hole for the top; two meshes that do not touch stay apart."""
    mesh = grid(101, 101, 2.0, 2.0)
    away = np.linalg.norm(mesh.xy - 1.0, axis=1)
    [ring], [line] = mesh.above(1.0 - away, 0.25)
    assert Polygon(ring).area == pytest.approx(np.pi * 0.75**2, rel=1e-3)
    np.testing.assert_allclose(np.linalg.norm(line - 1.0, axis=1), 0.75, atol=4e-4)
    np.testing.assert_array_equal(line[0], line[-1])
    outer, hole = sorted(mesh.above(away, 0.5)[0], key=lambda r: -Polygon(r).area)
    assert Polygon(outer).area == pytest.approx(4.0, abs=1e-12)
    assert Polygon(hole).area == pytest.approx(np.pi * 0.5**2, rel=2e-3)
    fields, values = strip_of_two()
    apart = Triangles.of_quads(fields.xy, fields.quads)
    rings, lines = apart.above(values[0], 1.5)
    assert sorted(Polygon(r).area for r in rings) == pytest.approx([0.5, 1.0])
    assert len(lines) == 1


def test_areas_that_meet_at_one_point_are_drawn_whole() -> None:
    """Two opposite quarters of a square, of triangles that are left: their corner is common."""
    mesh = grid(3, 3, 2.0, 2.0)
    middle = mesh.xy[mesh.corners].mean(axis=1)
    left = mesh.where((middle[:, 0] < 1.0) == (middle[:, 1] < 1.0))
    rings, lines = left.above(np.ones(9), 0.5)
    assert sum(Polygon(r).buffer(0.0).area for r in rings) == pytest.approx(2.0)
    assert not lines


def test_a_scale_numbers_its_marks_where_they_are() -> None:
    """Axes from 1 in to 3 in across and from 1 in to 2 in down a sheet of 4 in by 3 in."""

    def paint(paper: Paper) -> None:
        axes = Axes(paper=paper, box=(72.0, 72.0, 216.0, 144.0), x=(0.0, 10.0), y=(0.0, 4.0))
        axes.scale("bottom", "across", ([0.0, 5.0, 20.0], ["0", "5", "20"]))
        axes.scale("left", "up", ([1.0], ["1"]), numbered=False)

    root = ElementTree.fromstring(draw("scale", "two scales", (288.0, 216.0), paint).svg)
    texts = {"".join(one.itertext()): one for one in root.iter(f"{SVG}text")}
    # What lies beyond the axes has no mark; without numbers only the title is left.
    assert set(texts) == {"0", "5", "across", "up"}
    x = {words: float(one.get("x") or "nan") for words, one in texts.items()}
    assert (x["0"], x["5"], x["across"]) == (72.0, 144.0, 144.0)
    # The number's top is a mark and some paper below the axes' foot.
    top = float(texts["0"].get("y") or "nan") - CAPITAL * SMALL
    assert top == pytest.approx(144.0 + MARK + APART, abs=0.06)
    assert float(texts["across"].get("y") or "nan") > float(texts["0"].get("y") or "nan")
    turned = re.search(
        r"translate\(([\d.]+) ([\d.]+)\) rotate\(-90\)", texts["up"].get("transform")
    )
    assert turned is not None
    assert float(turned[1]) < 72.0 - MARK
    assert float(turned[2]) == pytest.approx(108.0)
    # 0 and 5 of 10 across 2 in, 1 of 4 down 1 in: each mark runs outwards from the axes.
    paths = {one.get("d") for one in root.iter(f"{SVG}path")}
    assert {"M72 144l0 2.5", "M144 144l0 2.5", "M72 90l-2.5 0"} <= paths


@pytest.mark.parametrize(
    ("low", "high", "most", "shown"),
    [
        (0.0, 10.0, 5, ["0", "2", "4", "6", "8", "10"]),
        (-0.3, 0.31, 6, ["−0.2", "0.0", "0.2"]),
        (-1.0, 6.5, 12, ["−1", "0", "1", "2", "3", "4", "5", "6"]),
        (0.0, 0.01, 4, ["0.0000", "0.0025", "0.0050", "0.0075", "0.0100"]),
    ],
)
def test_scales_have_round_marks(low: float, high: float, most: int, shown: list[str]) -> None:
    values, words = round_ticks(low, high, most)
    assert words == shown
    np.testing.assert_allclose(values, [float(w.replace("−", "-")) for w in words], atol=1e-12)
    levels = round_levels(low, high, most)
    assert levels[0] <= low + 1e-12
    assert levels[-1] >= high - 1e-12
    assert decades(0.03, 2.0)[1] == ["0.05", "0.1", "0.2", "0.5", "1", "2"]


@pytest.mark.parametrize("value", [0.0, 3.2, -3.2, 3.0, 1e-9, 4e7])
@pytest.mark.parametrize("noise", [0.0, 1e-16])
def test_levels_enclose_one_value_alone(value: float, noise: float) -> None:
    """As of a width that is the same all over the deck."""
    levels = round_levels(value, value * (1.0 + noise), 10)
    assert len(levels) == 2
    assert levels[0] < levels[1]
    assert levels[0] <= value <= levels[1]


def test_what_leaves_its_axes_is_cut_off() -> None:
    axes = Axes(
        paper=Paper("c", 100, 100), box=(10.0, 10.0, 90.0, 90.0), x=(0.0, 8.0), y=(0.0, 8.0)
    )
    axes.path([[-4.0, 4.0], [4.0, 4.0]])
    axes.path([[4.0, 4.0], [12.0, 4.0], [12.0, 12.0], [4.0, 12.0]], closed=True, fill="red")
    axes.arrow([-2.0, 2.0], [-3.0, 2.0])
    axes.arrow([1.0, 2.0], [-3.0, 2.0])
    line, area, shaft = re.findall(r'd="([^"]*)"', axes.paper.drawing("cut").svg)
    assert shaft in ("M20 30l-10 0", "M10 30l10 0")
    assert line == "M10 50l40 0"
    np.testing.assert_allclose(np.ptp(points_of(area), axis=0), [40.0, 40.0])
    assert points_of(area).max() == pytest.approx(90.0)


def test_legends_stay_on_their_sheets() -> None:
    keys = [Key(words=f"a line of some words and numbers {k}", width=1.0) for k in range(9)]
    for width in (250.0, 690.0):
        rows = rows_of(keys, width)
        assert [key for row in rows for key in row] == keys
        height = legend_height(keys, width)
        paper = Paper("l", width, height)
        legend(paper, keys)
        root = ElementTree.fromstring(paper.drawing("legend").svg)
        for one in root.iter(f"{SVG}text"):
            end = float(one.get("x") or "nan") + room_of("".join(one.itertext()), SMALL)
            assert end <= width
            assert 0.0 < float(one.get("y") or "nan") < height


def test_the_plan_of_findings_reads_without_colour(deck: Deck) -> None:
    """Each effect has its own number on the plan, a shape for what was found, and what is short in
    words beside it."""
    found = [
        Judged(
            effect=f"effect {k}",
            judgement=kind,
            words="short by 12 %" if kind is Judgement.SHORT else f"words {k}",
            place=f"place <{k}>",
            at=(1.0 + 0.5 * k, 0.1),
            lines=("C1", "C2"),
        )
        for k, kind in enumerate(Judgement, start=1)
    ]
    drawing = findings_plan(deck, found)
    root = ElementTree.fromstring(drawing.svg)
    words = ["".join(one.itertext()) for one in root.iter(f"{SVG}text")]
    for k, one in enumerate(found, start=1):
        assert words.count(f"{k}") == 1
        assert (one.effect in words) == (one.judgement is Judgement.SHORT)
        assert one.judgement.value in " ".join(words)
    assert words.count("short by 12 %") == 1
    assert all(f"{one.effect}: {one.words}, {one.place}" in drawing.words for one in found)
    assert drawing.svg.count("url(#findings-plan-hatch-1)") == 2  # the bay and the legend
    shapes = {LOOKS[kind][:2] for kind in Judgement}
    assert len(shapes) == len(Judgement)
    assert drawing.height < 330.0
    for one in root.iter(f"{SVG}text"):
        y = float(one.get("y") or "nan")
        assert 0.0 < y < drawing.height


def test_labels_of_findings_in_one_place_lie_on_nothing(deck: Deck) -> None:
    """Six effects short within a tenth of a metre: every number and every label can be read."""
    found = [
        Judged(
            effect=f"effect of some words {k}",
            judgement=Judgement.SHORT,
            words=f"short by {k} %",
            place="bay",
            at=(3.0 + 0.01 * k, 0.1),
        )
        for k in range(1, 7)
    ]
    drawing = findings_plan(deck, found)
    texts = ElementTree.fromstring(drawing.svg).iter(f"{SVG}text")
    at = {
        "".join(one.itertext()): np.array([float(one.get(k) or "nan") for k in "xy"])
        for one in texts
    }
    half = np.array([0.5 * room_of(found[0].effect, SMALL), 9.0])
    boxes = [(at[one.words] + [0.0, -7.0], half) for one in found]
    boxes += [(at[f"{k}"] - [0.0, 3.0], np.array([6.0, 6.0])) for k in range(1, 7)]
    for (one, a), (other, b) in itertools.combinations(boxes, 2):
        assert np.any(np.abs(one - other) >= a + b)
    for middle, a in boxes:
        assert np.all(middle - a >= 0.0)
        assert np.all(middle + a <= [drawing.width, drawing.height])


def seen(colours: list[str], lost: str) -> np.ndarray:
    """OKLab of colours as eyes without one kind of cones see them: the projections of F. Viénot,
    H. Brettel and J. Mollon, Digital video colourmaps for checking the legibility of displays by
    dichromats, Color Research and Application 24 (1999); from memory."""
    to_lms = np.array(
        [[17.8824, 43.5161, 4.11935], [3.45565, 27.1554, 3.86714], [0.0299566, 0.184309, 1.46709]]
    )
    flat = {
        "": np.eye(3),
        "red": np.array([[0, 2.02344, -2.52581], [0, 1, 0], [0, 0, 1]]),
        "green": np.array([[1, 0, 0], [0.494207, 0, 1.24827], [0, 0, 1]]),
    }[lost]
    linear = np.array([rgb(colour) for colour in colours]) ** 2.2
    shown = linear @ (np.linalg.inv(to_lms) @ flat @ to_lms).T
    return oklab(np.clip(shown, 0.0, 1.0) ** (1 / 2.2))


@pytest.mark.parametrize("lost", ["", "red", "green"])
def test_series_are_told_apart_by_every_eye(lost: str) -> None:
    """A just noticeable difference is about 0.02 in OKLab: series keep five times that, the first
    three, which stand in most drawings, seven times."""
    lab = seen(list(SERIES), lost)
    gaps = np.linalg.norm(lab[:, None] - lab, axis=2) + np.eye(len(lab))
    assert gaps.min() > 0.1
    assert gaps[:3, :3].min() > 0.14


@pytest.mark.parametrize("lost", ["", "red", "green"])
def test_ramps_run_from_light_to_dark(lost: str) -> None:
    for anchors in (LARGEST, SMALLEST, SCENE[::-1]):
        light = seen(ramp(anchors, 12), lost)[:, 0]
        assert np.all(np.diff(light) < -0.01)


def test_the_page_and_its_drawings_share_one_palette() -> None:
    """What is drawn by hand on the page, in stroke or fill, is of the palette or grey."""
    palette = set(SERIES) | {LOAD, HOLD, SLAB}
    for name in ("explorer.js", "explorer.css"):
        for colour in re.findall(r"#[0-9a-f]{6}\b", (ASSETS / name).read_text(encoding="utf-8")):
            assert colour in palette, f"{name}: {colour}"
