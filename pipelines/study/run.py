"""A study, start to end: study file in, table of responses out; killed at any time, it goes on."""

import json
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from pipelines.study.convergence import PAGE, Convergence
from pipelines.study.effects import SENSITIVITY, write_sensitivity
from pipelines.study.execute import execute
from pipelines.study.file import read_study
from pipelines.study.fit.held import enough, look, stop_words
from pipelines.study.memory import Need, local_workers, study_need
from pipelines.study.own import distinct, require_named
from pipelines.study.plan import Plan, Row, Task, asked_of, plan_study
from pipelines.study.record import (
    about,
    caution_column,
    design_columns,
    made_columns,
    table_schema,
)
from pipelines.study.rows import RowFiles
from pipelines.study.spec import NowhereError, Study, StudyError
from pipelines.study.table import Column, csv_text, has_parquet, study_columns, write_parquet
from pipelines.study.task import Finished, Wanted, read_again
from pipelines.study.workers import Cluster, Pool, Workers, end_unguarded
from pipelines.system.files import write_text
from pipelines.system.machine import Device, accelerators, locked, processors
from pipelines.system.outputs import check_folder, replacing

FILES = (
    *("table.parquet", "table.csv", "table.schema.json"),
    *("design.csv", "made.csv", "study.json"),
)
# How long the end of another study in the same folder is waited for [s].
PATIENCE = 2.0
Progress = Callable[[str, int, int, int], None]


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What a run of a study did.

    rows, failed, above_target : of the whole table; empty : responses that no row has a value of;
    computed : decks computed in this run; saved : not computed, since the study was stopped, as
    `stopped` says; seconds : wall time of the computing; deck_seconds : summed over workers.
    """

    rows: int
    failed: int
    above_target: int
    empty: tuple[str, ...]
    computed: int
    saved: int
    stopped: str
    workers: int
    need: Need
    seconds: float
    deck_seconds: float

    @property
    def per_hour(self) -> float:
        """Decks per hour in this run; 0 where none was computed."""
        return 3600.0 * self.computed / self.seconds if self.computed else 0.0


def run_study(
    path: str | Path,
    out: str | Path,
    *,
    workers: int | None = None,
    cluster: str | None = None,
    progress: Progress | None = None,
    own: Sequence[str | Path] = (),
    device: Device = "cpu",
) -> Outcome:
    """Compute what is missing of a study and write its table to `out`.

    workers : local processes, default one per processor as far as memory allows; cluster : address
    of a Dask scheduler instead. progress : called with the stage, what is done, what there is and
    how many rows failed. own : files of the user's own code that may be run where the base deck
    names them, and on a cluster packages. device : "gpu" has load positions solved on accelerators,
    one for each worker, and by default as many workers.

    `out` holds the files of FILES, table.parquet where pyarrow is installed, those of SENSITIVITY
    for a saltelli design, and rows/ with one file per deck.

    Raises
    ------
    DeckError, StudyError
        Mistakes in the study file; memory that does not suffice; a lost cluster; a script that
        calls this outside `if __name__ == "__main__":`, which every worker runs again.
    JobError
        Another study is at work in the same folder; there is no accelerator.
    OSError
        Files that cannot be written. Finished rows stay, the next run goes on from them.

    >>> if __name__ == "__main__":
    ...     outcome = run_study("study.toml", "studied")  # as `deckslab new study` writes it
    """
    end_unguarded()
    path, out = Path(path), Path(out)
    tell = progress or (lambda stage, part, whole, failed: None)
    # Those of a cluster are asked for there.
    usual = accelerators() if device == "gpu" and not cluster else processors()
    study = read_study(path)
    plan = plan_study(study, lambda part, whole: tell("decks", part, whole, 0), own)
    if cluster:
        require_named(distinct(row.own for row in plan.rows), own)
    check_folder(out, "study", (*FILES, *SENSITIVITY, PAGE))
    files = RowFiles(out / "rows")
    with locked(files.folder, PATIENCE):

        def start_workers(need: Need) -> Pool:
            if cluster:
                return Cluster(cluster, need, device)
            return Workers(local_workers(workers, need, usual))

        where = "cluster" if cluster else "local processes"
        return _run(study, plan, out, files, start_workers, where, device, tell)


def _run(
    study: Study,
    plan: Plan,
    out: Path,
    files: RowFiles,
    start_workers: Callable[[Need], Pool],
    where: str,
    device: Device,
    tell: Progress,
) -> Outcome:
    """What is missing of a plan computed, and its table written. where : in words."""
    wanted = Wanted(
        study.responses, study.reference, study.error_target, plan.program, asked_of(study), device
    )
    finished = _kept(plan, wanted, files)
    before = frozenset(finished)
    tasks = plan.tasks(before.__contains__)
    count = sum(len(task.rows) for task in tasks)
    need = study_need(plan) if tasks else Need(bytes=0.0, row=0, looked_at=0, structures=0)
    seen = Convergence(study, plan, out / PAGE, finished.values())

    def keep(row: Row, one: Finished) -> None:
        if one.nowhere and not any(known.status != "failed" for known in finished.values()):
            raise StudyError(f"the first deck, row {row.number}: {one.reason}; nothing is kept")
        if one.lasting:
            files.write(row, one)
        finished[row.key] = one
        seen.add(one)
        seen.write()
        tell("rows", len(finished) - len(before), count, seen.failed)

    def started() -> Pool:
        tell("rows", 0, count, seen.failed)
        return start_workers(need)

    start = time.perf_counter()
    used = _compute(study, plan, wanted, finished, started, keep, seen)
    seconds = time.perf_counter() - start
    saved = len({row.key for row in plan.rows if not row.reason} - finished.keys())
    stopped = stop_words(study.stop, seen.looks, saved) if saved and study.stop else ""
    seen.write(ended=stopped or "All rows are there.")
    columns = study_columns(study, plan, finished, stopped)
    statuses = next(c.values for c in columns if c.name == "status")
    new = [one for key, one in finished.items() if key not in before]
    outcome = Outcome(
        rows=len(plan.rows),
        failed=statuses.count("failed"),
        above_target=statuses.count("above target"),
        empty=_empty(study, columns) if finished else (),
        computed=len(new),
        saved=saved,
        stopped=stopped,
        workers=used,
        need=need,
        seconds=seconds,
        deck_seconds=sum(one.seconds for one in new),
    )
    source = about(study, plan) | ({"stopped": stopped} if stopped else {})
    record = source | _run_record(outcome, new, where, device)
    record |= {
        "study_file": study.path.read_text(encoding="utf-8"),
        "base_file": study.base_path.read_text(encoding="utf-8"),
        "columns": {c.name: {"unit": c.unit, "meaning": c.meaning} for c in columns},
    }
    with replacing(out, "study") as folder:
        if has_parquet():
            write_parquet(folder / "table.parquet", columns, source)
        if study.design.kind == "saltelli":
            write_sensitivity(folder, study, columns)
        for name, text in (
            ("table.csv", csv_text([*columns, caution_column(len(plan.rows))])),
            ("table.schema.json", json.dumps(table_schema(study, columns), indent=1) + "\n"),
            ("design.csv", csv_text(design_columns(study, plan))),
            ("made.csv", csv_text(made_columns(study, plan, finished))),
            ("study.json", json.dumps(record, indent=1) + "\n"),
        ):
            write_text(folder / name, text)
    return outcome


def _empty(study: Study, columns: Sequence[Column]) -> tuple[str, ...]:
    """Responses without a value in any row."""
    names = {response.name for response in study.responses}
    known = {c.name for c in columns if any(value is not None for value in c.values)}
    return tuple(c.name for c in columns if c.name in names - known)


def _compute(
    study: Study,
    plan: Plan,
    wanted: Wanted,
    finished: dict[str, Finished],
    start_workers: Callable[[], Pool],
    keep: Callable[[Row, Finished], None],
    seen: Convergence,
) -> int:
    """Compute what is missing, part by part, until nothing is or the fit that the study stops at is
    good enough, which depends on the parts alone. Returns the number of workers."""
    stop, pool = study.stop, None
    sampled = study.design.rows is not None
    every = len(plan.rows) if stop is None else stop.every
    so_far: list[Row] = []
    try:
        for part in plan.rounds(every, drawn=not sampled):
            tasks = plan.tasks(finished.__contains__, part)
            if tasks and pool is None:
                pool = start_workers()
                # One deck by itself first: a response that leads nowhere stops the study there.
                execute((Task(tasks[0].rows[:1]),), wanted, pool, keep)
                tasks = plan.tasks(finished.__contains__, part)
            if tasks and pool is not None:
                execute(tasks, wanted, pool, keep)
            if stop is not None:
                so_far += part
                rows = tuple(sorted(so_far, key=lambda row: row.number))
                columns = study_columns(study, replace(plan, rows=rows), finished)
                seen.looks.append(look(stop.fit, columns, len(rows)))
                if enough(seen.looks, stop.error):
                    break
    finally:
        if pool is not None:
            pool.close()
    return 0 if pool is None else pool.count


def _kept(plan: Plan, wanted: Wanted, files: RowFiles) -> dict[str, Finished]:
    """The rows of a plan that are finished, by key; other responses than were asked for before are
    read from what was kept of their decks.

    Raises StudyError for a response that leads nowhere.
    """
    found: dict[str, Finished] = {}
    for row in plan.rows:
        kept = files.read(row.key)
        if kept is not None and kept.asked != wanted.asked:
            try:
                kept = read_again(row, kept, wanted)
            except NowhereError as error:
                raise StudyError(f"row {row.number}: {error}") from None
            if kept is not None:
                files.write(row, kept)
        if kept is not None:
            found[row.key] = kept
    return found


def _run_record(
    outcome: Outcome, new: list[Finished], where: str, device: Device
) -> dict[str, Any]:
    return {
        "last_run": {
            "finished": datetime.now(UTC).isoformat(timespec="seconds"),
            "computed": outcome.computed,
            "failed": outcome.failed,
            "above_target": outcome.above_target,
            "saved": outcome.saved,
            "executor": where,
            "device": device,
            "workers": outcome.workers,
            "processors": processors(),
            "wall_seconds": round(outcome.seconds, 3),
            "deck_seconds": round(outcome.deck_seconds, 3),
            "decks_per_hour": round(outcome.per_hour, 1),
            "memory_estimate_GB": round(outcome.need.bytes / 1e9, 3),
            "hosts": sorted({one.host for one in new if one.host}),
        }
    }
