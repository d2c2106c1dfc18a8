"""Fits: known formulas come back, limits hold, what was held out was not seen, and it is told."""

import csv
import json
import math
import re
import xml.etree.ElementTree as ET
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import linprog

from pipelines.errors import DeckError
from pipelines.study.fit.file import FitError, Form, read_fit
from pipelines.study.fit.forms import exponents, mean_curve, problem, quantile_curve
from pipelines.study.fit.run import FILES, FitResult, fit_table, run_fit
from pipelines.study.table import Column, write_parquet
from tests.pipelines.studies import COEFFICIENTS, FIT, columns

HALF_LIMIT = '\nlimit = [{ at = { a = 1.0 }, value = 1.0, why = "half" }]'


def fitted(folder: Path, *changes: tuple[str, str], noise: float = 0.0) -> FitResult:
    text = FIT
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    path = folder / "fit.toml"
    path.write_text(text, encoding="utf-8")
    return fit_table(read_fit(path), columns(noise))


def test_a_power_law_comes_back(tmp_path: Path) -> None:
    result = fitted(tmp_path)
    # four printed figures
    assert result.curves.mean.coefficients == pytest.approx(COEFFICIENTS, rel=5e-4)
    assert result.curves.safe.coefficients == pytest.approx(COEFFICIENTS, rel=5e-4)
    score = result.scores["mean, held out"]
    assert score is not None
    assert score.worst < 1e-3
    assert repr(result) == "<Fit A width: b/L by power law, at most 0.0 % off unseen>"


def test_a_polynomial_in_logs_comes_back(tmp_path: Path) -> None:
    result = fitted(tmp_path, ('"power law"', '"polynomial in logs"\ndegree = 2'))
    powers = [tuple(p) for p in result.curves.mean.powers.tolist()]
    assert powers == [(0, 0), (1, 0), (0, 1), (2, 0), (1, 1), (0, 2)]
    found = dict(zip(powers, result.curves.mean.coefficients, strict=True))
    assert [found[p] for p in powers[:3]] == pytest.approx(COEFFICIENTS, rel=5e-4)
    assert [found[p] for p in powers[3:]] == pytest.approx([0.0] * 3, abs=1e-9)


def test_powers_that_few_levels_cannot_tell_apart_are_left_out() -> None:
    x = np.stack([np.linspace(1.0, 3.0, 20), np.tile([1.0, 2.0], 10)], axis=1)
    y = 2.0 * x[:, 0] ** 0.5 * x[:, 1] ** 0.3
    of = problem(Form("polynomial in logs", 2), x, y)
    assert [tuple(p) for p in of.powers.tolist()] == [(0, 0), (1, 0), (0, 1), (2, 0), (1, 1)]
    assert mean_curve(of).at(x) == pytest.approx(y, rel=1e-9)
    constant = np.stack([x[:, 0], np.ones(20)], axis=1)
    with pytest.raises(FitError, match="do not tell the terms apart"):
        problem(Form("power law", 1), constant, y)


@pytest.mark.parametrize(("n", "degree", "count"), [(1, 1, 2), (3, 2, 10), (4, 3, 35)])
def test_number_of_terms(n: int, degree: int, count: int) -> None:
    # all monomials up to a degree: (n + degree) over degree
    assert len(exponents(n, degree)) == count == math.comb(n + degree, degree)


@pytest.mark.parametrize(("side", "beyond"), [("below", 1.0), ("above", -1.0)])
def test_the_safe_line_leaves_the_stated_share_beyond_it(
    tmp_path: Path, side: str, beyond: float
) -> None:
    result = fitted(tmp_path, ('"below"', f'"{side}"'), noise=0.1)
    score = result.scores["safe, fitted"]
    assert score is not None
    # of n rows at most as many as there are terms lie on the line itself
    assert abs(score.unsafe - 0.1) <= 3 / score.n
    mean = result.curves.mean.at(result.rows.x)
    assert np.all(beyond * (mean - result.curves.safe.at(result.rows.x)) > 0.0)


def test_the_safe_line_is_the_quantile_of_the_programme_in_residuals() -> None:
    """Koenker and Bassett's own programme: q u + (1 - q) v least, with X b + u - v = ln y."""
    rng = np.random.default_rng(3)
    x = rng.uniform(1.0, 4.0, (60, 2))
    y = 0.4 * x[:, 0] ** 0.7 / x[:, 1] * np.exp(0.1 * rng.standard_normal(60))
    of, share = problem(Form("power law", 1), x, y), 0.2
    n, k = of.X.shape
    cost = np.concatenate([np.zeros(k), np.full(n, share), np.full(n, 1.0 - share)])
    bounds = [(None, None)] * k + [(0.0, None)] * (2 * n)
    equations = np.hstack([of.X, np.eye(n), -np.eye(n)])
    least = linprog(cost, A_eq=equations, b_eq=np.log(y), bounds=bounds).x[:k]
    # noise leaves one solution; both end with the tolerances of the solver, 1e-7
    assert quantile_curve(of, share).coefficients == pytest.approx(least, abs=1e-6)


def test_bias_and_variation_of_known_noise(tmp_path: Path) -> None:
    score = fitted(tmp_path, noise=0.1).scores["mean, fitted"]
    assert score is not None
    # ln of the ratio is normal with 0.1: mean exp(0.005), variation 0.1; 90 rows
    assert score.bias == pytest.approx(math.exp(0.005), abs=0.02)
    assert score.variation == pytest.approx(0.1, abs=0.025)
    assert score.low < 1.0 < score.high
    assert score.worst == max(1.0 - score.low, score.high - 1.0)


def test_hand_methods_stand_beside_it_where_they_apply(tmp_path: Path) -> None:
    score = fitted(tmp_path).scores["hand, all rows"]
    assert score is not None
    assert (score.n, score.missing) == (80, 40)
    assert score.bias == pytest.approx(1.2)
    assert score.unsafe == 1.0


def test_limits_hold_exactly(tmp_path: Path) -> None:
    limit = '\n[[limit]]\nat = { a = 1.0, k = 1.0 }\nvalue = 0.7\nwhy = "rigid beams, full load"\n'
    result = fitted(tmp_path, ('label = "1 + 2 D L/EI"', 'label = "K"' + limit), noise=0.05)
    for curve in (result.curves.mean, result.curves.safe):
        # four printed figures of the constant
        assert curve.at(np.array([[1.0, 1.0]])) == pytest.approx(0.7, rel=2e-4)
    assert "b/L = 0.7 at a/L = 1, K = 1: rigid beams, full load" in result.text()
    twice = limit + limit.replace("0.7", "0.9")
    with pytest.raises(FitError, match="limits contradict"):
        fitted(tmp_path, ('label = "1 + 2 D L/EI"', 'label = "K"' + twice))


def test_what_was_not_varied_is_printed_with_the_limits(tmp_path: Path) -> None:
    text = fitted(tmp_path, ("quantile = 0.1", 'quantile = 0.1\nholds_for = ["five bays"]')).text()
    limits = text.split("\nLimits\n")[1].split("\n\n")[0]
    assert limits.split("\n")[-1] == "  five bays"


def test_held_out_geometries_are_not_seen(tmp_path: Path) -> None:
    path = tmp_path / "fit.toml"
    path.write_text(FIT, encoding="utf-8")
    table = columns(0.05)
    before = fit_table(read_fit(path), table)
    held = before.rows.held
    assert held.sum() == 4 * math.ceil(0.25 * 30)  # whole geometries of four rows
    geometry = np.array(next(c.values for c in table if c.name == "geometry"))
    assert not set(geometry[held]) & set(geometry[~held])
    spoilt = tuple(
        Column(c.name, "", "", tuple(np.where(held, 9.0, c.values).tolist()))
        if c.name == "y"
        else c
        for c in table
    )
    after = fit_table(read_fit(path), spoilt)
    assert after.curves.mean.coefficients.tolist() == before.curves.mean.coefficients.tolist()
    assert after.scores["mean, held out"] != before.scores["mean, held out"]


def test_the_formula_is_not_used_outside_its_limits(tmp_path: Path) -> None:
    result = fitted(tmp_path, ('by = ["geometry"]\nshare = 0.25', 'by = ["a"]\nshare = 0.2'))
    ends = [row for row in range(120) if result.rows.held[row]]
    inside = np.isfinite(result.predicted["mean"])
    low, high = result.validity.ranges[0]
    for row in ends:
        a = result.rows.x[row, 0]
        assert inside[row] == (low * (1 - 1e-9) <= a <= high * (1 + 1e-9))


def test_families_are_left_out_in_turn(tmp_path: Path) -> None:
    left = fitted(tmp_path).left
    assert [(one.family, one.level) for one in left] == [("family", "soft"), ("family", "stiff")]
    for one in left:
        assert one.mean is not None
        assert one.mean.worst < 5e-3  # the law holds beyond the levels fitted
        assert one.mean.n == 60
    result = fitted(tmp_path, ('["family"]', '["family", "a"]'))
    assert len(result.left) == 14


def test_the_printed_formula_gives_the_stated_numbers(tmp_path: Path) -> None:
    result = fitted(tmp_path, noise=0.05)
    line = next(x for x in result.text().splitlines() if x.startswith("  b/L ="))
    numbers = re.fullmatch(r"  b/L = exp\((\S+)\) \(a/L\)\^(\S+) \(1 \+ 2 D L/EI\)\^(\S+)", line)
    assert numbers is not None
    c0, c1, c2 = (float(g) for g in numbers.groups())
    a, k = result.rows.x.T
    printed = math.exp(c0) * a**c1 * k**c2
    inside = np.isfinite(result.predicted["mean"])
    assert printed[inside] == pytest.approx(result.predicted["mean"][inside], rel=1e-12)
    score = result.scores["mean, held out"]
    assert score is not None
    ratio = (printed / result.rows.y)[result.rows.held & inside]
    assert score.worst == pytest.approx(float(np.abs(ratio - 1.0).max()))
    assert f"Worst error on held-out geometries: {100 * score.worst:.1f} %." in result.text()


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('response = "y"', 'response = "z"', "no column z"),
        ('response = "y"', 'response = "family"', "holds texts"),
        ('"1 + 2 / stiffness"', '"1 + 2 / stiff"', "stiff is not among"),
        ('"1 + 2 / stiffness"', '"a * 2"', "do not tell the terms apart"),
        ('"1 + 2 / stiffness"', '"stiffness - 50"', "is not positive in every row"),
        ("quantile = 0.1", 'quantile = 0.1\nwhere = "a > 9"', "no row counts"),
    ],
)
def test_tables_that_do_not_support_the_fit(tmp_path: Path, old: str, new: str, words: str) -> None:
    with pytest.raises(FitError, match=words):
        fitted(tmp_path, (old, new))


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('safe = "below"', 'save = "below"', 'the nearest known one is "safe"'),
        ('safe = "below"', 'safe = "under"', 'allowed is "below" or "above"'),
        ('name = "k"', 'name = "a"', "is given twice"),
        ('"1 + 2 / stiffness"', '"1 +"', "is not a formula"),
        ("[[input]]", '[[limit]]\nat = { a = 1.0 }\nvalue = 1.0\nwhy = "x"\n[[input]]', "for each"),
    ],
)
def test_mistakes_of_a_fit_file(tmp_path: Path, old: str, new: str, words: str) -> None:
    with pytest.raises(DeckError) as error:
        fitted(tmp_path, (old, new))
    assert words in str(error.value)


def written(folder: Path) -> tuple[Path, Path]:
    """A fit file and the table that it does not name."""
    (folder / "fit.toml").write_text(FIT, encoding="utf-8")
    write_parquet(folder / "table.parquet", columns(0.05), {"title": "t"})
    return folder / "fit.toml", folder / "table.parquet"


def test_files_of_a_fit(tmp_path: Path) -> None:
    fit, table = written(tmp_path)
    out = tmp_path / "out"
    result = run_fit(fit, out, table)
    assert (out / "fit.txt").read_text(encoding="utf-8").startswith(result.text())
    entry = json.loads((out / "fit.json").read_text(encoding="utf-8"))
    assert entry["mean"] == result.curves.mean.coefficients.tolist()
    assert entry["from"]["title"] == "t"
    rows = list(csv.DictReader((out / "fit.csv").read_text(encoding="utf-8").splitlines()))
    assert [float(row["computed"]) for row in rows] == result.rows.y.tolist()
    assert sum(row["held_out"] == "true" for row in rows) == result.rows.held.sum()
    for name in ("predicted", "residuals", "partial"):
        drawing = (out / f"{name}.svg").read_text(encoding="utf-8")
        assert ET.fromstring(drawing).tag.endswith("svg")
        if name != "residuals":
            assert "hand" in drawing  # the hand method stands on the same axes
        else:
            assert "1 + 2 D L/EI" in drawing
    again = tmp_path / "again"
    run_fit(fit, again, table)
    for file in (out / name for name in FILES):
        assert file.read_bytes() == (again / file.name).read_bytes()


def test_command_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from pipelines.cli.main import main

    told: Callable[[], str] = lambda: "".join(capsys.readouterr())  # noqa: E731
    fit, table = written(tmp_path)
    out = tmp_path / "out"
    assert main(["fit", str(fit), "--table", str(table), "--out", str(out)]) == 0
    text = told()
    assert "Worst error on held-out geometries" in text
    assert "qualified engineer" in text
    assert main(["fit", str(fit), "--out", str(out)]) == 2
    assert "names no table" in told()
    assert main(["fit", str(fit), "--table", str(fit), "--out", str(out)]) == 2
    assert "not a table of a study" in told()
