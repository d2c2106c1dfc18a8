"""Every governing value has a strip beside it or is named as left out, and no strip is said to
cover while the plate has more elsewhere: packaged decks and random ones."""

import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from pipelines.analysis.analyse import analyse
from pipelines.analysis.result import Result
from pipelines.deck.deck import Deck
from pipelines.deck.reading.deck_file import read_deck
from pipelines.findings.compare import strip_findings
from pipelines.findings.finding import SHEARS, Verdict
from pipelines.numbers import number
from pipelines.report.data.summary import summary
from pipelines.report.sections.findings import finding_words, left_out_words
from pipelines.strips.hand_values import NO_MOMENT, RIGID
from pipelines.strips.methods import left_out_methods
from tests.pipelines.small_decks import SLAB, TRAFFIC, deck_of

EXAMPLES = Path(__file__).parents[3] / "pipelines" / "deck" / "examples"
# Those under traffic.
PACKAGED = sorted(
    path.stem for path in EXAMPLES.glob("*.toml") if "[traffic]" in path.read_text("utf-8")
)
SMALL = [name for name in PACKAGED if name != "estuary-bars"]  # estuary with whole load models

TWO_BAYS = """
[plan]
stations_m = [0.0, 3.5, 7.0]
offsets_m = [-3.0, 3.0]
[[line]]
on = "C*"
support = "beam"
label = "cross beam"
width_mm = 300
beam = { E_GPa = 210, G_GPa = 81, I_cm4 = 400000, J_cm4 = 300, A_cm2 = 250 }
held_at = ["L1", "L2"]
"""
MODEL = """
[traffic]
carriageway_m = [-2.75, 2.75]
{loads}
step_m = 0.5
lateral_step_m = 0.5
surfacing_mm = 80
dispersal = "mid-depth"
"""
COARSE = "[mesh]\norder = 2\nsize_m = 1.2\n"


def check(result: Result) -> None:
    """The governing values against rows and zones, by value, and the first page's sentences."""
    assert result.findings
    page = [*finding_words(result.findings, result.no_findings, result.left_out)]
    named = left_out_words(result.left_out)
    governing = []
    for case in result.traffic:
        for peak in case.governing:
            if peak.result == "w" or peak.position is None:
                continue
            load = case.name if case.envelope.whole else peak.position.lanes[0].kind
            size = abs(peak.value) * 1e3
            governing.append((load, peak.component, peak.sign, size))
            zones = [one for one in result.left_out if one.load == load and one.peak is peak]
            reached = any(
                one.load == load
                and one.section.component == peak.component
                and (one.section.component in SHEARS or one.section.sign == peak.sign)
                and one.ratio is not None
                and abs(one.plate.peak) >= size * (1.0 - 1e-9)
                for one in result.findings
            )
            assert zones or reached, (load, peak.result, peak.extreme, peak.value, peak.at)
            for zone in zones:
                assert zone.zone
                assert zone.reason
                words = f"{peak.result} {number(peak.value)} {peak.unit} ({zone.zone})"
                assert any(load in one and words in one for one in named)
    rows = {one.reference: one for one in result.findings}
    for sentence in page:
        if not sentence.endswith("strip covers."):
            continue
        [reference] = re.findall(r"\((F\d+)\)", sentence)
        one = rows[reference]
        assert one.verdict is Verdict.COVERS
        for load, component, sign, size in governing:
            if (load, component, sign) == (one.load, one.section.component, one.section.sign):
                assert abs(one.hand.value or 0.0) >= size * (1.0 - 1e-9), sentence
    assert not any("short by 100 %" in one.words for one in result.findings)


def thinned(deck: Deck) -> Deck:
    """A deck on wide cells under few load positions of its first load model and vehicle, without
    bars."""
    assert deck.traffic is not None
    traffic = replace(
        deck.traffic,
        step=1.3,
        lateral_step=1.6,
        vehicles=deck.traffic.vehicles[:1],
        load_models=deck.traffic.load_models[:1],
    )
    mesh = replace(deck.mesh, order=2, size=1.4)
    return replace(deck, traffic=traffic, mesh=mesh, reinforcement=None, cases=(), probes=())


@pytest.mark.parametrize("name", SMALL)
def test_packaged_decks_leave_nothing_unsaid(name: str) -> None:
    check(analyse(thinned(read_deck(EXAMPLES / f"{name}.toml")), tolerances_wanted=False))


@pytest.mark.slow
@pytest.mark.parametrize("name", PACKAGED)
def test_packaged_decks_as_they_are_leave_nothing_unsaid(name: str) -> None:
    check(analyse(read_deck(EXAMPLES / f"{name}.toml"), tolerances_wanted=False))


def random_deck(folder: Path, seed: int) -> Deck:
    """A small deck of any kind that strips are drawn on."""
    rng = np.random.default_rng(seed)
    bays = int(rng.integers(1, 4))
    span = float(rng.uniform(3.2, 4.2))
    half = float(rng.uniform(2.2, 4.0))
    hang = {key: round(float(rng.choice([0.0, 0.4, 1.0])), 2) for key in ("start", "end")}
    side = {key: round(float(rng.choice([0.0, 0.0, 0.8])), 2) for key in ("left", "right")}
    skew = float(rng.choice([0.0, 0.0, 20.0]))
    across = bool(rng.random() < 0.4)
    inertia = round(10 ** rng.uniform(4.5, 6.3))
    beam = f"{{ E_GPa = 210, G_GPa = 81, I_cm4 = {inertia}, J_cm4 = 300, A_cm2 = 250 }}"
    lines = [round(k * span, 3) for k in range(bays + 1)]
    if across:
        offsets = [round(at - 0.5 * lines[-1], 3) for at in lines]
        if bays == 1:
            offsets = [-0.5 * span, 0.5 * span]
        stations, mine, others = [0.0, round(float(rng.uniform(7.0, 12.0)), 2)], "L*", ["C1", "C2"]
    else:
        stations, offsets, mine, others = lines, [-half, half], "C*", ["L1", "L2"]
    how = str(rng.choice(["beam", "rigid", "spring"]))
    support = {
        "beam": f'support = "beam"\nbeam = {beam}\nheld_at = {json.dumps(others)}\n',
        "rigid": 'support = "rigid"\n',
        "spring": 'support = "spring"\nk_kN_m2 = 8e4\n',
    }[how]
    text = (
        f"[plan]\nstations_m = {stations}\noffsets_m = {offsets}\nskew_deg = {skew}\n"
        "overhang_m = { "
        + ", ".join(f"{key} = {value}" for key, value in (hang | side).items())
        + " }\n"
        + f'[[line]]\non = "{mine}"\nto_edges = true\nwidth_mm = 250\n{support}'
    )
    low, high = offsets[0] - side["left"], offsets[-1] + side["right"]
    loads = str(
        rng.choice(
            [
                'load_models = ["EN 1991-2 LM1"]',
                'load_models = ["EN 1991-2 LM2"]',
                'load_models = ["AASHTO HL-93 axles"]',
                'vehicles = ["IRC:6 Class A", "EN 1991-2 LM2"]',
            ]
        )
    )
    traffic = (
        f"[traffic]\ncarriageway_m = [{low}, {high}]\n{loads}\nstep_m = 0.9\nlateral_step_m = 0.9\n"
    )
    return deck_of(folder, SLAB, text, traffic, COARSE)


@pytest.mark.parametrize("seed", range(2))
def test_random_decks_leave_nothing_unsaid(seed: int, tmp_path: Path) -> None:
    check(analyse(random_deck(tmp_path, seed), tolerances_wanted=False))


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(2, 200))
def test_many_random_decks_leave_nothing_unsaid(seed: int, tmp_path: Path) -> None:
    check(analyse(random_deck(tmp_path, seed), tolerances_wanted=False))


@pytest.fixture(scope="module")
def two_bays(tmp_path_factory: pytest.TempPathFactory) -> Result:
    """Two bays on cross beams without edge beams under load model 1."""
    folder = tmp_path_factory.mktemp("two")
    loads = 'load_models = ["EN 1991-2 LM1"]'
    deck = deck_of(folder, SLAB, TWO_BAYS, MODEL, COARSE, loads=loads)
    return analyse(deck, tolerances_wanted=False)


def test_the_edge_hogs_more_than_the_strip_that_covers_inside(two_bays: Result) -> None:
    check(two_bays)
    inside = max(abs(o.plate.peak) for o in two_bays.findings if o.section.kind == "face")
    edges = [o for o in two_bays.findings if o.section.kind == "edge face" and o.ratio]
    [governing] = [p for p in two_bays.governing if (p.result, p.extreme) == ("m_x", "min")]
    most = min(edges, key=lambda one: one.plate.peak)
    assert most.plate.peak == pytest.approx(1e3 * governing.value)
    assert abs(most.plate.peak) > 1.5 * inside
    assert most.section.place in ("cross beam C2, left edge", "cross beam C2, right edge")
    [sentence] = [
        words
        for words in finding_words(two_bays.findings, "", two_bays.left_out)
        if words.startswith("Largest hogging over a line:")
    ]
    assert "strip covers there alone" in sentence
    assert number(governing.value) in sentence
    assert most.section.place.rsplit(" ", 2)[0] in sentence


def test_a_strip_of_no_moment_is_not_short(two_bays: Result) -> None:
    """On two bays a strip on rigid lines has no sagging over the middle line."""
    rows = [one for one in two_bays.findings if one.section.kind == "over line"]
    assert rows
    for one in rows:
        assert abs(one.hand.value or 0.0) < 1.0
        assert one.verdict is Verdict.NOT_COMPARABLE
    joints = [one for one in two_bays.findings if one.section.kind == "joint"]
    assert {one.hand.reason for one in joints if one.hand.value is not None} <= {NO_MOMENT}
    assert two_bays.findings[0].ratio is not None


@pytest.mark.parametrize(("support", "reason"), [("beam", RIGID), ("rigid", "")])
def test_sagging_over_a_line_that_yields_is_not_comparable(
    support: str, reason: str, tmp_path: Path
) -> None:
    """Three bays, where the strip does sag over its lines."""
    plan = TWO_BAYS.replace("[0.0, 3.5, 7.0]", "[0.0, 3.5, 7.0, 10.5]")
    if support == "rigid":
        plan = plan[: plan.index("[[line]]")] + '[[line]]\non = "C*"\nsupport = "rigid"\n'
    deck = deck_of(tmp_path, SLAB, plan, MODEL, COARSE, loads='load_models = ["EN 1991-2 LM1"]')
    result = analyse(deck, tolerances_wanted=False)
    rows = [o for o in result.findings if o.section.kind == "over line" and o.hand.value]
    assert rows
    assert {one.hand.reason for one in rows} == {reason}
    assert all((one.ratio is None) == bool(reason) for one in rows)


def test_strips_of_the_loads_own_family(two_bays: Result, tmp_path: Path) -> None:
    strips = {one.hand.strip for one in two_bays.findings}
    assert "DAfStb Heft 240" in strips
    assert not [name for name in strips if name.startswith(("AASHTO", "IRC"))]
    said = left_out_methods(["EN 1991-2 LM1"])
    assert "2 under EN 1991-2 LM1 (AASHTO LRFD, IRC:112 annex B-3)" in said
    assert said in finding_words(two_bays.findings, "")
    lorry = TRAFFIC[TRAFFIC.index("[[vehicle]]") :]
    loads = 'vehicles = ["IRC:6 Class A", "AASHTO HL-93 tandem"]'
    deck = deck_of(tmp_path, SLAB, TWO_BAYS, MODEL, COARSE, lorry, loads=loads)
    result = analyse(deck, tolerances_wanted=False)
    sagging = [one for one in result.findings if one.section.kind == "sagging"]
    assert {one.hand.strip for one in sagging if one.load == "IRC:6 Class A"} == {
        "IRC:112 annex B-3"
    }
    assert {one.hand.strip for one in sagging if one.load == "AASHTO HL-93 tandem"} == {
        "AASHTO LRFD"
    }
    assert {one.hand.strip for one in sagging if one.load == "lorry"} == {
        "AASHTO LRFD",
        "DAfStb Heft 240",
        "IRC:112 annex B-3",
    }
    assert left_out_methods(["lorry"]) == ""


def test_summary_names_what_is_left_out(two_bays: Result) -> None:
    entries = summary(two_bays)["left_out"]
    values = {
        (one["result"], one["extreme"]): one["value"] for one in summary(two_bays)["governing"]
    }
    assert {one["result"] for one in entries} >= {"m_xy"}
    for one in entries:
        assert one["value"] == values[one["result"], one["extreme"]]
        assert one["reason"]


def test_nothing_is_left_out_where_nothing_is_compared(tmp_path: Path) -> None:
    free = TWO_BAYS.replace('on = "C*"', 'on = ["C1", "L1", "L2"]').replace(
        'held_at = ["L1", "L2"]', "held_at = []"
    )
    plan = free[: free.index("[[line]]")] + (
        '[[line]]\non = "start"\nsupport = "clamped"\n'.replace("start", "C1")
    )
    deck = deck_of(tmp_path, SLAB, plan, MODEL, COARSE, loads='load_models = ["EN 1991-2 LM2"]')
    result = analyse(deck, tolerances_wanted=False)
    assert result.findings == ()
    assert result.left_out == ()
    assert strip_findings(result.solved, [one.envelope for one in result.traffic])[1]
