"""The width that carries an axle, as a function of where the axle stands on the strip."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from pipelines.errors import MethodRangeError
from pipelines.standards.actions.loads import Axle, Vehicle
from pipelines.standards.strip_widths.method import StripInput, StripMethod
from pipelines.standards.strip_widths.sets import StripSet
from pipelines.strips.deck_strip import StripDeck
from pipelines.strips.piecewise import resolved
from pipelines.strips.trains import StripLoad, Train, WidthFunction
from plate.arrays import Floats

# Longest contact along traffic that is taken as one load [m].
PIECE = 1.0


@dataclass(frozen=True)
class SoughtSection:
    """The section whose moment is wanted.

    bays : those next to it; support : the line whose hogging is wanted, None for sagging in a bay.
    edge : where the strip runs along a free edge, the distance that its rule asks for: of the
        outermost wheel's centre, or what the rule itself names [m].
    """

    bays: tuple[int, ...]
    support: int | None = None
    edge: float | None = None


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


def edge_axle_width(
    method: StripMethod, width: Floats, wheels: Sequence[float], most: float
) -> Floats:
    """`axle_width` where the strip runs along a free edge beside the outermost wheel.

    width : already reduced for the edge. Wheels further in join it with their distance.
    """
    if method.per == "wheel line":
        return 2.0 * width
    if method.per != "wheel":
        return width
    y = np.sort(np.asarray(wheels, dtype=float))
    intensity = np.zeros_like(width)
    for last in range(y.size if method.union else 1):
        cover = np.minimum(width + y[last] - y[0], most)
        intensity = np.maximum(intensity, (last + 1) / (y.size * cover))
    return np.asarray(1.0 / intensity)


def strip_trains(
    deck: StripDeck, vehicle: Vehicle, strips: StripSet, focus: SoughtSection
) -> tuple[Train, ...]:
    """The vehicle on the strip; of several trains the hardest governs.

    Along traffic one train of axles, each with the width that its place has for the section.
    Across it one train for each run of axles that may act on one strip: wheels at their offsets,
    each with its width and the length of the run, since strips that overlap carry their loads
    together (common practice; the rules are for one load or one axle).

    Raises MethodRangeError where the method is out of range in a bay next to the section or on
    the overhang that hangs from its support.
    """
    if deck.bars == "parallel":
        return (strip_train(deck, vehicle, strips, focus),)
    laws: dict[tuple[object, ...], WidthFunction] = {}
    trains = []
    for run in axle_runs(deck, vehicle, strips, focus):
        spread = run[-1].at - run[0].at
        loads = []
        for axle in run:
            key = (axle.patch, spread)
            if key not in laws:
                laws[key] = _law(deck, axle, strips, focus, spread)
            length = strips.length(deck.span_input(axle, focus.bays[0]))
            wheel = axle.load * vehicle.impact / len(axle.wheels)
            # A forward vehicle's centre line stands at the train's station, its wheels beside it.
            loads += [StripLoad(-y, wheel, length, laws[key]) for y in axle.wheels]
        trains.append(Train(tuple(loads), axles=len(run)))
    return tuple(trains)


def axle_runs(
    deck: StripDeck, vehicle: Vehicle, strips: StripSet, focus: SoughtSection
) -> list[tuple[Axle, ...]]:
    """Runs of neighbouring axles, without those that another run of like wheels outdoes.

    A longer run brings more load, a shorter one less length; the width at hand decides.
    """
    axles = vehicle.axles
    runs = all_runs(vehicle)
    works = [_work(deck, run, strips, focus) for run in runs]
    kept: list[int] = []
    for i, run in enumerate(runs):
        wheels = {axle.wheels for axle in run}
        # Of runs that work alike the first stands for all; the rest must be outdone clearly where
        # contacts differ, because a shorter contact bends a strip a little more.
        margin = 1.0 if len({axle.patch for axle in axles}) == 1 else 1.1
        outdone = len(wheels) == 1 and any(
            {axle.wheels for axle in runs[k]} == wheels
            and (
                bool(np.all(works[k] >= margin * works[i] * (1.0 + 1e-12)))
                or (k in kept and np.allclose(works[k], works[i], rtol=1e-12))
            )
            for k in range(len(runs))
            if k != i
        )
        if not outdone:
            kept.append(i)
    return [runs[i] for i in kept]


def all_runs(vehicle: Vehicle) -> list[tuple[Axle, ...]]:
    """Every run of neighbouring axles."""
    axles = sorted(vehicle.axles, key=lambda axle: axle.at)
    count = len(axles)
    return [tuple(axles[i : k + 1]) for i in range(count) for k in range(i, count)]


def _work(
    deck: StripDeck, run: tuple[Axle, ...], strips: StripSet, focus: SoughtSection, samples: int = 9
) -> Floats:
    """Load over width of a run of axles at some places of a bay (samples,) [N/m]."""
    spread = run[-1].at - run[0].at
    total = np.zeros(samples)
    for axle in run:
        question = _bay_question(deck, axle, strips, focus, focus.bays[0], spread)
        total += axle.load / question.width(np.linspace(0.0, question.one.span, samples))
    return total


def strip_train(
    deck: StripDeck,
    vehicle: Vehicle,
    strips: StripSet,
    focus: SoughtSection,
    extent: float | None = None,
) -> Train:
    """The axles of a vehicle on a strip along traffic; see `strip_trains`.

    extent : where loads side by side, reaching so far between their centres [m], act on one strip:
        every axle has the method's width of one load and the extent. None = the axle by itself.
    """
    laws: dict[tuple[object, ...], WidthFunction] = {}
    loads = []
    for axle in in_pieces(vehicle):
        key = (axle.patch, axle.wheels)
        if key not in laws:
            laws[key] = _law(deck, axle, strips, focus, extent)
        length = strips.length(deck.span_input(axle, focus.bays[0]))
        loads.append(StripLoad(axle.at, axle.load * vehicle.impact, length, laws[key]))
    return Train(tuple(loads))


def in_pieces(vehicle: Vehicle) -> list[Axle]:
    """The axles, those with contacts longer than PIECE along traffic in pieces no longer: each
    piece of a track has the width of its own place on the strip."""
    found = []
    for axle in vehicle.axles:
        along, across = axle.patch
        count = int(np.ceil(along / PIECE - 1e-9))
        found += [
            replace(
                axle,
                at=axle.at + along * ((k + 0.5) / count - 0.5),
                load=axle.load / count,
                patch=(along / count, across),
            )
            for k in range(count)
        ]
    return found


def _law(
    deck: StripDeck,
    axle: Axle,
    strips: StripSet,
    focus: SoughtSection,
    spread: float | None = None,
) -> WidthFunction:
    """The width that carries the axle, as a function of the station of its centre.

    spread : length of the run of axles on a strip across traffic [m].
    """
    beam = deck.beam
    nodes = beam.nodes
    support = focus.support
    hangs = support is not None and deck.overhang(support) > 0
    if support is not None and hangs and beam.supports[support].k_rot == 0:
        # Only what stands on the overhang bends the slab here; a patch whose centre lies short of
        # the line still reaches over it and has the width of a load at the root.
        root = _on_overhang(deck, axle, strips, focus, support, spread).least
        pieces = [_Piece(least=root)] * (nodes.size - 1)
    else:
        near = {bay: _in_bay(deck, axle, strips, focus, bay, spread) for bay in focus.bays}
        if strips.width_of == "section":
            # One strip carries every axle; of two bays the narrower strip counts.
            least = min(piece.least for piece in near.values())
            pieces = [_Piece(least=least)] * (nodes.size - 1)
        else:
            # A node left of each length: bay -1 is an overhang at the start.
            bays = (
                np.searchsorted([carrier.at for carrier in beam.supports], nodes[:-1], "right") - 1
            )
            pieces = [
                near[bay]
                if bay in near
                else _elsewhere(deck, axle, strips, focus, bay, near, spread)
                for bay in bays.tolist()
            ]
    if support is not None and hangs:
        piece = _on_overhang(deck, axle, strips, focus, support, spread)
        pieces[0 if support == 0 else -1] = piece

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
    return WidthFunction(everywhere, np.unique([*nodes, *inner]))


@dataclass(frozen=True, kw_only=True)
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
    """A method asked about an axle's wheels on one span; hashable, so that equal bays share.

    spread : distance between the outermost of several loads side by side that share the width of
        one and this distance: of the axles of a run on a strip across traffic. None for a strip
        along traffic, where the axle's own wheels stand side by side.
    """

    method: StripMethod
    one: StripInput
    wheels: tuple[float, ...]
    spread: float | None = None

    def width(self, position: Floats) -> Floats:
        assert self.method.width is not None
        most = self.one.slab_width
        width = self.method.width(replace(self.one, position=position))
        if self.spread is not None:
            return np.minimum(width + self.spread, most)
        if self.one.edge_distance is not None:
            return edge_axle_width(self.method, width, self.wheels, most)
        return axle_width(self.method, width, self.wheels, most)

    def piece(self, origin: float, sign: float) -> _Piece:
        least, points = _resolved(self)
        return _Piece(
            least=least,
            question=self,
            origin=origin,
            sign=sign,
            breaks=tuple(origin + sign * at for at in points),
        )


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
    focus: SoughtSection,
    bay: int,
    near: dict[int, _Piece],
    spread: float | None,
) -> _Piece:
    """The width of a load that stands in no bay next to the section.

    Its own bay's where the method covers that bay; else, and on an overhang, the least width of
    the nearest bay next to the section.
    """
    fallback = _Piece(least=near[min(near, key=lambda i: abs(i - bay))].least)
    if not 0 <= bay < len(deck.beam.supports) - 1:
        return fallback
    try:
        return _in_bay(deck, axle, strips, focus, bay, spread)
    except MethodRangeError:
        return fallback


def _in_bay(
    deck: StripDeck,
    axle: Axle,
    strips: StripSet,
    focus: SoughtSection,
    bay: int,
    spread: float | None = None,
) -> _Piece:
    """Positions count from the support whose hogging is wanted, or from the side towards it."""
    question = _bay_question(deck, axle, strips, focus, bay, spread)
    low, high = deck.beam.bay(bay)
    if focus.support is not None and bay < focus.support:
        return question.piece(high, -1.0)
    return question.piece(low, 1.0)


def _bay_question(
    deck: StripDeck,
    axle: Axle,
    strips: StripSet,
    focus: SoughtSection,
    bay: int,
    spread: float | None,
) -> _Question:
    span_input = deck.span_input(axle, bay)
    method = strips.method(
        deck.bars, hogging=focus.support is not None, edge=focus.edge is not None
    )
    return _Question(method, replace(span_input, edge_distance=focus.edge), axle.wheels, spread)


def _on_overhang(
    deck: StripDeck,
    axle: Axle,
    strips: StripSet,
    focus: SoughtSection,
    support: int,
    spread: float | None,
) -> _Piece:
    line = deck.beam.supports[support]
    one = replace(
        deck.span_input(axle, 0 if support == 0 else support - 1),
        span=deck.overhang(support),
        ends="cantilever",
        support_width=line.width,
        edge_distance=focus.edge,
    )
    question = _Question(strips.overhang, one, axle.wheels, spread)
    return question.piece(line.at, -1.0 if support == 0 else 1.0)
