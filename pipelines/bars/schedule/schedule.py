"""From the deck's mats and added bars to single bars, as they are bent and placed."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np
from scipy.spatial import KDTree

from pipelines.bars.demand.moments import LAYER_ROWS
from pipelines.bars.design import Design
from pipelines.bars.schedule.anchored import (
    anchorage_rows,
    edges_with_u_bars,
    end_anchorages,
    turned_ends,
)
from pipelines.bars.schedule.ends import edge_bars, u_bars
from pipelines.bars.schedule.laid import LaidBars, laid_bars
from pipelines.bars.schedule.lines import arc_radius
from pipelines.bars.schedule.marks import (
    EndAnchorage,
    LayerLaps,
    Mark,
    PlacedBar,
    Schedule,
    TurnedEnd,
    numbered,
    side_by_side,
)
from pipelines.bars.schedule.openings import bars_at_openings
from pipelines.bars.schedule.pieces import Lapped, Used, lapped
from pipelines.deck.deck import Deck
from pipelines.deck.thicknesses import Thicknesses
from pipelines.model.responses import SolvedDeck
from pipelines.standards.detailing.anchorage import anchorage
from pipelines.standards.detailing.laps import ALL, HALF, lap_length
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
    laid = laid_bars(deck)
    ends: list[EndAnchorage] = []
    turned: list[TurnedEnd] = []
    for standard in design.standards:
        own = {
            layer: _largest([standard.utilisation[k]], nearest)
            for k, layer in enumerate(LAYER_ROWS)
        }
        of = deck, laid, standard.basis.materials, own, standard.zones.shift
        ends += end_anchorages(*of)
        turned += turned_ends(*of)
    return scheduled(deck, laid, used, ends, turned)


def scheduled(
    deck: Deck,
    laid: Sequence[LaidBars],
    used: Mapping[Layer, Used],
    ends: Sequence[EndAnchorage],
    turned: Sequence[TurnedEnd] = (),
) -> Schedule:
    """The same from the bars as laid, the utilisation of every layer and the anchorage at edges."""
    reinforcement = deck.required_reinforcement
    stock = reinforcement.stock
    longest = {layer: longest_lap(deck, layer) for layer in LAYERS}
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
                sets=tuple(_sets(deck, layer)),
                highest=max(found, default=None),
                too_long=sum(
                    line.length > stock + 1e-6
                    for group in groups
                    if not group.starts
                    for line in group.lines
                ),
            )
        )
    edges = edges_with_u_bars(deck, ends, turned)
    at_edges = {layer: _longest(deck, layer, ALL)[0] for layer in LAYERS}
    marks += u_bars(deck, laid, edges, at_edges)
    marks += edge_bars(deck, edges, lengths, stock)
    anchored = {layer: _bond(deck, layer) for layer in LAYERS}
    marks += bars_at_openings(deck, laid, anchored)
    area = plan_area(deck.plan)
    thicknesses = Thicknesses.of(deck)
    marks = [mark for mark in marks if mark.bars]
    made = Schedule(
        marks=numbered(marks),
        laps=tuple(laps),
        ends=tuple(ends),
        turned=tuple(end for end in turned if end.layer[1] in edges.get(end.edge, ((), False))[0]),
        stock=stock,
        area=area,
        volume=area * thicknesses.mean,
        anchorage={},
    )
    mats = [basis.materials for basis in reinforcement.bases]
    return replace(made, anchorage={mat.standard: anchorage_rows(made, mat) for mat in mats})


def _largest(values: Sequence[Floats], nearest: Callable[[Floats], Ints]) -> Used:
    most = np.max(values, axis=0)
    return lambda points: most[nearest(points)]


def _sets(deck: Deck, layer: Layer) -> Iterator[SlabBars]:
    """The bars of a layer alone and with those added to it, in every thickness of the slab."""
    reinforcement = deck.required_reinforcement
    sets = [reinforcement.bars]
    sets += [reinforcement.with_added(a) for a in reinforcement.added if a.layer == layer]
    for thickness, _ in Thicknesses.of(deck).parts:
        yield from (bars.at(thickness) for bars in sets)


def longest_lap(deck: Deck, layer: Layer) -> tuple[float, Standard]:
    """Lap of a layer's bars [m] and the standard that asks for it."""
    return _longest(deck, layer, HALF)


def _longest(deck: Deck, layer: Layer, share: float) -> tuple[float, Standard]:
    mats = [basis.materials for basis in deck.required_reinforcement.bases]
    return max(
        (lap_length(bars, layer, mat, share=share), mat.standard)
        for bars in _sets(deck, layer)
        for mat in mats
    )


def _bond(deck: Deck, layer: Layer) -> float:
    mats = [basis.materials for basis in deck.required_reinforcement.bases]
    return max(anchorage(bars, layer, mat) for bars in _sets(deck, layer) for mat in mats)


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
        thickness=laid.whole.thickness,
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
