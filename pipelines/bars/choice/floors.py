"""Least areas of layers that checks beyond those of single layers ask for: shear, punching,
collision, ends at edges, distribution steel."""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import numpy as np

from pipelines.bars.adequacy import Check, Judgement, StandardVerdict
from pipelines.standards.resistance.bars import (
    LAYERS,
    Layer,
    SlabBars,
    place_of,
)
from plate.arrays import Floats

MORE = 1.02  # of what the value found asks for: it is read at the load positions that governed
POWER = 3.0  # resistance to punching grows with the third root of the steel: EN 1992-1-1 6.4.4(1)
# Checks that candidates of single layers are chosen by: they fail again only where the whole run
# looks closer.
SINGLE = (Check.BENDING, Check.STRESSES, Check.CRACKS, Check.FATIGUE, Check.STEEL)


@dataclass(frozen=True, eq=False)
class Floor:
    """Least areas of a layer's bars [m2/m]: of its mat everywhere; of all bars that count at some
    places (n, 2) in plan, where shear is judged, areas (n,). why : the check behind it, in words.
    """

    everywhere: float = 0.0
    at: Floats = field(default_factory=lambda: np.zeros((0, 2)))
    areas: Floats = field(default_factory=lambda: np.zeros(0))
    why: str = ""

    @property
    def most(self) -> float:
        return max(self.everywhere, float(self.areas.max(initial=0.0)))

    def joined(self, other: "Floor") -> "Floor":
        """What both ask for."""
        return Floor(
            max(self.everywhere, other.everywhere),
            np.concatenate([self.at, other.at]),
            np.concatenate([self.areas, other.areas]),
            other.why if other.most > self.most else self.why,
        )

    def at_most(self, everywhere: float, areas: Floats | float) -> "Floor":
        """No more than these [m2/m]."""
        least = min(self.everywhere, everywhere)
        return replace(self, everywhere=least, areas=np.minimum(self.areas, areas))

    def times(self, factor: float) -> "Floor":
        return replace(self, everywhere=factor * self.everywhere, areas=factor * self.areas)


def asked(
    verdict: StandardVerdict, bars: SlabBars, *, closer: bool
) -> Iterator[tuple[Layer, Floor]]:
    """Layers with the least area that makes a failing check but shear pass; nothing for checks that
    bars do not help.

    closer : whether it also found what the moments of single layers, by which bars are chosen, do
    not tell.
    """
    for judged in verdict.judgements:
        if judged.worst is None or not judged.asked or (judged.check in SINGLE and not closer):
            continue
        used = max((f.utilisation for f in judged.found if not f.met), default=0)
        if used <= 1.0:
            continue
        if judged.check is not Check.SHEAR:
            why = f"{judged.check.value}, {verdict.standard}"
            for layer, power in _layers(judged):
                yield layer, Floor(everywhere=_more(bars, layer, used**power), why=why)


def _more(bars: SlabBars, layer: Layer, times: float) -> float:
    return float(bars.bars(layer).area * MORE * times)


def _layers(judged: Judgement) -> Iterator[tuple[Layer, float]]:
    """The layers whose steel helps, and the power of the utilisation by which it must grow."""
    if judged.check is Check.PUNCHING:
        yield from ((("bottom", direction), POWER) for direction in ("x", "y"))
    elif judged.check is Check.BENDING and judged.layer is not None:
        yield judged.layer, 1.0
    elif judged.check in (Check.COLLISION, Check.ANCHORAGE, *SINGLE):
        for found in judged.found:
            if not found.met:
                yield from ((layer, 1.0) for layer in LAYERS if place_of(layer) in found.place)
