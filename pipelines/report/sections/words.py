"""What the report says in sentences about the whole deck: cautions, rules of reading, signs."""

import re

from pipelines.analysis.result import TrafficResult
from pipelines.caution import CAUTION
from pipelines.deck.deck import Deck
from pipelines.numbers import as_given, length
from pipelines.report.document import Link, Paragraph, Symbol, Words
from pipelines.standards.actions.loads import ALONE
from pipelines.standards.supports import FACE, ROUNDED

# Results as they are printed, in the order of RESULT_KEYS.
SYMBOLS = {
    "w": Symbol("w"),
    "m_x": Symbol("m", "x"),
    "m_y": Symbol("m", "y"),
    "m_xy": Symbol("m", "xy"),
    "q_x": Symbol("q", "x"),
    "q_y": Symbol("q", "y"),
}
D_X, D_Y, D_1, D_XY = (Symbol("D", mark) for mark in ("x", "y", "1", "xy"))

# A reference of a finding in running words.
REFERENCE = re.compile(r"\b(F\d+)\b")

PROBE_RULE = (
    "Shears asked for by name are given there: within one thickness of an edge or a "
    "supporting line they are not to be read as the slab's own."
)


def linked(words: str) -> tuple[Words, ...]:
    """Running words with references as links to their rows."""
    return tuple(
        Link(f"finding-{part}", part) if k % 2 else part
        for k, part in enumerate(REFERENCE.split(words))
    )


def shear_rule(deck: Deck) -> str:
    """Where peaks of shears, and by Mindlin's theory of the twisting moment, are read."""
    mindlin = deck.slab.theory == "mindlin"
    layers = ["the edge layer of Mindlin's theory"] if mindlin else []
    if any(line.beam is not None for line in deck.lines):
        layers.append("the shear strain of beams joined to the slab")
    nearer = f" Nearer, {' and '.join(layers)} are in them;" if len(layers) > 1 else ""
    if len(layers) == 1:
        nearer = f" Nearer, {layers[0]} is in them;"
    return (
        f"Shear peaks{' and those of the twisting moment' if mindlin else ''} are taken further "
        "than one thickness from edges and supporting lines."
        f"{nearer or ' Nearer they are not read;'} the complete field is in fields.vtu."
    )


def caution_words(deck: Deck) -> tuple[str, ...]:
    """What stands before every result."""
    return tuple(filter(None, (CAUTION, _traffic(deck), _values(deck), _tolerance(deck))))


def _traffic(deck: Deck) -> str:
    """How the traffic acts, "" without traffic."""
    traffic = deck.traffic
    if traffic is None:
        return ""
    if not traffic.load_models:
        return (
            "Each vehicle runs alone. A single vehicle is not a standard's load model: no other "
            "lane, no distributed traffic load, no combination. No strip is said to cover a load "
            "model here."
        )
    words = (
        "Load models act as a whole, with their lanes and distributed loads, each by itself and "
        "without partial and combination factors; the reconciliation is under them."
    )
    if traffic.vehicles:
        words += (
            " The vehicles listed by themselves act alone, which is no load model: their values "
            "stand beside those of the load models and are not added."
        )
    if deck.reinforcement is not None:
        words += " Bars are judged, with factors, under the load models of their own standard"
        words += " and under those vehicles." if traffic.vehicles else "."
    return words


def _values(deck: Deck) -> str:
    if deck.reinforcement is None:
        return "All values are linear elastic and characteristic, without load factors."
    return (
        "All values are linear elastic; outside the sections on bars and shear they are "
        "characteristic, without load factors."
    )


def _tolerance(deck: Deck) -> str:
    words = "A numerical tolerance (±) says what the mesh may leave out"
    if deck.traffic is not None:
        words += (
            " and, for governing values, results asked for by name and beams, how much more a load "
            "position may make than the worst one found; in the comparison with strips it is of "
            "the mesh alone"
        )
    assumed = (
        "cracking, beams, fixity" if any(line.beam for line in deck.lines) else ("cracking, fixity")
    )
    return (
        f"{words}. Reactions have none. It does not cover the model or the stiffness assumed "
        f"({assumed}), which usually matters more."
    )


def hogging_words(deck: Deck) -> str:
    """Where hogging over the lines of a deck counts, with the rule's sources."""
    wide = [line for line in deck.lines if line.width > 0.0]
    parts = []
    if any(not line.rests for line in wide):
        parts.append(f"at the faces of supports that the slab is one with ({FACE})")
    if any(line.rests for line in wide):
        parts.append(
            "a quarter of the width off the centre lines of supports that it only rests on, where "
            f"the moment is that of the centre line less F t/8 or more ({ROUNDED})"
        )
    if len(wide) < len(deck.lines):
        parts.append("at the centre lines of lines without a width")
    return ", ".join(parts)


def case_title(case: TrafficResult) -> str:
    """The name of a case of traffic as a heading: a vehicle that drives alone says so."""
    return case.name if case.envelope.whole or case.name == ALONE else f"{case.name} alone"


def values_title(case: TrafficResult, cases: int) -> str:
    """What the extremes under a case of traffic are called, of so many cases: beside load models
    those of vehicles that drive alone govern nothing by themselves."""
    if cases > 1 and not case.envelope.whole:
        return f"{case_title(case)}, beside the load models: largest and smallest values"
    return f"{case_title(case)}: governing values"


def slab_note(deck: Deck) -> str:
    """The slab's section in one sentence."""
    slab = deck.slab
    words = f"Slab {as_given(1e3 * slab.thickness)} mm"
    for zone in slab.zones:
        parts = []
        if zone.stations:
            parts.append(f"stations {length(zone.stations[0])} to {length(zone.stations[1])} m")
        if zone.offsets:
            parts.append(f"offsets {length(zone.offsets[0])} to {length(zone.offsets[1])} m")
        words += f"; {as_given(1e3 * zone.thickness)} mm at {', '.join(parts) or 'full extent'}"
    if deck.traffic is not None:
        surfacing = as_given(1e3 * deck.traffic.surfacing)
        words += f". Surfacing {surfacing} mm (spreads wheels; no stiffness)"
    return words + "."


def conventions(deck: Deck) -> Paragraph:
    """Signs and directions in one paragraph."""
    places = (
        "Stations run along the deck in the direction of traffic, offsets across it, positive to "
        "the right."
    )
    if deck.traffic is not None and deck.traffic.axis is not None:
        places = (
            "Places of the slab are x and y. Stations of traffic run along the carriageway's axis, "
            "offsets from it, positive to the right of traffic."
        )
    w, m_x, m_y, m_xy, q_x, q_y = SYMBOLS.values()
    return Paragraph(
        (
            "Signs: sagging moments positive (tension at the soffit); ",
            *(m_x, " is carried by bars along the deck (x), ", m_y, " by bars across it (y), "),
            *(m_xy, " is the twisting moment; deflection ", w, " positive down; shears "),
            *(q_x, " = ∂", m_x, "/∂x + ∂", m_xy, "/∂y, "),
            *(q_y, " = ∂", m_xy, "/∂x + ∂", m_y, "/∂y. "),
            f"{places} Plans are seen from above, offsets down the page. All values to three "
            "figures.",
        )
    )
