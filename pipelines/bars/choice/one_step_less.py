"""What stands against bars that are smaller by one step: the check that they would fail, or the
price of one more diameter or spacing."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np

from pipelines.bars.choice.candidates import Candidate, Needs, Trial
from pipelines.bars.choice.least_steel import Chosen
from pipelines.numbers import rounded_up
from pipelines.standards.resistance.bars import LAYERS, Bars, Layer, SlabBars

PRICE = "price of one more diameter or spacing"
ESTIMATE = "what checks of several layers ask for is an estimate on the safe side"


@dataclass(frozen=True, kw_only=True)
class Less:
    """Bars one step smaller than those of a layer, or than those added to it.

    check : that they fail, with its utilisation; NaN where it is no single layer's, whose words
    then have the value.
    """

    layer: Layer
    bars: Bars
    added: bool
    check: str
    utilisation: float

    @property
    def words(self) -> str:
        what = f"{self.bars}{' added' if self.added else ''}"
        if self.check in (PRICE, ESTIMATE):
            return f"{what} would pass: {self.check}"
        value = "" if np.isnan(self.utilisation) else f" {rounded_up(self.utilisation)}"
        return f"{what} would fail {self.check}{value}"


def one_step_less(
    needs: Needs, bars: SlabBars, chosen: Chosen, floors: Mapping[Layer, str]
) -> tuple[Less, ...]:
    """For every layer, and what is added to it, both smaller bars of the set: of the next diameter
    and at the next spacing.

    bars : the mats that were chosen; floors : the check behind a layer's least area.
    """
    return tuple(less for layer in LAYERS for less in _of_layer(needs, bars, chosen, layer, floors))


def _of_layer(
    needs: Needs, bars: SlabBars, chosen: Chosen, layer: Layer, floors: Mapping[Layer, str]
) -> Iterator[Less]:
    trial, own = Trial(needs, bars, layer), chosen.layers[layer]
    for smaller in _smaller(own.bars, needs):
        check, used = _why(trial, replace(own, bars=smaller), layer, floors)
        yield Less(layer=layer, bars=smaller, added=False, check=check, utilisation=used)
    if own.added is None:
        return
    for smaller in _smaller(own.added.bars, needs):
        changed = replace(own, added=replace(own.added, bars=smaller))
        check, used = _why(trial, changed, layer, floors)
        yield Less(layer=layer, bars=smaller, added=True, check=check, utilisation=used)


def _smaller(bars: Bars, needs: Needs) -> Iterator[Bars]:
    thinner = [d for d in needs.choice.diameters if d < bars.diameter]
    wider = [s for s in needs.choice.spacings if s > bars.spacing]
    if thinner:
        yield replace(bars, diameter=max(thinner))
    if wider:
        yield replace(bars, spacing=min(wider))


def _why(
    trial: Trial, candidate: Candidate, layer: Layer, floors: Mapping[Layer, str]
) -> tuple[str, float]:
    """The check that a candidate fails with its utilisation."""
    mats = trial.with_layer(candidate.bars)
    if mats is None:
        return "the thickness: they do not fit", np.nan
    everywhere = np.ones(len(trial.needs.solved.recovery.points.plan), dtype=bool)
    added = candidate.added
    fails = None
    if added is None:
        fails = trial.fails(mats, everywhere)
    else:
        try:
            both = mats.with_added(layer, added.bars)
            inside = trial.counts(mats, added)
        except ValueError:
            return "the order of spacings: they do not lie between each other", np.nan
        fails = trial.fails(mats, ~inside) or trial.fails(both, inside)
    if fails is not None:
        return fails
    if candidate.bars.area < trial.needs.floors.get(layer, 0.0):
        return floors[layer], np.nan
    return PRICE, np.nan
