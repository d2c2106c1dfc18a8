"""Least areas of layers that checks beyond those of single layers ask for: shear, punching,
collision, distribution steel."""

from collections.abc import Iterator

import numpy as np

from pipelines.bars.adequacy import Check, Judgement, StandardVerdict
from pipelines.bars.checks.part import PartChecks
from pipelines.bars.design import StandardDesign
from pipelines.standards.resistance.bars import LAYERS, Layer, SlabBars, place_of
from pipelines.standards.resistance.shear import principal_shear

MORE = 1.02  # of what the value found asks for: it is read at the load positions that governed
POWER = 3.0  # v_Rd,c grows with the third root of the steel: EN 1992-1-1 6.2.2(1), 6.4.4(1)


# Checks that candidates of single layers are chosen by: they fail again only where the whole run
# looks closer.
SINGLE = (Check.BENDING, Check.STRESSES, Check.CRACKS, Check.FATIGUE, Check.STEEL)


def asked(
    verdict: StandardVerdict, design: StandardDesign, bars: SlabBars, *, chosen: bool
) -> Iterator[tuple[Layer, float, str]]:
    """Layers with the least area [m2/m] that makes a failing check pass, and the check in words;
    nothing for checks that bars do not help.

    chosen : whether the bars have been chosen by the checks of single layers already.
    """
    for judged in verdict.judgements:
        if judged.worst is None or not judged.asked or (judged.check in SINGLE and not chosen):
            continue
        used = max((f.utilisation for f in judged.found if not f.met), default=0)
        if used <= 1.0:
            continue
        for layer, power in _layers(judged, design):
            area = bars.bars(layer).area * MORE * used**power
            yield layer, area, f"{judged.check.value}, {verdict.standard}"


def _layers(judged: Judgement, design: StandardDesign) -> Iterator[tuple[Layer, float]]:
    """The layers whose steel helps, and the power of the utilisation by which it must grow."""
    if judged.check is Check.SHEAR:
        for part in design.drawn:
            yield from ((layer, POWER) for layer in _in_tension(part))
    elif judged.check is Check.PUNCHING:
        yield from ((("bottom", direction), POWER) for direction in ("x", "y"))
    elif judged.check is Check.BENDING and judged.layer is not None:
        yield judged.layer, 1.0
    elif judged.check in (Check.COLLISION, *SINGLE):
        for found in judged.found:
            if not found.met:
                yield from ((layer, 1.0) for layer in LAYERS if place_of(layer) in found.place)


def _in_tension(part: PartChecks) -> Iterator[Layer]:
    """The layer that resists the worst shear of a part, where that is too much."""
    demand, judged = part.shear_demand, part.design_shear
    if demand is None or judged is None:
        return
    w = demand.widths.index(part.design_width)
    forces = demand.forces[w, :, int(demand.utilisation[w].argmax())]
    angle = float(principal_shear(forces[3], forces[4]).angle)
    c, s = np.cos(angle), np.sin(angle)
    m = forces[0] * c**2 + forces[1] * s**2 + 2 * forces[2] * c * s
    yield ("bottom" if m >= 0 else "top"), ("x" if abs(c) >= abs(s) else "y")
