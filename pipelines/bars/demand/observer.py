"""What bars and shear need of the traffic: of every block of load positions as it is streamed, and
of the load models.

Moments and forces of beams ask nothing of the slab's bars but their depths; shear is judged by the
bars as it is seen, since which load position governs depends on them. For other bars of the same
depths vehicles that drive alone are streamed again for the shear alone.
"""

from collections.abc import Collection, Mapping, Sequence
from copy import copy
from dataclasses import replace

import numpy as np

from pipelines.bars.demand.beam_forces import BeamWatch
from pipelines.bars.demand.control_sections import WIDTH_IN_DEPTHS, Sections, shear_sections
from pipelines.bars.demand.edge_layer import edge_layer
from pipelines.bars.demand.governing_index import FixedArrangement, GoverningIndex
from pipelines.bars.demand.load_models import ModelWatch, ShearForms, forms_of, held_for_shear
from pipelines.bars.demand.membrane import membrane_forces
from pipelines.bars.demand.moments import (
    LAYER_ROWS,
    MomentEnvelopes,
    combinations_of,
    moments_of,
    permanent_fields,
    permanent_sums,
)
from pipelines.bars.demand.sample_forces import force_reader
from pipelines.bars.demand.shear import FORCES, ShearTracker
from pipelines.bars.drawn_parts import DrawnBars
from pipelines.deck.deck import Deck
from pipelines.deck.reinforcement import DesignBasis, Reinforcement
from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.envelopes.peaks import nearest
from pipelines.model.fixed_loads import FixedLoads
from pipelines.model.position_blocks import in_blocks, read_blocks, stream
from pipelines.model.responses import Response, SolvedDeck
from pipelines.standards.actions.combinations import Combination
from pipelines.standards.actions.load_models import counts_under, for_bars
from pipelines.standards.actions.loads import TEMPERATURES, Action, LoadModel
from pipelines.standards.resistance.bars import LAYERS, SlabBars
from pipelines.traffic.positions import load_positions
from plate.arrays import Floats

# Widths that shear is averaged over, in effective depths, where the deck file states none.
SWEEP = (0.0, 2.0, 4.0, 6.0, 8.0)

# Arrangements held for shear, by load model and number of the standard.
Held = Mapping[tuple[str, int], Sequence[FixedArrangement]]


class DesignWatch:
    """Observer of the streamed load positions for a deck with bars; load models are taken in after
    them.

    cases : responses of the static cases, by name.
    """

    def __init__(self, solved: SolvedDeck, cases: Mapping[str, Response]) -> None:
        barred, reinforcement = solved, watched_part(solved)
        deck = replace(solved.deck, reinforcement=reinforcement)
        solved = solved.of_deck(deck)
        n = solved.recovery.points.n_points
        none: dict[Action, Floats] = {"self-weight": np.zeros((5, n))}
        permanent = permanent_fields(deck, cases, FORCES) or none
        self.beams = BeamWatch(solved, cases) if reinforcement.beams else None
        lasting = (fields for action, fields in permanent.items() if action not in TEMPERATURES)
        self.dead = sum(lasting, np.zeros((5, n)))[:3]
        self.combinations = combinations_of(deck)
        grades = [basis.materials for basis in reinforcement.bases]
        self.membrane = membrane_forces(deck, solved.model, solved.recovery.points, grades)
        own = None
        if self.membrane is not None and self.membrane.rows is not None:
            own = self._own(deck, cases, permanent)
        self.layer = edge_layer(solved)
        steady = permanent_sums(
            deck, cases, lambda response: moments_of(response, self.layer)[..., 0]
        )
        self._permanent = steady or {a: f[:3] for a, f in none.items()}
        self._own_permanent, self._angle = own, reinforcement.angle
        # what lies off places of infinite moments stands for what does not
        centre, face = nearest(solved, solved.readable), nearest(solved, solved.hogging_readable)
        # beside lines more is read than on them: what counts there counts with centre lines, too
        over = nearest(solved, solved.readable | solved.hogging_readable)
        self.centre_at = np.stack([over if layer[0] == "top" else centre for layer in LAYER_ROWS])
        self.face_at = np.stack([face] * len(LAYER_ROWS))
        top = face if reinforcement.hogging_at_face else over
        self.read_at = np.stack([top if layer[0] == "top" else centre for layer in LAYER_ROWS])
        self.moments = self.moment_envelopes(self.combinations)
        if own is not None:
            permanent = {a: np.concatenate([f, own[a]]) for a, f in permanent.items()}
        self._permanent_forces = permanent
        depth = _depth(reinforcement.bars)
        self.design_width = _design_width(depth)
        self.sections = shear_sections(solved, depth)
        self._shear_forms: ShearForms | None = None
        # where the load positions of each vehicle end, and the standards that it counts under
        self._runs = load_positions(deck)
        self._ends = np.cumsum([len(run) for run in self._runs])
        self._families = [
            {
                b.materials.standard
                for b in reinforcement.bases
                if counts_under(v, b.materials.standard)
            }
            for v in (run.vehicle.name for run in self._runs)
        ]
        self._begin_shear(barred)

    def of_bars(self, solved: SolvedDeck, workers: int | None = None) -> "DesignWatch":
        """The same for the bars of a deck whose `watched_part` is the same."""
        if solved.deck.reinforcement is self.reinforcement:
            return self
        found = copy(self)
        found._begin_shear(solved)

        def read(first: int, response: Response) -> None:
            _ = response.fields

        for first, response, _ in stream(solved, self._runs, read, workers):
            found._judge_position_shear(first, response)
        return found

    def _begin_shear(self, solved: SolvedDeck) -> None:
        """Trackers of the shear of all parts of a deck, before any load position."""
        self.deck, self.solved = solved.deck, solved
        self.reinforcement = reinforcement = solved.deck.required_reinforcement
        permanent = self._permanent_forces
        depth = _depth(reinforcement.bars)
        widths = [round(k * depth, 3) for k in SWEEP]
        if reinforcement.shear_widths is not None:
            widths = [*reinforcement.shear_widths, self.design_width]

        def tracker(sections: Sections, widths: Collection[float], bars: SlabBars,
                    basis: DesignBasis) -> ShearTracker:  # fmt: skip
            return ShearTracker(
                sections,
                sorted(set(widths)),
                self._ultimate(basis),
                permanent,
                bars,
                basis.materials,
                basis.aggregate,
                self.membrane,
            )

        bases = reinforcement.bases
        self.drawn = [DrawnBars.of(solved, basis.materials) for basis in bases]
        # samples whose stretches are judged by bars of their own
        self._of_parts = np.zeros(len(self.sections.points), dtype=bool)
        # of every standard: of the mats alone, of the parts with added bars and of the panels as
        # built, the latter with bars and sections of their own
        self.shears: list[ShearTracker] = []
        self.part_shears: list[list[ShearTracker]] = [[] for _ in bases]
        self.panel_shears: list[list[ShearTracker]] = [[] for _ in bases]
        for basis, drawn, found in zip(bases, self.drawn, self.part_shears, strict=True):
            mats, *others = drawn.parts
            sections = self.sections
            if others:
                sections = replace(sections, judged=mats.holds(sections.points))
                self._of_parts |= ~sections.judged
            self.shears.append(tracker(sections, widths, mats.bars, basis))
            for part in others:
                depth = _depth(part.bars)
                both = sorted({part.bars.thickness, *dict(part.bars.run_on).values()})
                sections = shear_sections(solved, depth, part.holds, both)
                found.append(tracker(sections, [_design_width(depth)], part.bars, basis))
        known: dict[tuple[int, int], Sections] = {}
        for k, (basis, drawn) in enumerate(zip(bases, self.drawn, strict=True)):
            for number, one in enumerate(drawn.built):
                built, depth = one.built, _depth(one.built.bars)
                mine = one.drawn.bars
                both = sorted({mine.thickness, *dict(mine.run_on).values()})
                # of one thickness and without added bars parts are the same by every standard
                parted = reinforcement.added or solved.deck.slab.zones
                key = (k if parted else 0, number)
                if key not in known:
                    self._of_parts |= one.holds(self.sections.points)
                    known[key] = shear_sections(solved, depth, one.holds, both)
                as_read = replace(basis, materials=built.materials(basis.materials))
                self.panel_shears[k].append(
                    tracker(known[key], [_design_width(depth)], built.bars, as_read)
                )

    def of_model(
        self, model: LoadModel, shares: Sequence[float] | None = None
    ) -> ModelWatch | None:
        """What is to be enveloped under a load model; None where no standard here needs it.

        shares : of the distributed loads beside the axles, None = those of the combinations.
        """
        if not any(for_bars(model, b.materials.standard) for b in self.reinforcement.bases):
            return None
        if self._shear_forms is None and len(self.sections.points):
            widths = sorted({0.0, self.design_width})
            self._shear_forms = ShearForms.of(self.solved, self.sections, widths)
        beams = None if self.beams is None else self.beams.forms
        return ModelWatch(self.reinforcement, model, self.moments, self._shear_forms, beams, shares)

    def take_models(
        self, numbered: GoverningIndex, envelopes: Sequence[TrafficEnvelope], held: Held
    ) -> None:
        """Take in load models; where they stand is numbered on. held : as `held_under` has it."""
        firsts = [numbered.add(envelope) for envelope in envelopes]
        for first, envelope in zip(firsts, envelopes, strict=True):
            n_beams = 0 if self.beams is None else self.beams.forms.shape[0]
            watched = envelope.watched
            for k, basis in enumerate(self.reinforcement.bases):
                standard = basis.materials.standard
                if not for_bars(envelope.model, standard):
                    continue
                self.moments.take_model(first, forms_of(envelope), standard)
                if self.beams is not None:
                    beams = watched.part(0, n_beams)
                    self.beams.take_model(standard, beams.maximum, beams.minimum)
                self._hold(numbered, held[envelope.name, k], k)

    def held_under(self, envelopes: Sequence[TrafficEnvelope]) -> Held:
        """What may govern shear under load models. The depths of the bars tell it, and where bars
        of their own are judged."""
        return {
            (envelope.name, k): self.held(envelope, k)
            for envelope in envelopes
            for k, basis in enumerate(self.reinforcement.bases)
            if for_bars(envelope.model, basis.materials.standard)
        }

    def held(self, envelope: TrafficEnvelope, k: int) -> list[FixedArrangement]:
        """Arrangements of a load model that may govern shear by the standard of that number."""
        if self._shear_forms is None:
            return []
        n_beams = 0 if self.beams is None else self.beams.forms.shape[0]
        extremes, tracker = envelope.watched.part(n_beams, None), self.shears[k]
        forms = self._shear_forms
        return held_for_shear(self.solved, envelope, extremes, forms, tracker, self._of_parts)

    def _hold(self, numbered: GoverningIndex, held: Sequence[FixedArrangement], k: int) -> None:
        """Solve the arrangements that may govern shear by the standard of that number and let its
        trackers judge them."""
        start = numbered.add_held(held)
        if not held:
            return
        # The samples alone are read: fields are formed nowhere else.
        trackers = self._shear_trackers(k)
        samples = [np.arange(len(one.sections.points)) for one in trackers]
        reader = force_reader(self.solved, list(zip(trackers, samples, strict=True)))
        loads = FixedLoads("arrangements held for shear", [one.loads for one in held])

        def read(_: int, response: Response) -> list[Floats]:
            return reader(response.solution)

        for first, found in read_blocks(self.solved, in_blocks([loads]), read):
            for one, forces in zip(trackers, found, strict=True):
                one.take(start + first, forces)

    def moment_envelopes(self, combinations: Sequence[Combination]) -> MomentEnvelopes:
        """Envelopes of some combinations before any load position."""
        return MomentEnvelopes(
            combinations,
            self._permanent,
            self._angle,
            self.membrane,
            self._own_permanent,
            self.read_at,
            self.centre_at,
            self.face_at,
            self.layer,
        )

    def _own(
        self, deck: Deck, cases: Mapping[str, Response], permanent: Mapping[Action, Floats]
    ) -> dict[Action, Floats]:
        """The model's n_x, n_y, n_xy (3, n_point) under each permanent action."""
        membrane = self.membrane
        assert membrane is not None

        def read(response: Response) -> Floats:
            forces = membrane.own(response)
            assert forces is not None
            return forces[:, :, 0]

        found = permanent_sums(deck, cases, read)
        return found or {a: np.zeros((3, f.shape[1])) for a, f in permanent.items()}

    def _ultimate(self, basis: DesignBasis) -> Combination:
        return next(
            c
            for c in self.combinations
            if c.standard == basis.materials.standard and c.limit_state == "ULS"
        )

    def __call__(self, first: int, response: Response) -> None:
        """Take in a block of load positions, which are of one vehicle."""
        mine = self._families[int(np.searchsorted(self._ends, first, side="right"))]
        self.moments(first, response, mine)
        if self.beams is not None:
            self.beams.take_positions(response, mine)
        self._judge_position_shear(first, response)

    def _judge_position_shear(self, first: int, response: Response) -> None:
        mine = self._families[int(np.searchsorted(self._ends, first, side="right"))]
        for k, basis in enumerate(self.reinforcement.bases):
            if basis.materials.standard in mine:
                self._judge_shear(k, first, response)

    def _judge_shear(self, k: int, first: int, response: Response) -> None:
        """Shear of a block by the standard of that number, as drawn and in the panels as built."""
        for tracker in self._shear_trackers(k):
            tracker.take(first, tracker.factored(response))

    def _shear_trackers(self, k: int) -> list[ShearTracker]:
        every = (self.shears[k], *self.part_shears[k], *self.panel_shears[k])
        return [tracker for tracker in every if len(tracker.sections.points)]


def watched_part(solved: SolvedDeck) -> Reinforcement:
    """What a `DesignWatch` reads of the reinforcement but for the shear. Of the bars these are the
    depths, and where membrane forces act all, by which their arms are known."""
    one = solved.deck.required_reinforcement
    pulled = one.imposed or solved.model.connected
    return replace(
        one,
        bars=one.bars if pulled else one.bars.of_depth,
        choice=None,
        shear_widths=None,
        survey=None,
        collision=None,
        damage=None,
        added=(),
        stock=0.0,
    )


def _depth(bars: SlabBars) -> float:
    """The lesser effective depth of the bottom bars [m]."""
    return min(bars.effective_depth(layer) for layer in LAYERS if layer[0] == "bottom")


def _design_width(depth: float) -> float:
    """Over which shear is averaged where it is judged [m]."""
    return round(WIDTH_IN_DEPTHS * depth, 3)
