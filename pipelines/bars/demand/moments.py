"""Design moments of the bars, formed for each load position and then enveloped.

At one load position the moments are those of permanent actions and traffic together, with factors:
m = sum gamma_i m_i + gamma_Q m_Q, for every state of the permanent factors. With (a, b, t) in
place of (m_x, m_y, m_xy), as `triple` makes them also for skew bars, Wood and Armer's rule asks of
the first bars a + |t| where both sets of bars are needed, and less, a - t^2/b, where the position
needs none of the second. a + |t| = max(a + t, a - t) is linear in the moments: its largest value
over the positions adds up from permanent actions and traffic, at the cost of a few maxima. That
value is kept, lowered to a_max + t_max^2/|b|_min for a block of positions none of which needs the
second bars. It is exact where both sets are needed at the governing position and on the safe side
elsewhere: `Demand.least` tells by how much at most. Under a load model a + t and so on each take
their own worst arrangement of lanes (`forms`).

Where membrane forces act, each layer's moments are m + n t of `designmembrane`, formed position by
position. Imposed forces are present or absent, whichever is worse: compression is never counted on.
"""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from pipelines.bars.demand.edge_layer import MOMENTS, EdgeLayer
from pipelines.bars.demand.membrane import MembraneForces
from pipelines.bars.demand.wood_armer import (
    N_OWN,
    N_SUMS,
    Block,
    functionals,
    layer_moment,
    skew_components,
)
from pipelines.deck.deck import Deck
from pipelines.envelopes.extremes import FieldEnvelope
from pipelines.model.responses import Response
from pipelines.standards.actions.combinations import (
    LIMIT_STATES,
    Combination,
    combination,
    permanent_states,
)
from pipelines.standards.actions.loads import Action
from pipelines.standards.resistance.bars import Layer
from pipelines.standards.sources import Standard
from plate.arrays import Floats, Ints

T = TypeVar("T", Floats, Ints)
Case = TypeVar("Case")

# Rows of a demand, as `bars.Layer`.
LAYER_ROWS: tuple[Layer, ...] = (("bottom", "x"), ("bottom", "y"), ("top", "x"), ("top", "y"))
TIE = 1e-9


@dataclass(frozen=True, kw_only=True)
class Demand:
    """Design moments of one combination, enveloped.

    values : (4, n_point) [N m/m] >= 0, rows as LAYER_ROWS. at : number of the governing load
    position, -1 = no traffic; state : index of its permanent state in `states`; coexisting : (4, 3,
    n_point) its a, b, t with the membrane forces' part. imposed : per state whether the imposed
    membrane forces act. relieved : (4, n_point) a bound below every position's moment in the same
    permanent state, negative where the traffic turns it: for ranges. over_lines : (4, n_point)
    values as they would be if those over the widths of supports counted too, up_to_faces : if none
    of them did. of_envelope : values
    by the shortcut that combines enveloped components, None where the bars are skew or membrane
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
    over_lines: Floats
    up_to_faces: Floats
    of_envelope: Floats | None

    def layer(self, layer: Layer) -> Floats:
        return np.asarray(self.values[LAYER_ROWS.index(layer)])

    @property
    def least(self) -> Floats:
        """(4, n_point) Wood and Armer's full rule at the governing positions: the exact envelope
        lies between this and `values`."""
        return np.stack([layer_moment(self.coexisting[k], k) for k in range(len(LAYER_ROWS))])


Rows = tuple[Floats, ...]
"""Moments for each of LAYER_ROWS; the same array four times where no membrane force acts."""


class CombinationTracker:
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
            self.permanent: Rows = (summed(0),) * len(LAYER_ROWS)
        else:
            self.permanent = tuple(summed(k) for k in range(len(LAYER_ROWS)))
        self.states = factors if imposed is None else factors * 2
        self.imposed = tuple(i >= len(factors) for i in range(len(self.states)))
        rows = np.stack(
            [[layer_moment(p, k) for p in self.permanent[k]] for k in range(len(LAYER_ROWS))],
            axis=1,
        )
        self.best = rows.max(axis=0)
        self.state = rows.argmax(axis=0)
        self.at = np.full(self.best.shape, -1, dtype=np.int64)
        self.sums = tuple(_pair_extremes(p, k) for k, p in enumerate(self.permanent))
        points = np.arange(n_point)
        self.coexisting = np.stack(
            [p[s, :, points].T for p, s in zip(self.permanent, self.state, strict=True)]
        )
        # of the traffic alone, as of a block: the empty deck is a member
        self.own = np.zeros((2, N_OWN, n_point))
        self.traffic = np.zeros((2, N_SUMS, n_point))

    def update(self, blocks: Sequence[Block]) -> None:
        """Take in some load positions; blocks : of each row."""
        factor = self.combination.traffic
        if factor == 0.0:
            return
        for block in dict.fromkeys(blocks):
            _widen(self.own, block.own)
            _widen(self.traffic, block.sums)
        for k, (best, block) in enumerate(zip(self.best, blocks, strict=True)):
            sign, extreme = (1.0, 0) if k < 2 else (-1.0, 1)
            pair = slice(0, 2) if k % 2 == 0 else slice(2, 4)
            linear = sign * (self.sums[k] + factor * block.sums[extreme, pair])
            near = np.flatnonzero(linear.max(axis=0) > best * (1.0 + TIE))
            for s, permanent in enumerate(self.permanent[k]):
                bound, functional = block.bound(permanent, factor, k, near)
                better = bound > best[near] * (1.0 + TIE)
                points, which = near[better], functional[better]
                best[points] = bound[better]
                self.at[k, points] = block.numbers[extreme, which, points]
                self.state[k, points] = s
                self.coexisting[k][:, points] = permanent[:, points] + factor * block.beside(
                    extreme, which, points
                )


def _widen(extremes: Floats, by: Floats) -> None:
    np.maximum(extremes[0], by[0], out=extremes[0])
    np.minimum(extremes[1], by[1], out=extremes[1])


def _pair_extremes(permanent: Floats, row: int) -> Floats:
    """(2, n_point) extremes over the states of the first bars' a + t and a - t of that row."""
    first, t = permanent[:, row % 2], permanent[:, 2]
    sums = np.stack([first + t, first - t])
    return np.asarray(sums.max(axis=1) if row < 2 else sums.min(axis=1))


class MomentEnvelopes:
    """Observer of the streamed load positions: the demands of every combination asked for.

    permanent : action -> (3, n_point) m_x, m_y, m_xy of the static cases of that action.
    membrane : forces that act with the moments; own : action -> (3, n_point) n_x, n_y, n_xy of
    the model under those cases. read_at : (4, n_point) number of the point whose demand stands for
    each in that row, another one near places of infinite moments and over supports that are read at
    their faces; None = itself. centre_at : the same without the faces, face_at : with those of
    every layer; None = `read_at`. layer : beside the slab's edges, whose part of the moments does
    not count; None = they are as they are.
    """

    def __init__(
        self,
        combinations: Sequence[Combination],
        permanent: Mapping[Action, Floats],
        angle: float = np.pi / 2,
        membrane: MembraneForces | None = None,
        own: Mapping[Action, Floats] | None = None,
        read_at: Ints | None = None,
        centre_at: Ints | None = None,
        face_at: Ints | None = None,
        layer: EdgeLayer | None = None,
    ) -> None:
        self.angle, self.membrane, self.layer = angle, membrane, layer
        n_point = next(iter(permanent.values())).shape[1]
        self.read_at = (
            np.broadcast_to(np.arange(n_point), (len(LAYER_ROWS), n_point))
            if read_at is None
            else read_at
        )
        self.centre_at = self.read_at if centre_at is None else centre_at
        self.face_at = self.read_at if face_at is None else face_at
        rows = {a: self._rows(m, None if own is None else own[a]) for a, m in permanent.items()}
        self.trackers = [CombinationTracker(c, rows, self._imposed(c)) for c in combinations]

    def _rows(self, moments: Floats, forces: Floats | None) -> Rows:
        """a, b, t of each row, of moments and membrane forces (3, ...)."""
        if forces is None or self.membrane is None:
            return (skew_components(moments, self.angle),) * len(LAYER_ROWS)
        with_moments = self.membrane.with_moments
        return tuple(
            skew_components(with_moments(layer, moments, forces), self.angle)
            for layer in LAYER_ROWS
        )

    def _imposed(self, combination: Combination) -> Rows | None:
        if self.membrane is None:
            return None
        ultimate = combination.limit_state == "ULS"
        forces = self.membrane.ultimate if ultimate else self.membrane.characteristic
        return None if forces is None else self._rows(np.zeros_like(forces), forces)

    def __call__(
        self, first: int, response: Response, standards: Collection[Standard] | None = None
    ) -> None:
        """Take in a block of load positions for the combinations of some standards, None = all."""
        blocks = self.blocks(first, response)
        for tracker in self.trackers:
            if standards is None or tracker.combination.standard in standards:
                tracker.update(blocks)

    def blocks(self, first: int, response: Response) -> list[Block]:
        """Of each row, what a block of load positions first, first + 1, ... adds."""
        own = None if self.membrane is None else self.membrane.own(response)
        rows = self._rows(moments_of(response, self.layer), own)
        blocks = [Block.of_positions(rows[0], first)] * len(LAYER_ROWS)
        if own is not None:
            blocks[1:] = [Block.of_positions(row, first) for row in rows[1:]]
        return blocks

    @property
    def n_forms(self) -> int:
        """Number of `forms`."""
        joined = self.membrane is not None and self.membrane.rows is not None
        return (len(LAYER_ROWS) if joined else 1) * (N_OWN + N_SUMS)

    def forms(self, moments: Floats, own: Floats | None) -> Floats:
        """(n_forms, ...) of moments and the model's membrane forces (3, ...): what is enveloped
        where a load model's worst arrangement is put together form by form."""
        rows = self._rows(moments, own)
        kinds = rows if own is not None else rows[:1]
        found = np.empty((len(kinds), N_OWN + N_SUMS, *moments.shape[1:]))
        for row, forms in zip(kinds, found, strict=True):
            forms[:N_OWN] = row
            functionals(row, forms[N_OWN:])
        return found.reshape(-1, *moments.shape[1:])

    def take_model(
        self, first: int, envelopes: Mapping[float, FieldEnvelope], standard: Standard
    ) -> None:
        """Take in the arrangements first, first + 1, ... of a load model for the combinations of a
        standard.

        envelopes : share of the distributed loads -> envelope of `forms`; beside each of them are
        m_x, m_y, m_xy and, with `own`, n_x, n_y, n_xy.
        """
        for tracker in self.trackers:
            combination = tracker.combination
            if combination.standard == standard and combination.traffic:
                tracker.update(self.model_blocks(first, envelopes[combination.share]))

    def model_blocks(self, first: int, envelope: FieldEnvelope) -> list[Block]:
        """Of each row, what the arrangements first, first + 1, ... add; arguments as of
        `take_model`, of one share."""
        values = np.stack([envelope.extremes.maximum, envelope.extremes.minimum])
        at = np.stack([envelope.extremes.at_maximum, envelope.extremes.at_minimum])
        numbers = np.where(at < 0, -1, first + at)
        besides = envelope.with_maximum, envelope.with_minimum
        blocks: list[Block] = []
        for start in range(0, self.n_forms, N_OWN + N_SUMS):
            sums = slice(start + N_OWN, start + N_OWN + N_SUMS)
            row = len(blocks)

            def beside(
                extreme: int, which: Ints, points: Ints, sums: slice = sums, row: int = row
            ) -> Floats:
                found = besides[extreme][sums][which, :, points].T
                return self._rows(found[:3], found[3:] if len(found) > 3 else None)[row]

            own = values[:, start : start + N_OWN]
            blocks.append(Block(own, values[:, sums], numbers[:, sums], beside))
        return blocks if len(blocks) == len(LAYER_ROWS) else blocks * len(LAYER_ROWS)

    def demands(self) -> tuple[Demand, ...]:
        """What has been found so far."""

        def here(values: T) -> T:
            return np.take_along_axis(values, self.read_at, axis=1)

        found = []
        for t in self.trackers:
            shortcut = self._of_envelope(t)
            found.append(
                Demand(
                    combination=t.combination,
                    states=t.states,
                    values=here(t.best),
                    at=here(t.at),
                    state=here(t.state),
                    coexisting=np.take_along_axis(t.coexisting, self.read_at[:, None], axis=2),
                    imposed=t.imposed,
                    relieved=here(self._relieved(t)),
                    over_lines=np.take_along_axis(t.best, self.centre_at, axis=1),
                    up_to_faces=np.take_along_axis(t.best, self.face_at, axis=1),
                    of_envelope=None if shortcut is None else here(shortcut),
                )
            )
        return tuple(found)

    def _relieved(self, tracker: CombinationTracker) -> Floats:
        """a + |t| is never below a, a + t nor a - t: the highest of their least values."""
        factor, points = tracker.combination.traffic, np.arange(tracker.best.shape[1])
        found = []
        for k, (permanent, state) in enumerate(zip(tracker.permanent, tracker.state, strict=True)):
            first, t = permanent[state, k % 2, points], permanent[state, 2, points]
            least = 1 if k < 2 else 0
            plus, minus = tracker.traffic[least][2 * (k % 2) :][:2]
            bounds = np.stack([first, first + t, first - t])
            bounds += factor * np.stack([tracker.own[least, k % 2], plus, minus])
            found.append(bounds.max(axis=0) if k < 2 else -bounds.min(axis=0))
        return np.stack(found)

    def _of_envelope(self, tracker: CombinationTracker) -> Floats | None:
        if self.angle != np.pi / 2 or self.membrane is not None:
            return None
        factor, permanent = tracker.combination.traffic, tracker.permanent[0]
        high = permanent.max(axis=0) + factor * tracker.own[0]
        low = permanent.min(axis=0) + factor * tracker.own[1]
        twist = np.maximum(np.abs(high[2]), np.abs(low[2]))
        rows = [layer_moment(np.stack([*(high if k < 2 else low)[:2], twist]), k) for k in range(4)]
        return np.stack(rows)


def moments_of(response: Response, layer: EdgeLayer | None) -> Floats:
    """m_x, m_y, m_xy (3, n_point, n_load) for the design of bars."""
    return response.fields[MOMENTS] if layer is None else layer.moments(response)


def permanent_fields(
    deck: Deck, cases: Mapping[str, Response], components: slice
) -> dict[Action, Floats]:
    """Action -> (k, n_point) sums of the fields of its static cases."""
    return permanent_sums(deck, cases, lambda response: response.fields[components, :, 0])


def permanent_sums(
    deck: Deck, cases: Mapping[str, Case], read: Callable[[Case], Floats]
) -> dict[Action, Floats]:
    """Action -> sums of what `read` makes of its static cases."""
    found: dict[Action, Floats] = {}
    for name, action in deck.combined_cases.items():
        values = read(cases[name])
        found[action] = found[action] + values if action in found else values
    return found


def combinations_of(deck: Deck) -> tuple[Combination, ...]:
    """Every combination of the standards that the deck's bars are checked to."""
    found = (
        combination(basis.materials.factors, state)
        for basis in deck.required_reinforcement.bases
        for state in LIMIT_STATES
    )
    return tuple(c for c in found if c is not None)
