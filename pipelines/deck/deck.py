"""The deck as the job sees it: validated, in SI units (N, m, Pa, rad), frozen.

`deckfile.read_deck` makes a `Deck` from a deck file; everything behind it works on these values.
Plan coordinates are (station, offset) in metres; stations are arc lengths on a curved deck.
"""

from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal

import numpy as np

from pipelines.deck.design_strip import DesignStrip
from pipelines.deck.load_test import Factor, LoadTest, Stiffness
from pipelines.deck.reinforcement import Reinforcement
from pipelines.standards.actions.loads import Action, Axle, LoadModel, Vehicle, alone
from pipelines.standards.factors import FACTORS, Factors
from pipelines.standards.own.own import Own
from pipelines.standards.sources import Mark
from pipelines.standards.supports import hogging_at
from plate.arrays import Floats
from plate.geometry.axis import Axis, Course
from plate.geometry.outline import plan_limits
from plate.geometry.plan import Plan

Theory = Literal["mindlin", "kirchhoff"]
Support = Literal["free", "rigid", "clamped", "spring", "beam"]
Dispersal = Literal["none", "surfacing", "mid-depth"]
Direction = Literal["forward", "reverse"]
Stage = Literal["wet concrete", "long-term", "shrinkage", "short-term"]

# Lengths closer than this are the same [m]; a patch must overlap the slab by more to touch it.
SAME = 1e-9


@dataclass(frozen=True)
class Zone:
    """A part of the slab with another thickness.

    stations, offsets : (2,) plan ranges [m]; None = the full extent.
    thickness : [m].
    """

    stations: tuple[float, float] | None
    offsets: tuple[float, float] | None
    thickness: float


@dataclass(frozen=True, kw_only=True)
class Slab:
    """thickness [m]; E [Pa]; density (weight) [N/m3]; stiffness factors on D_x, D_y, D_xy.

    rigidity, if given, is (Dx, Dy, D1, Dxy) [N m] and replaces the isotropic rigidity:
    m_x = -(Dx w,xx + D1 w,yy), m_xy = -2 Dxy w,xy.
    concrete is the strength class when E came from it, with its standard.
    """

    thickness: float
    E: float
    poisson: float
    density: float
    theory: Theory = "mindlin"
    stiffness: tuple[float, float, float] = (1.0, 1.0, 1.0)
    rigidity: tuple[float, float, float, float] | None = None
    zones: tuple[Zone, ...] = ()
    concrete: str | None = None


@dataclass(frozen=True, kw_only=True)
class Held:
    """Where a beam is itself held.

    on : name of the crossing line at whose crossing the beam is held.
    k : vertical stiffness [N/m], inf = w is zero.
    k_rot : stiffness against the beam's bending slope [N m/rad].
    stub : length by which the beam runs on past that crossing to where it is held [m].
    lifts : whether the beam may lift off there (it is not tied down).
    """

    on: str
    k: float = np.inf
    k_rot: float = 0.0
    stub: float = 0.0
    lifts: bool = False


@dataclass(frozen=True, kw_only=True)
class Beam:
    """Beam section: E, G [Pa]; I, J [m4]; A [m2]; Av [m2] or None (no shear deformation).

    eccentricity : of its centroid below the slab's mid-plane [m]; connection : stiffness along
    the beam that ties it to the slab's membrane [N/m2], 0 = none, inf = full.
    """

    E: float
    G: float
    I: float  # noqa: E741 - the symbol of the field
    J: float
    A: float
    Av: float | None
    eccentricity: float = 0.0
    connection: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Line:
    """A line of the plan that supports or stiffens the slab.

    k : spring stiffness [N/m per m]; k_rot : against the slope normal to the line [N m/rad per m].
    lifts : whether the slab may lift off a rigid line (it is not tied down).
    width : width of the support [m] (flange), 0 = not stated; rests : whether the slab only rests
    on it, so that hogging is read a quarter of the width off its centre line, not at its face.
    label : name for print, e.g. "cross beam C3".
    """

    name: str
    support: Support
    hard: bool = False
    lifts: bool = False
    to_edges: bool = False
    k: float = 0.0
    k_rot: float = 0.0
    beam: Beam | None = None
    held_at: tuple[Held, ...] = ()
    width: float = 0.0
    rests: bool = False
    label: str = ""

    @property
    def hogging_at(self) -> float:
        """Distance from its centre line at which hogging over it counts [m]."""
        return hogging_at(self.width, rests=self.rests)


@dataclass(frozen=True, kw_only=True)
class Point:
    """A point support whose mean deflection over a square of side `size` [m] is held; k [N/m]."""

    name: str
    at: tuple[float, float]
    k: float
    size: float
    lifts: bool = False


@dataclass(frozen=True)
class Patch:
    """A loaded rectangle: centre (station, offset), size (along, across) [m], load [N]."""

    at: tuple[float, float]
    size: tuple[float, float]
    load: float


@dataclass(frozen=True)
class LineLoad:
    """path : plan points (n, 2) as tuples [m]; load [N/m]; on : the line of the plan that the path
    follows, "" for a path of its own."""

    path: tuple[tuple[float, float], ...]
    load: float
    on: str = ""


@dataclass(frozen=True)
class Temperature:
    """A temperature of the slab, linear through its depth.

    difference : of the upper face less that of the lower one [K]; mean : less that of the beams
    [K]; expansion : of the concrete [1/K].
    """

    difference: float
    mean: float
    expansion: float


@dataclass(frozen=True, kw_only=True)
class Case:
    """A static load case; pressure [N/m2] on the whole slab, positive down.

    action : what the case is in combinations of actions, "none" = it is left out of them.
    stage : the stage of the deck's life at which the load acts.
    shrinkage : free strain of the slab, positive = shorter [-]; settlements : of lines, holds
    ("C2@L1") and points by their names, down [m].
    """

    name: str
    patches: tuple[Patch, ...] = ()
    pressure: float = 0.0
    self_weight: bool = False
    lines: tuple[LineLoad, ...] = ()
    action: Action = "none"
    stage: Stage = "short-term"
    temperature: Temperature | None = None
    shrinkage: float = 0.0
    settlements: tuple[tuple[str, float], ...] = ()

    @property
    def imposes(self) -> bool:
        """Whether it strains the slab or moves supports."""
        return self.temperature is not None or self.shrinkage != 0.0 or bool(self.settlements)


@dataclass(frozen=True, kw_only=True)
class Stages:
    """The slab's modulus in the stages of the deck's life, as shares of its own, None where not
    stated; fresh concrete has none."""

    long_term: float | None
    shrinkage: float | None

    def share(self, stage: Stage) -> float:
        """Of a stage with hardened concrete, which is stated.

        Raises
        ------
        ValueError
            It is not: the caller has to ask before.
        """
        found = {"long-term": self.long_term, "shrinkage": self.shrinkage, "short-term": 1.0}[stage]
        if found is None:
            raise ValueError(f"no modular ratio of stage {stage}")
        return found


@dataclass(frozen=True)
class Sum:
    """A sum of static cases: name of the case -> its factor.

    cracked : whether it is also solved with the stiffness that cracks leave the slab. source, mark
    : as of a vehicle.
    """

    name: str
    factors: tuple[tuple[str, float], ...]
    cracked: bool = False
    source: str = "deck file"
    mark: Mark | Literal[""] = ""


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


@dataclass(frozen=True)
class Probe:
    """A named result: at a point, or the mean along the segment start-end (plan, m)."""

    name: str
    at: tuple[float, float] | None
    start: tuple[float, float] | None = None
    end: tuple[float, float] | None = None


@dataclass(frozen=True)
class MeshOptions:
    """Element order and target size [m]; None = the program's own choice.

    error : numerical tolerance asked of every headline value, as a share of the value; None = the
    tolerance is stated, whatever it is.
    """

    order: int | None = None
    size: float | None = None
    error: float | None = None


@dataclass(frozen=True, kw_only=True)
class Deck:
    """A validated deck. `lines` holds only lines that are not free, in plan order.

    warnings : sentences for the report (a patch partly off the slab, with the load lost).
    strip : the hand strip that the design stands on, None where the file does not say.
    factors : of every standard, recommended ones and those that the user states.
    fitted : factors on stiffnesses, found from a load test, that are in the deck's values already.
    stages : None where every case acts on the same model; sums : of static cases.
    own : what code of the user's own gives.
    """

    path: str
    title: str
    slab: Slab
    plan: Plan
    stations: tuple[float, ...]
    offsets: tuple[float, ...]
    lines: tuple[Line, ...]
    points: tuple[Point, ...]
    cases: tuple[Case, ...]
    traffic: Traffic | None
    probes: tuple[Probe, ...]
    mesh: MeshOptions = field(default_factory=MeshOptions)
    warnings: tuple[str, ...] = ()
    reinforcement: Reinforcement | None = None
    strip: DesignStrip | None = None
    factors: tuple[Factors, ...] = tuple(FACTORS.values())
    load_tests: tuple[LoadTest, ...] = ()
    fitted: tuple[Factor, ...] = ()
    stages: Stages | None = None
    sums: tuple[Sum, ...] = ()
    own: Own = field(default_factory=Own)

    @property
    def required_traffic(self) -> Traffic:
        """The traffic, of which there is some.

        Raises
        ------
        ValueError
            The deck has none: the caller has to ask before.
        """
        if self.traffic is None:
            raise ValueError(f"{self.path}: the deck has no traffic")
        return self.traffic

    @property
    def required_reinforcement(self) -> Reinforcement:
        """The bars, of which there are some.

        Raises
        ------
        ValueError
            The deck has none: the caller has to ask before.
        """
        if self.reinforcement is None:
            raise ValueError(f"{self.path}: the deck has no bars")
        return self.reinforcement

    @property
    def combined_cases(self) -> dict[str, Action]:
        """Static cases that take part in combinations, with their actions."""
        return {case.name: case.action for case in self.cases if case.action != "none"}

    @property
    def course(self) -> Course:
        """What gives stations and offsets of the traffic their place in plan."""
        axis = None if self.traffic is None else self.traffic.axis
        return axis or self.plan.alignment

    @cached_property
    def slab_limits(self) -> Floats:
        """Least and largest station and offset (2, 2) of the slab as traffic counts them [m]."""
        return plan_limits(self.plan, None if self.traffic is None else self.traffic.axis)

    def factor_on(self, stiffness: Stiffness) -> float:
        """The factor on a stiffness that is in the deck's values already."""
        found = [one.value for one in self.fitted if one.stiffness.overlaps(stiffness)]
        return found[0] if found else 1.0

    def line(self, name: str) -> Line | None:
        """The supporting line of that name, or None where the plan line is free."""
        return next((line for line in self.lines if line.name == name), None)
