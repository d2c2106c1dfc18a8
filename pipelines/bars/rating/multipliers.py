"""What a vehicle is rated at: multipliers by check, with their places and load positions."""

from dataclasses import dataclass

from pipelines.bars.adequacy import Check
from pipelines.bars.rating.fleet import Level
from pipelines.bars.rating.root import MOST
from pipelines.standards.sources import Source, Standard
from pipelines.traffic.arrangements import Arrangement


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


@dataclass(frozen=True, kw_only=True)
class Rated:
    """A vehicle or load model by one standard: multipliers, the least first; whole : whether it is
    a load model, with all its lanes; n : load positions; gamma : the factor on traffic at the
    ultimate limit state; at_places : whether it is judged at places where
    other vehicles govern, the least of each check alone."""

    vehicle: str
    standard: Standard
    multipliers: tuple[Multiplier, ...]
    gamma: float
    n: int
    at_places: bool = False
    whole: bool = False

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
        least = min((m.value for m in self.multipliers if m.ultimate), default=MOST)
        return least * self.gamma / level.gamma
