"""Pieces that may still hold the highest value, and their halves."""

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from pipelines.accuracy.bernstein import halves
from pipelines.accuracy.grid_surfaces import NEAR
from plate.arrays import Floats, Ints


@dataclass(frozen=True, eq=False, kw_only=True)
class LivePieces:
    """Pieces of places in which a result under a vehicle is a polynomial.

    With a variable spacing the result is V = P(s, y) + Q(t, y): P under the axles ahead of it, Q
    under those behind, whose station t is that of the first axle and the widening.

    owner : (n,) whose piece it is; vehicle : (n,) its number; s, t, y : (n, 2) ends [m];
    front : (n, m, m) Bernstein coefficients of the signed P; rear : (n, m, m) of Q, (n, 0, 0) where
    no vehicle has a variable spacing; reach : (n, 2) lowest and highest t - s.
    """

    owner: Ints
    vehicle: Ints
    s: Floats
    t: Floats
    y: Floats
    front: Floats
    rear: Floats
    reach: Floats

    @classmethod
    def none(cls, m: int) -> "LivePieces":
        """No pieces, of polynomials with m x m coefficients."""
        one, two = np.zeros(0, dtype=np.int64), np.zeros((0, 2))
        square = np.zeros((0, m, m))
        return cls(
            owner=one, vehicle=one, s=two, t=two, y=two, front=square, rear=square, reach=two
        )

    @property
    def top(self) -> Floats:
        """Upper bounds (n,), -inf where no widening is allowed.

        Places whose widening is not allowed are in the pieces, too. Where it would be too far by
        c(s, t), adding m c to V, with m not negative, lowers no allowed value; with m as large as
        V grows beyond the limit the sum is level there and its bound as near as inside.
        """
        if not self.rear.size:
            return np.asarray(self.front.max(axis=(1, 2)))
        top = _sum_of_tops(self.front, self.rear)
        least = self.t[:, 0] - self.s[:, 1]
        most = self.t[:, 1] - self.s[:, 0]
        growth = (self.rear[:, -1] - self.rear[:, 0]).mean(axis=1)
        growth /= np.maximum(self.t[:, 1] - self.t[:, 0], NEAR)
        share = np.linspace(0.0, 1.0, self.front.shape[1])
        for outside, limit, sign in (
            (least < self.reach[:, 0], self.reach[:, 0], -1.0),
            (most > self.reach[:, 1], self.reach[:, 1], 1.0),
        ):
            k = np.flatnonzero(outside & (sign * growth > 0.0))
            s, t = (at[k, :1] + (at[k, 1:] - at[k, :1]) * share for at in (self.s, self.t))
            # Growth is m by its sign: m (limit - (t - s)) is not negative where t - s is allowed.
            m = growth[k, None]
            front = self.front[k] + (m * (s + limit[k, None]))[:, :, None]
            rear = self.rear[k] - (m * t)[:, :, None]
            top[k] = np.minimum(top[k], _sum_of_tops(front, rear))
        top[(most < self.reach[:, 0] - NEAR) | (least > self.reach[:, 1] + NEAR)] = -np.inf
        return top

    @property
    def ends(self) -> tuple[Floats, Floats, Floats]:
        """Coefficients (n, k, m) across of the values at the ends of the stations, 2 or, with those
        of a variable spacing, 4 places, -inf where their widening is not allowed; the stations s
        and the widenings (n, k) there [m]."""
        front = self.front[:, [0, -1]]
        if not self.rear.size:
            return front, self.s, np.zeros_like(self.s)
        values = front[:, [0, 0, 1, 1]] + self.rear[:, [0, -1, 0, -1]]
        s, t = self.s[:, [0, 0, 1, 1]], self.t[:, [0, 1, 0, 1]]
        apart = t - s
        able = (apart >= self.reach[:, :1] - NEAR) & (apart <= self.reach[:, 1:] + NEAR)
        spread = np.abs(np.clip(apart, self.reach[:, :1], self.reach[:, 1:]))
        fixed = np.isinf(self.reach[:, :1])
        return np.where(able[..., None], values, -np.inf), s, np.where(fixed, 0.0, spread)

    def part(self, which: NDArray[np.bool_] | Ints) -> "LivePieces":
        """Some of them."""
        return LivePieces(
            **{field.name: getattr(self, field.name)[which] for field in fields(self)}
        )

    @classmethod
    def joined(cls, parts: Sequence["LivePieces"]) -> "LivePieces":
        """All of several."""
        return cls(
            **{
                field.name: np.concatenate([getattr(part, field.name) for part in parts])
                for field in fields(cls)
            }
        )

    def halved_along(self, enough: Floats) -> "LivePieces":
        """Halves along the deck of those that lie above their ends by more than is enough (n,)."""
        coarse = _above_ends(self.front) > enough
        if not self.rear.size:
            return LivePieces.joined([self.part(~coarse), self.part(coarse)._halved("s")])
        # Across the limit of the widening pieces must be narrow, however level the values are.
        across = (self.t[:, 0] - self.s[:, 1] < self.reach[:, 0] - NEAR) | (
            self.t[:, 1] - self.s[:, 0] > self.reach[:, 1] + NEAR
        )
        level = self.top - self.ends[0].max(axis=(1, 2)) <= enough
        across &= ~level
        coarse |= across
        behind = (_above_ends(self.rear) > enough) | across
        halved = []
        for s in (False, True):
            for t in (False, True):
                part = self.part((coarse == s) & (behind == t))
                part = part._halved("s") if s else part
                halved.append(part._halved("t") if t else part)
        return LivePieces.joined(halved)

    def halved_across(self) -> "LivePieces":
        """First all first halves across the deck, then all second ones."""
        return self._halved("y")

    def _halved(self, along: str) -> "LivePieces":
        names = {"s": ("front",), "t": ("rear",), "y": ("front", "rear")}[along]
        ends = getattr(self, along)
        middle = ends.mean(axis=1)
        parts = []
        for half, (low, high) in enumerate(((ends[:, 0], middle), (middle, ends[:, 1]))):
            changed = {along: np.stack([low, high], axis=1)}
            for name in names:
                C = getattr(self, name)
                if C.size:
                    matrix = halves(C.shape[1] - 1)[half]
                    changed[name] = C @ matrix.T if along == "y" else matrix @ C
            parts.append(replace(self, **changed))
        return LivePieces.joined(parts)


def _above_ends(C: Floats) -> Floats:
    """How far (n,) coefficients (n, m, m) lie above those of the ends along, anywhere across."""
    return np.asarray((C.max(axis=1) - np.maximum(C[:, 0], C[:, -1])).max(axis=1))


def _sum_of_tops(front: Floats, rear: Floats) -> Floats:
    return np.asarray((front.max(axis=1) + rear.max(axis=1)).max(axis=1))
