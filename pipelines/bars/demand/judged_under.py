"""The traffic that the bars are judged under by one standard."""

from collections.abc import Sequence
from dataclasses import dataclass

from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.findings.finding import CAUTION
from pipelines.standards.actions.load_models import counts_under
from pipelines.standards.sources import Standard
from pipelines.traffic.positions import LoadPositions


@dataclass(frozen=True)
class JudgedUnder:
    """The traffic that the bars are judged under by one standard, by its names.

    models : load models; vehicles : those that drive alone; others : vehicles that do not count,
    because they are of another standard's family.
    """

    models: tuple[str, ...]
    vehicles: tuple[str, ...]
    others: tuple[str, ...]

    @property
    def words(self) -> str:
        found = ", ".join([*self.models, *(f"{name} alone" for name in self.vehicles)])
        if not self.models:
            found = CAUTION if self.vehicles else "none"
        left = f" (not {' nor '.join(self.others)}, of another family)" if self.others else ""
        return found + left


def judged_under(
    models: Sequence[TrafficEnvelope], runs: Sequence[LoadPositions], standard: Standard
) -> JudgedUnder:
    """Load models of the standard, and those of the runs' vehicles that count under it."""
    listed = list(dict.fromkeys(run.vehicle.name for run in runs))
    mine = [name for name in listed if counts_under(name, standard)]
    others = tuple(name for name in listed if name not in mine)
    return JudgedUnder(tuple(m.model.name for m in models), tuple(mine), others)
