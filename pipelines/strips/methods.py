"""Which hand methods stand beside a load: those of its own family.

A standard's widths go with its own loads, so a library vehicle or load model is compared with its
own family's methods and with those of no family; a deck's own vehicle is compared with all. Methods
of the user's own stand beside every load.
"""

from collections.abc import Iterable

from pipelines.deck.deck import Deck
from pipelines.standards.actions.load_models import family_of
from pipelines.standards.sources import Standard
from pipelines.standards.strip_widths.method import StripMethod
from pipelines.standards.strip_widths.sets import FIRST_SET, StripSet
from pipelines.strips.shears import SHEAR_METHODS

# The family of a method by the first word of its print: Heft 240 and the Model Code belong to
# European practice (common practice). The other shear rules are of no family.
_FAMILIES: dict[str, Standard] = {
    "AASHTO": "AASHTO LRFD",
    "DAfStb": "EN 1992",
    "fib": "EN 1992",
    "IRC:112": "IRC:112",
}


def goes_with(standard: str, load: str) -> bool:
    """Whether a method of that standard is compared under a vehicle or load model."""
    family = family_of(load)
    return family is None or _FAMILIES.get(standard.split()[0], family) == family


def all_sets(deck: Deck) -> tuple[StripSet, ...]:
    """The library's sets and those of the user's own."""
    return (*FIRST_SET, *deck.own.strips.sets)


def sets_for(deck: Deck, load: str) -> tuple[StripSet, ...]:
    """The sets that are compared under a vehicle or load model."""
    library = (method for method in FIRST_SET if goes_with(method.name, load))
    return (*library, *deck.own.strips.sets)


def shear_methods_for(deck: Deck, load: str) -> tuple[StripMethod, ...]:
    """The shear rules that are compared under a vehicle or load model."""
    library = (rule for rule in SHEAR_METHODS if goes_with(rule.standard, load))
    return (*library, *(one.shear for one in deck.own.strips.sets if one.shear is not None))


def left_out_methods(loads: Iterable[str]) -> str:
    """Which methods are not compared under which loads, and why, in a sentence; "" if none."""
    names = list(
        dict.fromkeys(
            [method.name for method in FIRST_SET] + [rule.standard for rule in SHEAR_METHODS]
        )
    )
    found: dict[tuple[str, ...], list[str]] = {}
    for load in loads:
        others = tuple(name for name in names if not goes_with(name, load))
        if others:
            found.setdefault(others, []).append(load)
    if not found:
        return ""
    parts = [
        f"{len(others)} under {', '.join(under)} ({', '.join(others)})"
        for others, under in found.items()
    ]
    return (
        f"Methods of other standards than the load's are not computed: {'; '.join(parts)}: the "
        "widths of a standard go with its own loads; a study computes any of them by name."
    )
