"""A deck with other stiffness of its beams or of its slab."""

from dataclasses import replace

from pipelines.deck.deck import Beam, Deck, Line

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
