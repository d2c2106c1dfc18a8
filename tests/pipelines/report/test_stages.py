"""What summary and report say of stages, sums and cracked stiffness."""

from html import unescape
from pathlib import Path

import pytest

from pipelines.analysis.analyse import analyse
from pipelines.analysis.result import Result
from pipelines.report.data.summary import summary
from tests.pipelines.composite_decks import CASES, COMPOSITE
from tests.pipelines.cracked_strips import CRACKED_BARS, cracked_strip
from tests.pipelines.report_page import report_page
from tests.pipelines.small_decks import deck_of

SETTLES = '[[case]]\nname = "C2 down"\nsettlements_mm = { C2 = 12.0 }\n'


@pytest.fixture(scope="module")
def composite(tmp_path_factory: pytest.TempPathFactory) -> Result:
    folder: Path = tmp_path_factory.mktemp("composite")
    return analyse(deck_of(folder, COMPOSITE, CASES, SETTLES), tolerances_wanted=False)


def test_the_summary_has_every_stage_and_sum(composite: Result) -> None:
    entries = summary(composite)
    stages = entries["stages"]
    assert list(stages) == ["wet concrete", "long-term", "shrinkage", "short-term", "all stages"]
    assert stages["wet concrete"]["modular_ratio"] is None
    assert stages["long-term"]["modular_ratio"] == pytest.approx(18.0)
    assert stages["shrinkage"]["slab_E_GPa"] == pytest.approx(14.0)
    assert stages["short-term"]["modular_ratio"] == pytest.approx(210 / 34)
    fresh = stages["wet concrete"]["beams"]["L2"]
    assert fresh["moment_max_kNm"] == pytest.approx(550.0, rel=1e-3)
    assert fresh["axial_max_kN"] == 0.0
    design = entries["sums"]["design"]
    assert design["factors"]["crowd"] == 1.5
    assert design["reactions"]["total_kN"] == pytest.approx(1.35 * (220 + 80) + 1.5 * 200, rel=1e-5)
    assert entries["probes"]["mid"]["cases"]["C2 down"]["w_mm"] == pytest.approx(6.0, rel=1e-6)


def test_fresh_concrete_is_drawn_by_its_deflection_alone(composite: Result) -> None:
    page = report_page(composite)
    drawn = [name for name in ("w", "m_x", "q_y") if f"plan-case-1-{name}" in page]
    assert next(iter(composite.cases)) == "fresh"
    assert drawn == ["w"]
    assert "plan-case-2-m_x" in page


def test_the_report_tells_stages_and_what_is_imposed(composite: Result) -> None:
    text = unescape(report_page(composite))
    for words in (
        "Stages of the deck's life",
        "fresh, on the beams alone",
        "1.35 × fresh + 1.35 × surfacing + 1 × shrinkage + 1.5 × crowd",
        "upper face 10 K warmer than the lower one, α = 1e-05 1/K",
        "slab at mid-depth 10 K warmer than its beams",
        "shrinkage of the slab by 0.3 ‰",
        "line C2 goes down by 12 mm",
    ):
        assert words in text
    assert "every case acts on the same model" not in text


def test_cracked_stiffness_stands_beside_that_of_the_file(tmp_path: Path) -> None:
    text = cracked_strip([0.0, 6.0, 12.0], 16.0, size=1.0)
    result = analyse(deck_of(tmp_path, text, CRACKED_BARS), tolerances_wanted=False)
    entry = summary(result)["cracked"]["s"]
    assert entry["settled"]
    assert entry["steps"][0]["change"] is None
    mid = entry["probes"]["mid"]
    # one factor everywhere moves no moment between span and support
    assert mid["deck_file"]["m_x"] == pytest.approx(mid["uncracked"]["m_x"], rel=0.01)
    assert mid["cracked"]["m_x"] > 1.01 * mid["uncracked"]["m_x"]
    text = unescape(report_page(result))
    assert "Steps of the cracked stiffness (settled below 0.2 % and 1 %): settled" in text
    assert "cracked, iterated" in text
