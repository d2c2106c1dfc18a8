"""Characteristic strength of cores by hand, EN 13791:2007 7.3 (from memory), and concrete of it."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.standards.cores import characteristic
from pipelines.standards.materials import KSI, concrete, concrete_of_cores


def mpa(*values: float) -> list[float]:
    return [1e6 * value for value in values]


@pytest.mark.parametrize(
    ("cores", "f_ck"),
    [
        ((31, 35, 39), 28),  # 35 - 7 against 31 + 4
        ((30, 45, 48, 45), 34),  # 42 - 7 = 35 against 30 + 4
        ((40,) * 7, 34),  # - 6
        ((40,) * 10, 35),  # - 5
        ((40,) * 15, 40 - 1.48 * 2),  # a deviation of 2 MPa at least
        ((36, 44) * 8, 40 - 1.48 * 4 * np.sqrt(16 / 15)),  # s = 4 sqrt(n/(n - 1))
        ((40,), 33),  # too few: the lowest less 7
        ((44, 40), 33),
    ],
)
def test_by_hand(cores: tuple[float, ...], f_ck: float) -> None:
    found = characteristic(mpa(*cores))
    assert found.f_ck == pytest.approx(1e6 * f_ck)
    assert f"of {len(cores)} core" in found.words
    assert ("this program's own choice" in found.words) == (len(cores) < 3)


@given(st.lists(st.floats(40.0, 80.0), min_size=1, max_size=20), st.floats(0.0, 10.0))
def test_never_above_the_mean_and_never_less_by_stronger_cores(
    cores: list[float], more: float
) -> None:
    found = characteristic(mpa(*cores)).f_ck
    assert found < 1e6 * np.mean(cores)
    assert characteristic(mpa(*(c + more for c in cores))).f_ck >= found * (1 - 1e-9)


def test_no_concrete() -> None:
    with pytest.raises(ValueError, match=r"characteristic strength of 4 MPa: allowed is 8 MPa"):
        characteristic(mpa(11.0))


def test_concrete_of_its_own_grades_strength_is_that_grade() -> None:
    """By each standard's formulas; the cube strength of IRC:112 is the cylinder's over 0.8."""
    pairs = (
        ("C35/45", "EN 1992", 35e6),
        ("M40", "IRC:112", 32e6),
        ("5 ksi", "AASHTO LRFD", 5 * KSI),
    )
    for name, standard, f_ck in pairs:
        grade = concrete(name, standard)  # type: ignore[arg-type]
        found = concrete_of_cores(f_ck, standard)  # type: ignore[arg-type]
        assert found.f_ck == pytest.approx(grade.f_ck)
        assert found.f_ct == pytest.approx(grade.f_ct)
        assert found.E_c == pytest.approx(grade.E_c)
        assert found.name.startswith("cores, ")


def test_no_stronger_than_the_highest_grade() -> None:
    assert concrete_of_cores(140e6, "EN 1992").f_ck == 90e6
    assert concrete_of_cores(140e6, "IRC:112").f_ck == 90e6
