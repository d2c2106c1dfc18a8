"""What a fit gives to others: forms compared, coverage of what was not seen, limits, formulas that
run elsewhere, figures for print."""

import csv
import math
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.spatial import Delaunay
from scipy.stats import binomtest

from pipelines.study.fit.figures import figures
from pipelines.study.fit.file import read_fit
from pipelines.study.fit.publish import python_text
from pipelines.study.fit.result import FitResult
from pipelines.study.fit.rows import Rows
from pipelines.study.fit.run import FILES, fit_table, run_fit
from pipelines.study.fit.score import FORMS, Compared, coverage
from pipelines.study.fit.validity import Validity, validity_of
from pipelines.study.table import Column, write_parquet
from tests.pipelines.studies import FIT, columns

DEGREE = {"polynomial": "degree = 2", "polynomial in logs": "degree = 2"}


def fitted(folder: Path, form: str = "power law", noise: float = 0.05) -> FitResult:
    path = folder / "fit.toml"
    text = FIT.replace('"power law"', f'"{form}"\n{DEGREE.get(form, "")}')
    path.write_text(text, encoding="utf-8")
    return fit_table(read_fit(path), columns(noise))


def test_forms_stand_in_one_table_on_the_same_rows(tmp_path: Path) -> None:
    result = fitted(tmp_path)
    assert {one.form for one in result.forms} == set(FORMS)
    for one in result.forms:  # monomials of two inputs up to the degree
        assert one.coefficients == math.comb(2 + one.form.degree, 2)
    assert result.forms[0].form == result.fit.form
    own = result.scores["mean, held out"]
    assert own is not None
    assert own.missing > 0  # outside the polygon: no form is judged there
    assert result.forms[0].score == replace(own, missing=0)
    # Each by itself, its own fit file's score where both have the same limits.
    for form in ("polynomial", "polynomial in logs"):
        alone = fitted(tmp_path, form).curves.mean
        inside = result.rows.held & result.validity.inside(result.rows.x)
        ratio = alone.at(result.rows.x[inside]) / result.rows.y[inside]
        score = next(o.score for o in result.forms if (o.form.name, o.form.degree) == (form, 2))
        assert score is not None
        assert score.worst == pytest.approx(float(np.abs(ratio - 1.0).max()))
    lines = result.text().splitlines()
    assert sum(line.startswith("polynomial") for line in lines) == 5


def test_a_form_that_rows_do_not_support_is_told(tmp_path: Path) -> None:
    (tmp_path / "fit.toml").write_text(FIT, encoding="utf-8")

    def forms(rows: Callable[[int], bool]) -> dict[tuple[str, int], Compared]:
        pick = [k for k in range(120) if rows(k)]
        table = tuple(
            Column(c.name, "", "", tuple(c.values[k] for k in pick)) for c in columns(0.02)
        )
        found = fit_table(read_fit(tmp_path / "fit.toml"), table).forms
        return {(one.form.name, one.form.degree): one for one in found}

    # three levels of a: no cube of it, the other nine terms of two inputs
    three = forms(lambda k: k % 12 in (0, 5, 11))
    assert (three["polynomial", 3].reason, three["polynomial", 3].coefficients) == ("", 9)
    few = forms(lambda k: k % 15 == 0)
    assert few["polynomial", 2].reason == ""
    assert "for 10 terms: more rows" in few["polynomial", 3].reason


def test_a_polynomial_comes_back_with_its_limit(tmp_path: Path) -> None:
    """y = 0.2 + 0.5 a + 0.1 k, met exactly where the limit says so."""
    path = tmp_path / "fit.toml"
    limit = '[[limit]]\nat = { a = 1.0, k = 1.0 }\nvalue = 0.8\nwhy = "known"\n'
    path.write_text(FIT.replace('"power law"', '"polynomial"\ndegree = 1') + limit, "utf-8")
    table = {c.name: c.values for c in columns()}
    a, k = np.array(table["a"]), 1.0 + 2.0 / np.array(table["stiffness"])
    table["y"] = tuple((0.2 + 0.5 * a + 0.1 * k).tolist())
    result = fit_table(read_fit(path), tuple(Column(n, "", "", v) for n, v in table.items()))
    for curve in (result.curves.mean, result.curves.safe):
        assert curve.coefficients == pytest.approx([0.2, 0.5, 0.1], rel=1e-3)
    assert "b/L = 0.2 + 0.5 (a/L) + 0.1 (1 + 2 D L/EI)" in result.text()


# ---- Coverage ----------------------------------------------------------------------------------


def test_coverage_is_what_was_not_seen_by_geometries(tmp_path: Path) -> None:
    result = fitted(tmp_path, noise=0.1)
    rows, safe = result.rows, result.predicted["safe"]
    use = rows.held & np.isfinite(safe)
    found = result.coverage
    assert found is not None
    assert found.n == use.sum()
    assert found.safe == pytest.approx(np.mean(safe[use] <= rows.y[use]))
    assert found.geometries == len({int(g) for g in rows.geometry[use]}) < found.n
    assert f"of {found.n} rows not seen, of {found.geometries} geometries" in result.text()


@pytest.mark.parametrize(("good", "count"), [(18, 20), (20, 20), (0, 5)])
def test_the_interval_of_a_coverage_is_exact(good: int, count: int) -> None:
    """Every row its own geometry: the binomial's interval of another program."""
    rows = Rows(
        number=np.arange(count),
        x=np.ones((count, 1)),
        y=np.ones(count),
        held=np.ones(count, dtype=bool),
        geometry=np.arange(count),
        families={},
        compare={},
    )
    found = coverage(rows, np.where(np.arange(count) < good, 0.9, 1.1), True)
    theirs = binomtest(good, count).proportion_ci(0.95, method="exact")
    assert found is not None
    assert (found.low, found.high) == pytest.approx((theirs.low, theirs.high), rel=1e-9)


# ---- Limits ------------------------------------------------------------------------------------


def limits(x: Any, total: list[float]) -> Validity:
    return validity_of(np.asarray(x, dtype=float), np.array(total))


def test_the_polygon_is_that_of_the_leading_inputs() -> None:
    draw = np.random.default_rng(3)
    x = draw.standard_normal((40, 3)) * [1.0, 50.0, 0.01]
    validity = limits(x, [0.1, 0.7, 0.4])
    assert validity.leading == (1, 2)
    asked = draw.standard_normal((500, 3)) * [1.5, 90.0, 0.02]
    simplices = Delaunay(x[:, [1, 2]] / [50.0, 0.01])
    inside = simplices.find_simplex(asked[:, [1, 2]] / [50.0, 0.01]) >= 0
    low, high = x.min(axis=0), x.max(axis=0)
    inside &= np.all((asked >= low) & (asked <= high), axis=1)
    assert 50 < inside.sum() < 450
    assert np.array_equal(validity.inside(asked), inside)
    assert validity.inside(x).all()  # its own rows, on the border too


def test_rows_on_a_line_have_ranges_alone() -> None:
    line = np.linspace(1.0, 2.0, 9)
    validity = limits(np.stack([line, 3.0 * line], axis=1), [0.5, 0.5])
    assert validity.leading is None
    assert validity.inside(np.array([[1.5, 5.9], [1.5, 6.1]])).tolist() == [True, False]
    assert limits(line[:, None], [1.0]).leading is None


# ---- Files -------------------------------------------------------------------------------------


@pytest.mark.parametrize("form", ["power law", "polynomial in logs", "polynomial"])
def test_the_formula_in_python_gives_what_was_stated(tmp_path: Path, form: str) -> None:
    fitted(tmp_path, form)
    write_parquet(tmp_path / "table.parquet", columns(0.05), {"title": "t", "licence": "CC0"})
    out = tmp_path / "out"
    result = run_fit(tmp_path / "fit.toml", out, tmp_path / "table.parquet")
    assert (out / "fit.txt").read_text(encoding="utf-8").startswith(result.text())
    text = (out / "formula.py").read_text(encoding="utf-8")
    assert "Licence of the data: CC0." in text
    assert "qualified engineer" in text
    module: dict[str, Any] = {}
    exec(compile(text, "formula.py", "exec"), module)
    refused = 0
    for k, (a, stiff) in enumerate(result.rows.x.tolist()):
        for line in ("mean", "safe"):
            stated = result.predicted[line][k]
            if math.isfinite(stated):
                assert module[line](a, stiff) == pytest.approx(stated, rel=1e-12)
                assert module["outside"](a, stiff) == ""
            else:
                refused += 1
                with pytest.raises(ValueError, match=r"polygon|hold from"):
                    module[line](a, stiff)
    assert refused > 0
    with pytest.raises(ValueError, match=r"a = 9: the formulas hold from 0\.1 to 0\.5"):
        module["mean"](9.0, 2.0)
    rows = list(csv.DictReader((out / "formula.csv").read_text(encoding="utf-8").splitlines()))
    a, k = result.rows.x[0].tolist()
    logs = form != "polynomial"
    of = "ln(b/L)" if logs else "b/L"
    total = 0.0
    for row in rows:
        powers = float(row["exponent of a/L"]), float(row["exponent of 1 + 2 D L/EI"])
        base = (math.log(a), math.log(k)) if logs else (a, k)
        total += float(row[f"mean {of}"]) * base[0] ** powers[0] * base[1] ** powers[1]
    value = math.exp(total) if logs else total
    assert value == pytest.approx(float(result.curves.mean.at(result.rows.x[:1])[0]), rel=1e-12)


def test_names_that_python_has_for_itself(tmp_path: Path) -> None:
    text = FIT.replace('name = "a"', 'name = "lambda"\nformula = "a"').replace(
        'name = "k"', 'name = "log"'
    )
    (tmp_path / "fit.toml").write_text(text, encoding="utf-8")
    write_parquet(tmp_path / "table.parquet", columns(0.05), {"licence": 'of """ him \\'})
    result = run_fit(tmp_path / "fit.toml", tmp_path / "out", tmp_path / "table.parquet")
    module: dict[str, Any] = {}
    exec((tmp_path / "out" / "formula.py").read_text(encoding="utf-8"), module)
    inside = int(np.flatnonzero(np.isfinite(result.predicted["mean"]))[0])
    asked = dict(zip(("lambda_", "log_"), result.rows.x[inside].tolist(), strict=True))
    assert module["mean"](**asked) == pytest.approx(result.predicted["mean"][inside], rel=1e-12)


def test_units_stand_in_words_and_figures(tmp_path: Path) -> None:
    text = FIT.replace('label = "b/L"', 'label = "width"')
    (tmp_path / "fit.toml").write_text(text, encoding="utf-8")
    units = {"y": "m", "a": "mm"}
    table = tuple(replace(c, unit=units.get(c.name, "")) for c in columns(0.05))
    result = fit_table(read_fit(tmp_path / "fit.toml"), table)
    assert result.labels == ("width [m]", "a/L [mm]", "1 + 2 D L/EI")  # a group has none
    assert "Units: width [m], a/L [mm], 1 + 2 D L/EI." in result.text()
    drawings = figures(result)
    assert "computed width [m]" in drawings["predicted"].svg
    assert all("a/L [mm]" in drawings[name].svg for name in drawings.keys() - {"predicted"})
    assert "The mean of width [m];" in python_text(result, "")


def test_figures_for_print(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "fit.toml").write_text(FIT, encoding="utf-8")
    write_parquet(tmp_path / "table.parquet", columns(0.05), {})
    asked = (tmp_path / "fit.toml", tmp_path / "out", tmp_path / "table.parquet")
    run_fit(*asked)
    pages = (tmp_path / "out" / "figures.pdf").read_bytes()
    assert pages.startswith(b"%PDF")
    for width, _ in re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", pages):
        assert float(width) <= 510.0  # 18 cm: the text of an A4 page, at full size
    assert len(re.findall(rb"/MediaBox", pages)) == 5
    monkeypatch.setattr("pipelines.study.fit.run.has_pdf", lambda: False)
    run_fit(*asked)
    there = {path.name for path in (tmp_path / "out").iterdir()}
    assert there == {*FILES, "fit.files.json"} - {"figures.pdf"}
