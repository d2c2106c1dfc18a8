"""One task of a study, computed in a worker: rows in, finished rows out.

Whatever happens to a deck, its row comes back: with its values, or with the reason why not. A
worker that runs another program than the one that planned the study returns no numbers.
"""

import gzip
import json
import socket
import time
from base64 import b64decode, b64encode
from dataclasses import asdict, dataclass, replace
from typing import Any

from pipelines.analysis.analyse import analyse
from pipelines.analysis.kept import Kept
from pipelines.errors import JobError, OwnError, SizeError
from pipelines.model.cache import ModelCache
from pipelines.report.data.summary import summary
from pipelines.study.groups import Reference
from pipelines.study.own import distinct, require_same
from pipelines.study.plan import Row, Task, deck_of, program_version
from pipelines.study.responses import Read, read_responses, target_missed
from pipelines.study.spec import NowhereError, Response, StudyError
from pipelines.system.machine import Device, accelerator
from plate.device.card import Card
from plate.errors import PlateError
from plate.threads import one_blas_thread

# The mesh of a row and, for its tolerances, a richer one.
MODELS_KEPT = 2
# How often a deck whose tolerances are above the target is computed with a higher order.
MOST_REFINEMENTS = 2


@dataclass(frozen=True)
class Wanted:
    """What a study wants of every deck; `Study` without its design. asked : its digest; device :
    where load positions are solved, which moves their results by rounding alone."""

    responses: tuple[Response, ...]
    reference: Reference | None
    error_target: float | None
    program: str
    asked: str
    device: Device = "cpu"


@dataclass(frozen=True, kw_only=True)
class Finished:
    """A finished row.

    status : "done", "above target" or "failed"; lasting : whether the same input would end so
    again. model : order, cells and degrees of freedom. seconds, host, device : of the computation,
    not part of the result.
    """

    key: str
    status: str
    reason: str
    values: dict[str, float | None]
    errors: dict[str, float | None]
    model: dict[str, int]
    seconds: float = 0.0
    host: str = ""
    device: Device = "cpu"
    lasting: bool = True
    nowhere: bool = False
    asked: str = ""
    summary: str = ""

    def entry(self) -> dict[str, Any]:
        """The task as plain values."""
        return asdict(self)


def failed(row: Row, reason: str, *, lasting: bool = True) -> Finished:
    """A row without values."""
    return Finished(
        key=row.key, status="failed", reason=reason, values={}, errors={}, model={}, lasting=lasting
    )


@one_blas_thread
def run_task(task: Task, wanted: Wanted) -> list[Finished]:
    """Compute the rows of a task one after the other, on one processor, and where it is wanted on
    the accelerator of this worker."""
    if program_version() != wanted.program:
        raise StudyError(
            f"the worker on {socket.gethostname()} runs {program_version()}, the study was planned "
            f"with {wanted.program}; install the same version"
        )
    require_same(distinct(row.own for row in task.rows))
    card = accelerator() if wanted.device == "gpu" else None
    models = ModelCache(MODELS_KEPT)
    found = []
    for row in task.rows:
        start = time.perf_counter()
        one = _tried(row, wanted, models, card)
        found.append(
            replace(
                one,
                seconds=time.perf_counter() - start,
                host=socket.gethostname(),
                device=wanted.device,
                asked=wanted.asked,
            )
        )
    return found


def _tried(row: Row, wanted: Wanted, models: ModelCache, card: Card | None) -> Finished:
    try:
        return _finished(row, wanted, models, card)
    except MemoryError:
        return failed(row, "not enough memory", lasting=False)
    except SizeError as error:  # another machine, or this one later, may have the memory
        return failed(row, " ".join(str(error).split()), lasting=False)
    except (NowhereError, OwnError) as error:
        return replace(failed(row, " ".join(str(error).split())), nowhere=True)
    except (JobError, PlateError) as error:
        return failed(row, " ".join(str(error).split()))
    except Exception as error:  # a fault of the program must not take the other rows with it
        return failed(row, f"{type(error).__name__}: {' '.join(str(error).split())}")


def _finished(row: Row, wanted: Wanted, models: ModelCache, card: Card | None) -> Finished:
    deck = deck_of(row)
    known = {**row.variables, **row.values}
    missed = ""
    for _ in range(1 + MOST_REFINEMENTS):
        result = analyse(
            deck, kept=Kept(models), threads=1, tolerances_wanted=row.tolerances, card=card
        )
        found = summary(result)
        reads = read_responses(wanted.responses, found, deck, wanted.reference, known)
        missed = ""
        if row.tolerances and wanted.error_target is not None:
            missed = target_missed(reads, wanted.error_target)
        if not missed:
            break
        finer = replace(deck.mesh, order=result.built.model.mesh.order + 1)
        deck = replace(deck, mesh=finer)
    return _row(row, found, reads, missed)


def read_again(row: Row, kept: Finished, wanted: Wanted) -> Finished | None:
    """A finished row with other responses, read from its summary; None where it has none, or where
    they are not in it.

    Raises NowhereError for a way that leads nowhere.
    """
    if not kept.summary:
        return None
    found = json.loads(gzip.decompress(b64decode(kept.summary)))
    known = {**row.variables, **row.values}
    try:
        reads = read_responses(wanted.responses, found, deck_of(row), wanted.reference, known)
    except NowhereError:
        raise
    except (JobError, PlateError):
        return None
    return replace(_with_reads(kept, reads), asked=wanted.asked)


def _row(row: Row, found: dict[str, Any], reads: dict[str, Read], missed: str) -> Finished:
    text = json.dumps(found, separators=(",", ":")).encode()
    finished = Finished(
        key=row.key,
        status="above target" if missed else "done",
        reason=missed,
        values={},
        errors={},
        model={name: found["model"][name] for name in ("order", "cells", "degrees_of_freedom")},
        # Without a time in it: the same deck gives the same row.
        summary=b64encode(gzip.compress(text, mtime=0)).decode(),
    )
    return _with_reads(finished, reads)


def _with_reads(finished: Finished, reads: dict[str, Read]) -> Finished:
    values = {name: read.value for name, read in reads.items()}
    return replace(finished, values=values, errors={n: read.error for n, read in reads.items()})
