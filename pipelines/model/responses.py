"""The factorised deck, and its response to a block of loads with what is read from it."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from typing import cast

import numpy as np
from scipy import sparse

from pipelines.deck.deck import Deck, Probe
from pipelines.model.beam_rows import BeamRows, no_beam_rows
from pipelines.model.build import build_model
from pipelines.model.cache import ModelCache
from pipelines.model.probes import ProbeRows, membrane_rows, probe_rows
from pipelines.model.readable import Mask, ReadablePoints
from pipelines.model.solution_checks import (
    POSITION_BALANCE,
    check_balance,
    check_finite,
    check_stiffness,
    check_sum,
    sums,
)
from pipelines.model.static_cases import slab_values
from pipelines.traffic.positions import Loads
from plate.arrays import Floats, Ints
from plate.conventions import RESULTS
from plate.device.card import Card
from plate.device.plate import CardPlate
from plate.loads.imposed import ImposedStrain
from plate.model.model import PlateModel
from plate.model.singular_points import SingularPlace
from plate.results.fields import FieldRecovery
from plate.solver.nested_dissection import Loads as RightHandSides
from plate.solver.solution import Combined, LocalRows, Solution, WholeSolution
from plate.solver.stiffness import Stiffness


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
    keeps : whether `fields` of loads alone are kept as `combined` passes.
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
    keeps: bool = False

    @property
    def parts(self) -> Iterator[tuple[Ints, Floats]]:
        """Field points and the fields there, some points after the other."""
        for points, found in self.combined:
            fields = found.of_loads
            yield points, fields if self.held is None else fields + self.held[:, points, None]

    @property
    def combined(self) -> Iterator[tuple[Ints, Combined]]:
        """The same of loads alone, as they are put together from those of few loads."""
        found = self.recovery.parts(self.solution)
        return self._kept(found) if self.keeps else found

    def _kept(self, parts: Iterator[tuple[Ints, Combined]]) -> Iterator[tuple[Ints, Combined]]:
        n_points, n_load = self.recovery.points.n_points, self.solution.shape[1]
        fields = np.empty((len(RESULTS), n_points, n_load))
        for points, found in parts:
            fields[:, points] = found.of_loads
            yield points, found
        vars(self)["fields"] = fields

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

    def check(self, F: RightHandSides, tolerance: float, what: str) -> None:
        """Stop where the solution is not finite, or where the reactions, which come from the
        elements' own forces, do not carry the load; arguments and SolutionError as of
        `check_balance`."""
        check_finite(self.solution, what)
        check_balance(self.reactions, F, tolerance, what)


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

        Raises SolutionError as `check_balance`.
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
