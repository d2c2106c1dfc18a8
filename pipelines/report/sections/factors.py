"""Factors and national choices: which are recommended, which the user states."""

from collections.abc import Iterator

from pipelines.deck.deck import Deck
from pipelines.numbers import as_given
from pipelines.report.document import Block, Paragraph, Short, Symbol, Words, table
from pipelines.standards.actions.load_models import family_of
from pipelines.standards.factors import RECOMMENDED, Choice, Factors

BEYOND = (
    "Recommended values are those of the standards as named, from memory: national annexes and "
    "owners change many of them. Tables by exposure, such as least covers and structural classes, "
    "largest spacings of bars and the rules themselves are not among them and are as the standards "
    "recommend."
)


def counted_factors(deck: Deck) -> tuple[Factors, ...]:
    """Factors of the standards that the deck's bars are checked to and its load models are of."""
    bars = deck.reinforcement
    found = {} if bars is None else {b.materials.standard: b.materials.factors for b in bars.bases}
    models = () if deck.traffic is None else deck.traffic.load_models
    families = {family_of(model.name) for model in models}
    for factors in deck.factors:
        if factors.standard in families:
            found.setdefault(factors.standard, factors)
    return tuple(found.values())


def stated_words(deck: Deck) -> str:
    """Which factors the user states, in a line; "" where none is and no bars are checked."""
    every = counted_factors(deck)
    told = [
        f"{choice.key} {as_given(factors[choice.key])} (recommended {as_given(choice.value)}), "
        f"{factors.standard}, by {factors.who(choice.key)}"
        for factors, choice in _stated(every)
    ]
    if told:
        return f"Factors: stated {'; '.join(told)}; all else recommended"
    standards = ", ".join(factors.standard for factors in every)
    return "" if deck.reinforcement is None else f"Factors: recommended ones of {standards}"


def _stated(every: tuple[Factors, ...]) -> Iterator[tuple[Factors, Choice]]:
    for factors in every:
        for key, choice in RECOMMENDED[factors.standard].items():
            if factors.is_stated(key):
                yield factors, choice


def factors_section(deck: Deck) -> tuple[Block, ...]:
    """Every factor that counts beside its recommended value, those stated first."""
    every = counted_factors(deck)
    rows: list[tuple[bool, list[Words]]] = [
        (factors.is_stated(key), _row(factors, choice))
        for factors in every
        for key, choice in RECOMMENDED[factors.standard].items()
    ]
    if not rows:
        return ()
    rows.sort(key=lambda row: not row[0])
    head = ["Standard", "", "Key", "Meaning", "Counts", "Recommended", "By", "Clause and mark"]
    caption = "Factors and national choices, those that the user states first"
    return table(caption, head, [cells for _, cells in rows], numeric=(4, 5)), Paragraph(BEYOND)


def _row(factors: Factors, choice: Choice) -> list[Words]:
    key = choice.key
    unit = f" {choice.unit}" if choice.unit else ""
    return [
        factors.standard,
        Symbol(*choice.symbol),
        key,
        choice.meaning,
        as_given(factors[key]) + unit,
        as_given(choice.value) + unit,
        Short(f"user: {factors.who(key)}") if factors.is_stated(key) else "recommended",
        str(choice.source),
    ]
