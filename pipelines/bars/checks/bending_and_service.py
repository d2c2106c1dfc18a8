"""Checks of the bars against the demands of one standard: rules, service stresses, bar choice."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np

from pipelines.bars.checks.own_checks import own_rows
from pipelines.deck.reinforcement import BarChoice, DesignBasis
from pipelines.standards.detailing.cover import cover_rows
from pipelines.standards.detailing.rules import (
    Row,
    distribution_rows,
    least_moment_row,
    least_steel_rows,
    most_steel_rows,
    spacing_rows,
)
from pipelines.standards.detailing.serviceability import (
    crack_limit,
    crack_spacing_row,
    crack_steel_rows,
    crack_width_row,
    span_depth_rows,
    stress_rows,
)
from pipelines.standards.materials import Materials
from pipelines.standards.own.checks import LayerDemand
from pipelines.standards.resistance.bars import (
    DIRECTIONS,
    FACES,
    LAYERS,
    Direction,
    Face,
    Layer,
    Mat,
    SlabBars,
    candidate_mats,
    place_of,
)
from pipelines.standards.resistance.bending import Section, capacity, layer_section, required_steel
from pipelines.standards.resistance.cracking import CRACKING, Cracked, crack_width, cracked_section
from pipelines.standards.sources import Source

# Creep coefficient behind the long-term modulus of concrete, for the bars' stress.
CREEP = 2.0
CREEP_SOURCE = Source(None, "creep coefficient 2.0 for long-term stresses", "common practice")


@dataclass(frozen=True, kw_only=True)
class Peaks:
    """Largest design moments [N m/m] per layer: ultimate, characteristic, and of the combination
    that the crack width is checked under.

    arms : t of `designmembrane` per layer [m] where membrane forces act, which the moments then
    contain as n t. pull, crack_pull : imposed tension n >= 0 [N/m] in the characteristic and the
    crack combination's largest; absent = 0.
    """

    ultimate: Mapping[Layer, float]
    characteristic: Mapping[Layer, float]
    crack: Mapping[Layer, float]
    arms: Mapping[Layer, float] | None = None
    pull: Mapping[Layer, float] = field(default_factory=dict)
    crack_pull: Mapping[Layer, float] = field(default_factory=dict)

    @property
    def main(self) -> Direction:
        """Direction of the larger moment at the bottom."""
        x, y = (self.ultimate["bottom", d] for d in DIRECTIONS)
        return "x" if x >= y else "y"


@lru_cache(maxsize=20000)
def moment_resistance(mat: Materials, h: float, d: float, area: float) -> float:
    """m_Rd [N m/m] of one layer without compression steel; 0 of one without bars."""
    if area == 0.0:
        return 0.0
    return float(capacity(Section(h=h, d=d, A_s=area), mat).m_Rd)


def resistances(bars: SlabBars, mat: Materials) -> dict[Layer, float]:
    """m_Rd [N m/m] of every layer."""
    return {
        layer: moment_resistance(
            mat, bars.thickness_of(layer), bars.effective_depth(layer), bars.bars(layer).area
        )
        for layer in LAYERS
    }


def steel_needed(bars: SlabBars, mat: Materials, peaks: Peaks) -> dict[Layer, float]:
    """Steel that bending, with membrane forces where they act, needs in every layer [m2/m]; NaN
    where the section is too small.

    The moments contain n t with the lever arm z of the bars drawn: less steel than that counts
    with this z and not with its own longer one.
    """
    found = {}
    for layer in LAYERS:
        section, moment = layer_section(bars, layer), peaks.ultimate[layer]
        needed = float(required_steel(moment, section, mat))
        if peaks.arms is not None:
            z = bars.effective_depth(layer) - bars.thickness_of(layer) / 2 + peaks.arms[layer]
            needed = max(needed, moment / (mat.factors.or_one("phi_bending") * z * mat.f_yd))
        found[layer] = needed
    return found


def service_state(
    bars: SlabBars, layer: Layer, peaks: Peaks, moment: float, n: float, E_c: float, E_s: float
) -> Cracked:
    """Cracked state of a layer's section under a service moment of `peaks`.

    n : the imposed tension that it contains [N/m]; with it the bars of both faces count.
    """
    if n <= 0 or peaks.arms is None:
        return cracked_section(layer_section(bars, layer), moment, E_c, E_s)
    section = layer_section(bars, layer, "counted")
    return cracked_section(section, moment - n * peaks.arms[layer], E_c, E_s, n)


def service_rows(bars: SlabBars, layer: Layer, basis: DesignBasis, peaks: Peaks) -> tuple[Row, ...]:
    """Stresses under the characteristic combination and the crack width of one layer; nothing of
    one without bars, which bending refuses."""
    mat, section, place = basis.materials, layer_section(bars, layer), place_of(layer)
    E_c, E_s = mat.concrete.E_c, mat.steel.E_s
    moment = peaks.characteristic[layer]
    if moment <= 0 or bars.bars(layer).area == 0.0:
        return ()
    n = peaks.pull.get(layer, 0.0)
    # the concrete's stress is largest before creep, the bars' after it
    soon = service_state(bars, layer, peaks, moment, n, E_c, E_s)
    late = service_state(bars, layer, peaks, moment, n, E_c / (1 + CREEP), E_s)
    rows = list(stress_rows(place, mat, float(soon.sigma_c), float(late.sigma_s)))
    if mat.standard not in CRACKING:
        rows += crack_spacing_row(bars, layer, mat, float(late.sigma_s))
        return tuple(rows)
    exposure = basis.exposure[FACES.index(layer[0])]
    if exposure is None and basis.crack_width is None:
        return tuple(rows)
    n = peaks.crack_pull.get(layer, 0.0)
    state = service_state(bars, layer, peaks, peaks.crack[layer], n, E_c / (1 + CREEP), E_s)
    layer_bars = bars.bars(layer)
    crack = crack_width(
        section,
        state,
        layer_bars.equivalent,
        layer_bars.widest,
        bars.mat(layer[0]).cover_to(layer[1]),
        mat.concrete.f_ct,
        E_c,
        E_s,
        mat.factors,
    )
    width = float(crack.w) if peaks.crack[layer] > 0 else 0.0
    limit, under = basis.crack_width, basis.crack_combination
    return (*rows, *crack_width_row(width, place, mat.factors, exposure, limit, under))


def mat_rows(bars: SlabBars, face: Face, basis: DesignBasis, peaks: Peaks) -> Iterator[Row]:
    """Rules for both layers of one face that the choice of its bars can meet, one after the other:
    who chooses asks no further than the first that fails."""
    mat = basis.materials
    m_Rd = resistances(bars, mat)
    for direction in DIRECTIONS:
        layer: Layer = (face, direction)
        yield from least_steel_rows(bars, layer, mat)
        yield from least_moment_row(bars, layer, mat, m_Rd[layer], peaks.ultimate[layer])
        exposure = basis.exposure[FACES.index(face)]
        w = crack_limit(mat.factors, exposure, basis.crack_width)
        if w is not None:
            pull = peaks.crack_pull.get(layer, 0.0)
            yield from crack_steel_rows(bars, layer, mat, w, pull)
        yield from most_steel_rows(bars, layer, mat.factors)
        # wheels stand everywhere
        yield from spacing_rows(bars, layer, peaks.main, mat.standard, True, basis.aggregate)
        yield from service_rows(bars, layer, basis, peaks)
        yield from own_rows(bars, layer, basis, _demand(layer, peaks))


def _demand(layer: Layer, peaks: Peaks) -> LayerDemand:
    """What a check of the user's own is told of a layer."""
    return LayerDemand(
        ultimate_kNm_m=1e-3 * peaks.ultimate[layer],
        characteristic_kNm_m=1e-3 * peaks.characteristic[layer],
        crack_kNm_m=1e-3 * peaks.crack[layer],
        n_kN_m=1e-3 * peaks.pull.get(layer, 0.0),
    )


def rule_rows(
    bars: SlabBars,
    basis: DesignBasis,
    peaks: Peaks,
    spans: Mapping[Direction, float],
    steel: Mapping[Layer, float],
    loaded: Mapping[Direction, SlabBars],
) -> tuple[Row, ...]:
    """Every rule that the standard has.

    spans : largest distance of neighbouring lines that the bars of each direction span [m]; the
    advice on span/depth is for the shorter one. steel : that bending needs [m2/m]. loaded : what
    lies where the bottom bars of a direction have their largest moment, added bars with it.
    """
    mat = basis.materials
    rows = [row for face in FACES for row in mat_rows(bars, face, basis, peaks)]
    main: Layer = ("bottom", peaks.main)
    needed = steel[main]
    if np.isfinite(needed):
        span = spans[peaks.main]
        rows += distribution_rows(bars, "bottom", peaks.main, mat.standard, span, needed)
    short: Layer = ("bottom", min(DIRECTIONS, key=lambda d: spans[d]))
    if np.isfinite(steel[short]):
        span = spans[short[1]]
        rows += span_depth_rows(loaded[short[1]], short, mat, span, "interior span", steel[short])
    for face, exposure in zip(FACES, basis.exposure, strict=True):
        if exposure is not None:
            rows += cover_rows(bars, face, mat, exposure, basis.structural_class)
    return tuple(rows)


def choose_mat(
    bars: SlabBars, face: Face, basis: DesignBasis, peaks: Peaks, choice: BarChoice
) -> Mat | None:
    """The mat of least steel, in either layer order, that passes bending at the ultimate limit
    state, the rules for its layers, stresses and crack width; None if none of the set does."""
    cover = bars.mat(face).cover
    found: list[Mat] = []
    for outer in DIRECTIONS:
        for mat in candidate_mats(choice.diameters, choice.spacings, cover, outer):
            if found and mat.area >= found[0].area - 1e-12:
                break
            if _passes(bars, face, mat, basis, peaks):
                found = [mat]
                break
    return found[0] if found else None


def _passes(bars: SlabBars, face: Face, mat: Mat, basis: DesignBasis, peaks: Peaks) -> bool:
    try:
        changed = bars.with_mat(face, mat)
    except ValueError:  # the mats do not fit in the slab
        return False
    m_Rd = resistances(changed, basis.materials)
    if any(m_Rd[face, d] < peaks.ultimate[face, d] for d in DIRECTIONS):
        return False
    return all(row.passes for row in mat_rows(changed, face, basis, peaks))
