"""What moments the layers of bars can take, check by check: once for a deck and a standard.

Bending, stresses and crack widths compare a moment of the layer, of one combination, with what the
layer can take: the largest moment at which the rule still passes does not depend on the vehicle.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from pipelines.bars.adequacy import Check, check_of
from pipelines.bars.checks.bending_and_service import Peaks, resistances, service_rows
from pipelines.bars.demand.moments import LAYER_ROWS, CombinationTracker
from pipelines.bars.demand.observer import DesignWatch
from pipelines.bars.rating.root import MOST
from pipelines.deck.reinforcement import DesignBasis
from pipelines.standards.actions.combinations import LimitState
from pipelines.standards.detailing.rules import Row
from pipelines.standards.resistance.bars import LAYERS, Layer, SlabBars, place_of
from pipelines.standards.resistance.bending import BENDING
from pipelines.standards.sources import Source
from plate.arrays import Floats, Ints

HALVINGS = 60
Rule = tuple[Check, str, LimitState, float, Source]
"""Check, rule, combination, the largest moment that passes, clause."""


@dataclass(frozen=True, eq=False, kw_only=True)
class MomentLimit:
    """A check of one layer in a part of the slab.

    row : of LAYER_ROWS; tracker : of its combination before any load position; moment : the
    largest that passes [N m/m]; at : (n,) result points whose moments count. words : the layer and
    the part.
    """

    check: Check
    rule: str
    row: int
    tracker: CombinationTracker
    moment: float
    at: Ints
    words: str
    source: Source


def moment_limits(watch: DesignWatch, number: int, plan: Floats) -> tuple[MomentLimit, ...]:
    """The checks of moments by the standard of that number; plan : (n_point, 2) result points.

    Stresses and cracks are left out where membrane forces act: their moments contain the forces.
    """
    basis = watch.reinforcement.bases[number]
    drawn = watch.drawn[number]
    trackers: dict[LimitState, CombinationTracker] = {
        t.combination.limit_state: t
        for t in watch.moments.trackers
        if t.combination.standard == basis.materials.standard
    }
    found = []
    for part in drawn.parts:
        m_Rd = resistances(part.bars, basis.materials)
        where = part.holds(plan) if len(drawn.parts) > 1 else np.ones(len(plan), dtype=bool)
        named = f" ({part.name})" if len(drawn.parts) > 1 else ""
        if not where.any():
            continue
        for layer in LAYERS:
            row = LAYER_ROWS.index(layer)
            at = np.unique(watch.read_at[row][where])
            words = place_of(layer) + named
            source = BENDING[basis.materials.standard]
            every: list[Rule] = [(Check.BENDING, "bending", "ULS", m_Rd[layer], source)]
            if watch.membrane is None:
                every += list(_service(part.bars, layer, basis, 10.0 * m_Rd[layer]))
            found += [
                MomentLimit(
                    check=check,
                    rule=rule,
                    row=row,
                    tracker=trackers[state],
                    moment=moment,
                    at=at,
                    words=words,
                    source=clause,
                )
                for check, rule, state, moment, clause in every
                if trackers[state].combination.traffic > 0.0
            ]
    return tuple(found)


def _service(bars: SlabBars, layer: Layer, basis: DesignBasis, most: float) -> Iterator[Rule]:
    """Rules in service with the largest moment of the layer that passes each, up to `most`."""
    zero = dict.fromkeys(LAYERS, 0.0)

    def rows(moment: float) -> tuple[Row, ...]:
        loaded = {**zero, layer: moment}
        peaks = Peaks(ultimate=zero, characteristic=loaded, crack=loaded)
        return service_rows(bars, layer, basis, peaks)

    for k, row in enumerate(rows(most)):
        low, high = 0.0, most
        if row.passes:
            low = MOST * most
        for _ in range(0 if row.passes else HALVINGS):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if rows(middle)[k].passes else (low, middle)
        state: LimitState = "characteristic"
        if row.check == "crack width":
            state = basis.crack_combination
        yield check_of(row), row.check, state, low, row.source
