"""What a deck file, or a file of factors that it names, may say of factors and national choices.

The keys of each standard are made from the rows of `standards/factors`, which hold meaning, bounds,
recommended value and clause once.
"""

from typing import Annotated, Any

from pydantic import create_model

from pipelines.deck.reading.rules import Range
from pipelines.deck.reading.schema import Name, Table, entry
from pipelines.standards.factors import RECOMMENDED, Choice
from pipelines.standards.sources import Standard

# Tables within [factors], by the standard that they are of.
TABLE_OF: dict[Standard, str] = {"EN 1992": "EN", "IRC:112": "IRC", "AASHTO LRFD": "AASHTO"}


def _field(choice: Choice) -> tuple[Any, Any]:
    letter, mark = choice.symbol
    symbol = f"{letter}_{mark}" if mark else letter
    value = f"{choice.value:g}"
    rule = Range(choice.low, choice.high, choice.unit)
    said = entry(
        f"{symbol}: {choice.meaning[0].lower()}{choice.meaning[1:]}.",
        choice.value,
        default=None,
        left_out=f"{value}, recommended: {choice.source}",
    )
    return Annotated[float, rule] | None, said


def _table(standard: Standard) -> type[Table]:
    fields: dict[str, Any] = {key: _field(choice) for key, choice in RECOMMENDED[standard].items()}
    return create_model(
        f"{TABLE_OF[standard]}Factors",
        __base__=Table,
        __doc__=f"Factors and national choices of {standard}; those left out are recommended ones.",
        **fields,
    )


_En, _Irc, _Aashto = (_table(standard) for standard in TABLE_OF)


class FactorsTable(Table):
    """Factors and choices of national annexes and owners, by family of standards. The report prints
    each beside the recommended value. A file of such tables may be shared by decks: factors =
    "owner.toml", above all tables, or `file` here."""

    file: Name | None = entry(
        "TOML file that holds what this table may hold, in the deck file's folder or below it; "
        "what is stated here wins.",
        "owner.toml",
        default=None,
        left_out="none",
    )
    source: Name | None = entry(
        "Who states these factors, for print.",
        "owner's rules, issue 3",
        default=None,
        left_out="the file that states them",
    )
    EN: _En | None = entry(  # type: ignore[valid-type]
        "Factors of EN 1990, EN 1991-2 and EN 1992.",
        {"gamma_c": 1.4},
        default=None,
        left_out="recommended ones",
    )
    IRC: _Irc | None = entry(  # type: ignore[valid-type]
        "Factors of IRC:6 and IRC:112.",
        {"gamma_Q": 1.5},
        default=None,
        left_out="recommended ones",
    )
    AASHTO: _Aashto | None = entry(  # type: ignore[valid-type]
        "Factors of AASHTO LRFD.",
        {"gamma_LL": 1.35},
        default=None,
        left_out="recommended ones",
    )
