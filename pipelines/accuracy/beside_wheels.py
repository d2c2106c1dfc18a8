"""Governing shears where they stand: at the edges and corners of wheels.

Under a wheel a shear rises towards the edge and falls beyond it, by the wheel's pressure times the
distance, so it has its peak where the edge lies. No field point lies there, and the polynomial of a
cell cuts the kink off: at fixed offsets a field has up to a fifth less. So at the field points that
come near to governing, under the loads that are worst there, shears are read on the wheel that
stands there, with what readings lack of the shears that the wheel makes by itself
(`plate.results.kinks`). Two meshes agree on these to some thousandths where their fields differ by
tenths. The square of a point of support, which pushes up, is read as a wheel is. Loads are driven
on from there while that gives more. Where they are no larger than the field, the field's value
stays.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from pipelines.accuracy.climbed import (
    MOST,
    MOVES,
    counts,
    finds_worst,
    joined,
    moved_along,
    moved_by,
    worst_at,
)
from pipelines.accuracy.near_peaks import spacing_around
from pipelines.accuracy.spots import OffPoint, Spot, read_spots
from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.envelopes.governing_loads import governing_arrangement_loads
from pipelines.envelopes.peaks import SHEARS, Peak
from pipelines.model.fixed_loads import known_patches
from pipelines.model.readable import away_from, clear_of_lines
from pipelines.model.responses import SolvedDeck
from pipelines.traffic.lanes import TIE
from pipelines.units import RESULT_SCALE
from plate.arrays import Floats, Ints

# For each governing shear: field points that are looked at, no two of them nearer than so many
# times as far as the next points of the mesh, of those with no less than this share of the largest,
# since a field may have a third less at one wheel than at another; those of them that are looked at
# closely. Of sixteen shears of a packaged deck one was 2 % too small with points next but one and
# one a tenth with half as many; 28 points next but one found nothing larger.
POINTS, APART, SHARE, CLOSELY = 16, 2.0, 0.65, 3
# A wheel is read at so many places each way, then at so many around the largest up to the next: an
# eighth of the wheel apart, within which a shear changes by less than a hundredth along an edge.
ACROSS, AROUND = 3, 9
# Places are the same to so many decimals, and a row of them is one that is nearer than this [m].
ROUNDED, SAME = 9, 1e-6


def beside_wheels(
    solved: SolvedDeck, envelope: TrafficEnvelope, peaks: Sequence[Peak]
) -> list[OffPoint | None]:
    """Of governing values those shears that are larger at wheels than in the field, None of all
    others."""
    found: list[OffPoint | None] = [None] * len(peaks)
    asked = [k for k, one in enumerate(peaks) if one.component in SHEARS and one.number >= 0]
    if not asked:
        return found
    for k, one in zip(asked, _largest(solved, envelope, [peaks[k] for k in asked]), strict=True):
        of_field = abs(peaks[k].value) / RESULT_SCALE[peaks[k].component]
        if abs(one.value) > of_field * (1.0 + TIE):
            found[k] = one
    return found


def _largest(
    solved: SolvedDeck, envelope: TrafficEnvelope, peaks: Sequence[Peak]
) -> list[OffPoint]:
    """The largest shears at wheels, one for each governing shear."""
    spots, owner = _spots(solved, envelope, peaks)
    for looked in (_closely, _with_first):
        values = _own(solved, spots)
        most = np.array([one.max() for one in values])
        order = np.lexsort((-most, owner))
        rank = np.arange(len(order)) - np.searchsorted(owner[order], owner[order])
        kept = order[rank < CLOSELY]
        owner, most = owner[kept], most[kept]
        spots = [looked(spots[k], int(values[k].argmax())) for k in kept.tolist()]
        spots = _readable(solved, spots)
    # under loads of the steps another may have most once they are driven on
    first = (
        np.flatnonzero(np.diff(owner, prepend=-1)) if finds_worst(solved) else np.arange(len(most))
    )
    driven, value, under = _driven(
        solved, envelope, [spots[k] for k in first.tolist()], most[first]
    )
    found = []
    for k, peak in enumerate(peaks):
        mine = np.flatnonzero(owner[first] == k)
        best = int(mine[value[mine].argmax()])
        top, there = float(value[best]), under[best]
        step = max(float(there.max()) - top, 0.0) + _between(top, there)
        others = [spots[j] for j in np.flatnonzero(owner == k).tolist() if j != first[best]]
        near = (driven[best], *others)
        found.append(OffPoint(value=peak.sign * top, step=step, proven=False, spots=near))
    return found


def _driven(
    solved: SolvedDeck, envelope: TrafficEnvelope, spots: Sequence[Spot], value: Floats
) -> tuple[list[Spot], Floats, Floats]:
    """Spots (n,) with their loads driven on along the deck by shares of a step as long as the
    largest of their values (n,) grows; these, and those under the loads moved from there once more
    (n, n_move)."""
    found, value, under = list(spots), value.copy(), _under_moved(solved, spots)
    moving = list(range(len(found)))
    for _ in range(MOST):
        rising = [k for k in moving if under[k].max() > value[k] * (1.0 + TIE)]
        if not rising:
            break
        shares = [MOVES[int(under[k].argmax())] for k in rising]
        there = _moved_on(solved, envelope, [found[k] for k in rising], shares)
        moving = []
        for k, spot, one in zip(rising, there, _own(solved, there), strict=True):
            if one.max() > value[k] * (1.0 + TIE):
                found[k], value[k] = _with_first(spot, int(one.argmax())), one.max()
                moving.append(k)
        under[moving] = _under_moved(solved, [found[k] for k in moving])
    return found, value, under


def _under_moved(solved: SolvedDeck, spots: Sequence[Spot]) -> Floats:
    """Shears (n, n_move) at the first places of spots, or at those that move along, under the loads
    moved along the deck by shares of a step."""
    moved = [one for spot in spots for one in _moved(solved, spot)]
    if not moved:
        return np.empty((0, len(MOVES)))
    values = [one.max() for one in _own(solved, _readable(solved, moved))]
    return np.reshape(values, (len(spots), -1))


def _moved_on(
    solved: SolvedDeck, envelope: TrafficEnvelope, spots: Sequence[Spot], shares: Sequence[float]
) -> list[Spot]:
    """Spots under their loads moved along the deck by shares of a step, distributed loads where
    they are adverse then, with their places moved along with them."""
    assert solved.deck.traffic is not None
    step = solved.deck.traffic.step
    positions = []
    for spot, share in zip(spots, shares, strict=True):
        lanes = [
            lane
            if lane.position is None
            else replace(
                lane,
                position=replace(lane.position, station=lane.position.station + share * step),
            )
            for lane in spot.position.lanes
        ]
        positions.append(replace(spot.position, lanes=tuple(lanes)))
    envelope, numbers = envelope.with_arrangements(positions)
    held = governing_arrangement_loads(
        solved,
        envelope,
        [(s.point, s.component, s.sign, n) for s, n in zip(spots, numbers.tolist(), strict=True)],
    )
    found = []
    for spot, position, load, share in zip(spots, positions, held, shares, strict=True):
        at = spot.places[:1]
        places = np.concatenate([at, spot.places + moved_by(solved, at, share) - at])
        found.append(replace(spot, position=position, held=load, places=places))
    return _readable(solved, found)


def _between(value: float, moved: Floats) -> float:
    """How far the parabola through a value and those under its load moved the shortest way back and
    on, of all moved (n,), rises above the value where that is the largest of the three."""
    nearest = np.argsort(np.abs(MOVES), kind="stable")[:2]
    falls = value - moved[nearest]
    if falls.min() < 0.0 or not falls.any():
        return 0.0
    return float((falls[0] - falls[1]) ** 2 / (8.0 * falls.sum()))


def _own(solved: SolvedDeck, spots: Sequence[Spot]) -> list[Floats]:
    """Shears (n,) at the places of spots by the run's own mesh, with the sign of what governs."""
    values = read_spots(solved, solved.stiffness, spots, [spot.component for spot in spots])
    return [spot.sign * one for spot, one in zip(spots, values, strict=True)]


def _spots(
    solved: SolvedDeck, envelope: TrafficEnvelope, peaks: Sequence[Peak]
) -> tuple[list[Spot], Ints]:
    """The wheels at field points that come near to governing, each under the load that is worst
    there, or where that is not found in little time, of the steps; whose they are (n,)."""
    points = solved.recovery.points
    chosen = [_apart(solved, envelope, peak) for peak in peaks]
    owner = np.repeat(np.arange(len(peaks)), [len(one) for one in chosen])
    there = [one for each in chosen for one in each]
    number = np.array([one.number for one in there])
    if finds_worst(solved):
        envelope, number = joined(envelope, worst_at(solved, envelope, there))
    held = governing_arrangement_loads(
        solved,
        envelope,
        [(p.point, p.component, p.sign, n) for p, n in zip(there, number.tolist(), strict=True)],
    )
    reach = spacing_around(points, np.array([one.point for one in there]))
    found = []
    pressed = [corners for corners, _ in known_patches(solved.stiffness, held)]
    for one, n, load, corners, near in zip(
        there, number.tolist(), held, pressed, reach.tolist(), strict=True
    ):
        position = envelope.position(n)
        assert position is not None
        found.append(
            Spot(
                component=one.component,
                sign=one.sign,
                point=one.point,
                position=position,
                held=load,
                places=_on_wheels(points.plan[one.point], corners, near),
            )
        )
    return _readable(solved, found), owner


def _apart(solved: SolvedDeck, envelope: TrafficEnvelope, peak: Peak) -> list[Peak]:
    """A governing value, and the same at other points at which it is largest of the field, apart
    from each other."""
    e, points = envelope.fields.extremes, solved.recovery.points
    values, numbers = (e.maximum, e.at_maximum) if peak.sign > 0 else (e.minimum, e.at_minimum)
    size, number = peak.sign * values[peak.component], numbers[peak.component]
    left = np.flatnonzero(counts(solved.reading, peak) & (number >= 0))
    left = left[size[left] >= SHARE * size[left].max()]
    found = [peak]
    while len(left) and len(found) < POINTS:
        last = found[-1].point
        gap = np.linalg.norm(points.xy[left] - points.xy[last], axis=1)
        left = left[gap > APART * spacing_around(points, np.array([last]))[0]]
        if len(left):
            best = int(left[size[left].argmax()])
            found.append(replace(peak, point=best, number=int(number[best])))
    return found


def _on_wheels(at: Floats, corners: Floats, reach: float) -> Floats:
    """Places (n, 2): a point first, then all over the patches (n_patch, 4, 2) within its reach and
    in line with them beside it."""
    low, high = corners.min(axis=1), corners.max(axis=1)
    gap = np.linalg.norm(np.maximum(np.maximum(low - at, at - high), 0.0), axis=1)
    share = np.linspace(0.0, 1.0, ACROSS)
    u, v = (along.reshape(-1, 1) for along in np.meshgrid(share, share, indexing="ij"))
    found = [at[None]]
    for first, second, _, last in corners[gap <= reach]:
        on = first + u * (second - first) + v * (last - first)
        beside = [np.column_stack([np.full(len(on), at[0]), on[:, 1]])]
        beside.append(np.column_stack([on[:, 0], np.full(len(on), at[1])]))
        found += [on, *beside]
    places = np.concatenate(found)
    first = np.unique(np.round(places, ROUNDED), axis=0, return_index=True)[1]
    return places[np.sort(first)]


def _readable(solved: SolvedDeck, spots: Sequence[Spot]) -> list[Spot]:
    """The spots with those of their places where shears may govern; the first is one."""
    t, many = solved.model.section.thickness, [len(spot.places) for spot in spots]
    places = np.concatenate([spot.places for spot in spots])
    allowed = solved.deck.plan.contains(places)
    xy = solved.model.mesh.alignment.to_cartesian(places[allowed])
    clear = clear_of_lines(solved.model, xy, t)
    allowed[allowed] = clear & away_from(solved.reading.places, solved.model, xy, t)
    starts = np.cumsum([0, *many[:-1]])
    allowed[starts] = True
    parts = np.split(allowed, starts[1:])
    return [replace(spot, places=spot.places[own]) for spot, own in zip(spots, parts, strict=True)]


def _closely(spot: Spot, best: int) -> Spot:
    """A spot with places around the best of its own, which comes first."""
    at = spot.places[best]
    gaps = np.abs(spot.places - at).T
    reach = [float(gap[gap > SAME].min()) if (gap > SAME).any() else 0.0 for gap in gaps]
    moves = [np.linspace(-one, one, AROUND) for one in reach]
    around = at + np.stack(np.meshgrid(*moves, indexing="ij"), axis=-1).reshape(-1, 2)
    return replace(spot, places=np.concatenate([at[None], around]))


def _with_first(spot: Spot, best: int) -> Spot:
    """A spot with the best of its places first."""
    order = [best, *(k for k in range(len(spot.places)) if k != best)]
    return replace(spot, places=spot.places[order])


def _moved(solved: SolvedDeck, spot: Spot) -> list[Spot]:
    """A spot's first place, and the one that moves with its load, under the load moved along the
    deck by shares of a step."""
    at = spot.places[:1]
    return [
        replace(spot, held=held, places=np.concatenate([at, moved_by(solved, at, share)]))
        for share, held in zip(MOVES, moved_along(solved, spot.held), strict=True)
    ]
