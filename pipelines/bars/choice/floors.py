"""Least areas of layers that checks beyond those of single layers ask for: shear, punching,
collision, ends at edges, distribution steel."""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from pipelines.bars.adequacy import Check, Judgement, StandardVerdict
from pipelines.bars.checks.part import PartChecks
from pipelines.bars.demand.control_sections import tension
from pipelines.bars.design import StandardDesign
from pipelines.standards.resistance.bars import (
    DIRECTIONS,
    FACES,
    LAYERS,
    Face,
    Layer,
    SlabBars,
    place_of,
)
from pipelines.standards.resistance.bending import Section
from pipelines.standards.resistance.shear import (
    PrincipalShear,
    one_way_resistance,
    principal_shear,
)
from plate.arrays import Floats

MORE = 1.02  # of what the value found asks for: it is read at the load positions that governed
# Of what shear seems to ask for before bars have failed in it: an estimate by other bars, which are
# analysed afterwards.
LESS = 0.95
POWER = 3.0  # resistance to punching grows with the third root of the steel: EN 1992-1-1 6.4.4(1)
# Steel that is tried for shear, as multiples of what there is: of little steel a least value of the
# resistance governs, of much it grows no more.
TIMES = np.geomspace(0.05, 20.0, 400)
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

    def where(self, keep: NDArray[np.bool_]) -> "Floor":
        """At some of the places alone."""
        return replace(self, at=self.at[keep], areas=self.areas[keep])

    def times(self, factor: float) -> "Floor":
        return replace(self, everywhere=factor * self.everywhere, areas=factor * self.areas)


def asked(
    verdict: StandardVerdict, bars: SlabBars, *, chosen: bool
) -> Iterator[tuple[Layer, Floor]]:
    """Layers with the least area that makes a failing check but shear pass; nothing for checks that
    bars do not help.

    chosen : whether the bars have been chosen by the checks of single layers already.
    """
    for judged in verdict.judgements:
        if judged.worst is None or not judged.asked or (judged.check in SINGLE and not chosen):
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


def shear_floors(design: StandardDesign) -> Iterator[tuple[Layer, Floor, NDArray[np.bool_]]]:
    """What shear asks of the layers beside supporting lines, at every sample by the face in tension
    and the bars nearest to the direction of the shear that governs there; and (n,) where the bars
    as they are do not suffice."""
    if design.shear_not_asked is not None:
        return
    why = f"{Check.SHEAR.value}, {design.basis.materials.standard}"
    for part in design.drawn:
        demand, peak, near = part.shear_demand, part.design_shear, part.reduced
        if demand is None or peak is None:
            continue
        # searches that look closer may find more
        closer = 1.0 if near is None else max(1.0, near.whole / max(peak.utilisation, 1e-9))
        w = demand.widths.index(part.design_width)
        used = closer * demand.utilisation[w]
        mine = np.flatnonzero(used > 0.0)
        forces, n = demand.forces[w][:, mine], tension(demand.forces[w], demand.imposed)[mine]
        m_x, m_y, m_xy, q_x, q_y = forces[:5]
        principal = principal_shear(q_x, q_y)
        c, s = np.cos(principal.angle), np.sin(principal.angle)
        sags = m_x * c**2 + m_y * s**2 + 2 * m_xy * c * s
        for face in FACES:
            times = _times(part, face, principal, closer * demand.v[w, mine], sags, n)
            along = np.abs(c) >= np.abs(s)
            layers: tuple[tuple[Layer, NDArray[np.bool_]], ...] = (
                ((face, "x"), along),
                ((face, "y"), ~along),
            )
            for layer, nearest in layers:
                own = nearest & ((sags >= 0.0) == (face == "bottom"))
                areas = times[own] * part.bars.bars(layer).area
                yield (
                    layer,
                    Floor(at=demand.points[mine][own], areas=areas, why=why),
                    used[mine][own] > 1.0,
                )


def _times(
    part: PartChecks, face: Face, principal: PrincipalShear, v: Floats, m: Floats, n: Floats
) -> Floats:
    """(n,) how many times the steel of a face resists shears v [N/m] in the direction of the
    principal shear, with moments m and tensions n; where none does, from where on it resists no
    more."""
    bars, basis = part.bars, part.basis
    depth = principal.along(*(bars.effective_depth((face, e)) for e in DIRECTIONS))
    area = principal.along(*(bars.bars((face, e)).area for e in DIRECTIONS))
    h = principal.along(*(bars.thickness_of((face, e)) for e in DIRECTIONS))
    section = Section(h=h, d=depth, A_s=area * TIMES[:, None])
    resists = one_way_resistance(section, basis.materials, v, m, n, basis.aggregate).v_Rd
    enough = np.minimum(v, resists.max(axis=0)) <= resists
    return np.asarray(TIMES[enough.argmax(axis=0)])
