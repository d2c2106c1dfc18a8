"""A load test in words: how well the model answers, what was found, what the readings cannot
tell."""

from collections.abc import Iterator

import numpy as np

from pipelines.deck.deck import Deck
from pipelines.deck.load_test import UNITS, Reading, Stiffness
from pipelines.loadtest.fit import Fit
from pipelines.loadtest.outcome import Found, Outcome
from pipelines.numbers import number
from plate.arrays import Floats

# An interval that reaches over so many times its lower end says little.
WIDE = 10.0
UNLIKE = 3.0  # standard deviations by which a reading differs


def answer_words(outcome: Outcome, computed: Floats) -> str:
    """How well the model answers, and the largest difference with its place."""
    parts = [
        f"{number(one.ratio)} times the measured {one.quantity}s"
        for one in outcome.agreement(computed)
    ]
    i, reading = outcome.worst(computed)
    unit = UNITS[reading.quantity]
    c, m = computed[i] / unit.scale, reading.value / unit.scale
    share = "" if m == 0.0 else f" ({number(100.0 * (c / m - 1.0))} %)"
    return (
        f"the model gives {', '.join(parts)} on average; the largest difference is at "
        f"{reading.place} under {reading.position}: {reading.words} measured {number(m)}, computed "
        f"{number(c)} {unit_words(reading)}{share}"
    )


def unit_words(reading: Reading) -> str:
    """The unit of a reading in print."""
    return {"1e-6": "µm/m"}.get(UNITS[reading.quantity].name, UNITS[reading.quantity].name)


def lead(outcome: Outcome) -> str:
    """The first sentence: how well the model answers as the deck file has it."""
    return f"With the deck as its file describes it, {answer_words(outcome, outcome.computed)}."


def fit_words(outcome: Outcome) -> Iterator[str]:
    """What was found, and what is to be known of it, a sentence each."""
    fit, fitted = outcome.fit, outcome.fitted
    if fit is None or fitted is None:
        return
    yield f"With the stiffnesses found, {answer_words(outcome, fitted)}."
    names = [one.unknown.name for one in outcome.found]
    for who, rho in fit.together:
        yield _together_words([names[k] for k in who], rho)
    joined = {k for who, _ in fit.together for k in who}
    for k, found in enumerate(outcome.found):
        if fit.at_bound[k]:
            yield (
                f"{found.unknown.name} is at its bound, {number(found.factor)} times the deck "
                "file's value: the readings ask for more than is allowed, or something else than "
                "this stiffness is different; it is held there, and has no interval."
            )
        elif k not in joined and not found.is_told:
            yield f"No reading depends on {found.unknown.name}: it stays as it was."
        elif found.low is not None and found.high is not None and found.high > WIDE * found.low:
            yield (
                f"The readings say little of {found.unknown.name}: {interval_words(found)} times "
                "the deck file's value."
            )
    yield from _left_over(outcome, fit, fitted)


def _together_words(names: list[str], rho: float) -> str:
    told = " and ".join([", ".join(names[:-1]), names[-1]])
    if len(names) > 2:
        return f"The readings cannot tell {told} apart: know all but one of them by other means."
    way = "one larger and the other smaller" if rho < 0.0 else "both larger or both smaller"
    return (
        f"The readings cannot tell {told} apart (correlation {number(rho)}): {way} answers them as "
        "well; know one of them by other means."
    )


def _left_over(outcome: Outcome, fit: Fit, fitted: Floats) -> Iterator[str]:
    """What the differences left over say."""
    readings = outcome.test.readings
    if any(one.accuracy is None for one in readings):
        unit = UNITS[readings[0].quantity]
        yield (
            f"The intervals stand on the differences left over, {number(fit.spread / unit.scale)} "
            f"{unit_words(readings[0])} (standard deviation, {fit.freedom} degrees of freedom): "
            "no accuracy is stated."
        )
        return
    if fit.too_large:
        yield (
            f"The differences left over are {number(fit.spread)} times the accuracy stated: the "
            "model is wrong in something else than these stiffnesses, or the readings are less "
            "accurate than stated. The intervals are made wider by as much."
        )
    else:
        yield (
            f"The differences left over are {number(fit.spread)} times the accuracy stated: the "
            "model with these stiffnesses explains the readings."
        )
    accuracy = np.array([one.accuracy for one in readings])
    off = np.abs(fitted - outcome.measured) / accuracy
    i = int(np.argmax(off))
    if off[i] > UNLIKE:
        one = readings[i]
        yield (
            f"The {one.words} at {one.place} under {one.position} is {number(float(off[i]))} times "
            "its accuracy off: look at that gauge."
        )


def interval_words(found: Found) -> str:
    """The interval of a factor."""
    if found.low is None or found.high is None:
        return found.state
    return f"{number(found.low)} to {number(found.high)}"


def value_words(deck: Deck, stiffness: Stiffness) -> str:
    """The value of a stiffness of a deck, "" where lines or points that share it differ."""
    values = {f"{number(value)} {unit}" for value, unit in _values(deck, stiffness)}
    return values.pop() if len(values) == 1 else ""


def _values(deck: Deck, stiffness: Stiffness) -> Iterator[tuple[float, str]]:
    kind, on = stiffness.kind, stiffness.on
    if kind == "slab E":
        yield deck.slab.E / 1e9, "GPa"
    elif kind == "slab thickness":
        yield 1e3 * deck.slab.thickness, "mm"
    for point in deck.points:
        if kind == "point k" and point.name in on:
            yield point.k / 1e3, "kN/m"
    for line in deck.lines:
        if line.name not in on:
            continue
        if kind == "spring k":
            yield line.k / 1e3, "kN/m²"
        elif kind == "spring k_rot":
            yield line.k_rot / 1e3, "kNm/rad/m"
        for held in line.held_at:
            if kind == "hold k" and np.isfinite(held.k):
                yield held.k / 1e3, "kN/m"
            elif kind == "hold k_rot" and held.k_rot > 0.0:
                yield held.k_rot / 1e3, "kNm/rad"
        if line.beam is not None:
            if kind == "beam EI":
                yield line.beam.E * line.beam.I / 1e6, "MNm²"
            elif kind == "beam E":
                yield line.beam.E / 1e9, "GPa"
            elif kind == "connection k":
                yield line.beam.connection / 1e3, "kN/m²"


def cautions(outcome: Outcome) -> Iterator[str]:
    """What the comparison leaves out."""
    for name, share in outcome.off_slab.items():
        yield (
            f"At {name} {number(100.0 * share)} % of the vehicle's weight stands beside the slab "
            "and does not act."
        )
    deck = outcome.deck
    if any(line.lifts or any(h.lifts for h in line.held_at) for line in deck.lines) or any(
        point.lifts for point in deck.points
    ):
        yield "Supports that may let go are taken to hold: readings and model are linear."
    if deck.traffic is None:
        yield "There is no [traffic]: wheels press where they touch, without dispersal."
