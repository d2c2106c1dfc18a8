"""Section of the report on the parts of the slab within which bars and thickness are the same."""

from pipelines.bars.checks.part import PartChecks
from pipelines.bars.design import Design, StandardDesign
from pipelines.deck.deck import Deck
from pipelines.numbers import length, number
from pipelines.report.document import Block, Paragraph, Words, table
from pipelines.report.drawings.bars import layer_title, step_words
from pipelines.report.sections.bars_words import standard_of, used

STEPPED = (
    "In every check the bottom bars that cross a step are judged by the thickness and the depth of "
    "the thinner part up to a bond length into the thicker one; the other layers by what is there. "
    "Shear is judged along every step, too, in the thinner part. The model has the middle of the "
    "slab level: the small thrust that the soffit's steps make is not in it."
)


def added_part(deck: Deck, design: Design) -> tuple[Block, ...]:
    """Where bars are added, from where they count, how they pass steps of the soffit, and what the
    parts come to; nothing where the mats lie alone in a slab of one thickness."""
    stepped = [Paragraph(f"{words} {STEPPED}") for words in step_words(deck)]
    if not design.reinforcement.added:
        return (_parts(design), *stepped) if stepped else ()
    return (_drawn(design), _parts(design), *stepped, Paragraph(
        "Added bars count from a bond length inside their part on, and before that not at all, "
        "which EN 1992-1-1 9.2.1.3(3) allows (from memory); at an edge of the slab they are taken "
        "as anchored, like the bars of the mats. Their level is that of the layer; its effective "
        "depth is to the centre of the thicker bars. What stands in the other tables is of the "
        "mats outside added bars, unless a place says otherwise."
    ))  # fmt: skip


def _drawn(design: Design) -> Block:
    rows: list[list[Words]] = []
    for k, added in enumerate(design.reinforcement.added):
        bars = design.reinforcement.bars
        both = bars.with_added(added.layer, added.bars)
        rows.append(
            [
                added.mark,
                layer_title(bars, added.layer),
                str(added.bars),
                number(1e6 * both.bars(added.layer).area),
                added.where,
                f"{added.area.area:.1f}",
                "; ".join(
                    f"{standard_of(one)} {length(one.anchored[k])}" for one in design.standards
                ),
            ]
        )
    head: list[Words] = [
        "Mark",
        "Between the bars of",
        "Added",
        "Steel of both [mm²/m]",
        "Where",
        "Area [m²]",
        "Bond length [m]",
    ]
    return table("Bars added to the mats", head, rows, numeric=(3, 5), wide=(4,))


def _parts(design: Design) -> Block:
    rows: list[list[Words]] = []
    for standard in design.standards:
        for part in standard.added:
            bending = max(part.layers, key=lambda one: one.utilisation, default=None)
            rows.append(
                [
                    part.name,
                    standard_of(standard),
                    "–" if bending is None else used(bending.utilisation),
                    "–" if bending is None else layer_title(part.bars, bending.layer),
                    _shear(standard, part),
                    "–" if part.punching is None else used(part.punching.utilisation),
                    *_rule(part),
                ]
            )
    head: list[Words] = [
        "Part",
        "Standard",
        "Bending",
        "in",
        "Shear, mean over 4 d",
        "Punching",
        "Rules",
        "the most used rule",
    ]
    caption = "Parts with added bars or another thickness: largest utilisations"
    return table(caption, head, rows, numeric=(2, 4, 5, 6), wide=(7,))


def _shear(standard: StandardDesign, part: PartChecks) -> Words:
    if part.design_shear is None or standard.shear_not_asked is not None:
        return "–"
    near = () if part.reduced is None else (part.reduced.whole,)
    return used(max((part.design_shear.utilisation, *near)))


def _rule(part: PartChecks) -> tuple[Words, Words]:
    row = max(part.rows, key=lambda one: (not one.otherwise, one.utilisation), default=None)
    if row is None:
        return "–", "–"
    return used(row.utilisation), f"{row.check}: {row.place}"
