"""Designs: every row of a grid, one row per slice, even sequences, rows of a file."""

from pathlib import Path

import numpy as np
import pytest

from pipelines.errors import DeckError
from pipelines.study.design import design_rows
from pipelines.study.file import read_study
from pipelines.study.spec import StudyError
from tests.pipelines.studies import HEAD, RESPONSES, write_study

SAMPLED = """
[[parameter]]
name = "k"
group = "EI_b/(D L)"
range = [1, 1000]
scale = "log"
[[parameter]]
name = "thickness"
key = "slab.thickness_mm"
range = [200, 300]
[[parameter]]
name = "J"
key = "line.C*.beam.J_cm4"
values = [0, 200]
"""


def rows_of(folder: Path, design: str, parameters: str) -> list[dict[str, float]]:
    head = HEAD.replace('kind = "grid"', design)
    study = read_study(write_study(folder, head, parameters, RESPONSES))
    return [{k: float(v) for k, v in row.items()} for row in design_rows(study)]


def test_a_grid_has_every_combination_in_order(tmp_path: Path) -> None:
    grid = SAMPLED.replace("range = [1, 1000]", "range = [1, 1000]\nsteps = 4").replace(
        "range = [200, 300]", "values = [200, 300]"
    )
    rows = rows_of(tmp_path, 'kind = "grid"', grid)
    assert [row["k"] for row in rows] == [k for k in (1.0, 10.0, 100.0, 1000.0) for _ in range(4)]
    assert [tuple(row.values()) for row in rows[:4]] == [
        (1.0, 200.0, 0.0),
        (1.0, 200.0, 200.0),
        (1.0, 300.0, 0.0),
        (1.0, 300.0, 200.0),
    ]


def test_latin_hypercube_has_one_row_in_every_slice(tmp_path: Path) -> None:
    rows = rows_of(tmp_path, 'kind = "latin hypercube"\nrows = 40\nseed = 3', SAMPLED)
    slices = np.floor(40 * np.log10([row["k"] for row in rows]) / 3.0).astype(int)
    assert sorted(slices.tolist()) == list(range(40))
    slices = np.floor(40 * (np.array([row["thickness"] for row in rows]) - 200) / 100).astype(int)
    assert sorted(slices.tolist()) == list(range(40))
    assert sorted(row["J"] for row in rows) == [0.0] * 20 + [200.0] * 20


def test_a_crossed_parameter_has_every_value_in_each_sampled_row(tmp_path: Path) -> None:
    plain = rows_of(
        tmp_path,
        'kind = "sobol"\nrows = 8\nseed = 3',
        SAMPLED.partition('[[parameter]]\nname = "J"')[0],
    )
    crossed = rows_of(tmp_path, 'kind = "sobol"\nrows = 8\nseed = 3', SAMPLED + "crossed = true\n")
    assert crossed == [row | {"J": J} for row in plain for J in (0.0, 200.0)]


@pytest.mark.parametrize(
    ("design", "wrong"),
    [
        ('kind = "grid"', "belongs to a sampled design"),
        ('kind = "sobol"\nrows = 65536\nseed = 3', "131072 decks; allowed are 100 000"),
    ],
)
def test_crossed_where_it_cannot_be(tmp_path: Path, design: str, wrong: str) -> None:
    with pytest.raises(DeckError, match=wrong):
        rows_of(tmp_path, design, SAMPLED + "crossed = true\n")


def test_sobol_halves_every_pair_of_parameters_evenly(tmp_path: Path) -> None:
    rows = rows_of(tmp_path, 'kind = "sobol"\nrows = 64\nseed = 3', SAMPLED)
    quarters = {(r["k"] > 1000**0.5, r["thickness"] > 250.0): 0 for r in rows}
    for r in rows:
        quarters[r["k"] > 1000**0.5, r["thickness"] > 250.0] += 1
    assert sorted(quarters.values()) == [16, 16, 16, 16]


def test_saltelli_changes_one_parameter_at_a_time(tmp_path: Path) -> None:
    rows = rows_of(tmp_path, 'kind = "saltelli"\nrows = 16\nseed = 3', SAMPLED)
    assert len(rows) == 16 * 5
    for point in range(16):
        a, b, *mixed = rows[5 * point : 5 * point + 5]
        assert a["k"] != b["k"]
        for name, one in zip(("k", "thickness", "J"), mixed, strict=True):
            assert one == a | {name: b[name]}


@pytest.mark.parametrize("kind", ["latin hypercube", "sobol", "saltelli"])
def test_the_seed_is_the_design(tmp_path: Path, kind: str) -> None:
    first, again, other = (
        rows_of(tmp_path, f'kind = "{kind}"\nrows = 8\nseed = {seed}', SAMPLED)
        for seed in (1, 1, 2)
    )
    assert first == again != other
    assert all(float(f"{v:.6g}") == v for row in first for v in row.values())


def test_rows_of_a_file(tmp_path: Path) -> None:
    (tmp_path / "rows.csv").write_text("thickness, k\n250, 10\n260, 2.5\n", encoding="utf-8")
    parameters = '[[parameter]]\nname = "k"\ngroup = "EI_b/(D L)"\n' + (
        '[[parameter]]\nname = "thickness"\nkey = "slab.thickness_mm"\n'
    )
    rows = rows_of(tmp_path, 'kind = "rows"\nfile = "rows.csv"', parameters)
    assert rows == [{"k": 10.0, "thickness": 250.0}, {"k": 2.5, "thickness": 260.0}]
    for text, words in (
        ("k\n1\n", "needed are k, thickness"),
        ("k,thickness\n1\n", "line 2: not 2 cells"),
        ("k,thickness\n1,2,3\n", "line 2: not 2 cells"),
        ("k,thickness\n", "no rows"),
    ):
        (tmp_path / "rows.csv").write_text(text, encoding="utf-8")
        with pytest.raises(StudyError, match=words):
            rows_of(tmp_path, 'kind = "rows"\nfile = "rows.csv"', parameters)


@pytest.mark.parametrize(
    ("design", "words"),
    [
        ('kind = "sobol"\nrows = 12\nseed = 1', "2, 4, 8, 16"),
        ('kind = "sobol"\nrows = 8', "seed: is missing"),
        ('kind = "saltelli"\nrows = 12\nseed = 1', "a saltelli design has 2, 4"),
        ('kind = "saltelli"\nrows = 32768\nseed = 1', "163840 decks"),
        ('kind = "latin hypercube"\nseed = 1', "rows: is missing"),
        ('kind = "grid"\nrows = 8', "no such key"),
        ('kind = "grid"', "steps: a range on a grid, or crossed"),
        ('kind = "rows"', "needs a CSV file"),
        ('kind = "random"', 'allowed is "grid"'),
    ],
)
def test_designs_that_are_refused(tmp_path: Path, design: str, words: str) -> None:
    with pytest.raises(DeckError, match=words):
        rows_of(tmp_path, design, SAMPLED)
