"""The plate's values at design sections, under the loads that govern them and are held."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipelines.deck.deck import Deck
from pipelines.deck.variants import BEAM_RANGE, with_beam_factor
from pipelines.envelopes.extremes import FieldEnvelope
from pipelines.model.build import Near, build_model
from pipelines.model.cache import ModelCache
from pipelines.model.fixed_loads import groups_under, values_under
from pipelines.model.responses import SolvedDeck
from pipelines.strips.frame import Frame
from pipelines.strips.hand_strip import HandStrip
from pipelines.strips.hand_values import HandStrips
from pipelines.strips.sections import Section
from pipelines.traffic.arrangements import Arrangement
from pipelines.traffic.positions import WheelPatches
from plate.arrays import Floats
from plate.results.fields import N_RESULTS
from plate.results.functionals import component_rows, result_rows
from plate.results.places import BESIDE, StraightLine, at_points, side_of

# Beside a section that is on no mesh points the peak is sought so near to that of the points [m].
NEAR = 0.6
# No part of the deck has cells as fine as its wheels ask.
NOWHERE = Near((np.inf, np.inf), (np.inf, np.inf))
# Thicknesses over which a mean is always given (of the kind of Swedish practice, from memory).
MEAN_DEPTHS = 3.0


@dataclass(frozen=True, kw_only=True)
class Source:
    """What loads a deck and its strip: one vehicle, or all of a load model.

    envelope : the plate's; hands : its hand strips; position : a load position by its number.
    held : the loads where readings are governed. joint : (n_point,) factors near joints that
    the envelope's values have.
    """

    name: str
    whole_model: bool
    envelope: FieldEnvelope
    hands: HandStrips
    position: Callable[[int], Arrangement | None]
    held: Callable[[Sequence["Reading"]], list[WheelPatches]]
    joint: Floats


@dataclass(frozen=True, kw_only=True)
class Reading:
    """The plate's peak on the sections of one place, by its field points."""

    section: Section
    value: float
    point: int
    number: int
    coexisting: Floats

    @property
    def place(self) -> tuple[int, int, int, int]:
        """Field point, index in RESULTS, sign and number of the load position."""
        return self.point, self.section.component, self.section.sign, self.number


@dataclass(frozen=True, kw_only=True)
class Wanted:
    """What is read where a reading governs: the line s = const through the peak, the widths of
    means on it, at most the slab [m], and the loads held."""

    source: Source
    reading: Reading
    held: WheelPatches
    s: float
    hands: tuple[HandStrip, ...]
    widths: tuple[float | None, ...]


@dataclass(frozen=True, kw_only=True)
class Found:
    """The plate's peak of a reading: all six results there, its plan point and one beside it on
    the side that is read, the means over the strips' widths and over some thicknesses, and the sum
    over the line. beam_range : as in `Finding`."""

    results: Floats
    point: tuple[float, float]
    means: tuple[float | None, ...]
    depth_mean: float
    total: float
    inner: Floats
    beam_range: tuple[float, float] | None = None


def peak_reading(group: Sequence[Section], envelope: FieldEnvelope) -> Reading:
    """The worst of the sections of one place; number -1 where nothing loads it."""
    extremes = envelope.extremes
    best = None
    for section in group:
        if not len(section.points):
            continue
        k = section.component
        if section.sign > 0:
            values, at, coexisting = extremes.maximum, extremes.at_maximum, envelope.with_maximum
        else:
            values, at, coexisting = extremes.minimum, extremes.at_minimum, envelope.with_minimum
        point = int(section.points[np.argmax(section.sign * values[k, section.points])])
        value = float(values[k, point])
        if best is None or abs(value) > abs(best.value):
            best = Reading(
                section=section,
                value=value,
                point=point,
                number=int(at[k, point]),
                coexisting=coexisting[k, 1:4, point],
            )
    assert best is not None
    return best


def wanted_at(at: Frame, source: Source, reading: Reading, held: WheelPatches) -> Wanted:
    """What is to be read of a reading, and the hand strips beside it."""
    section = reading.section
    s = float(at.s[reading.point]) if section.s is None else section.s
    chosen = source.hands.at(section, _bay_at(at, s) if section.kind == "edge" else None)
    factor = float(source.joint[reading.point])
    chosen = tuple(
        one if one.value is None else replace(one, value=factor * one.value) for one in chosen
    )
    low, high = at.t_range(s)
    widths = tuple(
        None if not one.width or one.value is None else min(one.width, high - low) for one in chosen
    )
    return Wanted(source=source, reading=reading, held=held, s=s, hands=chosen, widths=widths)


def _bay_at(at: Frame, s: float) -> int:
    supports = at.strip.beam.supports
    return int(np.clip(sum(support.at < s for support in supports) - 1, 0, len(supports) - 2))


def found_values(at: Frame, solved: SolvedDeck, wanted: Sequence[Wanted]) -> list[Found]:
    """The values of all readings: one solution for each load, and the same with softer and with
    stiffer beams."""
    mesh = solved.model.mesh
    lines = {s: StraightLine.between(mesh, at.line(s)) for s in {round(one.s, 9) for one in wanted}}
    kinds = {s: _kinds_on([one for one in wanted if round(one.s, 9) == s]) for s in lines}
    rows = [result_rows(solved.model, line.places, kinds[s]) for s, line in lines.items()]
    held, number = _distinct([one.held for one in wanted])
    places = list(lines)
    which = [places.index(round(one.s, 9)) for one in wanted]
    values = groups_under(solved.stiffness, held, rows, list(zip(which, number, strict=True)))
    found = []
    for asked, own in zip(wanted, values, strict=True):
        s = round(asked.s, 9)
        tried = np.full((len(lines[s].share), N_RESULTS), np.nan)
        tried[:, kinds[s]] = own.reshape(len(tried), -1)
        found.append(_found(at, solved, asked, lines[s], tried))
    components = [one.reading.section.component for one in wanted]
    others = _with_other_beams(
        solved.deck, solved.models, held, number, [one.inner for one in found], components
    )
    if not others:
        return found
    ranged = []
    for k, (one, component) in enumerate(zip(found, components, strict=True)):
        value = float(one.results[component])
        three = [value, *(value + float(other[k]) for other in others)]
        ranged.append(replace(one, beam_range=(min(three), max(three))))
    return ranged


def _kinds_on(wanted: Sequence[Wanted]) -> list[int]:
    """The results that are read on a line: those sought, and all where the peak lies amid mesh
    points, which have none of them."""
    if any(one.reading.section.s is not None for one in wanted):
        return list(range(N_RESULTS))
    return sorted({one.reading.section.component for one in wanted})


def _distinct(loads: Sequence[WheelPatches]) -> tuple[list[WheelPatches], list[int]]:
    """Each load once, and of every one given its number among these."""
    known: dict[tuple[bytes, bytes], int] = {}
    kept: list[WheelPatches] = []
    numbers = []
    for load in loads:
        key = (load.corners.tobytes(), load.load.tobytes())
        if key not in known:
            known[key] = len(kept)
            kept.append(load)
        numbers.append(known[key])
    return kept, numbers


def _window(at: Frame, s: float, t: float, width: float) -> tuple[float, float]:
    """The width about t, moved inward where it would leave the slab, at most the slab."""
    low, high = at.t_range(s)
    width = min(width, high - low)
    start = min(max(t - 0.5 * width, low), high - width)
    return start, start + width


def _found(at: Frame, solved: SolvedDeck, one: Wanted, line: StraightLine, tried: Floats) -> Found:
    """tried : (n, 6) results along the line, not a number where they are not read."""
    section, reading = one.reading.section, one.reading
    low, high = at.t_range(one.s)
    t = float(at.t[reading.point])
    if section.s is not None:
        # Not on mesh points: the peak is the largest of those tried near that of the points, no
        # nearer to an edge than they are, where some are tried there.
        places = low + line.share * (high - low)
        near = np.abs(places - t) < NEAR
        within = near & (places >= at.t[section.points].min())
        within &= places <= at.t[section.points].max()
        near = within if within.any() else near
        k = int(np.argmax(np.where(near, section.sign * tried[:, section.component], -np.inf)))
        results, t = tried[k], float(places[k])
        inner = at.points(one.s, t)
    else:
        results = np.array([0.0, *reading.coexisting, 0.0, 0.0])
        results[section.component] = reading.value
        own = at.points(at.s[reading.point], t)
        towards = side_of(solved.model.mesh, solved.recovery.points, reading.point)
        inner = own + BESIDE * (towards - own)
    x, y = at.points(one.s if section.s is not None else at.s[reading.point], t)

    def mean(width: float) -> float:
        start, end = ((v - low) / (high - low) for v in _window(at, one.s, t, width))
        return line.mean(tried[:, section.component], start, end)

    return Found(
        results=results,
        point=(float(x), float(y)),
        means=tuple(None if width is None else mean(width) for width in one.widths),
        depth_mean=mean(min(MEAN_DEPTHS * at.strip.depth, high - low)),
        total=mean(high - low) * (high - low),
        inner=inner,
    )


def _with_other_beams(
    deck: Deck,
    models: ModelCache,
    held: Sequence[WheelPatches],
    number: Sequence[int],
    points: Sequence[Floats],
    components: Sequence[int],
) -> list[Floats]:
    """What softer and stiffer beams add to the held values (n,); nothing without beams.

    The difference is smooth, so wide cells give it.
    """
    if not any(line.beam for line in deck.lines):
        return []
    wide = replace(deck, cases=(), probes=())
    own = build_model(wide, NOWHERE).model
    rows = component_rows(own, at_points(own.mesh, np.array(points)), components)
    found = []
    for factor in (1.0, *BEAM_RANGE):
        # The mesh and the slab are the same, so the rows are too.
        beams = build_model(with_beam_factor(wide, factor), NOWHERE).model.beams
        stiffness = models.stiffness(replace(own, beams=beams))
        found.append(values_under(stiffness, held.__getitem__, rows, number))
    return [one - found[0] for one in found[1:]]
