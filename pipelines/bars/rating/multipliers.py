"""What a vehicle is rated at: multipliers by check, with their places and load positions."""

from dataclasses import dataclass
from typing import Literal

from pipelines.bars.adequacy import Check
from pipelines.bars.rating.fleet import Level
from pipelines.standards.actions.loads import Axle, cited
from pipelines.standards.own.code import MARK
from pipelines.standards.sources import Mark, Source, Standard
from pipelines.traffic.arrangements import Arrangement, LoadPosition


@dataclass(frozen=True, kw_only=True)
class Multiplier:
    """The largest multiplier of a vehicle at which a check passes.

    rule : of the check; words : the layer or section; ultimate : whether the check is of the
    ultimate limit state, so that another partial factor on traffic changes the multiplier in
    proportion; at : in plan [m]; position : where the traffic stands as it governs, None = nowhere
    does it come to the limit; floor : whether it is only no less than this.
    """

    value: float
    check: Check
    rule: str
    words: str
    ultimate: bool
    at: tuple[float, float]
    where: str
    position: Arrangement | None
    source: Source
    floor: bool = False

    @property
    def adequate(self) -> bool:
        return self.value >= 1.0


@dataclass(frozen=True)
class BetweenSteps:
    """value : the multiplier at the governing place is no less than this wherever the vehicle
    stands; proven : whether that is so, or only as far as a search has found; position : where it
    comes nearest to that, None = nowhere does it come to the limit."""

    value: float
    proven: bool
    position: LoadPosition | None


@dataclass(frozen=True, kw_only=True)
class Rated:
    """A vehicle or load model by one standard.

    vehicle : its name, with what stands beside it; mark : how far its loads are to be trusted, "" =
    those of a file; axles : of the vehicle, None = a load model;
    multipliers : the least first; gamma : the factor on traffic at the ultimate limit state; n :
    load positions; at_places : whether it is judged at places where other vehicles govern, the
    least of each check alone; between : of the least multiplier where it is of moments, None = not
    looked at.
    """

    vehicle: str
    standard: Standard
    multipliers: tuple[Multiplier, ...]
    gamma: float
    n: int
    mark: Mark | Literal[""] = ""
    axles: tuple[Axle, ...] | None = None
    at_places: bool = False
    between: BetweenSteps | None = None

    @property
    def words(self) -> str:
        """Its name, with the mark of what is the user's own."""
        return cited(self.vehicle, MARK) if self.mark == MARK else self.vehicle

    @property
    def whole(self) -> bool:
        """Whether it is a load model, with all its lanes."""
        return self.axles is None

    @property
    def weight(self) -> float | None:
        """Of the vehicle, without impact [N]; None of a load model."""
        return None if self.axles is None else sum(axle.load for axle in self.axles)

    @property
    def least(self) -> Multiplier:
        return self.multipliers[0]

    @property
    def following(self) -> Multiplier | None:
        """The least one of another check."""
        return next((m for m in self.multipliers if m.check is not self.least.check), None)

    def of(self, check: Check) -> Multiplier | None:
        """The least multiplier of a check; None where it is not judged."""
        return next((m for m in self.multipliers if m.check is check), None)

    def at_level(self, level: Level) -> float:
        """The least multiplier of the ultimate limit state with another factor on the vehicle."""
        least = min(m.value for m in self.multipliers if m.ultimate)
        return least * self.gamma / level.gamma

    def has_level(self, level: Level) -> bool:
        """Whether a level is of its standard, is of its kind and changes any of its checks."""
        ours = level.standard == self.standard and any(m.ultimate for m in self.multipliers)
        return ours and not (level.permit and self.whole)
