"""Responses of a study: ways into the summary, strip moments, hand widths, formulas."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from pipelines.analysis.analyse import analyse
from pipelines.deck.deck import Deck
from pipelines.deck.reading.deck_file import read_deck
from pipelines.report.data.summary import summary
from pipelines.standards.strip_widths.heft240 import SAGGING as HEFT
from pipelines.standards.strip_widths.irc import SAGGING as IRC
from pipelines.standards.strip_widths.irc import loaded_length
from pipelines.standards.strip_widths.method import StripInput
from pipelines.study.file import read_study
from pipelines.study.formula import read_formula
from pipelines.study.groups import Reference
from pipelines.study.responses import (
    Read,
    hand_width,
    read_responses,
    strip_moment,
    target_missed,
    walk,
)
from pipelines.study.spec import Response, StudyError, Value
from tests.pipelines.small_decks import SLAB
from tests.pipelines.small_decks import deck_of as deck_of_parts
from tests.pipelines.studies import DECK, write_study

SUMMARY = {
    "probes": {
        "mid": {
            "cases": {"wheel": {"m_x": 12.0, "error": {"m_x": 0.5}, "sides": None}},
            "envelope": {"m_x": {"max": {"value": 30.0, "error": 0.7, "vehicle": "v"}}},
        }
    },
    "findings": [
        {"strip": "A", "place": "bay 1", "plate_peak_kNm_m": 5.0, "plate_error_kNm_m": 0.1},
        {"strip": "B", "place": "bay 1", "strip_over_plate": 0.9},
    ],
}


def found(*responses: Response, known: Mapping[str, Value] | None = None) -> dict[str, Read]:
    deck: Any = None
    return read_responses(responses, SUMMARY, deck, None, known or {})


@pytest.mark.parametrize(
    ("way", "value", "error"),
    [
        (("probes", "mid", "cases", "wheel", "m_x"), 12.0, 0.5),
        (("probes", "mid", "envelope", "m_x", "max", "value"), 30.0, 0.7),
        (("findings", (("strip", "B"), ("place", "bay 1")), "strip_over_plate"), 0.9, None),
        (("findings", 1, "plate_peak_kNm_m"), 5.0, 0.1),
        (("findings", "2", "strip_over_plate"), 0.9, None),
        (("probes", "mid", "cases", "wheel", "sides"), None, None),
    ],
)
def test_a_value_by_its_way_with_its_tolerance(
    way: Any, value: float | None, error: float | None
) -> None:
    assert found(Response(name="r", unit="", way=way))["r"] == Read(value, error)


@pytest.mark.parametrize(
    ("way", "words"),
    [
        (("probes", "mud"), '"mud" is not in the summary; there are mid'),
        (("findings", (("strip", "C"),), "place"), "no entry of the summary has"),
        (("findings", 3, "place"), "entry 3 of 2"),
        (("findings", "first", "place"), "first leads nowhere"),
        (("findings", 1, "place"), "is not a number"),
    ],
)
def test_ways_that_lead_nowhere(way: Any, words: str) -> None:
    with pytest.raises(StudyError, match=words):
        found(Response(name="r", unit="", way=way))


def test_walk_of_nothing_is_the_whole() -> None:
    assert walk(SUMMARY, ()) is SUMMARY


def test_tolerance_of_a_formula_is_the_sum_of_what_its_parts_cause() -> None:
    m = Response(name="m", unit="", way=("probes", "mid", "cases", "wheel", "m_x"))
    e = Response(name="e", unit="", way=("probes", "mid", "envelope", "m_x", "max", "value"))
    r = Response(name="r", unit="", formula=read_formula("f * e / m"))
    one = found(m, e, r, known={"f": 2.0})["r"]
    assert one.value == pytest.approx(5.0)
    # the larger of the changes either way, for each part
    assert one.error == pytest.approx((2 * 30 / 11.5 - 5.0) + 2 * 0.7 / 12.0)


def test_a_formula_of_what_has_no_stated_tolerance_has_none() -> None:
    b = Response(name="b", unit="", way=("findings", 2, "strip_over_plate"))
    r = Response(name="r", unit="", formula=read_formula("2 * b"))
    assert found(b, r)["r"] == Read(1.8, None)


def test_target_names_the_worst() -> None:
    reads = {"a": Read(10.0, 0.2), "b": Read(-1.0, 0.05), "c": Read(0.0, 1.0), "d": Read(1.0)}
    assert target_missed(reads, 0.06) == ""
    assert target_missed(reads, 0.01) == "b within 5 % only"


# ---- Strips -----------------------------------------------------------------------------------

ONE_SPAN = """
[plan]
stations_m = [0.0, 4.0]
offsets_m = [-4.0, 4.0]
[[line]]
on = "C*"
support = "rigid"
width_mm = 200
"""
WHEEL = """
[[case]]
name = "wheel"
patches = [{ at_m = [1.5, 0.0], size_m = [0.8, 1.0], load_kN = 60.0 }]
[[case]]
name = "axle"
patches = [
  { at_m = [1.5, 0.0], size_m = [0.8, 1.0], load_kN = 60.0 },
  { at_m = [1.5, 1.8], size_m = [0.8, 1.0], load_kN = 60.0 } ]
[[case]]
name = "tandem"
patches = [
  { at_m = [1.5, 0.0], size_m = [0.8, 1.0], load_kN = 60.0 },
  { at_m = [2.7, 0.0], size_m = [0.8, 1.0], load_kN = 60.0 } ]
"""
REFERENCE = Reference(bay=1, cases=("wheel",), surfacing=0.08)
# Contact: the patch less 2 x 80 mm of surfacing and the slab's 250 mm.
CONTACT = (0.39, 0.59)


@pytest.fixture
def simple(tmp_path: Path) -> Deck:
    return deck_of_parts(tmp_path, SLAB, ONE_SPAN, WHEEL)


def span_moment(load: float, x: float, span: float, length: float) -> float:
    """Moment at x of a load centred there and uniform over a length: P x (L - x)/L - P c/8."""
    return load * (x * (span - x) / span - length / 8.0)


def test_strip_moment_of_a_simple_span(simple: Deck) -> None:
    expected = span_moment(60e3, 1.5, 4.0, 0.8)
    assert strip_moment(simple, REFERENCE, "wheel") == pytest.approx(expected, rel=1e-12)
    assert strip_moment(simple, REFERENCE, "axle") == pytest.approx(2 * expected, rel=1e-12)
    second = 60e3 * 1.5 * (4.0 - 2.7) / 4.0  # the other axle, whole on the far side
    both = strip_moment(simple, REFERENCE, "tandem")
    assert both == pytest.approx(expected + second, rel=1e-12)


def question(**more: Any) -> StripInput:
    return StripInput(
        span=4.0,
        position=1.5,
        contact=CONTACT,
        depth=0.25,
        surfacing=0.08,
        support_width=0.2,
        slab_width=8.0,
        **more,
    )


def test_hand_widths_are_the_methods_own_times_the_ratio_of_loaded_lengths(simple: Deck) -> None:
    assert IRC.width is not None
    assert HEFT.width is not None
    one = question(edge_distance=4.0)
    ours = span_moment(1.0, 1.5, 4.0, 0.8)
    irc = float(IRC.width(one)) * ours / span_moment(1.0, 1.5, 4.0, loaded_length(one))
    found = hand_width(simple, REFERENCE, "IRC:112 annex B-3", "wheel")
    assert found == pytest.approx(irc, rel=1e-9)
    # Heft 240 spreads to mid-depth like the patch: no correction.
    heft = hand_width(simple, REFERENCE, "DAfStb Heft 240", "wheel")
    assert heft == pytest.approx(float(HEFT.width(one)), rel=1e-9)
    # Wheels 1.8 m apart whose widths meet share one width.
    assert float(HEFT.width(one)) > 1.8
    axle = hand_width(simple, REFERENCE, "DAfStb Heft 240", "axle")
    assert axle == pytest.approx(float(HEFT.width(one)) + 1.8, rel=1e-9)
    # 26 + 6.6 S inches for an axle over contact + depth; nothing for a wheel by itself.
    width = (26.0 + 6.6 * 4.0 / 0.3048) * 0.0254
    aashto = width * ours / span_moment(1.0, 1.5, 4.0, CONTACT[0] + 0.25)
    found = hand_width(simple, REFERENCE, "AASHTO LRFD", "axle")
    assert found == pytest.approx(aashto, rel=1e-9)
    assert hand_width(simple, REFERENCE, "AASHTO LRFD", "wheel") is None


def test_hand_widths_outside_the_range_are_empty(tmp_path: Path) -> None:
    small = WHEEL.replace("size_m = [0.8, 1.0]", "size_m = [0.4, 0.4]")
    deck = deck_of_parts(tmp_path, SLAB, ONE_SPAN, small)
    assert hand_width(deck, REFERENCE, "IRC:112 annex B-3", "wheel") is None
    edge = WHEEL.replace("0.0]", "-3.4]").replace("1.8]", "-1.6]")
    deck = deck_of_parts(tmp_path, SLAB, ONE_SPAN, edge)
    assert hand_width(deck, REFERENCE, "DAfStb Heft 240", "axle") is None
    alone = hand_width(deck, REFERENCE, "DAfStb Heft 240", "wheel")
    assert HEFT.width is not None
    assert alone == pytest.approx(float(HEFT.width(question(edge_distance=0.6))), rel=1e-9)
    long = ONE_SPAN.replace("4.0]\noff", "6.0]\noff")
    deck = deck_of_parts(tmp_path, SLAB, long, WHEEL)
    assert hand_width(deck, REFERENCE, "AASHTO LRFD", "axle") is None


def test_cases_that_are_no_axle(simple: Deck) -> None:
    with pytest.raises(StudyError, match="not the wheels of one axle"):
        hand_width(simple, REFERENCE, "AASHTO LRFD", "tandem")
    with pytest.raises(StudyError, match="case lorry has no patches"):
        strip_moment(simple, REFERENCE, "lorry")


def test_strips_stand_alike_on_a_skew_deck(tmp_path: Path) -> None:
    plan = ONE_SPAN.replace("offsets_m", "skew_deg = 45.0\noffsets_m")
    straight = deck_of_parts(tmp_path, SLAB, ONE_SPAN, WHEEL)
    skew = deck_of_parts(tmp_path, SLAB, plan, WHEEL)
    for name in ("wheel", "axle"):
        assert strip_moment(skew, REFERENCE, name) == pytest.approx(
            strip_moment(straight, REFERENCE, name), rel=1e-12
        )


def test_a_strip_is_loaded_at_a_place_of_its_own(tmp_path: Path) -> None:
    middle = deck_of_parts(tmp_path, SLAB, ONE_SPAN, WHEEL.replace("at_m = [1.5", "at_m = [2.0"))
    moment, width = strip_moment(middle, REFERENCE, "axle"), "DAfStb Heft 240"
    at_mid = hand_width(middle, REFERENCE, width, "axle")
    off = deck_of_parts(tmp_path, SLAB, ONE_SPAN, WHEEL)
    assert strip_moment(off, REFERENCE, "axle") < moment
    assert strip_moment(off, REFERENCE, "axle", 0.5) == pytest.approx(moment, rel=1e-12)
    assert hand_width(off, REFERENCE, width, "axle") != pytest.approx(at_mid, rel=1e-3)
    assert hand_width(off, REFERENCE, width, "axle", 0.5) == pytest.approx(at_mid, rel=1e-12)


# ---- Dimensions -------------------------------------------------------------------------------


def scaled(deck: Deck, length: float, modulus: float) -> Deck:
    """The deck with every length times `length` and every modulus times `modulus`."""
    text = DECK
    area, inertia = length**2, length**4
    for old, new in (
        ("thickness_mm = 250", f"thickness_mm = {250 * length!r}"),
        ("E_GPa = 30.0", f"E_GPa = {30.0 * modulus!r}"),
        ("[0.0, 3.0, 6.0]", f"[0.0, {3.0 * length!r}, {6.0 * length!r}]"),
        ("[-2.0, 2.0]", f"[{-2.0 * length!r}, {2.0 * length!r}]"),
        ("E_GPa = 210", f"E_GPa = {210 * modulus!r}"),
        ("G_GPa = 81", f"G_GPa = {81 * modulus!r}"),
        ("I_cm4 = 60000", f"I_cm4 = {60000 * inertia!r}"),
        ("J_cm4 = 200", f"J_cm4 = {200 * inertia!r}"),
        ("A_cm2 = 160", f"A_cm2 = {160 * area!r}"),
        ("Av_cm2 = 60", f"Av_cm2 = {60 * area!r}"),
        ("at_m = [1.5, 0.0]", f"at_m = [{1.5 * length!r}, 0.0]"),
        ("size_m = [0.6, 0.6]", f"size_m = [{0.6 * length!r}, {0.6 * length!r}]"),
        ("load_kN = 100.0", f"load_kN = {100.0 * modulus * area!r}"),
        ("size_m = 1.5", f"size_m = {1.5 * length!r}"),
    ):
        assert old in text
        text = text.replace(old, new)
    Path(deck.path).write_text(text, encoding="utf-8")
    return read_deck(deck.path)


@pytest.mark.parametrize(("length", "modulus"), [(1.7, 0.6), (0.45, 3.1)])
def test_scaling_lengths_loads_and_moduli_leaves_dimensionless_responses(
    tmp_path: Path, length: float, modulus: float
) -> None:
    # 1e-8 leaves room for rounding in a solve with stiff beams and no more.
    study = read_study(write_study(tmp_path))
    path = tmp_path / "scaled.toml"
    path.write_text(DECK, encoding="utf-8")
    plain = read_deck(path)
    reference = Reference(bay=1, cases=("wheel",), beams="C*")
    responses = tuple(r for r in study.responses if r.name != "irc")  # inches and mm of surfacing

    def dimensionless(deck: Deck, scale: float) -> list[float]:
        result = analyse(deck)
        reads = read_responses(responses, summary(result), deck, reference, {})
        case = summary(result)["probes"]["mid"]["cases"]["wheel"]
        force = deck.cases[0].patches[0].load
        width, error = reads["width"].value, reads["width"].error
        assert width is not None
        assert error is not None
        return [
            width / scale,
            error / scale,
            case["w_mm"] / scale,
            case["m_x"] / force,
            case["m_y"] / force,
            case["q_y"] * scale / force,
            summary(result)["reactions"]["wheel"]["total_kN"] / force,
        ]

    before = dimensionless(plain, 1.0)
    after = dimensionless(scaled(plain, length, modulus), length)
    assert after == pytest.approx(before, rel=1e-8, abs=1e-10)
