"""Dimensionless groups: each sets its keys by its formula, and the patches keep their place."""

from copy import deepcopy
from math import radians, tan
from typing import Any

import pytest

from pipelines.study.groups import (
    GROUPS,
    Reference,
    ReferenceMistake,
    geometry,
    set_groups,
)

DECK: dict[str, Any] = {
    "slab": {"thickness_mm": 200.0, "E_GPa": 30.0, "poisson": 0.2},
    "plan": {
        "stations_m": [0.0, 2.0, 5.0, 9.0],
        "offsets_m": [-3.0, 3.0],
        "overhang_m": {"left": 0.5},
    },
    "line": [
        {
            "on": "C*",
            "support": "beam",
            "beam": {"E_GPa": 210.0, "G_GPa": 80.0, "I_cm4": 50000.0, "J_cm4": 100.0},
        }
    ],
    "case": [
        {
            "name": "axle",
            "patches": [
                {"at_m": [3.5, 0.0], "size_m": [0.3, 0.6], "load_kN": 50.0},
                {"at_m": [3.5, 1.8], "size_m": [0.3, 0.6], "load_kN": 50.0},
            ],
        }
    ],
}
REFERENCE = Reference(bay=2, cases=("axle",), beams="C*")


def after(**values: float) -> tuple[dict[str, Any], dict[str, float]]:
    """The deck with groups set (names with _ for what keywords cannot hold) and its geometry."""
    named = {
        "bay": "bay",
        "L": "L",
        "ratio": "span ratio",
        "S": "S/L",
        "h": "h/L",
        "EI": "EI_b/(D L)",
        "GJ": "GJ_b/(D L)",
        "skew": "skew",
        "a": "a/L",
        "b": "b/L",
        "patch": "patch/L",
        "e": "edge distance/L",
        "across": "edge distance/S",
        "place": "place in bay",
    }
    assert set(named.values()) == set(GROUPS)
    deck = deepcopy(DECK)
    reference = set_groups(deck, REFERENCE, {named[k]: v for k, v in values.items()})
    return deck, geometry(deck, reference)


def test_geometry_of_the_base() -> None:
    found = geometry(DECK, REFERENCE)
    D = 30e6 * 0.2**3 / 12 / 0.96
    expected = {"L": 3.0, "S": 6.0, "h": 0.2, "D": D, "a": 0.3, "b": 0.6, "x": 3.5, "y": 0.0}
    expected |= {"bay": 2.0, "u": 3.5, "e": 3.5, "skew": 0.0, "EI": 210e6 * 5e-4, "GJ": 80e6 * 1e-6}
    assert found == pytest.approx(expected, rel=1e-12)


def test_nothing_set_changes_nothing() -> None:
    assert after()[0] == DECK


@pytest.mark.parametrize(
    ("values", "key", "expected"),
    [
        ({"bay": 3}, "L", 4.0),
        ({"bay": 3}, "u", 7.0),
        ({"bay": 1, "place": 0.25}, "x", 0.5),
        ({"bay": 3, "L": 2.0}, "u", 3.5),
        ({"L": 6.0}, "L", 6.0),
        ({"S": 3.0}, "S", 9.0),
        ({"h": 0.1}, "h", 0.3),
        ({"EI": 20.0}, "EI", 20.0 * 30e6 * 0.2**3 / 12 / 0.96 * 3.0),
        ({"GJ": 0.5}, "GJ", 0.5 * 30e6 * 0.2**3 / 12 / 0.96 * 3.0),
        ({"a": 0.1}, "a", 0.3),
        ({"b": 0.1}, "b", 0.3),
        ({"patch": 0.3}, "b", 0.9),
        ({"patch": 0.3}, "a", 0.45),
        ({"e": 0.5}, "e", 1.5),
        ({"S": 4.0, "across": 0.25}, "e", 3.0),
        ({"place": 0.25}, "u", 2.75),
        ({"skew": 30.0}, "skew", 30.0),
    ],
)
def test_each_group_sets_its_own(values: dict[str, float], key: str, expected: float) -> None:
    _, found = after(**values)
    assert found[key] == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(("bay", "wrong"), [(4, "has 3 bays"), (1.5, "whole number")])
def test_a_bay_that_is_not_there(bay: float, wrong: str) -> None:
    with pytest.raises(ReferenceMistake, match=wrong):
        after(bay=bay)


def test_stiffness_group_uses_the_new_thickness_and_span() -> None:
    _, found = after(L=4.0, h=0.1, EI=7.0)
    assert found["EI"] / (found["D"] * found["L"]) == pytest.approx(7.0, rel=1e-12)
    assert found["D"] == pytest.approx(30e6 * 0.4**3 / 12 / 0.96, rel=1e-12)


def test_span_scales_every_bay_and_ratio_sets_the_others() -> None:
    assert after(L=6.0)[0]["plan"]["stations_m"] == pytest.approx([0.0, 4.0, 10.0, 18.0])
    assert after(ratio=0.8)[0]["plan"]["stations_m"] == pytest.approx([0.0, 2.4, 5.4, 7.8])


def test_patches_keep_place_in_bay_edge_distance_and_gauge() -> None:
    deck, found = after(L=6.0, S=2.0, skew=30.0)
    first, second = (patch["at_m"] for patch in deck["case"][0]["patches"])
    assert found["e"] == pytest.approx(3.5)
    assert (found["u"] - 4.0) / 6.0 == pytest.approx(0.5)
    assert first[0] == pytest.approx(found["u"] + found["y"] * tan(radians(30.0)))
    assert [second[0] - first[0], second[1] - first[1]] == pytest.approx([0.0, 1.8])


def test_right_edge_counts_from_the_other_side() -> None:
    deck = deepcopy(DECK)
    reference = Reference(bay=2, cases=("axle",), edge="right")
    assert geometry(deck, reference)["e"] == pytest.approx(1.2)
    set_groups(deck, reference, {"edge distance/L": 0.5})
    assert [p["at_m"][1] for p in deck["case"][0]["patches"]] == pytest.approx([-0.3, 1.5])


def test_orthotropic_and_cracked_rigidities() -> None:
    deck = deepcopy(DECK)
    deck["slab"]["stiffness"] = {"x": 0.5}
    assert geometry(deck, REFERENCE)["D"] == pytest.approx(0.5 * 30e6 * 0.2**3 / 12 / 0.96)
    deck["slab"]["rigidity_kNm"] = {"Dx": 123.0, "Dy": 1.0, "D1": 0.1, "Dxy": 1.0}
    assert geometry(deck, REFERENCE)["D"] == 123.0


def test_what_the_base_does_not_have() -> None:
    with pytest.raises(ReferenceMistake, match="bay 4: the deck has 3 bays"):
        geometry(DECK, Reference(bay=4, cases=("axle",)))
    with pytest.raises(ReferenceMistake, match="needs \\[reference\\] beams"):
        set_groups(deepcopy(DECK), Reference(bay=2, cases=("axle",)), {"EI_b/(D L)": 1.0})
