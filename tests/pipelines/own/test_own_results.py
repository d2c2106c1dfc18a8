"""Results of a user's own, made of values at named places: in summary, report and studies."""

import csv
import io
import json
from pathlib import Path
from typing import Any

import pytest

from pipelines.analysis.analyse import analyse
from pipelines.deck.reading.deck_file import read_deck
from pipelines.errors import DeckError, OwnError
from pipelines.report.data.own_results import own_entries
from pipelines.report.data.summary import summary
from pipelines.report.data.values_csv import write_values
from pipelines.report.document import Table
from pipelines.report.html import html_of
from pipelines.report.sections.tables import own_results_table
from pipelines.run import report_of
from pipelines.standards.own.own import Own
from pipelines.study.run import run_study
from pipelines.study.table import read_table
from tests.pipelines.own.office import written
from tests.pipelines.studies import DECK, HEAD, SerialPool, write_study

SPREAD = """
from pipelines import NamedValues, OwnResult


def spread(at: NamedValues) -> float:
    return at.case("mid", "wheel", "m_y") / at.case("mid", "wheel", "m_x")


results = [OwnResult(name="spread", source="office note 9", unit="-", value=spread)]
"""
NAMED = f'{DECK}[own]\nresults = "office.py"\n'
SUMMARY = {
    "probes": {
        "mid": {
            "cases": {"wheel": {"m_x": 10.0, "m_y": 4.0, "error": {}}},
            "envelope": {"m_x": {"max": {"value": 30.0}}},
        }
    },
    "load_models": {"LM": {"probes": {"mid": {"m_x": {"max": {"value": 50.0}}}}}},
}


def own(folder: Path, code: str = SPREAD) -> Own:
    path, file = written(folder, code, NAMED)
    return read_deck(path, own=[file]).own


def value(folder: Path, body: str) -> Any:
    code = SPREAD.replace('at.case("mid", "wheel", "m_y") / at.case("mid", "wheel", "m_x")', body)
    return own_entries(own(folder, code), SUMMARY)["own_results"]["spread"]


@pytest.mark.parametrize(
    ("body", "given"),
    [
        ('at.case("mid", "wheel", "m_y") - at.case("mid", "wheel", "m_x")', -6.0),
        ('at.extreme("mid", "m_x", "max")', 30.0),
        ('at.extreme("mid", "m_x", "max", "LM")', 50.0),
    ],
)
def test_values_in_cases_and_under_traffic(tmp_path: Path, body: str, given: float) -> None:
    found = value(tmp_path, body)
    assert found["value"] == pytest.approx(given)
    assert (found["unit"], found["source"], found["mark"]) == ("-", "office note 9", "user's")


@pytest.mark.parametrize(
    ("body", "words"),
    [
        ('at.case("mud", "wheel", "m_x")', r"LookupError: no probe mud; there are mid \(line 6\)"),
        ('at.case("mid", "lorry", "m_x")', "no static case lorry; there are wheel"),
        ('at.case("mid", "wheel", "m_z")', "no result m_z; there are m_x, m_y"),
        ('at.extreme("mid", "m_x", "max", "LM1")', "no load model LM1; there are LM"),
        ('float("nan")', r"spread, value of results 1, gave nan: allowed is one finite number"),
        ('"4.2"', r"gave '4.2'"),
    ],
)
def test_mistakes_are_told(tmp_path: Path, body: str, words: str) -> None:
    with pytest.raises(OwnError, match=words):
        value(tmp_path, body)


def test_outside_its_range_there_is_no_value(tmp_path: Path) -> None:
    code = SPREAD.replace("return", 'raise MethodRangeError("one wheel only")\n    return')
    code = code.replace("import", "import MethodRangeError,")
    found = own_entries(own(tmp_path, code), SUMMARY)["own_results"]["spread"]
    assert (found["value"], found["reason"]) == (None, "one wheel only")


def test_what_is_no_result(tmp_path: Path) -> None:
    with pytest.raises(DeckError, match="allowed is OwnResult"):
        own(tmp_path, "results = [1]")
    with pytest.raises(DeckError, match="value is no function"):
        own(tmp_path, SPREAD.replace("value=spread", "value=0.4"))


def test_it_stands_in_summary_values_report_and_studies(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path, file = written(tmp_path, SPREAD, NAMED)
    result = analyse(read_deck(path, own=[file]), tolerances_wanted=False)
    entries = summary(result)
    m = entries["probes"]["mid"]["cases"]["wheel"]
    by_hand = m["m_y"] / m["m_x"]
    assert entries["own_results"]["spread"]["value"] == pytest.approx(by_hand, rel=1e-12)
    assert [one["kind"] for one in json.loads(json.dumps(entries["own"]))] == ["results"]
    write_values(tmp_path / "values.csv", result, entries)
    text = (tmp_path / "values.csv").read_text(encoding="utf-8")
    [row] = [one for one in csv.DictReader(io.StringIO(text)) if one["kind"] == "user's"]
    assert (row["name"], row["load_mark"]) == ("spread", "user's")
    assert float(row["value"]) == pytest.approx(by_hand, rel=1e-5)
    printed = own_results_table(entries)
    assert isinstance(printed, Table)
    assert printed.rows[0][0] == "spread (user's)"
    page = html_of(report_of(result, entries)).replace("&#x27;", "'")
    assert "Results of the user's own" in page
    assert "spread (user's)" in page

    monkeypatch.setattr("pipelines.study.run.Workers", SerialPool)
    study = write_study(tmp_path, HEAD, PARAMETER, RESPONSE, deck=NAMED)
    run_study(study, tmp_path / "out", own=[file])
    columns, _ = read_table(tmp_path / "out" / "table.parquet")
    [column] = [one for one in columns if one.name == "spread"]
    assert column.meaning.startswith("response (user's: spread)")
    assert column.values[0] == pytest.approx(by_hand, rel=1e-9)


PARAMETER = """
[[parameter]]
name = "load"
key = "case.wheel.patches.1.load_kN"
values = [100.0]
"""
RESPONSE = """
[[response]]
name = "spread"
path = "own_results.spread.value"
"""
