"""Factors of the combinations and the states of permanent actions."""

import pytest

from pipelines.standards.actions.combinations import (
    LIMIT_STATES,
    combination,
    combinations,
    permanent_states,
)
from pipelines.standards.actions.loads import TEMPERATURES
from pipelines.standards.factors import FACTORS


@pytest.mark.parametrize("standard", FACTORS)
def test_ultimate_factors_are_never_below_those_in_service(standard: str) -> None:
    by_state = {c.limit_state: c for c in combinations(FACTORS[standard])}  # type: ignore[index]
    ultimate, service = by_state["ULS"], by_state["characteristic"]
    assert ultimate.traffic > service.traffic == 1.0
    for action, (more, less) in ultimate.permanent.items():
        if standard == "AASHTO LRFD" and action in TEMPERATURES:
            continue  # gradients count in service alone (art. 3.4.1, from memory)
        assert more >= service.permanent[action][0]
        assert more > less
        # Shrinkage and settlements may come late, temperatures go: absent where favourable.
        assert (less == 0.0) == (action in ("shrinkage", "settlement", *TEMPERATURES))


def test_surfacing_varies_by_40_and_20_per_cent() -> None:
    # EN 1991-1-1 5.2.3(3), with gamma 1.35 and 1.0
    ultimate = combination(FACTORS["EN 1992"], "ULS")
    assert ultimate is not None
    assert ultimate.permanent["surfacing"] == pytest.approx((1.35 * 1.4, 0.8))
    service = combination(FACTORS["EN 1992"], "characteristic")
    assert service is not None
    assert service.permanent["surfacing"] == (1.4, 0.8)


def test_temperature_acts_beside_the_traffic_and_never_both_ways() -> None:
    """EN 1990 tables A2.4(B) and A2.1, from memory: 1.5 x 0.6, then psi_0 = 0.6 and psi_2 = 0.5."""
    factors = {c.limit_state: c.permanent["warming"] for c in combinations(FACTORS["EN 1992"])}
    assert factors["ULS"] == pytest.approx((0.9, 0.0))
    assert factors["characteristic"] == (0.6, 0.0)
    assert factors["frequent"] == factors["quasi-permanent"] == (0.5, 0.0)
    ultimate = combination(FACTORS["EN 1992"], "ULS")
    assert ultimate is not None
    states = permanent_states(ultimate, ["warming", "cooling"])
    assert [tuple(state.values()) for state in states] == [
        (pytest.approx(0.9), 0.0),
        (0.0, pytest.approx(0.9)),
        (0.0, 0.0),
    ]


def test_quasi_permanent_has_no_traffic() -> None:
    found = combination(FACTORS["EN 1992"], "quasi-permanent")
    assert found is not None
    assert found.traffic == 0.0
    assert combination(FACTORS["AASHTO LRFD"], "quasi-permanent") is None


def test_every_state_of_the_permanent_actions_once() -> None:
    ultimate = combination(FACTORS["IRC:112"], "ULS")
    assert ultimate is not None
    states = permanent_states(ultimate, ["self-weight", "surfacing", "self-weight", "none"])
    assert states == (
        {"self-weight": 1.35, "surfacing": 1.75},
        {"self-weight": 1.35, "surfacing": 1.0},
        {"self-weight": 1.0, "surfacing": 1.75},
        {"self-weight": 1.0, "surfacing": 1.0},
    )


def test_equal_factors_are_one_state() -> None:
    service = combination(FACTORS["EN 1992"], "characteristic")
    assert service is not None
    assert permanent_states(service, ["self-weight"]) == ({"self-weight": 1.0},)
    assert len(LIMIT_STATES) == 4
