"""A deck with other stiffness of its beams or of its slab."""

from collections.abc import Sequence
from dataclasses import replace

from pipelines.deck.deck import Beam, Deck, Held, Line, Point, Slab
from pipelines.deck.load_test import Factor

# Factors on the stiffness of all beams between which findings are shown.
BEAM_RANGE = (0.5, 2.0)


def with_beam_factor(deck: Deck, factor: float) -> Deck:
    """The deck with bending, torsion and shear stiffness of all its beams multiplied."""

    def changed(line: Line) -> Line:
        if line.beam is None:
            return line
        return replace(line, beam=scaled(line.beam, factor))

    return replace(deck, lines=tuple(changed(line) for line in deck.lines))


def with_bending_factor(deck: Deck, factor: float, names: tuple[str, ...]) -> Deck:
    """The deck with bending and shear stiffness of some beams multiplied; torsion stays."""

    def changed(line: Line) -> Line:
        beam = line.beam
        if beam is None or line.name not in names:
            return line
        Av = None if beam.Av is None else factor * beam.Av
        return replace(line, beam=replace(beam, I=factor * beam.I, Av=Av))

    return replace(deck, lines=tuple(changed(line) for line in deck.lines))


def scaled(beam: Beam, factor: float) -> Beam:
    """The beam of another material, `factor` times as stiff."""
    return replace(beam, E=factor * beam.E, G=factor * beam.G)


def with_slab_factors(deck: Deck, factors: tuple[float, float, float]) -> Deck:
    """The deck with D_x, D_y and D_xy of its slab multiplied; D_1 by their geometric mean."""
    slab = deck.slab
    fx, fy, fxy = factors
    if slab.rigidity is not None:
        Dx, Dy, D1, Dxy = slab.rigidity
        rigidity = (fx * Dx, fy * Dy, (fx * fy) ** 0.5 * D1, fxy * Dxy)
        return replace(deck, slab=replace(slab, rigidity=rigidity))
    x, y, xy = slab.stiffness
    return replace(deck, slab=replace(slab, stiffness=(fx * x, fy * y, fxy * xy)))


def with_factors(deck: Deck, factors: Sequence[Factor]) -> Deck:
    """The deck with some of its stiffnesses multiplied."""
    for factor in factors:
        kind, on, value = factor.stiffness.kind, factor.stiffness.on, factor.value
        if kind in ("slab E", "slab thickness"):
            deck = replace(deck, slab=_scaled_slab(deck.slab, kind, value))
        elif kind == "point k":
            points = (_scaled_point(p, value) if p.name in on else p for p in deck.points)
            deck = replace(deck, points=tuple(points))
        else:
            lines = (_scaled_line(li, kind, value) if li.name in on else li for li in deck.lines)
            deck = replace(deck, lines=tuple(lines))
    return deck


def _scaled_slab(slab: Slab, kind: str, factor: float) -> Slab:
    """The slab with E or all thicknesses multiplied; a rigidity given follows."""
    by = factor if kind == "slab E" else factor**3
    Dx, Dy, D1, Dxy = slab.rigidity or (0.0, 0.0, 0.0, 0.0)
    rigidity = None if slab.rigidity is None else (by * Dx, by * Dy, by * D1, by * Dxy)
    if kind == "slab E":
        return replace(slab, E=factor * slab.E, rigidity=rigidity)
    zones = tuple(replace(zone, thickness=factor * zone.thickness) for zone in slab.zones)
    return replace(slab, thickness=factor * slab.thickness, rigidity=rigidity, zones=zones)


def _scaled_point(point: Point, factor: float) -> Point:
    return replace(point, k=factor * point.k)


def _scaled_line(line: Line, kind: str, factor: float) -> Line:
    if kind == "spring k":
        return replace(line, k=factor * line.k)
    if kind == "spring k_rot":
        return replace(line, k_rot=factor * line.k_rot)
    if kind in ("hold k", "hold k_rot"):
        return replace(line, held_at=tuple(_scaled_hold(h, kind, factor) for h in line.held_at))
    assert line.beam is not None, "a beam's stiffness of a line without one"
    if kind == "beam EI":
        beam = replace(line.beam, I=factor * line.beam.I)
    elif kind == "beam E":
        beam = scaled(line.beam, factor)
    else:
        beam = replace(line.beam, connection=factor * line.beam.connection)
    return replace(line, beam=beam)


def _scaled_hold(held: Held, kind: str, factor: float) -> Held:
    if kind == "hold k":
        return replace(held, k=factor * held.k)
    return replace(held, k_rot=factor * held.k_rot)


def factor_words(factors: Sequence[Factor]) -> str:
    """Factors in words."""
    named = ((" ".join([f.stiffness.kind, *f.stiffness.on]), f.value) for f in factors)
    return ", ".join(f"{name} × {value:.4g}" for name, value in named)
