"""A small deck with bars from the file to the summary: demands, checks, remedies, as-built."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from pipelines.analysis.analyse import analyse
from pipelines.analysis.result import Result
from pipelines.bars.adequacy import Adequacy
from pipelines.bars.checks.bending_and_service import Peaks, mat_rows, resistances
from pipelines.bars.checks.curtailment import Zones
from pipelines.bars.checks.remedies import ShearDesign
from pipelines.bars.checks.standing_wheels import StandingWheels
from pipelines.bars.checks.wheel_punching import wheel_punching
from pipelines.bars.demand.moments import LAYER_ROWS
from pipelines.bars.demand.observer import DesignWatch
from pipelines.bars.design import Design, StandardDesign
from pipelines.bars.design import design as design_of
from pipelines.deck.deck import Deck
from pipelines.deck.reinforcement import ImposedForce
from pipelines.deck.survey import Key
from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.envelopes.traffic import traffic_envelopes
from pipelines.errors import DeckError
from pipelines.report.data.summary import finite, summary
from pipelines.report.drawings.bars import section_drawing, zone_drawing
from pipelines.report.sections.as_built import as_built_section
from pipelines.report.sections.bars import bars_section
from pipelines.report.sections.bars_words import bars_words
from pipelines.report.sections.detailing import detailing_section
from pipelines.report.sections.shear import shear_section
from pipelines.standards.actions.combinations import LimitState
from pipelines.standards.resistance.bars import DIRECTIONS, FACES, LAYERS, candidate_mats
from pipelines.standards.resistance.shear import one_way_resistance
from pipelines.standards.sources import Source
from tests.oracles.edge_twist import twist_row
from tests.pipelines.outline_decks import WALLED
from tests.pipelines.report_page import page_of
from tests.pipelines.small_decks import BEAMS, PLAN, SLAB, TRAFFIC, WEIGHT, deck_of, grades, mat

BARS = (
    WEIGHT
    + """
[[case]]
name = "test load"
pressure_kN_m2 = 50.0
[[concrete]]
standard = "EN 1992"
grade = "C35/45"
exposure = { top = "XD1", bottom = "XC3" }
crack_combination = "frequent"
"""
    + grades({"AASHTO LRFD": "4 ksi"}, {"EN 1992": "B500B", "AASHTO LRFD": "Grade 60"})
    + mat("bottom", "10@150", "10@150")
    + mat("top", "10@200", "10@200", cover=45)
    + """
[bar_choice]
diameters_mm = [10, 12, 16, 20]
spacings_mm = [100, 150, 200]
[collision]
force_kN = 100
height_m = 1.0
inner_face_mm = 300
[[beam_bars]]
on = ["C1", "C2"]
width_mm = 250
depth_mm = 500
cover_mm = 40
top = { count = 3, diameter_mm = 20 }
bottom = { count = 3, diameter_mm = 20 }
links = { diameter_mm = 10, spacing_mm = 150 }
[survey]
file = "readings.csv"
[mesh]
size_m = 1.0
"""
)
READINGS = """panel,face,direction,diameter_mm,spacing_mm,cover_mm,outer,thickness_mm
C1-C2,bottom,x,10,600,,,
C2-C3,bottom,,,,40,y,248
"""


@pytest.fixture(scope="module")
def deck(tmp_path_factory: pytest.TempPathFactory) -> Deck:
    folder = tmp_path_factory.mktemp("deck")
    (folder / "readings.csv").write_text(READINGS, encoding="utf-8")
    traffic = TRAFFIC.replace("load_kN = 100", "load_kN = 260")
    return deck_of(folder, SLAB, PLAN, BEAMS, traffic, BARS)


@pytest.fixture(scope="module")
def result(deck: Deck) -> Result:
    return analyse(deck, tolerances_wanted=False, strips_wanted=False)


@pytest.fixture(scope="module")
def design(result: Result) -> Design:
    assert result.design is not None
    return result.design


@pytest.fixture(scope="module")
def european(design: Design) -> StandardDesign:
    return design.standards[0]


def envelopes_of(result: Result) -> TrafficEnvelope:
    assert result.alone is not None
    return result.alone.envelope


def test_cases_without_an_action_are_left_out_and_named(design: Design) -> None:
    assert design.left_out == ("test load",)
    states = design.standards[0].demands["ULS"].states
    assert states == ({"self-weight": 1.35}, {"self-weight": 1.0})


def test_demand_is_the_factored_sum_at_the_governing_position(
    result: Result, european: StandardDesign
) -> None:
    """Bottom bars along at their peak, re-entered: 1.35 weight + 1.35 of that load position."""
    envelopes = envelopes_of(result)
    check = european.layers[0]
    demand = european.demands["ULS"]
    top = int(demand.values[0].argmax())
    twist = twist_row(result.solved, top, (-0.4, -2.0), (6.4, 2.0))
    number = int(demand.at[0, top])
    seen: dict[int, np.ndarray] = {}

    def keep(first: int, response: object) -> None:
        fields = response.fields  # type: ignore[attr-defined]
        if first <= number < first + fields.shape[2]:
            moved = response.displacements[:, number - first]  # type: ignore[attr-defined]
            seen[number] = np.array([fields[1, top, number - first], (twist @ moved)[0]])

    traffic_envelopes(result.solved, observers=(keep,))
    case = result.cases["weight"]
    weight = np.array([case.fields[1, top, 0], (twist @ case.displacements)[0, 0]])
    m_x, m_xy = check.state["self-weight"] * weight + 1.35 * seen[number]
    assert check.m_Ed == pytest.approx(m_x + abs(m_xy), rel=1e-9)
    assert check.position == envelopes.position(number)


def test_observers_do_not_change_the_envelopes(result: Result) -> None:
    [alone] = traffic_envelopes(result.solved)
    assert alone is not None
    ours = envelopes_of(result).fields.extremes
    np.testing.assert_array_equal(alone.fields.extremes.maximum, ours.maximum)


def test_ultimate_exceeds_characteristic_exceeds_frequent(european: StandardDesign) -> None:
    ultimate, service, frequent, lasting = (
        european.demands[s].values for s in ("ULS", "characteristic", "frequent", "quasi-permanent")
    )
    for more, less in ((ultimate, service), (service, frequent), (frequent, lasting)):
        assert (more.max(axis=1) > less.max(axis=1)).all()


def test_gain_against_the_rule_on_enveloped_components(design: Design) -> None:
    for one in design.standards:
        for check in one.layers:
            assert check.gain is not None
            assert 0.0 <= check.gain < 0.5
    assert max(c.gain or 0.0 for c in design.standards[0].layers) > 0.01


def test_more_cover_never_raises_a_resistance(european: StandardDesign, design: Design) -> None:
    bars, mat = design.reinforcement.bars, european.basis.materials
    before = resistances(bars, mat)
    for face in FACES:
        deeper = bars.with_mat(face, replace(bars.mat(face), cover=bars.mat(face).cover + 0.01))
        after = resistances(deeper, mat)
        for layer in LAYERS:
            assert after[layer] <= before[layer]
            assert (after[layer] < before[layer]) == (layer[0] == face)


def test_swapping_layers_moves_the_resistance_with_d(european: StandardDesign) -> None:
    for costs in european.order.values():
        for cost in costs:
            assert (cost.m_Rd_swapped > cost.m_Rd) == (cost.d_swapped > cost.d)
            assert cost.m_Rd_swapped / cost.m_Rd == pytest.approx(
                cost.d_swapped / cost.d, rel=0.02
            ), "lever arm is d less a small depth of the block"


def test_chosen_bars_pass_and_are_the_least(european: StandardDesign, design: Design) -> None:
    demands = european.demands
    states: tuple[LimitState, ...] = ("ULS", "characteristic", "frequent")
    ultimate, characteristic, crack = (
        {layer: float(demands[s].layer(layer).max()) for layer in LAYERS} for s in states
    )
    peaks = Peaks(ultimate=ultimate, characteristic=characteristic, crack=crack)
    bars, choice = design.reinforcement.bars, design.reinforcement.choice
    assert choice is not None
    for face in FACES:
        mat = european.choice[face]
        assert mat is not None
        changed = bars.with_mat(face, mat)
        m_Rd = resistances(changed, european.basis.materials)
        for direction in DIRECTIONS:
            assert m_Rd[face, direction] >= peaks.ultimate[face, direction]
        rows = mat_rows(changed, face, european.basis, peaks)
        assert all(row.passes for row in rows)
        # nothing lighter in the whole set passes, in either order
        for outer in DIRECTIONS:
            for other in candidate_mats(choice.diameters, choice.spacings, mat.cover, outer):
                if other.area >= mat.area - 1e-12:
                    break
                lighter = bars.with_mat(face, other)
                m = resistances(lighter, european.basis.materials)
                bends = all(m[face, d] >= peaks.ultimate[face, d] for d in DIRECTIONS)
                assert not (
                    bends and all(r.passes for r in mat_rows(lighter, face, european.basis, peaks))
                )


def test_shear_sweep_and_remedies(design: Design, result: Result) -> None:
    for one in design.standards:
        assert [p.width for p in one.shear] == sorted(p.width for p in one.shear)
        assert one.shear[0].v == max(p.v for p in one.shear)
        judged = one.design_shear
        assert judged is not None
        assert (judged.utilisation > 1) == bool(one.remedies)


def test_shear_that_a_standard_does_not_ask_for_is_no_failure(
    design: Design, result: Result
) -> None:
    """C4.6.2.1.6 of AASHTO LRFD: decks designed by strips are not investigated for shear."""
    european, american = design.standards
    assert european.shear_not_asked is None
    assert "C4.6.2.1.6" in str(american.shear_not_asked)
    assert american.design_shear is not None
    assert american.design_shear.utilisation > 1
    first, second, *remedies = (w for w in bars_words(result) if "as built:" not in w)
    assert first.startswith("EN 1992")
    assert "not asked by" not in first
    assert "not asked by AASHTO LRFD C4.6.2.1.6" in second
    assert not any("AASHTO" in words for words in remedies)


def test_remedies_pass_and_are_needed(design: Design) -> None:
    """The lorry's axle of 260 kN overloads this slab in shear by the beta method."""
    american = design.standards[1]
    thickness, grade, steel = american.remedies
    assert american.design_shear is not None
    assert american.design_shear.utilisation > 1
    assert isinstance(thickness.needed, float)
    assert thickness.needed > 0.25
    assert round(1e3 * thickness.needed, 6) % 10 == 0
    for remedy in american.remedies:
        assert (remedy.needed is None) == (remedy.utilisation > 1)
    assert grade.needed != "4 ksi"
    assert steel.needed != steel.present


def test_present_design_of_the_remedies_is_the_streamed_one(
    design: Design, european: StandardDesign
) -> None:
    peak = european.design_shear
    assert peak is not None
    bars = design.reinforcement.bars
    d, area = bars.effective_depth(("bottom", "x")), bars.bars(("bottom", "x")).area
    one = ShearDesign(bars.thickness, european.basis.materials, area, bars.thickness - d)
    v_Rd = one_way_resistance(one.section(), one.materials, peak.v, 0.0).v_Rd
    # the direction of the shear is not quite along x: d and A_s differ by less than 10 %
    assert peak.v_Rd == pytest.approx(float(v_Rd), rel=0.10)


def test_punching_is_worst_at_the_free_edge(result: Result, european: StandardDesign) -> None:
    found = european.punching
    assert found is not None
    assert found.utilisation >= found.interior > 0
    assert found.shape != "interior"
    assert result.design is not None
    bars = result.design.reinforcement.bars
    standing, runs = StandingWheels(result.deck), envelopes_of(result).runs
    twice = wheel_punching(standing, runs, (), bars, european.basis.materials, 2 * 1.35)
    assert twice is not None
    assert twice.utilisation == pytest.approx(2 * found.utilisation, rel=1e-12)


def test_as_built_panels_fail_for_their_own_reasons(
    result: Result, european: StandardDesign
) -> None:
    first, second = european.panels
    one, other = result.verdicts[0].panels
    assert one.adequacy is other.adequacy is Adequacy.NOT_ADEQUATE
    assert one.panel == "C1-C2"
    assert max(first.utilisation, key=lambda layer: first.utilisation[layer]) == ("bottom", "x")
    assert "spacing 600 mm" in first.why[0]
    [spacing] = [d for d in first.deviations if d.key == Key("spacing", "bottom", "x")]
    assert spacing.value < 0
    assert "layers swapped" in " ".join(second.why)
    assert second.utilisation["bottom", "x"] > second.drawing["bottom", "x"]


def test_zones_hold_every_place_that_needs_the_bars(
    result: Result, european: StandardDesign
) -> None:
    zones, demand = european.zones, european.demands["ULS"]
    plan = result.solved.recovery.points.plan
    m_Rd = {c.layer: c.m_Rd for c in european.layers}
    for layer in LAYER_ROWS:
        needs = plan[demand.layer(layer) > 0.55 * m_Rd[layer]]
        for x, y in needs[::7]:
            i = int(np.abs(zones.u - x).argmin())
            j = int(np.abs(zones.y[i] - y).argmin())
            assert zones.zone[layer][i, j] == 2
    assert zones.shift["bottom", "x"] == pytest.approx(0.250 - 0.045)


def test_stretches_reach_half_a_step_past_the_rasters_points() -> None:
    """A point stands for what lies nearest to it; beyond the slab nothing does."""
    u = np.linspace(0.0, 1.0, 6)
    zone = np.zeros((6, 2), dtype=np.int64)
    zone[2:4, 1] = 2
    zone[0] = 1
    source = Source("EN 1992", "test")
    one = Zones(
        u=u,
        y=np.tile([-1.0, 1.0], (6, 1)),
        zone={("top", "x"): zone},
        shift={},
        anchorage={},
        source=source,
    )
    assert one.ranges(("top", "x"), 2) == [pytest.approx((0.3, 0.7))]
    assert one.ranges(("top", "x"), 1) == [pytest.approx((0.0, 0.1)), pytest.approx((0.3, 0.7))]


def test_bottom_bars_run_through_over_the_flexible_beams(european: StandardDesign) -> None:
    assert {t.line for t in european.through} == {"C1", "C2", "C3"}
    assert {t.direction for t in european.through} == {"x"}
    assert not any(t.at_edge for t in european.through)  # C1 and C3 lie inside the overhangs


def test_rows_of_fatigue_collision_and_beams(
    result: Result, european: StandardDesign, design: Design
) -> None:
    checks = [row.check for row in european.rows]
    assert checks.count("fatigue: plain stress range") == 4
    assert "fatigue: plain stress range" not in [row.check for row in design.standards[1].rows]
    for one in design.standards:
        places = [row.place for row in one.rows if row.check.startswith("barrier collision")]
        face = "edge, parapet's inner face: top, bars along y"
        assert places == [f"left {face}", f"right {face}"]
        (sagging, _) = [row for row in one.rows if row.check == "beam, sagging"]
        # the beam's own samples: 1.35 (AASHTO 1.25) of its weight, and the traffic's largest
        rows, factors = result.solved.beams, one.demands["ULS"].combination
        weight = rows.split(result.cases["weight"].beam_moments[:, 0])["C1"]
        traffic = rows.split(envelopes_of(result).beam_moments.maximum)["C1"]
        state = factors.permanent["self-weight"]
        most = np.maximum(state[0] * weight, state[1] * weight) + factors.traffic * traffic
        assert sagging.required == pytest.approx(float(most.max()), rel=1e-9)


def test_loads_near_supports_never_raise_the_shear(design: Design) -> None:
    european, american = design.standards
    assert american.reduced is None
    reduced, judged = european.reduced, european.design_shear
    assert reduced is not None
    assert judged is not None
    # between steps of 0.5 m the shear may rise by some per cent
    assert judged.utilisation <= reduced.whole <= 1.1 * judged.utilisation
    assert 0 < reduced.utilisation <= reduced.whole
    assert 0.25 <= reduced.share <= 1.0


def test_imposed_tension_raises_demands_and_lowers_shear(
    result: Result, european: StandardDesign
) -> None:
    one = result.deck.reinforcement
    assert one is not None
    pull = ImposedForce(None, None, (200e3, 0.0, 0.0), 1.35)
    less = replace(one, bases=one.bases[:1], imposed=(pull,), survey=None, choice=None)
    deck = replace(result.deck, reinforcement=less)
    solved = replace(result.solved, deck=deck)
    watch = DesignWatch(solved, result.cases)
    [envelopes] = traffic_envelopes(solved, observers=(watch,))
    again = design_of(solved, (envelopes,), watch)
    (found,) = again.standards
    assert again.membrane is not None
    for k, layer in enumerate(LAYER_ROWS):
        more = 1.35 * 200e3 * again.membrane.arms[layer] if layer[1] == "x" else 0.0
        assert found.layers[k].m_Ed == pytest.approx(european.layers[k].m_Ed + more, rel=1e-9)
    before, after = european.design_shear, found.design_shear
    assert before is not None
    assert after is not None
    assert after.utilisation > before.utilisation
    words = page_of(bars_section(replace(result, deck=deck, design=again)))
    assert "Imposed membrane forces" in words
    assert "annex LL" in words
    assert "&lt;" not in words


def test_summary_and_report(result: Result, deck: Deck) -> None:
    entry = finite(summary(result))["design"]
    json.dumps(entry, allow_nan=False)
    assert set(entry["standards"]) == {"EN 1992", "AASHTO LRFD"}
    layers = entry["standards"]["EN 1992"]["layers"]
    assert set(layers) == {"bottom_x", "bottom_y", "top_x", "top_y"}
    assert entry["standards"]["EN 1992"]["traffic"] == "single vehicle, not the load model"
    bars, shear = page_of(bars_section(result)), page_of(shear_section(result))
    for words in ("B1 10@150", "T2 10@200", "EN 1992-1-1:2004", "9th edition", "C35/45"):
        assert words in bars
    assert "The three remedies" in shear
    assert "share of wheels near" in shear
    assert "&lt;" not in bars + shear
    detailing = page_of(detailing_section(result))
    for words in ("Curtailment", "U-bars", "start edge", "left edge", "run through"):
        assert words in detailing
    for words in ("Fatigue: plain range", "Barrier collision: 100 kN", "Bars of beams, as stated"):
        assert words in bars
    for words in ("fatigue: plain stress range", "barrier collision", "beam, shear with links"):
        assert words in bars
    assert "not adequate" in page_of(as_built_section(result))
    assert bars_section(replace(result, design=None)) == ()


def test_the_drawings_are_reproducible(result: Result) -> None:
    assert result.design is not None
    bars = result.design.reinforcement.bars
    zones = [one.zones for one in result.design.standards]
    for layer in LAYERS[:1]:
        one, other = (zone_drawing(result.deck, bars, layer, zones) for _ in range(2))
        assert one == other
    assert section_drawing(bars, "x") == section_drawing(bars, "x")
    assert section_drawing(bars, "x") != section_drawing(bars, "y")


def test_small_deck_file_needs_no_path(tmp_path: Path) -> None:
    """Bars without traffic: permanent actions alone."""
    (tmp_path / "readings.csv").write_text(READINGS, encoding="utf-8")
    bare = deck_of(tmp_path, SLAB, PLAN, BEAMS, BARS)
    found = analyse(bare, tolerances_wanted=False, strips_wanted=False).design
    assert found is not None
    one = found.standards[0]
    assert one.punching is None
    assert one.layers[0].position is None
    weight = one.demands["quasi-permanent"].values
    assert one.demands["ULS"].values.max() == pytest.approx(1.35 * weight.max(), rel=1e-9)


def test_bars_of_an_outline(tmp_path: Path) -> None:
    """Shear is judged beside its straight lines, punching at its edges, and it is one panel."""
    bars = BARS.replace("C1-C2", "slab")
    start, end = bars.index("[collision]"), bars.index("[survey]")
    (tmp_path / "readings.csv").write_text("panel,thickness_mm\nslab,245\n", encoding="utf-8")
    few = TRAFFIC.replace("step_m = 0.5", "step_m = 1.0")
    deck = deck_of(tmp_path, SLAB, WALLED, few, bars[:start] + bars[end:])
    result = analyse(deck, tolerances_wanted=False, strips_wanted=False)
    assert result.design is not None
    european = result.design.standards[0]
    assert set(result.design.sections.names) == {"E2", "E4", "W1"}
    assert european.design_shear is not None
    assert european.design_shear.line == "W1"
    # over the wall the slab hogs
    assert european.layers[2].m_Ed > european.layers[0].m_Ed > 0
    assert abs(european.layers[2].at[0] - 3.1) < 0.3
    assert european.punching is not None
    assert european.punching.shape != "interior"
    assert [panel.panel for panel in european.panels] == ["slab"]


OPENING = """
[[opening]]
corners_m = [[1.2, -0.5], [2.0, -0.5], [2.0, 0.3], [1.2, 0.3]]
"""


@pytest.mark.slow
def test_corners_of_an_opening_do_not_count(tmp_path: Path) -> None:
    """Moments are infinite there: bars are judged by what lies a thickness of 0.25 m off them."""
    (tmp_path / "readings.csv").write_text(READINGS, encoding="utf-8")
    few = TRAFFIC.replace("step_m = 0.5", "step_m = 1.5")
    result = analyse(
        deck_of(tmp_path, SLAB, PLAN, BEAMS, few, OPENING, BARS),
        tolerances_wanted=False,
        strips_wanted=False,
    )
    assert result.design is not None
    corners = np.array([[1.2, -0.5], [2.0, -0.5], [2.0, 0.3], [1.2, 0.3]])
    for check in result.design.standards[0].layers:
        assert np.linalg.norm(np.array(check.at) - corners, axis=1).min() >= 0.25 - 1e-9
        # the lorry's wheels of 50 kN make moments of tens of kNm/m, not hundreds
        assert check.m_Ed < 200e3


def test_hogging_at_the_faces_of_supports(tmp_path: Path) -> None:
    """Where widths are stated top bars count 125 mm beside the cross beams' centre lines, unless
    the deck file asks for these; bottom bars are the same."""
    few = TRAFFIC.replace("step_m = 0.5", "step_m = 1.5")
    bars = BARS[: BARS.index("[bar_choice]")] + "[mesh]\nsize_m = 1.0\n"
    asked = bars.replace('face = "top"', 'face = "top"\nmoment_at = "centre line"')
    results = [
        analyse(
            deck_of(tmp_path, SLAB, PLAN, BEAMS, few, text),
            tolerances_wanted=False,
            strips_wanted=False,
        )
        for text in (asked, bars)
    ]
    over, beside = (result.design for result in results)
    assert over is not None
    assert beside is not None
    for centre, face in zip(over.standards[0].layers, beside.standards[0].layers, strict=True):
        if face.layer[0] == "bottom":
            assert face.m_Ed == centre.m_Ed
        else:
            assert face.m_Ed == pytest.approx(centre.m_face)
            assert face.m_Ed == face.m_face
            assert face.m_centre == centre.m_centre == centre.m_Ed >= face.m_Ed
            assert min(abs(face.at[0] - x) for x in (0.0, 3.0, 6.0)) >= 0.125 - 1e-9
    plan, middle = results[0].solved.recovery.points.plan, np.array([3.0, 0.0])
    k = int(np.linalg.norm(plan - middle, axis=1).argmin())
    centre, face = (
        one.standards[0].demands["ULS"].layer(("top", "x"))[k] for one in (over, beside)
    )
    assert face < 0.95 * centre
    wrong = bars.replace('face = "bottom"', 'face = "bottom"\nmoment_at = "face"')
    with pytest.raises(DeckError, match=r"moment_at.*is for the top bars"):
        deck_of(tmp_path, SLAB, PLAN, BEAMS, few, wrong)
