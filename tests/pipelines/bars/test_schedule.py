"""Bars as they are bent and placed: laps, ends and masses by hand, covers, true lengths."""

import csv
import re
from collections.abc import Iterator, Mapping
from dataclasses import replace
from itertools import pairwise
from math import pi
from pathlib import Path

import numpy as np
import pytest
import shapely

from pipelines.analysis.analyse import analyse
from pipelines.analysis.result import Result
from pipelines.bars.drawn_parts import DrawnBars
from pipelines.bars.schedule.anchored import end_anchorages, turned_ends
from pipelines.bars.schedule.laid import laid_bars
from pipelines.bars.schedule.lines import BarLine
from pipelines.bars.schedule.marks import EndAnchorage, Mark, Schedule, TurnedEnd, u_length
from pipelines.bars.schedule.pieces import Used
from pipelines.bars.schedule.schedule import scheduled
from pipelines.deck.deck import Deck
from pipelines.report.data.bar_schedule_csv import write_schedule
from pipelines.run import write_results
from pipelines.standards.detailing.laps import ENDS, end_length, lap_length
from pipelines.standards.resistance.bars import LAYERS, Bars, Layer, SlabBars
from pipelines.standards.sources import Standard
from plate.arrays import Floats
from plate.geometry.outline import DRAWN, region
from tests.pipelines.decks_with_bars import BARS
from tests.pipelines.outline_decks import BEAM, RAMP
from tests.pipelines.small_decks import BEAMS, PLAN, SLAB, TRAFFIC, deck_of

RIGID = '[[line]]\non = "C*"\nsupport = "rigid"\nwidth_mm = 250\n'
LONG = PLAN.replace("[0.0, 3.0, 6.0]", "[0.0, 8.0, 16.0]")
SIDES = '[[line]]\non = "L*"\nsupport = "rigid"\nto_edges = true\n'
ADDED = """
[[bars.added]]
mark = "A1"
direction = "x"
diameter_mm = 12
spacing_mm = 200
along = "C2"
reach_m = 1.5
"""


def plan(more: str) -> str:
    return LONG.replace("overhang_m", more + "\noverhang_m")


def nowhere(points: Floats) -> Floats:
    return np.zeros(len(points))


NOT_USED: Mapping[Layer, Used] = dict.fromkeys(LAYERS, nowhere)


def schedule_of(deck: Deck) -> Schedule:
    return scheduled(deck, laid_bars(deck), NOT_USED, [])


def mat_lines(deck: Deck) -> dict[Layer, tuple[BarLine, ...]]:
    return {one.layer: one.lines for one in laid_bars(deck) if not one.mark}


def of(schedule: Schedule, use: str, layer: Layer | None = None) -> Iterator[Mark]:
    return (m for m in schedule.marks if m.use == use and layer in (None, m.layers[0]))


# By hand, 16 mm at the bottom, outermost, cover 40 mm, 150 mm apart (formulas from memory).
# EN, C30/37, B500B: f_ctd = .7 x .30 x 30^(2/3) / 1.5 = 1.352; f_bd = 2.25 f_ctd = 3.041;
#   l_b = 16/4 x 434.8/3.041 = 571.8 mm; lap sqrt(2) l_b = 808.7 mm.
# IRC, M40, Fe 500: f_ctd = .7 x .259 x 40^(2/3) / 1.5 = 1.414; f_bd = 3.181; l_b = 546.8 mm;
#   lap 773.2 mm.
# AASHTO, 5 ksi, grade 60: 2.4 x .6299 in x 60 / sqrt(5) = 40.57 in; confined by 16/48, no less than
#   .4: l_d = 16.23 in = 412.2 mm; class B 1.3 l_d = 535.8 mm.
HAND = {"EN 1992": (571.8, 808.7), "IRC:112": (546.8, 773.2), "AASHTO LRFD": (412.2, 535.8)}


def test_a_lap_and_an_end_by_hand(tmp_path: Path) -> None:
    reinforcement = deck_of(tmp_path, SLAB, PLAN, BEAMS, BARS).required_reinforcement
    assert len(reinforcement.bases) == len(HAND)
    for basis in reinforcement.bases:
        mat, bars, layer = basis.materials, reinforcement.bars, ("bottom", "x")
        bond, lap = HAND[mat.standard]
        # to the last figure of the hand
        assert 1e3 * lap_length(bars, layer, mat) == pytest.approx(lap, abs=0.15)
        half = 1e3 * end_length(bars, layer, mat, 0.5)
        assert half == pytest.approx(0.5 * bond, abs=0.1)
        least = 6 * 25.4 if mat.standard == "AASHTO LRFD" else max(0.3 * bond, 160.0)
        assert 1e3 * end_length(bars, layer, mat, 0.0) == pytest.approx(least, abs=0.1)


def test_masses_by_hand(tmp_path: Path) -> None:
    """Slab 6.8 x 4.0 m, 250 mm, free at its sides and at its ends: covers 40 below, 45 above,
    so 45 at the ends of all.

    Bars lie clear, by 20 mm, of edge bars that touch the bend of U-bars, radius 2 phi: 3 phi - 1.5
    phi / sqrt(2) = 31.0 mm inside for 16 mm, 23.3 for 12. Bars along x so over 4000 - 2 (45 + 31.0
    + 16 + 20) = 3775.9, along y over 6800 - 2 (45 + 23.3 + 12 + 20) = 6599.5. U-bars beside the
    fuller mat: legs 2 h = 500; b = 250 less the covers, of the inner layer with the outer bar.
    """
    schedule = schedule_of(deck_of(tmp_path, SLAB, PLAN, BEAMS, BARS))
    hand = [  # use, layer, diameter, number, cut length
        ("mat", ("bottom", "x"), 16, 3775 // 150 + 1, 6710),
        ("mat", ("bottom", "y"), 12, 6599 // 125 + 1, 3910),
        ("mat", ("top", "x"), 16, 3775 // 200 + 1, 6710),
        ("mat", ("top", "y"), 12, 6599 // 300 + 1, 3910),
        # 1000 + 153 - 4 (32 + 16) + pi (32 + 8) = 1086.7, of 250 - 40 - 45 - 12 = 153
        ("U-bar", ("top", "x"), 16, 2 * 26, 1090),
        # 1000 + 149 - 4 (24 + 12) + pi (24 + 6) = 1099.2, of 250 - 40 - 16 - 45 = 149
        ("U-bar", ("top", "y"), 12, 2 * 53, 1100),
        # and half a diameter less at either end
        ("edge bar", ("top", "y"), 16, 2, 3890),
        ("edge bar", ("bottom", "y"), 16, 2, 3890),
        ("edge bar", ("top", "x"), 12, 2, 6695),
        ("edge bar", ("bottom", "x"), 12, 2, 6695),
    ]
    total = 0.0
    for use, layer, diameter, number, cut in hand:
        marks = list(of(schedule, use, layer))  # type: ignore[arg-type]
        assert {round(1e3 * m.diameter, 6) for m in marks} == {diameter}
        assert sum(len(m.bars) for m in marks) == number
        assert {round(1e3 * length) for m in marks for length in m.lengths} == {cut}
        total += 7850 * pi / 4 * (1e-3 * diameter) ** 2 * number * 1e-3 * cut
    assert len(schedule.marks) == 4 + 2 * 2 + 2 * 4
    assert schedule.mass == pytest.approx(total, rel=1e-12)
    assert sum(schedule.by_diameter.values()) == schedule.mass
    assert schedule.mass / schedule.area == pytest.approx(total / 27.2, rel=1e-12)
    assert schedule.mass / schedule.volume == pytest.approx(total / 6.8, rel=1e-12)


def test_the_axis_of_a_u_bar_is_as_long_as_its_straights_and_arcs() -> None:
    # legs 500, height 200, phi 20, inner radius 70: straights 410 twice and 20, two quarters of 80
    assert u_length(0.5, 0.2, 0.020, 0.070) == pytest.approx(0.84 + pi * 0.080, abs=1e-12)


def test_long_bars_are_lapped_apart_from_their_neighbours_and_from_the_peak(tmp_path: Path) -> None:
    deck = deck_of(tmp_path, SLAB, LONG, RIGID, BARS)

    def used(points: Floats) -> Floats:  # bays and the middle line, but for two gaps
        return 0.2 + 0.8 * (np.abs(np.abs(points[:, 0] - 8.0) - 2.0) > 1.0)

    schedule = scheduled(deck, laid_bars(deck), dict.fromkeys(LAYERS, used), [])
    assert deck.required_reinforcement.stock == 12.0
    for layer in (("bottom", "x"), ("top", "x")):
        laps = next(one for one in schedule.laps if one.layer == layer)
        assert laps.highest == pytest.approx(0.2)
        lines: dict[float, list[Floats]] = {}
        for mark in of(schedule, "mat", layer):  # type: ignore[arg-type]
            assert max(mark.lengths) <= 12.0 + 1e-9
            for bar in mark.bars:
                lines.setdefault(round(bar.across, 6), []).append(np.sort(bar.path[:, 0]))
        middles = []
        for place in sorted(lines):
            (a, b), (c, d) = sorted(lines[place], key=lambda ends: ends[0])
            assert b - c == pytest.approx(np.ceil(200 * laps.length) / 200, abs=1e-9)
            assert d - a == pytest.approx(16.8 - 2 * 0.045, abs=1e-9)
            middles.append(0.5 * (b + c))
        assert len(middles) > 10
        assert min(abs(a - b) for a, b in pairwise(middles)) >= 1.3 * laps.length


def test_a_shorter_stock_length_is_kept(tmp_path: Path) -> None:
    choice = "[bar_choice]\ndiameters_mm = [16]\nspacings_mm = [150]\nstock_m = 6\n"
    schedule = schedule_of(deck_of(tmp_path, SLAB, LONG, RIGID, BARS, choice))
    assert max(max(mark.lengths) for mark in schedule.marks) <= 6.0
    # 16.71 m in pieces of 6 m with laps of 0.81 m: no fewer than four
    bottom = sum(len(m.bars) for m in of(schedule, "mat", ("bottom", "x")))
    assert bottom == 4 * 26


def test_bars_without_room_for_laps_stay_whole_and_are_told(tmp_path: Path) -> None:
    """Bars of 40 mm need laps of two metres: none fit between those of their neighbours in 5 m."""
    thick = BARS.replace("diameter_mm = 16, spacing_mm = 150", "diameter_mm = 40, spacing_mm = 150")
    choice = "[bar_choice]\ndiameters_mm = [16]\nspacings_mm = [150]\nstock_m = 5\n"
    schedule = schedule_of(deck_of(tmp_path, SLAB, LONG, RIGID, thick, choice))
    told = {laps.layer: laps for laps in schedule.laps}
    (mark,) = of(schedule, "mat", ("bottom", "x"))
    assert told["bottom", "x"].too_long == len(mark.bars)
    assert told["bottom", "x"].highest is None
    assert told["top", "x"].too_long == 0


def test_true_lengths_on_a_curve(tmp_path: Path) -> None:
    """Arcs at their own offsets: (16.8 m of station)(1 - y/R) less the covers; bars across keep
    their spacing at the outer edge, y = -2 m."""
    deck = deck_of(tmp_path, SLAB, plan("radius_m = 40"), RIGID, BARS)
    lines = mat_lines(deck)
    for line in lines["bottom", "x"]:
        gross = 16.8 * (1 - line.across / 40)
        # the cover in stations is that of the shortest offset: 5 % more at the longest
        assert gross - 2 * 0.045 * (1.05 / 0.95 + 0.01) <= line.length <= gross - 2 * 0.045
    stations = np.array([line.across for line in lines["bottom", "y"]])
    assert np.diff(stations) * (1 + 2 / 40) == pytest.approx(0.125, abs=1e-9)
    bent = list(of(schedule_of(deck), "mat", ("bottom", "x")))
    assert {mark.shape for mark in bent} == {"67"}
    radii = [mark.radius for mark in bent if mark.radius is not None]
    assert radii[0] == pytest.approx((40 - 1.875, 40 + 1.875), abs=0.15)


def test_true_lengths_on_a_skew_and_on_a_taper(tmp_path: Path) -> None:
    skew = deck_of(tmp_path, SLAB, plan("skew_deg = 30"), RIGID, BARS)
    bars = mat_lines(skew)["bottom", "x"]
    # cover square to the edge, to the corner of a bar of 16 mm
    less = 2 * (0.045 / np.cos(pi / 6) + 0.008 * np.tan(pi / 6))
    assert [bar.length for bar in bars] == pytest.approx([16.8 - less] * len(bars), abs=1e-6)
    taper = deck_of(tmp_path, SLAB, plan("end_offsets_m = [-3.0, 3.0]"), RIGID, BARS)
    (mark,) = of(schedule_of(taper), "mat", ("bottom", "y"))
    assert mark.a is None
    for bar in mark.bars:
        width = 4.0 + bar.path[0, 0] / 8.0  # 4 m at station 0, 6 m at 16
        assert bar.cut == pytest.approx(width - 0.09, abs=0.008)


@pytest.mark.parametrize("kind", ["grid", "skew", "curve", "outline"])
def test_no_bar_has_less_than_its_cover(tmp_path: Path, kind: str) -> None:
    plans = {
        "grid": (LONG, RIGID, BARS + ADDED),
        "skew": (plan("skew_deg = 30"), RIGID, BARS + ADDED),
        "curve": (plan("radius_m = 40"), RIGID, BARS + ADDED),
        "outline": (RAMP.replace('"beam"', f'"beam"\n{BEAM}'), BARS),
    }
    deck = deck_of(tmp_path, SLAB, *plans[kind])
    slab = region(deck.plan, DRAWN)
    marks = schedule_of(deck).marks
    uses = {"mat", "U-bar", "edge bar"}
    uses |= {"trimmer", "diagonal"} if kind == "outline" else {"added"}
    assert {mark.use for mark in marks} == uses
    inside = slab.buffer(-0.045 + 2 * DRAWN, join_style="mitre")  # the larger cover
    for mark in marks:
        for bar in mark.bars:
            steel = shapely.LineString(bar.path).buffer(mark.diameter / 2, cap_style="flat")
            # the arcs' points lie within DRAWN of them
            assert inside.covers(steel), mark


def test_trimmers_are_no_less_than_what_an_opening_cuts(tmp_path: Path) -> None:
    deck = deck_of(tmp_path, SLAB, RAMP.replace('"beam"', f'"beam"\n{BEAM}'), BARS)
    schedule = schedule_of(deck)
    for layer in LAYERS:
        beside = sum(len(m.bars) for m in of(schedule, "trimmer", layer) if m.of == "opening 1")
        spacing = deck.required_reinforcement.bars.bars(layer).spacing
        assert beside >= max(np.floor(1.0 / spacing), 4)  # the opening is 1 m wide
    assert all(len(m.bars) == 4 for m in of(schedule, "diagonal"))


def test_u_bars_anchor_what_lacks_room_at_a_support(tmp_path: Path) -> None:
    """Fully used bars at end supports 0.4 m from the edge, 250 mm wide: 480 mm past the face."""
    deck = deck_of(tmp_path, SLAB, PLAN, BEAMS, BARS)
    mat = deck.required_reinforcement.bases[0].materials
    full: Mapping[Layer, Used] = dict.fromkeys(LAYERS, lambda points: np.ones(len(points)))
    shift = dict.fromkeys(LAYERS, 0.2)
    found = end_anchorages(deck, laid_bars(deck), mat, full, shift)
    ends = [end for end in found if end.layer == ("bottom", "x")]
    assert [(end.edge, end.line) for end in ends] == [("start", "C1"), ("end", "C3")]
    for end in ends:
        assert end.room == pytest.approx(0.400 + 0.125 - 0.045, abs=1e-9)
        assert 1e3 * end.needed == pytest.approx(HAND["EN 1992"][0], abs=0.1)
        assert not end.holds
    legs = {m.of: m.a for m in of(scheduled(deck, laid_bars(deck), NOT_USED, ends), "U-bar")}
    # all bars lapped in one section, 1.5 x 571.8 mm, at the ends; 2 h at the free sides
    assert legs == {"start": 0.86, "end": 0.86, "left": 0.5, "right": 0.5}
    supported = EndAnchorage(
        edge="left",
        line="L1",
        layer=("bottom", "y"),
        standard="EN 1992",
        used=1.0,
        needed=0.5,
        room=0.1,
        source=ENDS["EN 1992"],
    )
    held = deck_of(tmp_path, SLAB, PLAN, SIDES, BARS)
    assert {m.of for m in of(schedule_of(held), "U-bar")} == {"start", "end"}
    marks = of(scheduled(held, laid_bars(held), NOT_USED, [supported]), "U-bar")
    assert {m.of for m in marks} == {"start", "end", "left"}


def test_ends_and_laps_are_judged_as_by_hand(tmp_path: Path) -> None:
    """Bars used by half at both ends, 16 mm and outermost at the bottom (`HAND`).

    Past the faces there is room for 480 mm: EN 0.5 x 571.8 = 285.9 mm are needed, IRC 273.4, AASHTO
    206.1. The U-bars of all bars stand in one section: EN 0.5 x 1.5 x 571.8 = 428.9 mm, IRC 0.5 x
    1.5 x 546.8 = 410.1, AASHTO 0.5 x 535.8 = 267.9, but 12 in = 304.8 at least; their legs are 500
    mm, their area that of 16@150, half of which is needed. On 16 m long decks of 12 m bars laps
    stand where half is used: EN 0.5 x 808.7, IRC 0.5 x 773.2, AASHTO 304.8 of the 808.7 mm there.
    """
    half: Mapping[Layer, Used] = dict.fromkeys(LAYERS, lambda points: np.full(len(points), 0.5))
    shift = dict.fromkeys(LAYERS, 0.2)
    hand: dict[Standard, tuple[float, float, float]] = {
        "EN 1992": (285.9, 428.9, 404.3),
        "IRC:112": (273.4, 410.1, 386.6),
        "AASHTO LRFD": (206.1, 304.8, 304.8),
    }
    deck = deck_of(tmp_path, SLAB, plan(""), BEAMS, BARS)
    mats = [basis.materials for basis in deck.required_reinforcement.bases]
    laid = laid_bars(deck)
    ends = [end for mat in mats for end in end_anchorages(deck, laid, mat, half, shift)]
    turned = [end for mat in mats for end in turned_ends(deck, laid, mat, half, shift)]
    schedule = scheduled(deck, laid, half, ends, turned)
    for standard, (past, with_u, lap) in hand.items():
        rows = schedule.anchorage[standard]
        found = {(row.check, row.place): (row.required, row.provided) for row in rows}
        for edge, line in (("start", "C1"), ("end", "C3")):
            at = f"bottom, bars along x, edge {edge}, past line {line}"
            by_hand = pytest.approx((past, 480.0), abs=0.1)
            assert np.multiply(1e3, found["anchorage", at]) == by_hand
            at = f"bottom, bars along x, edge {edge}"
            by_hand = pytest.approx((with_u, 500.0), abs=0.1)
            assert np.multiply(1e3, found["lap with U-bars", at]) == by_hand
            area = pi / 4 * 0.016**2 / 0.150
            assert found["U-bars", at] == pytest.approx((area / 2, area), rel=1e-9)
        by_hand = pytest.approx((lap, 808.7), abs=0.1)
        assert np.multiply(1e3, found["lap", "bottom, bars along x"]) == by_hand
        assert all(row.passes for row in schedule.anchorage[standard])


def test_u_bars_take_what_the_bars_do_not_anchor_themselves() -> None:
    """Bond 600 mm, lap 900: at the end 0.4 is left, 0.6 at 300 mm in all, of which the bar anchors
    half: 0.1. Legs of 500 mm: 360 of 500, 90 of 200; U-bars for 0.4 of the steel. Used fully at 300
    mm, 0.5 is left there: 450 of 200; legs as long as a lap do for bars used fully from their end.
    """
    end = TurnedEnd(
        edge="left",
        layer=("top", "y"),
        standard="EN 1992",
        at=(0.0, 0.3, 0.6),
        used=(0.4, 0.6, 0.9),
        bond=0.6,
        lap=(0.9, 0.2),
        steel=1e-3,
        diameter=0.012,
        source=ENDS["EN 1992"],
    )
    assert end.rest == pytest.approx((0.4, 0.1, 0.0), abs=1e-12)
    assert end.laps(0.5) == pytest.approx((0.36, 0.5), abs=1e-12)
    assert end.holds(0.5)
    # as long as what U-bars of half the steel need
    assert end.laps(0.5, 2.0) == pytest.approx((0.72, 0.5), abs=1e-12)
    more = replace(end, used=(0.4, 1.0, 1.0))
    assert more.laps(0.5) == pytest.approx((0.45, 0.2), abs=1e-12)
    assert not more.holds(0.5)
    assert replace(end, used=(1.0, 1.0, 1.0)).holds(0.9)


def test_too_little_is_not_adequate(tmp_path: Path) -> None:
    """U-bars of a thin slab are thinner than its bars; laps of 20 mm bars want as much across."""
    full: Mapping[Layer, Used] = dict.fromkeys(LAYERS, lambda points: np.ones(len(points)))
    bars = "diameter_mm = {}, spacing_mm = {}".format
    thin = BARS.replace(bars(16, 150), bars(25, 150)).replace(bars(12, 125), bars(8, 250))
    deck = deck_of(tmp_path, SLAB, plan(""), BEAMS, thin)
    mat = deck.required_reinforcement.bases[0].materials
    turned = list(turned_ends(deck, laid_bars(deck), mat, full, dict.fromkeys(LAYERS, 0.2)))
    schedule = scheduled(deck, laid_bars(deck), full, [], turned)
    (u_bars,) = (
        row
        for row in schedule.anchorage["EN 1992"]
        if (row.check, row.place) == ("U-bars", "bottom, bars along x, edge start")
    )
    # 16 mm are the largest that bend in 250 - 40 - 45 - 8 = 157 mm: 2 (3.5 + 1) 25 is more
    assert u_bars.utilisation == pytest.approx((25 / 16) ** 2, rel=1e-9)
    (across,) = (
        row
        for row in schedule.anchorage["EN 1992"]
        if (row.check, row.place) == ("lap, bars across it", "bottom, bars along x")
    )
    lap = next(one.length for one in schedule.laps if one.layer == ("bottom", "x"))
    by_hand = pi / 4 * 25**2 / (pi / 4 * 8**2 / 250 * 2 / 3 * 1e3 * lap)
    assert across.utilisation == pytest.approx(by_hand, rel=1e-9)
    assert not u_bars.passes
    assert not across.passes


AT_START = """
[[bars.added]]
mark = "A1"
direction = "x"
diameter_mm = 12
spacing_mm = {spacing}
stations_m = [-0.4, 1.6]
"""


def test_u_bars_stand_beside_added_bars_that_end_at_the_edge(tmp_path: Path) -> None:
    """Top bars along x, 16@200 + 12@200, are 1570 mm2/m, more than 16@150 at the bottom with its
    U-bars, 1340: a U-bar beside each of the added ones, legs 500, of 250 - 85 - 24 mm outside and
    12 mm: 1000 + 153 - 4 (24 + 12) + pi (24 + 6) = 1103.2, cut 1105. With 12@400, 1288 mm2/m, the
    others are enough."""
    for spacing, more in ((200, True), (400, False)):
        text = BARS + AT_START.replace("{spacing}", str(spacing))
        deck = deck_of(tmp_path, SLAB, PLAN, BEAMS, text)
        schedule = schedule_of(deck)
        (lines,) = (one.lines for one in laid_bars(deck) if one.mark)
        assert {line.ends for line in lines} == {("start", "")}
        along = [m for m in of(schedule, "U-bar") if m.layers[0] == ("top", "x")]
        beside = [m for m in along if round(1e3 * m.diameter) == 12]
        assert {m.of for m in beside} == ({"start"} if more else set())
        assert sum(len(m.bars) for m in beside) == (len(lines) if more else 0)
        assert {round(1e3 * length) for m in beside for length in m.lengths} == (
            {1105} if more else set()
        )
        # and those of the mats are as they were
        assert sum(len(m.bars) for m in along if m not in beside) == 2 * 26


def test_added_bars_at_an_end_support_are_anchored_by_their_own_length(tmp_path: Path) -> None:
    """25 mm beside 16 mm: 25/16 x 434.8/3.041, and they reach no further: the worst of the edge."""
    head, foot = BARS.split('face = "top"')
    thick = AT_START.replace("{spacing}", "150").replace("= 12", "= 25")
    text = head.rpartition("[[bars]]")[0] + thick + '[[bars]]\nface = "top"' + foot
    deck = deck_of(tmp_path, SLAB, PLAN, BEAMS, text)
    mat = deck.required_reinforcement.bases[0].materials
    full: Mapping[Layer, Used] = dict.fromkeys(LAYERS, lambda points: np.ones(len(points)))
    shift = dict.fromkeys(LAYERS, 0.2)
    found = end_anchorages(deck, laid_bars(deck), mat, full, shift)
    ends = {e.edge: e for e in found if e.layer == ("bottom", "x")}
    assert 1e3 * ends["start"].needed == pytest.approx(25 / 16 * HAND["EN 1992"][0], abs=0.2)
    assert 1e3 * ends["end"].needed == pytest.approx(HAND["EN 1992"][0], abs=0.1)


def test_trimmers_stand_for_added_bars_that_an_opening_cuts(tmp_path: Path) -> None:
    """Mat and added bars of one diameter and spacing: twice as many are cut, half of all to each
    side."""
    ramp = RAMP.replace('"beam"', f'"beam"\n{BEAM}')
    layer: Layer = ("top", "x")
    both = '[[bars.added]]\ndirection = "x"\ndiameter_mm = 16\nspacing_mm = 200\nopening = 1\n'
    found = []
    for more in ("", both + "reach_m = 1.5\n"):
        deck = deck_of(tmp_path, SLAB, ramp, BARS + more)
        trimmers = [m for m in of(schedule_of(deck), "trimmer", layer) if m.of == "opening 1"]
        cut = {
            (one.mark, line.number)
            for one in laid_bars(deck)
            for line in one.lines
            if one.layer == layer and "opening 1" in line.ends
        }
        found.append((len(cut), sum(len(m.bars) for m in trimmers)))
    (alone, first), (together, second) = found
    assert together >= 2 * alone - 1
    assert first >= max(alone, 4)
    assert second >= together > first


def read_back(path: Path) -> tuple[dict[Layer, Bars], dict[str, tuple[Layer, Bars]]]:
    """Mats, and added bars by their mark, from bar_schedule.csv alone."""
    mats: dict[Layer, Bars] = {}
    added: dict[str, tuple[Layer, Bars]] = {}
    with path.open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            if row["use"] not in ("mat", "added"):
                continue
            face, direction = row["layers"].split("_")
            layer: Layer = (face, direction)  # type: ignore[assignment]
            bars = Bars(1e-3 * float(row["diameter_mm"]), 1e-3 * float(row["spacing_mm"]))
            if row["use"] == "mat":
                assert mats.setdefault(layer, bars) == bars
            else:
                assert added.setdefault(row["of"], (layer, bars)) == (layer, bars)
    return mats, added


def test_the_schedule_read_back_has_the_areas_that_the_checks_count(tmp_path: Path) -> None:
    deck = deck_of(tmp_path, SLAB, LONG, RIGID, BARS + ADDED)
    reinforcement, schedule = deck.required_reinforcement, schedule_of(deck)
    write_schedule(tmp_path / "bars.csv", schedule)
    mats, added = read_back(tmp_path / "bars.csv")
    points = np.stack(np.meshgrid(np.linspace(-0.3, 16.3, 60), np.linspace(-1.9, 1.9, 9)), -1)
    points = points.reshape(-1, 2)
    drawn = DrawnBars(deck=deck, reinforcement=reinforcement, points=points, anchored=(0.5,))

    def areas(bars: SlabBars) -> dict[Layer, float]:
        return {layer: bars.bars(layer).area for layer in LAYERS}

    there = drawn.at(points, areas)
    counted = drawn.counted(points)
    for layer in LAYERS:
        mine = np.full(len(points), mats[layer].area)
        for number, one in enumerate(reinforcement.added):
            on, bars = added[one.mark]
            mine += counted[number] * bars.area * (on == layer)
        assert mine == pytest.approx(there[layer], rel=1e-9)
        # and the bars lie so: from one to the next the spacing, those added in the middle of gaps
        places = sorted({b.across for m in of(schedule, "mat", layer) for b in m.bars})
        assert np.diff(places) == pytest.approx(mats[layer].spacing, rel=1e-9)
        between = sorted({b.across for m in of(schedule, "added", layer) for b in m.bars})
        for place in between:
            before = max(p for p in places if p < place)
            assert place - before == pytest.approx(mats[layer].spacing / 2, rel=1e-9)
    assert np.unique(there["top", "x"]).size == 2


def test_bars_read_back_from_the_schedule_come_to_the_same_utilisations(tmp_path: Path) -> None:
    """Every number of every check by every standard, with the diameters and spacings of the file in
    a deck drawn with others; covers, layer order and places of added bars are the deck's."""
    deck = deck_of(tmp_path, SLAB, PLAN, BEAMS, TRAFFIC, BARS + ADDED)
    before = analyse(deck, tolerances_wanted=False, strips_wanted=False)
    assert before.schedule is not None
    write_schedule(tmp_path / "bars.csv", before.schedule)
    mats, added = read_back(tmp_path / "bars.csv")
    others = re.sub(r"diameter_mm = \d+", "diameter_mm = 10", BARS + ADDED)
    other = deck_of(tmp_path, SLAB, PLAN, BEAMS, TRAFFIC, others).required_reinforcement
    bars = other.bars
    for layer, one in mats.items():
        assert bars.bars(layer) != one
        bars = bars.with_mat(layer[0], bars.mat(layer[0]).with_bars(layer[1], one))
    read = replace(
        other, bars=bars, added=tuple(replace(a, bars=added[a.mark][1]) for a in other.added)
    )
    after = analyse(replace(deck, reinforcement=read), tolerances_wanted=False, strips_wanted=False)
    found = [utilisations_of(result) for result in (before, after)]
    assert len(found[0]) > 100
    assert any("A1" in place for *_, place in found[0])
    assert list(found[0]) == list(found[1])
    for key, value in found[0].items():
        assert found[1][key] == pytest.approx(value, rel=1e-9), key


def utilisations_of(result: Result) -> dict[tuple[str, str, str, str, str], float]:
    """By standard, check, layer, search and place."""
    return {
        (verdict.standard, judged.title, str(judged.layer), found.by, found.place): (
            found.utilisation
        )
        for verdict in result.verdicts
        for judged in verdict.judgements
        for found in judged.found
    }


def test_a_run_writes_the_schedule_with_the_caution_and_guarded_cells(tmp_path: Path) -> None:
    named = ADDED.replace('"A1"', '"=A1"')
    deck = deck_of(tmp_path, SLAB, PLAN, BEAMS, TRAFFIC, BARS + named)
    result = analyse(deck, tolerances_wanted=False, strips_wanted=False)
    write_results(result, tmp_path / "out")
    assert result.schedule is not None
    with (tmp_path / "out" / "bar_schedule.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["mark"] for row in rows] == [str(mark.number) for mark in result.schedule.marks]
    # printed to 10 g a mark
    mass = sum(float(row["mass_kg"]) for row in rows)
    assert mass == pytest.approx(result.schedule.mass, abs=0.005 * len(rows))
    assert {row["caution"] for row in rows} == {"for a qualified engineer to verify"}
    assert {row["of"] for row in rows if row["use"] == "added"} == {"'=A1"}
    for row in rows:
        by_length = [part.split(" x ") for part in row["number_by_length"].split("; ")]
        assert sum(int(n) for n, _ in by_length) == int(row["number"])
        total = sum(int(n) * float(length) for n, length in by_length)
        assert 1e-3 * total == pytest.approx(float(row["total_length_m"]), abs=5e-4)
    page = (tmp_path / "out" / "report.html").read_text(encoding="utf-8")
    assert "Bar schedule" in page
    # all three standards look at both faces' bars past both ends, and at all four edges' U-bars
    assert len(result.schedule.ends) == 3 * 2 * 2
    assert len(result.schedule.turned) == 3 * 2 * 4
