"""Bars of a deck and what they are checked to: the part of a `Deck` that is about resistance (SI).

`deckbars` makes these values from the deck file.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import shapely

from pipelines.deck.as_built import AsBuilt
from pipelines.deck.panels import Panels
from pipelines.deck.survey import Value as SurveyValue
from pipelines.standards.materials import Materials
from pipelines.standards.own.own import Own
from pipelines.standards.resistance.bars import Bars, Face, Layer, SlabBars
from pipelines.standards.resistance.fatigue_damage import DamageFactor
from pipelines.standards.sources import Standard

# Longest bar that is delivered [m], common practice.
STOCK = 12.0
# A smaller part of the slab, or a smaller overlap, is none [m2].
NOTHING = 1e-4
CrackCombination = Literal["characteristic", "frequent", "quasi-permanent"]


@dataclass(frozen=True, kw_only=True)
class DesignBasis:
    """One standard to which the slab is checked.

    exposure : class at the top and bottom face in the standard's words, None = not stated.
    aggregate : largest size [m]; crack_width : limit that the user states [m], None = the
    standard's; crack_combination : of the crack width; structural_class : 1 .. 6 for S1 .. S6 of
    EN 1992-1-1 4.4.1.2(5) behind its cover, None = by the design life of the factors. own : what
    gives checks of the user's own.
    """

    materials: Materials
    exposure: tuple[str | None, str | None]
    aggregate: float
    crack_width: float | None
    crack_combination: CrackCombination
    structural_class: int | None = None
    own: Own = field(default_factory=Own)


@dataclass(frozen=True)
class Prices:
    """What every diameter, spacing and zone of added bars beyond the first may cost: steel per
    area of slab [kg/m2]."""

    diameter: float = 0.4
    spacing: float = 0.2
    zone: float = 0.4


@dataclass(frozen=True)
class BarChoice:
    """Diameters and spacings [m] from which bars may be chosen.

    thicknesses : of the slab that may be chosen [m], increasing; grades : of concrete that may be
    chosen, by standard, in the order of trial; empty = as it is.
    """

    diameters: tuple[float, ...]
    spacings: tuple[float, ...]
    prices: Prices = Prices()
    thicknesses: tuple[float, ...] = ()
    grades: tuple[Mapping[Standard, str], ...] = ()


@dataclass(frozen=True, kw_only=True)
class AddedBars:
    """Bars that lie between those of a mat in a part of the slab.

    mark : by which they are told. area : the part, in plan, within the slab. where : the same in
    words.
    """

    mark: str
    layer: Layer
    bars: Bars
    area: shapely.Geometry
    where: str

    def overlaps(self, other: "AddedBars") -> bool:
        """Whether there is a part of the slab where both lie."""
        return float(shapely.area(self.area & other.area)) > NOTHING


@dataclass(frozen=True)
class ImposedForce:
    """Membrane force in a part of the slab from outside the model (a chord that pulls it).

    stations, offsets : (2,) plan ranges [m]; None = the full extent. n : n_x, n_y, n_xy [N/m],
    characteristic, tension positive; gamma : its factor at the ultimate limit state.
    """

    stations: tuple[float, float] | None
    offsets: tuple[float, float] | None
    n: tuple[float, float, float]
    gamma: float


@dataclass(frozen=True, kw_only=True)
class Collision:
    """Horizontal force outwards on the parapets of some side edges.

    force [N]; height : of the force above the slab [m]; length : of the force along the edge [m];
    spread : angle at which it spreads through the parapet down to the slab [rad]; inner_face : of
    the parapet, from the slab's edge [m]; edges : "left", "right"; vertical : wheel against the
    parapet that acts with the force, 0 = none [N].
    """

    force: float
    height: float
    length: float
    spread: float
    inner_face: float
    edges: tuple[str, ...]
    vertical: float = 0.0


@dataclass(frozen=True, kw_only=True)
class EdgeBeam:
    """Bars and links of the beams along some lines, a rectangle of width x depth [m].

    top, bottom : area of their bars [m2]; axis_top, axis_bottom : from the face to the bars'
    centre [m]; links : area of all legs over their spacing [m2/m]; legs : how many; axis_links :
    from the face to the centre of the outer links [m].
    """

    lines: tuple[str, ...]
    width: float
    depth: float
    top: float
    bottom: float
    axis_top: float
    axis_bottom: float
    links: float
    legs: int
    axis_links: float


@dataclass(frozen=True, kw_only=True)
class Survey:
    """What was read on site.

    panels : into which the deck is cut; built : those with readings by their number, in order;
    value : whether the mean of repeated readings counts or the worst of them.
    """

    path: str
    panels: Panels
    built: Mapping[int, AsBuilt]
    value: SurveyValue


@dataclass(frozen=True, kw_only=True)
class Reinforcement:
    """Bars of the slab and what they are checked to.

    bars : the mats, which lie everywhere; added : what lies between their bars in parts of the
    slab. angle : from x to the second bars [rad], pi/2 = orthogonal.
    shear_widths : over which shear is averaged [m], 0 = the peak; None = by the program.
    imposed : membrane forces that may act at any time, or be absent. collision : on the parapets.
    beams : bars of beams along lines. damage : damage equivalence factor of the bars at each face
    (EN 1992), None = fatigue by the plain stress range. hogging_at_face : whether the moments of
    the top bars count beside supports whose widths are stated, not over them. stock : longest bar
    that is delivered [m].
    """

    bars: SlabBars
    angle: float
    bases: tuple[DesignBasis, ...]
    choice: BarChoice | None = None
    shear_widths: tuple[float, ...] | None = None
    survey: Survey | None = None
    imposed: tuple[ImposedForce, ...] = ()
    collision: Collision | None = None
    beams: tuple[EdgeBeam, ...] = ()
    damage: Mapping[Face, DamageFactor] | None = None
    hogging_at_face: bool = True
    added: tuple[AddedBars, ...] = ()
    stock: float = STOCK

    def with_added(self, added: AddedBars) -> SlabBars:
        """The bars of the slab where some added bars lie: the mats, these, and what else is added
        to their layer in any part of where they lie."""
        bars = self.bars
        for one in self.added:
            if one.layer == added.layer and (one is added or one.overlaps(added)):
                bars = bars.with_added(one.layer, one.bars)
        return bars
