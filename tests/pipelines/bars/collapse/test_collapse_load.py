"""The collapse load of a deck: by hand on a strip, what is refused, what ends it, what is told."""

import csv
import math
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from pipelines.bars.adequacy import Check, Found, Judgement, StandardVerdict
from pipelines.bars.checks.bending_and_service import resistances
from pipelines.bars.collapse.first_yield import yield_multipliers
from pipelines.bars.collapse.plastic_deck import BeamStrength, permanent_load, plastic_slab
from pipelines.bars.collapse.search import CollapseLoad, Wanted, brittle_checks, collapse_load
from pipelines.caution import TO_VERIFY
from pipelines.cli.main import main
from pipelines.deck.deck import Deck
from pipelines.deck.starters import starter
from pipelines.errors import CoverageError, JobError
from pipelines.numbers import at_least, at_most
from pipelines.report.data.collapse_csv import write_collapse
from pipelines.report.drawings.collapse_plans import moments_in_plan
from pipelines.report.sections.collapse import summary_lines
from pipelines.standards.actions.combinations import combination
from pipelines.standards.detailing.ductility import ductile_steel, hinge_rows
from pipelines.standards.materials import materials
from pipelines.standards.resistance.bars import Bars, Mat, SlabBars
from pipelines.standards.sources import Source
from plate.errors import CollapseError
from tests.pipelines.decks_with_bars import BOTTOM, GRADES, TOP
from tests.pipelines.small_decks import BEAMS, PLAN, SLAB, TRAFFIC, WEIGHT, deck_of

pytest.importorskip("clarabel")

STRIP = """
[plan]
stations_m = [0.0, 3.0]
offsets_m = [-0.5, 0.5]
[[line]]
on = "C*"
support = "rigid"
"""
# Two wheels that cover the width together.
AXLE = """
[traffic]
carriageway_m = [-1.4, 1.4]
offsets_m = [0.0]
step_m = 0.5
dispersal = "none"
surfacing_mm = 0
[[vehicle]]
name = "axle"
axles = [{ at_m = 0.0, load_kN = 100, gauge_m = 0.5, patch_mm = [400, 500] }]
"""
KERBS = """
[[case]]
name = "kerbs"
action = "parapet"
lines = [
  { path_m = [[0.0, -0.5], [3.0, -0.5]], load_kN_m = 2.0 },
  { path_m = [[0.0, 0.5], [3.0, 0.5]], load_kN_m = 2.0 } ]
"""


def strip(folder: Path, *more: str) -> Deck:
    return deck_of(folder, SLAB, STRIP, AXLE, WEIGHT, GRADES, BOTTOM, TOP, *more)


def by_hand(deck: Deck, line_load: float = 0.0) -> float:
    """m_Rd b = 1.35 (g b + line loads) L2/8 + multiplier P (L/4 - a/8)."""
    reinforcement = deck.required_reinforcement
    m = resistances(reinforcement.bars, reinforcement.bases[0].materials)["bottom", "x"]
    dead = 1.35 * (25e3 * 0.25 + line_load) * 9.0 / 8.0
    return (m - dead) / (100e3 * (3.0 / 4.0 - 0.4 / 8.0))


def test_strip_by_hand(tmp_path: Path) -> None:
    deck = strip(tmp_path)
    found = collapse_load(deck, Wanted(beams={}, at=(1.5, 0.0)))
    both = found.governing.found
    assert both is not None
    # resistances a millionth smaller, the solver's 1e-8
    assert both.lower == pytest.approx(by_hand(deck), rel=5e-6)
    assert both.upper == pytest.approx(by_hand(deck), rel=5e-6)
    assert both.floor == 0.0


def test_strip_with_a_thicker_middle_by_hand(tmp_path: Path) -> None:
    """280 mm from 0.4 to 2.6 m of a span of 3 m: bars of the thinner ends run on for less than
    0.7 m, so that midspan has the resistance of 280 mm. There it gives way: at 1.1 m, where the
    wheel's moment is 0.79 of midspan's, 250 mm resist more than that of 280. The part's further
    weight g' over 2a = 2.2 m makes g' a (L/2 - a/2) there."""
    zone = "[[slab.zone]]\nstations_m = [0.4, 2.6]\nthickness_mm = 280\n"
    deck = deck_of(tmp_path, SLAB, zone, STRIP, AXLE, WEIGHT, GRADES, BOTTOM, TOP)
    reinforcement = deck.required_reinforcement
    thick, thin = (
        resistances(reinforcement.bars.at(t), reinforcement.bases[0].materials)["bottom", "x"]
        for t in (0.28, 0.25)
    )
    assert thin > 0.79 * thick
    more = 1.35 * 25e3 * 0.03 * 1.1 * (1.5 - 0.55)
    wanted = (thick - 1.35 * 25e3 * 0.25 * 9.0 / 8.0 - more) / (100e3 * 0.7)
    found = collapse_load(deck, Wanted(beams={}, at=(1.5, 0.0))).governing.found
    assert found is not None
    assert found.lower == pytest.approx(wanted, rel=5e-6)
    # no triangle's edge lies at midspan: to within the gap that is asked for
    assert wanted * (1.0 - 5e-6) <= found.upper <= wanted * (1.0 + Wanted(beams={}).gap)


def test_a_zone_of_all_of_the_slab_is_a_slab_of_its_thickness(tmp_path: Path) -> None:
    zone = "[[slab.zone]]\nthickness_mm = 250\n"
    thin = SLAB.replace("thickness_mm = 250", "thickness_mm = 220")
    deck = deck_of(tmp_path, thin, zone, STRIP, AXLE, WEIGHT, GRADES, BOTTOM, TOP)
    found = collapse_load(deck, Wanted(beams={}, at=(1.5, 0.0))).governing.found
    assert found is not None
    assert found.lower == pytest.approx(by_hand(strip(tmp_path)), rel=5e-6)


def test_first_yield_of_a_point_by_hand() -> None:
    """diag(3, 2) less diag(1, 0) permanent: of live diag(1, 1) twice, of twist alone sqrt(2 2);
    of live that relieves never; of permanent beyond the resistance not at all."""
    resistance = np.array([np.diag([3.0, 2.0])] * 4)
    permanent = np.array([np.diag([1.0, 0.0])] * 3 + [np.diag([4.0, 0.0])])
    twist = np.array([[0.0, 1.0], [1.0, 0.0]])
    live = np.array([np.eye(2), twist, -np.eye(2), np.eye(2)])
    np.testing.assert_allclose(
        yield_multipliers(permanent, live, resistance), [2.0, 2.0, np.inf, 0.0]
    )


def test_first_yield_comes_before_collapse(tmp_path: Path) -> None:
    """Statically determinate but for the distribution across, which a narrow strip has little of:
    the elastic peak under the wheels is some per cent above the mean."""
    deck = strip(tmp_path)
    found = collapse_load(deck, Wanted(beams={}, at=(1.5, 0.0)))
    assert 0.85 * by_hand(deck) < found.first.multiplier <= by_hand(deck)
    assert found.first.face == "bottom"
    assert found.first.at[0] == pytest.approx(1.5, abs=0.2)


def test_line_loads_are_permanent(tmp_path: Path) -> None:
    """Kerbs on both edges, 4 kN/m together."""
    deck = strip(tmp_path, KERBS)
    found = collapse_load(deck, Wanted(beams={}, at=(1.5, 0.0)))
    assert found.safe == pytest.approx(by_hand(deck, 4e3), rel=1e-3)


def test_a_line_load_on_an_arc_is_all_on_its_chords(tmp_path: Path) -> None:
    """7 kN/m on E1 of the starter, from (0, -4) by (6, -4.6) to (12, -6): the arc's length by its
    circle."""
    deck = deck_of(tmp_path, starter("outline"))
    basis = deck.required_reinforcement.bases[0]
    factors = combination(basis.materials.factors, "ULS")
    assert factors is not None
    rigid = {line.name: BeamStrength(math.inf, math.inf) for line in deck.lines if line.beam}
    triangles = plastic_slab(deck, basis, rigid).triangles
    load = permanent_load(deck, factors, triangles)
    a, b, c = (np.array(p) for p in deck_ends(deck))
    sides = [float(np.linalg.norm(v)) for v in (b - a, c - b, c - a)]
    area = abs(np.linalg.det([b - a, c - a])) / 2.0
    radius = math.prod(sides) / (4.0 * area)
    length = 2.0 * radius * math.asin(sides[2] / (2.0 * radius))
    on = load.lines["E1"] * triangles.lengths[triangles.edges_of("E1")].sum()
    factor = factors.permanent["parapet"][0]
    assert on == pytest.approx(factor * 7e3 * length, rel=1e-9)


def deck_ends(deck: Deck) -> list[tuple[float, float]]:
    [arc] = deck.plan.lines["E1"].curves
    return [tuple(arc.at(share)) for share in (0.0, 0.5, 1.0)]


def test_the_worst_of_all_positions_is_at_midspan(tmp_path: Path) -> None:
    deck = strip(tmp_path)
    found = collapse_load(deck, Wanted(beams={}, worst=1))
    assert found.governing.standing.vehicles[0].station == 1.5
    assert found.safe == pytest.approx(by_hand(deck), rel=5e-6)
    # wheels wholly on the slab and partly, both ends: 0 to 3 in steps of 0.5
    assert (found.of, len(found.positions)) == (7, 7)
    assert [one.safe for one in found.positions] == sorted(one.safe for one in found.positions)
    told: list[tuple[str, int, int]] = []
    few = collapse_load(deck, Wanted(beams={}, worst=1, positions=3), lambda *one: told.append(one))
    assert (few.of, len(few.positions)) == (7, 3)
    assert told == [*(("safe bounds", k, 3) for k in range(3)), ("both bounds", 0, 1)]
    write_collapse(tmp_path / "collapse.csv", found)
    with (tmp_path / "collapse.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 7
    assert float(rows[0]["lower_bound"]) == pytest.approx(found.safe, rel=1e-5)
    assert {row["caution"] for row in rows} == {TO_VERIFY}
    assert rows[1]["upper_bound"] == ""


def test_a_position_without_bounds_is_named(tmp_path: Path) -> None:
    """Permanent load that is more than the strip carries: 1.35 p L2/8 > m_Rd for p = 150 kN/m2."""
    case = '[[case]]\nname = "fill"\naction = "surfacing"\npressure_kN_m2 = 150\n'
    with pytest.raises(CollapseError, match=r"axle forward, first axle at 1\.50, 0\.00: .*dead"):
        collapse_load(strip(tmp_path, case), Wanted(beams={}, at=(1.5, 0.0)))


def test_beams_give_way_by_hand(tmp_path: Path) -> None:
    """Edge beams on L1 and L2 of a strip: their plastic moments stand beside the slab's."""
    beams = BEAMS.split("held_at")[0].replace('"C*"', '["L1", "L2"]') + 'held_at = ["C1", "C2"]\n'
    deck = strip(tmp_path, beams)
    one = Wanted(beams=dict.fromkeys(("L1", "L2"), BeamStrength(20e3, 20e3)), at=(1.5, 0.0))
    found = collapse_load(deck, one)
    wanted = by_hand(deck) + 2.0 * 20e3 / (100e3 * 0.7)
    assert found.safe == pytest.approx(wanted, rel=5e-6)
    rigid = replace(one, beams=dict.fromkeys(("L1", "L2"), BeamStrength(math.inf, math.inf)))
    # the strip then spans across, between lines that hold
    assert collapse_load(deck, replace(rigid, gap=0.2)).safe > wanted


def curved(folder: Path, radius: float, start: float = 0.0, *more: str) -> Deck:
    """The strip on an arc, its wheels off its edges."""
    plan = STRIP.replace("0.0, 3.0", f"{start}, {start + 3.0}")
    plan = plan.replace("0.5]", f"0.5]\nradius_m = {radius}")
    axle = AXLE.replace("400, 500", "400, 300")
    return deck_of(folder, SLAB, plan, axle, WEIGHT, GRADES, BOTTOM, TOP, *more)


def of_curved(deck: Deck) -> CollapseLoad:
    middle = float(deck.plan.outline[:, 0].mean())
    return collapse_load(deck, Wanted(beams={}, at=(middle, 0.0)))


def test_curved_strip_by_hand(tmp_path: Path) -> None:
    """A hinge at the radius in midspan, both halves rigid: with halves of turn 1 about their
    supports, 2 m_Rd b cos(a/2) = 1.35 g (2/3) (r_o^3 - r_i^3) (1 - cos(a/2)) + multiplier times P
    by the mean distance of its wheels from their supports, r sin(a/2 - t/r)."""
    radius = 12.0
    deck = curved(tmp_path, radius)
    reinforcement = deck.required_reinforcement
    m = resistances(reinforcement.bars, reinforcement.bases[0].materials)["bottom", "x"]
    half, width = 1.5 / radius, np.array([radius - 0.5, radius + 0.5])
    dead = 1.35 * 25e3 * 0.25 * 2.0 / 3.0 * np.ptp(width**3) * (1.0 - math.cos(half))
    r = radius + np.concatenate([0.25 + np.linspace(-0.15, 0.15, 31), np.linspace(-0.4, -0.1, 31)])
    t = (np.arange(40) + 0.5) / 40.0 * 0.2
    arm = float((r[:, None] * np.sin(half - t / r[:, None])).mean())
    wanted = (2.0 * m * math.cos(half) - dead) / (100e3 * arm)
    found = of_curved(deck).governing.found
    assert found is not None
    # one mechanism of many is no less than the least; arcs are chords, 2 mm off of 3 m
    assert found.lower <= 1.002 * wanted
    # a narrow strip has hardly a better one
    assert found.upper == pytest.approx(wanted, rel=0.01)


def test_curved_decks_do_not_know_north(tmp_path: Path) -> None:
    """The strip a good way on along its arc, and mirrored: bars, wheels and first yield with it."""
    here = of_curved(curved(tmp_path, 12.0))
    for deck in (curved(tmp_path, 12.0, 10.0), curved(tmp_path, -12.0)):
        there = of_curved(deck)
        # the solver's 1e-8, and what it makes of rounding
        assert there.safe == pytest.approx(here.safe, rel=1e-6)
        assert there.first.multiplier == pytest.approx(here.first.multiplier, rel=1e-6)
        # of the many fields of a multiplier each is along the strip
        along, across = mean_moments(there)
        assert along == pytest.approx(mean_moments(here)[0], rel=0.02)
        assert abs(across) < 0.02 * along


def mean_moments(found: CollapseLoad) -> list[float]:
    """Along and across the deck, over the slab [kNm/m]."""
    both = found.governing.found
    assert both is not None
    means = []
    for component in (0, 1):
        values = moments_in_plan(found.deck, both, component).mean(axis=1)
        areas = both.triangles.areas
        means.append(1e-3 * float(values @ areas / areas.sum()))
    return means


@pytest.mark.parametrize(
    ("more", "beams", "words"),
    [
        (KERBS, {}, "line loads"),
        ('[[point]]\nat_m = [1.5, 0.0]\nsupport = "rigid"\n', {}, "held points"),
        (
            BEAMS.split("held_at")[0].replace('"C*"', '"L1"') + 'held_at = ["C1", "C2"]\n',
            {"L1": BeamStrength(20e3, 20e3)},
            "beam L1 is curved",
        ),
    ],
)
def test_what_is_not_covered_on_curved_decks_is_told(
    tmp_path: Path, more: str, beams: dict[str, BeamStrength], words: str
) -> None:
    deck = curved(tmp_path, 12.0, 0.0, more)
    with pytest.raises(CoverageError, match=words):
        collapse_load(deck, Wanted(beams=beams))
    with pytest.raises(CoverageError, match="half a circle"):
        collapse_load(curved(tmp_path, 3.0, 8.0), Wanted(beams={}))


@pytest.mark.parametrize(
    ("parts", "beams", "error", "words"),
    [
        ((SLAB, PLAN, BEAMS, TRAFFIC, WEIGHT, GRADES, BOTTOM, TOP), {}, JobError, "--beam"),
        (
            (SLAB, PLAN, BEAMS, TRAFFIC, WEIGHT, GRADES, BOTTOM, TOP),
            dict.fromkeys(("C1", "C2", "C3"), BeamStrength(9e5, 4e5)),
            CoverageError,
            "beyond the slab",
        ),
        ((SLAB, STRIP, AXLE, WEIGHT), {}, JobError, "needs bars"),
        ((SLAB, STRIP, WEIGHT, GRADES, BOTTOM, TOP), {}, JobError, "needs a vehicle"),
        (
            (SLAB, STRIP, AXLE.replace("[0.0]", "[1.2]"), WEIGHT, GRADES, BOTTOM, TOP),
            {},
            JobError,
            "no wheel stands on the slab",
        ),
        (
            (SLAB, STRIP + "lifts = true\n", AXLE, WEIGHT, GRADES, BOTTOM, TOP),
            {},
            CoverageError,
            "may lift off",
        ),
    ],
)
def test_what_is_not_covered_is_told(
    tmp_path: Path, parts: tuple[str, ...], beams: dict[str, BeamStrength], error: type, words: str
) -> None:
    with pytest.raises(error, match=words):
        collapse_load(deck_of(tmp_path, *parts), Wanted(beams=beams))


def verdict(shear: float, punching: float) -> StandardVerdict:
    def judged(check: Check, value: float) -> Judgement:
        found = Found(utilisation=value, by="b", place="after C1", source=Source("EN 1992", "6.2"))
        return Judgement(check=check, found=(found,))

    return StandardVerdict(
        standard="EN 1992",
        traffic="t",
        judgements=(judged(Check.SHEAR, shear), judged(Check.PUNCHING, punching)),
    )


def test_a_brittle_check_ends_it(tmp_path: Path) -> None:
    deck = strip(tmp_path)
    plain = collapse_load(deck, Wanted(beams={}, at=(1.5, 0.0)))
    basis, factors = plain.basis, plain.combination
    # 1.35/0.9 and 1.35/0.1 times the vehicle
    both = brittle_checks([verdict(0.9, 0.1)], basis, factors)
    assert [one.limit for one in both] == pytest.approx([1.5, 13.5])
    found = replace(plain, brittle=both)
    assert found.counts == pytest.approx(min(plain.safe, 1.5))
    assert any("counts only if" in line for line in summary_lines(found))
    ductile = replace(found, rows=tuple(row for row in found.rows if row.passes))
    assert ductile.rows
    assert any("What counts" in line for line in summary_lines(ductile))
    broken = replace(plain, brittle=brittle_checks([verdict(1.1, 0.1)], basis, factors))
    assert math.isnan(broken.counts)
    assert any("may not be used" in line for line in summary_lines(broken))
    none = brittle_checks(
        [StandardVerdict(standard="EN 1992", traffic="t", judgements=())], basis, factors
    )
    assert math.isnan(replace(plain, brittle=none).counts)
    assert any("bending alone" in line for line in summary_lines(plain))


def test_ductility_by_hand() -> None:
    """C35/45, B500B: x/d = A_s f_yd/(0.8 f_cd b d) by the rectangular block."""
    mat = materials("C35/45", "B500B", "EN 1992")
    bars = Bars(0.016, 0.125)
    one = Mat(cover=0.04, x=bars, y=bars, outer="x")
    slab = SlabBars(0.25, one, one)
    rows = hinge_rows(slab, mat)
    d = 0.25 - 0.04 - 0.008
    wanted = bars.area * mat.f_yd / (0.8 * mat.f_cd * d)
    row = next(r for r in rows if r.place == "bottom, bars along x" and r.unit == "-")
    assert row.provided / row.required == pytest.approx(wanted / 0.15, rel=1e-6)
    assert (row.passes, ductile_steel(mat)) == (wanted <= 0.15, True)
    ratio = [r for r in rows if r.check.startswith("m_Rd")]
    assert [r.provided for r in ratio] == pytest.approx([1.0] * 4)
    assert ductile_steel(materials("5 ksi", "Grade 60", "AASHTO LRFD")) is None
    assert hinge_rows(slab, materials("5 ksi", "Grade 60", "AASHTO LRFD")) == ()


def test_bounds_in_print_are_rounded_away_from_each_other() -> None:
    assert (at_least(2.0387), at_most(2.0312)) == ("2.03", "2.04")
    assert (at_least(99.96), at_most(99.96)) == ("99.9", "100")
    # what rounding leaves of round numbers
    assert (at_least(1.35 - 1e-12), at_most(1.35 + 1e-12)) == ("1.35", "1.35")
    assert (at_least(math.nan), at_most(0.0)) == ("–", "0")


def test_command_writes_table_and_page(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """On a terminal it tells how far it has come."""
    deck = strip(tmp_path)
    monkeypatch.setattr("sys.stderr.isatty", lambda: True)
    out = tmp_path / "out"
    words = ["collapse", deck.path, "--out", str(out), "--bending", "--positions", "3"]
    assert main(words) == 0
    told, beside = capsys.readouterr()
    assert "Both bounds are certified" in told
    assert "qualified engineer" in told
    # of 3 positions all have been bounded
    for stage in ("safe bounds", "both bounds"):
        assert re.search(rf"{stage} .* 3/3 ", beside)
    page = (out / "collapse.html").read_text(encoding="utf-8")
    assert page.count("<svg") == 3
    assert "What it may be used for" in page
    assert "qualified engineer" in page
    with (out / "collapse.csv").open(encoding="utf-8", newline="") as file:
        assert len(list(csv.DictReader(file))) == 3


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (["--beam", "C1=900"], "no beam lies on C1"),
        (["--beam", "much"], "allowed is"),
        (["--gap", "0"], "allowed is 0.05 to 50"),
        (["--reverse"], "needs --at"),
        (["--vehicle", "tank"], "the deck file has axle"),
        (["--standard", "IRC:112"], "the deck file has EN 1992"),
        (["--at", "50", "0"], "no wheel"),
    ],
)
def test_mistakes_of_the_command(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], more: list[str], words: str
) -> None:
    deck = strip(tmp_path)
    assert main(["collapse", deck.path, "--out", str(tmp_path / "out"), "--bending", *more]) == 2
    assert words in capsys.readouterr().err


@pytest.mark.slow
def test_added_bars_count_where_they_are_anchored(tmp_path: Path) -> None:
    """Bars between all bottom bars: the strip by hand with the resistance of both. Ended half a
    metre either side of midspan they count at less than that, and more than nothing."""
    more = """[[bars.added]]
direction = "x"
diameter_mm = 12
spacing_mm = 125
stations_m = [{low}, {high}]
"""

    def safe(low: float, high: float) -> float:
        text = BOTTOM + more.replace("{low}", str(low)).replace("{high}", str(high))
        deck = deck_of(tmp_path, SLAB, STRIP, AXLE, WEIGHT, GRADES, text, TOP)
        return collapse_load(deck, Wanted(beams={}, at=(1.5, 0.0), gap=0.03)).safe

    plain = strip(tmp_path)
    reinforcement = plain.required_reinforcement
    bars = reinforcement.bars.with_added(("bottom", "x"), Bars(0.012, 0.125))
    m = resistances(bars, reinforcement.bases[0].materials)["bottom", "x"]
    wanted = (m - 1.35 * 25e3 * 0.25 * 9.0 / 8.0) / (100e3 * 0.7)
    assert safe(0.0, 3.0) == pytest.approx(wanted, rel=5e-6)
    assert by_hand(plain) * (1.0 - 5e-6) <= safe(0.6, 2.4) < 0.97 * wanted
