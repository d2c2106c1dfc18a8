"""The verification table and the command that prints it."""

import csv
from dataclasses import replace
from pathlib import Path

import pytest

from pipelines.cli.main import main
from plate.elements.section import Section
from plate.verification import table as verification
from plate.verification.panels import orthotropic, simple_uniform
from plate.verification.row import PRINTS, TWK, Row, compared
from plate.verification.table import CASES, agreement, csv_text

FEW = (simple_uniform, orthotropic)


def test_rows_are_computed_and_agree() -> None:
    rows = simple_uniform()
    assert {row.source for row in rows} == {f"{TWK} table 8", "Navier's series", "Lévy's series"}
    assert all(row.passes for row in rows)
    # print and finite elements are two things
    assert all(row.found != row.value for row in rows)


def test_a_plate_of_the_wrong_stiffness_fails(monkeypatch: pytest.MonkeyPatch) -> None:
    """Half a per cent in Poisson's coupling is seen."""
    right = Section.rigidities.fget
    assert right is not None

    def wrong(section: Section) -> tuple[float, ...]:
        x, y, one, xy = right(section)
        return x, y, one + 0.005 * x, xy

    monkeypatch.setattr(Section, "rigidities", property(wrong))
    assert any(not row.passes for row in orthotropic())


def test_difference_is_signed_and_relative_to_its_yardstick() -> None:
    one, two = compared("c", "s", "a, b", [2.0, -0.5], [2.1, -0.5], within=0.04)
    assert one.difference == pytest.approx(0.05)
    assert (one.result, one.passes, two.passes) == ("a", False, True)
    one, two = compared("c", "s", "a, b", [2.0, 0.0], [2.1, 0.1], largest=True)
    assert two.difference == pytest.approx(0.05)
    low = compared("c", "s", "a", [-2.0], [-2.1])[0]
    assert low.difference == pytest.approx(-0.05)


def test_agreement_counts_and_names_the_worst() -> None:
    good = Row(
        case="case", result="w", source="print", value=1.0, found=1.001, within=0.01, scale=1.0
    )
    bad = replace(good, result="m_x", found=1.02)
    total = agreement([good, bad])
    assert (total.rows, total.cases, total.failed, total.worst) == (2, 1, (bad,), bad)
    assert "1 of 2 values" in total.sentence
    assert "case, m_x (print), +2 % of 1 %" in total.sentence


def test_command_prints_the_table_and_writes_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(verification, "CASES", FEW)
    out = tmp_path / "table.csv"
    assert main(["verify", "--out", str(out)]) == 0
    text = capsys.readouterr().out
    assert "Orthotropic simple panel, b/a = 2" in text
    assert "40 of 40 values" in text
    assert "T&WK" not in text
    assert "from memory" in text
    assert all(name in text for name in PRINTS)
    assert "qualified engineer" in text
    with out.open(encoding="utf-8", newline="") as file:
        table = list(csv.DictReader(file))
    assert len(table) == 40
    assert {row["status"] for row in table} == {"agrees"}
    first = table[0]
    assert float(first["value"]) == 0.00406
    assert float(first["found"]) == pytest.approx(0.0040624, rel=1e-3)


def test_command_fails_where_a_row_differs(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    bad = Row(case="case", result="w", source="print", value=1.0, found=1.2, within=0.01, scale=1.0)
    monkeypatch.setattr(verification, "CASES", (lambda: [bad],))
    assert main(["verify"]) == 1
    assert "DIFFERS" in capsys.readouterr().out


def test_command_to_a_folder_that_is_not_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(verification, "CASES", FEW[1:])
    assert main(["verify", "--out", str(tmp_path / "none" / "table.csv")]) == 2


def test_numbers_in_the_file_are_whole() -> None:
    third = Row(
        case="case, with a comma",
        result="w",
        source="print",
        value=1.0 / 3.0,
        found=0.3,
        within=0.2,
        scale=1.0,
    )
    (row,) = csv.DictReader(csv_text([third]).splitlines())
    assert float(row["value"]) == 1.0 / 3.0
    assert row["case"] == "case, with a comma"


def test_every_group_is_in_the_table() -> None:
    names = {case.__name__ for case in CASES}
    assert len(names) == len(CASES) >= 23
