"""The page of `deckslab loadtest`: measured beside computed, and the stiffnesses found."""

from collections.abc import Iterator, Sequence

from pipelines.caution import CAUTION
from pipelines.deck.load_test import UNITS, Quantity
from pipelines.deck.variants import with_factors
from pipelines.loadtest.outcome import Outcome
from pipelines.loadtest.words import (
    cautions,
    fit_words,
    interval_words,
    lead,
    unit_words,
    value_words,
)
from pipelines.numbers import as_given, as_result, length, number
from pipelines.report.data.load_test import strip_moments
from pipelines.report.document import (
    Block,
    Bullets,
    Caution,
    Code,
    Document,
    Figure,
    Paragraph,
    Section,
    Table,
    lines,
    table,
)
from pipelines.report.drawings.load_test import agreement_figure

NOTES = (
    "Readings are those under the vehicle less those of the empty deck: the vehicle alone is "
    "computed, standing still, without impact. Deflections are positive down, strains in tension; "
    "a rotation is positive where the deflection grows in its direction.",
    "The numerical tolerance is by how much a finer mesh of higher order changes the value.",
    "The vehicle's weights and places are taken as stated: an error in them is an error in what is "
    "found. Stiffnesses found hold for the loads and the temperature of the test; a slab that "
    "cracks later is softer.",
)
# Of a numerical tolerance in print, in the unit of its reading.
LEAST = 1e-3
INTERVALS = (
    "95 % intervals of the linearised least squares on the logarithm of each factor (Draper and "
    "Smith, Applied Regression Analysis, from memory)."
)


def load_test_page(outcome: Outcome, fitted: str) -> Document:
    """The page of a load test; fitted : the tables for the deck file, "" for none."""
    sections = [
        Section("found", "Stiffnesses found", tuple(found_blocks(outcome, fitted))),
        Section("readings", "Measured beside computed", tuple(reading_blocks(outcome))),
    ]
    said = [*fit_words(outcome), *cautions(outcome)]
    return Document(
        title=outcome.deck.title,
        lead=f"Load test: {outcome.test.name}",
        front=(
            Paragraph(lead(outcome)),
            *((Bullets(tuple(said)),) if said else ()),
            Caution((Bullets((CAUTION, *NOTES)),)),
        ),
        sections=tuple(sections),
        end=CAUTION,
    )


def found_blocks(outcome: Outcome, fitted: str) -> Iterator[Block]:
    """The stiffnesses found, and how they are used."""
    if outcome.fit is None:
        return
    with_them = with_factors(outcome.deck, outcome.changes)
    rows = []
    for one in outcome.found:
        stiffness = one.unknown.stiffness
        rows.append(
            (
                one.unknown.name,
                ", ".join(stiffness.on) or "slab",
                number(one.factor),
                interval_words(one),
                value_words(outcome.deck, stiffness) or "differs",
                value_words(with_them, stiffness) or "differs",
                f"{as_given(one.unknown.low)} to {as_given(one.unknown.high)}",
            )
        )
    heads = (
        "Stiffness",
        "Of",
        "Factor on the deck file's",
        "95 % interval",
        "Deck as it was run",
        "With the factor",
        "Looked at",
    )
    yield table("Stiffnesses found from the readings", heads, rows, numeric=(2,))
    yield Paragraph(INTERVALS)
    if fitted:
        yield Paragraph(
            (
                "Tables for the deck file, as in ",
                Code("fitted.toml"),
                "; what is no table there is not told by the readings:",
            )
        )
        for part in fitted.strip().split("\n\n"):
            yield Paragraph(lines(Code(line) for line in part.splitlines()))


def load_test_sections(outcomes: Sequence[Outcome]) -> Iterator[Block]:
    """Measured beside computed of every test, in the report of a run."""
    for k, outcome in enumerate(outcomes):
        said = (lead(outcome), *cautions(outcome), *NOTES[:2])
        blocks = (Bullets(said), *reading_blocks(outcome, f"test-{k}-"))
        yield Section(f"load-test-{k}", outcome.test.name, blocks)


def reading_blocks(outcome: Outcome, name: str = "") -> Iterator[Block]:
    """Tables and figures by quantity, and strains as moments; name : before those of figures."""
    yield _agreement(outcome)
    for k, (quantity, mine) in enumerate(outcome.by_quantity()):
        yield _readings(outcome, quantity, mine)
        caption = "A mark for each reading; on the line computed and measured are the same."
        figure = agreement_figure(f"{name}agreement-{k}", outcome, quantity)
        yield Figure(f"{name}agreement-figure-{k}", figure, caption)
    if strip_moments(outcome):
        yield _moments(outcome)


def _agreement(outcome: Outcome) -> Table:
    states = [("as in its file", outcome.agreement(outcome.computed))]
    if outcome.fitted is not None:
        states.append(("with what was found", outcome.agreement(outcome.fitted)))
    rows = [
        (f"{one.quantity}s", state, str(one.count), number(one.ratio), number(100.0 * one.scatter))
        for state, agreements in states
        for one in agreements
    ]
    heads = ("Read", "Deck", "readings", "computed / measured", "scatter [% of the largest]")
    caption = (
        "How well the model answers: the factor on all readings that comes nearest to what is "
        "computed, and the root mean square of the differences"
    )
    return table(caption, heads, rows, numeric=(2, 3, 4))


def _readings(outcome: Outcome, quantity: Quantity, mine: list[int]) -> Table:
    unit = unit_words(outcome.test.readings[mine[0]])
    heads = ["Load position", "Place", "Station, offset [m]", "Read"]
    heads += [f"measured [{unit}]", "accuracy", "computed", "± numerical", "difference"]
    heads += ["with what was found", "difference"] if outcome.fitted is not None else []
    rows = []
    for i in mine:
        one, scale = outcome.test.readings[i], UNITS[quantity].scale
        m, c, tolerance = (
            float(values[i]) / scale
            for values in (outcome.measured, outcome.computed, outcome.tolerance)
        )
        row = [one.position, one.place, f"{length(one.at[0])}, {length(one.at[1])}", one.words]
        row += [as_result(m), "–" if one.accuracy is None else number(one.accuracy / scale)]
        row += [as_result(c), _tolerance(tolerance), as_result(c - m)]
        if outcome.fitted is not None:
            f = float(outcome.fitted[i]) / scale
            row += [as_result(f), as_result(f - m)]
        rows.append(row)
    return table(
        f"{quantity.capitalize()}s, measured beside computed",
        heads,
        rows,
        numeric=range(4, len(heads)),
    )


def _tolerance(value: float) -> str:
    return f"{float(f'{value:.1g}'):g}" if value >= LEAST else f"< {LEAST:g}"


def _moments(outcome: Outcome) -> Table:
    slab = outcome.deck.slab
    rows = []
    for i, (lever, measured, computed) in strip_moments(outcome).items():
        one = outcome.test.readings[i]
        rows.append(
            (
                one.position,
                one.place,
                one.words,
                number(1e3 * float(outcome.thickness[i])),
                number(lever),
                number(measured),
                number(computed),
            )
        )
    caption = (
        f"Strains as moments of a strip that bends one way, E t³/12 times strain over lever, E = "
        f"{number(slab.E / 1e9)} GPa"
    )
    heads = ["Load position", "Place", "Read", "t [mm]", "lever [mm]"]
    heads += ["measured [kNm/m]", "computed [kNm/m]"]
    return table(caption, heads, rows, numeric=(3, 4, 5, 6))
