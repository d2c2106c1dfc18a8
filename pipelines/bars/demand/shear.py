"""Shear of the slab at the samples of its control sections, for each load position.

The principal shear of each load position, at every sample in the worst state of the permanent
factors, is averaged along the section over stated widths; the widths are the finding's own
condition.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from pipelines.bars.demand.control_sections import Sections
from pipelines.bars.demand.membrane import MembraneForces, in_direction, largest_tension
from pipelines.model.responses import Response
from pipelines.standards.actions.combinations import Combination, permanent_states
from pipelines.standards.actions.loads import Action
from pipelines.standards.materials import Materials
from pipelines.standards.resistance.bars import DIRECTIONS, FACES, Face, Layer, SlabBars
from pipelines.standards.resistance.bending import Section, utilisation
from pipelines.standards.resistance.shear import one_way_resistance, principal_shear
from pipelines.traffic.lanes import TIE
from plate.arrays import Floats, Ints

# Fields that matter here: m_x, m_y, m_xy, q_x, q_y.
FORCES = slice(1, 6)
JUDGED_AT_ONCE = 50_000


def resistance(
    bars: SlabBars,
    mat: Materials,
    aggregate: float,
    v: Floats,
    forces: Floats,
    imposed: Floats | None = None,
) -> Floats:
    """v_Rd [N/m] in the direction of the principal shear, of the face in tension under the
    coexisting moment in that direction.

    v : the averaged shear; forces : (5, ...) coexisting m_x, m_y, m_xy, q_x, q_y, or (8, ...) with
    n_x, n_y, n_xy of the model; imposed : those imposed (3, ...). d and A_s in that direction are
    x cos^2 + y sin^2 of those along the bars. Tension across the section lowers the resistance,
    compression is not counted.
    """
    m, by_face = across_shear(bars, forces)
    bottom, top = by_face["bottom"], by_face["top"]
    h, d, area = (
        np.where(m >= 0, getattr(bottom, name), getattr(top, name)) for name in ("h", "d", "A_s")
    )
    section = Section(h=h, d=d, A_s=area)
    return one_way_resistance(section, mat, v, m, tension(forces, imposed), aggregate).v_Rd


def across_shear(bars: SlabBars, forces: Floats) -> tuple[Floats, dict[Face, Section]]:
    """The moment in the direction of the principal shear, sagging positive [N m/m], and the section
    across that direction with the bars of either face. Arguments as of `resistance`."""
    m_x, m_y, m_xy, q_x, q_y = forces[:5]
    principal = principal_shear(q_x, q_y)
    c, s = principal.cosine, principal.sine
    m = m_x * c**2 + m_y * s**2 + 2 * m_xy * c * s
    by_face: dict[Face, Section] = {}
    for face, pairs in _along_bars(bars).items():
        h, d, area = (principal.along(*pair) for pair in pairs)
        by_face[face] = Section(h=h, d=d, A_s=area)
    return m, by_face


@lru_cache(maxsize=64)
def _along_bars(bars: SlabBars) -> dict[Face, tuple[tuple[float, ...], ...]]:
    """Of either face the thickness, the effective depth and the area of the bars along x and y."""
    layers: dict[Face, list[Layer]] = {face: [(face, e) for e in DIRECTIONS] for face in FACES}
    return {
        face: (
            tuple(bars.thickness_of(one) for one in mine),
            tuple(bars.effective_depth(one) for one in mine),
            tuple(bars.bars(one).area for one in mine),
        )
        for face, mine in layers.items()
    }


def tension(forces: Floats, imposed: Floats | None) -> Floats:
    """Tension >= 0 [N/m] across the section that the principal shear acts on; the imposed forces
    are present or absent, whichever is worse. Arguments as of `resistance`."""
    if len(forces) <= 5 and imposed is None:
        return np.zeros(forces.shape[1:])
    angle = principal_shear(forces[3], forces[4]).angle
    n = in_direction(forces[5:], angle) if len(forces) > 5 else np.zeros(angle.shape)
    if imposed is not None:
        n = n + np.maximum(in_direction(imposed, angle), 0.0)
    return np.maximum(n, 0.0)


@dataclass(frozen=True, kw_only=True)
class ShearDemand:
    """Shear of one combination at the samples of all sections, for every width.

    points : (n, 2) of the samples in plan [m]. widths : (n_width,) [m]. utilisation, v, v_Rd :
    (n_width, n) at the governing position; at : its number, -1 = no traffic; forces : (n_width, 5
    or 8, n) coexisting, of traffic and all permanent actions with their unfavourable factors.
    imposed : (3, n) imposed membrane forces.
    """

    combination: Combination
    points: Floats
    widths: tuple[float, ...]
    utilisation: Floats
    v: Floats
    v_Rd: Floats
    at: Ints
    forces: Floats
    imposed: Floats | None


def first_highest(utilisation: Floats) -> int:
    """Number of the first of those (n,) >= 0 that tie with the highest, as samples on either side
    of a symmetric deck do."""
    return int((utilisation >= (1.0 - TIE) * utilisation.max()).argmax())


class ShearTracker:
    """Observer of the streamed load positions: utilisation in shear at the sections' samples.

    permanent : action -> (5, n_point) m_x .. q_y of the static cases of that action, (8, n_point)
    with n_x, n_y, n_xy where `membrane` has the model's own.
    """

    def __init__(
        self,
        sections: Sections,
        widths: Sequence[float],
        combination: Combination,
        permanent: Mapping[Action, Floats],
        bars: SlabBars,
        mat: Materials,
        aggregate: float,
        membrane: MembraneForces | None = None,
    ) -> None:
        self.membrane = membrane
        imposed = None if membrane is None else membrane.ultimate
        self.imposed = None if imposed is None else np.asarray((sections.rows @ imposed.T).T)
        self.sections, self.combination, self.widths = sections, combination, tuple(widths)
        self.bars, self.mat, self.aggregate = bars, mat, aggregate
        self.means = [sections.means(w) for w in widths]
        n = len(sections.points)
        at_samples = {a: np.asarray((sections.rows @ p.T).T) for a, p in permanent.items()}
        count = len(next(iter(at_samples.values())))
        self.permanent = np.stack(
            [
                sum((f * at_samples[a] for a, f in state.items()), np.zeros((count, n)))
                for state in permanent_states(combination, list(permanent))
            ]
        )
        shape_ = (len(widths), n)
        self.best, self.v, self.v_Rd = (np.zeros(shape_) for _ in range(3))
        self.at = np.full(shape_, -1, dtype=np.int64)
        self.forces = np.zeros((len(widths), count, n))
        self.take(-1, np.zeros((count, n, 1)))

    def factored(self, response: Response) -> Floats:
        """Forces (5 or 8, n, n_position) of the traffic at the samples, with its factor."""
        own = None if self.membrane is None else self.membrane.own(response)
        fields = response.fields[FORCES] if own is None else [*response.fields[FORCES], *own]
        at_samples = [np.asarray(self.sections.rows @ f) for f in fields]
        return self.combination.traffic * np.stack(at_samples)

    def principal(self, traffic: Floats, part: Ints | slice = slice(None)) -> Floats:
        """Principal shear (k, n_position) at the samples `part` (k,) in the worst permanent state,
        with factored traffic (5 or 8, k, n_position) there."""
        q_x, q_y = traffic[3], traffic[4]
        squares = np.zeros(q_x.shape)
        for state in self.permanent:
            x, y = q_x + state[3][part, None], q_y + state[4][part, None]
            x *= x
            y *= y
            x += y
            np.maximum(squares, x, out=squares)
        return np.sqrt(squares, out=squares)

    def resistance_at(self, traffic: Floats, part: Ints, acting: Floats) -> tuple[Floats, Floats]:
        """Resistance to `acting` (k, ...) at the samples `part` (k,) under factored traffic (5 or
        8, k, ...) there, and the coexisting forces."""
        beside = (..., *[None] * (acting.ndim - 1))
        forces = traffic + self.permanent[0][:, part][beside]
        pulled = None if self.imposed is None else self.imposed[:, part][beside]
        return resistance(self.bars, self.mat, self.aggregate, acting, forces, pulled), forces

    def take(self, first: int, traffic: Floats) -> None:
        """Take in a block of load positions first, first + 1, ... by what is `factored` of it."""
        v = self.principal(traffic)
        least = self.least
        for w, mean in enumerate(self.means):
            averaged = np.asarray(mean @ v)
            near = np.flatnonzero(
                (averaged.max(axis=1) / least > self.best[w]) & self.sections.judged
            )
            # The largest shear of each sample leaves few others that may be worse.
            self._judge(w, traffic, first, averaged, near, averaged[near].argmax(axis=1))
            row, column = np.nonzero(averaged[near] / least > self.best[w, near, None])
            for start in range(0, len(row), JUDGED_AT_ONCE):
                part = slice(start, start + JUDGED_AT_ONCE)
                self._judge(w, traffic, first, averaged, near[row[part]], column[part])

    def _judge(
        self, w: int, traffic: Floats, first: int, averaged: Floats, sample: Ints, column: Ints
    ) -> None:
        """Take in the utilisation of samples (k,), which rise, under some positions (k,), which
        rise for each sample."""
        if not len(sample):
            return
        acting = averaged[sample, column]
        resists, forces = self.resistance_at(traffic[:, sample, column], sample, acting)
        used = utilisation(acting, resists)
        # The worst of each sample, the first of equal ones.
        starts = np.flatnonzero(np.diff(sample, prepend=-1))
        most = np.maximum.reduceat(used, starts)
        alike = np.flatnonzero(used == np.repeat(most, np.diff(starts, append=len(sample))))
        worst = alike[np.diff(sample[alike], prepend=-1) > 0]
        worst = worst[used[worst] > self.best[w, sample[worst]]]
        chosen = sample[worst]
        self.best[w, chosen] = used[worst]
        self.v[w, chosen] = acting[worst]
        self.v_Rd[w, chosen] = resists[worst]
        self.at[w, chosen] = -1 if first < 0 else first + column[worst]
        self.forces[w][:, chosen] = forces[:, worst]

    @cached_property
    def least(self) -> float:
        """A resistance that no direction and no face goes below; 0+ for AASHTO's method and for
        the model's own membrane forces, which are not known beforehand."""
        if self.mat.standard == "AASHTO LRFD" or len(self.permanent[0]) > 5:
            return 1e-9
        n = 0.0 if self.imposed is None else largest_tension(self.imposed)
        values = []
        for face in FACES:
            d = min(self.bars.effective_depth((face, e)) for e in DIRECTIONS)
            area = min(self.bars.bars((face, e)).area for e in DIRECTIONS)
            h = min(self.bars.thickness_of((face, e)) for e in DIRECTIONS)
            section = Section(h=h, d=d, A_s=area)
            values.append(float(one_way_resistance(section, self.mat, 0.0, 0.0, n).v_Rd))
        return max(min(values), 1e-9)

    def demand(self) -> ShearDemand:
        """What has been found so far."""
        return ShearDemand(
            combination=self.combination,
            points=self.sections.points,
            widths=self.widths,
            utilisation=self.best,
            v=self.v,
            v_Rd=self.v_Rd,
            at=self.at,
            forces=self.forces,
            imposed=self.imposed,
        )
