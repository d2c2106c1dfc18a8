"""Bars in a slab whose soffit steps: each place by the thickness that is there, worked by hand.

A slab of 250 mm on three cross beams, a haunch of 350 mm over the middle one, a joint edge of 300
mm; C40/50 with alpha_cc = 0.85, B500B, bars of 16@150 along x outermost, 12@150 along y.
"""

import csv
from pathlib import Path

import numpy as np
import pytest
import shapely

from pipelines.analysis.analyse import analyse
from pipelines.analysis.kept import Kept
from pipelines.analysis.result import Result
from pipelines.bar_design.search import adequate
from pipelines.bars.checks.bending_and_service import resistances
from pipelines.bars.checks.wheel_punching import mat_at_punching
from pipelines.bars.choice.deck_text import DeckText
from pipelines.bars.demand.shear import resistance
from pipelines.bars.drawn_parts import DrawnBars
from pipelines.bars.inspection import panel_sheets, read_as_drawn
from pipelines.bars.schedule.marks import Mark
from pipelines.deck.deck import Deck
from pipelines.deck.reading.deck_file import read_deck
from pipelines.deck.thicknesses import Thicknesses
from pipelines.errors import DeckError
from pipelines.report.data.inspection_csv import write_inspection
from pipelines.report.drawings.bar_sections import named_sections
from pipelines.standards.resistance.bars import Layer, SlabBars
from tests.pipelines.small_decks import BEAMS, PLAN, SLAB, TRAFFIC, WEIGHT, mat

ZONES = """
[[slab.zone]]
stations_m = [2.0, 4.0]
thickness_mm = 350
[[slab.zone]]
stations_m = [-0.4, 0.9]
thickness_mm = 300
"""
GRADES = """
[[concrete]]
standard = "EN 1992"
grade = "C40/50"
exposure = { top = "XD1", bottom = "XC3" }
crack_combination = "frequent"
[[steel]]
standard = "EN 1992"
grade = "B500B"
[mesh]
size_m = 0.8
order = 2
"""
MATS = mat("bottom", "16@150", "12@150", cover=45) + mat("top", "16@150", "12@150", cover=50)
# Of one bar every 150 mm [mm2/m], the force of those of 16 mm at yield [kN/m] and half the depth of
# the block that takes it [mm]: 500/1.15 MPa on 0.85 x 40/1.5 MPa.
A_16, A_12 = (np.pi / 4 * phi**2 / 0.15 for phi in (16.0, 12.0))
FORCE = A_16 * 500 / 1.15 / 1e3
HALF = FORCE / (0.85 * 40 / 1.5) / 2
# phi/4 f_yd over f_bd = 2.25 x 1.0 x f_ctk,0.05 / 1.5 with f_ctk,0.05 = 0.7 x 3.5 MPa.
BOND = 0.016 / 4 * (500 / 1.15) / (2.25 * 0.7 * 3.5 / 1.5)
BOTTOM: Layer = ("bottom", "x")
TOP: Layer = ("top", "x")


def text(zones: str = ZONES, more: str = "") -> str:
    return SLAB + zones + PLAN + BEAMS + TRAFFIC + WEIGHT + GRADES + MATS + more


def file(folder: Path, zones: str = ZONES, more: str = "") -> Path:
    path = folder / "stepped.toml"
    path.write_text(text(zones, more), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> Result:
    deck = read_deck(file(tmp_path_factory.mktemp("steps")))
    return analyse(deck, tolerances_wanted=False, strips_wanted=False)


@pytest.fixture(scope="module")
def drawn(found: Result) -> DrawnBars:
    return DrawnBars.of(found.solved, found.deck.required_reinforcement.bases[0].materials)


def at(drawn: DrawnBars, x: float, y: float = 0.3) -> SlabBars:
    return drawn.bars_at(np.array([x, y]))


@pytest.mark.parametrize(
    ("x", "thickness", "bottom", "top"),
    [
        (1.5, 250, 250, 250),
        (3.0, 350, 350, 350),  # the haunch
        (0.0, 300, 300, 300),  # the joint edge
        (2.0, 250, 250, 250),  # on the step
        (2.3, 350, 250, 350),  # within a bond length of it: bars of the thinner part below
        (0.5, 300, 250, 300),
    ],
)
def test_resistances_at_a_place_in_every_zone(
    found: Result, drawn: DrawnBars, x: float, thickness: float, bottom: float, top: float
) -> None:
    """m_Rd = A_s f_yd (d - half the block), d = h - c - phi/2 of the outer bars."""
    there = at(drawn, x)
    assert 1e3 * there.thickness == pytest.approx(thickness)
    m_Rd = resistances(there, found.deck.required_reinforcement.bases[0].materials)
    assert m_Rd[BOTTOM] / 1e3 == pytest.approx(FORCE * (bottom - 45 - 8 - HALF) / 1e3, rel=1e-4)
    assert m_Rd[TOP] / 1e3 == pytest.approx(FORCE * (top - 50 - 8 - HALF) / 1e3, rel=1e-4)


def test_the_bond_length_past_a_step_is_that_by_hand(drawn: DrawnBars) -> None:
    """Of bars of 16 mm at the bottom: good bond, f_ctm of C40/50 3.5 MPa. Places lie 9 to a bond
    length to each side, so that just beyond it nothing of the thinner part is seen."""
    assert drawn.run_on["x"] == pytest.approx(BOND, rel=0.01)
    assert at(drawn, 2.0 + drawn.run_on["x"] - 1e-3).run_on == ((BOTTOM, 0.25),)
    assert at(drawn, 2.0 + drawn.run_on["x"] + 1e-3).run_on == ()
    assert at(drawn, 2.3).effective_depth(("bottom", "y")) == pytest.approx(0.35 - 0.067)


def test_shear_and_punching_by_the_depths_that_are_there(found: Result, drawn: DrawnBars) -> None:
    """0.12 k (100 rho f_ck)^(1/3) d along x, sagging and hogging; punching takes the mean of both
    bottom depths."""
    mat_ = found.deck.required_reinforcement.bases[0].materials

    def by_hand(d: float) -> float:
        k, rho = min(1 + np.sqrt(200 / d), 2.0), A_16 / 1e3 / d
        least = 0.035 * k**1.5 * 40**0.5
        return float(max(0.12 * k * (100 * rho * 40) ** (1 / 3), least) * d)

    for x, below, above in ((1.5, 250, 250), (3.0, 350, 350), (2.3, 250, 350)):
        for sign, d in ((1.0, below - 45 - 8), (-1.0, above - 50 - 8)):
            forces = np.array([sign * 1e3, 0.0, 0.0, 1e3, 0.0])[:, None]
            v_Rd = resistance(at(drawn, x), mat_, 0.02, np.array([1e3]), forces)
            assert float(v_Rd[0]) / 1e3 == pytest.approx(by_hand(d), rel=1e-3)
    assert 1e3 * float(mat_at_punching(at(drawn, 3.0)).d) == pytest.approx(350 - 45 - 15)
    assert 1e3 * float(mat_at_punching(at(drawn, 1.5)).d) == pytest.approx(250 - 45 - 15)


def test_every_place_is_judged_in_one_part(found: Result, drawn: DrawnBars) -> None:
    """Bending at every result point by the bars that lie there; shear beside the haunch's step in
    the thinner part, which lies after C1 and before C2."""
    points = found.solved.recovery.points.plan
    held = np.array([part.holds(points) for part in drawn.parts])
    assert (held.sum(axis=0) == 1).all()
    (standard,) = found.design.standards if found.design is not None else ()
    assert {part.bars.thickness for part in standard.drawn} == {0.25, 0.3, 0.35}
    names = standard.shear_demand and found.design and found.design.sections.names
    assert names
    assert {"step 250 to 350 mm", "step 250 to 300 mm"} <= set(names)
    verdict = found.verdicts[0]
    places = [one.place for judged in verdict.judgements for one in judged.found]
    assert any("slab of 350 mm" in place for place in places)


def bottom(found: Result, thickness: float, direction: str = "x") -> list[Mark]:
    assert found.schedule is not None
    return [
        mark
        for mark in found.schedule.marks
        if mark.use == "mat"
        and mark.layers == (("bottom", direction),)
        and mark.thickness == thickness
    ]


def test_bars_are_cut_at_steps_and_run_on(found: Result, drawn: DrawnBars) -> None:
    """Of 250 mm from the joint edge's step to the haunch's and beyond both by the cover of 50 mm,
    to which the thicker part's bars go, and a bond length; of 300 and 350 mm from cover to cover;
    top bars from edge to edge. Lengths go in steps of 5 mm."""
    run = drawn.run_on["x"]
    ends = {
        t: sorted({tuple(np.round(bar.path[:, 0], 3)) for m in bottom(found, t) for bar in m.bars})
        for t in (0.25, 0.3, 0.35)
    }
    (first, last) = ends[0.25]
    assert first == pytest.approx((0.85 - run, 2.05 + run), abs=0.006)
    assert last == pytest.approx((3.95 - run, 6.35), abs=0.006)
    assert ends[0.3][0] == pytest.approx((-0.35, 0.85), abs=0.006)
    assert ends[0.35][0] == pytest.approx((2.05, 3.95), abs=0.006)
    assert found.schedule is not None
    (above,) = [m for m in found.schedule.marks if m.use == "mat" and m.layers == (TOP,)]
    assert above.a == pytest.approx(6.70)
    counts = {t: len(bottom(found, t)[0].bars) for t in (0.3, 0.35)}
    assert len(set(counts.values())) == 1  # the same lines of bars


def test_weights_and_volume_by_hand(found: Result) -> None:
    """26 lines of bars of 16 mm, 1.578 kg/m; 4 m of width times 250 mm, with 50 mm more over 1.3 m
    and 100 mm more over 2.0 m."""
    assert found.schedule is not None
    (haunch,) = bottom(found, 0.35)
    assert haunch.mass == pytest.approx(26 * 1.90 * 7850 * np.pi / 4 * 0.016**2, rel=1e-6)
    by_hand = 4.0 * (6.8 * 0.25 + 1.3 * 0.05 + 2.0 * 0.10)
    assert found.schedule.volume == pytest.approx(by_hand, rel=1e-9)


def test_sections_show_the_steps_and_bars_at_their_levels(found: Result) -> None:
    """Centres of the bottom bars along x 53 mm above the soffit of the part that they are for."""
    assert found.schedule is not None
    deck = found.deck
    section = next(s for s in named_sections(deck, found.schedule) if "beam C2, y" in s.cut.where)
    assert [(round(a, 3), round(b, 3), t) for a, b, t in section.depths] == [(0.0, 1.8, 0.35)]
    levels = {round(bar.depth, 4) for bar in section.longs if bar.layer == BOTTOM}
    assert levels == {0.35 - 0.053, 0.25 - 0.053}


def test_u_bars_have_the_height_of_their_edge(found: Result) -> None:
    assert found.schedule is not None
    heights = {m.of: m.b for m in found.schedule.marks if m.use == "U-bar" and m.layers[0] == TOP}
    assert heights["start"] == pytest.approx(0.300 - 0.045 - 0.050)
    assert heights["end"] == pytest.approx(0.250 - 0.045 - 0.050)


@pytest.mark.slow
def test_panels_of_one_thickness_are_inspected_by_it(tmp_path: Path) -> None:
    zones = "[[slab.zone]]\nstations_m = [3.0, 6.4]\nthickness_mm = 350\n"
    deck = read_deck(file(tmp_path, zones))
    result = analyse(read_as_drawn(deck), tolerances_wanted=False, strips_wanted=False)
    assert result.design is not None
    sheets = panel_sheets(result.solved, result.design)
    depths = [m.drawn for s in sheets for m in s.measured if m.key.quantity == "thickness"]
    assert depths == [0.25, 0.35]
    assert {sheet.note for sheet in sheets} == {""}


def read(tmp_path: Path, rows: str) -> Deck:
    """The deck with readings."""
    (tmp_path / "readings.csv").write_text(rows, encoding="utf-8")
    return read_deck(file(tmp_path, more='[survey]\nfile = "readings.csv"\n'))


def test_a_reading_of_a_panel_with_a_step_counts_by_its_place(tmp_path: Path) -> None:
    """248 where 250 is drawn and 344 where it is 350: 2 and 6 less, 4 less in the mean; each part
    of the panel is as much thinner than drawn."""
    rows = "panel,x_m,y_m,thickness_mm\nC1-C2,1.5,0.0,248\n,2.8,0.0,344\n"
    deck = read(tmp_path, rows)
    survey = deck.required_reinforcement.survey
    assert survey is not None
    (built,) = survey.built.values()
    assert built.bars.thickness == pytest.approx(0.246)
    assert built.readings.set_off
    points = np.array([[1.5, 0.0], [2.8, 0.0]])
    drawn = DrawnBars(deck=deck, reinforcement=deck.required_reinforcement, points=points,
                      anchored=(), run_on={"x": 0.2, "y": 0.2})  # fmt: skip
    found = sorted(one.built.bars.thickness for one in drawn.built)
    assert found == pytest.approx([0.246, 0.346])


def test_a_reading_of_a_panel_with_a_step_needs_its_place(tmp_path: Path) -> None:
    with pytest.raises(DeckError, match="line 2: thickness_mm of C1-C2 needs x_m and y_m"):
        read(tmp_path, "panel,thickness_mm\nC1-C2,252\n")


@pytest.mark.slow
def test_a_panel_with_steps_is_inspected_by_the_thickness_at_each_place(tmp_path: Path) -> None:
    """One row a thickness, by which a reading may be as far off everywhere; the sheet filled in
    with what is drawn is the deck as drawn."""
    result = analyse(
        read_as_drawn(read_deck(file(tmp_path))), tolerances_wanted=False, strips_wanted=False
    )
    assert result.design is not None
    sheets = panel_sheets(result.solved, result.design)
    there = Thicknesses.of(result.deck)
    for sheet in sheets:
        assert sheet.note
        at = {one.number: one.at for one in sheet.places}
        rows = [one for one in sheet.measured if one.key.quantity == "thickness"]
        assert sorted(n for row in rows for n in row.places) == sorted(at)
        for row in rows:
            assert set(there.at(np.array([at[n] for n in row.places]))) == {row.drawn}
        least = [None if row.least is None else row.least.value for row in rows]
        off = {
            None if a is None else round(a - row.drawn, 9)
            for a, row in zip(least, rows, strict=True)
        }
        assert len(off) == 1
    write_inspection(tmp_path / "blank.csv", sheets)
    with (tmp_path / "blank.csv").open(encoding="utf-8", newline="") as blank:
        lines = list(csv.DictReader(blank))
    cells = [{**line, "reading": line["drawing"]} for line in lines]
    filled = "\n".join([",".join(cells[0]), *(",".join(map(quoted, c.values())) for c in cells)])
    survey = read(tmp_path, filled + "\n").required_reinforcement.survey
    assert survey is not None
    for built in survey.built.values():
        assert built.bars.thickness == pytest.approx(0.25)


def quoted(cell: str) -> str:
    return f'"{cell}"'


@pytest.mark.parametrize(
    ("zones", "more", "words"),
    [
        (ZONES.replace("350", "120"), "", "covers and bars need"),
        (ZONES, "[[membrane]]\nn_x_kN_m = 50\n", "one thickness"),
    ],
)
def test_what_cannot_be_judged_is_refused(
    tmp_path: Path, zones: str, more: str, words: str
) -> None:
    with pytest.raises(DeckError, match=words):
        read_deck(file(tmp_path, zones, more))


def test_thicknesses_at_places_and_along_bars(found: Result) -> None:
    """On a step the thinner part's; the steps' lines across the slab."""
    there = Thicknesses.of(found.deck)
    points = np.array([[-0.4, 0.0], [0.9, 1.0], [0.89, 1.0], [2.0, 0.0], [3.0, 2.0], [4.01, 0.0]])
    assert there.at(points).tolist() == [0.3, 0.25, 0.3, 0.25, 0.35, 0.25]
    reach = there.least_along(points, np.array([1.0, 0.0]), 0.5)
    assert reach.tolist() == [0.3, 0.25, 0.25, 0.25, 0.35, 0.25]
    assert shapely.length(there.steps) == pytest.approx(3 * 4.0, rel=1e-3)


def test_a_zone_of_all_of_the_slab_is_its_thickness(tmp_path: Path) -> None:
    """And a zone of the slab's own thickness none."""
    every = read_deck(file(tmp_path, "[[slab.zone]]\nthickness_mm = 300\n"))
    assert [t for t, _ in Thicknesses.of(every).parts] == [0.3]
    assert not Thicknesses.of(every).uniform
    points = np.array([[1.0, 0.0], [-0.4, -2.0]])
    bars = DrawnBars(deck=every, reinforcement=every.required_reinforcement, points=points,
                     anchored=(), run_on={"x": 0.5, "y": 0.4})  # fmt: skip
    assert [part.bars.thickness for part in bars.parts] == [0.3]
    same = read_deck(file(tmp_path, ZONES.replace("350", "250").replace("300", "250")))
    assert Thicknesses.of(same).uniform


@pytest.mark.slow
def test_a_design_chooses_bars_for_all_thicknesses() -> None:
    """Bars that pass in every part, found by the program; in a slab that is nowhere as thick as
    the haunch no fewer are needed."""
    choice = "[bar_choice]\ndiameters_mm = [12, 16, 20]\nspacings_mm = [100, 150, 200]\n"
    masses = []
    for zones in (ZONES, ""):
        deck = DeckText(text(zones, choice), "deck")
        own = deck.deck.required_reinforcement.choice
        assert own is not None
        chosen = adequate(deck, own, Kept(), lambda _: None, look="steps")
        assert chosen.adequate
        assert chosen.chosen is not None
        masses.append(chosen.chosen.mass)
    assert masses[0] <= 1.5 * masses[1]
