"""All hand strips of a deck under its traffic."""

from pipelines.deck.deck import Deck
from pipelines.errors import MethodRangeError
from pipelines.standards.actions.loads import LoadModel, alone
from pipelines.standards.resistance.bars import FACES, Direction
from pipelines.standards.strip_widths.method import Bars
from pipelines.strips.chosen import chosen_strip
from pipelines.strips.clearances import centre_limits
from pipelines.strips.deck_strip import StripDeck, strip_decks
from pipelines.strips.hand_values import HandStrips
from pipelines.strips.lanes import LaneStrips
from pipelines.strips.load_models import model_moments, model_shears
from pipelines.strips.methods import sets_for, shear_methods_for
from pipelines.strips.moments import StripMoment, strip_moments
from pipelines.strips.shears import StripShear, strip_shears

# Share of the thickness that the effective depth is taken as while no bars are given.
DEPTH_SHARE = 0.8
# The load model whose moments AASHTO's table A4-1 holds.
DECK_TABLE_MODEL = "AASHTO HL-93 axles"


def hands_of(deck: Deck) -> dict[tuple[Bars, str], HandStrips]:
    """All hand strips of a deck, by the strip's bars and the name of what is under it: every load
    model, and every vehicle that drives alone. None where the deck has no strip or no traffic."""
    if deck.traffic is None:
        return {}
    try:
        strips = strip_decks(deck)
    except MethodRangeError:
        return {}
    return {
        (strip.bars, name): hands_under(deck, strip, model)
        for strip in strips
        for case in deck.traffic.cases
        for name, model in apart(case).items()
    }


def apart(case: LoadModel) -> dict[str, LoadModel]:
    """What of a case of traffic is under a strip at a time, by name: a load model, or each of the
    vehicles that drive alone."""
    if case.whole:
        return {case.name: case}
    return {kind.name: alone(kind.vehicles) for kind in case.kinds}


def hands_under(deck: Deck, strip: StripDeck, model: LoadModel) -> HandStrips:
    """All hand strips of a deck's strip under a load model, or under one vehicle that drives alone,
    whose worst place on the strip is then found exactly instead of section by section."""
    depth = effective_depth(deck, strip.bars)
    vehicle = model.kinds[0].vehicles[0]
    lanes = LaneStrips(deck, strip, model)
    limits = centre_limits(deck, vehicle) if strip.bars == "across" else None
    chosen = chosen_strip(deck, model.name)
    others = [one for one in sets_for(deck, model.name) if one.name != chosen.name]
    sets = (chosen.strips, *others)
    rules = shear_methods_for(deck, model.name)
    moments: dict[tuple[str, ...], list[StripMoment]] = {}
    shears: dict[str, list[StripShear]] = {}

    for moment in (
        model_moments(lanes, sets)
        if model.whole
        else strip_moments(strip, vehicle, sets, directions=lanes.directions, limits=limits)
    ):
        moments.setdefault((moment.at, *moment.lines), []).append(moment)
    for two in (
        model_shears(lanes, depth, rules)
        if model.whole
        else strip_shears(strip, vehicle, depth, rules, directions=lanes.directions, limits=limits)
    ):
        shears.setdefault(two.line, []).append(two)
    table = model.kinds[0].factor if model.name == DECK_TABLE_MODEL else None
    return HandStrips(
        deck=deck,
        strip=strip,
        vehicle=vehicle,
        depth=depth,
        moments=moments,
        shears=shears,
        lanes=lanes,
        limits=limits,
        chosen=chosen,
        sets=sets,
        deck_table=table,
    )


def effective_depth(deck: Deck, bars: Bars) -> float:
    """Effective depth for shear of a strip [m]: the lesser of both faces' bars along it; without
    bars in the deck file an assumed share of the thickness."""
    if deck.reinforcement is None:
        return DEPTH_SHARE * deck.slab.thickness
    given = deck.reinforcement.bars
    direction: Direction = "x" if bars == "parallel" else "y"
    return min(given.effective_depth((face, direction)) for face in FACES)
