"""Static load cases, the stages of the deck's life that they act in, and their sums, all in SI."""

from dataclasses import dataclass
from typing import Literal

from pipelines.standards.actions.loads import Action
from pipelines.standards.sources import Mark

Stage = Literal["wet concrete", "long-term", "shrinkage", "short-term"]


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
