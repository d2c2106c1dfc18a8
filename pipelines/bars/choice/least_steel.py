"""The least steel of all four layers together, with a price on variety, by integer programming."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp

from pipelines.bars.choice.candidates import Candidate, Needs, Trial
from pipelines.deck.reinforcement import Prices
from pipelines.standards.resistance.bars import (
    DIRECTIONS,
    FACES,
    LAYERS,
    Bars,
    Direction,
    Face,
    Layer,
    Mat,
    SlabBars,
    other_direction,
)
from plate.arrays import Floats

# A face's layer order, and the largest diameter of its outer layer on which the inner one rests.
Rest = tuple[Direction, float]


@dataclass(frozen=True, kw_only=True)
class Chosen:
    """Bars of all layers, and which direction is outermost at each face."""

    outer: Mapping[Face, Direction]
    layers: Mapping[Layer, Candidate]

    @property
    def mass(self) -> float:
        """[kg]"""
        return sum(one.mass for one in self.layers.values())

    def counted(self, prices: Prices, area: float) -> float:
        """Its mass and the prices of its variety on a slab of that area [kg]."""
        sets = [bars for one in self.layers.values() for bars in one.sets]
        diameters, spacings = {b.diameter for b in sets}, {b.spacing for b in sets}
        zones = sum(one.added is not None for one in self.layers.values())
        variety = prices.diameter * len(diameters) + prices.spacing * len(spacings)
        return self.mass + area * (variety + prices.zone * zones)


@dataclass(frozen=True, kw_only=True)
class Option:
    """A candidate of a layer at a face with that layer order; rest : of an inner layer, what it
    rests on."""

    layer: Layer
    outer: Direction
    rest: Rest | None
    candidate: Candidate

    @property
    def gives(self) -> Rest:
        """As an outer layer, what the inner one rests on."""
        return self.outer, max(bars.largest for bars in self.candidate.sets)


def least_steel(needs: Needs, bars: SlabBars) -> Chosen | None:
    """The bars of least steel and variety of which every layer passes; None where there are none.

    bars : covers and thickness, with the other face's bars as they were.
    """
    return least_of(options(needs, bars), needs.choice.prices, needs.area, room(needs, bars))


def room(needs: Needs, bars: SlabBars) -> float:
    """What the covers leave for the diameters of all four layers where the slab is thinnest [m]."""
    slab = needs.deck.slab
    least = min((bars.thickness, *(zone.thickness for zone in slab.zones)))
    return least - sum(bars.mat(face).cover for face in FACES)


def options(needs: Needs, bars: SlabBars) -> list[Option]:
    """Every candidate of all layers, in both layer orders."""
    return [option for face in FACES for option in _options(needs, bars, face)]


def _options(needs: Needs, bars: SlabBars, face: Face) -> list[Option]:
    """Every candidate of both layers of a face, in both layer orders."""
    found = []
    for outer in DIRECTIONS:
        mat = Mat(cover=bars.mat(face).cover, x=bars.mat(face).x, y=bars.mat(face).y, outer=outer)
        own: Layer = (face, outer)
        first = [
            Option(layer=own, outer=outer, rest=None, candidate=candidate)
            for candidate in Trial(needs, bars.with_mat(face, mat), own).candidates()
        ]
        found += first
        inner: Layer = (face, other_direction(outer))
        for rest in sorted({option.gives for option in first}):
            # the inner layer's depth depends on the outer one's diameter alone
            resting = mat.with_bars(
                outer, Bars(rest[1], max(bars.mat(face).x.spacing, 2 * rest[1]))
            )
            trial = Trial(needs, bars.with_mat(face, resting), inner)
            found += [
                Option(layer=inner, outer=outer, rest=rest, candidate=candidate)
                for candidate in trial.candidates()
            ]
    return found


def least_of(
    options: Sequence[Option],
    prices: Prices,
    area: float,
    room: float,
    counts: Callable[[Option], bool] = lambda _: True,
) -> Chosen | None:
    """One option for the outer and one for the inner layer of each face, of those that count, with
    the least steel and variety; None where there are none, or none that fit: room : for the largest
    diameters of all layers [m]."""
    options = [option for option in options if counts(option)]
    if not options:
        return None
    diameters = sorted({bars.diameter for o in options for bars in o.candidate.sets})
    spacings = sorted({bars.spacing for o in options for bars in o.candidate.sets})
    n, n_d = len(options), len(diameters)
    cost = np.concatenate(
        [
            [
                o.candidate.mass + area * prices.zone * (o.candidate.added is not None)
                for o in options
            ],
            np.full(n_d, area * prices.diameter),
            np.full(len(spacings), area * prices.spacing),
        ]
    )
    rows, low, high = [], [], []

    def row(picked: Mapping[int, float], least: float, most: float) -> None:
        values = np.zeros(len(cost))
        for k, value in picked.items():
            values[k] = value
        rows.append(values)
        low.append(least)
        high.append(most)

    for face in FACES:
        mine = [k for k, o in enumerate(options) if o.layer[0] == face]
        row({k: 1.0 for k in mine if options[k].rest is None}, 1.0, 1.0)
        for rest in {o.gives for o in (options[k] for k in mine) if o.rest is None}:
            above = {k: 1.0 for k in mine if options[k].rest is None and options[k].gives == rest}
            row(above | {k: -1.0 for k in mine if options[k].rest == rest}, 0.0, 0.0)
    # bars that would touch those of the other face are none
    row({k: o.candidate.largest for k, o in enumerate(options)}, 0.0, room - 1e-6)
    for k, option in enumerate(options):
        for bars in option.candidate.sets:
            row({k: 1.0, n + diameters.index(bars.diameter): -1.0}, -1.0, 0.0)
            row({k: 1.0, n + n_d + spacings.index(bars.spacing): -1.0}, -1.0, 0.0)
    solved = milp(
        cost,
        constraints=LinearConstraint(np.array(rows), low, high),
        integrality=np.ones(len(cost), dtype=np.int64),
        bounds=Bounds(0.0, 1.0),
        options={"mip_rel_gap": 0.0},
    )
    if not solved.success:
        return None
    chosen = [o for o, taken in zip(options, solved.x[:n] > 0.5, strict=True) if taken]
    return Chosen(
        outer={o.layer[0]: o.outer for o in chosen},
        layers={o.layer: o.candidate for o in chosen},
    )


def slab_bars(chosen: Chosen, drawn: SlabBars) -> SlabBars:
    """The mats chosen, at the thickness and with the covers drawn."""
    mats = {
        face: Mat(
            cover=drawn.mat(face).cover,
            x=chosen.layers[face, "x"].bars,
            y=chosen.layers[face, "y"].bars,
            outer=chosen.outer[face],
        )
        for face in FACES
    }
    return SlabBars(drawn.thickness, mats["top"], mats["bottom"])


def shears_used(needs: Needs, bars: SlabBars, chosen: Chosen) -> list[Floats]:
    """How far chosen bars are used at every place of each of the shears that are known, with the
    steel of all layers that counts there; bars : covers and thickness."""
    drawn = slab_bars(chosen, bars)
    deep = drawn
    for layer in LAYERS:
        largest = Bars(chosen.layers[layer].largest, 1.0)
        deep = deep.with_mat(layer[0], deep.mat(layer[0]).with_bars(layer[1], largest))
    trials = {layer: Trial(needs, drawn, layer) for layer in LAYERS}
    return [
        shears.used(
            deep,
            {
                layer: trials[layer].steel_at(chosen.layers[layer], shears.points)
                for layer in LAYERS
            },
        )
        for shears in needs.shears
    ]
