"""Design moments per load position, enveloped, against every position looked at one by one."""

from collections.abc import Sequence
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.bars.demand.moments import LAYER_ROWS, Demand, MomentEnvelopes
from pipelines.bars.demand.wood_armer import layer_moment, needed, skew_components
from pipelines.standards.actions.combinations import Combination, permanent_states
from pipelines.standards.actions.loads import Action
from pipelines.standards.sources import Source
from tests.oracles.design_moments import wood_armer

PERMANENT: dict[Action, tuple[float, float]] = {
    "self-weight": (1.35, 1.0),
    "surfacing": (1.89, 0.8),
    "parapet": (1.35, 1.0),
    "other permanent": (1.35, 1.0),
}
COMBINATION = Combination(
    standard="EN 1992",
    limit_state="ULS",
    permanent=PERMANENT,
    traffic=1.35,
    source=Source("EN 1992", "test"),
)


def block(moments: np.ndarray) -> Any:
    """A response of which only m_x, m_y, m_xy are read."""
    rest = np.zeros((1, *moments.shape[1:]))
    return SimpleNamespace(fields=np.concatenate([rest, moments, rest, rest]))


def demand_of(
    permanent: dict[Action, np.ndarray], blocks: Sequence[np.ndarray], angle: float = np.pi / 2
) -> Demand:
    watch = MomentEnvelopes([COMBINATION], permanent, angle)
    first = 0
    for moments in blocks:
        watch(first, block(moments))
        first += moments.shape[2]
    (demand,) = watch.demands()
    return demand


def one_by_one(
    permanent: dict[Action, np.ndarray], moments: np.ndarray, angle: float
) -> np.ndarray:
    """Wood and Armer at every position, the empty deck and every permanent state, enveloped."""
    empty = np.zeros((*moments.shape[:2], 1))
    traffic = COMBINATION.traffic * np.concatenate([empty, moments], axis=2)
    found = []
    for state in permanent_states(COMBINATION, list(permanent)):
        total = np.sum([f * permanent[a] for a, f in state.items()], axis=0)
        m_x, m_y, m_xy = traffic + total[:, :, None]
        exact = wood_armer(m_x, m_y, m_xy, angle)
        found.append(
            [
                exact.bottom_1.max(axis=1),
                exact.bottom_2.max(axis=1),
                -exact.top_1.min(axis=1),
                -exact.top_2.min(axis=1),
            ]
        )
    return np.asarray(np.max(found, axis=0))


def random_moments(seed: int) -> tuple[dict[Action, np.ndarray], np.ndarray]:
    rng = np.random.default_rng(seed)
    permanent: dict[Action, np.ndarray] = {
        "self-weight": 10 * rng.normal(size=(3, 12)),
        "surfacing": 4 * rng.normal(size=(3, 12)),
    }
    return permanent, 40 * rng.normal(size=(3, 12, 30))


@pytest.mark.parametrize(
    ("moments", "bottom", "top"),
    [
        ((50.0, 20.0, 10.0), (60.0, 30.0), (0.0, 0.0)),
        ((50.0, -5.0, 10.0), (60.0, 5.0), (0.0, 7.0)),
        ((-50.0, 5.0, 10.0), (0.0, 7.0), (60.0, 5.0)),
        ((-40.0, -30.0, 20.0), (0.0, 0.0), (60.0, 50.0)),
        ((10.0, -30.0, 25.0), (30.8333, 0.0), (15.0, 55.0)),
    ],
)
def test_hand_worked_values(
    moments: tuple[float, ...], bottom: tuple[float, ...], top: tuple[float, ...]
) -> None:
    # Wood, Concrete 2(2) 1968, worked by hand with orthogonal bars
    values = np.array(moments)[:, None]
    found = [float(layer_moment(values, k)[0]) for k in range(4)]
    np.testing.assert_allclose(found, [*bottom, *top], atol=5e-5)


@given(st.integers(0, 10_000), st.sampled_from([90.0, 60.0, 120.0]))
def test_never_below_the_rule_at_every_position(seed: int, degrees: float) -> None:
    permanent, moments = random_moments(seed)
    angle = float(np.radians(degrees)) if degrees != 90.0 else np.pi / 2
    demand = demand_of(permanent, [moments], angle)
    exact = one_by_one(permanent, moments, angle)
    # 1e-9: sums of moments of size 1e2 in another order
    assert (demand.values >= exact - 1e-9).all()
    assert (demand.least <= exact + 1e-9).all()


def test_exact_where_the_governing_position_needs_both_directions() -> None:
    permanent, moments = random_moments(3)
    demand = demand_of(permanent, [moments])
    exact = one_by_one(permanent, moments, np.pi / 2)
    same = np.isclose(demand.values, demand.least, rtol=1e-12)
    assert same.mean() > 0.5
    np.testing.assert_allclose(demand.values[same], exact[same], rtol=1e-12)


def test_one_direction_alone_is_lowered() -> None:
    """Hogging across in the whole block: bars along need less than m_x + |m_xy|."""
    permanent: dict[Action, np.ndarray] = {"self-weight": np.array([[0.0], [-50.0], [0.0]])}
    moments = np.array([[[20.0, 20.0]], [[-5.0, -5.0]], [[10.0, -10.0]]])
    demand = demand_of(permanent, [moments])
    exact = one_by_one(permanent, moments, np.pi / 2)
    assert demand.values[0, 0] == pytest.approx(exact[0, 0], rel=1e-12)
    assert demand.values[0, 0] < 1.35 * 30.0


@given(st.integers(0, 10_000))
def test_at_most_the_rule_on_enveloped_components(seed: int) -> None:
    permanent, moments = random_moments(seed)
    demand = demand_of(permanent, [moments])
    assert demand.of_envelope is not None
    assert (demand.values <= demand.of_envelope + 1e-9).all()


def test_twist_of_another_position_does_not_count() -> None:
    """Sagging and twist at different positions: the shortcut adds them, the rule does not."""
    permanent: dict[Action, np.ndarray] = {"self-weight": np.zeros((3, 1))}
    moments = np.array([[[80.0, 10.0]], [[40.0, 10.0]], [[0.0, 30.0]]])
    demand = demand_of(permanent, [moments])
    assert demand.of_envelope is not None
    assert demand.values[0, 0] == pytest.approx(1.35 * 80.0, rel=1e-12)
    assert demand.of_envelope[0, 0] == pytest.approx(1.35 * 110.0, rel=1e-12)


def test_blocks_make_no_difference_to_the_exact_rows() -> None:
    permanent, moments = random_moments(5)
    whole = demand_of(permanent, [moments])
    parts = demand_of(permanent, [moments[:, :, :7], moments[:, :, 7:8], moments[:, :, 8:]])
    exact = np.isclose(whole.values, whole.least, rtol=1e-12)
    np.testing.assert_allclose(parts.values[exact], whole.values[exact], rtol=1e-12)
    np.testing.assert_array_equal(parts.at[exact], whole.at[exact])


def test_governing_position_and_state_give_the_value_back() -> None:
    permanent, moments = random_moments(8)
    demand = demand_of(permanent, [moments[:, :, :20], moments[:, :, 20:]])
    for k in range(len(LAYER_ROWS)):
        for point in range(moments.shape[1]):
            state = demand.states[int(demand.state[k, point])]
            total = sum(f * permanent[a][:, point] for a, f in state.items())
            number = int(demand.at[k, point])
            if number >= 0:
                total = total + COMBINATION.traffic * moments[:, point, number]
            np.testing.assert_allclose(demand.coexisting[k, :, point], total, rtol=1e-12)


@given(st.integers(0, 10_000))
def test_relieved_is_below_every_position(seed: int) -> None:
    """Wood and Armer's a + |t| of each position in the state that governs, the empty deck too."""
    permanent, moments = random_moments(seed)
    demand = demand_of(permanent, [moments[:, :, :11], moments[:, :, 11:]])
    for k in range(len(LAYER_ROWS)):
        for point in range(moments.shape[1]):
            state = demand.states[int(demand.state[k, point])]
            total = sum(f * permanent[a][:, point] for a, f in state.items())
            loads = np.concatenate([np.zeros((3, 1)), moments[:, point]], axis=1)
            m = total[:, None] + COMBINATION.traffic * loads
            sign = 1.0 if k < 2 else -1.0
            least = (sign * m[k % 2] + np.abs(m[2])).min()
            assert demand.relieved[k, point] <= least + 1e-9


def test_steady_twist_does_not_widen_the_range() -> None:
    """One position, m_x 20 to 50 with a twist of 30 throughout: the bars' range is that of m_x."""
    permanent: dict[Action, np.ndarray] = {"self-weight": np.array([[20.0], [0.0], [30.0]])}
    moments = np.array([[[30.0 / 1.35]], [[0.0]], [[0.0]]])
    demand = demand_of(permanent, [moments])
    # the weight with 1.35: 27 + 40.5 and 30 more
    assert demand.values[0, 0] == pytest.approx(97.5)
    assert demand.relieved[0, 0] == pytest.approx(67.5)


def test_demand_never_falls_with_the_load() -> None:
    permanent, moments = random_moments(13)
    demand = demand_of(permanent, [moments])
    heavier = demand_of(permanent, [1.2 * moments])
    assert (heavier.values >= demand.values - 1e-9).all()
    assert heavier.values.sum() > demand.values.sum()


def test_favourable_permanent_actions_count() -> None:
    """Traffic lifts the point: self-weight with its lower factor governs at the top."""
    permanent: dict[Action, np.ndarray] = {"self-weight": np.array([[20.0], [5.0], [0.0]])}
    moments = np.array([[[-60.0]], [[-10.0]], [[0.0]]])
    demand = demand_of(permanent, [moments])
    assert demand.values[2, 0] == pytest.approx(1.35 * 60.0 - 1.0 * 20.0, rel=1e-12)
    assert demand.states[int(demand.state[2, 0])] == {"self-weight": 1.0}


def test_skew_triple_keeps_orthogonal_moments() -> None:
    moments = np.arange(6.0).reshape(3, 2)
    assert skew_components(moments, np.pi / 2) is moments
    nearly = skew_components(moments, np.pi / 2 - 1e-9)
    # 1e-7: cot of an angle 1e-9 off
    np.testing.assert_allclose(nearly, moments, atol=1e-7)


def test_needed_is_zero_without_tension() -> None:
    assert float(needed(np.array([-5.0]), np.array([3.0]), np.array([1.0]))[0]) == 0.0


def test_another_point_stands_for_one_beside_a_singular_place() -> None:
    moments = np.zeros((3, 3, 2))
    moments[0, :, 0] = [10e3, 500e3, 20e3]
    nothing: dict[Action, np.ndarray] = {"self-weight": np.zeros((3, 3))}
    watch = MomentEnvelopes([COMBINATION], nothing, read_at=np.array([[0, 2, 2]] * 4))
    watch(0, block(moments))
    (demand,) = watch.demands()
    expected = 1.35 * np.array([10e3, 20e3, 20e3])
    np.testing.assert_allclose(demand.values[0], expected)
    np.testing.assert_allclose(demand.coexisting[0, 0], expected)
    np.testing.assert_allclose(demand.layer(("bottom", "x")), expected)
