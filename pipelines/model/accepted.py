"""Whether a deck can be run: what `run` refuses before it solves anything, `draw` refuses too."""

from dataclasses import dataclass

from pipelines.deck.deck import Deck
from pipelines.model.build import BuiltModel, build_model
from pipelines.model.job_size import JobSize, check_job_size
from plate.model.mechanism import check_mechanism


@dataclass(frozen=True)
class Accepted:
    """A deck's job and its model."""

    size: JobSize
    built: BuiltModel


def accepted(deck: Deck, workers: int | None = None, *, tolerances: bool = True) -> Accepted:
    """The job of a deck and its model, looked at in that order.

    workers, tolerances : as `job_size` takes them.

    Raises
    ------
    SizeError
        The job cannot fit.
    PlateError
        No mesh fits, supports contradict each other, or the deck is a mechanism.
    """
    size = check_job_size(deck, workers, tolerances=tolerances)
    return Accepted(size, buildable(deck))


def buildable(deck: Deck) -> BuiltModel:
    """The model of a deck; raises PlateError as `accepted` does."""
    built = build_model(deck)
    check_mechanism(built.model)
    return built
