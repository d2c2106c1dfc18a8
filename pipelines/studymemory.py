"""How much memory a deck of a study needs, estimated before any is computed.

From the size of the models: element matrices, recovery operators, factor and, with moving loads,
blocks of responses. The factor of a nested dissection holds about FACTOR n log2(cells) numbers.
The coefficients are measured (`tests/pipelines/test_studymemory.py` holds estimates against peaks).
"""

import os
from dataclasses import dataclass
from math import inf, log2
from pathlib import Path

from pipelines.accuracy import richer_model
from pipelines.build import build_model
from pipelines.errors import JobError
from pipelines.responses import BLOCK
from pipelines.studyplan import Plan, Row, deck_of
from pipelines.studyspec import StudyError
from plate.errors import PlateError
from plate.model import PlateModel

PROGRAM = 250e6
"""What a worker holds before it meets a deck [bytes]."""
FACTOR = 7.5
"""Numbers of the factor per degree of freedom, order of the elements and log2 of the cells."""
FREE_SHARE = 0.8
"""Share of the free memory that a study may plan with."""
# At most so many structures are looked at; of more, evenly spaced ones.
MOST_LOOKED_AT = 500


@dataclass(frozen=True)
class Need:
    """bytes : of the largest deck looked at, its row; looked_at : structures looked at, of all."""

    bytes: float
    row: int
    looked_at: int
    structures: int


def study_need(plan: Plan) -> Need:
    """Memory that one deck in flight needs, at most."""
    first: dict[str, Row] = {}
    for row in plan.rows:
        if not row.reason:
            first.setdefault(row.structure, row)
    rows = list(first.values())
    step = max(1, -(-len(rows) // MOST_LOOKED_AT))
    most, number = PROGRAM, 0
    looked_at = rows[::step]
    for row in looked_at:
        try:
            need = row_need(row)
        except (JobError, PlateError):
            continue  # its row will say why
        if need > most:
            most, number = need, row.number
    return Need(most, number, len(looked_at), len(rows))


def row_need(row: Row) -> float:
    """Estimated peak of a worker that computes the row [bytes]."""
    deck = deck_of(row)
    built = build_model(deck)
    matrices, operators, factor = _parts(built.model)
    kept = matrices + operators + factor
    peak = 2.2 * kept
    if row.tolerances:
        richer = _parts(richer_model(deck, built).model)
        peak = max(peak, kept + 1.6 * (richer[0] + richer[2]))
    if deck.traffic is not None:
        peak += 3.0 * BLOCK * 8.0 * built.model.n_dof
    return PROGRAM + peak


def _parts(model: PlateModel) -> tuple[float, float, float]:
    """Element matrices, recovery operators and factor of a model [bytes]."""
    mesh = model.mesh
    n_node = mesh.cells.shape[1]
    n_dof = 3 * n_node
    levels = max(1.0, log2(mesh.n_cells))
    return (
        8.0 * mesh.n_cells * n_dof**2,
        8.0 * mesh.n_cells * 6 * max(3, mesh.order) ** 2 * n_dof,
        8.0 * FACTOR * mesh.order * model.n_dof * levels,
    )


def free_memory() -> float:
    """Memory that is free on this machine, or in the group of processes it is limited to [bytes].

    inf where the system does not say.
    """
    found = [inf]
    for line in _lines("/proc/meminfo"):
        if line.startswith("MemAvailable:"):
            found.append(1024.0 * float(line.split()[1]))
    limit, used = (_lines(f"/sys/fs/cgroup/memory.{name}") for name in ("max", "current"))
    if limit and used and limit[0].isdecimal():
        found.append(float(limit[0]) - float(used[0]))
    return min(found)


def _lines(path: str) -> list[str]:
    """Lines of a file that only some systems have."""
    try:
        return Path(path).read_text().split("\n")
    except OSError:
        return []


def local_workers(asked: int | None, need: Need) -> int:
    """Worker processes: those asked for, or one per processor, as far as memory allows.

    Raises StudyError where the number asked for, or a single one, does not fit.
    """
    count = asked or len(os.sched_getaffinity(0))
    fit = int(min(FREE_SHARE * free_memory() / need.bytes, count))
    if fit < 1 or (asked is not None and fit < asked):
        raise StudyError(
            f"row {need.row} needs about {need.bytes / 1e9:.1f} GB in each of {count} workers; "
            f"{free_memory() / 1e9:.1f} GB are free, enough for {fit}"
        )
    return min(count, fit)
