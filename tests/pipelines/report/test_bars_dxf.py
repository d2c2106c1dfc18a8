"""The drawing of the bars read back: units, every bar at its depth, dimensions, zones."""

import re
import time
from dataclasses import replace
from itertools import combinations
from pathlib import Path
from textwrap import wrap
from types import SimpleNamespace
from typing import Any, cast

import ezdxf
import numpy as np
import pytest
import shapely
from ezdxf.document import Drawing
from ezdxf.entities import DXFGraphic
from ezdxf.filemanagement import new as new_drawing
from shapely import affinity

from pipelines.bars.checks.curtailment import Zones
from pipelines.bars.design import Design
from pipelines.bars.schedule.laid import laid_bars
from pipelines.bars.schedule.marks import Schedule
from pipelines.bars.schedule.schedule import scheduled
from pipelines.caution import CAUTION, TO_VERIFY
from pipelines.deck.deck import Deck
from pipelines.deck.reading.deck_file import read_deck
from pipelines.deck.reinforcement import DesignBasis, Reinforcement
from pipelines.deck.starters import starter
from pipelines.report.drawings.bar_files import bar_files
from pipelines.report.drawings.bar_openings_dxf import opening_details
from pipelines.report.drawings.bar_plans_dxf import layer_plan
from pipelines.report.drawings.bar_sections import named_sections
from pipelines.report.drawings.bars import bar_mark
from pipelines.report.drawings.bars_dxf import drawn_bars
from pipelines.report.drawings.dxf_parts import SECTION, TABLE, dimension
from pipelines.report.drawings.ground_dxf import PLANS, ground_of
from pipelines.run import run
from pipelines.standards.materials import materials
from pipelines.standards.resistance.bars import LAYERS, Bars, Layer, Mat, SlabBars
from pipelines.standards.sources import Source
from tests.pipelines.decks_with_bars import BARS as THREE
from tests.pipelines.outline_decks import BEAM, RAMP
from tests.pipelines.small_decks import BEAMS, PLAN, SLAB, TRAFFIC, deck_of

BARS = SlabBars(
    0.250,
    Mat(cover=0.045, x=Bars(0.012, 0.200), y=Bars(0.010, 0.125), outer="x"),
    Mat(cover=0.040, x=Bars(0.016, 0.150), y=Bars(0.012, 0.100), outer="y"),
)
# a raster of 0.2 m over x -0.4 to 6.4, y -2 to 2
U = np.linspace(-0.4, 6.4, 35)
Y = np.broadcast_to(np.linspace(-2.0, 2.0, 21), (35, 21))


def zones() -> Zones:
    """B1 (y): every bar for x in [1.9, 3.1], no bar elsewhere; the others need every other bar."""
    some = np.ones(Y.shape, dtype=np.int64)
    band = np.where((U[:, None] > 1.95) & (U[:, None] < 3.05), 2, 0) * some
    of: dict[Layer, np.ndarray] = {layer: some for layer in LAYERS} | {("bottom", "y"): band}
    lengths = dict.fromkeys(LAYERS, 0.640)
    return Zones(
        u=U,
        y=Y,
        zone=of,
        shift=dict.fromkeys(LAYERS, 0.2),
        anchorage=lengths,
        source=Source("EN 1992", "test"),
    )


def schedule_of(deck: Deck) -> Schedule:
    unused = dict.fromkeys(LAYERS, lambda points: np.zeros(len(points)))
    return scheduled(deck, laid_bars(deck), unused, [])


def drawn(deck: Deck, folder: Path, angle: float = np.pi / 2) -> tuple[Drawing, Deck]:
    basis = cast(DesignBasis, SimpleNamespace(materials=materials("C35/45", "B500B", "EN 1992")))
    deck = replace(deck, reinforcement=Reinforcement(bars=BARS, angle=angle, bases=(basis,)))
    one = SimpleNamespace(basis=basis, zones=zones())
    design = SimpleNamespace(reinforcement=deck.reinforcement, standards=(one,))
    _, text = drawn_bars(deck, cast(Design, design), schedule_of(deck))
    (folder / "bars.dxf").write_text(text, encoding="utf-8")
    return ezdxf.readfile(folder / "bars.dxf"), deck


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> tuple[Drawing, Deck]:
    """Two bays on beams, read alone."""
    folder = tmp_path_factory.mktemp("plain")
    return drawn(deck_of(folder, SLAB, PLAN, BEAMS), folder)


def area(doc: Drawing, layer: str) -> float:
    """Of the closed lines on a layer, holes not looked for [m2]."""
    outlines = doc.modelspace().query(f'LWPOLYLINE[layer=="{layer}"]')
    return sum(shapely.Polygon(list(e.get_points("xy"))).area for e in outlines) * 1e-6  # type: ignore[attr-defined]


def test_every_sheet_has_the_caution_at_the_size_of_its_notes(plain: tuple[Drawing, Deck]) -> None:
    doc, _ = plain
    texts = [(one.dxf.text, one.dxf.height) for one in doc.modelspace().query("TEXT")]
    first, *_ = wrap(CAUTION, 100)
    # Of the typical sections once, below each section at a named place, each of four plans of bars,
    # that of edges and the table, and below four plans of zones.
    named = [text for text, _ in texts if re.match("SECTION (ALONG|ACROSS) at", text)]
    sizes = [2.5 * float(text.split("1:")[1].split(";")[0]) for text in named]
    assert len(sizes) == 8
    # 6.8 by 4 m: 136 by 80 mm at 1:50, at 1:25 too high for a sheet of A3
    size = 2.5 * 50
    assert [height for text, height in texts if text == first] == [
        SECTION, *sizes, *[size] * 5, TABLE, *[size] * 4
    ]  # fmt: skip
    heights = [pytest.approx(1.4 * size), pytest.approx(1.4 * TABLE)]
    titles = [text for text, height in texts if height in heights]
    bars = [title for title in titles if not title.startswith("ZONES")]
    assert len(bars) == 6
    assert all(title.endswith(TO_VERIFY) for title in bars)
    assert sum(text.endswith(TO_VERIFY) for text, _ in texts if text.startswith("SECTION")) == 2 + 8


def test_units_layers_and_health(plain: tuple[Drawing, Deck]) -> None:
    doc, _ = plain
    assert doc.header["$INSUNITS"] == 4  # millimetres
    assert doc.header["$MEASUREMENT"] == 1
    assert not doc.audit().errors
    names = {layer.dxf.name for layer in doc.layers}
    assert {"SLAB (mm)", "BARS ALONG X (mm)", "BARS ALONG Y (mm)", "DIMENSIONS (mm)"} <= names
    assert "ZONE B1 EVERY BAR (mm)" in names


def test_the_drawing_is_the_same_whenever_it_is_drawn(tmp_path: Path) -> None:
    deck = deck_of(tmp_path, SLAB, PLAN, BEAMS)
    found = set()
    for wait in (0.0, 1.1):  # times in a drawing are of whole seconds
        time.sleep(wait)
        drawn(deck, tmp_path)
        found.add((tmp_path / "bars.dxf").read_bytes())
    assert len(found) == 1


def test_every_bar_of_a_section_lies_at_its_depth(plain: tuple[Drawing, Deck]) -> None:
    """In mm below the top of the slab, of bars that the section along the deck cuts (y): T2 at
    45 + 12 + 5 = 62, B1 at 250 - 40 - 6 = 204; across it (x): T1 at 51, B2 at 250 - 60 = 190."""
    doc, _ = plain
    space = doc.modelspace()
    tops = sorted(
        {e.dxf.start.y for e in space.query('LINE[layer=="SLAB (mm)"]') if e.dxf.start.x == 0.0},
        reverse=True,
    )
    titles = [e.dxf for e in space.query("TEXT") if e.dxf.text.startswith("SECTION ACROSS at")]
    details = max(title.insert.y for title in titles)
    along, across = tops[0], next(z for z in tops if z < tops[0] - 300)
    for name, top, expected in (
        ("Y", along, {62.0: (5.0, 125.0, 8), 204.0: (6.0, 100.0, 10)}),
        ("X", across, {51.0: (6.0, 200.0, 5), 190.0: (8.0, 150.0, 7)}),
    ):
        circles = [
            one
            for one in space.query(f'CIRCLE[layer=="BARS ALONG {name} (mm)"]')
            if one.dxf.center.y > details
        ]
        assert len(circles) == sum(count for _, _, count in expected.values())
        for depth, (radius, spacing, count) in expected.items():
            row = [c for c in circles if abs(top - c.dxf.center.y - depth) < 1e-6]
            assert len(row) == count
            assert {c.dxf.radius for c in row} == {radius}
            x = sorted(c.dxf.center.x for c in row)
            np.testing.assert_allclose(np.diff(x), spacing, rtol=1e-9)
            assert x[0] >= radius
            assert x[-1] <= 1000 - radius


def test_sections_show_the_bars_of_the_schedule_where_they_lie(plain: tuple[Drawing, Deck]) -> None:
    """Across at mid-bay: every bar along x at its offset from the edge, T1 at 45 + 6 = 51 mm, B2 at
    250 - 40 - 12 - 8 = 190; edge bars touch the bend of U-bars. Between them bars along y from
    cover to cover, T2 at 62 and B1 at 204, and a U-bar at either edge."""
    _, deck = plain
    schedule = schedule_of(deck)
    section = next(named_sections(deck, schedule))
    assert section.cut.where == "mid-bay C1-C2, x = 1.50 m"
    assert section.pieces == ((0.0, pytest.approx(4.0), True, True),)
    for layer, depth in ((("top", "x"), 0.051), (("bottom", "x"), 0.190)):
        found = [b for b in section.rounds if b.layer == layer and b.mark.use == "mat"]
        places = [
            b.across + 2.0
            for m in schedule.marks
            if m.use == "mat" and m.layers == (layer,)
            for b in m.bars
        ]
        assert sorted(b.at for b in found) == pytest.approx(sorted(places), abs=1e-9)
        assert {round(b.depth, 9) for b in found} == {depth}
    for layer, depth in ((("top", "y"), 0.062), (("bottom", "y"), 0.204)):
        (long,) = (b for b in section.longs if b.layer == layer)
        assert (long.start, long.end) == pytest.approx((0.045, 3.955), abs=1e-6)
        assert long.depth == pytest.approx(depth)
    assert [(round(b.at, 6), b.rightward) for b in section.bends] == [
        (0.045, True), (3.955, False)
    ]  # fmt: skip
    # 12 mm bent to 24: 36 - 18 / sqrt(2) = 23.27 mm inside each way, of covers 45 + 12 and 40
    edges = sorted((round(1e3 * b.at, 1), round(1e3 * b.depth, 1)) for b in section.rounds
                   if b.mark.use == "edge bar")  # fmt: skip
    assert edges == [(68.3, 80.3), (68.3, 186.7), (3931.7, 80.3), (3931.7, 186.7)]
    supports = [(s.line.name, round(s.at, 6)) for s in section.supports]
    assert supports == []  # the cross beams run with the section


@pytest.mark.parametrize("kind", ["grid", "skew", "curve", "taper", "outline"])
def test_bars_in_sections_keep_their_covers_and_do_not_meet(tmp_path: Path, kind: str) -> None:
    more = {
        "skew": "skew_deg = 30\n",
        "curve": "radius_m = 40\n",
        "taper": "end_offsets_m = [-3.0, 3.0]\n",
    }
    plan = PLAN.replace("overhang_m", f"{more.get(kind, '')}overhang_m")
    parts = (RAMP.replace('"beam"', f'"beam"\n{BEAM}'),) if kind == "outline" else (plan, BEAMS)
    deck = deck_of(tmp_path, SLAB, *parts, THREE)
    sections = list(named_sections(deck, schedule_of(deck)))
    # of each edge, of openings both ways, and of the middle
    openings = len(deck.plan.openings)
    assert len(sections) == len(deck.plan.edges) + 2 * openings + (2 if kind == "outline" else 4)
    h = deck.required_reinforcement.bars.thickness
    for section in sections:
        assert section.rounds
        assert section.longs
        for bar in section.rounds:
            half = bar.mark.diameter / 2
            assert bar.depth - half >= 0.040 - 1e-9
            assert bar.depth + half <= h - 0.040 + 1e-9
            # within a piece of slab; at edges that are cut askew by no more than the bar is thick
            assert any(a - half <= bar.at <= b + half for a, b, *_ in section.pieces)
        laid = [b for b in section.rounds if b.mark.use in ("mat", "edge bar")]
        if kind == "grid":
            for one, other in combinations(laid, 2):
                apart = np.hypot(one.at - other.at, one.depth - other.depth)
                assert apart >= (one.mark.diameter + other.mark.diameter) / 2 - 1e-9, section.cut


def test_openings_have_a_detail_with_every_trimmer(tmp_path: Path) -> None:
    """One title and caution each; every trimmer and diagonal as it is cut; one mark a layer,
    of those that an edge makes shorter a series; width and height of the opening."""
    deck = deck_of(tmp_path, SLAB, RAMP.replace('"beam"', f'"beam"\n{BEAM}'), THREE)
    schedule = schedule_of(deck)
    doc = new_drawing("R2010")
    doc.styles.add("BARS", font="DejaVuSans.ttf")
    space = doc.modelspace()
    assert opening_details(space, deck, schedule, 0.0) < -1000.0
    texts = [e.dxf.text for e in space.query("TEXT")]
    assert [t for t in texts if t.startswith("BARS AT OPENING")] == [
        f"BARS AT OPENING {k}, plan, plot at 1:25; {TO_VERIFY}" for k in (1, 2)
    ]
    assert texts.count(wrap(CAUTION, 100)[0]) == 2
    marks = [m for m in schedule.marks if m.use in ("trimmer", "diagonal")]
    assert len({(m.use, m.layers, m.of) for m in marks}) == len(marks) == 2 * (4 + 2)
    lengths = [
        np.hypot(*np.diff(np.array(list(e.get_points("xy")))[[0, -1]], axis=0)[0])  # type: ignore[attr-defined]
        for e in space.query("LWPOLYLINE")
        if e.dxf.get("lineweight", 0) == 35
    ]
    cuts = [1e3 * bar.cut for mark in marks for bar in mark.bars]
    for cut in cuts:
        # ends are rounded down to 5 mm
        assert any(-1e-6 < length - cut < 5.0 for length in lengths)
    for mark in marks:
        assert str(mark.number) in texts
    found = [d.get_measurement() for d in space.query("DIMENSION")]  # type: ignore[attr-defined]
    np.testing.assert_allclose(sorted(map(float, found)), [600.0, 600.0, 1000.0, 1000.0], rtol=1e-3)
    rings = [(e.dxf.center.x, e.dxf.center.y) for e in space.query("CIRCLE")]
    for one, other in combinations(rings, 2):
        assert np.hypot(*np.subtract(one, other)) > 1.6 * 62.5


def test_dimensions_measure_what_they_stand_at(plain: tuple[Drawing, Deck]) -> None:
    doc, _ = plain
    found = [d.get_measurement() for d in doc.modelspace().query("DIMENSION")]  # type: ignore[attr-defined]
    # thickness and covers twice, spacings, then nine chains of 400, 3000, 3000, 400 and 4000
    expected = [250.0, 45.0, 40.0] * 2 + [125.0, 100.0, 200.0, 150.0]
    expected += [400.0, 3000.0, 3000.0, 400.0, 4000.0] * 9
    expected += [250.0, 45.0, 40.0] * 8  # sections at named places
    # U-bars: of x, outermost at the top and inside 12 mm at the bottom, and of y: leg, cover at the
    # end, outside height, thickness
    expected += [500.0, 45.0, 250.0 - 45.0 - 40.0 - 12.0, 250.0]
    expected += [500.0, 45.0, 250.0 - 45.0 - 12.0 - 40.0, 250.0]
    np.testing.assert_allclose(sorted(map(float, found)), sorted(expected), rtol=1e-9)


def test_plans_and_table_show_the_schedule(tmp_path: Path) -> None:
    """Of every mat and its pieces number and length once, in all as many as there are; one bar of
    each range as long as it is cut; every mark in the table with its number and mass."""
    long = PLAN.replace("[0.0, 3.0, 6.0]", "[0.0, 8.0, 16.0]")
    doc, deck = drawn(deck_of(tmp_path, SLAB, long, BEAMS), tmp_path)
    schedule = schedule_of(deck)
    space = doc.modelspace()
    texts = [e.dxf.text for e in space.query("TEXT")]
    mats = [mark for mark in schedule.marks if mark.use == "mat"]
    ranges = [bars for mark in mats for bars in mark.ranges]
    assert len(mats) > 4  # lapped
    shown = [re.fullmatch(r"(\d+) x \d+@\d+", text) for text in texts]
    counted = [int(match[1]) for match in shown if match]
    assert sorted(counted) == sorted(len(bars) for bars in ranges)
    assert sum(counted) == sum(len(mark.bars) for mark in mats)
    lengths = sorted(text for text in texts if re.fullmatch(r"L \d+", text))
    assert lengths == sorted(f"L {1e3 * bars[0].cut:.0f}" for bars in ranges)
    heavy = [np.array(list(e.get_points("xy"))) for e in space.query("LWPOLYLINE")
             if e.dxf.get("lineweight", 0) == 50]  # type: ignore[attr-defined]  # fmt: skip
    drawn_lengths = [float(np.hypot(*np.diff(path[[0, -1]], axis=0)[0])) for path in heavy]
    for bars in ranges:
        assert any(abs(length - 1e3 * bars[0].cut) < 5.0 for length in drawn_lengths)
    for mark in schedule.marks:
        row = [str(mark.number), f"{mark.mass:.1f}", str(len(mark.bars))]
        assert all(cell in texts for cell in row)
    assert any(f"all {schedule.mass:.0f} kg" in text for text in texts)


SETS = """
[[bars.added]]
mark = "M"
direction = "x"
diameter_mm = 12
spacing_mm = 400
stations_m = [0.0, 3.0]
[[bars.added]]
mark = "Q"
direction = "x"
diameter_mm = 10
spacing_mm = 200
stations_m = [0.0, 3.0]
"""


def test_a_plan_says_in_which_gaps_added_bars_lie(tmp_path: Path) -> None:
    deck = deck_of(tmp_path, SLAB, PLAN, BEAMS, THREE + SETS)
    doc = new_drawing("R2010")
    doc.styles.add("BARS", font="DejaVuSans.ttf")
    layer_plan(doc.modelspace(), deck, schedule_of(deck), ("top", "x"), 0.0)
    words = " ".join(one.dxf.text for one in doc.modelspace().query("TEXT"))
    assert "M, 12@400: in the middle of one gap of 2 between the bars of the mat." in words
    assert "Q, 10@200: 0.25 of the width into every gap between the bars of the mat." in words


def test_marks_on_a_plan_stand_clear_of_each_other(tmp_path: Path) -> None:
    """Beside the opening of this deck, near a corner, short bars lie close together."""
    (tmp_path / "deck.toml").write_text(starter("outline"), encoding="utf-8")
    deck = read_deck(tmp_path / "deck.toml")
    for layer in LAYERS:
        doc = new_drawing("R2010")
        doc.styles.add("BARS", font="DejaVuSans.ttf")
        layer_plan(doc.modelspace(), deck, schedule_of(deck), layer, 0.0)
        words = [e for e in doc.modelspace().query("TEXT") if re.match(r"\d+ x |L \d", e.dxf.text)]
        assert words
        for one, other in combinations([strip_of(e) for e in words], 2):
            assert not one.intersects(other)


def strip_of(words: DXFGraphic) -> shapely.Geometry:
    """What words take, half a letter high and wide at least, from the middle of their left end."""
    x, y, _ = words.dxf.align_point
    high, long = 0.25 * words.dxf.height, 0.5 * words.dxf.height * len(words.dxf.text)
    level = shapely.box(x, y - high, x + long, y + high)
    return affinity.rotate(level, words.dxf.rotation, origin=(x, y))


@pytest.mark.parametrize("kind", ["square", "curved to the right", "to the left", "skew"])
def test_plans_can_be_set_out(tmp_path: Path, kind: str) -> None:
    """Names of lines that meet in a corner stand apart by their height; chains of dimensions to
    the edges of straight decks, 6.8 m along and 4 m across, or the arc in words."""
    more = {
        "curved to the right": "radius_m = 12\n",
        "to the left": "radius_m = -12\n",
        "skew": "skew_deg = 30\n",
    }
    plan = PLAN.replace("overhang_m", f"{more.get(kind, '')}overhang_m")
    beam = (
        'on = "L*"\nsupport = "beam"\nbeam = { E_GPa = 210, G_GPa = 81, I_cm4 = 60000, J_cm4 = 200,'
    )
    along = f"[[line]]\n{beam} A_cm2 = 160 }}\nheld_at = ['C1', 'C3']\n"
    deck = deck_of(tmp_path, SLAB, plan, BEAMS, along, THREE)
    doc = new_drawing("R2010", setup=["linetypes"])
    doc.styles.add("BARS", font="DejaVuSans.ttf")
    space = doc.modelspace()
    layer_plan(space, deck, schedule_of(deck), ("bottom", "x"), 0.0)
    names = [e for e in space.query("TEXT") if re.fullmatch(r"[CL]\d", e.dxf.text)]
    assert len(names) == 5
    for one, other in combinations(names, 2):
        gap = np.hypot(*np.subtract(one.dxf.align_point, other.dxf.align_point)[:2])
        assert gap > 0.8 * ground_of(deck, 0.0).size
    words = " ".join(e.dxf.text for e in space.query("TEXT"))
    measured = [round(e.get_measurement()) for e in space.query("DIMENSION")]
    if "to the" in kind:
        assert f"radius 12.00 {'-' if 'right' in kind else '+'} y" in words
        assert measured == []
        return
    assert sum(measured) == 6800 + 4000
    assert ("skew 30 degrees" in words) == (kind == "skew")


def test_steps_of_the_soffit_are_drawn_and_told(tmp_path: Path) -> None:
    """Dashed across the slab at both ends of the haunch, in the plan of the layer; no words of bars
    above the plan's title or below its slab."""
    haunch = "[[slab.zone]]\nstations_m = [2.0, 4.0]\nthickness_mm = 350\n"
    deck = deck_of(tmp_path, SLAB, haunch, PLAN, BEAMS, THREE)
    doc = new_drawing("R2010", setup=["linetypes"])
    doc.styles.add("BARS", font="DejaVuSans.ttf")
    space = doc.modelspace()
    layer_plan(space, deck, schedule_of(deck), ("bottom", "x"), 0.0)
    dashed = [e for e in space.query("LWPOLYLINE") if e.dxf.linetype == "DASHED"]
    ends = sorted(round(float(e.get_points("xy")[0][0])) for e in dashed)  # type: ignore[attr-defined]
    assert ends == [2000, 4000]
    texts = [e for e in space.query("TEXT")]
    words = " ".join(e.dxf.text for e in texts)
    assert "350 mm at x = 2.00 to 4.00 m" in words
    assert "run on straight into the thicker one" in words
    rings = [e.dxf.center.y for e in space.query("CIRCLE")]
    title = next(e.dxf.insert.y for e in texts if e.dxf.text.startswith("BARS OF"))
    assert max(rings) < title
    size = ground_of(deck, 0.0).size
    assert min(rings) > title - 5 * size - 4000.0 - size


@pytest.mark.parametrize(
    ("long", "wide", "scale"), [(3.0, 2.0, 25), (6.8, 4.0, 50), (30.0, 10.0, 100), (90.0, 9.0, 100)]
)
def test_small_decks_have_plans_at_larger_scales(
    tmp_path: Path, long: float, wide: float, scale: int
) -> None:
    """The largest of those in use at which the slab is 330 by 130 mm on paper at most."""
    plan = PLAN.replace("[0.0, 3.0, 6.0]", f"[0.0, {long / 2}, {long}]")
    plan = plan.replace("[-2.0, 2.0]", f"[{-wide / 2}, {wide / 2}]").replace("0.4", "0.0")
    deck = deck_of(tmp_path, SLAB, plan, BEAMS, THREE)
    ground = ground_of(deck, 0.0)
    assert ground.scale == scale
    small = 1e3 * long / scale <= 330 and 1e3 * wide / scale <= 130
    assert small or scale == PLANS[-1]


FOUR = """
[[slab.zone]]
stations_m = [2.2, 3.8]
thickness_mm = 350
[[slab.zone]]
stations_m = [-0.4, 0.8]
thickness_mm = 300
[[slab.zone]]
stations_m = [4.6, 5.2]
offsets_m = [-1.0, 1.0]
thickness_mm = 220
"""


@pytest.mark.parametrize("layer", LAYERS)
def test_words_stand_clear_of_lines_and_words_on_a_deck_of_four_thicknesses(
    tmp_path: Path, layer: Layer
) -> None:
    """Bars cut at every step: no words meet others, and few a bar or the slab's edge."""
    deck = deck_of(tmp_path, SLAB, FOUR, PLAN, BEAMS, THREE)
    doc = new_drawing("R2010", setup=["linetypes"])
    doc.styles.add("BARS", font="DejaVuSans.ttf")
    space = doc.modelspace()
    layer_plan(space, deck, schedule_of(deck), layer, 0.0)
    words = [e for e in space.query("TEXT") if re.match(r"\d+ x |L \d", e.dxf.text)]
    strips = [strip_of(e) for e in words]
    for one, other in combinations(strips, 2):
        assert not one.intersects(other)
    rings = [
        shapely.Point(e.dxf.center.x, e.dxf.center.y).buffer(e.dxf.radius)  # type: ignore[attr-defined]
        for e in space.query("CIRCLE")
    ]
    assert not any(ring.intersects(strip) for ring in rings for strip in strips)
    lines = [
        shapely.LineString(e.get_points("xy"))  # type: ignore[attr-defined]
        for e in space.query("LWPOLYLINE")
        if e.dxf.layer.startswith(("BARS", "SLAB")) and e.dxf.linetype != "DASHED"
    ]
    covered = [strip for strip in strips if any(line.intersects(strip) for line in lines)]
    assert len(covered) <= 0.1 * len(strips)


def test_zones_cover_their_places_and_words_say_so(plain: tuple[Drawing, Deck]) -> None:
    doc, _ = plain
    # 1.9 to 3.1 m over the width of 4 m; the whole slab where every other bar is needed
    assert area(doc, "ZONE B1 EVERY BAR (mm)") == pytest.approx(1.2 * 4.0)
    assert area(doc, "ZONE T1 EVERY OTHER BAR (mm)") == pytest.approx(6.8 * 4.0)
    assert area(doc, "ZONE T1 EVERY BAR (mm)") == 0.0
    texts = [e.dxf.text for e in doc.modelspace().query("TEXT")]
    assert any("ZONES OF LAYER B1 12@100 across the deck (y)" in t for t in texts)
    assert any("B2 16@150 along the deck (x), cover 52, d = 190" in t for t in texts)
    assert any("640 mm" in t for t in texts)
    assert all(t.isascii() for t in texts)


def test_bars_of_a_skew_deck_run_as_they_are_placed(tmp_path: Path) -> None:
    """Square to the deck's axis where the file states no angle, though the beams run askew."""
    skew = PLAN.replace("[plan]", "[plan]\nskew_deg = 30.0")
    deck = deck_of(tmp_path, SLAB, skew, BEAMS)
    _, square = drawn(deck, tmp_path)
    (x0, _), (x1, _) = bar_mark(square, "y", 0.8, 0.08)[0]
    assert x1 == pytest.approx(x0)
    doc, askew = drawn(deck, tmp_path, np.radians(60.0))
    start, end = bar_mark(askew, "y", 0.8, 0.08)[0]
    np.testing.assert_allclose(end - start, [0.8, 1.6 * np.sin(np.radians(60.0))], rtol=1e-9)
    texts = [e.dxf.text for e in doc.modelspace().query("TEXT")]
    assert any("across the deck (y) at 60 degrees to x" in t for t in texts)
    # the slab's area does not change with the skew
    assert area(doc, "ZONE T1 EVERY OTHER BAR (mm)") == pytest.approx(6.8 * 4.0)


@pytest.mark.slow
def test_a_run_of_a_deck_with_bars_writes_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Drawn once, as soon as the bars are judged."""
    drawn: list[tuple[Any, ...]] = []

    def counted(*of: Any, pdf: bool) -> dict[str, bytes]:
        drawn.append(of)
        return bar_files(*of, pdf=pdf)

    monkeypatch.setattr("pipelines.report.drawings.bar_files.bar_files", counted)
    few = TRAFFIC.replace("step_m = 0.5", "step_m = 2.0")
    deck_of(tmp_path, SLAB, PLAN, BEAMS, few, THREE)
    result = run(tmp_path / "deck.toml", tmp_path / "out")
    ((_, design, listed, _),) = drawn
    assert design is result.design
    assert listed is result.schedule
    doc = ezdxf.readfile(tmp_path / "out" / "bars.dxf")
    assert not doc.audit().errors
    texts = " ".join(e.dxf.text for e in doc.modelspace().query("TEXT"))
    for standard in ("EN 1992", "IRC:112", "AASHTO LRFD"):
        assert f"{standard}: bars needed at x" in texts


@pytest.mark.parametrize(("long", "level"), [(45.0, True), (250.0, False)])
def test_short_dimensions_have_their_figures_beside_them(long: float, level: bool) -> None:
    """A cover of 45 mm at 1:10 is 4.5 mm on paper, less than its figures and ticks take along it:
    they stand level left of its line, clear of it and of the next line 7.5 mm further out."""
    doc = new_drawing("R2010")
    doc.styles.add("BARS", font="DejaVuSans.ttf")
    space = doc.modelspace()
    dimension(space, (0.0, 0.0), (0.0, long), (-75.0, 0.0), SECTION, upright=True)
    (found,) = space.query("DIMENSION")
    (figures,) = (e for e in found.virtual_entities() if e.dxftype() in ("TEXT", "MTEXT"))  # type: ignore[attr-defined]
    turn = figures.dxf.rotation % 180.0
    assert turn == pytest.approx(0.0 if level else 90.0)
    if level:
        x, y, _ = figures.dxf.insert
        half = 0.5 * 0.87 * SECTION * 2
        assert -150.0 < x - half < x + half < -75.0 - 0.4 * SECTION
        assert y == pytest.approx(0.5 * long)
