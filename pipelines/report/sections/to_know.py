"""What would have to be known to decide what a run leaves doubtful, from the deck and its findings.

Doubtful is what a plausible range would turn round: the strip's value lies in the plate's range
over the beams' stiffness, within the numerical tolerance, or beside a value that no strip has.
"""

from collections.abc import Iterator, Sequence

from pipelines.analysis.result import Result
from pipelines.deck.deck import Deck
from pipelines.deck.words import line_title
from pipelines.findings.effects import EffectFinding, State
from pipelines.findings.finding import Finding, chosen
from pipelines.numbers import number
from pipelines.standards.actions.load_models import family_of, load_models
from pipelines.strips.chosen import chosen_strip


def to_know(result: Result) -> tuple[str, ...]:
    """Sentences, what decides most first; each names the effects that it decides."""
    if not result.effects:
        return tuple(_without_strips(result))
    return tuple(
        (
            *_strip(result),
            *_traffic(result),
            *_families(result),
            *_beams(result),
            *_supports(result),
            *_tolerance(result),
            *_without_a_strip(result),
        )
    )


def _strip(result: Result) -> Iterator[str]:
    row = result.effects[0].row
    if chosen_strip(result.deck, row.load).stated is None:
        yield (
            f"Which strip the design stands on: {row.hand.strip} is assumed. Its width or moments, "
            "by section, go into [strip]. Decides all of the above."
        )


def _traffic(result: Result) -> Iterator[str]:
    rows = [one.row for one in result.effects]
    if any(row.whole_model for row in rows):
        return
    traffic = result.deck.required_traffic
    families = {family_of(vehicle.name) for vehicle in traffic.vehicles} - {None}
    models = [name for name in load_models if family_of(name) in families]
    which = f" ({models[0]})" if models else ""
    yield (
        "The whole traffic of the standard that the strip was designed for: lanes and distributed "
        f"loads, load_models in [traffic]{which}. Under single vehicles nothing can be said to "
        "hold, and what is short may be short by more."
    )


def _families(result: Result) -> Iterator[str]:
    """Loads of another standard than those that decide, beside its own strip."""
    own = {family_of(one.row.load) for one in result.effects}
    whole = any(one.row.whole_model for one in result.effects)
    counted = [one for one in chosen(result.findings) if one.whole_model == whole]
    for load in dict.fromkeys(one.load for one in counted):
        if family_of(load) in {*own, None}:
            continue
        rows = [one for one in counted if one.load == load and one.is_short]
        if rows:
            worst = min(rows, key=lambda one: one.ratio or 0.0)
            yield (
                f"Which standard's traffic the strip was designed for: under {load} "
                f"{worst.hand.strip} is {worst.words.removeprefix('strip ')} at {worst.place} "
                f"({worst.section.effect}; findings.csv)."
            )


def _beams(result: Result) -> Iterator[str]:
    """Beams whose stiffness, within half and twice, turns a finding round."""
    turned = [one for one in result.effects if _turns(one.row)]
    if not turned:
        return
    names = _named(result.deck)
    named = "; ".join(_range(one) for one in turned)
    held = any(not at.k_rot for line in result.deck.lines for at in line.held_at)
    fixity = ", and how far their ends are held (k_rot_kNm_rad; here not)" if held else ""
    yield (
        f"How stiff the {names} are, whether they act with the slab, and whether it is cracked"
        f"{fixity}: between half and twice the stiffness these findings turn round: {named}. "
        "deckslab sweep shows where."
    )


def _turns(row: Finding) -> bool:
    span = row.plate.beam_range
    if span is None or row.ratio is None or row.hand.value is None:
        return False
    low, high = sorted(map(abs, span))
    return low <= abs(row.hand.value) <= high


def _range(one: EffectFinding) -> str:
    low, high = one.row.plate.beam_range or (0.0, 0.0)
    strip = number(1e-3 * (one.row.hand.value or 0.0))
    return f"{one.effect} (plate {number(1e-3 * low)} to {number(1e-3 * high)}, strip {strip})"


def _named(deck: Deck) -> str:
    kinds = [
        line_title(deck, line.name).removesuffix(f" {line.name}")
        for line in deck.lines
        if line.beam is not None
    ]
    return " and ".join(f"{kind}s" for kind in dict.fromkeys(kinds))


def _supports(result: Result) -> Iterator[str]:
    """Lines without a width, where hogging over them is short at the centre line."""
    names = [
        line_title(result.deck, name)
        for one in result.effects
        if one.state in (State.SHORT, State.EVEN) and one.row.section.kind == "hogging"
        for name in one.row.section.lines
        if (line := result.deck.line(name)) is not None and not line.width
    ]
    if names:
        yield (
            f"How wide the supports are (width_mm of {', '.join(dict.fromkeys(names))}): hogging "
            "is read at the centre line, at the face it is less. Decides hogging over lines."
        )


def _tolerance(result: Result) -> Iterator[str]:
    even = [one.effect for one in result.effects if one.state is State.EVEN]
    if even:
        yield (
            f"A finer mesh (error in [mesh]): the difference is within the numerical tolerance. "
            f"Decides {', '.join(even)}."
        )


def _without_a_strip(result: Result) -> Iterator[str]:
    alone = [one.effect for one in result.effects if one.state is State.NOT_COMPARABLE]
    if not alone:
        return
    if result.design is None:
        what = "The bars there ([[bars]], [[concrete]], [[steel]])"
    else:
        what = "Nothing of the strip: the bars are judged there, see below"
    yield f"{what}: no hand strip gives these. Decides {_listed(alone)}."


def _without_strips(result: Result) -> Iterator[str]:
    if result.deck.traffic is None:
        yield "The traffic: the deck file has no [traffic]."
    elif result.design is None:
        yield (
            "The bars ([[bars]], [[concrete]], [[steel]]): with no strip to compare they alone say "
            "whether the slab is enough for the values above."
        )


def _listed(names: Sequence[str]) -> str:
    return ", ".join(names)
