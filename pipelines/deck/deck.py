"""The deck as the job sees it: validated, in SI units (N, m, Pa, rad), frozen.

`reading.deck_file` makes a `Deck` of a deck file; everything behind it works on these values.
Plan coordinates are (station, offset) in metres; stations are arc lengths on a curved deck.
"""

from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal

import numpy as np

from pipelines.deck.cases import Case, Stages, Sum
from pipelines.deck.design_strip import DesignStrip
from pipelines.deck.load_test import Factor, LoadTest, Stiffness
from pipelines.deck.reinforcement import Reinforcement
from pipelines.deck.traffic import Traffic
from pipelines.standards.actions.loads import Action
from pipelines.standards.factors import FACTORS, Factors
from pipelines.standards.own.own import Own
from pipelines.standards.supports import hogging_at
from plate.arrays import Floats
from plate.geometry.axis import Course
from plate.geometry.outline import plan_limits
from plate.geometry.plan import Plan

Theory = Literal["mindlin", "kirchhoff"]
Support = Literal["free", "rigid", "clamped", "spring", "beam"]


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
