"""The command `influence`: files and words."""

import csv
from pathlib import Path

import meshio
import numpy as np
import pytest

from pipelines.caution import TO_VERIFY
from pipelines.cli.main import main
from pipelines.model.influence import Wanted
from pipelines.numbers import length
from pipelines.report.data.influence import influence_result
from tests.pipelines.small_decks import BEAMS, MESH, PLAN, SLAB, small_deck

AT = ["--at", "1.5", "0.2"]


def test_files_hold_the_surface_and_the_drawing_the_wheels(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    deck = small_deck(tmp_path)
    out = tmp_path / "out"
    assert main(["influence", deck.path, *AT, "--component", "w", "--out", str(out)]) == 0
    rows = list(csv.reader((out / "influence.csv").read_text(encoding="utf-8").splitlines()))
    assert rows[0] == ["station_m", "offset_m", "w_mm_per_kN", "caution"]
    values = np.array([row[:3] for row in rows[1:]], dtype=float)
    assert {row[3] for row in rows[1:]} == {TO_VERIFY}
    result = influence_result(deck, Wanted(component="w", at=(1.5, 0.2)))
    # mm per kN, written with nine digits
    assert values[:, 2].max() == pytest.approx(result.ordinates.max(), rel=1e-8)
    assert 1e-3 < values[:, 2].max() < 1.0
    top = values[values[:, 2].argmax(), :2]
    np.testing.assert_allclose(top, [1.5, 0.2], atol=0.5)
    field = meshio.read(out / "influence.vtu")
    assert field.point_data["influence [mm per kN]"].max() == pytest.approx(
        result.ordinates.max(), rel=1e-12
    )
    svg = (out / "influence.svg").read_text(encoding="utf-8")
    assert "influence on w at station 1.5 m, offset 0.2 m" in svg
    words = capsys.readouterr().out
    held = result.worst[0].position
    assert held is not None
    place = held.single
    assert place is not None
    assert f"largest: {result.worst[0].value:.4g} mm" in words
    assert f"first axle at {length(place.station)}, {length(place.offset)}" in words


def test_resultant_and_side(tmp_path: Path) -> None:
    deck = small_deck(tmp_path)
    ends = [*AT, "--to", "1.5", "-0.8", "--component", "m_x"]
    base = ["influence", deck.path, "--out", str(tmp_path / "out")]
    assert main([*base, *ends]) == 0
    assert main([*base, *ends, "--resultant"]) == 0
    head = (tmp_path / "out" / "influence.csv").read_text(encoding="utf-8").splitlines()[0]
    assert head.endswith("m_x_kNm_per_kN,caution")
    assert main([*base, "--at", "3", "0.1", "--component", "q_x", "--side", "before"]) == 0


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ([*AT, "--component", "m_x", "--resultant"], "needs --to"),
        (["--at", "9", "9", "--component", "m_x"], "not on the slab"),
        ([*AT, "--to", "1.5", "0.2", "--component", "m_x"], "the same point"),
        ([*AT, "--component", "m_x", "--side", "after"], "no line divides"),
    ],
)
def test_mistakes_are_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], words: str
) -> None:
    deck = small_deck(tmp_path)
    assert main(["influence", deck.path, *arguments, "--out", str(tmp_path / "out")]) == 2
    assert words in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


def test_a_deck_without_traffic_has_a_surface_and_no_position(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "deck.toml"
    path.write_text(SLAB + PLAN + BEAMS + MESH, encoding="utf-8")
    out = str(tmp_path / "out")
    assert main(["influence", str(path), *AT, "--component", "m_y", "--out", out]) == 0
    assert "no load position is searched" in capsys.readouterr().out
