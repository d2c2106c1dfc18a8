"""Trains of loads on a strip: the worst place, found exactly.

The effect of a train is a sum of shifted copies of an influence line, itself a piecewise
polynomial of the train's station; its extremes lie at knots and at roots of derivatives
(`strips_piecewise`). Loads off the strip count nothing.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from pipelines.deck.traffic import Direction
from pipelines.strips.beam import (
    Side,
    StripBeam,
    moment_lines,
)
from pipelines.strips.piecewise import (
    Piecewise,
    Reciprocal,
    combine,
    highest,
    over,
    reciprocal,
)
from plate.arrays import Floats

DIRECTIONS: tuple[Direction, ...] = ("forward", "reverse")
# Stations [m] to which a train's first load is bound; None = it may stand anywhere.
Reach = tuple[float, float] | None

# The section of the largest sagging is refined until the value gains less than this share.
SECTION_TOLERANCE = 1e-8


@dataclass(frozen=True, eq=False)
class WidthFunction:
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
    width: float | WidthFunction = 1.0


@dataclass(frozen=True)
class Train:
    """Loads that keep their distances. direction "reverse" turns the train round its first load.

    axles : of the vehicle that they are, for print.
    """

    loads: tuple[StripLoad, ...]
    axles: int = 1


@dataclass(frozen=True, kw_only=True)
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


Formed = dict[tuple[float, WidthFunction | None], Piecewise]
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
    index: dict[tuple[float, WidthFunction | None], int] = {}
    which: list[int] = []
    weights: list[float] = []
    for load in train.loads:
        law = load.width if isinstance(load.width, WidthFunction) else None
        key = (load.length, law)
        if key not in index:
            functions.append(_formed(lines, *key, formed))
            index[key] = len(functions) - 1
        which.append(index[key])
        weights.append(load.load / (1.0 if isinstance(load.width, WidthFunction) else load.width))
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
    best = Extreme(value=0.0, section=float(sections[0]), side=side)
    formed: Formed = {}
    for direction in distinct(train, directions):
        total = response(lines, train, direction, formed)
        value, station = highest(total if sign > 0 else -total, within)
        row = int(np.argmax(value))
        # A gain within rounding does not displace the direction named first.
        if value[row] > abs(best.value) * (1.0 + 1e-12):
            section = float(sections[row])
            best = Extreme(
                value=sign * float(value[row]),
                section=section,
                side=side,
                station=float(station[row]),
                direction=direction,
            )
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
        lines, formed = moment_lines(beam, at, "right"), Formed()
        runs = [response(lines, train, d, formed) for d in distinct(train, directions)]
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
    best = Extreme(value=0.0, section=beam.supports[support].at, side="right")
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


def distinct(train: Train, directions: Sequence[Direction]) -> Sequence[Direction]:
    """The directions that differ: one of them for a train that is its own mirror image."""
    ends = [load.at for load in train.loads]
    sum_of_ends = min(ends) + max(ends)

    def row(at: float, load: StripLoad) -> tuple[float, ...]:
        width = id(load.width) if isinstance(load.width, WidthFunction) else load.width
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


def _formed(
    lines: Piecewise, length: float, law: WidthFunction | None, formed: Formed
) -> Piecewise:
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
