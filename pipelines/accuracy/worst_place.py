"""The worst place of a result, and what is known of it."""

from dataclasses import dataclass

from pipelines.traffic.arrangements import Arrangement, LoadPosition


@dataclass(frozen=True)
class WorstPlace:
    """The worst value of a result over all load positions, however fine [SI].

    position : None where the empty deck governs. tolerance : how much further from zero a value may
    lie; proven : whether that is an upper bound, or only what a search may have missed.
    """

    value: float
    position: LoadPosition | None
    tolerance: float
    proven: bool


@dataclass(frozen=True)
class WorstArrangement:
    """The worst value of a result under a load model, without the factor near joints [SI].

    position : None where the empty deck governs; tolerance : how much further from zero a value may
    lie; proven : whether that is an upper bound, or only what the search may have missed.
    """

    value: float
    position: Arrangement | None
    tolerance: float
    proven: bool
