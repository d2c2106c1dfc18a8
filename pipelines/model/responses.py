"""Responses of the factorised deck: static cases, and load positions in streamed blocks.

Each load position of a vehicle is one right-hand side: with one vehicle at a time that is fewer
solves than wheel by wheel, and axles keep their exact distances. Blocks of positions are solved
and recovered by one thread each and handed on in order, so that memory stays bounded and the
result does not depend on the number of threads.
"""

from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TypeVar, cast

import numpy as np
from scipy import sparse

from pipelines.deck.deck import Deck, Probe
from pipelines.model.beam_rows import BeamRows, no_beam_rows
from pipelines.model.build import build_model
from pipelines.model.cache import ModelCache
from pipelines.model.probes import ProbeRows, membrane_rows, probe_rows
from pipelines.model.readable import Mask, ReadablePoints
from pipelines.model.static_cases import slab_values
from pipelines.system.machine import processors
from pipelines.traffic.positions import Loads
from plate.arrays import Floats, Ints
from plate.conventions import N_FIELDS
from plate.device.card import Card
from plate.device.plate import CardPlate
from plate.errors import SolutionError
from plate.loads.imposed import ImposedStrain
from plate.loads.loads import patch_loads
from plate.model.model import PlateModel
from plate.model.singular_points import SingularPlace
from plate.results.fields import FieldRecovery
from plate.solver.nested_dissection import Loads as RightHandSides
from plate.solver.solution import Combined, LocalRows, Solution, WholeSolution
from plate.solver.stiffness import BLOCK, Stiffness
from plate.threads import one_thread

T = TypeVar("T")

Block = tuple[int, Loads, Ints]
"""The number of the first of some load positions, their run, and which of it (n,)."""

# Runs of so many load positions are long: every so manyth is looked at before all of them.
LONG = 8 * BLOCK
STRIDE = 29

# What may be out of balance, as a share of the load: static cases are refined; load positions are
# not, and the thin limit costs them digits.
CASE_BALANCE = 1e-5
POSITION_BALANCE = 1e-3
# What a factorised model's answers to two trial loads may be wrong by, as a share of their energy:
# how far they are from Betti's reciprocity, and what a residual leaves of them, which load
# positions keep: well below the three figures of print.
RECIPROCITY = 1e-8
RESIDUAL = 1e-4


@dataclass(frozen=True, kw_only=True)
class Response:
    """Results of a block of loads, the last axis counting the loads.

    solution : the displacements; probes : (6 n_probe, n);
    membrane : (3 n_probe, n) n_x, n_y, n_xy [N/m] of composite decks, else (0, n);
    beam_moments, beam_shears : (n_sample, n); reactions : name -> (n,) upward [N];
    total : (n,) load put on the slab [N].
    imposed : strain imposed on the slab; held : (6, n_point) what it adds to the fields.
    of_stage : the deck of another stage of its life, of whose model the displacements are; slab :
    share of the slab's modulus there.
    """

    solution: Solution
    recovery: FieldRecovery
    probes: Floats
    membrane: Floats
    beam_moments: Floats
    beam_shears: Floats
    reactions: dict[str, Floats]
    total: Floats
    imposed: ImposedStrain | None = None
    held: Floats | None = None
    of_stage: "SolvedDeck | None" = None
    slab: float = 1.0

    @property
    def parts(self) -> Iterator[tuple[Ints, Floats]]:
        """Field points and the fields there, some points after the other."""
        for points, found in self.combined:
            fields = found.of_loads
            yield points, fields if self.held is None else fields + self.held[:, points, None]

    @property
    def combined(self) -> Iterator[tuple[Ints, Combined]]:
        """The same of loads alone, as they are put together from those of few loads."""
        return self.recovery.parts(self.solution)

    @cached_property
    def displacements(self) -> Floats:
        """(n_dof, n)."""
        return self.solution.dense()

    @cached_property
    def fields(self) -> Floats:
        """(6, n_point, n) w, m_x, m_y, m_xy, q_x, q_y."""
        found = self.recovery.fields(self.solution)
        return found if self.held is None else found + self.held[..., None]

    def of_slab(self, rows: LocalRows) -> Floats:
        """`slab_values` of these loads (n_row, n)."""
        # of fresh concrete there are none, and its model may have fewer degrees of freedom
        n = self.solution.shape[1]
        U = self.solution[rows.dofs] if self.slab else np.zeros((len(rows.dofs), n))
        return slab_values(rows.rows, U, self.slab)


@dataclass(frozen=True, eq=False, kw_only=True)
class SolvedDeck:
    """The factorised deck with everything that is read from a solution.

    models : through which every further model of the run is factorised. card : where load positions
    are solved, None = on the processors.
    """

    deck: Deck
    stiffness: Stiffness
    recovery: FieldRecovery
    probes: ProbeRows
    beams: BeamRows
    membrane: sparse.csr_array
    models: ModelCache
    card: Card | None = None

    @classmethod
    def of(
        cls,
        deck: Deck,
        model: PlateModel | None = None,
        models: ModelCache | None = None,
        card: Card | None = None,
    ) -> "SolvedDeck":
        """A deck factorised, with what its results are read by.

        model : of the deck where it is built already. models : where equal models may be found,
        those in use by others among them. card : where load positions are to be solved.
        """
        model = build_model(deck).model if model is None else model
        models = ModelCache() if models is None else models
        stiffness = models.stiffness(model)
        # That of an equal deck where there is one: what it has formed is not formed again.
        model = stiffness.model
        recovery = models.recovery(model)
        return cls(
            deck=deck,
            stiffness=stiffness,
            recovery=recovery,
            probes=_probe_rows(deck, stiffness, recovery),
            beams=models.beams(model),
            membrane=membrane_rows(deck, model),
            models=models,
            card=card,
        )

    def of_deck(self, deck: Deck) -> "SolvedDeck":
        """The same plate for a deck that has other probes and bars, or none of them."""
        found = replace(
            self,
            deck=deck,
            probes=_probe_rows(deck, self.stiffness, self.recovery),
            membrane=membrane_rows(deck, self.model),
        )
        # What has been found of the plate is not found again.
        vars(found).update({name: one for name, one in vars(self).items() if name in OF_PLATE})
        return found

    def of_probe(self, probe: Probe) -> "SolvedDeck":
        """The same plate, of which a probe alone is read."""
        found = self.of_deck(replace(self.deck, probes=(probe,)))
        none = sparse.csr_array((0, self.model.n_dof))
        return replace(found, beams=no_beam_rows(self.model), membrane=none)

    @property
    def model(self) -> PlateModel:
        return self.stiffness.model

    @cached_property
    def _rows(self) -> tuple[LocalRows, list[int]]:
        """The rows of probes, membrane, beam moments and shears one after the other, with where all
        but the first begin."""
        rows = [self.probes.rows, self.membrane, self.beams.moments, self.beams.shears]
        ends = np.cumsum([one.shape[0] for one in rows[:-1]]).tolist()
        return LocalRows(sparse.csr_array(sparse.vstack(rows, format="csr"))), ends

    @cached_property
    def plate_on_card(self) -> CardPlate | None:
        """The plate on the card, None without one."""
        points = self.recovery.points
        return None if self.card is None else CardPlate(self.stiffness, points, self.card)

    @cached_property
    def on_card(self) -> "CardDeck | None":
        """The deck on the card, None without one."""
        plate = self.plate_on_card
        return None if plate is None else CardDeck(plate, *self._rows)

    @cached_property
    def probe_influence(self) -> Floats:
        """Displacements (n_dof, n_row) under the probes' rows as loads: their influence."""
        return self.stiffness.solve(sparse.csc_array(self.probes.rows.T))

    @property
    def singular_places(self) -> tuple[SingularPlace, ...]:
        """Places where moments are infinite."""
        return self.stiffness.singular_places

    @cached_property
    def reading(self) -> ReadablePoints:
        """Where fields may be read."""
        return ReadablePoints(self.deck, self.model, self.singular_places, self.recovery.points)

    @property
    def readable(self) -> Mask:
        """Field points (n_point,) no nearer than one thickness to a singular place."""
        return self.reading.off_places

    @property
    def hogging_readable(self) -> Mask:
        """Field points (n_point,) where hogging is to be read."""
        return self.reading.hogging

    @property
    def clear_of_lines(self) -> Mask:
        """Field points (n_point,) no nearer than one thickness to edges, supports and beams."""
        return self.reading.off_lines

    @property
    def shears_readable(self) -> Mask:
        """Field points (n_point,) where shears are to be read: clear of lines too, unless no point
        of the slab is."""
        return self.reading.clear

    def check(self) -> None:
        """`check_stiffness`, once for all decks of one model."""
        if self.stiffness not in self.models.checked:
            check_stiffness(self.stiffness)
            self.models.checked.add(self.stiffness)

    def respond(self, F: RightHandSides, *, refine: bool = False) -> Response:
        """Response to right-hand sides (n_dof, n) [N]."""
        if refine or isinstance(F, np.ndarray):
            solution: Solution = WholeSolution(self.stiffness.solve(F, refine=refine))
        else:
            solution = self.stiffness.solution(F)
        rows, ends = self._rows
        probes, membrane, moments, shears = np.split(rows.of(solution), ends)
        return Response(
            solution=solution,
            recovery=self.recovery,
            probes=probes,
            membrane=membrane,
            beam_moments=moments,
            beam_shears=shears,
            reactions=self.stiffness.reactions(solution, F),
            total=sums(F),
        )


# What is found of the plate of a `SolvedDeck` when it is asked for, whatever the probes and bars.
OF_PLATE = ("reading", "plate_on_card")


def _probe_rows(deck: Deck, stiffness: Stiffness, recovery: FieldRecovery) -> ProbeRows:
    places = stiffness.singular_places if deck.probes else ()
    return probe_rows(deck, stiffness.model, recovery.points, places)


def sums(F: RightHandSides) -> Floats:
    """Sums (n,) [N] of the forces of right-hand sides, and of the loads put on the slab."""
    down = np.zeros(F.shape[0])
    down[::N_FIELDS] = 1.0
    return np.asarray(down @ F)


def check_response(response: Response, F: RightHandSides, tolerance: float, what: str) -> None:
    """Stop where a solution is not finite, or where its reactions, which come from the elements'
    own forces, do not carry the load.

    tolerance : share of the sum of the loads' sizes that may be out of balance.

    Raises
    ------
    SolutionError
        With the name of the check, `what` was solved and by how much it fails.
    """
    check_finite(response.solution, what)
    check_balance(response.reactions, F, tolerance, what)


def check_finite(solution: Solution, what: str) -> None:
    """Stop where a solution is not finite; raises SolutionError as `check_response`."""
    if not solution.is_finite:
        raise SolutionError(f"{what}: check of finite values: the solution is not finite")


def check_balance(
    reactions: Mapping[str, Floats], F: RightHandSides, tolerance: float, what: str
) -> None:
    """Stop where reactions do not carry the load; raises SolutionError as `check_response`."""
    put = sums(np.abs(F) if isinstance(F, np.ndarray) else abs(F))
    check_sum(reactions, sums(F), put, tolerance, what)


def check_sum(
    reactions: Mapping[str, Floats], total: Floats, size: Floats, tolerance: float, what: str
) -> None:
    """Stop where reactions do not sum to the load (n,) [N], to a share of some forces' size (n,)
    [N]; raises SolutionError as `check_response`."""
    carried = sum(reactions.values(), np.zeros_like(total))
    gap = np.abs(carried - total) / np.where(size > 0.0, size, 1.0)
    # Not a number fails, too.
    if not bool((gap <= tolerance).all()):
        raise SolutionError(
            f"{what}: check of equilibrium: reactions differ from the load by "
            f"{float(gap.max()):.2g} of it, {tolerance:.0e} is allowed"
        )


def check_stiffness(stiffness: Stiffness) -> None:
    """Stop where the factorised model does not answer two trial loads, rough and up and down all
    over the slab, as a stiffness does: no residual against the elements' own forces, f1 . u2 equal
    to f2 . u1.

    Raises
    ------
    SolutionError
        With the name of the check and by how much it fails.
    """
    n = stiffness.model.n_plate_dof
    F = np.zeros((n, 2))
    F[::N_FIELDS] = np.random.default_rng(1).standard_normal((n // N_FIELDS, 2))
    plain = F.T @ stiffness.solve(F)[:n]
    refined = F.T @ stiffness.solve(F, refine=True)[:n]
    scale = np.sqrt(np.outer(np.diag(refined), np.diag(refined)))
    found = {
        "residual": (float((np.abs(refined - plain) / scale).max()), RESIDUAL),
        "reciprocity": (float(abs(plain[0, 1] - plain[1, 0]) / scale[0, 1]), RECIPROCITY),
    }
    for name, (gap, allowed) in found.items():
        # Not a number fails, too.
        if not gap <= allowed:
            raise SolutionError(
                f"stiffness: check of {name}: trial loads give energies that differ by {gap:.2g} "
                f"of them, {allowed:.0e} is allowed; spans or stiffnesses of the deck are too far "
                "apart: look at [plan] and at the stiffness of slab, beams and springs"
            )


def position_load(model: PlateModel, positions: Loads, index: slice | Ints) -> sparse.csc_array:
    """Sparse right-hand sides (n_dof, n) [N] of some load positions of a vehicle."""
    wheels = positions.wheels(index)
    n = len(np.arange(len(positions))[index])
    return patch_loads(model.mesh, wheels.corners, wheels.load, wheels.position, n)


class CardDeck:
    """A solved deck on a card: responses of load positions there.

    plate : its plate; rows : of probes, membrane, beam moments and shears one after the other, ends
    : where all but the first begin. block : load positions that are solved together; like : an
    array of the card.
    """

    def __init__(self, plate: CardPlate, rows: LocalRows, ends: list[int]) -> None:
        self._plate, self._rows, self._ends = plate, plate.rows(rows), ends
        self.fetch, self.block = plate.card.fetch, plate.block
        self.like = plate.card.of(np.empty(0))

    def respond(self, run: Loads, part: Ints) -> Response:
        """The response to some load positions of a run, in arrays of the card.

        Raises SolutionError as `check_response`.
        """
        wheels = run.wheels(part)
        found = self._plate.solve(wheels.corners, wheels.load, wheels.position, len(part))
        values = np.split(self._rows.of(found.X), self._ends)
        solution = WholeSolution(found.X)
        check_finite(solution, run.words)
        total = found.total
        check_sum(found.reactions, total, total, POSITION_BALANCE, run.words)
        probes, membrane, moments, shears = values
        return Response(
            solution=solution,
            # whose parts are all that is asked of it
            recovery=cast(FieldRecovery, found.fields),
            probes=probes,
            membrane=membrane,
            beam_moments=moments,
            beam_shears=shears,
            reactions=found.reactions,
            total=total,
        )


def stream(
    solved: SolvedDeck,
    runs: Sequence[Loads],
    read: Callable[[int, Response], T],
    workers: int | None = None,
) -> Iterator[tuple[int, Response, T]]:
    """Responses of all load positions, block after block in order.

    Yields the number of a block's first load position, counted over all runs, its response and
    what `read` makes of both, in the thread that solved the block.
    workers : threads, default one per processor that may be used.
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
    count = workers or processors()

    def work(first: int, run: Loads, part: Ints) -> tuple[int, T]:
        F = position_load(solved.model, run, part)
        response = solved.respond(F)
        check_response(response, F, POSITION_BALANCE, run.words)
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
        if len(run) >= LONG:
            every = np.arange(len(run)).reshape(-1, offsets)
            together = max(size // offsets, 1)
            every = every[:: STRIDE if offsets == 1 else -(-len(every) // together)]
            for start in range(0, len(every), together):
                block = every[start : start + together]
                yield base + int(block[0, 0]), run, block.T.ravel()
        base += len(run)
