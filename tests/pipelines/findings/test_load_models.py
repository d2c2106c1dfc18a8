"""Findings under whole load models: the plate under the arrangement that governs, entered again;
the strip with all lanes; the obtuse corner of a skew deck; bars beside the findings."""

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from pipelines.analysis.analyse import analyse
from pipelines.analysis.result import Result
from pipelines.bars.checks.bending_and_service import resistances
from pipelines.deck.deck import Deck
from pipelines.findings.finding import Verdict
from pipelines.findings.reconciliation.search import Driven, Place, position_lattices
from pipelines.findings.reconciliation.walk import Reconciliation, governing_findings, reconcile
from pipelines.model.fixed_loads import loads_of
from pipelines.model.influence import field_rows
from pipelines.report.data.findings_csv import write_findings
from pipelines.report.data.summary import summary
from pipelines.standards.actions.combinations import combination
from pipelines.standards.actions.load_models import joint_factor
from pipelines.strips.deck_strip import strip_deck
from pipelines.strips.hand_values import NO_MOMENT
from pipelines.strips.under_traffic import hands_under
from pipelines.traffic.positions import LoadPositions
from tests.pipelines.report_page import report_page
from tests.pipelines.small_decks import BEAMS, MESH, PLAN, SLAB, WEIGHT, deck_of, mat

TRAFFIC = """
[traffic]
carriageway_m = [-1.9, 1.9]
step_m = 1.2
lateral_step_m = 0.8
surfacing_mm = 80
load_models = ["EN 1991-2 LM1", "EN 1991-2 LM2"]
joints = ["start"]
"""
BARS = (
    WEIGHT
    + """
[[concrete]]
standard = "EN 1992"
grade = "C35/45"
exposure = { top = "XD1", bottom = "XC4" }
aggregate_mm = 20
[[steel]]
standard = "EN 1992"
grade = "B500B"
"""
    + mat("bottom", "16@150", "12@150")
    + mat("top", "12@150", "12@150")
)


@pytest.fixture(scope="module")
def result(tmp_path_factory: pytest.TempPathFactory) -> Result:
    """Two bays on cross beams under load models 1 and 2, joint at the start."""
    return analyse(deck_of(tmp_path_factory.mktemp("lm"), SLAB, PLAN, BEAMS, TRAFFIC, MESH))


def test_the_plate_under_the_held_arrangement_is_the_peak(result: Result) -> None:
    """Wheels, adverse cells and the factor near the joint, put on again as one load."""
    rows = [
        one for one in result.findings if one.section.kind in ("sagging", "hogging", "transverse")
    ]
    assert {one.load for one in rows} == {"EN 1991-2 LM1", "EN 1991-2 LM2"}
    for one in rows:
        assert one.plate.held is not None
        F = loads_of(result.solved.model, [one.plate.held])
        u = result.solved.stiffness.solve(F)[:, 0]
        [value] = field_rows(result.solved, [one.plate.point], [one.section.component]) @ u
        assert value == pytest.approx(one.plate.peak, rel=1e-6)
    # lane 1 alone has 600 kN and two wheels of it at the kerb are not all that acts
    lm1 = max((o for o in rows if o.load == "EN 1991-2 LM1"), key=lambda o: o.plate.held.load.sum())
    assert lm1.plate.held.load.sum() > 600e3


def test_a_walk_goes_on_from_a_symmetric_vehicle_that_is_reversed(result: Result) -> None:
    """Load positions list a tandem forward alone where reverse repeats it, a search may end in
    reverse: its lattice then is the one of the same wheels."""
    [envelope] = [t.envelope for t in result.traffic if t.name == "EN 1991-2 LM1"]
    forward = next(run for run in envelope.runs if run.direction == "forward")
    forward = replace(forward, offsets=np.full_like(forward.offsets, forward.offsets[0]))
    place = Place("reverse", 1.73, float(forward.offsets[0]))
    driven = Driven(
        run=replace(forward, direction="reverse"), place=place, patches=forward.patches, factor=1.0
    )
    lattices = position_lattices(result.deck, envelope, driven)
    assert set(lattices) == {"reverse"}
    stations, _ = lattices["reverse"]

    def wheels(run: LoadPositions) -> np.ndarray:
        n = len(run.stations)
        corners = run.wheels(slice(None)).corners.mean(axis=1).reshape(n, -1, 2)
        return np.sort(corners[..., 0].mean(axis=1))

    still = np.full(len(stations), place.offset)
    again = replace(driven.run, stations=stations, offsets=still)
    there = np.unique(np.round(wheels(forward), 6))
    np.testing.assert_allclose(wheels(again), there, atol=2e-6)


def test_only_a_whole_model_is_covered(result: Result) -> None:
    assert all(one.whole_model for one in result.findings)
    verdicts = {one.verdict for one in result.findings}
    assert Verdict.COVERS in verdicts
    assert not any("single" in one.entry()["caution"] for one in result.findings)
    assert all(one.plate.error is not None for one in result.findings)


def test_a_strip_near_a_joint_is_raised_as_the_plate_is(result: Result) -> None:
    deck = result.deck
    assert deck.traffic is not None
    model = deck.traffic.load_models[1]
    hands = hands_under(deck, strip_deck(deck), model)
    for one in result.findings:
        if one.load == "EN 1991-2 LM2" and one.section.kind == "sagging" and one.hand.value:
            [plain] = [
                m for m in hands.moments["bay", *one.section.lines] if m.strips == one.hand.strip
            ]
            x = float(result.solved.recovery.points.plan[one.plate.point, 0])
            factor = joint_factor(x + 0.4)
            assert 1.0 < factor < 1.3
            assert one.hand.value == pytest.approx(factor * (plain.value or 0.0), rel=1e-9)


def test_arrangements_are_told_in_table_csv_and_report(result: Result, tmp_path: Path) -> None:
    path = tmp_path / "findings.csv"
    write_findings(path, result.findings)
    with path.open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    mine = [row for row in rows if row["load"] == "EN 1991-2 LM1" and row["strip_value"]]
    assert all(row["arrangement"].startswith("lane 1 at ") for row in mine)
    html = report_page(result)
    assert "Load models" in html
    assert "lane 1 at" in html
    assert "EN 1991-2:2003, 4.2.3 and table 4.1" in html
    entry = summary(result)["load_models"]["EN 1991-2 LM1"]
    [top] = [g for g in entry["governing"] if (g["result"], g["extreme"]) == ("m_x", "max")]
    assert top["error_mesh"] >= 0.0
    assert top["error_step"] >= 0.0
    best = max(o.plate.peak for o in result.findings if o.section.component == 1 and o.whole_model)
    assert top["value"] == pytest.approx(1e-3 * best, rel=0.2)


SKEW = "[plan]\nstations_m = [0.0, 4.0]\noffsets_m = [-3.0, 3.0]\nskew_deg = {skew}\n"
RIGID = '[[line]]\non = "C*"\nsupport = "rigid"\n'
ONE = """
[traffic]
carriageway_m = [-3.0, 3.0]
vehicles = ["EN 1991-2 LM2"]
directions = "forward"
step_m = 0.5
lateral_step_m = 0.8
"""
COARSE = "[mesh]\nsize_m = 1.0\n"


def corner_deck(folder: Path, skew: float) -> Deck:
    return deck_of(folder, SLAB, SKEW, RIGID, ONE, COARSE, skew=skew)


def walked(deck: Deck, kind: str) -> tuple[Result, Reconciliation]:
    """The run without tolerances, and the walk of one kind."""
    result = analyse(deck, tolerances_wanted=False)
    assert result.alone is not None
    rows = [
        replace(one, plate=replace(one.plate, error=0.0))
        for one in governing_findings(result.findings)
    ]
    mine = [one for one in rows if one.section.kind == kind]
    [walk] = reconcile(result.built.asked_for(result.deck), [result.alone.envelope], mine)
    return result, walk


def test_the_obtuse_corner_hogs_where_the_strip_has_nothing(tmp_path: Path) -> None:
    result, walk = walked(corner_deck(tmp_path, 30.0), "corner")
    corners = [one for one in result.findings if one.section.kind == "corner"]
    assert {one.section.place for one in corners} == {
        "obtuse corner of line C1, right edge",
        "obtuse corner of line C2, left edge",
    }
    for one in corners:
        assert one.hand.value == 0.0
        assert one.words == "not comparable"
        assert one.hand.reason == NO_MOMENT
        assert one.plate.peak < -3e3
    titles = [step.title for step in walk.forward]
    plan = titles.index("plan as built: skew, curve, taper")
    before, after = walk.forward[plan - 1], walk.forward[plan]
    # almost all of it comes with the skew
    assert abs(before.searched) < 0.15 * abs(after.searched)
    assert after.searched == pytest.approx(walk.finding.plate.peak, rel=0.05)


def test_a_square_deck_has_no_obtuse_corner(tmp_path: Path) -> None:
    square = analyse(corner_deck(tmp_path, 0.0), tolerances_wanted=False)
    assert not [one for one in square.findings if one.section.kind == "corner"]


COMPOSITE = BEAMS.replace("Av_cm2 = 60 }", 'eccentricity_mm = 400, connection = "full" }')


def test_composite_action_is_a_step_of_the_walk(tmp_path: Path) -> None:
    """The step is the difference of two decks, one with and one without the connection."""
    lorry = ONE.replace("[-3.0, 3.0]", "[-1.9, 1.9]")
    deck = deck_of(tmp_path, SLAB, PLAN, COMPOSITE, lorry, COARSE)
    _, walk = walked(deck, "sagging")
    titles = [step.title for step in walk.forward]
    step = titles.index("beams act with the slab")
    plain = deck_of(tmp_path, SLAB, PLAN, BEAMS.replace(", Av_cm2 = 60", ""), lorry, COARSE)
    without = analyse(plain, tolerances_wanted=False)
    peak = max(o.plate.peak for o in without.findings if o.section.kind == "sagging")
    before, after = walk.forward[step - 1], walk.forward[step]
    # stiffer beams: less sagging; the same share as between the two decks
    assert after.searched < before.searched
    share = walk.finding.plate.peak / peak
    assert after.searched / before.searched == pytest.approx(share, rel=0.03)
    assert walk.forward[-1].searched == pytest.approx(walk.finding.plate.peak)


def test_bars_give_resistance_and_utilisation(tmp_path: Path) -> None:
    one_vehicle = ONE.replace("[-3.0, 3.0]", "[-1.9, 1.9]")
    deck = deck_of(tmp_path, SLAB, PLAN, BEAMS, one_vehicle, BARS, COARSE)
    result = analyse(deck, tolerances_wanted=False)
    assert deck.reinforcement is not None
    materials = deck.reinforcement.bases[0].materials
    m_Rd = resistances(deck.reinforcement.bars, materials)
    ultimate = combination(materials.factors, "ULS")
    assert ultimate is not None
    row = next(o for o in result.findings if o.section.kind == "sagging" and o.hand.value)
    weight = result.cases["weight"].fields[1, row.plate.point, 0]
    steady = max(f * weight for f in ultimate.permanent["self-weight"])
    assert row.used is not None
    assert row.hand.value is not None
    assert row.used.resistance == pytest.approx(m_Rd["bottom", "x"])
    by_strip, by_plate = row.used.by_strip, row.used.by_plate
    assert by_plate == pytest.approx((steady + 1.35 * row.plate.peak) / m_Rd["bottom", "x"])
    assert by_strip == pytest.approx((steady + 1.35 * row.hand.value) / m_Rd["bottom", "x"])
    hogs = next(o for o in result.findings if o.section.kind == "hogging" and o.hand.value)
    assert hogs.used is not None
    assert hogs.used.resistance == pytest.approx(-m_Rd["top", "x"])
    assert np.isfinite(hogs.used.by_plate)
    shear = next(o for o in result.findings if o.section.kind == "shear")
    assert shear.used is None
    bare = replace(deck, reinforcement=None)
    assert all(o.used is None for o in analyse(bare, tolerances_wanted=False).findings)
