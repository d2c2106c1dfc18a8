"""Bars, grades and survey of a deck file."""

from pathlib import Path

import numpy as np
import pytest

from pipelines.deck.examples import EXAMPLES
from pipelines.deck.reading.deck_file import read_deck
from pipelines.errors import DeckError
from tests.pipelines.decks_with_bars import BOTTOM, GRADES, TOP
from tests.pipelines.small_decks import BEAMS, PLAN, SLAB, deck_of


def test_si_values(tmp_path: Path) -> None:
    more = """
[bar_choice]
diameters_mm = [16, 12]
spacings_mm = [200, 100]
[shear]
widths_m = [1.0, 0.5]
"""
    found = deck_of(tmp_path, SLAB, PLAN, BEAMS, GRADES, BOTTOM, TOP, more).reinforcement
    assert found is not None
    assert found.bars.effective_depth(("bottom", "x")) == pytest.approx(0.250 - 0.040 - 0.008)
    assert found.bars.effective_depth(("bottom", "y")) == pytest.approx(0.250 - 0.056 - 0.006)
    assert found.bars.top.cover == pytest.approx(0.045)
    assert found.angle == pytest.approx(np.pi / 2, abs=0)
    (basis,) = found.bases
    assert basis.materials.concrete.f_ck == 35e6
    assert basis.exposure == ("XD1", None)
    assert basis.structural_class is None
    assert basis.materials.factors["design_life_years"] == 100.0
    assert basis.crack_combination == "frequent"
    hundred_years = GRADES.replace("[[st", 'structural_class = "S5"\n[[st')
    other = deck_of(tmp_path, SLAB, PLAN, BEAMS, hundred_years, BOTTOM, TOP).reinforcement
    assert other is not None
    assert other.bases[0].structural_class == 5
    assert found.choice is not None
    assert found.choice.diameters == (0.012, 0.016)
    assert found.shear_widths == (0.5, 1.0)


MEMBRANE = """
[[membrane]]
stations_m = [0.0, 3.0]
n_x_kN_m = 150.0
gamma = 1.5
"""
COLLISION = """
[collision]
force_kN = 100.0
height_m = 1.0
inner_face_mm = 400
edges = ["right"]
"""
FATIGUE = """
[fatigue]
lambda_s1 = 1.1
N_obs_million = 0.5
traffic_type = "local traffic"
"""
IRC_GRADES = """
[[concrete]]
standard = "IRC:112"
grade = "M40"
[[steel]]
standard = "IRC:112"
grade = "Fe 500"
"""
BEAM_BARS = """
[[beam_bars]]
on = "C2"
width_mm = 300
depth_mm = 600
cover_mm = 40
top = { count = 3, diameter_mm = 20 }
bottom = { count = 4, diameter_mm = 20 }
links = { diameter_mm = 10, spacing_mm = 200 }
"""


def test_actions_on_the_slab_beside_traffic(tmp_path: Path) -> None:
    parts = (GRADES, BOTTOM, TOP, MEMBRANE, COLLISION, BEAM_BARS)
    found = deck_of(tmp_path, SLAB, PLAN, BEAMS, *parts).reinforcement
    assert found is not None
    (pull,) = found.imposed
    assert (pull.stations, pull.offsets) == ((0.0, 3.0), None)
    assert (pull.n, pull.gamma) == ((150e3, 0.0, 0.0), 1.5)
    assert found.collision is not None
    assert (found.collision.force, found.collision.edges) == (100e3, ("right",))
    assert found.collision.spread == pytest.approx(np.pi / 4)
    assert (found.collision.length, found.collision.inner_face) == (0.5, 0.4)
    (beam,) = found.beams
    assert beam.lines == ("C2",)
    assert beam.bottom == pytest.approx(4 * np.pi / 4 * 0.020**2)
    assert beam.axis_top == pytest.approx(0.040 + 0.010 + 0.010)
    # two legs of 10 every 200 mm
    assert beam.links == pytest.approx(2 * 78.54e-6 / 0.200, rel=1e-4)


def test_damage_equivalence_factor_whole_and_by_parts(tmp_path: Path) -> None:
    """1.4 x 1.1 x 0.82 (0.25)^(1/9) = 1.0825; at the top 0.9 in place of 1.1."""
    parts = (SLAB, PLAN, BEAMS, GRADES, BOTTOM, TOP)
    found = deck_of(tmp_path, *parts, FATIGUE).reinforcement
    assert found is not None
    assert found.damage is not None
    assert [found.damage[face].value for face in ("bottom", "top")] == pytest.approx(
        [1.0825, 1.0825], abs=1e-4
    )
    more = 'surface = "good"\nlife_years = 200\n'
    both = FATIGUE.replace("1.1", "{ bottom = 1.1, top = 0.9 }").replace("0.5", "[0.5, 0.25]")
    found = deck_of(tmp_path, *parts, both, more).reinforcement
    assert found is not None
    assert found.damage is not None
    rest = 1.2 * 0.82 * 0.25 ** (1 / 9) * 2 ** (1 / 9) * 1.5 ** (1 / 9)
    assert [found.damage[face].value for face in ("bottom", "top")] == pytest.approx(
        [1.1 * rest, 0.9 * rest]
    )
    whole = deck_of(tmp_path, *parts, "[fatigue]\nlambda_s = 0.7\n").reinforcement
    assert whole is not None
    assert whole.damage is not None
    assert whole.damage["top"].value == 0.7


def test_without_these_tables_there_is_no_reinforcement(tmp_path: Path) -> None:
    assert deck_of(tmp_path, SLAB, PLAN, BEAMS).reinforcement is None


@pytest.mark.parametrize(
    ("parts", "told"),
    [
        ((GRADES, BOTTOM), 'the top face is missing: face = "top"'),
        ((GRADES, BOTTOM, BOTTOM, TOP), r"\[\[bars\]\] = a list of 3: allowed are 1 to 2"),
        ((BOTTOM, TOP), r"\[\[concrete\]\]: is missing"),
        ((GRADES.replace("C35/45", "M35"), BOTTOM, TOP), "concrete 'M35' is not of EN 1992"),
        ((GRADES.replace("B500B", "Fe 500"), BOTTOM, TOP), "steel 'Fe 500' is not of EN 1992"),
        ((GRADES.replace("XD1", "severe"), BOTTOM, TOP), "exposure.top.*allowed is X0"),
        ((GRADES, BOTTOM, TOP.replace("45", "200")), "more than the thickness 250 mm"),
        ((GRADES, BOTTOM, TOP, "[[membrane]]\ngamma = 1.2\n"), "names no force: n_x_kN_m"),
        (
            (GRADES, BOTTOM, TOP, MEMBRANE.replace("[0.0, 3.0]", "[3.0, 3.0]")),
            "the second must be larger",
        ),
        ((GRADES, BOTTOM, TOP, COLLISION.replace("right", "end")), 'allowed is "left" or "right"'),
        ((GRADES, BOTTOM, TOP, COLLISION.replace("height_m = 1.0", "")), "height_m.*is missing"),
        ((GRADES, BOTTOM, TOP, BEAM_BARS.replace("C2", "L1")), "is no line with a beam.*C1, C2"),
        ((GRADES, BOTTOM, TOP, BEAM_BARS, BEAM_BARS), "has its bars already"),
        ((GRADES, BOTTOM, TOP, BEAM_BARS.replace("600", "90")), "covers and bars need more"),
        ((GRADES, BOTTOM, TOP, "[fatigue]\n"), "lambda_s: is missing, or lambda_s1, N_obs"),
        ((GRADES, BOTTOM, TOP, FATIGUE + "lambda_s = 1.2\n"), "stands beside its own parts"),
        ((GRADES, BOTTOM, TOP, FATIGUE.replace("local", "slow")), 'allowed is "long distance"'),
        ((GRADES, BOTTOM, TOP, FATIGUE.replace("0.5", '"many"')), "N_obs_million.*list of 1 to 6"),
        ((GRADES, BOTTOM, TOP, FATIGUE.replace("0.5", "[]")), "N_obs_million.*list of 1 to 6"),
        ((GRADES, BOTTOM, TOP, FATIGUE.replace("1.1", "{ top = 1.1 }")), "bottom.*is missing"),
        (
            (
                IRC_GRADES.replace('grade = "M40"', 'grade = "M40"\nstructural_class = "S5"'),
                BOTTOM,
                TOP,
            ),
            "structural_class.*is of EN 1992 alone",
        ),
        ((GRADES.replace("[[st", 'structural_class = "S7"\n[[st'), BOTTOM, TOP), 'allowed is "S1"'),
        ((IRC_GRADES, BOTTOM, TOP, FATIGUE), "is for EN 1992, which no"),
        ((MEMBRANE,), r"\[\[concrete\]\]: is missing"),
        ((GRADES, BOTTOM, TOP, '[survey]\nfile = "none.csv"\n'), "none.csv.*there is no such file"),
        (
            (GRADES, BOTTOM, TOP, '[survey]\nfile = "/dev/zero"\n'),
            "is a file in the deck file",
        ),
        ((GRADES, BOTTOM.replace("40", "0.04"), TOP), r": 1 mistake\n.*cover_mm = 0.04"),
        ((GRADES, BOTTOM + "angle_deg = 60.0\n", TOP), "must be the same at both faces"),
        ((GRADES, BOTTOM.replace("outer", "outter"), TOP), 'nearest known one is "outer"'),
    ],
)
def test_mistakes_are_told(tmp_path: Path, parts: tuple[str, ...], told: str) -> None:
    with pytest.raises(DeckError, match=told):
        deck_of(tmp_path, SLAB, PLAN, BEAMS, *parts)


def test_survey_is_read_beside_the_deck_file(tmp_path: Path) -> None:
    (tmp_path / "readings.csv").write_text("panel,thickness_mm\nC1-C2,248\n", encoding="utf-8")
    found = deck_of(
        tmp_path, SLAB, PLAN, BEAMS, GRADES, BOTTOM, TOP, '[survey]\nfile = "readings.csv"\n'
    ).reinforcement
    assert found is not None
    assert found.survey is not None
    assert [built.panel for built in found.survey.built.values()] == ["C1-C2"]


def test_survey_names_unknown_panels(tmp_path: Path) -> None:
    (tmp_path / "readings.csv").write_text("panel,thickness_mm\nC9-C10,248\n", encoding="utf-8")
    with pytest.raises(DeckError, match=r"panel 'C9-C10' is not one of the deck's"):
        deck_of(
            tmp_path, SLAB, PLAN, BEAMS, GRADES, BOTTOM, TOP, '[survey]\nfile = "readings.csv"\n'
        )


@pytest.mark.parametrize(
    ("rows", "more", "told"),
    [
        ("C1-C2,,,248\n", "panel_m = [0.1, 2.0]\n", "panel_m 1 = 0.1: allowed is 0.5 to 10000 m"),
        ("C1-C2,,,248\n", "panel_m = [2.0]\n", "panel_m"),
        ("C1-C2,top,200,\n", "", r"panel C1-C2: covers and bars need 2\d\d mm"),
        ("C1-C2 part 1.1,,,248\n", "", "panel 'C1-C2 part 1.1' is not one of the deck's: C1-C2,"),
        ("C4-C5,,,248\n", "panel_m = [1.5, 4.0]\n", "is not one of the deck's: C1-C2 part 1.1,"),
        ("C1-C2,,,248\n", 'value = "median"\n', 'allowed is "mean" or "worst"'),
    ],
)
def test_mistakes_in_readings_are_told_with_the_deck(
    tmp_path: Path, rows: str, more: str, told: str
) -> None:
    head = "panel,face,cover_mm,thickness_mm\n"
    (tmp_path / "readings.csv").write_text(head + rows, encoding="utf-8")
    survey = '[survey]\nfile = "readings.csv"\n' + more
    with pytest.raises(DeckError, match=told):
        deck_of(tmp_path, SLAB, PLAN, BEAMS, GRADES, BOTTOM, TOP, survey)


def test_the_packaged_example_has_bars_two_standards_and_readings() -> None:
    path = EXAMPLES["estuary-bars"]
    found = read_deck(path).reinforcement
    assert found is not None
    assert [b.materials.standard for b in found.bases] == ["EN 1992", "IRC:112"]
    assert found.survey is not None
    assert len(found.survey.built) == 5
    assert found.choice is not None


def test_cases_name_their_action(tmp_path: Path) -> None:
    case = """
[[case]]
name = "weight"
self_weight = true
action = "self-weight"
stage = "wet concrete"
"""
    (found,) = deck_of(tmp_path, SLAB, PLAN, BEAMS, case).cases
    assert (found.action, found.stage) == ("self-weight", "wet concrete")
    with pytest.raises(DeckError, match="has no load"):
        deck_of(tmp_path, SLAB, PLAN, BEAMS, '[[case]]\nname = "none"\naction = "surfacing"\n')
