"""The width that carries an axle, as a function of where the axle stands on the strip."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from pipelines.deck import Axle, Vehicle
from pipelines.errors import MethodRangeError
from pipelines.strips import StripSet
from pipelines.strips_deck import StripDeck
from pipelines.strips_input import StripInput, StripMethod
from pipelines.strips_piecewise import resolved
from pipelines.strips_train import StripLoad, Train, WidthLaw
from plate.chart import Floats


@dataclass(frozen=True)
class Focus:
    """The section whose moment is wanted.

    bays : those next to it; support : the line whose hogging is wanted, None for sagging in a bay.
    """

    bays: tuple[int, ...]
    support: int | None = None


def axle_width(method: StripMethod, width: Floats, wheels: Sequence[float], most: float) -> Floats:
    """The width [m] that a whole axle may be divided by, from the method's width (...) [m].

    wheels : offsets of the wheels, which share the axle's load equally [m]; most : slab width [m].
    Wheels whose widths may be joined act in runs of neighbours, each run's load over the length
    from the first width's start to the last one's end; the hardest-worked run governs. Widths that
    do not meet make no run: the gap between them only makes such a run work less hard.
    """
    if method.per in ("axle", "lane"):
        return width
    if method.per == "wheel line":
        return 2.0 * width
    y = np.sort(np.asarray(wheels, dtype=float))
    if not method.union:
        return y.size * width
    intensity = np.zeros_like(width)
    for first in range(y.size):
        for last in range(first, y.size):
            cover = np.minimum(width + y[last] - y[first], most)
            intensity = np.maximum(intensity, (last - first + 1) / (y.size * cover))
    return np.asarray(1.0 / intensity)


def strip_train(deck: StripDeck, vehicle: Vehicle, strips: StripSet, focus: Focus) -> Train:
    """The vehicle on the strip, each axle with the width that its place has for the section.

    Raises MethodRangeError where the method is out of range in a bay next to the section or on
    the overhang that hangs from its support.
    """
    laws: dict[tuple[object, ...], WidthLaw] = {}
    loads = []
    for axle in vehicle.axles:
        key = (axle.patch, axle.wheels)
        if key not in laws:
            laws[key] = _law(deck, axle, strips, focus)
        length = strips.length(deck.span_input(axle, focus.bays[0]))
        loads.append(StripLoad(axle.at, axle.load * vehicle.impact, length, laws[key]))
    return Train(tuple(loads))


def _law(deck: StripDeck, axle: Axle, strips: StripSet, focus: Focus) -> WidthLaw:
    """The width that carries the axle, as a function of the station of its centre."""
    beam = deck.beam
    nodes = beam.nodes
    support = focus.support
    hangs = support is not None and deck.overhang(support) > 0
    if support is not None and hangs and beam.supports[support].k_rot == 0:
        # Only loads on the overhang bend the slab here; what divides the others does not matter.
        pieces = [_Piece(deck.slab_width)] * (nodes.size - 1)
    else:
        near = {bay: _in_bay(deck, axle, strips, focus, bay) for bay in focus.bays}
        if strips.width_of == "section":
            # One strip carries every axle; of two bays the narrower strip counts.
            least = min(piece.least for piece in near.values())
            pieces = [_Piece(least)] * (nodes.size - 1)
        else:
            # A node left of each length: bay -1 is an overhang at the start.
            bays = np.searchsorted([one.at for one in beam.supports], nodes[:-1], "right") - 1
            pieces = [
                near[bay] if bay in near else _elsewhere(deck, axle, strips, focus, bay, near)
                for bay in bays.tolist()
            ]
    if support is not None and hangs:
        pieces[0 if support == 0 else -1] = _on_overhang(deck, axle, strips, support)

    def everywhere(x: Floats) -> Floats:
        x = np.clip(x, nodes[0], nodes[-1])  # a patch may reach the slab from outside it
        length = np.clip(np.searchsorted(nodes, x, side="right") - 1, 0, nodes.size - 2)
        width = np.empty_like(x)
        for i, piece in enumerate(pieces):
            here = length == i
            if here.any():
                width[here] = piece.at(x[here])
        return width

    inner = [at for piece in pieces for at in piece.breaks]
    return WidthLaw(everywhere, np.unique([*nodes, *inner]))


@dataclass(frozen=True)
class _Piece:
    """The width along one length between nodes.

    least : its smallest value, and its only one without a question. question : see _Question;
    origin, sign : the position is sign * (x - origin). breaks : stations that resolve it.
    """

    least: float
    question: "_Question | None" = None
    origin: float = 0.0
    sign: float = 1.0
    breaks: tuple[float, ...] = ()

    def at(self, x: Floats) -> Floats:
        if self.question is None:
            return np.full(np.shape(x), self.least)
        return self.question.width(self.sign * (x - self.origin))


@dataclass(frozen=True)
class _Question:
    """A method asked about an axle's wheels on one span; hashable, so that equal bays share."""

    method: StripMethod
    one: StripInput
    wheels: tuple[float, ...]

    def width(self, position: Floats) -> Floats:
        assert self.method.width is not None
        width = self.method.width(replace(self.one, position=position))
        return axle_width(self.method, width, self.wheels, self.one.slab_width)

    def piece(self, origin: float, sign: float) -> _Piece:
        least, points = _resolved(self)
        return _Piece(least, self, origin, sign, tuple(origin + sign * at for at in points))


@lru_cache(maxsize=512)
def _resolved(question: _Question) -> tuple[float, tuple[float, ...]]:
    """Least width and the positions that resolve it; MethodRangeError outside the range."""
    span = question.one.span
    points = tuple(resolved(question.width, 0.0, span))
    return float(np.min(question.width(np.array([0.0, span])))), points


def _elsewhere(
    deck: StripDeck,
    axle: Axle,
    strips: StripSet,
    focus: Focus,
    bay: int,
    near: dict[int, _Piece],
) -> _Piece:
    """The width of a load that stands in no bay next to the section.

    Its own bay's where the method covers that bay; else, and on an overhang, the least width of
    the nearest bay next to the section.
    """
    fallback = _Piece(near[min(near, key=lambda i: abs(i - bay))].least)
    if not 0 <= bay < len(deck.beam.supports) - 1:
        return fallback
    try:
        return _in_bay(deck, axle, strips, focus, bay)
    except MethodRangeError:
        return fallback


def _in_bay(deck: StripDeck, axle: Axle, strips: StripSet, focus: Focus, bay: int) -> _Piece:
    """Positions count from the support whose hogging is wanted, or from the side towards it."""
    method = strips.sagging if focus.support is None else strips.hogging
    question = _Question(method, deck.span_input(axle, bay), axle.wheels)
    low, high = deck.beam.bay(bay)
    if focus.support is not None and bay < focus.support:
        return question.piece(high, -1.0)
    return question.piece(low, 1.0)


def _on_overhang(deck: StripDeck, axle: Axle, strips: StripSet, support: int) -> _Piece:
    line = deck.beam.supports[support]
    one = replace(
        deck.span_input(axle, 0 if support == 0 else support - 1),
        span=deck.overhang(support),
        ends="cantilever",
        support_width=line.width,
    )
    question = _Question(strips.overhang, one, axle.wheels)
    return question.piece(line.at, -1.0 if support == 0 else 1.0)
