"""Formulas of study files: arithmetic and nothing else."""

import math

import numpy as np
import pytest

from pipelines.study.formula import FormulaError, read_formula


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("1 + 2 * 3", 7.0),
        ("-(a - b) ** 2 / 4", -1.0),
        ("max(a, b, 2) - min(a, b)", 2.0),
        ("sqrt(b) + abs(-a)", math.sqrt(3.0) + 1.0),
        ("cos(radians(60)) * exp(0) + log(1)", 0.5),
        ("1e-3 * 2", 2e-3),
    ],
)
def test_value(text: str, value: float) -> None:
    assert read_formula(text)({"a": 1.0, "b": 3.0}) == pytest.approx(value, rel=1e-15)


def test_names_in_order_of_appearance() -> None:
    assert read_formula("b + a * b + sqrt(c)").names == ("b", "a", "c")


def test_works_on_arrays() -> None:
    found = read_formula("max(a, b) / 2")({"a": np.array([1.0, 4.0]), "b": 2.0})
    assert found.tolist() == [1.0, 2.0]


def test_conditions() -> None:
    values = {"a": np.array([1.0, 2.0, 3.0]), "b": np.array([0.0, 1.0, 0.0])}
    assert read_formula("1 < a <= 3 and not b == 0 or a == 1")(values).tolist() == [
        True,
        True,
        False,
    ]


def test_unknown_values_stay_unknown() -> None:
    assert math.isnan(read_formula("a + 1")({"a": None}))
    assert math.isnan(read_formula("log(a)")({"a": -1.0}))
    assert read_formula("1 / a")({"a": 0.0}) == math.inf


@pytest.mark.parametrize(
    "text",
    [
        "__import__('os')",
        "a.real",
        "a[0]",
        "lambda: 1",
        "[1, 2]",
        "'text'",
        "True",
        "1 if a else 2",
        "open(1)",
        "sqrt(1, 2)",
        "max()",
        "min(*a)",
        "a := 2",
        "1 +",
        "",
        "a @ b",
        "a // b",
        "1j",
        "9" * 400,
        "(" * 400 + "1" + ")" * 400,
        "1" + " + 1" * 400,
    ],
)
def test_anything_else_is_refused(text: str) -> None:
    with pytest.raises(FormulaError, match="formula"):
        read_formula(text)


def test_powers_overflow_and_do_not_hang() -> None:
    assert read_formula("9 ** 9 ** 9 ** 9")({}) == math.inf


def test_a_name_that_is_not_there_or_is_a_text() -> None:
    with pytest.raises(FormulaError, match="c is not among a, b"):
        read_formula("a + c")({"a": 1.0, "b": 2.0})
    with pytest.raises(FormulaError, match="a stands for a text"):
        read_formula("a + 1")({"a": "rigid"})
