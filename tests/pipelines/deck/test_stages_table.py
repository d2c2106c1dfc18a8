"""Stages, strains, settlements and sums of a deck file: SI values, and mistakes with key, value and
what is allowed."""

from pathlib import Path

import pytest

from pipelines.deck.cases import Stages, Sum, Temperature
from pipelines.errors import DeckError
from tests.pipelines.composite_decks import CASES, COMPOSITE
from tests.pipelines.small_decks import BEAMS, PLAN, SLAB, deck_of


def test_values_are_in_si(tmp_path: Path) -> None:
    settles = '[[case]]\nname = "s"\nsettlements_mm = { C1 = 5, C2 = -2.5 }\n'
    deck = deck_of(tmp_path, COMPOSITE, CASES, settles)
    assert deck.stages == Stages(
        long_term=pytest.approx(210 / 18 / 34), shrinkage=pytest.approx(210 / 15 / 34)
    )
    cases = {case.name: case for case in deck.cases}
    assert cases["warm top"].temperature == Temperature(10.0, 0.0, 1e-5)
    assert cases["shrinkage"].shrinkage == pytest.approx(3e-4)
    assert cases["s"].settlements == (("C1", 0.005), ("C2", -0.0025))
    assert [cases[n].imposes for n in ("fresh", "warm slab", "s")] == [False, True, True]
    assert deck.sums[0].name == "design"
    assert dict(deck.sums[0].factors)["crowd"] == 1.5
    assert isinstance(deck.sums[0], Sum)


CASE = '[[case]]\nname = "x"\n'


@pytest.mark.parametrize(
    ("parts", "told"),
    [
        (
            (SLAB, PLAN, BEAMS, CASE + "temperature = { mean_K = 5.0 }"),
            r"\[\[case\]\] 1, temperature.mean_K = 5: the slab moves freely in its plane",
        ),
        (
            (SLAB, PLAN, BEAMS, CASE + "shrinkage_permille = 0.2"),
            r"\[\[case\]\] 1, shrinkage_permille = 0.2: the slab moves freely in its plane",
        ),
        (
            (SLAB, PLAN, BEAMS, CASE + "shrinkage_permille = 0.2\nself_weight = true"),
            r"\[\[case\]\] 1, self_weight: temperature, shrinkage and settlements are cases of",
        ),
        (
            (SLAB, PLAN, BEAMS, CASE + 'settlements_mm = { "C2@L1" = 5 }\naction = "surfacing"'),
            r'\[\[case\]\] 1, action = "surfacing": in the bars. combinations shrinkage alone',
        ),
        (
            (
                *(SLAB, PLAN, BEAMS, CASE),
                'temperature = { difference_K = 5 }\naction = "shrinkage"',
            ),
            r'\[\[case\]\] 1, action = "shrinkage": .* a temperature alone is warming or cooling',
        ),
        (
            (SLAB, PLAN, BEAMS, CASE + 'pressure_kN_m2 = 5\naction = "settlement"'),
            r'\[\[case\]\] 1, action = "settlement": shrinkage, settlement, warming and',
        ),
        (
            (SLAB, PLAN, BEAMS, CASE + 'settlements_mm = { "C2@L3" = 5 }'),
            r'\[\[case\]\] 1, settlements_mm."C2@L3" = 5: no line, hold or point that holds the '
            r'deck, .*"C2@L1"',
        ),
        (
            (SLAB, PLAN, BEAMS, CASE + "settlements_mm = { C2 = 2000 }"),
            r"settlements_mm.* = 2000: .*-1000 to 1000 mm",
        ),
        (
            (SLAB, PLAN, BEAMS, CASE + "temperature = { difference_C = 8 }"),
            r"temperature.difference_C: unknown key, .*difference_K",
        ),
        (
            (COMPOSITE, "[stages]\n", CASE, 'pressure_kN_m2 = 1\nstage = "long-term"'),
            r'\[stages\] long_term_n: is missing: case "x" is of stage long-term',
        ),
        (
            (SLAB, PLAN, '[[line]]\non = "C*"\nsupport = "rigid"\n[stages]\nlong_term_n = 18'),
            r"\[stages\]: stages are those of a slab on beams: this deck has none",
        ),
        (
            (COMPOSITE, "[stages]\n", CASE, 'shrinkage_permille = 0.1\nstage = "wet concrete"'),
            r'\[\[case\]\] 1, stage = "wet concrete": fresh concrete takes no strain',
        ),
        (
            (COMPOSITE, CASE, 'pressure_kN_m2 = 1\n[[sum]]\nname = "s"\nfactors = { y = 1.0 }'),
            r"\[\[sum\]\] 1, factors.\"y\" = 1: no such case, .*\"x\"",
        ),
        (
            (
                SLAB,
                PLAN,
                BEAMS,
                '[[point]]\nname = "P"\nat_m = [1.0, 0.0]\nsupport = "rigid"\n',
                CASE,
                "settlements_mm = { P = 3 }",
            ),
            r'settlements_mm."P" = 3: a rigid point cannot settle: state its k_kN_m',
        ),
    ],
)
def test_mistakes_are_told(tmp_path: Path, parts: tuple[str, ...], told: str) -> None:
    with pytest.raises(DeckError, match=told):
        deck_of(tmp_path, *parts)


def test_stages_need_beams_of_one_modulus(tmp_path: Path) -> None:
    two = COMPOSITE.replace('on = "L2"', 'on = ["L2"]') + (
        '[[line]]\non = "L1"\nsupport = "beam"\n'
        "beam = { E_GPa = 34, G_GPa = 14, I_cm4 = 1e5, J_cm4 = 1e4, A_cm2 = 500 }\n"
    )
    with pytest.raises(DeckError, match=r"\[stages\]: a modular ratio .* have 34, 210 GPa"):
        deck_of(tmp_path, two, "[stages]\n")
