"""The command `vehicles`: everything listed with its source, and drawn."""

import re
from dataclasses import replace
from pathlib import Path

import pytest

from pipelines.cli.main import main
from pipelines.report.sections.vehicle_list import listed, listing
from pipelines.standards.actions.load_models import Conditions, load_models
from pipelines.standards.actions.vehicles import library


def test_list_names_every_vehicle_and_model_with_its_source() -> None:
    given = Conditions(width=9.0, span=3.0)
    text = "\n".join(listing(given))
    for vehicle in library.values():
        assert f"  {vehicle.name}: " in text
        assert text.count(vehicle.source) == 1
    for name, make in load_models.items():
        assert f"  {name}\n" in text
        assert make(given).source in text
    assert "qualified engineer" in text
    # said once, not of every entry
    assert text.count("from memory") == 1
    for entry in (*library.values(), *(make(given) for make in load_models.values())):
        assert listed(entry) == entry.source
        assert listed(replace(entry, mark="read")).endswith(" (read)")
    assert "lane 1 + lane 2 + lane 3" in text


def test_numbers_of_one_entry() -> None:
    lines = listing(Conditions(width=7.0, span=3.0))
    [line] = [line for line in lines if line.startswith("  IRC:6 70R tracked: ")]
    expected = "700 kN, 1 axle, 2.90 m over contacts, 1.20 m from the kerb to the tyre edge"
    assert line.endswith(expected)
    assert "    lane 1: 1 x EN 1991-2 LM1 TS, 9 kN/m2 on 3.00 m" in lines


def test_page_draws_every_vehicle_once(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "lists" / "vehicles.html"
    assert main(["vehicles", "--out", str(out)]) == 0
    html = out.read_text(encoding="utf-8")
    assert len(re.findall(r"<svg ", html)) == len(library)
    for vehicle in library.values():
        assert f"<strong>{vehicle.name}</strong>" in html
    ids = re.findall(r'\bid="([^"]+)"', html)
    assert len(ids) == len(set(ids))
    assert str(out) in capsys.readouterr().out


@pytest.mark.parametrize("arguments", [["--width", "1"], ["--span", "nan"]])
def test_mistakes_are_told(capsys: pytest.CaptureFixture[str], arguments: list[str]) -> None:
    assert main(["vehicles", *arguments]) == 2
    assert "--width is 2.5 to 100 m" in capsys.readouterr().err
