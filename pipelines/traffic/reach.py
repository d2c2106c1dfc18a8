"""What of a slab wheels reach."""

from dataclasses import dataclass

from pipelines.deck.deck import Deck
from pipelines.deck.traffic import Direction
from pipelines.traffic.positions import dispersed, lateral_offsets
from plate.geometry.outline import DRAWN, band, region

DIRECTIONS: tuple[Direction, ...] = ("forward", "reverse")


@dataclass(frozen=True, kw_only=True)
class Reach:
    """offsets : the outermost that wheels' patches cover [m].

    between : area of the slab between the edges of the carriageway, beyond : that of the slab on
    their other side; bare : of what lies between them, that no wheel reaches [m2].
    """

    offsets: tuple[float, float]
    between: float
    beyond: float
    bare: float


def reach(deck: Deck) -> Reach:
    """What the wheels of all vehicles reach, those of load models as if each stood alone."""
    traffic, plan = deck.required_traffic, deck.plan
    low, high = [], []
    for vehicle in traffic.all_vehicles:
        for direction in DIRECTIONS if traffic.directions == "both" else DIRECTIONS[:1]:
            offsets = lateral_offsets(vehicle, traffic, direction)
            side = -1.0 if direction == "reverse" else 1.0
            for axle in vehicle.axles:
                half = 0.5 * dispersed(axle.patch, traffic, deck.slab.thickness)[1]
                wheels = [side * y for y in axle.wheels]
                low.append(float(offsets.min()) + min(wheels) - half)
                high.append(float(offsets.max()) + max(wheels) + half)
    slab = region(plan, DRAWN)
    left, right = traffic.carriageway
    covered = max(min(low), left), min(max(high), right)
    between = slab.intersection(band(plan, traffic.axis, traffic.carriageway)).area
    reached = slab.intersection(band(plan, traffic.axis, covered)).area
    return Reach(
        offsets=covered, between=between, beyond=slab.area - between, bare=between - reached
    )
