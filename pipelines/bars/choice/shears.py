"""What shear asks of the steel of the layers, by everything that analyses have found of it.

Shears do not depend on the bars: places with their forces are kept from analysis to analysis, and
bars are tried against all of them at the depths that they have themselves. The steel along a shear
is x cos^2 + y sin^2 of that of two layers; each layer must know alone what it needs. First the one
nearest to the shear's direction is asked, beside as much steel across it. Where bars that were
chosen so have less across it is asked beside the least of the set, and where that is more than it
can have both layers are.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pipelines.bars.adequacy import Check
from pipelines.bars.choice.floors import Floor
from pipelines.bars.demand.shear import tension
from pipelines.bars.design import StandardDesign
from pipelines.deck.reinforcement import DesignBasis
from pipelines.standards.resistance.bars import DIRECTIONS, FACES, Face, Layer, SlabBars
from pipelines.standards.resistance.bending import Section, utilisation
from pipelines.standards.resistance.shear import (
    PrincipalShear,
    one_way_resistance,
    principal_shear,
)
from plate.arrays import Floats, Ints

# How a place asks: the nearest layer beside as much across it, beside the least, both layers.
AS_MUCH, THE_LEAST, BOTH = range(3)
MOST_STEEL = 0.020  # up to which steel is tried [m2/m]
HALVINGS = 24  # of that: to 1e-9 m2/m
# Two figures of one place, in N/m and N m/m, that differ by less than this are the same.
DIGITS = 2


@dataclass(frozen=True, kw_only=True, eq=False)
class Shears:
    """Shear at some places of parts of the slab of one thickness, by one standard.

    depths : bars of which the thickness counts, and that by which bars that run on are judged.
    points : (n, 2) in plan [m]. v, angle, m, n : (n,) principal shear [N/m], its direction [rad],
    the moment [N m/m] and tension [N/m] across it. asks : (n,) of which layers, as above.
    """

    basis: DesignBasis
    depths: SlabBars
    points: Floats
    v: Floats
    angle: Floats
    m: Floats
    n: Floats
    asks: Ints

    @property
    def why(self) -> str:
        return f"{Check.SHEAR.value}, {self.basis.materials.standard}"

    def nearest(self, layer: Layer) -> NDArray[np.bool_]:
        """(n,) where a layer is that of the face in tension nearest to the shear's direction."""
        along_x = np.abs(np.cos(self.angle)) >= np.abs(np.sin(self.angle))
        return self._face(layer[0]) & (along_x if layer[1] == "x" else ~along_x)

    def used(self, bars: SlabBars, steel: Mapping[Layer, Floats]) -> Floats:
        """(n,) how far bars with the depths of `bars` and the steel (n,) of every layer [m2/m] are
        used."""
        resists = np.zeros(len(self.v))
        for face in FACES:
            own = self._face(face)
            area = self._principal.along(*(steel[face, d] for d in DIRECTIONS))
            resists[own] = self._resists(bars, face, area)[own]
        return np.asarray(utilisation(self.v, resists))

    def asked(self, layer: Layer, bars: SlabBars, least: float) -> Floor:
        """The least steel of a layer where it is asked for any, at the depths of `bars`; least :
        the area of the lightest bars of the set [m2/m]."""
        share = (np.cos if layer[1] == "x" else np.sin)(self.angle) ** 2
        mine = self.nearest(layer) | (self._face(layer[0]) & (self.asks == BOTH))
        if not mine.any():
            return Floor()
        own = self.where(mine)
        area = own.needed(bars, layer[0])
        alone = (area - (1.0 - share[mine]) * least) / np.maximum(share[mine], 1e-9)
        areas = np.where(own.asks == THE_LEAST, np.maximum(alone, area), area)
        return Floor(at=own.points, areas=areas, why=self.why)

    def needed(self, bars: SlabBars, face: Face) -> Floats:
        """(n,) steel along the shear that resists it at a face [m2/m]; where none does, from where
        on it resists no more."""
        low, high = np.zeros(len(self.v)), np.full(len(self.v), MOST_STEEL)
        goal = np.minimum(self.v, self._resists(bars, face, high)) * (1.0 - 1e-9)
        for _ in range(HALVINGS):
            middle = 0.5 * (low + high)
            enough = self._resists(bars, face, middle) >= goal
            low, high = np.where(enough, low, middle), np.where(enough, middle, high)
        return np.where(self._resists(bars, face, np.zeros(len(self.v))) >= goal, 0.0, high)

    def more_of(self, used: Floats) -> "Shears":
        """Asking more where bars that were chosen are used (n,) above 1."""
        return replace(self, asks=np.minimum(self.asks + (used > 1.0 + 1e-9), BOTH))

    def where(self, keep: NDArray[np.bool_] | Ints) -> "Shears":
        """At some of the places alone."""
        return replace(
            self,
            points=self.points[keep],
            v=self.v[keep],
            angle=self.angle[keep],
            m=self.m[keep],
            n=self.n[keep],
            asks=self.asks[keep],
        )

    def is_like(self, other: "Shears") -> bool:
        """Whether another is by the same standard, of the same thicknesses."""
        mine, theirs = self.basis.materials.standard, other.basis.materials.standard
        same = self.depths.thickness, self.depths.run_on
        return mine == theirs and same == (other.depths.thickness, other.depths.run_on)

    def joined(self, other: "Shears") -> "Shears":
        """Both together, what is the same in both once."""
        own, its = self._figures, other._figures
        _, first = np.unique(np.round(np.vstack([own, its]), DIGITS), axis=0, return_index=True)
        new = np.sort(first[first >= len(own)]) - len(own)
        more = other.where(new)
        return replace(
            self,
            points=np.concatenate([self.points, more.points]),
            v=np.concatenate([self.v, more.v]),
            angle=np.concatenate([self.angle, more.angle]),
            m=np.concatenate([self.m, more.m]),
            n=np.concatenate([self.n, more.n]),
            asks=np.concatenate([self.asks, more.asks]),
        )

    @property
    def _figures(self) -> Floats:
        """(n, 5) by which places are told from each other."""
        return np.column_stack([self.points, self.v, self.m, self.n])

    def _face(self, face: Face) -> NDArray[np.bool_]:
        return np.asarray((self.m >= 0.0) == (face == "bottom"))

    @property
    def _principal(self) -> PrincipalShear:
        return PrincipalShear(self.v, np.cos(self.angle), np.sin(self.angle))

    def _resists(self, bars: SlabBars, face: Face, area: Floats) -> Floats:
        """(n,) [N/m] with an area (n,) along the shear at a face."""
        here = bars.at(self.depths.thickness, self.depths.run_on)
        h = self._principal.along(*(here.thickness_of((face, d)) for d in DIRECTIONS))
        d = self._principal.along(*(here.effective_depth((face, e)) for e in DIRECTIONS))
        section, mat = Section(h=h, d=d, A_s=area), self.basis.materials
        return one_way_resistance(section, mat, self.v, self.m, self.n, self.basis.aggregate).v_Rd


def shears_of(design: StandardDesign) -> Iterator[Shears]:
    """What one analysis found by a standard, part by part; nothing where it asks for no shear."""
    for part in design.drawn if design.shear_not_asked is None else ():
        demand, peak, near = part.shear_demand, part.design_shear, part.reduced
        if demand is None or peak is None:
            continue
        # searches that look closer may find more
        closer = 1.0 if near is None else max(1.0, near.whole / max(peak.utilisation, 1e-9))
        w = demand.widths.index(part.design_width)
        m_x, m_y, m_xy, q_x, q_y = demand.forces[w, :5]
        principal = principal_shear(q_x, q_y)
        c, s = principal.cosine, principal.sine
        found = Shears(
            basis=design.basis,
            depths=part.bars,
            points=demand.points,
            v=closer * demand.v[w],
            angle=principal.angle,
            m=m_x * c**2 + m_y * s**2 + 2 * m_xy * c * s,
            n=tension(demand.forces[w], demand.imposed),
            asks=np.full(len(principal.v), AS_MUCH),
        )
        yield found.where(demand.utilisation[w] > 0.0)


def with_shears(known: Sequence[Shears], more: Shears) -> tuple[Shears, ...]:
    """What is known with what a further analysis found."""
    alike = [one for one in known if one.is_like(more)]
    others = [one for one in known if not one.is_like(more)]
    return (*others, alike[0].joined(more) if alike else more)
