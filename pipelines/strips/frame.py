"""A deck seen along its strip: the plate's field points in the strip's coordinates.

`s` counts along the strip and `t` across it: for bars along traffic s is the station and t the
offset, for bars across it s is the offset and t the station.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from pipelines.deck.deck import Deck
from pipelines.model.responses import SolvedDeck
from pipelines.strips.deck_strip import StripDeck
from pipelines.strips.layout import StripLayout
from plate.arrays import Floats, Ints
from plate.conventions import RESULTS

M_X, M_Y = RESULTS.index("m_x"), RESULTS.index("m_y")
Q_X, Q_Y = RESULTS.index("q_x"), RESULTS.index("q_y")
ON = 1e-6  # points nearer to a line than this lie on it [m]


@dataclass(frozen=True, eq=False, kw_only=True)
class Frame:
    """A deck seen along its strip.

    s, t : coordinates of the field points (n_point,) [m].
    to_low, to_high : their distances along t from the edges that run along the strip [m]; to_ends :
        those from the edges at its ends.
    clear : of both edges how near to it strips within the slab reach [m]: up to the line that
        stiffens it, and to half a span where none does so near.
    readable : whether moments are to be read there: not beside a singular place; hogs : whether
        hogging over supports is, where it counts beside them.
    """

    deck: Deck
    strip: StripDeck
    s: Floats
    t: Floats
    to_low: Floats
    to_high: Floats
    to_ends: tuple[Floats, Floats]
    clear: tuple[float, float]
    readable: NDArray[np.bool_]
    hogs: NDArray[np.bool_]

    @property
    def along(self) -> bool:
        return self.strip.bars == "parallel"

    @property
    def moment(self) -> int:
        return M_X if self.along else M_Y

    @property
    def transverse(self) -> int:
        return M_Y if self.along else M_X

    @property
    def shear(self) -> int:
        return Q_X if self.along else Q_Y

    @property
    def layout(self) -> StripLayout:
        return self.strip.on_deck

    @property
    def edges(self) -> tuple[str, str]:
        """Edges that run along the strip, at the lowest and highest t."""
        return self.layout.edges

    @property
    def ends(self) -> tuple[str, str]:
        """Edges at the strip's own ends."""
        return self.layout.ends

    def points(self, s: Floats | float, t: Floats | float) -> Floats:
        """Plan points (..., 2) of coordinates along and across the strip."""
        return self.layout.points(np.asarray(s, dtype=float), np.asarray(t, dtype=float))

    def t_range(self, s: float) -> tuple[float, float]:
        """t of the slab's edges at s [m]."""
        return self.layout.t_range(s)

    def line(self, s: float) -> Floats:
        """Plan ends (2, 2) of the line of that s, from edge to edge."""
        return self.points(s, np.array(self.t_range(s)))

    def bay(self, lines: tuple[str, ...]) -> tuple[float, float]:
        """s of a bay's two lines [m]."""
        at = {support.name: support.at for support in self.strip.beam.supports}
        return at[lines[0]], at[lines[1]]

    def to(self, edge: str) -> Floats:
        """Distances (n_point,) from an edge that runs along the strip [m]."""
        return self.to_low if edge == self.edges[0] else self.to_high

    @cached_property
    def inside(self) -> NDArray[np.bool_]:
        """Whether strips within the slab reach the field points (n_point,)."""
        low, high = self.clear
        return np.asarray((self.to_low >= low - ON) & (self.to_high >= high - ON))

    def beside(self, edge: str) -> NDArray[np.bool_]:
        """Field points (n_point,) on an edge that runs along the strip, or nearer to it than strips
        within the slab reach."""
        clear = self.clear[self.edges.index(edge)]
        return np.asarray((self.to(edge) < ON) | (self.to(edge) < clear - ON))


def frame(strip: StripDeck, solved: SolvedDeck) -> Frame:
    """The deck's field points in the strip's coordinates."""
    plan, layout = solved.recovery.points.plan, strip.on_deck
    s, t = layout.coordinates(plan)
    to_low, to_high = layout.to_edges(plan)
    half = 0.5 * mean_span(strip)
    least, most = (min(half, layout.stiffening(edge)) for edge in layout.edges)
    return Frame(
        deck=solved.deck,
        strip=strip,
        s=s,
        t=t,
        to_low=to_low,
        to_high=to_high,
        to_ends=layout.to_ends(plan),
        clear=(least, most),
        readable=solved.readable,
        hogs=solved.readable | solved.hogging_readable,
    )


def mean_span(strip: StripDeck) -> float:
    """Mean distance of the strip's supports [m]."""
    return float(np.mean(np.diff([support.at for support in strip.beam.supports])))


def beside(at: Frame, line: float, s: float, allowed: NDArray[np.bool_]) -> Ints:
    """Field points of the row nearest to s on its side of a line, the line itself aside; where
    points stand in no rows, those nearest to s in every piece of it."""
    return _nearest(at, s, allowed & (np.sign(s - line) * (at.s - line) > ON))


def around(at: Frame, line: float, s: float, allowed: NDArray[np.bool_]) -> list[Ints]:
    """The same of the points no further from the line than s, and of those no nearer."""
    away = np.sign(s - line)
    allowed = allowed & (away * (at.s - line) > ON)
    past = away * (at.s - s)
    near, far = (_nearest(at, s, allowed & side) for side in (past < ON, past > -ON))
    return [near] if np.array_equal(near, far) else [near, far]


def _nearest(at: Frame, s: float, allowed: NDArray[np.bool_]) -> Ints:
    """Of the field points allowed (n_point,) those of the row nearest to s."""
    candidates = np.flatnonzero(allowed)
    gap = np.abs(at.s[candidates] - s)
    piece = np.floor(at.t[candidates] / at.layout.piece).astype(np.int64)
    _, which = np.unique(piece, return_inverse=True)
    least = np.full(which.max(initial=-1) + 1, np.inf)
    np.minimum.at(least, which, gap)
    return np.asarray(candidates[gap < least[which] + ON])
