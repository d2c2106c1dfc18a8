"""What sets the steel of every layer and zone of a design, and what would set it next."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipelines.bars.choice.candidates import Needs, Trial
from pipelines.bars.choice.floors import Floor
from pipelines.bars.choice.least_steel import Chosen, shears_used
from pipelines.standards.resistance.bars import LAYERS, Bars, Layer, SlabBars

EVERYWHERE = "everywhere"


@dataclass(frozen=True, kw_only=True)
class Governs:
    """The checks of the bars that count in a zone of a layer, the most used first.

    bars : with those added there. checks : each once, in words with its standard, and how far it is
    used; shear where it runs along these bars more than across them; a least area that another
    check of several layers asks for as the area asked for over that provided.
    """

    layer: Layer
    zone: str
    bars: Bars
    checks: tuple[tuple[str, float], ...]


def governs(needs: Needs, bars: SlabBars, chosen: Chosen) -> tuple[Governs, ...]:
    """Of every layer, and of what is added to it by itself; bars : the mats that were chosen."""
    found = []
    sheared = shears_used(needs, bars, chosen)
    for layer in LAYERS:
        own, trial = chosen.layers[layer], Trial(needs, bars, layer)
        floor = needs.floors.get(layer, Floor())
        for zone, counted, where in _zones(needs, bars, chosen, layer):
            checks = _used(Trial(needs, counted, layer), counted, where)
            area = counted.bars(layer).area
            if floor.everywhere > 0.0:
                checks[floor.why] = max(floor.everywhere / area, checks.get(floor.why, 0.0))
            for shears, used in zip(needs.shears, sheared, strict=True):
                steel = trial.steel_at(own, shears.points)
                here = shears.nearest(layer) & np.isclose(steel, area)
                there = float(used[here].max(initial=0.0))
                checks[shears.why] = max(there, checks.get(shears.why, 0.0))
            most = sorted(checks.items(), key=lambda one: -one[1])
            found.append(
                Governs(layer=layer, zone=zone, bars=counted.bars(layer), checks=tuple(most))
            )
    return tuple(found)


def _zones(
    needs: Needs, bars: SlabBars, chosen: Chosen, layer: Layer
) -> Iterator[tuple[str, SlabBars, NDArray[np.bool_]]]:
    """The parts in which different bars of a layer count."""
    added = chosen.layers[layer].added
    if added is None:
        yield EVERYWHERE, bars, needs.everywhere
        return
    inside = Trial(needs, bars, layer).counts(bars, added)
    yield "outside the added bars", bars, ~inside
    yield added.where, bars.with_added(layer, added.bars), inside


def _used(trial: Trial, bars: SlabBars, where: NDArray[np.bool_]) -> dict[str, float]:
    """How far each check is used at most."""
    found: dict[str, float] = {}
    for check, used in trial.used(bars, where):
        found[check] = max(used, found.get(check, 0.0))
    return found
