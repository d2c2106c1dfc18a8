"""Control sections for shear of the slab, beside its supporting lines and steps of its soffit.

A section runs along each side of a line at its face plus the effective depth, and no nearer to any
edge or line than the slab's thickness (nearer, Mindlin's edge layer is in the shears), and in the
thinner part along every step of the soffit: what lies beyond may resist less there.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from pipelines.deck.deck import Deck
from pipelines.deck.thicknesses import Thicknesses
from pipelines.model.responses import SolvedDeck
from plate.arrays import Floats, Ints
from plate.geometry.elementary import distance_from_segments
from plate.results.functionals import interpolation
from plate.results.places import deepest

# Effective depths in the width that shear is averaged over (lower bound of the Delft guideline).
WIDTH_IN_DEPTHS = 4.0
SPACING = 0.1  # of samples along a section [m]
BESIDE = 0.01  # of a section off a step of the soffit [m]
INSIDE = 1e-6


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
