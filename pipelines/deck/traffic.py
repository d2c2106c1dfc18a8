"""The traffic on the deck: carriageway, vehicles and load models, in SI units."""

from dataclasses import dataclass
from typing import Literal

from pipelines.standards.actions.loads import Axle, LoadModel, Vehicle, alone
from plate.geometry.axis import Axis

Dispersal = Literal["none", "surfacing", "mid-depth"]
Direction = Literal["forward", "reverse"]

# Lengths closer than this are the same [m]; a patch must overlap the slab by more to touch it.
SAME = 1e-9


@dataclass(frozen=True, kw_only=True)
class Traffic:
    """Moving loads; lengths in m, dispersal angle in rad.

    Exactly one of lateral_step and offsets is set. edge_clearance (kerb to wheel centre)
    overrides the vehicles' own clearances when given.
    on_overhang : whether the left and the right kerb stand on an overhang, beyond the outermost
    line along the deck that carries it.
    joints : edges of the deck at expansion joints, for load models that say so.
    axis : of the carriageway, from which stations and offsets of traffic count; None = they are
    those of the plan.
    """

    carriageway: tuple[float, float]
    vehicles: tuple[Vehicle, ...]
    step: float
    lateral_step: float | None
    offsets: tuple[float, ...] | None
    edge_clearance: float | None
    surfacing: float
    dispersal: Dispersal
    dispersal_angle: float
    directions: Literal["forward", "both"]
    load_models: tuple[LoadModel, ...] = ()
    joints: tuple[str, ...] = ()
    on_overhang: tuple[bool, bool] = (False, False)
    axis: Axis | None = None

    @property
    def all_vehicles(self) -> tuple[Vehicle, ...]:
        """Those that drive alone and those of the load models."""
        models = [v for m in self.load_models for kind in m.kinds for v in kind.vehicles]
        return (*self.vehicles, *models)

    @property
    def cases(self) -> tuple[LoadModel, ...]:
        """The cases of traffic: every load model, then the vehicles that drive alone."""
        return (*self.load_models, *((alone(self.vehicles),) if self.vehicles else ()))

    def clearances(self, vehicle: Vehicle) -> tuple[float, float]:
        """Distances [m] that a vehicle keeps from the left and the right kerb."""
        if self.edge_clearance is not None:
            return self.edge_clearance, self.edge_clearance
        near = vehicle.clearance
        if vehicle.overhang_clearance is not None:
            near = min(near, vehicle.overhang_clearance)
        left, right = (near if on else vehicle.clearance for on in self.on_overhang)
        return left, right

    def offset_range(
        self, vehicle: Vehicle, direction: Direction = "forward"
    ) -> tuple[float, float]:
        """Lowest and highest offset [m] of the vehicle's centre line on the carriageway.

        The clearance is the deck file's to the wheel centre if given, else the vehicle's own to
        the wheel centre or to the edge of the tyre (not dispersed). high < low: the vehicle is too
        wide. The direction matters only where the wheels are not symmetric about the centre line.
        """
        to_tyre = self.edge_clearance is None and vehicle.clearance_to == "tyre edge"
        at_left, at_right = self.clearances(vehicle)
        side = -1.0 if direction == "reverse" else 1.0

        def reach(axle: Axle) -> float:
            return 0.5 * axle.patch[1] if to_tyre else 0.0

        left = min(side * y - reach(axle) for axle in vehicle.axles for y in axle.wheels)
        right = max(side * y + reach(axle) for axle in vehicle.axles for y in axle.wheels)
        low = self.carriageway[0] + at_left - left
        high = self.carriageway[1] - at_right - right
        if abs(high - low) <= SAME:
            low = high = 0.5 * (low + high)
        return low, high
