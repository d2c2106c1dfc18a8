"""Shear of the slab at control sections beside its supporting lines, for each load position.

A section runs along each side of a line at its face plus the effective depth, and no nearer to any
edge or line than the slab's thickness (nearer, Mindlin's edge layer is in the shears), and in the
thinner part along every step of the soffit: what lies beyond may resist less there. The
principal shear of each load position, at every sample in the worst state of the permanent factors,
is averaged along the section over stated widths; the widths are the finding's own condition.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from pipelines.bars.demand.membrane import MembraneForces, in_direction, largest_tension
from pipelines.deck.deck import Deck
from pipelines.deck.thicknesses import Thicknesses
from pipelines.model.responses import Response, SolvedDeck
from pipelines.standards.actions.combinations import Combination, permanent_states
from pipelines.standards.actions.loads import Action
from pipelines.standards.materials import Materials
from pipelines.standards.resistance.bars import DIRECTIONS, FACES, Face, SlabBars
from pipelines.standards.resistance.bending import Section, utilisation
from pipelines.standards.resistance.shear import one_way_resistance, principal_shear
from pipelines.traffic.lanes import TIE
from plate.arrays import Floats, Ints
from plate.geometry.elementary import distance_from_segments
from plate.results.functionals import interpolation
from plate.results.places import deepest

# Effective depths in the width that shear is averaged over (lower bound of the Delft guideline).
WIDTH_IN_DEPTHS = 4.0
SPACING = 0.1  # of samples along a section [m]
BESIDE = 0.01  # of a section off a step of the soffit [m]
INSIDE = 1e-6
# Fields that matter here: m_x, m_y, m_xy, q_x, q_y.
FORCES = slice(1, 6)
JUDGED_AT_ONCE = 50_000


@dataclass(frozen=True, kw_only=True)
class Sections:
    """Samples of all sections.

    line, side : (n,) index in `names` of the line beside which each sample lies, and its side,
    -1 before the line (smaller station or offset) and 1 after it. points : (n, 2) in plan [m].
    piece : (n,) number of the unbroken piece. rows : (n, n_point) interpolation of fields.
    judged : (n,) whether a sample is judged itself or lies there for the means alone.
    """

    names: tuple[str, ...]
    line: Ints
    side: Ints
    points: Floats
    piece: Ints
    rows: sparse.csr_array
    judged: NDArray[np.bool_]

    def means(self, width: float) -> sparse.csr_array:
        """(n, n) means over a width about each sample, kept within its piece; a shorter piece
        gives its own mean. Width 0 gives the samples themselves."""
        n = len(self.points)
        if width == 0.0 or n == 0:
            return sparse.csr_array(sparse.eye_array(n, format="csr"))
        rows, columns, values = [], [], []
        for number in np.unique(self.piece):
            (index,) = np.nonzero(self.piece == number)
            for k in range(len(index)):
                weights = mean_weights(len(index), k, width)
                used = np.flatnonzero(weights)
                rows += [index[k]] * len(used)
                columns += index[used].tolist()
                values += weights[used].tolist()
        return sparse.coo_array((values, (rows, columns)), shape=(n, n)).tocsr()


def mean_weights(n: int, k: int, width: float) -> Floats:
    """Weights (n,) of the samples of a piece for the mean of their linear interpolant over a width
    [m] about the one of number k, kept within the piece; of width 0 that sample alone."""
    weights = np.zeros(n)
    if width == 0.0 or n == 1:
        weights[k] = 1.0
        return weights
    s = SPACING * np.arange(n, dtype=float)
    low = max(min(s[k] - width / 2, s[-1] - width), 0.0)
    start, end = np.maximum(s[:-1], low), np.minimum(s[1:], min(low + width, s[-1]))
    length = np.maximum(end - start, 0.0)
    share = (0.5 * (start + end) - s[:-1]) / np.diff(s)
    weights[:-1] = length * (1 - share)
    weights[1:] += length * share
    return np.asarray(weights / weights.sum())


def field_interpolation(solved: SolvedDeck, points: Floats) -> sparse.csr_array:
    """Rows (n, n_point) that give fields at plan points (n, 2), each in one of its cells."""
    return interpolation(solved.recovery.points, deepest(solved.model.mesh, points))


def shear_sections(
    solved: SolvedDeck,
    depth: float,
    holds: Callable[[Floats], NDArray[np.bool_]] | None = None,
    thicknesses: Sequence[float] | None = None,
) -> Sections:
    """Control sections of every straight supporting line, and of every straight step of the soffit.

    depth : effective depth [m]. holds : whether plan points (n, 2) lie in the part of the slab that
    is judged, whose samples come with the whole pieces that they are of; None = all of it.
    thicknesses : of the part [m], with `depth` in the first; sections of the others lie so much
    further off lines. None = the slab's own.
    """
    deck = solved.deck
    plan, every = deck.plan, thicknesses or (deck.slab.thickness,)
    thickness = every[0]
    names: list[str] = []
    line, side, found, piece = [], [], [], []
    count = 0
    borders = _borders(deck)
    for own, title, path, away, signs in (
        *_beside_lines(deck, depth, every),
        *_beside_steps(deck),
    ):
        a, b = path[0], path[-1]
        length = float(np.linalg.norm(b - a))
        along, normal = _directions(path)
        names.append(title)
        n = int(length / SPACING)
        s = SPACING * np.arange(n + 1) + 0.5 * (length - SPACING * n)
        for sign in signs:
            points = a + s[:, None] * along + sign * away * normal
            good = plan.contains(points, -INSIDE)
            for name, border in borders.items():
                if name != own and good.any():
                    good &= distance_from_segments(points, border) >= thickness - INSIDE
            index = np.flatnonzero(good)
            for part in np.split(index, np.flatnonzero(np.diff(index) > 1) + 1):
                if len(part) < 2 or (holds is not None and not holds(points[part]).any()):
                    continue
                found.append(points[part])
                line += [len(names) - 1] * len(part)
                side += [sign] * len(part)
                piece += [count] * len(part)
                count += 1
    points = np.concatenate(found) if found else np.zeros((0, 2))
    rows = field_interpolation(solved, points)
    as_ints = [np.array(v, dtype=np.int64) for v in (line, side, piece)]
    return Sections(
        names=tuple(names),
        line=as_ints[0],
        side=as_ints[1],
        points=points,
        piece=as_ints[2],
        rows=rows,
        judged=np.ones(len(points), dtype=bool) if holds is None else holds(points),
    )


Beside = tuple[str, str, Floats, float, tuple[int, ...]]
"""Name of a line or "", its title, its path (n, 2), how far off it [m] and on which of its sides
sections lie."""


def _beside_lines(deck: Deck, depth: float, thicknesses: Sequence[float]) -> Iterator[Beside]:
    for support in deck.lines:
        course = deck.plan.lines[support.name]
        path = course.full if support.to_edges else course.path
        for t in thicknesses if _is_straight(path) else ():
            away = max(0.5 * support.width + depth + t - thicknesses[0], t)
            yield support.name, support.name, path, away, (-1, 1)


def _beside_steps(deck: Deck) -> Iterator[Beside]:
    found = Thicknesses.of(deck)
    for path in found.straight_steps:
        _, normal = _directions(path)
        beside = path.mean(axis=0) + BESIDE * np.array([[-1.0], [1.0]]) * normal
        t = found.at(beside)
        title = f"step {1e3 * t.min():g} to {1e3 * t.max():g} mm"
        yield "", title, path, BESIDE, ((-1, 1)[int(t.argmin())],)


def _directions(path: Floats) -> tuple[Floats, Floats]:
    """Unit vectors along a straight path and across it, to growing stations or offsets."""
    along = (path[-1] - path[0]) / np.linalg.norm(path[-1] - path[0])
    normal = np.array([-along[1], along[0]])
    return along, normal * (1.0 if normal.sum() > 0 else -1.0)


def _is_straight(path: Floats) -> bool:
    """Whether the points (n, 2) of a line lie on the chord between its ends."""
    return bool(distance_from_segments(path, path[None, [0, -1]]).max() < INSIDE)


def _borders(deck: Deck) -> dict[str, Floats]:
    """Plan segments (k, 2, 2) of every supporting line and every edge that is not one."""
    plan = deck.plan
    borders = {}
    for support in deck.lines:
        full = plan.lines[support.name]
        path = full.full if support.to_edges else full.path
        borders[support.name] = np.stack([path[:-1], path[1:]], axis=1)
    corners = np.vstack([plan.outline, plan.outline[:1]])
    for k, (p, q) in enumerate(pairwise(corners)):
        segment = np.array([[p, q]])
        covered = any(
            distance_from_segments(segment[0], b).max() < INSIDE for b in borders.values()
        )
        if not covered:
            borders[f"edge {k + 1}"] = segment
    return borders


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
    n = tension(forces, imposed)
    resists = {
        face: one_way_resistance(section, mat, v, m, n, aggregate).v_Rd
        for face, section in by_face.items()
    }
    return np.where(m >= 0, resists["bottom"], resists["top"])


def across_shear(bars: SlabBars, forces: Floats) -> tuple[Floats, dict[Face, Section]]:
    """The moment in the direction of the principal shear, sagging positive [N m/m], and the section
    across that direction with the bars of either face. Arguments as of `resistance`."""
    m_x, m_y, m_xy, q_x, q_y = forces[:5]
    principal = principal_shear(q_x, q_y)
    c, s = np.cos(principal.angle), np.sin(principal.angle)
    m = m_x * c**2 + m_y * s**2 + 2 * m_xy * c * s
    by_face: dict[Face, Section] = {}
    for face in FACES:
        d = principal.along(*(bars.effective_depth((face, e)) for e in DIRECTIONS))
        area = principal.along(*(bars.bars((face, e)).area for e in DIRECTIONS))
        h = principal.along(*(bars.thickness_of((face, e)) for e in DIRECTIONS))
        by_face[face] = Section(h=h, d=d, A_s=area)
    return m, by_face


def tension(forces: Floats, imposed: Floats | None) -> Floats:
    """Tension >= 0 [N/m] across the section that the principal shear acts on; the imposed forces
    are present or absent, whichever is worse. Arguments as of `resistance`."""
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
        v = np.zeros(q_x.shape)
        for state in self.permanent:
            v = np.maximum(v, np.hypot(q_x + state[3][part, None], q_y + state[4][part, None]))
        return v

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
        """Take in the utilisation of samples (k,), which rise, under some positions (k,)."""
        acting = averaged[sample, column]
        resists, forces = self.resistance_at(traffic[:, sample, column], sample, acting)
        used = utilisation(acting, resists)
        # The worst of each sample, the first of equal ones.
        order = np.lexsort((column, -used, sample))
        worst = order[np.diff(sample[order], prepend=-1) > 0]
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
