"""Effective width of IRC:112 annex B-3 (before it IRC:21 clause 305.16.2), from memory.

b_ef = alpha a (1 - a/l0) + b1 for each load by itself; b1 is the contact width across the strip
with the wearing coat's dispersal on both sides, not the slab's. Widths that overlap are joined, the
slab being checked for each load alone too.
"""

import numpy as np

from pipelines.standards.strip_widths.method import (
    StripInput,
    StripMethod,
    near_edge,
    placed,
    require,
)
from plate.arrays import Floats

NAME = "IRC:112"
EDITION = "2020"

# alpha against slab width / effective span, IRC:112 table B-3.1 (numbering and values from memory)
RATIO = np.concatenate([np.arange(1, 20) / 10, [2.0]])
# fmt: off
ALPHA_SIMPLE = np.array([
    0.40, 0.80, 1.16, 1.48, 1.72, 1.96, 2.12, 2.24, 2.36, 2.48,
    2.60, 2.64, 2.72, 2.80, 2.84, 2.88, 2.92, 2.96, 3.00, 3.00,
])
ALPHA_CONTINUOUS = np.array([
    0.40, 0.80, 1.16, 1.44, 1.68, 1.84, 1.96, 2.08, 2.16, 2.24,
    2.28, 2.36, 2.40, 2.48, 2.48, 2.52, 2.56, 2.60, 2.60, 2.60,
])
# fmt: on


def effective_span(axle: StripInput) -> float:
    """l0 [m]: clear span where continuous; else clear span + effective depth, centres at most."""
    clear = axle.span - axle.support_width
    if axle.ends != "simple":
        return clear
    return axle.span if axle.d is None else min(axle.span, clear + axle.d)


def breadth(axle: StripInput) -> float:
    """b1 [m]: contact across the strip and the wearing coat on both sides."""
    return axle.contact[1] + 2 * axle.surfacing


def loaded_length(axle: StripInput) -> float:
    """Along the strip: contact and 45 degrees through wearing coat and slab on both sides [m]."""
    return axle.contact[0] + 2 * (axle.surfacing + axle.depth)


def alpha(axle: StripInput) -> float:
    """The table's factor, linear between its columns."""
    ratio = axle.slab_width / effective_span(axle)
    require(
        ratio >= 0.1, f"{NAME} annex B-3", f"slab width at least 0.1 of the span, here {ratio:.3g}"
    )
    table = ALPHA_SIMPLE if axle.ends == "simple" else ALPHA_CONTINUOUS
    return float(np.interp(ratio, RATIO, table))


def width(axle: StripInput) -> Floats:
    """alpha a (1 - a/l0) + b1, a from the nearer support; edges and the slab's width limit it."""
    rule = f"{NAME} annex B-3"
    require(axle.ends != "cantilever", rule, "a span between two supports")
    x = placed(axle, rule)
    span = effective_span(axle)
    a = np.clip(np.minimum(x, axle.span - x) - 0.5 * (axle.span - span), 0.0, 0.5 * span)
    return near_edge(alpha(axle) * a * (1 - a / span) + breadth(axle), axle, rule)


def cantilever(axle: StripInput) -> Floats:
    """1.2 a + b1, a from the root's face; a third of the cantilever's length along it at most."""
    rule = f"{NAME} annex B-3 cantilever"
    require(axle.ends == "cantilever", rule, "a cantilever")
    a = np.maximum(placed(axle, rule) - 0.5 * axle.support_width, 0.0)
    return near_edge(np.minimum(1.2 * a + breadth(axle), axle.slab_width / 3), axle, rule)


NEAR = (
    "A wheel close to the line is carried on little more than its own breadth, so a load position "
    "near the support may govern; the rule is meant for wheels well within the span."
)
CLEAR = "clear span (continuous), effective span (simply supported)"
SAGGING = StripMethod(
    standard=NAME,
    edition=EDITION,
    clause="annex B-3",
    mark="from memory",
    effect="sagging",
    bars="either",
    per="wheel",
    span=CLEAR,
    width=width,
    span_of=effective_span,
    union=True,
)
HOGGING = StripMethod(
    standard=NAME,
    edition=EDITION,
    clause="annex B-3",
    mark="from memory",
    effect="hogging",
    bars="either",
    per="wheel",
    span=CLEAR,
    width=width,
    span_of=effective_span,
    union=True,
    note=NEAR,
)
CANTILEVER = StripMethod(
    standard=NAME,
    edition=EDITION,
    clause="annex B-3, cantilever",
    mark="from memory",
    effect="overhang",
    bars="either",
    per="wheel",
    span="load to the root's face",
    width=cantilever,
    union=True,
)
METHODS = {"irc-sagging": SAGGING, "irc-hogging": HOGGING, "irc-cantilever": CANTILEVER}
