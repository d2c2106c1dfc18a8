"""Sums of static cases of a user's own: made as those of a deck file, marked, told where wrong."""

from pathlib import Path

import pytest

from pipelines import DeckFile
from pipelines.deck.reading.deck_file import read_deck
from pipelines.errors import DeckError
from pipelines.report.html import html_of
from pipelines.run import report_of
from tests.pipelines.own.office import written
from tests.pipelines.rated import COARSE
from tests.pipelines.small_decks import BEAMS, PLAN, SLAB

SUMS = """
cases = {"weight": 1.35, "crowd": 1.5}
sums = [
    {"name": "office sum", "factors": cases, "source": "office note 5"},
    {"name": "crowd alone", "factors": {"crowd": 0.9}},
]
"""
DECK = f"""{SLAB}{PLAN}{BEAMS}{COARSE}
[[case]]
name = "weight"
pressure_kN_m2 = 6.0
[[case]]
name = "crowd"
pressure_kN_m2 = 5.0
[[sum]]
name = "filed"
factors = {{ weight = 1.35, crowd = 1.5 }}
[[probe]]
name = "mid"
at_m = [1.5, 0.1]
[own]
sums = "office.py"
"""


def test_they_stand_beside_those_of_the_deck_file(tmp_path: Path) -> None:
    path, file = written(tmp_path, SUMS, DECK)
    analysis = DeckFile.read(path, own=[file]).analyse()
    sums = analysis.summary["sums"]
    marks = {name: (entry["source"], entry["mark"]) for name, entry in sums.items()}
    assert marks == {
        "filed": ("deck file", ""),
        "office sum": ("office note 5", "user's"),
        "crowd alone": ("office.py", "user's"),
    }
    # one load on the whole slab: 1.35 * 6 + 1.5 * 5 = 15.6 and 0.9 * 5 = 4.5 kN/m2; rounding
    case = analysis.summary["probes"]["mid"]["cases"]["crowd"]
    for result in ("w_mm", "m_x", "q_x"):
        of = {name: entry["probes"]["mid"][result] for name, entry in sums.items()}
        assert of["office sum"] == of["filed"] == pytest.approx(15.6 / 5 * case[result], rel=1e-9)
        assert of["crowd alone"] == pytest.approx(0.9 * case[result], rel=1e-9)
    rows = analysis.values.query("load == 'sum office sum' and result == 'm_x'")
    assert rows["load_mark"].tolist() == ["user's"]
    assert rows["value"].tolist() == [sums["office sum"]["probes"]["mid"]["m_x"]]
    page = html_of(report_of(analysis.result, analysis.summary)).replace("&#x27;", "'")
    assert "sum office sum (user's)" in page
    assert "office note 5 (user's)" in page


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (("1.35", "135.0"), r"office\.py, sums 1, factors\.weight = 135: allowed is"),
        (('"weight": 1.35', '"wait": 1.35'), r'sums 1, factors\."wait" = 1\.35: no such case'),
        (('"office sum"', '"filed"'), r'sums 1, name = "filed": \[\[sum\]\] 1 has this name'),
        (('"source"', '"sauce"'), r"sums 1, sauce: unknown key"),
        (('{"name": "crowd alone"', '7, {"name": "crowd alone"'), r"sums 2 = 7: must be a table"),
    ],
)
def test_mistakes_are_told_as_those_of_a_deck_file(
    tmp_path: Path, change: tuple[str, str], words: str
) -> None:
    path, file = written(tmp_path, SUMS.replace(*change), DECK)
    with pytest.raises(DeckError, match=words):
        read_deck(path, own=[file])
