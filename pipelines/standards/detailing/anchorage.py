"""Anchorage of straight bars."""

import numpy as np

from pipelines.standards.detailing.rules import INCH
from pipelines.standards.materials import KSI, MPA, Materials
from pipelines.standards.resistance.bars import Layer, SlabBars


def anchorage(bars: SlabBars, layer: Layer, mat: Materials) -> float:
    """Straight length [m] that anchors a layer's bars, the thickest, at their design yield stress.

    EN 8.4.2, 8.4.3 and IRC 15.2.3, 15.2.4: basic length, poor bond for top bars higher than 250 mm
    above the soffit of slabs up to 600 mm, within 300 mm of the top of thicker ones. AASHTO
    5.10.8.2.1: black bars, confined by cover or half the spacing alone, not closer than 12 in to
    the bottom of the pour without 30 % more.
    """
    one, d, h = bars.bars(layer), bars.effective_depth(layer), bars.thickness_of(layer)
    diameter, apart = one.largest, one.clear + one.largest
    # of the bars' centre above the soffit
    height = d if layer[0] == "top" else h - d
    if mat.standard == "AASHTO LRFD":
        basic = 2.4 * diameter * (mat.steel.f_yk / KSI) / np.sqrt(mat.concrete.f_ck / KSI)
        confined = diameter / min(h - d, apart / 2)
        low = 1.3 if height - diameter / 2 > 12 * INCH else 1.0
        return float(max(basic * low * np.clip(confined, 0.4, 1.0), 12 * INCH))
    good = height <= max(0.250, h - 0.300 if h > 0.600 else 0.0)
    bond = (1.0 if good else 0.7) * min((0.132 - diameter) / 0.100, 1.0)
    strength = mat.factors.or_one("alpha_ct") * min(0.7 * mat.concrete.f_ct, 3.1 * MPA)
    f_ctd = strength / mat.factors["gamma_c"]
    return float(diameter / 4 * mat.f_yd / (2.25 * bond * f_ctd))
