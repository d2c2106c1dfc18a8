"""From the deck's mats and added bars to single bars, as they are bent and placed."""

from collections.abc import Callable, Iterator, Mapping, Sequence

import numpy as np
from scipy.spatial import KDTree

from pipelines.bars.demand.moments import LAYER_ROWS
from pipelines.bars.design import Design, StandardDesign
from pipelines.bars.schedule.ends import edge_bars, edges_with_u_bars, end_anchorages, u_bars
from pipelines.bars.schedule.lines import LaidBars, arc_radius, laid_bars
from pipelines.bars.schedule.marks import (
    EndAnchorage,
    LayerLaps,
    Mark,
    PlacedBar,
    Schedule,
    numbered,
    side_by_side,
)
from pipelines.bars.schedule.openings import bars_at_openings
from pipelines.bars.schedule.pieces import Lapped, Used, lapped
from pipelines.deck.deck import Deck
from pipelines.deck.reinforcement import Reinforcement
from pipelines.model.responses import SolvedDeck
from pipelines.standards.detailing.anchorage import anchorage
from pipelines.standards.detailing.laps import lap_length
from pipelines.standards.materials import Materials
from pipelines.standards.resistance.bars import LAYERS, Layer, SlabBars
from pipelines.standards.sources import Standard
from plate.arrays import Floats, Ints
from plate.geometry.outline import plan_area
from plate.geometry.plan import Plan


def schedule(solved: SolvedDeck, design: Design) -> Schedule:
    """All bars of a deck: its mats and what is added to them, lapped where they are longer than the
    stock length; U-bars and bars along edges; trimmers and diagonals at openings."""
    deck = solved.deck
    tree = KDTree(solved.recovery.points.plan)

    def nearest(points: Floats) -> Ints:
        return np.asarray(tree.query(points)[1])

    used = {
        layer: _largest([standard.utilisation[k] for standard in design.standards], nearest)
        for k, layer in enumerate(LAYER_ROWS)
    }
    ends = [end for one in design.standards for end in _ends(deck, one, nearest)]
    return scheduled(deck, used, ends)


def scheduled(deck: Deck, used: Mapping[Layer, Used], ends: Sequence[EndAnchorage]) -> Schedule:
    """The same from the utilisation of every layer and the anchorage at end supports."""
    reinforcement = deck.required_reinforcement
    stock = reinforcement.stock
    laid = laid_bars(deck)
    longest = {layer: longest_lap(reinforcement, layer) for layer in LAYERS}
    lengths = {layer: length for layer, (length, _) in longest.items()}
    marks: list[Mark] = []
    laps: list[LayerLaps] = []
    for layer in LAYER_ROWS:
        groups: list[Lapped] = []
        for one in laid:
            if one.layer == layer:
                mine = lapped(one.lines, lengths[layer], stock, used[layer])
                marks += _marks(deck.plan, one, mine)
                groups += mine
        found = [group.highest for group in groups if group.highest is not None]
        laps.append(
            LayerLaps(
                layer=layer,
                length=lengths[layer],
                by=longest[layer][1],
                highest=max(found, default=None),
                too_long=sum(
                    line.length > stock + 1e-6
                    for group in groups
                    if not group.starts
                    for line in group.lines
                ),
            )
        )
    edges = edges_with_u_bars(deck, ends)
    marks += u_bars(deck, laid, edges, lengths)
    marks += edge_bars(deck, edges, lengths, stock)
    anchored = {layer: _bond(reinforcement, layer) for layer in LAYERS}
    marks += bars_at_openings(deck, laid, anchored)
    area = plan_area(deck.plan)
    return Schedule(
        marks=numbered([mark for mark in marks if mark.bars]),
        laps=tuple(laps),
        ends=tuple(ends),
        stock=stock,
        area=area,
        volume=area * reinforcement.bars.thickness,
    )


def _largest(values: Sequence[Floats], nearest: Callable[[Floats], Ints]) -> Used:
    most = np.max(values, axis=0)
    return lambda points: most[nearest(points)]


def _ends(
    deck: Deck, standard: StandardDesign, nearest: Callable[[Floats], Ints]
) -> Iterator[EndAnchorage]:
    used = {
        layer: _largest([standard.utilisation[k]], nearest) for k, layer in enumerate(LAYER_ROWS)
    }
    yield from end_anchorages(
        deck, laid_bars(deck), standard.basis.materials, used, standard.zones.shift
    )


def _sets(reinforcement: Reinforcement, layer: Layer) -> Iterator[tuple[SlabBars, Materials]]:
    """The bars of a layer alone and with those added to it, by every standard."""
    mats = reinforcement.bars
    with_added = [mats.with_added(layer, a.bars) for a in reinforcement.added if a.layer == layer]
    for basis in reinforcement.bases:
        for bars in (mats, *with_added):
            yield bars, basis.materials


def longest_lap(reinforcement: Reinforcement, layer: Layer) -> tuple[float, Standard]:
    """Lap of a layer's bars [m] and the standard that asks for it."""
    return max(
        (lap_length(bars, layer, mat), mat.standard) for bars, mat in _sets(reinforcement, layer)
    )


def _bond(reinforcement: Reinforcement, layer: Layer) -> float:
    return max(anchorage(bars, layer, mat) for bars, mat in _sets(reinforcement, layer))


def _marks(plan: Plan, laid: LaidBars, groups: Sequence[Lapped]) -> Iterator[Mark]:
    for group in groups:
        for placed in group.pieces():
            yield _mark(plan, laid, placed)


def _mark(plan: Plan, laid: LaidBars, placed: Sequence[PlacedBar]) -> Mark:
    radii = [arc_radius(plan, bar.path) for bar in placed]
    bent = [round(radius, 3) for radius in radii if radius is not None]
    cuts = {round(bar.cut, 3) for bar in placed}
    return Mark(
        number=0,
        use="added" if laid.mark else "mat",
        layers=(laid.layer,),
        of=laid.mark,
        diameter=laid.bars.diameter,
        spacing=laid.bars.spacing,
        shape="67" if bent else "00",
        a=cuts.pop() if len(cuts) == 1 else None,
        b=None,
        c=None,
        radius=(min(bent), max(bent)) if bent else None,
        ranges=side_by_side(placed),
    )
