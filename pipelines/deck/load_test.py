"""Load tests: a known vehicle at known places, what was read of the deck under it, and which
stiffnesses are to be found from that. In SI units, frozen."""

from dataclasses import dataclass
from typing import Literal

from pipelines.standards.actions.loads import Vehicle
from pipelines.standards.resistance.bars import Direction as Along
from pipelines.standards.resistance.bars import Face

Quantity = Literal["deflection", "strain", "rotation"]
Kind = Literal[
    "slab E",
    "slab thickness",
    "beam EI",
    "beam E",
    "connection k",
    "spring k",
    "spring k_rot",
    "hold k",
    "hold k_rot",
    "point k",
]


@dataclass(frozen=True)
class Unit:
    """The unit of a quantity in print, how much of SI it is, and the largest reading in it."""

    name: str
    scale: float
    largest: float


UNITS: dict[Quantity, Unit] = {
    "deflection": Unit("mm", 1e-3, 1e3),
    "strain": Unit("1e-6", 1e-6, 1e4),
    "rotation": Unit("mrad", 1e-3, 100.0),
}


@dataclass(frozen=True)
class Stiffness:
    """A stiffness of the deck, of one kind; on : the lines or points that share it, () of the
    slab."""

    kind: Kind
    on: tuple[str, ...] = ()

    def overlaps(self, other: "Stiffness") -> bool:
        """Whether the two are of one kind and have a line or point in common."""
        common = not self.on or bool(set(self.on) & set(other.on))
        return self.kind == other.kind and common


@dataclass(frozen=True)
class Factor:
    """A stiffness and how many times as large it is as the deck file's tables say."""

    stiffness: Stiffness
    value: float


@dataclass(frozen=True)
class Unknown:
    """A stiffness to be found, its name for print, and the least and largest factor on what the
    deck file's tables say of it."""

    name: str
    stiffness: Stiffness
    low: float
    high: float


@dataclass(frozen=True)
class Standing:
    """Where the vehicle stands: station and offset of its first axle's centre [m]."""

    station: float
    offset: float
    direction: Literal["forward", "reverse"]


@dataclass(frozen=True, kw_only=True)
class Reading:
    """What was read at a place under a load position, less what was read of the empty deck.

    value : deflection down [m], strain [-] with tension positive, rotation [rad], positive where
    the deflection grows with station or offset. accuracy : its standard deviation, None = not
    known. face, direction : of strains both, of rotations the direction; beam : the line of the
    beam on which a strain is read, along it and without direction, "" = on the slab.
    lever : from the section's neutral axis to the gauge [m], of a beam from its centroid; None =
    half the slab's thickness there. line : of the file.
    """

    line: int
    position: str
    place: str
    at: tuple[float, float]
    quantity: Quantity
    value: float
    accuracy: float | None
    face: Face | None = None
    direction: Along | None = None
    lever: float | None = None
    beam: str = ""

    @property
    def signed_lever(self) -> float:
        """The lever of a strain whose lever is stated, below the axis positive [m]."""
        assert self.lever is not None
        return -self.lever if self.face == "top" else self.lever

    @property
    def words(self) -> str:
        """Quantity, face and direction."""
        if self.beam:
            return f"strain {self.face}, beam {self.beam}"
        if self.quantity == "strain":
            return f"strain {self.face} {self.direction}"
        return self.quantity if self.direction is None else f"{self.quantity} {self.direction}"


@dataclass(frozen=True, kw_only=True)
class LoadTest:
    """A vehicle that stands still, without impact, at load positions by name; at one of them may
    stand several vehicles. file : of the readings; unknowns : stiffnesses to be found."""

    name: str
    vehicle: Vehicle
    positions: dict[str, tuple[Standing, ...]]
    file: str
    readings: tuple[Reading, ...]
    unknowns: tuple[Unknown, ...]
