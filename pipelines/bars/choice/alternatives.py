"""What a design would weigh if one thing about it were otherwise: chosen again each time."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from pipelines.bars.choice.candidates import STEEL, Needs
from pipelines.bars.choice.floors import Floor
from pipelines.bars.choice.least_steel import Chosen, Option, least_of, least_steel, options, room
from pipelines.standards.resistance.bars import (
    DIRECTIONS,
    FACES,
    Face,
    Layer,
    SlabBars,
    other_direction,
)

THICKER = 0.010  # cover or slab [m]
# How an alternative was found.
SAME = "chosen again under the same moments"
NOT_SHEAR = "chosen again under the same moments; shear as it was: an estimate"
ANALYSED = "analysed once more, with coarse searches, and chosen again"


@dataclass(frozen=True, kw_only=True)
class Alternative:
    """Something otherwise. mass : of its bars [kg], None where no bars of the set pass; counted :
    with the prices of variety; how : it was found."""

    what: str
    mass: float | None
    counted: float | None
    how: str


def alternative(what: str, needs: Needs, found: Chosen | None, how: str) -> Alternative:
    """With the bars that were chosen for it."""
    prices, area = needs.choice.prices, needs.area
    return Alternative(
        what=what,
        mass=None if found is None else found.mass,
        counted=None if found is None else found.counted(prices, area),
        how=how,
    )


def alternatives(needs: Needs, bars: SlabBars, chosen: Chosen) -> Iterator[Alternative]:
    """What can be told from the analysis of the design as it is; bars : its mats."""
    known, prices, area = options(needs, bars), needs.choice.prices, needs.area
    fits = room(needs, bars)
    # what shear and punching ask of the layers was asked of the depths as they are
    deep = NOT_SHEAR if needs.floors else SAME
    for face in FACES:
        mine = chosen.outer[face]

        def otherwise(one: Option, face: Face = face, mine: str = mine) -> bool:
            return one.layer[0] != face or one.outer != mine

        what = f"{other_direction(mine)} outermost at the {face}"
        yield alternative(what, needs, least_of(known, prices, area, fits, otherwise), deep)
    for face in FACES:
        mat = bars.mat(face)
        try:
            thicker = bars.with_mat(face, replace(mat, cover=mat.cover + THICKER))
        except ValueError:
            continue
        what = f"{1e3 * THICKER:.0f} mm more cover at the {face}"
        less_deep = replace(needs, floors=_less_deep(needs, bars, thicker, face))
        yield alternative(what, needs, least_steel(less_deep, thicker), deep)
    same = [(s, least_of(known, prices, area, fits, _spaced(s))) for s in needs.choice.spacings]
    passing = [(found.counted(prices, area), s, found) for s, found in same if found is not None]
    if passing:
        _, spacing, found = min(passing, key=lambda one: one[:2])
        what = f"one spacing everywhere, {1e3 * spacing:g} mm"
        yield alternative(what, needs, found, SAME)
    else:
        yield alternative("one spacing everywhere", needs, None, SAME)
    mats = least_of(known, prices, area, fits, lambda one: one.candidate.added is None)
    yield alternative("mats alone, nothing added", needs, mats, SAME)


def _less_deep(needs: Needs, bars: SlabBars, thicker: SlabBars, face: Face) -> dict[Layer, Floor]:
    """Least areas where bars lie less deep: resistances that grow with the third root of the steel
    grow with the depth times that of its share."""
    # shear is asked for at the depths that are tried
    floors = dict(needs.floors)
    for direction in DIRECTIONS:
        layer: Layer = (face, direction)
        if layer in floors:
            ratio = bars.effective_depth(layer) / thicker.effective_depth(layer)
            floors[layer] = floors[layer].times(ratio**2)
    return floors


def _spaced(spacing: float) -> Callable[[Option], bool]:
    def alike(one: Option) -> bool:
        return all(bars.spacing == spacing for bars in one.candidate.sets)

    return alike


def proposed(needs: Needs) -> Iterator[Alternative]:
    """The mats that a plain run proposes by each standard: they leave out shear, punching, fatigue,
    collision and every other standard."""
    for standard in needs.standards:
        mats = standard.choice.values()
        if not mats or any(mat is None for mat in mats):
            continue
        mass = STEEL * needs.area * sum(mat.area for mat in mats if mat is not None)
        name = standard.basis.materials.standard
        yield Alternative(
            what=f"mats that `run` proposes by {name} alone, shear and fatigue left out",
            mass=mass,
            counted=None,
            how=SAME,
        )
