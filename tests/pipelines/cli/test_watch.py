"""`run --watch`: saved files are run again, mistakes are told, Ctrl-C ends it with success."""

import json
import os
import threading
from pathlib import Path
from typing import Any

import psutil
import pytest

from pipelines import run
from pipelines.cli import watch
from pipelines.cli.main import main
from pipelines.deck.reading.named_files import files_of
from pipelines.system.beside import here
from tests.helpers import alike
from tests.pipelines.small_decks import BEAMS, COARSE, FEW, PLAN, PROBES, SLAB

TEXT = "".join((SLAB, PLAN, BEAMS, FEW, PROBES, COARSE))


def test_saved_it_is_run_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    deck, out = tmp_path / "deck.toml", tmp_path / "out"
    deck.write_text(TEXT, encoding="utf-8")
    moved = TEXT.replace("at_m = [1.5, 0.2]", "at_m = [1.4, 0.2]")
    saved = iter([TEXT + "nonsense = 1\n", moved])
    summaries = []
    drawers = []

    def written(*of: Any, **named: Any) -> None:
        drawers.append(named["apart"])
        write_results(*of, **named)

    write_results = run.write_results
    monkeypatch.setattr(run, "write_results", written)

    def edited(path: Path, _: watch.Stamps) -> None:
        summaries.append((out / "summary.json").read_text(encoding="utf-8"))
        text = next(saved, None)
        if text is None:
            raise KeyboardInterrupt
        path.write_text(text, encoding="utf-8")

    monkeypatch.setattr(watch, "wait_for_change", edited)
    assert main(["run", str(deck), "--out", str(out), "--watch"]) == 0
    told = capsys.readouterr()
    assert "nonsense: unknown key" in told.err
    assert summaries[1] == summaries[0]  # the last results stay
    assert "everything computed" in told.out
    assert "computed again: probes;" in told.out
    # the finding comes before the files
    again = told.out[told.out.index("computed again") :]
    assert again.index("under lorry") < again.index("Written: ")
    # all is as of a run by itself
    fresh = tmp_path / "fresh"
    assert main(["run", str(deck), "--out", str(fresh), "--quiet"]) == 0
    alone = (fresh / "summary.json").read_text(encoding="utf-8")
    # but for rounding: a kernel sums the probes' columns otherwise where there are fewer
    assert alike(json.loads(summaries[2]), json.loads(alone))
    assert json.loads(summaries[2])["probes"] != json.loads(summaries[0])["probes"]
    # bars would be drawn by one process all along, those of the run by itself in none
    assert drawers == [drawers[0], drawers[0], here]
    assert drawers[0] is not here


@pytest.mark.parametrize("count", [1, 2])
def test_bars_are_drawn_in_one_process_beside(monkeypatch: pytest.MonkeyPatch, count: int) -> None:
    monkeypatch.setattr(run, "DRAWING", ())
    monkeypatch.setattr(run, "processors", lambda: count)
    with run.drawing_apart() as apart:
        there = apart(os.getpid)
        assert apart(os.getpid) == there
        assert (there == os.getpid()) == (count == 1)
    assert psutil.pid_exists(there) == (count == 1)


@pytest.mark.parametrize("more", [["--json"], ["--fail-on", "short"]])
def test_it_is_for_no_script(
    more: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    deck = tmp_path / "deck.toml"
    deck.write_text(TEXT, encoding="utf-8")
    with pytest.raises(SystemExit) as stopped:
        main(["run", str(deck), "--out", str(tmp_path), "--watch", *more])
    assert stopped.value.code == 2
    assert "--watch ends by Ctrl-C alone" in capsys.readouterr().err


def replaced(path: Path, text: str) -> None:
    """Written as many editors do: another file takes its place."""
    new = path.with_suffix(".new")
    new.write_text(text, encoding="utf-8")
    os.replace(new, path)


def test_what_counts_as_saved(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(watch, "LOOK", 0.01)
    deck, readings = tmp_path / "deck.toml", tmp_path / "readings.csv"
    deck.write_text('[survey]\nfile = "readings.csv"\n', encoding="utf-8")
    readings.write_text("a", encoding="utf-8")
    for save in (
        lambda: deck.write_text('[survey]\nfile = "readings.csv"\n\n', encoding="utf-8"),
        lambda: replaced(deck, '[survey]\nfile = "readings.csv"\n'),
        lambda: readings.write_text("ab", encoding="utf-8"),
        readings.unlink,
    ):
        seen = watch.stamps(deck)
        waiting = threading.Thread(target=watch.wait_for_change, args=(deck, seen), daemon=True)
        waiting.start()
        waiting.join(0.1)
        assert waiting.is_alive()
        save()
        waiting.join(10.0)
        assert not waiting.is_alive()


def test_a_file_that_is_gone_is_waited_for(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(watch, "LOOK", 0.01)
    deck = tmp_path / "deck.toml"
    deck.write_text("a = 1\n", encoding="utf-8")
    seen = watch.stamps(deck)
    deck.unlink()
    waiting = threading.Thread(target=watch.wait_for_change, args=(deck, seen), daemon=True)
    waiting.start()
    waiting.join(0.1)
    assert waiting.is_alive()
    deck.write_text("a = 12\n", encoding="utf-8")
    waiting.join(10.0)
    assert not waiting.is_alive()


def test_the_files_that_a_deck_names(tmp_path: Path) -> None:
    deck = tmp_path / "deck.toml"
    assert files_of(deck) == (deck,)
    for text, names in (
        ('[plan]\ndxf = "a.dxf"\n[survey]\nfile = "b.csv"\n', ["a.dxf", "b.csv"]),
        ("plan = 1\n[survey]\nfile = 2\n", []),
        ("not TOML", []),
    ):
        deck.write_text(text, encoding="utf-8")
        assert files_of(deck) == (deck, *(tmp_path / name for name in names))
