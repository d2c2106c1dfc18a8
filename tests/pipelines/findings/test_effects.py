"""Effect by effect: what decides it, what is told beside it, and why a strip is short."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import pytest

from pipelines.findings.effects import (
    EffectFinding,
    State,
    carrying_step,
    effect_findings,
    effect_of,
    steps,
)
from pipelines.findings.finding import Finding
from pipelines.findings.reconciliation.walk import EXACT, TITLES, Reconciliation, Step
from pipelines.strips.sections import Kind
from tests.pipelines.fake_findings import fake


def made(ratio: float | None, kind: Kind = "sagging", edge: str = "", **more: Any) -> Finding:
    """A finding of a whole load model at a section of that kind."""
    one = fake(ratio, whole_model=True, **more)
    return replace(one, section=replace(one.section, kind=kind, edge=edge))


def found(*rows: Finding) -> tuple[EffectFinding, ...]:
    return effect_findings(rows, (), (), ())


@pytest.mark.parametrize(
    ("kind", "edge", "bars", "effect"),
    [
        ("sagging", "", "parallel", "sagging in bays"),
        ("face", "", "parallel", "hogging over lines"),
        ("joint face", "", "parallel", "hogging at joint edges"),
        ("joint", "", "across", "hogging at side edges"),
        ("edge", "left", "parallel", "sagging along side edges"),
        ("edge", "start", "across", "sagging along joint edges"),
        ("end edge", "end", "parallel", "sagging along joint edges"),
        ("edge face", "start", "across", "hogging beside joint edges"),
        ("edge hogging", "E2", "across", "hogging beside edges"),
        ("transverse", "", "parallel", "across, under wheels"),
        ("corner", "left", "parallel", "hogging at obtuse corners"),
    ],
)
def test_edges_are_told_by_what_they_are_of_the_bridge(
    kind: Kind, edge: str, bars: Any, effect: str
) -> None:
    assert effect_of(made(1.0, kind, edge, bars=bars)) == effect


def test_an_overhang_hangs_at_the_joints_or_at_the_sides() -> None:
    for bars, effect in (("parallel", "joint"), ("across", "side")):
        one = made(0.9, "hogging", bars=bars, hand_effect="overhang")
        assert effect_of(one) == f"hogging at {effect} edges"


def test_the_largest_shortfall_decides_and_the_largest_value_stands_beside() -> None:
    worst = made(0.7, peak=15e3, place="bay C2–C3")
    [one] = found(worst, made(0.9))
    assert (one.state, one.row) == (State.SHORT, worst)
    assert one.largest is not None
    assert one.largest.plate.peak == 20e3


def test_a_shortfall_of_little_is_told_apart() -> None:
    little = made(0.2, peak=1e3, place="bay C2–C3")
    [one] = found(little, made(1.1))
    assert (one.state, one.small) == (State.HOLDS, little)
    # From a fifth of the largest on it decides.
    [one] = found(made(0.2, peak=4e3, place="bay C2–C3"), made(1.1))
    assert one.state is State.SHORT


def test_of_a_place_the_load_that_makes_most_counts() -> None:
    [one] = found(made(0.5, peak=15e3, load="lighter"), made(1.1))
    assert (one.state, one.row.load) == (State.HOLDS, "lorry")


def test_whole_load_models_go_before_vehicles_alone() -> None:
    [one] = found(fake(0.5, peak=30e3, place="bay C2–C3"), made(1.1))
    assert one.state is State.HOLDS
    [one] = effect_findings([fake(1.1)], (), (), ())
    assert one.state is State.NO_LESS


def test_other_methods_decide_nothing() -> None:
    [one] = found(made(0.5, hand_chosen=False), made(1.1))
    assert one.state is State.HOLDS


def test_what_holds_is_told_with_what_is_more_in_another_place() -> None:
    edge = made(None, "edge", "left", peak=50e3, place="left edge", hand_reason="stiffened")
    bays, beside = found(made(1.2), edge)
    assert (bays.state, bays.beyond) == (State.HOLDS, edge)
    assert (beside.state, beside.reason) == (State.NOT_COMPARABLE, "stiffened")


def test_next_to_nothing_without_a_strip_is_not_told() -> None:
    for peak, count in ((0.3e3, 1), (0.5e3, 2)):
        nothing = made(None, "over line", peak=peak, place="line C2", hand_reason="rigid")
        assert len(found(made(1.1), nothing)) == count


YIELD = "cross lines yield: their beams bend"


def walk(
    *values: float,
    kind: Kind = "sagging",
    titles: Sequence[str] = (EXACT[0], YIELD, "beams resist twist"),
) -> Reconciliation:
    titles = ("hand strip", *titles)
    forward = tuple(
        Step(title=title, held=value, searched=value, error=0.0)
        for title, value in zip(titles, values, strict=False)
    )
    return Reconciliation(
        finding=made(0.5, kind),
        forward=forward,
        reverse=forward,
        mean=0.0,
        mean_width=1.0,
        springs=None,
        patch=(0.4, 0.4),
        closing=0.0,
    )


def test_the_step_that_carries_most_says_why() -> None:
    one = walk(10e3, 9e3, 19.9e3, 20e3)
    assert steps(one) == [
        (EXACT[0], -1e3),
        (YIELD, pytest.approx(10.9e3)),
        ("all others", pytest.approx(0.1e3)),
    ]
    [short] = effect_findings([made(0.5)], (), [one], ())
    assert short.reason == f"{YIELD} (+10.9 kNm/m of bay C1–C2)"
    assert carrying_step(made(0.5, "transverse"), [one]) == ""
    assert "distribution" in carrying_step(made(0.5), [walk(10e3, 19e3, 20e3)])


def test_edges_that_the_deck_does_not_have_explain_nothing() -> None:
    """What free edges would add and the lines along them take off again is counted together."""
    free, lines = TITLES["width"][1], TITLES["others"][1]
    one = walk(10e3, 22e3, 11e3, 20e3, titles=(free, lines, YIELD))
    assert carrying_step(made(0.5), [one]) == f"{YIELD} (+9 kNm/m of bay C1–C2)"
    one = walk(10e3, 22e3, 20e3, 21e3, titles=(free, lines, YIELD))
    told = "finite length, with end lines and other lines across (+10 kNm/m of bay C1–C2)"
    assert carrying_step(made(0.5), [one]) == told
    free_edges = walk(10e3, 20e3, 21e3, titles=(free, YIELD))
    assert carrying_step(made(0.5), [free_edges]) == f"{free} (+10 kNm/m of bay C1–C2)"


def test_the_stiffness_of_the_beams_says_why_without_a_walk() -> None:
    [one] = found(made(0.5, plate_beam_range=(15e3, 25e3)))
    assert one.reason == "beams bend: 15 to 25 kNm/m with them twice and half as stiff"
    [one] = found(made(0.5, plate_beam_range=(19.5e3, 20.5e3)))
    assert one.reason == "distribution"
    [one] = found(made(0.5, "edge", "left"))
    assert one.reason.startswith("free edge")
