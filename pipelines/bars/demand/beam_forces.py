"""Moments, shears and torsion of the beams under permanent actions and the traffic.

A beam that is joined to the slab's membrane also has an axial force N. Its own rectangle carries
M and N, as a metre of slab does (`designmembrane`): with t from mid-depth to the middle of the
compressed concrete its bars are judged by M + t N, where N is tension, and by the shorter arm
3 t - h, or 0, where it is compression. Of both forms the larger always is the right one, and both
add up over actions.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass

import numpy as np
from scipy import sparse

from pipelines.bars.demand.moments import permanent_sums
from pipelines.deck.deck import Deck
from pipelines.deck.reinforcement import EdgeBeam
from pipelines.model.beam_rows import BeamRows, beam_axial_rows, beam_torsion_rows
from pipelines.model.case_sums import beam_axial
from pipelines.model.responses import Response, SolvedDeck
from pipelines.standards.actions.combinations import Combination, permanent_states
from pipelines.standards.actions.loads import Action
from pipelines.standards.resistance.bending import Section, compression_arm
from pipelines.standards.sources import Standard
from plate.arrays import Floats
from plate.solver.solution import LocalRows

# Forms of a beam, in the order of `BeamWatch.forms`.
N_FORMS = 6
SAGGING, HOGGING, SHEAR, TORSION = slice(0, 2), slice(2, 4), 4, 5


def bending_section(beam: EdgeBeam, *, sagging: bool) -> Section:
    """The rectangle per metre of width with the bars of the tension side alone."""
    area, axis = (beam.bottom, beam.axis_bottom) if sagging else (beam.top, beam.axis_top)
    return Section(h=beam.depth, d=beam.depth - axis, A_s=area / beam.width)


@dataclass(frozen=True)
class BeamExtremes:
    """Largest values of one beam, all >= 0: sagging and hogging moments with the part of the axial
    force, torsional moments [N m], shear [N]. Each is enveloped by itself: they need not
    coexist."""

    sagging: float
    hogging: float
    shear: float
    torsion: float


@dataclass(frozen=True)
class BeamForces:
    """Samples of all beams: permanent action -> (6, n_sample) forms of `BeamWatch` [N m, N]; high,
    low : (6, n_sample) extremes of the traffic, 0 without any."""

    rows: BeamRows
    permanent: Mapping[Action, Floats]
    high: Floats
    low: Floats

    def extremes(self, combination: Combination, name: str) -> BeamExtremes:
        """The extremes of one beam, the permanent actions in their worst state."""
        states = permanent_states(combination, list(self.permanent))
        zero = np.zeros(self.high.shape)
        sums = [sum((f * self.permanent[a] for a, f in s.items()), zero) for s in states]
        high = np.max(sums, axis=0) + combination.traffic * self.high
        low = np.min(sums, axis=0) + combination.traffic * self.low
        most = [max(float(self.rows.split(part)[name].max()), 0.0) for part in high]
        least = [max(-float(self.rows.split(part)[name].min()), 0.0) for part in low]
        return BeamExtremes(
            max(most[SAGGING]),
            max(least[HOGGING]),
            max(most[SHEAR], least[SHEAR]),
            max(most[TORSION], least[TORSION]),
        )


class BeamWatch:
    """Observer of the streamed load positions: extremes of the forms at every sample of every
    beam, for each standard that is checked under them.

    forms : rows (6 n_sample, n_dof) of M + t N of the bottom bars with both arms, M - t N of the
    top bars likewise, shear, torsional moment.
    """

    def __init__(self, solved: SolvedDeck, cases: Mapping[str, Response]) -> None:
        deck = solved.deck
        self.rows = solved.beams
        self._levers = _levers(_arms(deck, solved.beams))
        axial = beam_axial_rows(solved.model)
        bending = [self.rows.moments + sparse.diags_array(t) @ axial for t in self._levers]
        rows = [*bending, self.rows.shears, beam_torsion_rows(solved.model)]
        self.forms = sparse.csr_array(sparse.vstack(rows))
        self._read = LocalRows(self.forms)
        self.permanent = permanent_sums(deck, cases, lambda one: self._of_case(solved, one))
        zero = np.zeros((N_FORMS, axial.shape[0]))
        standards = [basis.materials.standard for basis in deck.required_reinforcement.bases]
        self._extremes: dict[Standard, tuple[Floats, Floats]] = dict.fromkeys(
            standards, (zero, zero)
        )

    def _of_case(self, solved: SolvedDeck, response: Response) -> Floats:
        """Forms (6, n_sample) of a static case on the model of its stage."""
        of = solved if response.of_stage is None else response.of_stage
        moments, axial = response.beam_moments[:, 0], beam_axial(solved, response)
        torsion = np.asarray(beam_torsion_rows(of.model) @ response.displacements[:, 0])
        return np.stack([*(moments + t * axial for t in self._levers),
                         response.beam_shears[:, 0], torsion])  # fmt: skip

    def _values(self, response: Response) -> Floats:
        found = self._read.of(response.solution)
        return found.reshape(N_FORMS, -1, found.shape[1])

    def take_positions(self, response: Response, standards: Collection[Standard]) -> None:
        """Take in a block of load positions for some standards."""
        values = self._values(response)
        for standard in standards:
            self.take_model(standard, values.max(axis=2), values.min(axis=2))

    def take_model(self, standard: Standard, high: Floats, low: Floats) -> None:
        """Take in extremes (6, n_sample) of the forms under traffic of a standard."""
        before = self._extremes[standard]
        high, low = high.reshape(N_FORMS, -1), low.reshape(N_FORMS, -1)
        self._extremes[standard] = np.maximum(before[0], high), np.minimum(before[1], low)

    def forces(self, standard: Standard) -> BeamForces:
        """What has been found so far, for a standard."""
        high, low = self._extremes[standard]
        return BeamForces(self.rows, self.permanent, high, low)


def _levers(arms: Floats) -> Floats:
    """(4, n_sample) lever of the axial force in each form of bending, with its sign."""
    return np.concatenate([arms[:2], -arms[2:]])


def _arms(deck: Deck, rows: BeamRows) -> Floats:
    """(4, n_sample) t of the bottom bars with tension and with compression, then of the top bars
    [m]; the longest of all standards, 0 where a beam's bars are not stated."""
    reinforcement = deck.reinforcement
    assert reinforcement is not None
    of = {name: beam for beam in reinforcement.beams for name in beam.lines}
    found = []
    for name, at in zip(rows.names, rows.at, strict=True):
        column = np.zeros(4)
        if name in of:
            beam = of[name]
            for k, sagging in enumerate((True, False)):
                section = bending_section(beam, sagging=sagging)
                t = max(
                    float(compression_arm(section, basis.materials))
                    for basis in reinforcement.bases
                )
                column[2 * k : 2 * k + 2] = t, max(3 * t - beam.depth, 0.0)
        found.append(np.repeat(column[:, None], len(at), axis=1))
    return np.concatenate([np.zeros((4, 0)), *found], axis=1)
