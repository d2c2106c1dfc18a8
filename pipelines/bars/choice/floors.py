"""Least areas of layers that checks beyond those of single layers ask for: shear, punching,
collision, distribution steel."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from pipelines.bars.adequacy import Check, Judgement, StandardVerdict
from pipelines.bars.demand.control_sections import tension
from pipelines.bars.design import StandardDesign
from pipelines.standards.resistance.bars import (
    DIRECTIONS,
    LAYERS,
    Face,
    Layer,
    SlabBars,
    place_of,
)
from pipelines.standards.resistance.bending import Section
from pipelines.standards.resistance.shear import one_way_resistance, principal_shear

MORE = 1.02  # of what the value found asks for: it is read at the load positions that governed
POWER = 3.0  # resistance to punching grows with the third root of the steel: EN 1992-1-1 6.4.4(1)
# Steel that is tried for shear, as multiples of what there is: of little steel a least value of the
# resistance governs, of much it grows no more.
TIMES = np.geomspace(1.0, 20.0, 150)
# Checks that candidates of single layers are chosen by: they fail again only where the whole run
# looks closer.
SINGLE = (Check.BENDING, Check.STRESSES, Check.CRACKS, Check.FATIGUE, Check.STEEL)


@dataclass(frozen=True)
class Floor:
    """Least areas of a layer's bars [m2/m]: of its mat everywhere; of what lies beside supporting
    lines, where shear is judged, with bars added along these. why : the check behind the larger,
    in words.
    """

    everywhere: float = 0.0
    beside: float = 0.0
    why: str = ""

    @property
    def most(self) -> float:
        return max(self.everywhere, self.beside)

    def raised(self, other: "Floor") -> "Floor":
        """The larger of both; itself where the other is no larger."""
        grown = 1.0 + 1e-9
        if other.everywhere <= self.everywhere * grown and other.beside <= self.beside * grown:
            return self
        return Floor(
            max(self.everywhere, other.everywhere),
            max(self.beside, other.beside),
            other.why if other.most > self.most else self.why,
        )

    def times(self, factor: float) -> "Floor":
        return replace(self, everywhere=factor * self.everywhere, beside=factor * self.beside)

    def at_most(self, area: float) -> "Floor":
        return replace(self, everywhere=min(self.everywhere, area), beside=min(self.beside, area))


def asked(
    verdict: StandardVerdict, design: StandardDesign, bars: SlabBars, *, chosen: bool
) -> Iterator[tuple[Layer, Floor]]:
    """Layers with the least area that makes a failing check pass; nothing for checks that bars do
    not help.

    chosen : whether the bars have been chosen by the checks of single layers already.
    """
    for judged in verdict.judgements:
        if judged.worst is None or not judged.asked or (judged.check in SINGLE and not chosen):
            continue
        used = max((f.utilisation for f in judged.found if not f.met), default=0)
        if used <= 1.0:
            continue
        why = f"{judged.check.value}, {verdict.standard}"
        if judged.check is Check.SHEAR:
            yield from ((layer, Floor(beside=area, why=why)) for layer, area in _shear(design))
            continue
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
    elif judged.check in (Check.COLLISION, *SINGLE):
        for found in judged.found:
            if not found.met:
                yield from ((layer, 1.0) for layer in LAYERS if place_of(layer) in found.place)


def _shear(design: StandardDesign) -> Iterator[tuple[Layer, float]]:
    """The layer in tension at the worst section of every part where shear is too much, with the
    steel that it needs there [m2/m]."""
    for part in design.drawn:
        demand, peak, near = part.shear_demand, part.design_shear, part.reduced
        if demand is None or peak is None:
            continue
        used = max(peak.utilisation, 0.0 if near is None else max(near.whole, near.utilisation))
        if used <= 1.0:
            continue
        w = demand.widths.index(part.design_width)
        k = int(np.abs(demand.utilisation[w] - peak.utilisation).argmin())
        forces = demand.forces[w, :, k]
        principal = principal_shear(forces[3], forces[4])
        c, s = float(np.cos(principal.angle)), float(np.sin(principal.angle))
        m = forces[0] * c**2 + forces[1] * s**2 + 2 * forces[2] * c * s
        face: Face = "bottom" if m >= 0 else "top"
        bars = part.bars
        depth = principal.along(*(bars.effective_depth((face, e)) for e in DIRECTIONS))
        area = principal.along(*(bars.bars((face, e)).area for e in DIRECTIONS))
        v = demand.v[w, k] * used / peak.utilisation
        n = float(tension(demand.forces[w], demand.imposed)[k])
        section = Section(h=bars.thickness, d=depth, A_s=area * TIMES)
        basis = part.basis
        enough = v <= one_way_resistance(section, basis.materials, v, m, n, basis.aggregate).v_Rd
        times = float(TIMES[enough.argmax()]) if enough.any() else np.inf
        layer: Layer = face, ("x" if abs(c) >= abs(s) else "y")
        yield layer, _more(bars, layer, times)
