"""How near the wheels of a vehicle come to the edges along a strip."""

import numpy as np

from pipelines.deck.deck import Deck
from pipelines.standards.actions.loads import Vehicle
from pipelines.strips.deck_strip import StripDeck
from pipelines.strips.moments import Limits
from pipelines.strips.trains import DIRECTIONS


def centre_limits(deck: Deck, vehicle: Vehicle) -> Limits:
    """Offsets between which the vehicle's centre line runs, by direction [m]."""
    traffic = deck.required_traffic
    if traffic.offsets is not None:
        both = (min(traffic.offsets), max(traffic.offsets))
        return {"forward": both, "reverse": both}
    return {d: traffic.offset_range(vehicle, d) for d in DIRECTIONS}


def edge_distances(deck: Deck, strip: StripDeck, vehicle: Vehicle, edge: str) -> dict[str, float]:
    """Distances from a free edge along the strip to the nearest wheel's centre and to what
    `StripSet.edge_from` calls the rail [m]."""
    traffic = deck.required_traffic
    if strip.bars == "across":
        gap = strip.on_deck.stiffening(edge)
        wheel = 0.5 * min(axle.patch[0] for axle in vehicle.axles)
        return {"wheel": wheel, "rail": gap if np.isfinite(gap) else 0.0}
    low, high = centre_limits(deck, vehicle)["forward"]
    reach = [y for axle in vehicle.axles for y in axle.wheels]
    slab = strip.on_deck.edge_offset(edge)
    if edge == "left":
        return {"wheel": low + min(reach) - slab, "rail": traffic.carriageway[0] - slab}
    return {"wheel": slab - high - max(reach), "rail": slab - traffic.carriageway[1]}
