"""Bars, mats and layers of a slab: areas, effective depths, and which direction lies outermost.

A mat is the pair of layers at one face. The outer layer has the cover; the inner layer rests on it,
so its effective depth is less by the outer bar and half of each: the larger lever arm belongs to
the direction with the larger moment (common practice: main bars outermost at both faces).
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise, product
from math import gcd, lcm
from typing import Literal

import numpy as np

Face = Literal["top", "bottom"]
Direction = Literal["x", "y"]
Layer = tuple[Face, Direction]

FACES: tuple[Face, Face] = ("top", "bottom")
DIRECTIONS: tuple[Direction, Direction] = ("x", "y")
MIDDLE = 0.5  # of a gap
LAYERS: tuple[Layer, ...] = tuple(product(FACES, DIRECTIONS))


def other_direction(direction: Direction) -> Direction:
    return "y" if direction == "x" else "x"


def other_face(face: Face) -> Face:
    return "bottom" if face == "top" else "top"


def place_of(layer: Layer) -> str:
    """Words for print: 'bottom, bars along x'."""
    return f"{layer[0]}, bars along {layer[1]}"


@dataclass(frozen=True)
class Bars:
    """One layer: diameter and centre-to-centre spacing [m]; loss : share of these bars' area that
    is gone, or does not count; between : sets of bars added in the gaps between them, in every gap
    or in every second, third, ...: as drawn their spacing is a whole multiple of this one.
    place : of such bars, how far past a bar of the mat the first lies, in that one's spacing;
    mark : their name.

    Raises
    ------
    ValueError
        If the bars do not fit between each other.
    """

    diameter: float
    spacing: float
    loss: float = 0.0
    between: tuple["Bars", ...] = ()
    place: float = MIDDLE
    mark: str = field(default="", compare=False)

    def __post_init__(self) -> None:
        if not 0 <= self.loss <= 1:
            raise ValueError(f"loss of {1e2 * self.loss:g} % of the bars: allowed is 0 to 100 %")
        if not 0 < self.diameter < self.spacing:
            raise ValueError(
                f"bars of {1e3 * self.diameter:g} mm at {1e3 * self.spacing:g} mm: the diameter "
                "must be positive and less than the spacing"
            )
        if self.between and self.clear <= 0:
            more = " and ".join(map(str, self.between))
            raise ValueError(
                f"bars {more} do not fit between bars {1e3 * self.diameter:g}@"
                f"{1e3 * self.spacing:g}"
            )

    def with_more(self, added: "Bars") -> "Bars":
        """The same with a further set between them.

        Raises
        ------
        ValueError
            If it does not fit there, by its diameter or its spacing.
        """
        multiple = added.spacing / self.spacing
        if added.between or abs(multiple - max(round(multiple), 1)) > 1e-6:
            raise ValueError(
                f"bars at {1e3 * added.spacing:g} mm do not lie between bars at "
                f"{1e3 * self.spacing:g} mm: allowed is that spacing or a whole multiple of it"
            )
        return replace(self, between=(*self.between, added))

    def placed(self, added: "Bars", others: Sequence["Bars"]) -> "Bars":
        """A set at its first free place between these bars beside others that are there: in the
        middle of a gap, or where these lie there halfway to a bar of the mat.

        Raises
        ------
        ValueError
            If no place is free.
        """
        every = max(round(added.spacing / self.spacing), 1)
        for share in (MIDDLE, MIDDLE / 2, 1 - MIDDLE / 2):
            for gap in range(every):
                one = replace(added, place=gap + share)
                if not any(self._meet(one, other) for other in others):
                    return one
        raise ValueError(f"bars {added} find no gap beside {' and '.join(map(str, others))}")

    def _meet(self, one: "Bars", other: "Bars") -> bool:
        """Whether bars of two sets between these lie at one place."""
        common = gcd(*(max(round(bars.spacing / self.spacing), 1) for bars in (one, other)))
        off = (one.place - other.place) % common
        return min(off, common - off) < 1e-6

    @property
    def sets(self) -> tuple["Bars", ...]:
        """These and those between them, each by itself."""
        return (replace(self, between=(), place=0.0), *self.between)

    @property
    def area(self) -> float:
        """Steel that is left per metre of width [m2/m]."""
        own = float((1.0 - self.loss) * np.pi * self.diameter**2 / 4 / self.spacing)
        return own + sum(one.area for one in self.between)

    @property
    def largest(self) -> float:
        """Largest diameter of the layer [m]."""
        return max(one.diameter for one in self.sets)

    @property
    def equivalent(self) -> float:
        """The diameter [m] that stands for bars of several in the crack width, sum of n phi^2 over
        sum of n phi: EN 1992-1-1 7.3.4(3), equation 7.12; IRC:112 12.3.4(3)."""
        if not self.between:
            return self.diameter
        return sum(b.diameter**2 / b.spacing for b in self.sets) / sum(
            b.diameter / b.spacing for b in self.sets
        )

    def _centres(self) -> Sequence[tuple[float, float]]:
        """Places [m] and diameters of all bars until they come again, in order."""
        multiples = [max(round(one.spacing / self.spacing), 1) for one in self.sets]
        period = lcm(*multiples)
        found = sorted(
            (self.spacing * (one.place + k), one.diameter)
            for one, multiple in zip(self.sets, multiples, strict=True)
            for k in range(0, period, multiple)
        )
        return [*found, (self.spacing * period, self.diameter)]

    @property
    def widest(self) -> float:
        """Largest distance between the centres of neighbouring bars [m]."""
        return max(b[0] - a[0] for a, b in pairwise(self._centres()))

    @property
    def clear(self) -> float:
        """Least clear distance between neighbouring bars [m]."""
        return min(b[0] - a[0] - 0.5 * (a[1] + b[1]) for a, b in pairwise(self._centres()))

    def __str__(self) -> str:
        left = f" less {1e2 * self.loss:.0f} %" if self.loss else ""
        more = "".join(f" + {one}" for one in self.between)
        return f"{1e3 * self.diameter:g}@{1e3 * self.spacing:g}{left}{more}"


@dataclass(frozen=True, kw_only=True)
class Mat:
    """Both layers at one face.

    cover : concrete outside the outer layer [m].
    x, y : bars along each direction ("y" = the second direction where bars are skew).
    outer : the direction nearest to the face.
    gap : clear distance between the layers [m]; 0 = the inner layer rests on the outer.
    """

    cover: float
    x: Bars
    y: Bars
    outer: Direction
    gap: float = 0.0

    def __post_init__(self) -> None:
        if self.cover <= 0 or self.gap < 0:
            raise ValueError(f"cover {self.cover} must be positive and gap {self.gap} not negative")

    def bars(self, direction: Direction) -> Bars:
        return self.x if direction == "x" else self.y

    def with_bars(self, direction: Direction, bars: Bars) -> "Mat":
        """The same with other bars along a direction."""
        return replace(self, x=bars) if direction == "x" else replace(self, y=bars)

    def cover_to(self, direction: Direction) -> float:
        """Concrete between the face and the bars along `direction` [m]."""
        if direction == self.outer:
            return self.cover
        return self.cover + self.bars(self.outer).largest + self.gap

    def swapped(self) -> "Mat":
        """The same bars and cover with the other direction outermost."""
        return replace(self, outer=other_direction(self.outer))

    @property
    def area(self) -> float:
        """Steel of both layers per square metre of slab, as a volume [m3/m2]."""
        return self.x.area + self.y.area


@dataclass(frozen=True)
class SlabBars:
    """Thickness [m] and the mats at both faces.

    run_on : layers of which the bars of a thinner part count, which run on past a step of the
    soffit, with its thickness [m]: they are judged by that.

    Raises
    ------
    ValueError
        If the mats do not fit in the thickness.
    """

    thickness: float
    top: Mat
    bottom: Mat
    run_on: tuple[tuple[Layer, float], ...] = ()

    def __post_init__(self) -> None:
        inner = [m.cover_to(other_direction(m.outer)) for m in (self.top, self.bottom)]
        bars = [m.bars(other_direction(m.outer)).largest for m in (self.top, self.bottom)]
        thickness = min((self.thickness, *dict(self.run_on).values()))
        if sum(inner) + sum(bars) > thickness:
            raise ValueError(
                f"covers and bars need {1e3 * (sum(inner) + sum(bars)):.0f} mm, more than the "
                f"thickness {1e3 * thickness:.0f} mm"
            )

    def mat(self, face: Face) -> Mat:
        return self.top if face == "top" else self.bottom

    def with_mat(self, face: Face, mat: Mat) -> "SlabBars":
        return replace(self, top=mat) if face == "top" else replace(self, bottom=mat)

    def bars(self, layer: Layer) -> Bars:
        return self.mat(layer[0]).bars(layer[1])

    def thickness_of(self, layer: Layer) -> float:
        """The thickness [m] by which the bars of a layer are judged."""
        return dict(self.run_on).get(layer, self.thickness)

    def at(self, thickness: float, run_on: tuple[tuple[Layer, float], ...] = ()) -> "SlabBars":
        """The same covers and bars where the slab is that thick [m]."""
        return replace(self, thickness=thickness, run_on=run_on)

    def thicker(self, by: float) -> "SlabBars":
        """The same with so much more thickness everywhere [m]."""
        run_on = tuple((layer, thickness + by) for layer, thickness in self.run_on)
        return self.at(self.thickness + by, run_on)

    def effective_depth(self, layer: Layer) -> float:
        """The distance from the opposite face to the bars' centre [m], used when `face` is in
        tension; of bars of two diameters to the thicker ones' centre, on the safe side."""
        mat = self.mat(layer[0])
        axis = mat.cover_to(layer[1]) + mat.bars(layer[1]).largest / 2
        return self.thickness_of(layer) - axis

    @property
    def of_depth(self) -> "SlabBars":
        """Bars one metre apart with the same covers and effective depths: these alone of the
        bars."""

        def alone(mat: Mat) -> Mat:
            return replace(mat, x=Bars(mat.x.largest, 1.0), y=Bars(mat.y.largest, 1.0))

        return replace(self, top=alone(self.top), bottom=alone(self.bottom))

    def with_added(self, layer: Layer, added: Bars) -> "SlabBars":
        """The same with bars added between those of a layer."""
        mat = self.mat(layer[0])
        bars = mat.bars(layer[1]).with_more(added)
        return self.with_mat(layer[0], mat.with_bars(layer[1], bars))


def candidate_mats(
    diameters: Sequence[float], spacings: Sequence[float], cover: float, outer: Direction
) -> Iterator[Mat]:
    """Mats from a stated set of diameters and spacings [m], least steel first.

    Equal steel: the smaller inner bar, then the wider spacing of the outer layer.
    """
    pairs = [Bars(d, s) for d in diameters for s in spacings if d < s]
    mats = [
        Mat(cover=cover, x=a, y=b, outer=outer)
        if outer == "x"
        else Mat(cover=cover, x=b, y=a, outer=outer)
        for a, b in product(pairs, pairs)
    ]

    def order(mat: Mat) -> tuple[float, float, float]:
        inner = mat.bars(other_direction(outer))
        # rounding keeps 16@100 and 2 x 16@200 a tie in spite of their last digits
        return round(mat.area, 12), inner.diameter, -mat.bars(outer).spacing

    yield from sorted(mats, key=order)
