"""Where hogging over a support counts: the one rule, with its sources.

Over a support of breadth t the moment of the centre line is that of a knife edge. A slab that is
one with its support is cut at the face, t/2 off the centre line. One that only rests on it may have
the centre line's moment less F t/8, with F the reaction that is in it: between support and load the
moment falls by the shear of either side, so that the mean of both sides at t/4 is just that with no
load over the support, and more with load there. The larger side at t/4 is read, never less than
the clause's value.
"""

from pipelines.standards.sources import Source

# Shares of its width off the centre line of a support.
AT_FACE, RESTING = 0.5, 0.25

FACE = Source("EN 1992", "EN 1992-1-1 5.3.2.2(3)")
ROUNDED = Source("EN 1992", "EN 1992-1-1 5.3.2.2(4)")
DECK_SLABS = Source("AASHTO LRFD", "4.6.2.1.6")

RULE = (
    "Over a support whose width t is stated hogging counts at its face, t/2 off the centre line, "
    "where the slab is one with it: on beams, clamped lines and springs against the slope; where "
    "the slab only rests on it, on rigid lines and on springs that let it turn, t/4 off, where the "
    "moment is that of the centre line less F t/8 (F: the reaction that is in it) or, of the worse "
    "side, more; `rests` of a [[line]] says otherwise. Lines without a width are read at the "
    "centre line. The value at the centre line is that of a knife edge, which the slab does not "
    "see over a width: it stands beside."
)
SOURCES = f"{FACE}, {ROUNDED}; {DECK_SLABS} has the same places for its kinds of beams"


def hogging_at(width: float, *, rests: bool) -> float:
    """Distance from a support's centre line at which hogging over it counts [m]; 0 without a
    width.

    width : of the support [m], 0 = not stated; rests : the slab is not one with it.
    """
    return (RESTING if rests else AT_FACE) * width
