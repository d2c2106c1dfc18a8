"""Design moments of the bars, formed for each load position and then enveloped.

At one load position the moments are those of permanent actions and traffic together, with factors:
m = sum gamma_i m_i + gamma_Q m_Q. Wood and Armer's rule is applied to that m, for every load
position and every state of the permanent factors, and the largest value is kept with its position.

Twice the work is saved by a bound. With (a, b, t) in place of (m_x, m_y, m_xy), as `triple` makes
them also for skew bars, a bar must resist at most max(a + t, a - t): linear in the moments, so
that its largest value over a block of positions adds up from permanent actions and traffic. Only
where this bound passes the value kept so far are the positions of the block looked at one by one.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipelines.bars import Layer
from pipelines.combinations import (
    LIMIT_STATES,
    Combination,
    combination,
    combined_cases,
    permanent_states,
)
from pipelines.deck import Action, Deck
from pipelines.responses import Response

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Rows of a demand, as `bars.Layer`.
ROWS: tuple[Layer, ...] = (("bottom", "x"), ("bottom", "y"), ("top", "x"), ("top", "y"))
# A block must pass the value kept by this share of the layer's largest: less is rounding.
SHARE = 1e-6


def triple(moments: Floats, angle: float) -> Floats:
    """(3, ...) moments as a, b, t such that bars along x need a + |t| and the second set, at
    `angle` [rad] to x, needs b + |t| (both sets in tension). Orthogonal: m_x, m_y, m_xy."""
    if angle == np.pi / 2:
        return moments
    m_x, m_y, m_xy = moments
    sine, cot = np.sin(angle), np.cos(angle) / np.sin(angle)
    a = m_x - 2 * m_xy * cot + m_y * cot**2
    return np.stack([a, m_y / sine**2, (m_xy - m_y * cot) / sine])


def needed(a: Floats, b: Floats, t: Floats) -> Floats:
    """Moment of the first bars, of the second with a and b exchanged (Wood and Armer)."""
    size = np.abs(t)
    least = np.maximum(a + size, 0.0)
    alone = b + size < 0
    if alone.any():
        single = a[alone] + t[alone] ** 2 / -b[alone]
        least[alone] = np.minimum(np.maximum(single, 0.0), least[alone])
    return least


def row_of(values: Floats, row: int) -> Floats:
    """Moment >= 0 that the layer of that row resists, from a, b, t (3, ...)."""
    sign = 1.0 if row < 2 else -1.0
    first, second = (0, 1) if row % 2 == 0 else (1, 0)
    return needed(sign * values[first], sign * values[second], values[2])


@dataclass(frozen=True)
class Demand:
    """Design moments of one combination, enveloped.

    values : (4, n_point) [N m/m] >= 0, rows as ROWS; at : number of the load position, -1 = no
    traffic; state : index of the permanent state in `states`.
    of_envelope : the same by the shortcut that combines enveloped components, None where the bars
    are skew; it is never less.
    """

    combination: Combination
    states: tuple[dict[Action, float], ...]
    values: Floats
    at: Ints
    state: Ints
    of_envelope: Floats | None

    def layer(self, layer: Layer) -> Floats:
        return self.values[ROWS.index(layer)]


class _Tracker:
    """Running envelope of one combination."""

    def __init__(self, combination: Combination, permanent: Mapping[Action, Floats]) -> None:
        self.combination = combination
        self.states = permanent_states(combination, list(permanent))
        n_point = next(iter(permanent.values())).shape[1]
        self.permanent = np.stack(
            [
                sum((f * permanent[a] for a, f in state.items()), np.zeros((3, n_point)))
                for state in self.states
            ]
        )
        rows = np.stack([[row_of(p, k) for k in range(4)] for p in self.permanent])
        self.best = rows.max(axis=0)
        self.state = rows.argmax(axis=0)
        self.at = np.full(self.best.shape, -1, dtype=np.int64)
        a, b, t = self.permanent.swapaxes(0, 1)
        # (state, 4, n) of a + t, a - t, b + t, b - t
        self.sums = np.stack([a + t, a - t, b + t, b - t], axis=1)

    def update(self, traffic: Floats, high: Floats, low: Floats, first: int) -> None:
        """Take in positions first, first + 1, ...

        traffic : (3, n_point, n); high, low : (4, n_point) extremes over them of a + t, a - t,
        b + t, b - t.
        """
        factor = self.combination.traffic
        for s, permanent in enumerate(self.permanent):
            for k in range(4):
                pair = slice(0, 2) if k % 2 == 0 else slice(2, 4)
                if k < 2:
                    bound = (self.sums[s, pair] + factor * high[pair]).max(axis=0)
                else:
                    bound = -(self.sums[s, pair] + factor * low[pair]).min(axis=0)
                best = self.best[k]
                points = np.flatnonzero(bound > best + SHARE * best.max())
                if not len(points):
                    continue
                moments = permanent[:, points, None] + factor * traffic[:, points]
                values = row_of(moments, k)
                column = values.argmax(axis=1)
                peak = values[np.arange(len(points)), column]
                better = peak > best[points]
                chosen = points[better]
                best[chosen] = peak[better]
                self.at[k, chosen] = first + column[better]
                self.state[k, chosen] = s


class MomentEnvelopes:
    """Observer of the streamed load positions: the demands of every combination asked for.

    permanent : action -> (3, n_point) m_x, m_y, m_xy of the static cases of that action.
    """

    def __init__(
        self,
        combinations: Sequence[Combination],
        permanent: Mapping[Action, Floats],
        angle: float = np.pi / 2,
    ) -> None:
        self.angle = angle
        turned = {action: triple(m, angle) for action, m in permanent.items()}
        self.trackers = [_Tracker(c, turned) for c in combinations]
        n_point = next(iter(permanent.values())).shape[1]
        # of the traffic alone: the empty deck is a member
        self.high = np.zeros((3, n_point))
        self.low = np.zeros((3, n_point))

    def __call__(self, first: int, response: Response) -> None:
        """Take in a block of load positions."""
        moments = triple(response.fields[1:4], self.angle)
        a, b, t = moments
        high, low = np.empty((4, len(a))), np.empty((4, len(a)))
        for k, (one, sign) in enumerate(((a, 1), (a, -1), (b, 1), (b, -1))):
            total = one + t if sign > 0 else one - t
            high[k], low[k] = total.max(axis=1), total.min(axis=1)
        self.high = np.maximum(self.high, moments.max(axis=2))
        self.low = np.minimum(self.low, moments.min(axis=2))
        for tracker in self.trackers:
            tracker.update(moments, high, low, first)

    def demands(self) -> tuple[Demand, ...]:
        """What has been found so far."""
        return tuple(
            Demand(
                t.combination, t.states, t.best, t.at, t.state, self._of_envelope(t)
            )
            for t in self.trackers
        )

    def _of_envelope(self, tracker: _Tracker) -> Floats | None:
        if self.angle != np.pi / 2:
            return None
        factor = tracker.combination.traffic
        high = tracker.permanent.max(axis=0) + factor * self.high
        low = tracker.permanent.min(axis=0) + factor * self.low
        twist = np.maximum(np.abs(high[2]), np.abs(low[2]))
        rows = [
            row_of(np.stack([*(high if k < 2 else low)[:2], twist]), k) for k in range(4)
        ]
        return np.stack(rows)


def permanent_fields(
    deck: Deck, cases: Mapping[str, Response], components: slice
) -> dict[Action, Floats]:
    """Action -> (k, n_point) sums of its static cases' fields; zero self-weight if there is none."""
    found: dict[Action, Floats] = {}
    for name, action in combined_cases(deck).items():
        values = cases[name].fields[components, :, 0]
        found[action] = found.get(action, 0.0) + values
    return found


def combinations_of(deck: Deck) -> tuple[Combination, ...]:
    """Every combination of the standards that the deck's bars are checked to."""
    assert deck.reinforcement is not None
    found = (
        combination(basis.materials.standard, state)
        for basis in deck.reinforcement.bases
        for state in LIMIT_STATES
    )
    return tuple(c for c in found if c is not None)
