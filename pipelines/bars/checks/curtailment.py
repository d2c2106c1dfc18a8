"""Where bars may stop: zones of each layer from the envelope, shifted by the tension shift.

A raster over the slab holds the largest ultimate design moment within the shift along the bars.
Zone 2 needs every bar, zone 1 every other bar, zone 0 no bar for bending; least steel, distribution
steel and anchorage past the zone remain.
"""

from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from scipy import sparse

from pipelines.bars.checks.bending_and_service import moment_resistance
from pipelines.bars.demand.control_sections import field_interpolation
from pipelines.bars.demand.moments import Demand
from pipelines.bars.drawn_parts import DrawnBars
from pipelines.deck.deck import Deck
from pipelines.deck.thicknesses import Thicknesses
from pipelines.model.responses import SolvedDeck
from pipelines.standards.detailing.anchorage import anchorage
from pipelines.standards.materials import Materials
from pipelines.standards.resistance.bars import LAYERS, Direction, Layer, SlabBars
from pipelines.standards.sources import Source, Standard
from plate.arrays import Floats, Ints

STEP = 0.2  # of the raster [m]
INSIDE = 1e-6

SHIFT_SOURCE: dict[Standard, Source] = {
    "EN 1992": Source("EN 1992", "9.2.1.3(2), 6.2.2(5): a_l = d"),
    "IRC:112": Source("IRC:112", "16.5.1.3: a_l = d"),
    "AASHTO LRFD": Source("AASHTO LRFD", "5.10.8.1.2a: d, 15 diameters"),
}
UBARS: dict[Standard, Source] = {
    "EN 1992": Source("EN 1992", "9.3.1.4, figure 9.7: legs of 2 h"),
    "IRC:112": Source("IRC:112", "16.6.1.4: legs of 2 h"),
    "AASHTO LRFD": Source("AASHTO LRFD", "9.7.1.4: edge beam or more bars at the edge"),
}


@dataclass(frozen=True, kw_only=True)
class Zones:
    """Raster of the slab: u (n_u,) logical stations, y (n_u, n_y) offsets [m].

    zone : layer -> (n_u, n_y) 0, 1 or 2. shift, anchorage : per layer [m].
    """

    u: Floats
    y: Floats
    zone: dict[Layer, Ints]
    shift: dict[Layer, float]
    anchorage: dict[Layer, float]
    source: Source

    def ranges(self, layer: Layer, least: int) -> list[tuple[float, float]]:
        """Along the bars: stretches in which somewhere across a zone >= least lies [m].

        A point of the raster stands for what lies nearest to it, so half a step is added.
        """
        needs = np.any(self.zone[layer] >= least, axis=1 if layer[1] == "x" else 0)
        places = self.u if layer[1] == "x" else self.y.mean(axis=0)
        half = 0.5 * float(places[1] - places[0])
        found: list[tuple[float, float]] = []
        for part in np.split(np.arange(len(needs)), np.flatnonzero(np.diff(needs)) + 1):
            if len(part) and needs[part[0]]:
                low, high = float(places[part[0]]) - half, float(places[part[-1]]) + half
                found.append((max(low, float(places[0])), min(high, float(places[-1]))))
        return found


def tension_shift(standard: Standard, d: float, diameter: float) -> float:
    """a_l [m] for slabs without links."""
    return max(d, 15 * diameter) if standard == "AASHTO LRFD" else d


@dataclass(frozen=True)
class Raster:
    """u (n_u,), y (n_u, n_y) [m]; rows : interpolation of fields at its points; nearest : point of
    the raster nearest to each field point, so that no peak between its points is lost."""

    u: Floats
    y: Floats
    rows: sparse.csr_array
    nearest: Ints

    def largest(self, values: Floats) -> Floats:
        """(n_u, n_y) largest of the values (n_point,) in each point's neighbourhood."""
        found = np.asarray(self.rows @ values)
        np.maximum.at(found, self.nearest, values)
        return found.reshape(self.y.shape)


def raster(solved: SolvedDeck) -> Raster:
    """A raster over the whole slab; of an outline over its bounding box, points off it nowhere."""
    plan = solved.deck.plan
    low, high = plan.u_range
    u = np.linspace(low, high, max(int(np.ceil((high - low) / STEP)), 2) + 1)
    limits = plan.line_offsets(u)[:, [0, -1]]
    n_y = max(int(np.ceil((limits[:, 1] - limits[:, 0]).max() / STEP)), 2) + 1
    share = np.linspace(0.0, 1.0, n_y)
    y = limits[:, :1] + share * (limits[:, 1:] - limits[:, :1])
    inner = np.clip(share, INSIDE, 1 - INSIDE)
    y_in = limits[:, :1] + inner * (limits[:, 1:] - limits[:, :1])
    u_in = np.clip(u, low + INSIDE, high - INSIDE)
    points = plan.at(np.broadcast_to(u_in[:, None], y.shape), y_in).reshape(-1, 2)
    on = np.flatnonzero(plan.contains(points))
    rows = field_interpolation(solved, points[on]).tocoo()
    rows = sparse.coo_array(
        (rows.data, (on[rows.row], rows.col)), shape=(len(points), rows.shape[1])
    )
    field = solved.recovery.points.plan
    at = plan.logical_station(field)
    i = np.clip(np.rint((at - low) / (u[1] - u[0])), 0, len(u) - 1).astype(np.int64)
    edges = plan.line_offsets(at)[:, [0, -1]]
    part = (field[:, 1] - edges[:, 0]) / (edges[:, 1] - edges[:, 0])
    j = np.clip(np.rint(part * (n_y - 1)), 0, n_y - 1).astype(np.int64)
    return Raster(u, y, rows.tocsr(), i * n_y + j)


def zones(deck_raster: Raster, drawn: DrawnBars, mat: Materials, demand: Demand) -> Zones:
    """Zones of every layer, by the bars that count at each place."""
    u, y = deck_raster.u, deck_raster.y
    # where the slab is thickest the tension shifts most and the bond of top bars is poorest
    bars = drawn.reinforcement.bars.at(Thicknesses.of(drawn.deck).thickest)
    found, shifts, lengths = {}, {}, {}

    def halved(bars: SlabBars) -> dict[Layer, float]:
        return {
            layer: moment_resistance(
                mat,
                bars.thickness_of(layer),
                bars.effective_depth(layer),
                bars.bars(layer).area / 2,
            )
            for layer in LAYERS
        }

    places = drawn.deck.plan.at(np.broadcast_to(u[:, None], y.shape), y).reshape(-1, 2)
    halves = drawn.at(places, halved)
    for layer in LAYERS:
        d, layer_bars = bars.effective_depth(layer), bars.bars(layer)
        values = deck_raster.largest(demand.layer(layer))
        direction: Direction = layer[1]
        step = float(u[1] - u[0]) if direction == "x" else float(np.diff(y, axis=1).mean())
        shift = tension_shift(mat.standard, d, layer_bars.diameter)
        reach = int(np.ceil(shift / step))
        spread = largest_within(values, reach, axis=0 if direction == "x" else 1)
        half = halves[layer].reshape(y.shape)
        floor = NOTHING * demand.layer(layer).max()
        found[layer] = (spread > floor).astype(np.int64) + (spread > half)
        shifts[layer], lengths[layer] = shift, anchorage(bars, layer, mat)
    return Zones(
        u=u, y=y, zone=found, shift=shifts, anchorage=lengths, source=SHIFT_SOURCE[mat.standard]
    )


def largest_within(values: Floats, reach: int, axis: int) -> Floats:
    """The largest of values (n, m) no more than `reach` steps away along an axis."""
    around = [(0, 0), (0, 0)]
    around[axis] = (reach, reach)
    padded = np.pad(values, around, constant_values=-np.inf)
    return np.asarray(sliding_window_view(padded, 2 * reach + 1, axis=axis).max(axis=-1))


# Moments below this share of the layer's largest count as none.
NOTHING = 0.02


@dataclass(frozen=True)
class ThroughSteel:
    """Sagging over a line: largest ultimate design moment [N m/m] of the bars that cross it, or
    that end there where the line is an edge of the slab."""

    line: str
    direction: Direction
    moment: float
    at_edge: bool


def bottom_through(deck: Deck, points: Floats, demand: Demand) -> tuple[ThroughSteel, ...]:
    """Flexible lines over which the bottom is in tension: its bars run through, or at an edge of
    the slab are anchored."""
    if not deck.plan.is_grid:
        return ()
    edges = {*deck.plan.twins.values(), *deck.plan.edges}
    found = []
    for line in deck.lines:
        if line.support not in ("beam", "spring"):
            continue
        a, b = deck.plan.lines[line.name].path[[0, -1]]
        along = (b - a) / np.linalg.norm(b - a)
        gap = np.abs((points - a) @ np.array([-along[1], along[0]]))
        s = (points - a) @ along
        on = (gap < INSIDE) & (s > -INSIDE) & (s < np.linalg.norm(b - a) + INSIDE)
        direction: Direction = "x" if abs(along[1]) > abs(along[0]) else "y"
        values = demand.layer(("bottom", direction))
        moment = float(values[on].max()) if on.any() else 0.0
        if moment > NOTHING * float(values.max()):
            found.append(ThroughSteel(line.name, direction, moment, line.name in edges))
    return tuple(found)
