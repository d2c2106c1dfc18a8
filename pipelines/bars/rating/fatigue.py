"""Rates a standard's own load for fatigue: the multiplier at which the range of stress that it
makes in the bars just passes.

It is solved for at its load positions once; at every multiplier the demands of a run are formed
anew. A standard whose check of fatigue takes the traffic of other checks has no such load.
"""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from pipelines.bars.adequacy import Check
from pipelines.bars.checks.fatigue import (
    FatigueDemand,
    FatigueLoad,
    demand_of,
    fatigue_load,
    fatigue_places,
    on_girders,
)
from pipelines.bars.demand.moments import LAYER_ROWS
from pipelines.bars.demand.wood_armer import Block
from pipelines.bars.rating.block_reading import BlockReader
from pipelines.bars.rating.multipliers import Multiplier, Rated
from pipelines.bars.rating.rater import Rater, standing
from pipelines.bars.rating.root import MOST, largest
from pipelines.deck.words import at_text, place
from pipelines.model.position_blocks import in_blocks, read_blocks
from pipelines.standards.actions.vehicles import library
from pipelines.standards.detailing.rules import Row
from pipelines.standards.resistance.bars import place_of
from plate.arrays import Floats, Ints


def fatigue_rated(rater: Rater) -> Iterator[Rated]:
    """The load for fatigue of every standard that has one and asks for a check under it."""
    deck = rater.watch.deck
    for k, basis in enumerate(rater.bases):
        load = fatigue_load(deck, basis.materials.factors)
        if load is None or (basis.materials.standard == "AASHTO LRFD" and on_girders(deck)):
            continue
        runs = load.runs(deck)
        blocks = []
        read = BlockReader.of(rater.watch, {})
        for _, (made, _) in read_blocks(rater.solved, in_blocks(runs), read):
            lean = {id(block): replace(block, beside=_none_beside) for block in made}
            blocks.append([lean[id(block)] for block in made])
        search = _Search(rater, k, load, blocks)
        value = largest(lambda m, search=search: search.worst(m)[0].utilisation)  # type: ignore[misc]
        row, layer, point, number = search.worst(value if value > 0.0 else 1.0)
        at = (float(rater.plan[point, 0]), float(rater.plan[point, 1]))
        found = Multiplier(
            value=value,
            check=Check.FATIGUE,
            rule=row.check,
            words=layer,
            ultimate=False,
            at=at,
            where=f"{place(deck, at)}, ({at_text(at)}) m",
            position=None if value >= MOST else standing(runs)(number),
            source=row.source,
        )
        n, vehicle = sum(map(len, runs)), library[load.vehicle]
        yield rater.of_standard(k, vehicle, [found], n, further=", for fatigue")


class _Search:
    """The fatigue of all parts of the slab by one standard under a multiple of its load."""

    def __init__(self, rater: Rater, k: int, load: FatigueLoad, blocks: list[list[Block]]) -> None:
        self.rater, self.k, self.load, self.blocks = rater, k, load, blocks

    def worst(self, multiplier: float) -> tuple[Row, str, int, int]:
        """The row that is used most, its layer and part, result point and load position."""
        rater = self.rater
        mat, parts = rater.bases[self.k].materials, rater.watch.drawn[self.k].parts
        demand = self._demand(multiplier)
        found = []
        for part in parts:
            where = part.holds(rater.plan) if len(parts) > 1 else slice(None)
            points = np.arange(len(rater.plan))[where]
            named = f" ({part.name})" if len(parts) > 1 else ""
            for row, number in fatigue_places(demand, part.bars, mat, where):
                found.append((row, f"{row.place}{named}", int(points[number])))
        row, words, point = max(found, key=lambda one: one[0].utilisation)
        [layer] = [layer for layer in LAYER_ROWS if place_of(layer) == row.place]
        own = demand.by_face[layer[0]]
        return row, words, point, int(own.at[LAYER_ROWS.index(layer), point])

    def _demand(self, multiplier: float) -> FatigueDemand:
        factored = [replace(c, traffic=multiplier * c.traffic) for c in self.load.combinations]
        envelopes = self.rater.watch.moment_envelopes(factored)
        for tracker in envelopes.trackers:
            for block in self.blocks:
                tracker.update(block)
        bottom, top = envelopes.demands()
        factors = self.rater.bases[self.k].materials.factors
        return demand_of(self.rater.solved, self.rater.watch, factors, (bottom, top))


def _none_beside(extreme: int, which: Ints, points: Ints) -> Floats:
    """What coexists, which fatigue does not ask for."""
    return np.zeros((3, len(points)))
