"""Bending of a metre of slab at the ultimate limit state (SI, elementwise on arrays).

Plane strains, rectangular stress block of the standard, steel elastic and then at yield without
hardening, concrete without tension. The moment is that of the face whose bars have depth d; it is
positive when that face is in tension. Compression steel counts if the section names it.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from pipelines.standards.materials import Materials
from pipelines.standards.resistance.bars import (
    DIRECTIONS,
    Direction,
    Face,
    Layer,
    SlabBars,
    other_face,
)
from pipelines.standards.sources import Source, Standard
from plate.arrays import Floats

Compression = Literal["ignored", "counted"]

BISECTIONS = 50  # halves d to 1e-15 d

BENDING: dict[Standard, Source] = {
    "EN 1992": Source("EN 1992", "6.1"),
    "IRC:112": Source("IRC:112", "8.2"),
    "AASHTO LRFD": Source("AASHTO LRFD", "5.6.3.2"),
}


@dataclass(frozen=True, kw_only=True)
class Section:
    """A metre of slab cut across one direction of bars; numbers or arrays that broadcast.

    h : thickness [m]; d, A_s : depth [m] and area [m2/m] of the bars in tension.
    d_c, A_sc : depth from the compressed face and area of the bars there; 0 = ignored.
    """

    h: ArrayLike
    d: ArrayLike
    A_s: ArrayLike
    d_c: ArrayLike = 0.0
    A_sc: ArrayLike = 0.0

    def arrays(self) -> tuple[Floats, Floats, Floats, Floats, Floats]:
        """h, d, A_s, d_c, A_sc of one shape."""
        values = (self.h, self.d, self.A_s, self.d_c, self.A_sc)
        h, d, a, d_c, a_c = np.broadcast_arrays(*(np.asarray(v, dtype=float) for v in values))
        return h, d, a, d_c, a_c


def layer_section(bars: SlabBars, layer: Layer, compression: Compression = "ignored") -> Section:
    """Section across the bars of `layer` when its face is in tension."""
    face, direction = layer
    d = bars.effective_depth(layer)
    if compression == "ignored":
        return Section(h=bars.thickness_of(layer), d=d, A_s=bars.bars(layer).area)
    opposite: Layer = (other_face(face), direction)
    d_c = bars.thickness_of(opposite) - bars.effective_depth(opposite)
    return Section(
        h=bars.thickness_of(layer),
        d=d,
        A_s=bars.bars(layer).area,
        d_c=d_c,
        A_sc=bars.bars(opposite).area,
    )


@dataclass(frozen=True, kw_only=True)
class Capacity:
    """m_Rd : design resistance [N m/m]; x : neutral axis depth [m]; strain : of the bars, positive
    in tension [-]; phi : resistance factor that m_Rd contains (1 for EN and IRC)."""

    m_Rd: Floats
    x: Floats
    strain: Floats
    phi: Floats
    source: Source


def _compression(section: Section, mat: Materials, x: Floats) -> tuple[Floats, Floats]:
    """Force [N/m] and moment about the tension bars [N m/m] of what lies at the compressed face.

    A bar there counts with its compression above that of the concrete it displaces, and not at all
    if the neutral axis leaves it in tension: both on the safe side.
    """
    _, d, _, d_c, a_c = section.arrays()
    block = mat.block
    concrete = block.depth_ratio * x * block.stress
    stress = np.minimum(mat.steel.E_s * block.eps_cu * (x - d_c) / x, mat.f_yd)
    stress = np.maximum(stress - block.stress, 0.0)
    force = concrete + a_c * stress
    moment = concrete * (d - block.depth_ratio * x / 2) + a_c * stress * (d - d_c)
    return force, moment


def _tension_stress(section: Section, mat: Materials, x: Floats) -> Floats:
    _, d, *_ = section.arrays()
    stress = mat.steel.E_s * mat.block.eps_cu * (d - x) / x
    return np.clip(stress, -mat.f_yd, mat.f_yd)


def _phi(mat: Materials, strain: Floats) -> Floats:
    """Bending factor between yield and the ductile strain (AASHTO 5.5.4.2; 1 elsewhere)."""
    least, full = (mat.factors.or_one(key) for key in ("phi_bending_least", "phi_bending"))
    if least == full:
        return np.full_like(strain, full)
    share = (strain - mat.yield_strain) / (mat.ductile_strain - mat.yield_strain)
    return least + (full - least) * np.clip(share, 0.0, 1.0)


def _neutral_axis(section: Section, mat: Materials) -> Floats:
    """Depth x at which the forces balance: they cross once between 0 and d.

    Without bars at the compressed face the compression grows with x and is balanced by bars that
    yield, or by elastic ones, which pull less: a linear and a quadratic equation.
    """
    _, d, a, _, a_c = section.arrays()
    if not a_c.any():
        block = mat.block
        yielding = a * mat.f_yd / (block.depth_ratio * block.stress)
        half = 0.5 * a * mat.steel.E_s * block.eps_cu / (block.depth_ratio * block.stress)
        elastic = np.sqrt(half * (half + 2.0 * d)) - half
        x = np.minimum(yielding, elastic)
        return np.maximum(x, 0.5**BISECTIONS * d)  # not 0 where there are no bars
    low, high = np.zeros_like(d), d.copy()
    for _ in range(BISECTIONS):
        x = (low + high) / 2
        force, _ = _compression(section, mat, x)
        deep = force > a * _tension_stress(section, mat, x)
        low, high = np.where(deep, low, x), np.where(deep, x, high)
    return (low + high) / 2


def _without_compression_bars(section: Section) -> Section:
    h, d, a, d_c, a_c = section.arrays()
    return Section(h=h, d=d, A_s=a, d_c=d_c, A_sc=np.zeros_like(a_c))


def capacity(section: Section, mat: Materials) -> Capacity:
    """Design bending resistance per metre.

    Bars near the neutral axis may lower the balanced moment a little; leaving them out is then as
    safe (lower bound), so the larger of both is given.
    """
    alone = _capacity(_without_compression_bars(section), mat)
    if not np.any(section.arrays()[4]):
        return alone
    helped = _capacity(section, mat)
    better = helped.m_Rd > alone.m_Rd
    return Capacity(
        m_Rd=np.where(better, helped.m_Rd, alone.m_Rd),
        x=np.where(better, helped.x, alone.x),
        strain=np.where(better, helped.strain, alone.strain),
        phi=np.where(better, helped.phi, alone.phi),
        source=alone.source,
    )


def _capacity(section: Section, mat: Materials) -> Capacity:
    _, d, *_ = section.arrays()
    x = _neutral_axis(section, mat)
    _, moment = _compression(section, mat, x)
    strain = mat.block.eps_cu * (d - x) / x
    phi = _phi(mat, strain)
    return Capacity(m_Rd=phi * moment, x=x, strain=strain, phi=phi, source=BENDING[mat.standard])


def compression_arm(section: Section, mat: Materials) -> Floats:
    """The distance from mid-depth to the middle of the stress block at the resistance in bending
    [m]."""
    bare = _without_compression_bars(section)
    arm: Floats = 0.5 * (bare.arrays()[0] - mat.block.depth_ratio * _neutral_axis(bare, mat))
    return arm


def required_steel(m_Ed: ArrayLike, section: Section, mat: Materials) -> Floats:
    """Least A_s [m2/m] in tension for m_Ed [N m/m]; A_s of the section is not used.

    NaN where no steel suffices with its strain at or above the ductile strain (yield; 0.005 for
    AASHTO): the slab must be thicker or compression steel counted.
    """
    demand, h, d, A_s, d_c, A_sc = np.broadcast_arrays(
        np.asarray(m_Ed, dtype=float), *section.arrays()
    )
    given = Section(h=h, d=d, A_s=A_s, d_c=d_c, A_sc=A_sc)
    alone = _required_steel(demand, _without_compression_bars(given), mat)
    helped = _required_steel(demand, given, mat) if np.any(given.arrays()[4]) else alone
    least: Floats = np.fmin(alone, helped)
    return least


def _required_steel(demand: Floats, section: Section, mat: Materials) -> Floats:
    _, d, *_ = section.arrays()
    nominal = np.maximum(demand, 0.0) / mat.factors.or_one("phi_bending")
    limit = d * mat.block.eps_cu / (mat.block.eps_cu + mat.ductile_strain)
    possible = _compression(section, mat, limit)[1] >= nominal
    low, high = np.zeros_like(d), limit
    for _ in range(BISECTIONS):
        x = (low + high) / 2
        enough = _compression(section, mat, x)[1] >= nominal
        low, high = np.where(enough, low, x), np.where(enough, x, high)
    force, _ = _compression(section, mat, high)
    return np.where(demand <= 0, 0.0, np.where(possible, force / mat.f_yd, np.nan))


def utilisation(m_Ed: ArrayLike, m_Rd: ArrayLike) -> Floats:
    """m_Ed/m_Rd; 0 where the face is not in tension; infinite where nothing resists."""
    demand, resistance = np.broadcast_arrays(
        np.asarray(m_Ed, dtype=float), np.asarray(m_Rd, dtype=float)
    )
    safe = np.where(resistance > 0, resistance, 1.0)
    share = np.where(resistance > 0, demand / safe, np.inf)
    return np.where(demand <= 0, 0.0, share)


@dataclass(frozen=True, kw_only=True)
class OrderCost:
    """What the other layer order would change: d [m] and m_Rd [N m/m] now and swapped."""

    direction: Direction
    d: float
    d_swapped: float
    m_Rd: float
    m_Rd_swapped: float


def order_cost(bars: SlabBars, face: Face, mat: Materials) -> tuple[OrderCost, OrderCost]:
    """Effective depth and capacity along x and y at `face`, as placed and with layers swapped."""
    swapped = bars.with_mat(face, bars.mat(face).swapped())

    def cost(direction: Direction) -> OrderCost:
        layer: Layer = (face, direction)
        now, then = (float(capacity(layer_section(b, layer), mat).m_Rd) for b in (bars, swapped))
        return OrderCost(
            direction=direction,
            d=bars.effective_depth(layer),
            d_swapped=swapped.effective_depth(layer),
            m_Rd=now,
            m_Rd_swapped=then,
        )

    x, y = (cost(direction) for direction in DIRECTIONS)
    return x, y
