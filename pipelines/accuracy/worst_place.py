"""The worst place of a result, and what is known of it."""

from dataclasses import dataclass

from pipelines.traffic.arrangements import LoadPosition


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
