"""Slabs that arch between beams: conditions one by one, and the punching load by hand."""

from dataclasses import replace

import pytest

from pipelines.standards.arching import (
    EMPIRICAL_STEEL,
    MOST_R,
    SlabOnBeams,
    arching,
    arching_conditions,
    empirical_conditions,
)

# Girders 2.4 m apart with flanges of 0.4 m under 0.2 m of concrete.
SLAB = SlabOnBeams(
    spans=(2.4, 2.2),
    widths=(0.4, 0.4, 0.4),
    overhangs=(1.0, 1.1),
    free_ends=(),
    joined=True,
    uniform=True,
    thickness=0.200,
    covers=0.085,
    cylinder=35e6,
    cube=43.75e6,
    skew=0.0,
)


def failing(slab: SlabOnBeams, of: str) -> list[str]:
    found = empirical_conditions(slab) if of == "empirical" else arching_conditions(slab)
    return [one.words for one in found if one.holds is False]


def test_effective_length_by_hand() -> None:
    """Between tips 2.0 m, and from a tip to the web 0.2 m."""
    assert SLAB.effective_length == pytest.approx(2.2)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"joined": False}, "composite"),
        ({"uniform": False}, "one thickness"),
        ({"spans": (4.0, 2.2)}, "6 to 18"),
        ({"spans": (1.3, 1.3)}, "6 to 18"),
        ({"spans": (4.5, 4.5), "thickness": 0.3}, "13.5 ft"),
        ({"covers": 0.100}, "outer faces"),
        ({"thickness": 0.177, "covers": 0.07}, "7 in"),
        ({"overhangs": (0.59, 1.1)}, "overhang"),
        ({"cylinder": 27.5e6}, "4 ksi"),
    ],
)
def test_each_condition_of_the_empirical_method(change: dict[str, object], words: str) -> None:
    assert failing(SLAB, "empirical") == []
    [only, *more] = failing(replace(SLAB, **change), "empirical")  # type: ignore[arg-type]
    assert words in only
    # an overhang is as many times thinner a slab
    assert all("overhang" in one for one in more)


def test_a_composite_parapet_is_to_be_confirmed() -> None:
    [overhang] = [
        one
        for one in empirical_conditions(replace(SLAB, overhangs=(0.8, 0.8)))
        if "overhang" in one.words
    ]
    assert overhang.holds is None


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"spans": (3.75, 2.0), "thickness": 0.26}, "3.7 m"),
        ({"spans": (3.1, 2.0)}, "at most 15"),
        ({"thickness": 0.159, "spans": (2.2, 2.2)}, "160 mm"),
        ({"cube": 39e6}, "40 MPa"),
        ({"overhangs": (0.95, 1.1)}, "1.0 m"),
        ({"free_ends": ("C1",)}, "carried"),
    ],
)
def test_each_condition_of_arching(change: dict[str, object], words: str) -> None:
    assert failing(SLAB, "arching") == []
    [only] = failing(replace(SLAB, **change), "arching")  # type: ignore[arg-type]
    assert words in only


def test_the_punching_load_by_hand() -> None:
    """f 40 MPa: strain 1 472e-6; R = 1 472e-6 (1000 / 160)^2 = 0.0575; k = 0.0525 (4.3 - 16.1
    sqrt(0.00748)) = 0.1526; rho = 0.1526 / 6 (160 / 120)^2 = 0.0452; 1.52 (300 + 120) 120 sqrt(40)
    4.52^0.25 = 706 kN."""
    found = arching(
        half_span=1.0, thickness=0.160, depth=0.120, strength=40e6, area=3.14159265 * 0.15**2
    )
    assert found is not None
    assert pytest.approx(0.0575, abs=5e-5) == found.R
    assert found.k == pytest.approx(0.1526, abs=1e-4)
    assert found.rho == pytest.approx(0.0452, abs=5e-5)
    assert found.load == pytest.approx(706e3, rel=2e-3)


def test_a_slender_slab_snaps_through() -> None:
    half = 0.160 * (MOST_R / 1472e-6) ** 0.5
    known = {"thickness": 0.160, "depth": 0.120, "strength": 40e6, "area": 0.1}
    assert arching(half_span=0.999 * half, **known) is not None
    assert arching(half_span=1.001 * half, **known) is None


def test_least_steel_is_that_of_the_print() -> None:
    """0.27 and 0.18 in2/ft are 570 and 380 mm2/m, rounded (SI edition)."""
    assert EMPIRICAL_STEEL["bottom"] == pytest.approx(570e-6, rel=5e-3)
    assert EMPIRICAL_STEEL["top"] == pytest.approx(380e-6, rel=5e-3)
