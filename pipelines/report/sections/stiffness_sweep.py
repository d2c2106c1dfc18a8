"""The page of `deckslab sweep`: findings over the stiffness of what carries the slab."""

from pipelines.caution import CAUTION
from pipelines.deck.variants import BEAM_RANGE
from pipelines.findings.beam_stiffness import Sweep
from pipelines.numbers import number
from pipelines.report.document import (
    Bullets,
    Caution,
    Document,
    Figure,
    Paragraph,
    Section,
    Table,
    table,
)
from pipelines.report.drawings.stiffness_sweep import sweep_figure

CAUTIONS = (
    CAUTION,
    "A vehicle that drives alone is not a standard's load model. Values are characteristic, of the "
    "traffic alone.",
    "The cracked slab is the same share of stiffness in both directions and in twisting; real "
    "cracking is neither uniform nor alike in both directions.",
)


def sweep_page(title: str, found: tuple[Sweep, ...]) -> Document:
    """The sweeps as one page."""
    parts = []
    for k, one in enumerate(found, start=1):
        name = f"{one.finding.place}, {one.finding.section.effect}, {one.load}"
        caption = (
            "Plate's worst value, searched again at every stiffness; rings: the deck as it is; "
            "bars at the right: rigid lines; filled marks: where a strip's finding flips. "
            "The beams' bending and shear change together, torsion stays; D is the slab's "
            "stiffness along the strip as the deck file has it, for both curves."
        )
        drawing = Figure(f"sweep-{k}", sweep_figure(f"flexibility-{k}", one), caption)
        parts.append(Section(f"sweep-section-{k}", name, (drawing, _flips(one), _values(one))))
    low, high = BEAM_RANGE
    held = (
        f"The findings table of a run shows the range between {number(low)} and {number(high)} "
        "times the beams' stiffness at a held load position; here the position is searched again."
    )
    return Document(
        title=title,
        lead="Findings over the beams' stiffness",
        front=(Caution((Bullets(CAUTIONS),)), Paragraph(held)),
        sections=tuple(parts),
        end=CAUTIONS[0],
    )


def _flips(sweep: Sweep) -> Table:
    heads = ["Strip", "Value [kNm/m]"]
    heads += [f"slab stiffness × {number(curve.share)}" for curve in sweep.curves]
    rows = [
        [strip, number(1e-3 * value), *(sweep.words(value, c) for c in sweep.curves)]
        for strip, value in sweep.strips
    ]
    return table("EI / (D L) at which the finding of a strip flips", heads, rows, numeric=(1,))


def _values(sweep: Sweep) -> Table:
    heads = ["EI / (D L)"]
    heads += [f"plate, slab stiffness × {number(c.share)} [kNm/m]" for c in sweep.curves]
    rows = [
        [number(float(ratio)), *(number(1e-3 * float(c.values[k])) for c in sweep.curves)]
        for k, ratio in enumerate(sweep.ratios)
    ]
    rows.append(["rigid lines", *(number(1e-3 * c.rigid) for c in sweep.curves)])
    rows.append([f"deck: {number(sweep.own)}", *(number(1e-3 * c.own) for c in sweep.curves)])
    return table("Plate's worst value", heads, rows, numeric=(1, 2))
