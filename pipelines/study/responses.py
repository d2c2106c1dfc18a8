"""What a study keeps of a deck: values of summary.json by their way, strip moments, hand widths.

path     a value of summary.json, with its numerical tolerance where the summary states one
strip    the moment [kNm] of the case's load on a beam as wide as the deck: continuous over rigid
         lines at the cross lines, under the load, which is spread over the patch's length. Over a
         plate moment per metre it gives the effective width. The load stands where the case's patch
         nearest to the edge stands in its bay, or at place_in_bay: an axle on a skew deck has its
         worst place not where a wheel by itself has it, a strip always at midspan.
hand     the width [m] by which that strip moment must be divided to give what a hand method (also
         one of the user's own) gives for the same tyres: the method's own width, corrected where it
         spreads the load over another length. Empty where the method is outside its range.
formula  of parameters, lengths of the reference and responses named before it; its tolerance is
         the sum of the changes that the tolerances of those make in it.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from difflib import get_close_matches
from math import isfinite, tan
from typing import Any

import numpy as np

from pipelines.deck.cases import Case
from pipelines.deck.deck import Deck
from pipelines.errors import MethodRangeError
from pipelines.standards.actions.loads import Axle
from pipelines.standards.strip_widths.method import StripMethod
from pipelines.standards.strip_widths.sets import StripSet
from pipelines.strips.axle_widths import axle_width
from pipelines.strips.beam import moment_lines
from pipelines.strips.deck_strip import StripDeck, strip_deck
from pipelines.strips.hand_values import carried
from pipelines.strips.methods import all_sets
from pipelines.strips.trains import StripLoad, Train, response
from pipelines.study.groups import Reference, in_bay
from pipelines.study.spec import NowhereError, Response, StudyError, Value

# Names told where a way leads nowhere.
MOST_TOLD = 12
Way = tuple[str | int | tuple[tuple[str, Value], ...], ...]


@dataclass(frozen=True)
class Read:
    """A value and its numerical tolerance, both in the response's unit; None = not known."""

    value: float | None
    error: float | None = None


def read_responses(
    responses: tuple[Response, ...],
    summary: dict[str, Any],
    deck: Deck,
    reference: Reference | None,
    known: Mapping[str, Value],
) -> dict[str, Read]:
    """All responses of a deck by name.

    known : parameters and lengths of the reference, for formulas.

    Raises NowhereError for a way that leads nowhere, MethodRangeError for a deck without a strip.
    """
    found: dict[str, Read] = {}
    if reference is not None:
        reference = in_bay(reference, known)
    for one in responses:
        if one.way:
            found[one.name] = _at_way(one, summary)
        elif one.formula is not None:
            found[one.name] = _computed(one, known, found)
        elif one.strip is not None:
            assert reference is not None, "a strip without a reference"
            found[one.name] = Read(strip_moment(deck, reference, *one.strip) / 1e3, 0.0)
        elif one.hand is not None:
            assert reference is not None, "a hand method without a reference"
            found[one.name] = _hand_read(one.name, deck, reference, one.hand)
    return found


def _hand_read(
    name: str, deck: Deck, reference: Reference, hand: tuple[str, str, float | None]
) -> Read:
    try:
        return Read(hand_width(deck, reference, *hand), 0.0)
    except NowhereError as nowhere:
        raise NowhereError(f"response {name}: {nowhere}") from None


def _at_way(one: Response, summary: dict[str, Any]) -> Read:
    try:
        above = walk(summary, one.way[:-1])
        value = walk(above, one.way[-1:])
    except NowhereError as nowhere:
        raise NowhereError(f"response {one.name}: {nowhere}") from None
    if value is None:
        return Read(None)
    if isinstance(value, bool | str | list | dict):
        raise StudyError(f"response {one.name}: {_words(one.way)} is not a number")
    error = above.get("error") if isinstance(above, dict) else None
    if isinstance(error, dict):
        error = error.get(one.way[-1])
    elif one.way[-1] != "value":
        error = None
    if isinstance(above, dict) and one.way[-1] == "plate_peak_kNm_m":
        error = above.get("plate_error_kNm_m")
    return Read(_finite(value), None if error is None else _finite(error))


def walk(place: Any, way: Way) -> Any:
    """What lies at the end of a way of keys, of numbers from 1 and of matches of entries.

    Raises NowhereError naming the part that is not there and what is there instead.
    """
    for part in way:
        if isinstance(place, dict) and isinstance(part, str):
            if part not in place:
                raise NowhereError(f'"{part}" is not in the summary; {_some(part, list(place))}')
            place = place[part]
        elif isinstance(place, list) and isinstance(part, tuple):
            matches = [e for e in place if all(e.get(k) == v for k, v in part)]
            if not matches:
                known = dict.fromkeys(tuple(str(e.get(k)) for k, _ in part) for e in place)
                wanted, there = ", ".join(str(v) for _, v in part), [", ".join(k) for k in known]
                raise NowhereError(
                    f"no entry of the summary has {dict(part)}; of its entries "
                    f"{_some(wanted, there) if there else 'there are none'}"
                )
            place = matches[0]
        elif isinstance(place, list) and str(part).isdecimal() and int(str(part)) >= 1:
            if int(str(part)) > len(place):
                raise NowhereError(f"entry {part} of {len(place)} is not in the summary")
            place = place[int(str(part)) - 1]
        else:
            raise NowhereError(f"{part} leads nowhere in the summary")
    return place


def _some(wanted: str, names: list[str]) -> str:
    """What there is, the nearest to what is wanted first."""
    known = get_close_matches(wanted, names, n=3, cutoff=0.4)
    known += [name for name in names if name not in known]
    return f"there are {', '.join(known[:MOST_TOLD])}{', ...' if len(known) > MOST_TOLD else ''}"


def _words(way: Way) -> str:
    return ".".join(str(dict(p)) if isinstance(p, tuple) else str(p) for p in way)


def _finite(value: float) -> float | None:
    return float(value) if isfinite(value) else None


def _computed(one: Response, known: Mapping[str, Value], found: Mapping[str, Read]) -> Read:
    assert one.formula is not None
    values: dict[str, Any] = {**known, **{name: read.value for name, read in found.items()}}
    value = float(one.formula(values))
    error = 0.0
    for name in one.formula.names:
        if name not in found:
            continue
        read = found[name]
        if read.value is None or read.error is None:
            return Read(_finite(value))
        ends = [read.value - read.error, read.value + read.error]
        error += max(abs(float(one.formula({**values, name: end})) - value) for end in ends)
    return Read(_finite(value), _finite(error))


def _case(deck: Deck, name: str) -> Case:
    case = next((c for c in deck.cases if c.name == name), None)
    if case is None or not case.patches:
        raise StudyError(f"case {name} has no patches")
    return case


def _strip(deck: Deck, reference: Reference) -> StripDeck:
    return replace(strip_deck(deck), surfacing=reference.surfacing)


def _axle(
    deck: Deck, reference: Reference, case: Case, place: float | None
) -> tuple[float, list[tuple[float, float]]]:
    """Station on the bay's own scale at which the strip is loaded, and of every patch the distance
    along from the one nearest to the edge and its offset [m].

    A hand strip has its span along traffic; an axle stands at one place of it also on a skew deck.
    """
    plan = deck.plan
    sign = 1.0 if reference.edge == "left" else -1.0
    nearest = min(case.patches, key=lambda p: sign * p.at[1])
    u = nearest.at[0] - nearest.at[1] * tan(float(plan.skew))
    if place is not None:
        low, high = deck.stations[reference.bay - 1 : reference.bay + 1]
        u = low + place * (high - low)
    return u, [(p.at[0] - nearest.at[0], p.at[1]) for p in case.patches]


def strip_moment(deck: Deck, reference: Reference, name: str, place: float | None = None) -> float:
    """Sagging moment of the whole case on the strip's beam [N m].

    place : in the bay, as a share of it; None = where the case's patch nearest to the edge stands.
    """
    case = _case(deck, name)
    u, places = _axle(deck, reference, case, place)
    lines = moment_lines(_strip(deck, reference).beam, [u], "right")
    total = 0.0
    for patch, (along, _) in zip(case.patches, places, strict=True):
        train = Train((StripLoad(0.0, patch.load, patch.size[0]),))
        total += float(response(lines, train, "forward").at(u + along)[0, 0])
    return total


def hand_width(
    deck: Deck, reference: Reference, strips: str, name: str, place: float | None = None
) -> float | None:
    """The strip moment of the case over the moment per metre that a strip set gives it [m].

    The tyres are the patches less the spread through surfacing and half the slab; all patches of
    the case are wheels of one axle; one patch is a
    wheel by itself. None where the method is outside its range, where a patch is
    smaller than its spread, and where the strip of an axle would reach over the slab's edge.
    """
    found = _method(deck, strips)
    case = _case(deck, name)
    u, places = _axle(deck, reference, case, place)
    alike = len({(p.size, p.load) for p in case.patches}) == 1
    if any(abs(along) > 1e-9 for along, _ in places) or not alike:
        raise StudyError(f"case {name}: its patches are not the wheels of one axle")
    strip = _strip(deck, reference)
    spread = 2.0 * strip.surfacing + strip.depth
    contact = (case.patches[0].size[0] - spread, case.patches[0].size[1] - spread)
    if min(contact) <= 0.0:
        return None
    try:
        return _hand(deck, strip, found, case, u, contact)
    except MethodRangeError:
        return None


def _method(deck: Deck, name: str) -> StripSet | StripMethod:
    """The set of widths of that name, or the rule for sagging moments of the user's own."""
    sets = {one.name: one for one in all_sets(deck)}
    rules = {one.standard: one for one in deck.own.strips.moments if one.effect == "sagging"}
    if name not in sets and name not in rules:
        raise NowhereError(f'no strip method "{name}"; {_some(name, [*sets, *rules])}')
    return sets.get(name) or rules[name]


def _hand(
    deck: Deck,
    strip: StripDeck,
    strips: StripSet | StripMethod,
    case: Case,
    u: float,
    contact: tuple[float, float],
) -> float | None:
    stations = [s.at for s in strip.beam.supports]
    bay = int(np.searchsorted(stations, u, side="right")) - 1
    if not 0 <= bay < len(stations) - 1:
        return None
    offsets = tuple(p.at[1] for p in case.patches)
    axle = Axle(0.0, sum(p.load for p in case.patches), offsets, contact)
    one = replace(strip.span_input(axle, bay), position=u - stations[bay])
    left, right = float(deck.plan.outline[:, 1].min()), float(deck.plan.outline[:, 1].max())
    edge = min(min(offsets) - left, right - max(offsets))
    if len(offsets) == 1:
        one = replace(one, edge_distance=edge)
    if isinstance(strips, StripMethod):
        assert strips.moment is not None
        moment = float(strips.moment(one, carried(strips, axle)))
        return axle.load * _sagging(strip, u, case.patches[0].size[0]) / moment
    method = strips.sagging
    if method.width is None or (method.per == "axle" and len(offsets) == 1):
        return None  # a strip that carries an axle says nothing of a single wheel
    width = method.width(one)
    if len(offsets) > 1 and method.per == "wheel" and edge < 0.5 * float(width):
        return None
    width_of_axle = float(axle_width(method, width, offsets, one.slab_width))
    as_spread, by_method = (
        _sagging(strip, u, length) for length in (case.patches[0].size[0], strips.length(one))
    )
    return width_of_axle * as_spread / by_method


def _sagging(strip: StripDeck, u: float, length: float) -> float:
    """Moment [m] at a station under a load of one there, spread over a length [m]."""
    lines = moment_lines(strip.beam, [u], "right")
    return float(response(lines, Train((StripLoad(0.0, 1.0, length),)), "forward").at(u)[0, 0])


def target_missed(reads: Mapping[str, Read], target: float) -> str:
    """The response whose tolerance is furthest above the target, in words; "" if none is."""
    worst, name = target, ""
    for one, read in reads.items():
        if read.value is not None and read.error is not None and read.value != 0.0:
            share = read.error / abs(read.value)
            if share > worst:
                worst, name = share, one
    return f"{name} within {100.0 * worst:.3g} % only" if name else ""
