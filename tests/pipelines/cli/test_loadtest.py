"""`deckslab loadtest`: what it prints and writes; a mistake leaves everything as it was."""

import csv
import json
import tomllib
from pathlib import Path

import numpy as np
import pytest

from pipelines.caution import CAUTION, TO_VERIFY
from pipelines.cli.main import main
from pipelines.deck.reading.deck_file import read_deck
from pipelines.loadtest.loaded_deck import LoadedDeck, build_for
from tests.pipelines.load_test_decks import (
    TRUE,
    accuracies,
    deck_with,
    load_test,
    read_again,
    readings_file,
)

FILES = {"loadtest.html", "loadtest.csv", "loadtest.json", "fitted.toml", "loadtest.files.json"}


@pytest.fixture
def noisy(tmp_path: Path) -> Path:
    """A deck file with a load test that was made with hidden stiffnesses and noise."""
    deck = deck_with(tmp_path, load_test())
    [test] = deck.load_tests
    exact = LoadedDeck(deck, test, build_for(deck, test)).values(np.log(TRUE))
    noise = np.random.default_rng(2).standard_normal(len(exact))
    made = read_again(test, exact + accuracies(test.readings) * noise)
    deck_with(tmp_path, load_test(), readings=readings_file(made))
    return tmp_path / "deck.toml"


def test_measured_beside_computed_and_what_was_found(
    noisy: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "out"
    assert main(["loadtest", str(noisy), "--out", str(out)]) == 0
    said = capsys.readouterr().out
    assert said.startswith(
        "Load test May: 27 readings\nWith the deck as its file describes it, the"
    )
    assert "explains the readings" in said
    assert {path.name for path in out.iterdir() if path.is_file()} == FILES
    found = json.loads((out / "loadtest.json").read_text(encoding="utf-8"))
    assert found["residual_too_large"] is False
    for one, true in zip(found["found"], TRUE, strict=True):
        assert one["low"] < true < one["high"]
    tables = tomllib.loads((out / "fitted.toml").read_text(encoding="utf-8"))["fitted"]
    assert [one["of"] for one in tables] == ["slab E", "beam EI", "beam EI"]
    assert tables[1]["on"] == ["C1", "C3"]
    with (out / "loadtest.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    test = read_deck(noisy).load_tests[0]
    assert len(rows) == len(test.readings)
    assert float(rows[0]["measured"]) == pytest.approx(1e3 * test.readings[0].value, rel=1e-5)
    for row in rows:
        difference = float(row["computed"]) - float(row["measured"])
        assert float(row["difference"]) == pytest.approx(difference, rel=1e-4, abs=1e-4)
        # What was found answers within the accuracy and its own: four deviations.
        assert abs(float(row["difference_fitted"])) < 4.0 * float(row["accuracy"])
    strain = next(row for row in rows if row["quantity"] == "strain")
    # E t^2 / 6 of a metre, 30 GPa and 250 mm, times the strain of an outer fibre.
    moment = 30e9 * 0.25**2 / 6.0 * 1e-6 * float(strain["measured"]) / 1e3
    assert float(strain["measured_moment_kNm_m"]) == pytest.approx(moment, rel=1e-5)
    assert found["caution"] == CAUTION
    assert {row["caution"] for row in rows} == {TO_VERIFY}
    assert TO_VERIFY in (out / "fitted.toml").read_text(encoding="utf-8")
    page = (out / "loadtest.html").read_text(encoding="utf-8")
    assert CAUTION.replace("'", "&#x27;") in page or CAUTION in page
    for words in ("Stiffnesses found", "Measured beside computed", "middle beam", "[[fitted]]"):
        assert words in page


def test_the_run_takes_what_was_found(
    noisy: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = noisy.read_text(encoding="utf-8") + '[[case]]\nname = "w"\nself_weight = true\n'
    noisy.write_text(text + '[[probe]]\nname = "p"\nat_m = [1.5, 0.0]\n', encoding="utf-8")
    fitted = tmp_path / "fitted.toml"
    fitted.write_text('[[fitted]]\nof = "slab E"\nfactor = 0.5\n', encoding="utf-8")
    w, tested = [], []
    for more in ([], ["--fitted", str(fitted)]):
        assert main(["run", str(noisy), "--out", str(tmp_path / "run"), "--quiet", *more]) == 0
        summary = json.loads((tmp_path / "run" / "summary.json").read_text(encoding="utf-8"))
        w.append(summary["probes"]["p"]["cases"]["w"]["w_mm"])
        with (tmp_path / "run" / "load_tests.csv").open(encoding="utf-8", newline="") as file:
            rows = list(csv.DictReader(file))
        assert {row["computed_fitted"] for row in rows} == {""}  # a run seeks nothing
        tested.append([float(r["computed"]) for r in rows if r["quantity"] == "deflection"])
    assert 1.05 * w[0] < w[1] < 2.0 * w[0]
    assert len(tested[0]) == 18
    assert 1.05 * max(tested[0]) < max(tested[1]) < 2.0 * max(tested[0])
    page = (tmp_path / "run" / "report.html").read_text(encoding="utf-8")
    assert "stiffnesses found from a load test: slab E × 0.5" in page
    for words in ("Load tests", "the model gives", "Deflections, measured beside computed"):
        assert words in page
    capsys.readouterr()


def test_a_mistake_leaves_the_folder_as_it_was(
    noisy: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "out"
    out.mkdir()
    (out / "loadtest.csv").write_text("mine", encoding="utf-8")
    readings = tmp_path / "readings.csv"
    readings.write_text(readings.read_text(encoding="utf-8").replace("P2", "P7"), encoding="utf-8")
    assert main(["loadtest", str(noisy), "--out", str(out)]) == 2
    assert 'readings.csv: line 11, position = "P7": no position of' in capsys.readouterr().err
    for option in (["--test", "June"], []):
        text = noisy.read_text(encoding="utf-8").partition("[[loadtest]]")[0]
        noisy.write_text(text, encoding="utf-8")
        assert main(["loadtest", str(noisy), "--out", str(out), *option]) == 2
        assert "has no [[loadtest]]" in capsys.readouterr().err
    assert [path.name for path in out.iterdir()] == ["loadtest.csv"]
    assert (out / "loadtest.csv").read_text(encoding="utf-8") == "mine"


def test_keys_tell_the_table_and_the_columns(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["keys", "loadtest"]) == 0
    said = capsys.readouterr().out
    for words in ("[[loadtest]] fit", "Readings under load (CSV)", "strain_um_m", "station_m"):
        assert words in said
