"""How much memory a deck of a study needs, estimated before any is computed."""

from dataclasses import dataclass
from math import inf

from pipelines.errors import JobError, SizeError
from pipelines.model.job_size import JobSize, check_job_size
from pipelines.study.plan import Plan, Row, deck_of
from pipelines.study.spec import StudyError
from pipelines.system.machine import free_memory
from plate.errors import PlateError

FREE_SHARE = 0.8
"""Share of the free memory that a study may plan with."""
# At most so many structures are looked at; of more, evenly spaced ones.
MOST_LOOKED_AT = 500
NOTHING = JobSize(
    cells=0, degrees_of_freedom=0, load_positions=0, memory=0.0, seconds=0.0, apart=False
)


@dataclass(frozen=True, kw_only=True)
class Need:
    """bytes : of the largest deck looked at, its row; looked_at : structures looked at, of all;
    words : what that deck is estimated to take."""

    bytes: float
    row: int
    looked_at: int
    structures: int
    words: str = ""


def study_need(plan: Plan) -> Need:
    """Memory that one deck in flight needs, at most.

    Raises StudyError where all decks looked at are too large.
    """
    first: dict[str, Row] = {}
    for row in plan.rows:
        if not row.reason:
            first.setdefault(row.structure, row)
    rows = list(first.values())
    step = max(1, -(-len(rows) // MOST_LOOKED_AT))
    largest, number = NOTHING, 0
    looked_at = rows[::step]
    refused = []
    for row in looked_at:
        try:
            size = row_size(row)
        except SizeError as error:
            refused.append(f"row {row.number}: {error}")
            continue
        except (JobError, PlateError):
            continue  # its row will say why
        if size.memory > largest.memory:
            largest, number = size, row.number
    if looked_at and len(refused) == len(looked_at):
        raise StudyError(f"no deck looked at can be computed; the first: {refused[0]}")
    return Need(
        bytes=largest.memory,
        row=number,
        looked_at=len(looked_at),
        structures=len(rows),
        words=largest.words,
    )


def row_size(row: Row) -> JobSize:
    """What a worker that computes the row is estimated to take, wherever it is.

    Raises SizeError where no machine may compute it.
    """
    return check_job_size(deck_of(row), 1, lambda: inf, tolerances=row.tolerances)


def local_workers(asked: int | None, need: Need, usual: int) -> int:
    """Worker processes: those asked for, or as many as usual, as far as memory allows.

    Raises StudyError where the number asked for, or a single one, does not fit.
    """
    count = asked or usual
    fit = int(min(FREE_SHARE * free_memory() / max(need.bytes, 1.0), count))
    if fit < 1 or (asked is not None and fit < asked):
        raise StudyError(
            f"row {need.row} needs about {need.bytes / 1e9:.1f} GB in each of {count} workers; "
            f"{free_memory() / 1e9:.1f} GB are free, enough for {fit}: ask for fewer --workers, or "
            f"make [mesh] size_m of the base deck larger; the row: {need.words}"
        )
    return min(count, fit)
