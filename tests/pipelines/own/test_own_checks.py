"""Checks of bars of a user's own: asked about every layer, counted with the standards', marked."""

import json
from pathlib import Path

import pytest

from pipelines.analysis.analyse import analyse
from pipelines.bars.adequacy import Adequacy, Check
from pipelines.bars.checks.bending_and_service import Peaks, mat_rows
from pipelines.deck.deck import Deck
from pipelines.deck.reading.deck_file import read_deck
from pipelines.deck.words import line_title
from pipelines.errors import DeckError, OwnError
from pipelines.report.data.summary import finite, summary
from pipelines.report.html import html_of
from pipelines.run import report_of
from pipelines.standards.detailing.rules import Row
from pipelines.standards.own.checks import NAMED
from pipelines.standards.resistance.bars import DIRECTIONS, FACES, LAYERS, Layer
from tests.pipelines.decks_with_bars import BOTTOM, GRADES, TOP, bars
from tests.pipelines.own.office import written
from tests.pipelines.rated import COARSE
from tests.pipelines.small_decks import BEAMS, PLAN, SLAB, TRAFFIC

STRESS = """
from pipelines import LayerDemand, LayerSection, MethodRangeError, OwnCheck


def stress(layer: LayerSection, demand: LayerDemand) -> float:
    if layer.face == "top":
        raise MethodRangeError("the office looks at soffits")
    z = 0.9 * layer.d_mm
    return 1e6 * demand.characteristic_kNm_m / (z * layer.area_mm2_m) / 0.6 / layer.f_yk_MPa


checks = [OwnCheck(name="steel stress", source="office note 7", utilisation=stress)]
"""
LINES = """
[[line]]
on = "C*"
support = "rigid"
"""
CHECKS = '[own]\nchecks = "office.py"\n'
DECK = SLAB + PLAN + LINES + GRADES + BOTTOM + TOP + CHECKS


def deck_with(folder: Path, code: str = STRESS, deck: str = DECK) -> Deck:
    path, file = written(folder, code, deck)
    return read_deck(path, own=[file])


def rows_of(deck: Deck, moment: float = 40e3) -> dict[str, Row]:
    """The user's rows under the same moment in every layer, by place."""
    reinforcement = deck.required_reinforcement
    by_layer = dict.fromkeys(LAYERS, moment)
    peaks = Peaks(ultimate=by_layer, characteristic=by_layer, crack=by_layer)
    slab, [basis] = reinforcement.bars, reinforcement.bases
    found = [row for face in FACES for row in mat_rows(slab, face, basis, peaks)]
    return {row.place: row for row in found if row.check == "user's check steel stress"}


def test_a_check_is_asked_about_every_layer(tmp_path: Path) -> None:
    deck = deck_with(tmp_path)
    found = rows_of(deck)
    assert len(found) == 4
    mats = deck.required_reinforcement.bars
    for direction in DIRECTIONS:
        [row] = [row for place, row in found.items() if place == f"bottom, bars along {direction}"]
        layer: Layer = ("bottom", direction)
        d, area = mats.effective_depth(layer), mats.bars(layer).area
        by_hand = 40e3 / (0.9 * d * area) / (0.6 * 500e6)
        assert row.utilisation == pytest.approx(by_hand, rel=1e-12)
        assert str(row.source) == "office note 7 (user's)"
    [top] = [row for place, row in found.items() if place == "top, bars along x"]
    assert top.otherwise == "outside its range, the office looks at soffits"
    assert not top.passes


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ('float("inf")', "stress, utilisation of checks 1, gave inf: allowed is one number from 0"),
        ("-0.1", "gave -0.1"),
        ("[0.5]", r"gave \[0.5\]"),
        ("None", "gave None"),
    ],
)
def test_what_a_utilisation_may_not_be(tmp_path: Path, given: str, words: str) -> None:
    code = STRESS.replace("    z = ", f"    return {given}\n    z = ")
    with pytest.raises(OwnError, match=words):
        rows_of(deck_with(tmp_path, code))


def test_it_counts_in_the_verdict_and_stands_in_the_report(tmp_path: Path) -> None:
    """The stress comes to more than 0.6 f_yk, which no rule of the standard is near to."""
    code = STRESS.replace("/ 0.6 /", "/ 0.05 /")
    deck = deck_with(tmp_path, code, SLAB + PLAN + BEAMS + TRAFFIC + bars() + CHECKS)
    result = analyse(deck, tolerances_wanted=False, strips_wanted=False)
    [verdict] = result.verdicts
    [mine] = [judged for judged in verdict.judgements if judged.check is Check.OWN]
    assert mine.adequacy is Adequacy.NOT_ADEQUATE
    assert verdict.adequacy is Adequacy.NOT_ADEQUATE
    assert mine.worst is not None
    assert result.design is not None
    rows = {(row.check, row.place): row for row in result.design.standards[0].rows}
    for direction in DIRECTIONS:
        place = f"bottom, bars along {direction}"
        user, own = (rows[check, place] for check in (f"{NAMED} steel stress", "steel stress"))
        # A lever arm of 0.9 d instead of that of the cracked section, which has creep.
        assert user.provided * 0.05 * 500e6 == pytest.approx(own.provided, rel=0.1)
    entries = summary(result)
    json.dumps(finite(entries), allow_nan=False)
    page = html_of(report_of(result, entries)).replace("&#x27;", "'")
    assert "user's check steel stress" in page
    assert "office note 7 (user's)" in page
    assert "outside its range, the office looks at soffits" in page


SHEAR = """
from pipelines import MethodRangeError, OwnCheck, ShearForces, ShearSection


def again(section: ShearSection, forces: ShearForces) -> float:
    return forces.v_kN_m / forces.v_Rd_kN_m


def redone(section: ShearSection, forces: ShearForces) -> float:
    rho = min(section.area_mm2_m / section.d_mm / 1000, 0.02)
    k = min(1 + (200 / section.d_mm) ** 0.5, 2)
    by_steel = 0.18 / 1.5 * k * (100 * rho * section.f_ck_MPa) ** (1 / 3)
    least = 0.035 * k**1.5 * section.f_ck_MPa**0.5
    return forces.v_kN_m / (max(by_steel, least) * section.d_mm)


def strong(section: ShearSection, forces: ShearForces) -> float:
    assert (forces.m_kNm_m >= 0) == (section.tension == "bottom")
    assert forces.n_kN_m == 0
    if forces.v_kN_m < 20:
        raise MethodRangeError("the office looks at strong shear")
    return 0.5


checks = [
    OwnCheck(name="again", source="office note 8", shear=again),
    OwnCheck(name="redone", source="office note 8", shear=redone),
    OwnCheck(name="strong", source="office note 9", shear=strong, standard="EN 1992"),
    OwnCheck(name="elsewhere", source="office note 9", shear=strong, standard="IRC:112"),
]
"""


def test_shear_is_asked_about_where_the_standard_s_is_judged(tmp_path: Path) -> None:
    """EN 1992-1-1 (6.2) written again by the user comes to the check of the standard."""
    deck = deck_with(
        tmp_path, SHEAR, SLAB + PLAN + BEAMS + TRAFFIC + GRADES + BOTTOM + TOP + COARSE + CHECKS
    )
    result = analyse(deck, tolerances_wanted=False, strips_wanted=False)
    assert result.design is not None
    [standard] = result.design.standards
    peak = standard.design_shear
    assert peak is not None
    rows = [row for row in standard.rows if row.check.startswith(NAMED)]
    again, redone, strong, outside = rows
    assert again.utilisation == pytest.approx(peak.utilisation, rel=1e-12)
    assert redone.utilisation == pytest.approx(peak.utilisation, rel=1e-9)
    side = "before" if peak.side < 0 else "after"
    beside = f"shear {side} {line_title(deck, peak.line)}, ("
    assert again.place.startswith(beside)
    assert redone.place.startswith(beside)
    assert redone.place.endswith(" m, under what EN 1992 finds worst there")
    assert strong.utilisation == 0.5
    assert outside.otherwise == "outside its range, the office looks at strong shear"
    assert outside.place.startswith("shear at ")
    [mine] = [one for one in result.verdicts[0].judgements if one.check is Check.OWN]
    assert len(mine.found) == len(rows)


@pytest.mark.parametrize(
    ("code", "deck", "words"),
    [
        (STRESS, SLAB + PLAN + LINES + CHECKS, "there are no bars"),
        (STRESS.replace("utilisation=stress", "utilisation=1.0"), DECK, "is no function"),
        (STRESS.replace('source="', 'standard="BS", source="'), DECK, "standard: allowed is"),
        (
            STRESS.replace(", utilisation=stress", ""),
            DECK,
            "no function: give utilisation or shear",
        ),
        (SHEAR.replace("shear=again", "shear=2"), DECK, "checks 1, shear is no function"),
        ("checks = [len]", DECK, "allowed is OwnCheck"),
    ],
)
def test_mistakes_in_checks(tmp_path: Path, code: str, deck: str, words: str) -> None:
    with pytest.raises(DeckError, match=words):
        deck_with(tmp_path, code, deck)
