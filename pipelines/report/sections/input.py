"""Tables of the input: loads, vehicles, supports, beams; numbers as they were given."""

from collections.abc import Iterator, Sequence

from pipelines.deck.cases import Case
from pipelines.deck.deck import Beam, Deck, Held, Line
from pipelines.deck.words import at_text, line_title, support_title
from pipelines.numbers import as_given, length
from pipelines.report.document import Symbol, Table, Words, lines, table
from pipelines.standards.actions.loads import Vehicle


def axle_table(vehicle: Vehicle, patches: Sequence[tuple[float, float]]) -> Table:
    """Axles of a vehicle with contact and dispersed patches."""
    rows = [
        [
            str(i + 1),
            length(axle.at),
            as_given(1e-3 * vehicle.impact * axle.load),
            ", ".join(length(y) for y in axle.wheels),
            _size(axle.patch),
            _size(patch),
        ]
        for i, (axle, patch) in enumerate(zip(vehicle.axles, patches, strict=True))
    ]
    heads = [
        "Axle",
        "Behind the first [m]",
        "Load [kN]",
        "Wheels at [m]",
        "Contact, along × across [mm]",
        "Dispersed, along × across [mm]",
    ]
    return table(f"Axles of {vehicle.name}", heads, rows, numeric=(1, 2, 3, 4, 5))


def _size(size: tuple[float, float]) -> str:
    return f"{1e3 * size[0]:.0f} × {1e3 * size[1]:.0f}"


def cases_table(deck: Deck) -> Table:
    """Static load cases."""
    rows: list[tuple[Words, ...]] = []
    for case in deck.cases:
        parts = []
        if case.self_weight:
            parts.append(f"self-weight of the slab, {as_given(1e-3 * deck.slab.density)} kN/m³")
        if case.pressure:
            parts.append(f"{as_given(1e-3 * case.pressure)} kN/m² on the whole slab")
        for patch in case.patches:
            size = " × ".join(length(s) for s in patch.size)
            at = ", ".join(length(v) for v in patch.at)
            parts.append(f"{as_given(1e-3 * patch.load)} kN on {size} m at ({at}) m")
        for line in case.lines:
            corners = " to ".join(f"({length(x)}, {length(y)})" for x, y in line.path)
            path = line_title(deck, line.on) if line.on else f"{corners} m"
            parts.append(f"{as_given(1e-3 * line.load)} kN/m along {path}")
        parts += _imposed(deck, case)
        row: tuple[Words, ...] = (case.name, lines(parts))
        rows.append(row if deck.stages is None else (*row, case.stage))
    heads = ["Case", "Loads"] if deck.stages is None else ["Case", "Loads", "Stage"]
    return table("Static load cases (loads act down; no factors)", heads, rows)


def _imposed(deck: Deck, case: Case) -> Iterator[str]:
    """What a case imposes on slab and supports, in words."""
    if case.temperature is not None:
        difference, mean = case.temperature.difference, case.temperature.mean
        alpha = f"α = {case.temperature.expansion:.3g} 1/K"
        if difference:
            side = "warmer" if difference > 0.0 else "colder"
            yield f"upper face {as_given(abs(difference))} K {side} than the lower one, {alpha}"
        if mean:
            side = "warmer" if mean > 0.0 else "colder"
            yield f"slab at mid-depth {as_given(abs(mean))} K {side} than its beams, {alpha}"
    if case.shrinkage:
        yield f"shrinkage of the slab by {as_given(round(1e3 * case.shrinkage, 9))} ‰"
    for name, amount in case.settlements:
        down = as_given(round(1e3 * amount, 9))
        yield f"{support_title(deck, name)} goes down by {down} mm"


def line_table(deck: Deck) -> Table:
    """What carries the slab."""
    rows: list[list[Words]] = []
    for line in deck.lines:
        holds = lines(_hold(deck, h) for h in line.held_at) or "–"
        width = f"{1e3 * line.width:.0f}" if line.width else "–"
        if line.width and line.rests:
            width += ", resting"
        rows.append([line_title(deck, line.name), line.name, _support(line), width, holds])
    for point in deck.points:
        spring = "rigid" if point.k == float("inf") else f"spring, {as_given(1e-3 * point.k)} kN/m"
        words = f"point support on {1e3 * point.size:.0f} mm square, {spring}"
        rows.append([point.name, f"at ({at_text(point.at)}) m", words, "–", "–"])
    heads = ["Name", "Line", "Support", "Width [mm]", "Held"]
    return table("What carries the slab", heads, rows, numeric=(3,))


def _support(line: Line) -> str:
    ends = ", carried on to the edges" if line.to_edges else ""
    if line.support == "spring":
        words = f"spring, {as_given(1e-3 * line.k)} kN/m per m"
        if line.k_rot:
            words += f", {as_given(1e-3 * line.k_rot)} kNm/rad per m"
        return words + ends
    if line.support == "rigid":
        return (
            "rigid, hard (w and the slope along the line held)"
            if line.hard
            else "rigid, soft (w held)"
        ) + ends
    return line.support + ends


def _hold(deck: Deck, held: Held) -> str:
    words = f"at {line_title(deck, held.on)}"
    if held.stub:
        words = f"{length(held.stub)} m beyond {line_title(deck, held.on)}"
    words += ", w = 0" if held.k == float("inf") else f", {as_given(1e-3 * held.k)} kN/m"
    if held.k_rot:
        words += f", {as_given(1e-3 * held.k_rot)} kNm/rad"
    return words


def beam_sections(deck: Deck) -> Table | None:
    """Sections of the beams, equal ones together; None where there are none."""
    groups: dict[Beam, list[str]] = {}
    for line in deck.lines:
        if line.beam is not None:
            groups.setdefault(line.beam, []).append(line_title(deck, line.name))
    if not groups:
        return None
    rows = [
        [
            ", ".join(names),
            as_given(1e-9 * beam.E),
            as_given(1e-9 * beam.G),
            as_given(1e8 * beam.I),
            as_given(1e8 * beam.J),
            as_given(1e4 * beam.A),
            "none: no shear deformation" if beam.Av is None else as_given(1e4 * beam.Av),
        ]
        for beam, names in groups.items()
    ]
    heads: list[Words] = ["Beams", "E [GPa]", "G [GPa]", "I [cm⁴]", "J [cm⁴]", "A [cm²]"]
    heads.append((Symbol("A", "v"), " [cm²]"))
    return table("Beam sections (source: deck file)", heads, rows, numeric=range(1, 7))
