"""What the bars come to, in words: for the report and the terminal."""

import numpy as np

from pipelines.bars.checks.remedies import Remedy
from pipelines.bars.demand.numbered import Position
from pipelines.bars.design import Design, StandardDesign
from pipelines.envelopes.arrangements import ModelPosition
from pipelines.numbers import length
from pipelines.report.page import text
from pipelines.report.sections.load_models import arrangement_text
from pipelines.report.sections.tables import position_text
from pipelines.standards.resistance.bars import place_of


def standard_of(one: StandardDesign) -> str:
    return one.basis.materials.standard


def rounded_up(value: float) -> str:
    """A utilisation in words, rounded up, so that 1.00 passes."""
    return f"{np.ceil(100 * value - 1e-9) / 100:.2f}" if np.isfinite(value) else "–"


def used(value: float) -> str:
    """A utilisation; above 1 it is set out."""
    words = rounded_up(value)
    return f'<span class="short">{words}</span>' if value > 1 else words


def traffic_words(design: Design) -> str:
    """What the bars are judged under by each standard, as a sentence."""
    words = [f"{standard_of(one)}: {one.traffic}" for one in design.standards]
    return f"Traffic: {'; '.join(words)}."


def load_text(at: Position | None) -> str:
    """A load position or an arrangement of a load model as it is entered again."""
    if at is None:
        return "no traffic"
    if isinstance(at, ModelPosition):
        return f"<strong>{text(at.model)}</strong><br>{arrangement_text(at)}"
    return position_text(at)


def moments_at(design: Design) -> str:
    if not design.reinforcement.hogging_at_face:
        return "Bars are judged by the value at the centre line."
    return (
        "Bars are judged by the value at the centre line, top bars by that at the supports' faces, "
        "as the deck file asks: for a slab that is one with its support (EN 1992-1-1 5.3.2.2(3), "
        "AASHTO 4.6.2.1.6 with its own place; from memory). Least shares of moments over the "
        "support, which clauses may ask for, are not checked."
    )


def remedy_words(remedy: Remedy) -> str:
    """The least of a remedy that passes alone."""
    if isinstance(remedy.needed, str):
        return remedy.needed
    amount = remedy.needed or 0.0
    if remedy.name == "thickness":
        return f"{1e3 * amount:.0f} mm of slab"
    return f"{1e6 * amount:.0f} mm²/m of {remedy.name}"


def bars_words(design: Design) -> str:
    """How far the bars are used by each standard, in a sentence each."""
    words = []
    for one in design.standards:
        worst = max(one.layers, key=lambda c: c.utilisation)
        sentence = (
            f"{standard_of(one)}: bending is used to {rounded_up(worst.utilisation)} at most "
            f"({place_of(worst.layer)})"
        )
        shear = one.design_shear
        if shear is not None:
            sentence += (
                f", shear without links to {rounded_up(shear.utilisation)} as mean over "
                f"{length(shear.width)} m (4 d)"
            )
            enough = [remedy_words(r) for r in one.remedies if r.needed is not None]
            if enough:
                sentence += f" (it would take {', or '.join(enough)})"
        if one.punching is not None:
            sentence += f", punching under wheels to {rounded_up(one.punching.utilisation)}"
        failing = [row for row in one.rows if not row.passes]
        rules = f"{len(failing)} of {len(one.rows)} rules not met" if failing else "all rules met"
        sentence += f"; {rules}."
        words.append(sentence)
    return " ".join(words)
