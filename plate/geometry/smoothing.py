"""The smooth line that a chain of chords was meant as.

Curves are often drawn as chords. A beam along them has a kink at every corner, where the turned
part of its moment enters the slab at a point. A corner counts as a curve's where it turns little,
the corner before or after it turns little, too, and the same way, and the smooth line stays close
to the chords. The line goes through every corner along the circle over it and its neighbours, by
an arc on each chord or two that share a tangent (a biarc). A chord that would move further stays
straight, and the line leaves it along its own direction.
"""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from plate.arrays import Floats
from plate.geometry.curves import FLAT, Curve

# A corner that turns by more was meant as a corner [rad].
MOST_TURN = np.radians(10.0)
# A chord that would move by more was meant as straight [m].
MOST_MOVE = 0.05
# Directions of a chord's two ends that differ by less are those of one arc [rad].
ONE_ARC = np.radians(0.1)


@dataclass(frozen=True)
class Smoothed:
    """A chain without the corners that were a curve's.

    curves : arcs in place of chords, with the same corners on them. corners : how many were a
    curve's; turn : the largest of these [rad]; move : of the line from its chords, at most [m].
    """

    curves: tuple[Curve, ...]
    corners: int
    turn: float
    move: float


def smoothed(chain: Sequence[Curve]) -> Smoothed:
    """A chain of lines and arcs with arcs in place of chords that were a curve's."""
    turns = [_angle(a.tangent(1.0), b.tangent(0.0)) for a, b in itertools.pairwise(chain)]
    of_curve = _of_curves(turns)
    straight = [curve.sweep != 0.0 for curve in chain]  # arcs keep their directions, too
    while True:
        ends = _ends(chain, turns, of_curve, straight)
        moves = [
            0.0 if kept else 0.5 * curve.length * np.tan(0.5 * max(abs(a), abs(b)))
            for curve, (a, b), kept in zip(chain, ends, straight, strict=True)
        ]
        far = [k for k, move in enumerate(moves) if move > MOST_MOVE]
        if not far:
            break
        for k in far:
            straight[k] = True
    gone = [
        abs(turns[i])
        for i in range(len(turns))
        if of_curve[i] and not (straight[i] and straight[i + 1])
    ]
    curves = [
        piece
        for curve, (a, b), kept in zip(chain, ends, straight, strict=True)
        for piece in ((curve,) if kept else _bent(curve, a, b))
    ]
    return Smoothed(tuple(curves), len(gone), max(gone, default=0.0), float(max(moves, default=0)))


def _of_curves(turns: Sequence[float]) -> list[bool]:
    """Which corners are a curve's by their turns."""
    soft = [FLAT < abs(turn) <= MOST_TURN for turn in turns]
    pairs = [
        soft[i] and soft[i + 1] and turns[i] * turns[i + 1] > 0.0 for i in range(len(turns) - 1)
    ]
    return [before or after for before, after in itertools.pairwise([False, *pairs, False])]


def _ends(
    chain: Sequence[Curve],
    turns: Sequence[float],
    of_curve: Sequence[bool],
    straight: Sequence[bool],
) -> list[tuple[float, float]]:
    """The angles by which the line turns onto and off each chord at its two ends [rad]."""
    first: list[float | None] = [None] * len(chain)
    last: list[float | None] = [None] * len(chain)
    for i, turn in enumerate(turns):
        if abs(turn) <= FLAT:
            last[i] = first[i + 1] = 0.0
        elif of_curve[i] and not (straight[i] and straight[i + 1]):
            a, b = chain[i].length, chain[i + 1].length
            # Of the circle over both chords: a = 2 R sin(share), b = 2 R sin(turn - share).
            share = float(np.arctan2(a * np.sin(turn), b + a * np.cos(turn)))
            share = 0.0 if straight[i] else turn if straight[i + 1] else share
            last[i], first[i + 1] = share, turn - share
    found = []
    for a_, b_, kept in zip(first, last, straight, strict=True):
        # Where a chain ends, or has a corner, its last chord is one arc.
        start = a_ if a_ is not None else b_ if b_ is not None else 0.0
        end = b_ if b_ is not None else start
        found.append((0.0, 0.0) if kept else (start, end))
    return found


def _bent(chord: Curve, first: float, last: float) -> tuple[Curve, ...]:
    """The arc or biarc on a chord whose ends turn by so much from it."""
    if abs(first - last) <= ONE_ARC:
        return (_arc(chord, first + last),)
    direction = chord.chord / chord.length
    t1, t2 = _turned(direction, -first), _turned(direction, last)
    start, end, v = np.array(chord.start), np.array(chord.end), chord.chord
    # Tangents of one length d from both ends meet those of the joint: |v - d (t1 + t2)| = 2 d.
    vt, vv = float(v @ (t1 + t2)), float(v @ v)
    d = vv / (vt + np.sqrt(vt**2 + 2.0 * (1.0 - float(t1 @ t2)) * vv))
    x, y = 0.5 * (start + d * t1 + end - d * t2)
    joint = (float(x), float(y))
    one, other = Curve(chord.start, joint), Curve(joint, chord.end)
    return (
        _arc(one, 2.0 * _angle(t1, one.chord)),
        _arc(other, 2.0 * _angle(other.chord, t2)),
    )


def _arc(chord: Curve, sweep: float) -> Curve:
    return Curve(chord.start, chord.end, sweep if abs(sweep) > FLAT else 0.0)


def _turned(direction: Floats, angle: float) -> Floats:
    c, s = np.cos(angle), np.sin(angle)
    return np.array([c * direction[0] - s * direction[1], s * direction[0] + c * direction[1]])


def _angle(a: Floats, b: Floats) -> float:
    """The angle from one direction to another, positive from x to y [rad]."""
    return float(np.arctan2(a[0] * b[1] - a[1] * b[0], a @ b))
