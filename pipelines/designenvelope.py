"""Design moments of the bars, formed for each load position and then enveloped.

At one load position the moments are those of permanent actions and traffic together, with factors:
m = sum gamma_i m_i + gamma_Q m_Q, for every state of the permanent factors. With (a, b, t) in
place of (m_x, m_y, m_xy), as `triple` makes them also for skew bars, Wood and Armer's rule asks of
the first bars a + |t| where both sets of bars are needed, and less, a - t^2/b, where the position
needs none of the second. a + |t| = max(a + t, a - t) is linear in the moments: its largest value
over the positions adds up from permanent actions and traffic, at the cost of a few maxima. That
value is kept, lowered to a_max + t_max^2/|b|_min for a block of positions none of which needs the
second bars. It is exact where both sets are needed at the governing position and on the safe side
elsewhere: `Demand.least` tells by how much at most.

Where membrane forces act, each layer's moments are m + n t of `designmembrane`, formed position by
position. Imposed forces are present or absent, whichever is worse: compression is never counted on.
"""

from collections.abc import Callable, Mapping, Sequence
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
from pipelines.designmembrane import MembraneForces
from pipelines.responses import Response

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Rows of a demand, as `bars.Layer`.
ROWS: tuple[Layer, ...] = (("bottom", "x"), ("bottom", "y"), ("top", "x"), ("top", "y"))
TIE = 1e-9


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

    values : (4, n_point) [N m/m] >= 0, rows as ROWS. at : number of the governing load position,
    -1 = no traffic; state : index of its permanent state in `states`; coexisting : (4, 3, n_point)
    its a, b, t with the membrane forces' part. imposed : per state whether the imposed membrane
    forces act. relieved : (4, n_point) a bound below every position's moment in the same
    permanent state, negative where the traffic turns it: for ranges. of_envelope : values by
    the shortcut that combines enveloped components, None where the bars are skew or membrane
    forces act.
    """

    combination: Combination
    states: tuple[dict[Action, float], ...]
    values: Floats
    at: Ints
    state: Ints
    coexisting: Floats
    imposed: tuple[bool, ...]
    relieved: Floats
    of_envelope: Floats | None

    def layer(self, layer: Layer) -> Floats:
        return np.asarray(self.values[ROWS.index(layer)])

    @property
    def least(self) -> Floats:
        """(4, n_point) Wood and Armer's full rule at the governing positions: the exact envelope
        lies between this and `values`."""
        return np.stack([row_of(self.coexisting[k], k) for k in range(len(ROWS))])


class _Block:
    """Extremes over a block of load positions of the traffic's functionals a + t, a - t, b + t,
    b - t.

    at, sums : (2, 4, n_point) columns of the largest and the least, and their values; moments :
    (3, n_point, n) a, b, t; own : (2, 3, n_point) their largest and least.
    """

    def __init__(self, moments: Floats) -> None:
        a, b, t = moments
        self.moments = moments
        at, sums = [], []
        for total in (a + t, a - t, b + t, b - t):
            columns = np.stack([total.argmax(axis=1), total.argmin(axis=1)])
            at.append(columns)
            sums.append(np.take_along_axis(total, columns.T, axis=1).T)
        self.at, self.sums = np.stack(at, axis=1), np.stack(sums, axis=1)
        self.own = np.stack([moments.max(axis=2), moments.min(axis=2)])

    def bound(
        self, permanent: Floats, factor: float, row: int, points: Ints
    ) -> tuple[Floats, Ints]:
        """The block's value at `points` (k,) in that row, and the governing position's column.

        permanent : (3, n_point)."""
        sign, extreme = (1.0, 0) if row < 2 else (-1.0, 1)
        first, second = row % 2, 1 - row % 2
        one, other, t = permanent[first, points], permanent[second, points], permanent[2, points]
        pair = 2 * first
        own, sums, at = self.own[..., points], self.sums[extreme][:, points], self.at[extreme]
        plus = sign * (one + t + factor * sums[pair])
        minus = sign * (one - t + factor * sums[pair + 1])
        linear = np.maximum(plus, minus)
        column = np.where(plus >= minus, at[pair, points], at[pair + 1, points])
        across = sign * (other + factor * own[extreme, second])
        twist = np.maximum(np.abs(t + factor * own[0, 2]), np.abs(t + factor * own[1, 2]))
        single = across + twist < 0
        alone = sign * (one + factor * own[extreme, first])
        alone += twist**2 / np.where(single, -across, 1.0)
        return np.where(single, np.minimum(alone, linear), linear), column


Rows = tuple[Floats, ...]
"""Moments for each of ROWS; the same array four times where no membrane force acts."""


class _Tracker:
    """Running envelope of one combination.

    permanent : per action the (3, n_point) a, b, t of each row; imposed : the part of imposed
    membrane forces in each row, None where there are none.
    """

    def __init__(
        self,
        combination: Combination,
        permanent: Mapping[Action, Rows],
        imposed: Rows | None,
    ) -> None:
        self.combination = combination
        factors = permanent_states(combination, list(permanent))
        n_point = next(iter(permanent.values()))[0].shape[1]

        def summed(k: int) -> Floats:
            start = np.zeros((3, n_point))
            found = np.stack(
                [sum((f * permanent[a][k] for a, f in s.items()), start) for s in factors]
            )
            return found if imposed is None else np.concatenate([found, found + imposed[k]])

        if all(rows[0] is rows[1] for rows in permanent.values()) and imposed is None:
            self.permanent: Rows = (summed(0),) * len(ROWS)
        else:
            self.permanent = tuple(summed(k) for k in range(len(ROWS)))
        self.states = factors if imposed is None else factors * 2
        self.imposed = tuple(i >= len(factors) for i in range(len(self.states)))
        rows = np.stack(
            [[row_of(p, k) for p in self.permanent[k]] for k in range(len(ROWS))], axis=1
        )
        self.best = rows.max(axis=0)
        self.state = rows.argmax(axis=0)
        self.at = np.full(self.best.shape, -1, dtype=np.int64)
        self.sums = tuple(_pair_extremes(p, k) for k, p in enumerate(self.permanent))
        points = np.arange(n_point)
        self.coexisting = np.stack(
            [p[s, :, points].T for p, s in zip(self.permanent, self.state, strict=True)]
        )

    def update(self, blocks: Sequence[_Block], first: int) -> None:
        """Take in positions first, first + 1, ...; blocks : of each row."""
        factor = self.combination.traffic
        if factor == 0.0:
            return
        for k, (best, block) in enumerate(zip(self.best, blocks, strict=True)):
            sign, extreme = (1.0, 0) if k < 2 else (-1.0, 1)
            pair = slice(0, 2) if k % 2 == 0 else slice(2, 4)
            linear = sign * (self.sums[k] + factor * block.sums[extreme, pair])
            near = np.flatnonzero(linear.max(axis=0) > best * (1.0 + TIE))
            for s, permanent in enumerate(self.permanent[k]):
                bound, column = block.bound(permanent, factor, k, near)
                better = bound > best[near] * (1.0 + TIE)
                points, columns = near[better], column[better]
                best[points] = bound[better]
                self.at[k, points] = first + columns
                self.state[k, points] = s
                self.coexisting[k][:, points] = (
                    permanent[:, points] + factor * block.moments[:, points, columns]
                )


def _pair_extremes(permanent: Floats, row: int) -> Floats:
    """(2, n_point) extremes over the states of the first bars' a + t and a - t of that row."""
    first, t = permanent[:, row % 2], permanent[:, 2]
    sums = np.stack([first + t, first - t])
    return np.asarray(sums.max(axis=1) if row < 2 else sums.min(axis=1))


class MomentEnvelopes:
    """Observer of the streamed load positions: the demands of every combination asked for.

    permanent : action -> (3, n_point) m_x, m_y, m_xy of the static cases of that action.
    membrane : forces that act with the moments; own : action -> (3, n_point) n_x, n_y, n_xy of
    the model under those cases.
    """

    def __init__(
        self,
        combinations: Sequence[Combination],
        permanent: Mapping[Action, Floats],
        angle: float = np.pi / 2,
        membrane: MembraneForces | None = None,
        own: Mapping[Action, Floats] | None = None,
    ) -> None:
        self.angle, self.membrane = angle, membrane
        rows = {a: self._rows(m, None if own is None else own[a]) for a, m in permanent.items()}
        self.trackers = [_Tracker(c, rows, self._imposed(c)) for c in combinations]
        n_point = next(iter(permanent.values())).shape[1]
        # of the traffic alone: the empty deck is a member
        self.high = np.zeros((3, n_point))
        self.low = np.zeros((3, n_point))
        self.sums = np.zeros((2, 4, n_point))  # as of a block

    def _rows(self, moments: Floats, forces: Floats | None) -> Rows:
        """a, b, t of each row, of moments and membrane forces (3, ...)."""
        if forces is None or self.membrane is None:
            return (triple(moments, self.angle),) * len(ROWS)
        with_moments = self.membrane.with_moments
        return tuple(triple(with_moments(layer, moments, forces), self.angle) for layer in ROWS)

    def _imposed(self, combination: Combination) -> Rows | None:
        if self.membrane is None:
            return None
        ultimate = combination.limit_state == "ULS"
        forces = self.membrane.ultimate if ultimate else self.membrane.characteristic
        return None if forces is None else self._rows(np.zeros_like(forces), forces)

    def __call__(self, first: int, response: Response) -> None:
        """Take in a block of load positions."""
        own = None if self.membrane is None else self.membrane.own(response)
        rows = self._rows(response.fields[1:4], own)
        block = _Block(rows[0])
        blocks = [block] * len(ROWS) if own is None else [block, *map(_Block, rows[1:])]
        for one in dict.fromkeys(blocks):
            self.high = np.maximum(self.high, one.own[0])
            self.low = np.minimum(self.low, one.own[1])
            self.sums[0] = np.maximum(self.sums[0], one.sums[0])
            self.sums[1] = np.minimum(self.sums[1], one.sums[1])
        for tracker in self.trackers:
            tracker.update(blocks, first)

    def demands(self) -> tuple[Demand, ...]:
        """What has been found so far."""
        return tuple(
            Demand(
                t.combination,
                t.states,
                t.best,
                t.at,
                t.state,
                t.coexisting,
                t.imposed,
                self._relieved(t),
                self._of_envelope(t),
            )
            for t in self.trackers
        )

    def _relieved(self, tracker: _Tracker) -> Floats:
        """a + |t| is never below a, a + t nor a - t: the highest of their least values."""
        factor, points = tracker.combination.traffic, np.arange(self.high.shape[1])
        found = []
        for k, (permanent, state) in enumerate(zip(tracker.permanent, tracker.state, strict=True)):
            first, t = permanent[state, k % 2, points], permanent[state, 2, points]
            own = (self.low if k < 2 else self.high)[k % 2]
            plus, minus = self.sums[1 if k < 2 else 0][2 * (k % 2) :][:2]
            bounds = np.stack([first, first + t, first - t])
            bounds += factor * np.stack([own, plus, minus])
            found.append(bounds.max(axis=0) if k < 2 else -bounds.min(axis=0))
        return np.stack(found)

    def _of_envelope(self, tracker: _Tracker) -> Floats | None:
        if self.angle != np.pi / 2 or self.membrane is not None:
            return None
        factor, permanent = tracker.combination.traffic, tracker.permanent[0]
        high = permanent.max(axis=0) + factor * self.high
        low = permanent.min(axis=0) + factor * self.low
        twist = np.maximum(np.abs(high[2]), np.abs(low[2]))
        rows = [row_of(np.stack([*(high if k < 2 else low)[:2], twist]), k) for k in range(4)]
        return np.stack(rows)


def permanent_fields(
    deck: Deck, cases: Mapping[str, Response], components: slice
) -> dict[Action, Floats]:
    """Action -> (k, n_point) sums of the fields of its static cases."""
    return permanent_sums(deck, cases, lambda response: response.fields[components, :, 0])


def permanent_sums(
    deck: Deck, cases: Mapping[str, Response], read: Callable[[Response], Floats]
) -> dict[Action, Floats]:
    """Action -> sums of what `read` makes of the responses to its static cases."""
    found: dict[Action, Floats] = {}
    for name, action in combined_cases(deck).items():
        values = read(cases[name])
        found[action] = found[action] + values if action in found else values
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
