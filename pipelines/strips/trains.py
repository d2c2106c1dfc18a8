"""Trains of loads on a strip: the worst place, found exactly.

The effect of a train is a sum of shifted copies of an influence line, itself a piecewise
polynomial of the train's station; its extremes lie at knots and at roots of derivatives
(`strips_piecewise`). Loads off the strip count nothing.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from pipelines.deck.deck import Direction
from pipelines.strips.beam import (
    Side,
    StripBeam,
    line_sum,
    moment_lines,
    reaction_lines,
    shear_lines,
)
from pipelines.strips.piecewise import (
    Piecewise,
    Reciprocal,
    combine,
    critical_within,
    highest,
    over,
    reciprocal,
)
from plate.geometry.alignment import Floats

DIRECTIONS: tuple[Direction, ...] = ("forward", "reverse")
# Stations [m] to which a train's first load is bound; None = it may stand anywhere.
Reach = tuple[float, float] | None

# The section of the largest sagging is refined until the value gains less than this share.
SECTION_TOLERANCE = 1e-8


@dataclass(frozen=True, eq=False)
class WidthLaw:
    """The width that carries a load as a function of the station of its centre [m].

    grid : stations (Q,) that resolve it, see `strips_piecewise.resolved`.
    """

    at: Callable[[Floats], Floats]
    grid: Floats

    @cached_property
    def reciprocal(self) -> Reciprocal:
        """One over the width [1/m]."""
        return reciprocal(self.at, self.grid)


@dataclass(frozen=True)
class StripLoad:
    """One axle, wheel or wheel line on the strip.

    at : distance behind the first load [m]; load [N]; length : loaded length along the strip over
    which it is uniform [m], 0 = concentrated.
    width : effective width that carries it [m], a number or a law. Results are per metre of that
        width; with 1 they are those of the beam.
    """

    at: float
    load: float
    length: float = 0.0
    width: float | WidthLaw = 1.0


@dataclass(frozen=True)
class Train:
    """Loads that keep their distances. direction "reverse" turns the train round its first load.

    axles : of the vehicle that they are, for print.
    """

    loads: tuple[StripLoad, ...]
    axles: int = 1


@dataclass(frozen=True)
class Extreme:
    """An extreme effect of a train.

    value : [N m/m] or [N/m]; section : station where it acts [m], and its side where it lies on a
    support; station : of the first load [m]. station and direction are None where no place of the
    train has an effect of that sign (value 0).
    """

    value: float
    section: float
    side: Side
    station: float | None = None
    direction: Direction | None = None


Formed = dict[tuple[float, WidthLaw | None], Piecewise]
"""Effects of unit loads of one set of lines, by their length and the law of their width."""


def response(
    lines: Piecewise, train: Train, direction: Direction, formed: Formed | None = None
) -> Piecewise:
    """The effect of the train as a function of its first load's station.

    formed : what has been formed of the same lines before, added to. Exact where widths are
    numbers; with width laws within 1e-5 of the largest effect of one load (measured in the tests).
    """
    sign = 1.0 if direction == "forward" else -1.0
    formed = {} if formed is None else formed
    functions: list[Piecewise] = []
    index: dict[tuple[float, WidthLaw | None], int] = {}
    which: list[int] = []
    weights: list[float] = []
    for load in train.loads:
        law = load.width if isinstance(load.width, WidthLaw) else None
        key = (load.length, law)
        if key not in index:
            functions.append(_formed(lines, *key, formed))
            index[key] = len(functions) - 1
        which.append(index[key])
        weights.append(load.load / (1.0 if isinstance(load.width, WidthLaw) else load.width))
    return combine(functions, which, weights, [sign * load.at for load in train.loads])


def worst(
    lines: Piecewise,
    train: Train,
    sections: Floats,
    side: Side,
    sign: float,
    directions: Sequence[Direction] = DIRECTIONS,
    within: Reach = None,
) -> Extreme:
    """The largest (sign = 1) or smallest (sign = -1) effect among lines, one for each section."""
    best = Extreme(0.0, float(sections[0]), side)
    for direction in distinct(train, directions):
        total = response(lines, train, direction)
        value, station = highest(total if sign > 0 else -total, within)
        row = int(np.argmax(value))
        # A gain within rounding does not displace the direction named first.
        if value[row] > abs(best.value) * (1.0 + 1e-12):
            section = float(sections[row])
            best = Extreme(sign * float(value[row]), section, side, float(station[row]), direction)
    return best


def bay_sagging(
    beam: StripBeam,
    bay: int,
    train: Train,
    directions: Sequence[Direction] = DIRECTIONS,
    within: Reach = None,
) -> Extreme:
    """The largest sagging moment between two supports.

    For each section the worst place of the train is exact. The section is searched: 24 equal
    parts, then round every local maximum that may still rise to the top with steps four times
    smaller each time, until the value gains less than SECTION_TOLERANCE.
    """
    low, high = beam.bay(bay)
    step = (high - low) / 24
    sections = np.linspace(low, high, 25)

    def values(at: Floats) -> Floats:
        lines = moment_lines(beam, at, "right")
        runs = [response(lines, train, d) for d in distinct(train, directions)]
        tops = [highest(run, within)[0] for run in runs]
        return np.asarray(np.max(tops, axis=0))

    value = values(sections)
    padded = np.concatenate([[-np.inf], value, [-np.inf]])
    peak = (value >= padded[:-2]) & (value >= padded[2:])
    centres, best = sections[peak], value[peak]
    # Sections a 24th apart miss the top of a peak by less than 0.1 % (300 random trains), so what
    # stands within 2 % may still be the highest; the margin shrinks with the step.
    margin = 0.02
    while step > 1e-9 * (high - low):
        keep = best >= (1.0 - margin) * best.max()
        centres, before = centres[keep], best.max()
        step, margin = step / 4, margin / 2
        near = np.clip(centres[:, None] + step * np.arange(-4, 5), low, high)
        found = values(near.ravel()).reshape(near.shape)
        top = (np.arange(centres.size), np.argmax(found, axis=1))
        centres, best = near[top], found[top]
        if best.max() - before <= SECTION_TOLERANCE * before and step < 1e-4 * (high - low):
            break
    at = centres[[int(np.argmax(best))]]
    return worst(moment_lines(beam, at, "right"), train, at, "right", 1.0, directions, within)


def support_moment(
    beam: StripBeam,
    support: int,
    train: Train,
    sign: float,
    offset: float = 0.0,
    directions: Sequence[Direction] = DIRECTIONS,
    within: Reach = None,
) -> Extreme:
    """The largest sagging (sign = 1) or hogging (-1) moment over a support, or `offset` [m] from
    its centre line.

    Both sides count, as far as the strip reaches.
    """
    best = Extreme(0.0, beam.supports[support].at, "right")
    for side, at in support_sections(beam, support, offset):
        lines = moment_lines(beam, at, side)
        found = worst(lines, train, at, side, sign, directions, within)
        best = found if sign * found.value > sign * best.value * (1.0 + 1e-12) else best
    return best


def support_sections(beam: StripBeam, support: int, offset: float) -> list[tuple[Side, Floats]]:
    """The sections (1,) of the moment `offset` [m] to either side of a support."""
    line = beam.supports[support]
    sides = _sides(beam, line.at, offset)
    # Over a support that lets the slab rotate the moment does not jump.
    return sides[-1:] if offset == 0 and line.k_rot == 0 else sides


def support_hogging(
    beam: StripBeam,
    support: int,
    train: Train,
    offset: float = 0.0,
    directions: Sequence[Direction] = DIRECTIONS,
    within: Reach = None,
) -> Extreme:
    """`support_moment` for hogging (negative)."""
    return support_moment(beam, support, train, -1.0, offset, directions, within)


def rounded_hogging(
    beam: StripBeam, support: int, train: Train, directions: Sequence[Direction] = DIRECTIONS
) -> Extreme:
    """Hogging over a support that lets the slab rotate, its peak rounded by F t/8.

    F is the reaction of the same load position and t the support's width: EN 1992-1-1:2004
    5.3.2.2(4), from memory. The sum is made before the train is moved, so it is exact too.
    """
    line = beam.supports[support]
    at = np.array([line.at])
    reactions = reaction_lines(beam)
    own = Piecewise(reactions.knots[[support]], reactions.coef[:, [support]])
    lines = line_sum(moment_lines(beam, at, "right"), own, line.width / 8.0)
    return worst(lines, train, at, "right", -1.0, directions)


def support_shear(
    beam: StripBeam,
    support: int,
    train: Train,
    offset: float = 0.0,
    directions: Sequence[Direction] = DIRECTIONS,
    within: Reach = None,
) -> Extreme:
    """The shear of largest magnitude on either side of a support, `offset` [m] from its centre."""
    line = beam.supports[support]
    best = Extreme(0.0, line.at, "right")
    for side, at in _sides(beam, line.at, offset):
        lines = shear_lines(beam, at, side)
        for sign in (-1.0, 1.0):
            found = worst(lines, train, at, side, sign, directions, within)
            best = found if abs(found.value) > abs(best.value) * (1.0 + 1e-12) else best
    return best


def side_by_side(one: Piecewise, low: float, high: float, gap: float, most: int) -> Floats:
    """Largest effects (S, most) of exactly 1, 2, .. `most` equal groups of loads on a strip.

    one : effect of one group as a function of its station (S rows); a group's station lies in
    [low, high] and neighbours are at least `gap` apart [m]. -inf where so many do not fit.

    Exact: at the best arrangement the groups form clusters that touch (exactly `gap` apart), each
    cluster free to move, so each stands at a critical point of its own effect.
    """
    rows = one.knots.shape[0]
    beyond = [(np.zeros((rows, 1)), np.zeros((rows, 1)))]  # what n groups right of a station add
    best = np.full((rows, most), -np.inf)
    for n in range(1, most + 1):
        starts, totals = [], []
        for m in range(1, n + 1):
            last = high - (m - 1) * gap
            if last < low:
                break
            cluster = combine([one] * m, range(m), [1.0] * m, [-i * gap for i in range(m)])
            t, value = critical_within(cluster, low, last)
            rest = _suffix_best(*beyond[n - m], t + m * gap) if n > m else 0.0
            starts.append(t)
            totals.append(value + rest)
        if not starts:
            break
        t, total = np.concatenate(starts, axis=1), np.concatenate(totals, axis=1)
        order = np.argsort(t, axis=1)
        t, total = np.take_along_axis(t, order, 1), np.take_along_axis(total, order, 1)
        total = np.maximum.accumulate(total[:, ::-1], axis=1)[:, ::-1]
        beyond.append((t, total))
        best[:, n - 1] = total[:, 0]
    return best


def distinct(train: Train, directions: Sequence[Direction]) -> Sequence[Direction]:
    """The directions that differ: one of them for a train that is its own mirror image."""
    ends = [load.at for load in train.loads]
    sum_of_ends = min(ends) + max(ends)

    def row(at: float, load: StripLoad) -> tuple[float, ...]:
        width = id(load.width) if isinstance(load.width, WidthLaw) else load.width
        return round(at, 9), load.load, load.length, width

    rows = sorted(row(load.at, load) for load in train.loads)
    back = sorted(row(sum_of_ends - load.at, load) for load in train.loads)
    return directions[:1] if rows == back else directions


def _sides(beam: StripBeam, at: float, offset: float) -> list[tuple[Side, Floats]]:
    """The sections `offset` to the left and to the right that lie within the strip."""
    sides: list[tuple[Side, Floats]] = []
    if at - offset > beam.start:
        sides.append(("left", np.array([at - offset])))
    if at + offset < beam.end:
        sides.append(("right", np.array([at + offset])))
    return sides


def _suffix_best(t: Floats, best: Floats, start: Floats) -> Floats:
    """best at the first t >= start, row by row (t rising, best falling along it); else -inf."""
    padded = np.concatenate([best, np.full((t.shape[0], 1), -np.inf)], axis=1)
    # Clusters that touch would meet within rounding; they are a larger cluster's business.
    place = [np.searchsorted(row, s, side="left") for row, s in zip(t, start, strict=True)]
    return np.take_along_axis(padded, np.array(place), axis=1)


def _formed(lines: Piecewise, length: float, law: WidthLaw | None, formed: Formed) -> Piecewise:
    """Effect of a unit load of that length and width."""
    key = (length, law)
    if key not in formed:
        if law is None:
            formed[key] = _spread(lines, length)
        else:
            formed[key] = over(_formed(lines, length, None, formed), law.reciprocal)
    return formed[key]


def _spread(lines: Piecewise, length: float) -> Piecewise:
    """Effect of a unit load spread uniformly over `length` about its centre."""
    if length <= 0:
        return lines
    area = lines.antiderivative()
    half = 0.5 * length
    return combine([area], [0, 0], [1.0 / length, -1.0 / length], [-half, half])
