"""Hostile study and fit files: told as a mistake or computed, never a traceback."""

import json
import os
import random
import re
from collections import Counter
from dataclasses import replace
from pathlib import Path
from typing import Any

import pyarrow
import pytest
from pyarrow import parquet

from pipelines.cli.main import main
from pipelines.deck.examples import FOLDER
from pipelines.errors import JobError
from pipelines.study.design import design_rows
from pipelines.study.file import read_study
from pipelines.study.fit.file import FitError, read_fit
from pipelines.study.fit.run import fit_table, run_fit
from pipelines.study.run import run_study
from pipelines.study.table import Column, read_table, write_parquet
from pipelines.system.machine import locked
from tests.pipelines.mutants import mutant
from tests.pipelines.studies import DECK, FIT, HEAD, PARAMETERS, RESPONSES, SerialPool, columns

FEW = PARAMETERS.replace("[1, 100]", "[10]").replace("[0.2, 0.6]", "[0.2]")
SAMPLED = HEAD.replace('kind = "grid"', 'kind = "sobol"\nrows = 2\nseed = 1')
RANGES = re.sub(r"values = \[([^,]+), ([^]]+)\]", r"range = [\1, \2]", PARAMETERS)
LISTED = HEAD.replace('kind = "grid"', 'kind = "rows"\nfile = "rows.csv"')
NAMES = re.sub(r"values = .*\n", "", PARAMETERS)
STUDIES = [
    HEAD + FEW + RESPONSES,
    SAMPLED + RANGES + RESPONSES,
    LISTED + NAMES + RESPONSES,
    HEAD.replace("every = 0", "every = 1\nerror_target_percent = 50") + FEW + RESPONSES,
]
PACKAGED = (FOLDER / "studies" / "width-study.toml").read_text(encoding="utf-8")
# A mutant may ask for a hundred thousand decks: valid, and too many to wait for.
MOST_DECKS = 12
# A row that failed because of the program, not of its deck, gives the exception's name.
FAULT = re.compile(r"(?:^|,)\"?[A-Za-z]+(?:Error|Exception|Warning):")


def decks(path: Path) -> int:
    """Rows of a study's design; 0 where the file or its design has a mistake."""
    try:
        return len(design_rows(read_study(path)))
    except JobError:
        return 0


def judge(folder: Path, sources: list[str], seeds: range) -> Counter[int]:
    """Exit status of the study's command for each mutant; -1 for what is too large to compute."""
    found: Counter[int] = Counter()
    (folder / "deck.toml").write_text(DECK, encoding="utf-8")
    (folder / "rows.csv").write_text("k,load,edge_L\n1,50,0.2\n100,100,0.6\n", encoding="utf-8")
    base = FOLDER / "studies" / "width-deck.toml"
    (folder / base.name).write_text(base.read_text(encoding="utf-8"), encoding="utf-8")
    path = folder / "study.toml"
    for seed in seeds:
        path.write_bytes(mutant(sources, seed))
        try:
            if decks(path) > MOST_DECKS:
                found[-1] += 1
                continue
            status = main(["study", str(path), "--out", str(folder / "out")])
        except Exception as error:
            raise AssertionError(f"mutant {seed}: {error!r}") from error
        assert status in (0, 2), f"mutant {seed}: exit status {status}"
        if status == 0:
            text = (folder / "out" / "table.csv").read_text(encoding="utf-8")
            assert not FAULT.search(text), f"mutant {seed}: {text}"
        found[status] += 1
    return found


@pytest.fixture(autouse=True)
def _serial(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("pipelines.study.run.Workers", SerialPool)


def test_mutants_of_studies(tmp_path: Path) -> None:
    found = judge(tmp_path, STUDIES, range(36))
    # Both happen often enough for the test to mean something.
    assert found[2] > 8
    assert found[0] > 1


@pytest.mark.soak
@pytest.mark.parametrize("part", range(10))
def test_a_thousand_mutants_of_studies(tmp_path: Path, part: int) -> None:
    first = 1000 + 100 * part
    found = judge(tmp_path, [*STUDIES, PACKAGED], range(first, first + 100))
    assert found.total() == 100


def test_mutants_of_fits(tmp_path: Path) -> None:
    table = tmp_path / "table.parquet"
    write_parquet(table, columns(noise=0.02), {})
    path, found = tmp_path / "fit.toml", Counter[int]()
    polynomial = FIT.replace('"power law"', '"polynomial in logs"\ndegree = 2')
    for seed in range(40):
        path.write_bytes(mutant([FIT, polynomial], seed))
        words = ["fit", str(path), "--table", str(table), "--out", str(tmp_path / "out")]
        try:
            found[main(words)] += 1
        except Exception as error:
            raise AssertionError(f"mutant {seed}: {error!r}") from error
    assert set(found) == {0, 2}


# ---- Studies that are legal, and values that no float holds -------------------------------------

ONE = HEAD + RESPONSES[RESPONSES.index("[[response]]") : RESPONSES.index('name = "M"') - 13]
HUGE = "1" + 400 * "0"
SET = '[set]\n"slab.thickness_mm" = "{}"\n'


def parameter(words: str) -> str:
    return f'[[parameter]]\nname = "p"\n{words}\n'


def study(folder: Path, text: str, deck: str = DECK) -> int:
    """Exit status of a study."""
    (folder / "deck.toml").write_text(deck, encoding="utf-8")
    (folder / "study.toml").write_text(text, encoding="utf-8")
    return main(["study", str(folder / "study.toml"), "--out", str(folder / "out")])


def test_a_study_of_radii_may_have_a_straight_deck(tmp_path: Path) -> None:
    """inf is the deck's own word for it; JSON has none. Both rows are computed once."""
    text = ONE + parameter('key = "plan.radius_m"\nvalues = [inf, 50.0]')
    assert study(tmp_path, text) == 0
    table = (tmp_path / "out" / "table.csv").read_text(encoding="utf-8")
    assert [line.split(",")[4] for line in table.splitlines()] == ["p", "inf", "50.0"]
    assert run_study(tmp_path / "study.toml", tmp_path / "out").computed == 0


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (parameter(f'key = "slab.thickness_mm"\nvalues = [250, {HUGE}]'), "numbers up to 1e308"),
        (parameter(f'group = "h/L"\nvalues = [{HUGE}]'), "numbers up to 1e308"),
        (parameter(f"values = [{HUGE}]") + SET.format("250 + p"), "numbers up to 1e308"),
        (parameter("values = [nan]") + SET.format("250 + p"), "numbers up to 1e308"),
        (parameter("values = [1]") + SET.format(HUGE), "is not a formula"),
        (parameter("values = [1]") + SET.format("1e400 * p"), "no row gives a valid deck"),
    ],
)
def test_numbers_that_no_float_holds(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], words: str, told: str
) -> None:
    assert study(tmp_path, ONE + words) == 2
    assert told in capsys.readouterr().err


@pytest.mark.parametrize(
    ("cells", "told"),
    [
        (f"p\n{HUGE}\n", "no row gives a valid deck"),
        ('p\n250\n"' + 140_000 * "2", "line 3: cannot be read as CSV"),
        ("p\n" + 21_000_000 * "2", "allowed is 20 MB"),
    ],
)
def test_designs_in_files_that_hold_no_numbers(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], cells: str, told: str
) -> None:
    (tmp_path / "rows.csv").write_text(cells, encoding="utf-8")
    text = ONE.replace('kind = "grid"', 'kind = "rows"\nfile = "rows.csv"')
    assert study(tmp_path, text + parameter('key = "slab.thickness_mm"')) == 2
    assert told in capsys.readouterr().err


# ---- Files that a study names -------------------------------------------------------------------

DRAWN = DECK.replace("[plan]\n", "[plan]\ndxf = {}\n")
SURVEYED = DECK + "[survey]\nfile = {}\n"
BESIDE = "allowed is a file in the deck file's folder or below it"


@pytest.mark.parametrize("deck", [DRAWN, SURVEYED])
@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("/dev/zero", BESIDE),
        ("../other.csv", BESIDE),
        ("a\\b.csv", BESIDE),
        ("C:/b.csv", BESIDE),
        ("pipe", "is not a plain file"),
        ("folder", "is not a plain file"),
        ("nowhere", "there is no such file"),
        ("large", "MB at most"),
    ],
)
def test_files_that_a_study_names_are_read_within_bounds(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], deck: str, name: str, told: str
) -> None:
    (tmp_path / "folder").mkdir()
    if name == "pipe":
        if not hasattr(os, "mkfifo"):
            pytest.skip("no pipes with names on this system")
        os.mkfifo(tmp_path / "pipe")
    if name == "large":
        with (tmp_path / "large").open("wb") as file:
            file.truncate(3 * 10**9)  # takes no room on the disk
    text = ONE + parameter('key = "slab.thickness_mm"\nvalues = [250]')
    assert study(tmp_path, text, deck.replace("{}", json.dumps(name))) == 2
    assert told in capsys.readouterr().err


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with names on this system")
def test_a_design_is_no_pipe(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    os.mkfifo(tmp_path / "rows.csv")
    text = ONE.replace('kind = "grid"', 'kind = "rows"\nfile = "rows.csv"')
    assert study(tmp_path, text + parameter('key = "slab.thickness_mm"')) == 2
    assert "is not a plain file" in capsys.readouterr().err


# ---- Damage -------------------------------------------------------------------------------------


def test_damaged_rows_are_computed_again(tmp_path: Path) -> None:
    """Any bit of a row's file turned round, any value replaced: the row is computed again, and
    the table is the same."""
    text = ONE + parameter('key = "slab.thickness_mm"\nvalues = [250]')
    assert study(tmp_path, text) == 0
    (path,) = (tmp_path / "out" / "rows").glob("*.json")
    whole, table = path.read_bytes(), (tmp_path / "out" / "table.csv").read_bytes()
    entry: dict[str, Any] = json.loads(whole)
    chance = random.Random(3)
    damaged = [json.dumps(entry | {key: None}).encode() for key in ("values", "model", "errors")]
    damaged += [b"[" * 100_000, b"", whole[: len(whole) // 2]]
    damaged.append(re.sub(rb'("m": -?\d+\.)\d', rb"\g<1>" + b"x", whole).replace(b"x", b"7", 1))
    for _ in range(6):
        flipped = bytearray(whole)
        flipped[chance.randrange(len(whole))] ^= 1 << chance.randrange(8)
        damaged.append(bytes(flipped))
    again = 0
    for data in damaged:
        path.write_bytes(data)
        again += run_study(tmp_path / "study.toml", tmp_path / "out").computed
        assert (tmp_path / "out" / "table.csv").read_bytes() == table
        assert json.loads(path.read_bytes())["values"] == entry["values"]
    # A bit in the blanks between the words changes nothing that is told.
    assert again >= len(damaged) - 2


def test_two_studies_are_not_at_work_in_one_folder(tmp_path: Path) -> None:
    text = ONE + parameter('key = "slab.thickness_mm"\nvalues = [250]')
    assert study(tmp_path, text) == 0
    with (
        locked(tmp_path / "out" / "rows"),
        pytest.raises(JobError, match="another command is at work there"),
    ):
        run_study(tmp_path / "study.toml", tmp_path / "out")
    assert run_study(tmp_path / "study.toml", tmp_path / "out").computed == 0


def test_damage_to_a_table_is_told(tmp_path: Path) -> None:
    """Without its record a bit turned round is told, or the values are the same; with it always."""
    table = tmp_path / "table.parquet"
    write_parquet(table, columns(noise=0.02), {})
    sound, whole = read_table(table)[0], table.read_bytes()
    chance, told = random.Random(4), 0
    for _ in range(100):
        flipped = bytearray(whole)
        flipped[chance.randrange(len(whole))] ^= 1 << chance.randrange(8)
        table.write_bytes(flipped)
        try:
            found = read_table(table)[0]
        except (OSError, ValueError):
            told += 1
        else:
            values = {column.name: repr(column.values) for column in found}
            for column in sound:
                assert values.get(column.name, repr(column.values)) == repr(column.values)
    assert told > 30


def test_values_that_are_not_those_of_the_digest_are_told(tmp_path: Path) -> None:
    """Changed together with every checksum of Parquet's, as a bit of the footer may do."""
    table = tmp_path / "table.parquet"
    write_parquet(table, columns(noise=0.02), {})
    whole = parquet.read_table(table)
    parquet.write_table(whole, table)
    assert read_table(table)[0]
    parquet.write_table(whole.slice(1), table)
    with pytest.raises(ValueError, match="not those that were written"):
        read_table(table)


def test_types_that_parquet_s_reader_does_not_know_are_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def unknown(*_: object, **__: object) -> None:
        raise pyarrow.ArrowNotImplementedError("integers of 77 bits")

    table = tmp_path / "table.parquet"
    write_parquet(table, columns(noise=0.02), {})
    monkeypatch.setattr(parquet, "read_table", unknown)
    with pytest.raises(ValueError, match="integers of 77 bits"):
        read_table(table)


def test_a_table_that_its_record_does_not_know_is_told(tmp_path: Path) -> None:
    text = ONE + parameter('key = "slab.thickness_mm"\nvalues = [250]')
    assert study(tmp_path, text) == 0
    table = tmp_path / "out" / "table.parquet"
    data = bytearray(table.read_bytes())
    data[len(data) // 2] ^= 1
    table.write_bytes(data)
    (tmp_path / "fit.toml").write_text(FIT, encoding="utf-8")
    with pytest.raises(JobError, match="is damaged, or was changed since"):
        run_fit(tmp_path / "fit.toml", tmp_path / "fit", table)


# ---- Tables that a fit is given -----------------------------------------------------------------


def with_column(name: str, values: list[Any]) -> tuple[Column, ...]:
    return tuple(
        replace(column, values=tuple(values)) if column.name == name else column
        for column in columns(noise=0.02)
    )


def test_tables_of_a_fit_with_odd_columns(tmp_path: Path) -> None:
    (tmp_path / "fit.toml").write_text(FIT, encoding="utf-8")
    fit = read_fit(tmp_path / "fit.toml")
    n = len(columns()[0].values)
    for name in ("family", "geometry"):
        with pytest.raises(FitError, match=f"column {name} holds neither numbers nor texts"):
            fit_table(fit, with_column(name, [[1.0]] * n))
    # A hand method that gives nothing is one without a value.
    assert fit_table(fit, with_column("hand", [0.0] * n)).scores["hand, all rows"] is None
    numbers = fit_table(fit, with_column("row", [None] * n)).rows.number
    assert numbers.tolist() == list(range(1, n + 1))


def test_metadata_of_a_table_is_a_table(tmp_path: Path) -> None:
    path = tmp_path / "table.parquet"
    write_parquet(path, columns(), [1, 2])  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="its metadata is no table"):
        read_table(path)
