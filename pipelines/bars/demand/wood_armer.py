"""Wood and Armer's rule in the forms that add up, and their extremes over load positions.

(a, b, t) stand for (m_x, m_y, m_xy), as `triple` makes them also for skew bars.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from plate.arrays import Floats, Ints


def skew_components(moments: Floats, angle: float) -> Floats:
    """(3, ...) moments as a, b, t such that bars along x need a + |t| and the second set, at
    `angle` [rad] to x, needs b + |t| (both sets in tension). Orthogonal: m_x, m_y, m_xy."""
    if angle == np.pi / 2:
        return moments
    m_x, m_y, m_xy = moments
    sine, cot = np.sin(angle), np.cos(angle) / np.sin(angle)
    a = m_x - 2 * m_xy * cot + m_y * cot**2
    return np.stack([a, m_y / sine**2, (m_xy - m_y * cot) / sine])


def needed(a: Floats, b: Floats, t: Floats) -> Floats:
    """Moment of the first bars, of the second with a and b exchanged (Wood and Armer)."""
    size = np.abs(t)
    least = np.maximum(a + size, 0.0)
    alone = b + size < 0
    if alone.any():
        single = a[alone] + t[alone] ** 2 / -b[alone]
        least[alone] = np.minimum(np.maximum(single, 0.0), least[alone])
    return least


def layer_moment(values: Floats, row: int) -> Floats:
    """Moment >= 0 that the layer of that row resists, from a, b, t (3, ...)."""
    sign = 1.0 if row < 2 else -1.0
    first, second = (0, 1) if row % 2 == 0 else (1, 0)
    return needed(sign * values[first], sign * values[second], values[2])


# Forms of a, b, t that are enveloped: themselves, then the functionals of `Block.sums`.
N_OWN, N_SUMS = 3, 4


def functionals(values: Floats, out: Floats | None = None) -> Floats:
    """(4, ...) a + t, a - t, b + t, b - t of a, b, t (3, ...), in `out` if given."""
    a, b, t = values
    found = np.empty((N_SUMS, *a.shape)) if out is None else out
    for k, first in enumerate((a, b)):
        np.add(first, t, out=found[2 * k])
        np.subtract(first, t, out=found[2 * k + 1])
    return found


@dataclass(frozen=True, eq=False)
class Block:
    """Extremes of the traffic's a, b, t and of their functionals over some load positions.

    own : (2, 3, n_point), sums : (2, 4, n_point), largest then least; numbers : (2, 4, n_point) of
    the positions that govern the sums; beside : extreme, functionals and points (k,) -> (3, k)
    a, b, t of those positions.
    """

    own: Floats
    sums: Floats
    numbers: Ints
    beside: Callable[[int, Ints, Ints], Floats]

    @classmethod
    def of_positions(cls, moments: Floats, first: int) -> "Block":
        """The block of a, b, t (3, n_point, n) of positions first, first + 1, ..."""
        at, sums, every = [], [], np.arange(moments.shape[1])
        a, b, t = moments
        # one after the other, while it is in cache
        for total in (form(one, t) for one in (a, b) for form in (np.add, np.subtract)):
            columns = np.stack([total.argmax(axis=1), total.argmin(axis=1)])
            at.append(columns)
            sums.append(total[every, columns])
        columns = np.stack(at, axis=1)

        def beside(extreme: int, which: Ints, points: Ints) -> Floats:
            return np.asarray(moments[:, points, columns[extreme, which, points]])

        own = np.stack([moments.max(axis=2), moments.min(axis=2)])
        return cls(own, np.stack(sums, axis=1), first + columns, beside)

    @classmethod
    def joined(cls, points: Ints, blocks: "Sequence[Block]") -> "Block":
        """One of blocks of the same load positions at some points after the other, which are the
        points (n_point,) in that order; what coexists is not kept."""
        own, sums, numbers = (
            np.concatenate([getattr(one, name) for one in blocks], axis=-1)[..., np.argsort(points)]
            for name in ("own", "sums", "numbers")
        )
        return cls(own, sums, numbers, nothing_beside)

    def bound(
        self, permanent: Floats, factor: float | Floats, row: int, points: Ints
    ) -> tuple[Floats, Ints]:
        """The block's value at `points` (k,) in that row, and which functional governs.

        permanent : (3, n_point); factor : on the traffic, one or of each of the points.
        """
        sign, extreme = (1.0, 0) if row < 2 else (-1.0, 1)
        first, second = row % 2, 1 - row % 2
        one, other, t = permanent[first, points], permanent[second, points], permanent[2, points]
        pair = 2 * first
        own, sums = self.own[..., points], self.sums[extreme][:, points]
        plus = sign * (one + t + factor * sums[pair])
        minus = sign * (one - t + factor * sums[pair + 1])
        linear = np.maximum(plus, minus)
        which = np.where(plus >= minus, pair, pair + 1)
        across = sign * (other + factor * own[extreme, second])
        twist = np.maximum(np.abs(t + factor * own[0, 2]), np.abs(t + factor * own[1, 2]))
        single = across + twist < 0
        alone = sign * (one + factor * own[extreme, first])
        alone += twist**2 / np.where(single, -across, 1.0)
        return np.where(single, np.minimum(alone, linear), linear), which


def nothing_beside(extreme: int, which: object, points: object) -> Floats:
    """What coexists, where it is not kept."""
    raise AssertionError("what coexists with these moments is not kept")
