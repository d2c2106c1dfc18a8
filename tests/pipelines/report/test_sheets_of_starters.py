"""Drawings of the bars of skew, curved and outline decks, without a run: lengths, places, words."""

import re
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from itertools import combinations
from math import cos, radians, sin, tan
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest
import shapely
from ezdxf.enums import TextEntityAlignment as Align
from ezdxf.filemanagement import new
from ezdxf.layouts.layout import Modelspace
from shapely import affinity

from pipelines.bars.schedule.laid import laid_bars
from pipelines.bars.schedule.marks import Mark, Schedule
from pipelines.bars.schedule.schedule import scheduled
from pipelines.bars.schedule.sprung import PREFORMED, sprung_words
from pipelines.deck.deck import Deck
from pipelines.deck.reading.deck_file import read_deck
from pipelines.deck.starters import starter
from pipelines.report.data.bar_schedule_csv import schedule_table
from pipelines.report.drawings.bar_openings_dxf import opening_details
from pipelines.report.drawings.bar_plans_dxf import edges_plan, layer_plan
from pipelines.report.drawings.bar_ranges import beside_ranges, layer_ranges
from pipelines.report.drawings.bar_sections import Section, named_sections
from pipelines.report.drawings.bar_sections_dxf import section_sheets
from pipelines.report.drawings.bar_table_dxf import bar_table
from pipelines.report.drawings.ground_dxf import set_out_words
from pipelines.standards.resistance.bars import LAYERS, Layer
from plate.geometry.outline import DRAWN, region

KINDS = ("skew", "curved", "outline")
ALONG: tuple[Layer, ...] = (("bottom", "x"), ("top", "x"))
ACROSS: tuple[Layer, ...] = (("bottom", "y"), ("top", "y"))


@cache
def deck_and_schedule(kind: str) -> tuple[Deck, Schedule]:
    """A starter as `new` writes it, its bars scheduled as if used nowhere."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "deck.toml"
        path.write_text(starter(kind), encoding="utf-8")
        deck = read_deck(path)
    unused = dict.fromkeys(LAYERS, lambda points: np.zeros(len(points)))
    return deck, scheduled(deck, laid_bars(deck), unused, [])


@cache
def plans(kind: str) -> tuple[tuple[str, Modelspace], ...]:
    """Each plan of a deck's bars in a drawing of its own."""
    deck, schedule = deck_and_schedule(kind)
    drawn: dict[str, Callable[[Modelspace], float]] = {
        f"{layer}": lambda space, layer=layer: layer_plan(space, deck, schedule, layer, 0.0)  # type: ignore[misc]
        for layer in LAYERS
    }
    drawn["edges"] = lambda space: edges_plan(space, deck, schedule, 0.0)
    drawn["openings"] = lambda space: opening_details(space, deck, schedule, 0.0)
    found = []
    for name, draw in drawn.items():
        space = empty()
        draw(space)
        found.append((name, space))
    return tuple(found)


def empty() -> Modelspace:
    doc = new("R2010", setup=["linetypes"])
    doc.styles.add("BARS", font="DejaVuSans.ttf")
    return doc.modelspace()


def words_of(space: Modelspace) -> str:
    return " ".join(one.dxf.text for one in space.query("TEXT"))


def mats(schedule: Schedule, layer: Layer) -> list[Mark]:
    return [m for m in schedule.marks if m.use == "mat" and m.layers == (layer,)]


def test_lengths_of_bars_at_a_skew_by_hand() -> None:
    """Skew 30 degrees, 6.6 m along x and 8.5 m across, cover 50 mm at the ends, cut to 5 mm below.

    Along x a bar of diameter d loses at each end 50 / cos 30 and, as it keeps its cover on its
    whole width, d / 2 tan 30; across 50; along the skew edges 50 + d / 2 over cos 30.
    """
    _, schedule = deck_and_schedule("skew")
    cosine, tangent = cos(radians(30.0)), tan(radians(30.0))

    def cut(length: float) -> float:
        return 5.0 * (length // 5.0)

    for layer, d in zip(ALONG, (20.0, 16.0), strict=True):
        (mark,) = mats(schedule, layer)
        expected = cut(6600.0 - 2.0 * (50.0 / cosine + d / 2 * tangent))
        assert {round(1e3 * bar.cut, 6) for bar in mark.bars} == {expected}
    for layer in ACROSS:
        (mark,) = mats(schedule, layer)
        assert round(1e3 * max(mark.lengths), 6) == 8400.0
    for edge, d, expected in (
        ("start", 20.0, (8500.0 - 2 * 50.0 - 20.0) / cosine),
        ("left", 16.0, 6600.0 - 2.0 * (50.0 + 8.0) / cosine),
    ):
        bars = [m for m in schedule.marks if m.use == "edge bar" and m.of == edge]
        found = [(m.diameter, round(1e3 * length, 6)) for m in bars for length in m.lengths]
        assert found == [(d / 1e3, cut(expected))] * 2


def test_lengths_of_bars_on_an_arc_by_hand() -> None:
    """Between the edges 15.6 m on R 45 m; a bar at radius r has 15.6 r / 45 less its covers, which
    are 50 mm at the inner edge (R 41 m), where they are least. Pieces of a line are cut to 5 mm
    and overlap by the lap: what they are more than the line is a lap, and every lap as long."""
    deck, schedule = deck_and_schedule("curved")
    laps = {one.layer: one.length for one in schedule.laps}
    for layer in ALONG:
        pieces: dict[float, list[float]] = {}
        for mark in mats(schedule, layer):
            assert mark.shape == "67"
            for bar in mark.bars:
                pieces.setdefault(round(bar.across, 6), []).append(bar.cut)
        bars = deck.required_reinforcement.bars.bars(layer)
        assert np.diff(sorted(pieces)) == pytest.approx(bars.spacing, abs=1e-5)
        for offset, cuts in pieces.items():
            r = 45.0 - offset
            line = (15.6 - 2.0 * 0.050 * 45.0 / 41.0) * r / 45.0
            assert len(cuts) == 2
            # cut to 5 mm and no less than the lap
            assert laps[layer] - 0.0101 < sum(cuts) - line < laps[layer] + 0.0101
    for layer in ACROSS:
        (mark,) = mats(schedule, layer)
        # radial, straight: 8 m less the same covers in plan
        assert mark.shape == "00"
        (length,) = set(mark.lengths)
        assert length == pytest.approx(8.0 - 2.0 * 0.050 * 45.0 / 41.0, abs=0.005)
        # no more than the spacing apart at the outer edge
        apart = float(np.diff([bar.across for bar in mark.bars]).mean()) * 49.0 / 45.0
        assert apart == pytest.approx(0.125, rel=1e-6)


@pytest.mark.parametrize("kind", KINDS)
def test_ranges_cross_their_bars_within_the_slab(kind: str) -> None:
    """Each dot lies on the bar that is drawn, to the sagitta of 60 chords of an arc of 17 m on
    45 m, and the line of the range on the slab."""
    deck, schedule = deck_and_schedule(kind)
    plan = deck.plan
    ring = np.array(region(plan, DRAWN).exterior.segmentize(0.25).coords)
    slab = shapely.Polygon(plan.alignment.to_cartesian(ring)).buffer(1e-3)
    found = [one for layer in LAYERS for one in layer_ranges(deck, schedule, layer)]
    found += beside_ranges(deck, schedule)
    assert len(found) > 10
    for one in found:
        assert shapely.LineString(one.bar).distance(shapely.Point(one.middle)) < 3e-4
        assert slab.covers(shapely.LineString(one.bar))
        if one.reach is not None:
            assert slab.covers(shapely.LineString(one.reach)), one.mark.number


def test_ranges_run_square_to_bars_that_all_pass_one_place() -> None:
    """Along x of the skew deck all bars pass x = 2.2 to 3.8 m; across no place is common."""
    deck, schedule = deck_and_schedule("skew")
    (along,) = layer_ranges(deck, schedule, ("bottom", "x"))
    assert along.reach is not None
    assert np.ptp(along.reach[:, 0]) < 1e-9
    assert 2.2 < along.reach[0, 0] < 3.8
    assert len(list(layer_ranges(deck, schedule, ("bottom", "y")))) == 2


@pytest.mark.parametrize("kind", ["skew", "outline"])
def test_ranges_cross_as_many_bars_squarely_as_their_words_count(kind: str) -> None:
    """To 1e-6 m along the bars, which are places of bars to rounding; together every bar."""
    deck, schedule = deck_and_schedule(kind)
    for layer in LAYERS:
        (mark,) = mats(schedule, layer)
        courses = [shapely.LineString(bar.path) for bar in mark.bars]
        told = 0
        for one in layer_ranges(deck, schedule, layer):
            number = int(one.words[0].split(" x ")[0])
            told += number
            if one.reach is None:
                assert number == 1
                continue
            run = one.bar[-1] - one.bar[0]
            first, last = one.reach[[0, -1]]
            assert abs((last - first) @ run) < 1e-6 * float(np.hypot(*run))
            past = 1e-6 * (last - first)
            reach = shapely.LineString([first - past, last + past])
            assert sum(course.intersects(reach) for course in courses) == number
        assert told == len(mark.bars)


def section_at(kind: str, where: str) -> Section:
    deck, schedule = deck_and_schedule(kind)
    return next(one for one in named_sections(deck, schedule) if one.cut.where == where)


def test_sections_at_skew_edges_keep_the_cover_of_every_bar() -> None:
    """Bars beside a section end as far from the edge as they do where they lie: 50 mm square to it,
    over cos 30 along x, with half of the diameter times tan 30; across the skew over sin 30."""
    cosine, tangent = cos(radians(30.0)), tan(radians(30.0))
    section = section_at("skew", "start edge")
    (bend,) = section.bends
    straight = {one.mark.diameter: one.start for one in section.longs if one.mark.use == "mat"}
    assert set(straight) == {0.016, 0.020}
    for d, start in straight.items():
        assert start == pytest.approx(0.050 / cosine + d / 2 * tangent, abs=1e-4)
    assert bend.at == pytest.approx(straight[0.020], abs=1e-4)
    across = section_at("skew", "line C2, x = 6.00 m")
    starts = [one.start for one in across.longs if one.mark.use == "mat"]
    expected = 0.050 * 2.0 + 0.008 / tangent
    assert starts == pytest.approx([expected, expected], abs=1e-4)


def strip(one: object) -> shapely.Geometry:
    """What words take: 0.6 of their height wide a letter, which most are, 0.7 of it high."""
    align, at, _ = one.get_placement()  # type: ignore[attr-defined]
    dxf = one.dxf  # type: ignore[attr-defined]
    high, long = 0.35 * dxf.height, 0.6 * dxf.height * len(dxf.text)
    left = {Align.MIDDLE_CENTER: -0.5 * long, Align.RIGHT: -long}.get(align, 0.0)
    middle = 0.0 if "MIDDLE" in align.name else high
    box = shapely.box(at.x + left, at.y + middle - high, at.x + left + long, at.y + middle + high)
    return affinity.rotate(box, dxf.rotation, origin=(at.x, at.y))


@pytest.mark.parametrize("kind", KINDS)
def test_words_and_marks_on_plans_do_not_meet(kind: str) -> None:
    """But a mark's number, which stands in its ring."""
    for name, space in plans(kind):
        words = [(one, strip(one)) for one in space.query("TEXT")]
        rings = [
            shapely.Point(one.dxf.center.x, one.dxf.center.y).buffer(one.dxf.radius)
            for one in space.query("CIRCLE")
        ]
        assert words or name == "openings"
        for one, other in combinations(rings, 2):
            assert not one.intersects(other), name
        for one, room in words:
            if any(ring.covers(shapely.Point(room.centroid)) for ring in rings):
                assert one.dxf.text.isdigit(), (name, one.dxf.text)
                continue
            assert not any(ring.intersects(room) for ring in rings), (name, one.dxf.text)
        for (one, room), (other, taken) in combinations(words, 2):
            assert not room.intersects(taken), (name, one.dxf.text, other.dxf.text)


def test_a_curved_plan_tells_where_its_spacings_hold() -> None:
    """41 m over 49 m of radius are 0.837."""
    told = "spacings are those at the outer edge, y = -4.00, and 0.837 of them at the inner one"
    found = {name: words_of(space) for name, space in plans("curved")}
    for layer in LAYERS:
        assert (told in found[f"{layer}"]) == (layer[1] == "y")
    assert told in found["edges"]
    assert "Arc of R 45.00 m" in found["edges"]


def test_axes_of_a_curved_plan_are_those_of_its_end_edge() -> None:
    """It turns by 15.3 / 45 from station 0, there x is level; down the sheet to the right."""
    _, space = plans("curved")[0]
    (x,) = (one for one in space.query("TEXT") if one.dxf.text == "x")
    (y,) = (one for one in space.query("TEXT") if one.dxf.text == "y")
    run = np.subtract(x.dxf.align_point, y.dxf.align_point)[:2]
    # x and y of one length from one point: their difference is turned by 45 degrees from x
    turned = np.arctan2(run[1], run[0]) - np.pi / 4
    assert turned == pytest.approx(-15.3 / 45.0, abs=1e-4)


@pytest.mark.parametrize("side", [1.0, -1.0])
def test_ends_of_a_curved_deck_are_set_out_from_its_start(side: float) -> None:
    """By hand: over 15.6 m of R 45 m the deck turns by 19.863 degrees; its corners lie 49 and 41 m
    from the centre, which is 45 m to the side; to the left all is the mirror image."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "deck.toml"
        text = starter("curved").replace("radius_m = 45.0", f"radius_m = {side * 45.0}")
        path.write_text(text, encoding="utf-8")
        deck = read_deck(path)
    (words,) = (one for one in set_out_words(deck) if one.startswith("Set out from the start"))
    words = words.replace("\u2212", "-")
    numbers = [float(one) for one in re.findall(r"-?[0-9]+\.[0-9]{3}", words)]
    turn = 15.6 / 45.0

    def corner(y: float) -> tuple[float, float]:
        r = 45.0 - side * y
        return r * sin(turn), side * (45.0 - r * cos(turn))

    expected = [0.0, -4.0, 0.0, 4.0, *corner(-4.0), *corner(4.0), 19.863]
    # as printed
    assert numbers == pytest.approx(expected, abs=0.00051)
    assert f"turns to the {'right' if side > 0.0 else 'left'} through" in words
    if side > 0.0:
        for layer, space in plans("curved"):
            assert layer == "openings" or "Set out from the start" in words_of(space)


def test_flat_arcs_are_sprung_and_others_bent() -> None:
    """25 mm on R 41 to 49 m, above the 30 m that are stated; at each limit a bar that is sprung
    stays elastic, d / 2 R below 500 / 200 000; 40 mm bars on these arcs are bent before."""
    deck, schedule = deck_and_schedule("curved")
    space = empty()
    bar_table(space, deck, schedule, 0.0)
    words = words_of(space)
    assert "with R above 30 m for 25 mm by BS 8666 (from memory)" in words
    assert "tied to it (common practice); marks sprung: 1, 2, 3, 4, 6, 7, 8, 9." in words
    radii = list(PREFORMED.values())
    assert radii == sorted(radii)
    assert all(d / (2.0 * radius) < 500.0 / 200e3 for d, radius in PREFORMED.items())
    arcs = [mark for mark in schedule.marks if mark.shape == "67"]
    thick = replace(schedule, marks=(replace(arcs[0], diameter=0.040), *arcs[1:]))
    (told,) = sprung_words(thick)
    assert "30 m for 25 mm, 58 m for 40 mm" in told
    assert told.endswith("marks sprung: 2, 3, 4, 6, 7, 8, 9; marks bent before: 1.")
    rows = list(schedule_table(thick))
    assert [row["mark"] for row in rows if row["sprung"] == "yes"] == [2, 3, 4, 6, 7, 8, 9]
    assert [row["mark"] for row in rows if row["sprung"] == "no"] == [1]
    assert {row["shape"] for row in rows if row["sprung"]} == {"67"}
    assert not sprung_words(deck_and_schedule("skew")[1])


def test_an_outline_can_be_set_out() -> None:
    """Corners as in its file; the radius of the first arc is that of the circle through the three
    points that it states; every edge and line has its name, lines with labels beside these."""
    for name, space in plans("outline"):
        words = words_of(space)
        assert "corners in m by x and y: (9.40, -4.90) to (10.40, -4.90)" in words
        if name == "openings":
            continue
        arc = r"E1 \(0\.00, -4\.00\) by .*? on R ([0-9.]+) to \(12\.00, -6\.00\)"
        match = re.search(arc, words)
        assert match
        assert float(match[1]) == pytest.approx(circle_through((0, -4), (6, -4.6), (12, -6)), 1e-3)
        assert "W1 (6.00, -4.60) to (6.00, 3.60)" in words
        names = [one.dxf.text for one in space.query("TEXT")]
        assert all(names.count(edge) == 1 for edge in ("E1", "E2", "E3", "E4", "W1"))
    assert section_at("outline", "edge beam E3").supports


def circle_through(*points: tuple[float, float]) -> float:
    """Radius: a b c / 4 A of the triangle of three points."""
    a, b, c = (np.array(point) for point in points)
    sides = [float(np.hypot(*one)) for one in (c - b, c - a, b - a)]
    cross = abs(float((b - a)[0] * (c - a)[1] - (b - a)[1] * (c - a)[0]))
    return sides[0] * sides[1] * sides[2] / (2.0 * cross)


def test_words_of_sections_speak_of_what_is_drawn() -> None:
    """No beams in outline where none is; thicknesses only where there are several, of which an
    opening between two pieces of one thickness makes none."""
    deck, schedule = deck_and_schedule("outline")
    assert len(section_at("outline", "opening 1").depths) == 2
    space = empty()
    section_sheets(space, deck, schedule, 0.0)
    words = words_of(space)
    assert "SECTION ALONG at opening 1" in words
    assert "in outline" not in words
    assert "h = " not in words
