"""Load positions solved in streamed blocks.

Each load position of a vehicle is one right-hand side: with one vehicle at a time that is fewer
solves than wheel by wheel, and axles keep their exact distances. Blocks of positions are solved
and recovered by one thread each and handed on in order, so that memory stays bounded and the
result does not depend on the number of threads.
"""

from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from typing import TypeVar

import numpy as np
from scipy import sparse

from pipelines.model.responses import CardDeck, Response, SolvedDeck
from pipelines.model.solution_checks import POSITION_BALANCE
from pipelines.system.machine import processors
from pipelines.traffic.positions import Loads
from plate.arrays import Ints
from plate.loads.loads import patch_loads
from plate.model.model import PlateModel
from plate.solver.stiffness import BLOCK
from plate.threads import one_thread

T = TypeVar("T")

Block = tuple[int, Loads, Ints]
"""The number of the first of some load positions, their run, and which of it (n,)."""

# Runs of so many load positions are long, and where offsets are told apart, of which much is kept,
# half as many: every so manyth is looked at before all of them.
LONG = 8 * BLOCK
STRIDE = 29

# Threads share one interpreter, which holds a fifth of their work: sixteen were half as quick as
# four on a machine of sixteen processors.
MOST_THREADS = 4


def position_threads(workers: int | None = None) -> int:
    """Threads that solve blocks of load positions: `workers` or, where that is left open, one per
    processor up to as many as gain by it."""
    return workers or min(processors(), MOST_THREADS)


def position_load(model: PlateModel, positions: Loads, index: slice | Ints) -> sparse.csc_array:
    """Sparse right-hand sides (n_dof, n) [N] of some load positions of a vehicle."""
    wheels = positions.wheels(index)
    n = len(np.arange(len(positions))[index])
    return patch_loads(model.mesh, wheels.corners, wheels.load, wheels.position, n)


def stream(
    solved: SolvedDeck,
    runs: Sequence[Loads],
    read: Callable[[int, Response], T],
    workers: int | None = None,
) -> Iterator[tuple[int, Response, T]]:
    """Responses of all load positions, block after block in order.

    Yields the number of a block's first load position, counted over all runs, its response and
    what `read` makes of both, in the thread that solved the block.
    workers : threads, by default as in `position_threads`.
    """

    def work(first: int, response: Response) -> tuple[Response, T]:
        return response, read(first, response)

    for first, (response, found) in read_blocks(solved, in_blocks(runs), work, workers):
        yield first, response, found


def read_blocks(
    solved: SolvedDeck,
    blocks: Iterable[Block],
    read: Callable[[int, Response], T],
    workers: int | None = None,
    card: CardDeck | None = None,
) -> Iterator[tuple[int, T]]:
    """What `read` makes of the responses of blocks of load positions, in order: each response is
    given up in the thread that solved it, unless `read` hands it on.

    card : the deck on a card, where `read` takes the card's arrays.

    Yields the number of a block's first load position and what was made.
    """
    if card is not None:
        for first, run, part in blocks:
            yield first, read(first, card.respond(run, part))
        return
    count = position_threads(workers)

    def work(first: int, run: Loads, part: Ints) -> tuple[int, T]:
        F = position_load(solved.model, run, part)
        response = solved.respond(F)
        response.check(F, POSITION_BALANCE, run.words)
        return first, read(first, response)

    with one_thread, ThreadPoolExecutor(count) as pool:
        waiting: deque[Future[tuple[int, T]]] = deque()
        for block in blocks:
            waiting.append(pool.submit(work, *block))
            if len(waiting) > count:
                yield waiting.popleft().result()
        while waiting:
            yield waiting.popleft().result()


def in_blocks(
    runs: Sequence[Loads], abreast: Sequence[int] | None = None, size: int = BLOCK
) -> Iterator[Block]:
    """Load positions that are solved together, so many at most: the number of the first, counted
    over all runs, and where they are.

    abreast : how many offsets each run has at every station, where they are told apart: a block
    has all positions of one offset before those of the next. So many neighbouring stations load
    little of the slab.
    """
    base = 0
    for run, offsets in zip(runs, abreast or [1] * len(runs), strict=True):
        every = np.arange(len(run)).reshape(-1, offsets)
        together = max(size // offsets, 1)
        for start in range(0, len(every), together):
            yield base + start * offsets, run, every[start : start + together].T.ravel()
        base += len(run)


def ahead(runs: Sequence[Loads], abreast: Sequence[int], size: int = BLOCK) -> Iterator[Block]:
    """A few load positions from all over long runs, in the same way: their extremes are near those
    of all. Of runs whose offsets are told apart one block of stations."""
    base = 0
    for run, offsets in zip(runs, abreast, strict=True):
        if len(run) >= (LONG if offsets == 1 else LONG // 2):
            every = np.arange(len(run)).reshape(-1, offsets)
            together = max(size // offsets, 1)
            every = every[:: STRIDE if offsets == 1 else -(-len(every) // together)]
            for start in range(0, len(every), together):
                block = every[start : start + together]
                yield base + int(block[0, 0]), run, block.T.ravel()
        base += len(run)
