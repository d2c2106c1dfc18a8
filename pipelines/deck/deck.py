"""The deck as the job sees it: validated, in SI units (N, m, Pa, rad), frozen.

`deckfile.read_deck` makes a `Deck` from a deck file; everything behind it works on these values.
Plan coordinates are (station, offset) in metres; stations are arc lengths on a curved deck.
"""

from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from pipelines.deck.reinforcement import Reinforcement
from plate.geometry.plan import Plan

Theory = Literal["mindlin", "kirchhoff"]
Support = Literal["free", "rigid", "clamped", "spring", "beam"]
Dispersal = Literal["none", "surfacing", "mid-depth"]
Action = Literal["none", "self-weight", "surfacing", "parapet", "other permanent"]
Stage = Literal["wet concrete", "long-term", "short-term"]


@dataclass(frozen=True)
class Zone:
    """A part of the slab with another thickness.

    stations, offsets : (2,) plan ranges [m]; None = the full extent.
    thickness : [m].
    """

    stations: tuple[float, float] | None
    offsets: tuple[float, float] | None
    thickness: float


@dataclass(frozen=True)
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


@dataclass(frozen=True)
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


@dataclass(frozen=True)
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


@dataclass(frozen=True)
class Line:
    """A line of the plan that supports or stiffens the slab.

    k : spring stiffness [N/m per m]; k_rot : against the slope normal to the line [N m/rad per m].
    lifts : whether the slab may lift off a rigid line (it is not tied down).
    width : width of the support [m] (flange), 0 = not stated.
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
    label: str = ""


@dataclass(frozen=True)
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
class Case:
    """A static load case; pressure [N/m2] on the whole slab, positive down.

    action : what the case is in combinations of actions, "none" = it is left out of them.
    stage : the stage of the deck's life at which the load acts.
    """

    name: str
    patches: tuple[Patch, ...] = ()
    pressure: float = 0.0
    self_weight: bool = False
    lines: tuple[LineLoad, ...] = ()
    action: Action = "none"
    stage: Stage = "short-term"


@dataclass(frozen=True)
class Axle:
    """One axle: distance behind the first axle [m], load [N] shared equally by its wheels,
    wheel offsets from the vehicle's centre line [m], contact patch (along, across) [m]."""

    at: float
    load: float
    wheels: tuple[float, ...]
    patch: tuple[float, float]


@dataclass(frozen=True)
class Vehicle:
    """A vehicle; loads as its standard prints them, `impact` multiplies.

    clearance : distance from the carriageway's edge that its standard asks for [m], measured to
    `clearance_to` ("wheel centre" or "tyre edge"); source : where the numbers come from.
    variable : (k, by), the spacing ahead of axle k may be up to `by` [m] wider than `at` says,
    moving axle k and those behind it; None = all spacings are fixed.
    """

    name: str
    axles: tuple[Axle, ...]
    impact: float = 1.0
    clearance: float = 0.5
    clearance_to: Literal["wheel centre", "tyre edge"] = "wheel centre"
    source: str = "deck file"
    variable: tuple[int, float] | None = None


@dataclass(frozen=True)
class LaneKind:
    """One way of loading a lane: one of `vehicles` at a time, and a pressure.

    factor : on the vehicles. room : two neighbouring lanes' vehicles keep at least the sum of
    their rooms between centre lines [m].
    pressure : on a strip `width` [m] wide about the vehicle's centre line, moved inward where it
    would leave the carriageway, on top of the model's own [N/m2].
    """

    name: str
    vehicles: tuple[Vehicle, ...]
    factor: float
    room: float
    pressure: float = 0.0
    width: float = 0.0


@dataclass(frozen=True)
class LaneSet:
    """Lanes loaded together, in any order across the carriageway: numbers of their kinds, and a
    factor on all of them."""

    kinds: tuple[int, ...]
    factor: float = 1.0


@dataclass(frozen=True)
class LoadModel:
    """The whole traffic of a standard: of its lane sets the one that is worst.

    pressure : on the whole carriageway [N/m2]; like the lanes' it acts on adverse parts only.
    near_joint : results near an expansion joint are raised (EN 1991-2, 4.6.1(6)).
    fatigue : for ranges of stress alone, not for strength.
    source : clauses and marks; notes : sentences for the report.
    """

    name: str
    kinds: tuple[LaneKind, ...]
    sets: tuple[LaneSet, ...]
    pressure: float = 0.0
    near_joint: bool = False
    fatigue: bool = False
    source: str = ""
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Traffic:
    """Moving loads; lengths in m, dispersal angle in rad.

    Exactly one of lateral_step and offsets is set. edge_clearance (kerb to wheel centre)
    overrides the vehicles' own clearances when given.
    joints : edges of the deck at expansion joints, for load models that say so.
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

    @property
    def all_vehicles(self) -> tuple[Vehicle, ...]:
        """Those that drive alone and those of the load models."""
        models = [v for m in self.load_models for kind in m.kinds for v in kind.vehicles]
        return (*self.vehicles, *models)


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


@dataclass(frozen=True)
class Deck:
    """A validated deck. `lines` holds only lines that are not free, in plan order.

    warnings : sentences for the report (a patch partly off the slab, with the load lost).
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

    def line(self, name: str) -> Line | None:
        """The supporting line of that name, or None where the plan line is free."""
        return next((line for line in self.lines if line.name == name), None)
