"""The worst arrangement of a load model with a proof: no arrangement makes a higher value.

Lanes act independently given their offsets, so a value is a sum over the lanes of the highest value
of each at its offset: that under its vehicle, a polynomial in pieces (`pieces`) of its station and
offset, and that of its distributed load, an integral between the edges of a strip
(`adverse_parts`). Every lane's offsets are cut into stretches. What is in a stretch is bounded by
the Bernstein coefficients of its pieces; the sums of these bounds over lanes that keep their
distance bound the value (`lane_sums`). Stretches and pieces that cannot be part of a sum above the
best one found are dismissed, the others halved, until none is left. No constant decides what may be
missed. A vehicle that drives alone is a load model of one lane.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from pipelines.accuracy.best_arrangements import BestArrangements
from pipelines.accuracy.grid_surfaces import GridSurfaces
from pipelines.accuracy.lane_stretches import KnownEnds, Stretches, highest
from pipelines.accuracy.live_pieces import LivePieces
from pipelines.accuracy.worst_place import WorstArrangement
from pipelines.deck.deck import Deck
from pipelines.model.influence import Surfaces
from pipelines.standards.actions.loads import LoadModel
from pipelines.traffic.arrangements import Arrangement
from plate.arrays import Floats, Ints
from plate.threads import one_blas_thread

# Ordinates of the surfaces that are looked at together, to bound the memory.
MOST_ORDINATES = 2_000_000
# Vehicles and stations that exceed others at the same offset by no more than this share of the
# tolerance are not told apart; a piece is halved along the deck while its bound lies above its ends
# by more than this share of what a stretch's does. Both decide the time and nothing else.
FINE = 0.05
ALONG = 0.25


@one_blas_thread
def proven_arrangements(
    deck: Deck,
    found: Surfaces,
    grid: GridSurfaces,
    model: LoadModel,
    rows: Ints,
    signs: Floats,
    sizes: Floats | None,
    starts: Sequence[Arrangement | None] | None,
) -> list[WorstArrangement]:
    """Worst arrangements for results rows[e] of the surfaces, of their maxima by signs 1 and minima
    by -1, none of which is exceeded by more than its tolerance.

    grid : the surfaces on their grid; sizes : (n,) a share `SMALL` of which is small, the
    result's own by default;
    starts : of each an arrangement to begin with.
    """
    sizes = np.zeros(len(rows)) if sizes is None else sizes
    worst: dict[int, WorstArrangement] = {}
    different = np.unique(rows)
    chunk = max(1, MOST_ORDINATES // max(1, grid.ordinates[0].size))
    for start in range(0, len(different), chunk):
        mine = different[start : start + chunk]
        e = np.flatnonzero(np.isin(rows, mine))
        own = np.searchsorted(mine, rows[e])
        proof = BestArrangements(deck, grid.part(mine), model, own, signs[e], sizes[e])
        if starts is not None:
            proof.start(found, rows[e], [starts[k] for k in e.tolist()])
        _prove(proof)
        values = proof.values(found, rows[e])[0]
        gaps = np.maximum(proof.enough + proof.rounding - values, 0.0)
        for k, sign, value, at, gap in zip(
            e.tolist(), signs[e], values, proof.arrangements(), gaps, strict=True
        ):
            worst[k] = WorstArrangement(float(sign * value), at, float(gap), proven=True)
    return [worst[k] for k in range(len(rows))]


def _prove(proof: BestArrangements) -> None:
    """Find the worst arrangements."""
    nodes, live = _pieces(proof, *_boxes(proof))
    while len(nodes.entry):
        nodes, live, slack = _narrowed(proof, nodes, live)
        nodes, live = _halved(proof, nodes, live, slack)


def _boxes(proof: BestArrangements) -> tuple[list[list[Floats]], list[Floats], list[Floats]]:
    """Of each kind of lane the upper bounds (n_entry, n_s, n_y) of every vehicle in boxes, what
    one must make there (n_entry, n_y), and bounds of what those make that are left out for less;
    takes in the corners."""
    n = len(proof.rows)
    nodes, bounds, ends, exceeded, entries, uppers = [], [], [], [], [], []
    for kind, lane in enumerate(proof.lanes):
        low, high = lane.y.boxes
        found = [vehicle.boxes(proof.rows, proof.signs) for vehicle in lane.fleet]
        uppers.append([boxes.upper for boxes in found])
        bounds.append(np.max([boxes.upper.max(axis=1) for boxes in found], axis=0).ravel())
        exceeded.append(np.max([boxes.exceeded for boxes in found], axis=0).ravel())
        known = KnownEnds.none(n * len(low))
        for number, boxes in enumerate(found):
            values, s, spread = (
                one.reshape(-1, 2) for one in (boxes.values, boxes.s, boxes.spread)
            )
            known.take(slice(None), values, np.full(values.shape, number), s, spread)
        ends.append(known)
        for boxes in found:
            np.maximum(proof.sizes, boxes.largest, out=proof.sizes)
        entry = np.repeat(np.arange(n), len(low))
        entries.append(entry)
        nodes.append(proof.nodes(kind, entry, np.tile(low, n), np.tile(high, n)))
    stretches, order = Stretches.sorted(nodes)
    proof.take(stretches, KnownEnds.joined(ends).part(order))
    bound = np.maximum(np.concatenate(bounds), 0.0)
    needed = np.empty(len(order))
    needed[order] = proof.required(stretches, bound[order])
    # Nor is what another vehicle or station exceeds at every offset of a box.
    floor = np.concatenate(exceeded) - FINE * proof.tolerance[np.concatenate(entries)]
    needed = np.where(bound > needed, np.maximum(needed, floor), np.inf)
    at = np.cumsum([len(one) for one in bounds])[:-1]
    needs, floors = (
        [one.reshape(n, -1) for one in np.split(every, at)] for every in (needed, floor)
    )
    return uppers, needs, floors


def _pieces(
    proof: BestArrangements,
    uppers: list[list[Floats]],
    needed: list[Floats],
    floor: list[Floats],
) -> tuple[Stretches, LivePieces]:
    """The pieces of offsets in the boxes that are left as stretches, and those of the vehicles in
    them that make what they must."""
    nodes, live = [], []
    count = 0
    for kind, lane in enumerate(proof.lanes):
        need = np.repeat(needed[kind], np.diff(lane.y.first), axis=1)
        entry, piece = np.nonzero(need < np.inf)
        stretch = np.full(need.shape, -1)
        stretch[entry, piece] = count + np.arange(len(entry))
        count += len(entry)
        least = np.repeat(floor[kind], np.diff(lane.y.first), axis=1)[entry, piece]
        nodes.append(proof.nodes(kind, entry, lane.y.low[piece], lane.y.high[piece], least))
        for number, (vehicle, upper) in enumerate(zip(lane.fleet, uppers[kind], strict=True)):
            live.append(
                vehicle.pieces(proof.rows, proof.signs, upper, needed[kind], stretch, number)
            )
    every, order = Stretches.sorted(nodes)
    place = np.empty_like(order)
    place[order] = np.arange(len(order))
    pieces = LivePieces.joined(live)
    return every, replace(pieces, owner=place[pieces.owner])


def _narrowed(
    proof: BestArrangements, nodes: Stretches, live: LivePieces
) -> tuple[Stretches, LivePieces, Floats]:
    """The stretches and pieces that may be part of a sum above what is enough, and how far (n,) the
    bound of a stretch's vehicles lies above what is known at its ends; takes in what is."""
    n = len(nodes.entry)
    known = KnownEnds.none(n)
    values, stations, spreads = live.ends
    k = values.shape[1]
    for end in (0, 1):
        here = values[:, :, -end].ravel()
        owner, best = highest(
            np.repeat(live.owner, k),
            here,
            spreads.ravel(),
            np.repeat(live.vehicle, k),
            stations.ravel(),
        )
        known.take(
            (owner, end),
            here[best],
            live.vehicle[best // k],
            stations.ravel()[best],
            spreads.ravel()[best],
        )
    proof.take(nodes, known)
    top = live.top
    vehicles = nodes.floor.copy()
    np.maximum.at(vehicles, live.owner, top)
    needed = proof.required(nodes, vehicles)
    kept = vehicles > needed
    number = np.cumsum(kept) - 1
    # What hardly exceeds what another piece makes at every offset is not looked at any more, but
    # for that piece.
    least = values.min(axis=2).max(axis=1)
    floor, champion = highest(live.owner, least)
    floor, champion = (one[least[champion] > -np.inf] for one in (floor, champion))
    exceeded = nodes.floor.copy()
    exceeded[floor] = np.maximum(
        exceeded[floor], least[champion] + FINE * proof.tolerance[nodes.entry[floor]]
    )
    which = top > np.maximum(needed, exceeded)[live.owner]
    which[champion] = True
    live = live.part(which & kept[live.owner])
    nodes = replace(nodes, floor=exceeded).part(kept)
    slack = vehicles - known.values.max(axis=1)
    return nodes, replace(live, owner=number[live.owner]), slack[kept]


def _halved(
    proof: BestArrangements, nodes: Stretches, live: LivePieces, slack: Floats
) -> tuple[Stretches, LivePieces]:
    """Stretches, and pieces both ways, in halves.

    slack : of each stretch (n,) how far its vehicles' bound lies above what is known at its ends.
    """
    wide = nodes.high > nodes.low
    count = np.where(wide, 2, 1)
    first = np.cumsum(count) - count
    again = np.repeat(np.arange(len(wide)), count)
    second = np.arange(len(again)) > first[again]
    middle = (0.5 * (nodes.low + nodes.high))[again]
    low = np.where(second, middle, nodes.low[again])
    high = np.where(second | ~wide[again], nodes.high[again], middle)
    halves = replace(nodes.part(again), low=low, high=high)
    for kind in range(len(proof.lanes)):
        mine = halves.kind == kind
        halves.pressure[mine] = proof.pressure(kind, halves.entry[mine], low[mine], high[mine])
    # Halving along the deck is of no use while offsets in a stretch differ by much more.
    enough = np.maximum(ALONG * slack, FINE * proof.tolerance[nodes.entry])
    live = live.halved_along(enough[live.owner])
    alone = live.part(~wide[live.owner])
    split = live.part(wide[live.owner]).halved_across()
    owner = first[split.owner]
    owner[len(owner) // 2 :] += 1
    return halves, LivePieces.joined(
        [replace(alone, owner=first[alone.owner]), replace(split, owner=owner)]
    )
