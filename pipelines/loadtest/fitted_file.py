"""Stiffnesses found, as tables for the deck file."""

from pipelines.caution import TO_VERIFY
from pipelines.deck.load_test import Factor
from pipelines.deck.reading.key_reference import toml_value
from pipelines.deck.variants import with_factors
from pipelines.loadtest.outcome import Outcome
from pipelines.loadtest.words import interval_words, value_words


def fitted_text(outcome: Outcome) -> str:
    """TOML text with a [[fitted]] table for each factor; those that the readings do not tell stand
    as comments."""
    found = {one.unknown.stiffness: one for one in outcome.found}
    with_them = with_factors(outcome.deck, outcome.changes)
    lines = [
        f"# Stiffnesses found from load test {outcome.test.name}, {TO_VERIFY}.",
        "# Put these tables into the deck file in place of any [[fitted]] that it has, or run it",
        "# with --fitted and this file.",
    ]
    for factor in outcome.factors:
        lines += ["", *_table(factor)]
        one = found.get(factor.stiffness)
        if one is not None:
            value = value_words(with_them, factor.stiffness)
            told = f"95 %: {interval_words(one)}"
            lines[-1] += f"  # {f'{value}; ' if value else ''}{told}"
    for one in outcome.found:
        if not one.is_told:
            table = _table(Factor(one.unknown.stiffness, one.factor))
            lines += ["", f"# {one.unknown.name}: {one.state}", *(f"# {line}" for line in table)]
    return "\n".join(lines) + "\n"


def _table(factor: Factor) -> list[str]:
    stiffness = factor.stiffness
    on = [f"on = {toml_value(list(stiffness.on))}"] if stiffness.on else []
    of = f"of = {toml_value(stiffness.kind)}"
    return ["[[fitted]]", of, *on, f"factor = {factor.value:.8g}"]
