"""The stiffness of a cross beam or girder as a strip on it feels it.

A strip of some width puts its reaction on the beam over that width; the beam's mean deflection
there, bending and shear, gives the spring. Beams are taken as single beams on their own holds,
without help from the slab.
"""

import itertools
from dataclasses import replace

import numpy as np

from pipelines.deck.deck import Beam, Deck, Held, Line
from pipelines.strips.beam import StripBeam, StripSupport, moment_lines, reaction_lines, shear_lines
from pipelines.strips.deck_strip import StripDeck
from pipelines.strips.piecewise import Piecewise
from plate.arrays import Floats

POINTS = 24  # sections in each length between holds, by Gauss


def on_springs(deck: Deck, strip: StripDeck, t: float, width: float) -> StripDeck | None:
    """The strip with lines that yield as their beams do under a load of that width at t [m].

    None where no supporting line is a beam with two holds.
    """
    beams = {line.name: line for line in deck.lines if line.beam is not None}
    supports = []
    for support in strip.beam.supports:
        line = beams.get(support.name)
        k = None if line is None else beam_spring(deck, line, t, width)
        supports.append(support if k is None else replace(support, k=k))
    if tuple(supports) == strip.beam.supports:
        return None
    return replace(strip, beam=replace(strip.beam, supports=tuple(supports)))


def beam_spring(deck: Deck, line: Line, t: float, width: float) -> float | None:
    """Spring [N/m per metre of the width] of a beam under a uniform load about t [m]."""
    beam, held = line.beam, _holds(deck, line)
    if beam is None or len(held) < 2:
        return None
    places = [at for at, _ in held]
    low, high = min(places), max(places)
    start, end = max(t - 0.5 * width, low), min(t + 0.5 * width, high)
    if end <= start:
        return None
    supports = tuple(StripSupport(at=at, k_rot=hold.k_rot) for at, hold in sorted(held, key=_place))
    own = StripBeam(supports, low, high, beam.E * beam.I)
    flexible = _flexibility(own, beam, start, end)
    reactions = _mean(reaction_lines(own), start, end)
    for (_, hold), force in zip(sorted(held, key=_place), reactions, strict=True):
        flexible += force**2 / hold.k if np.isfinite(hold.k) else 0.0
    return float(1.0 / (flexible * (end - start)))


def _place(pair: tuple[float, Held]) -> float:
    return pair[0]


def _holds(deck: Deck, line: Line) -> list[tuple[float, Held]]:
    """Where the beam is held, along the beam [m], stubs included."""
    across = line.name.startswith("C") or line.name in ("start", "end")
    plan = deck.plan
    if across:
        at = {f"L{j + 1}": y for j, y in enumerate(deck.offsets)}
        at |= {"left": deck.offsets[0] - plan.overhang["left"]}
        at |= {"right": deck.offsets[-1] + plan.overhang["right"]}
    else:
        at = {f"C{i + 1}": u for i, u in enumerate(deck.stations)}
        at |= {"start": plan.u_range[0], "end": plan.u_range[1]}
    middle = 0.5 * (min(at.values()) + max(at.values()))
    found = []
    for hold in line.held_at:
        if hold.on in at:
            place = at[hold.on]
            found.append((place + np.sign(place - middle) * hold.stub, hold))
    return found


def _flexibility(own: StripBeam, beam: Beam, start: float, end: float) -> float:
    """Mean deflection [m/N] over a stretch under a unit load spread over it, by virtual work."""
    xi, weight = np.polynomial.legendre.leggauss(POINTS)
    total = 0.0
    nodes = np.unique([*own.nodes, start, end])
    for a, b in itertools.pairwise(nodes.tolist()):
        at = a + 0.5 * (xi + 1.0) * (b - a)
        w = 0.5 * (b - a) * weight
        M = _mean(moment_lines(own, at, "right"), start, end)
        total += float(w @ M**2) / (beam.E * beam.I)
        if beam.Av is not None:
            V = _mean(shear_lines(own, at, "right"), start, end)
            total += float(w @ V**2) / (beam.G * beam.Av)
    return total


def _mean(lines: Piecewise, start: float, end: float) -> Floats:
    area = lines.antiderivative().at(np.array([start, end]))
    return np.asarray((area[:, 1] - area[:, 0]) / (end - start))
