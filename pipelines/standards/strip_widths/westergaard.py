"""Westergaard's formulas of 1930 and the plain family load width + k a (1 - a/l)."""

from functools import partial

import numpy as np

from pipelines.standards.strip_widths.method import StripInput, StripMethod, placed, require
from plate.arrays import Floats

WESTERGAARD = "Westergaard"
PAPER = "Public Roads 11(1), 1930"
POISSON = 0.15


def circle(axle: StripInput) -> float:
    """Diameter of the circle of the contact's area [m]."""
    return 2.0 * float(np.sqrt(axle.contact[0] * axle.contact[1] / np.pi))


def _central(axle: StripInput, rule: str) -> float:
    require(axle.ends == "simple", rule, "a simply supported span")
    middle = bool(np.all(np.abs(placed(axle, rule) - 0.5 * axle.span) <= 0.01 * axle.span))
    require(middle, rule, "a wheel at mid-span")
    c = circle(axle)
    # Limit of our own: the exact strip was compared with the formula as far as that.
    require(c <= 0.4 * axle.span, rule, "a loaded circle of at most 0.4 of the span")
    return c


def westergaard_width(axle: StripInput) -> Floats:
    """0.58 S + 2 c, the width of the working formula P S / (2.32 S + 8 c)."""
    c = _central(axle, f"{WESTERGAARD} working formula")
    return np.full(np.shape(axle.position), 0.58 * axle.span + 2 * c)


def westergaard_moment(axle: StripInput, load: float) -> Floats:
    """0.21072 P (log10(S / c1) + 0.4825), nu = 0.15; the constant is (1 + nu) ln 10 / 4 pi.

    c1 = 2 (sqrt(0.4 c^2 + h^2) - 0.675 h) for the wheel on a slab of depth h, and c itself from
    c = 3.45 h on, where the two meet.
    """
    c, h = _central(axle, f"{WESTERGAARD} central wheel"), axle.depth
    c1 = 2.0 * (np.sqrt(0.4 * c**2 + h**2) - 0.675 * h) if c < 3.45 * h else c
    constant = (1 + POISSON) * np.log(10.0) / (4 * np.pi)
    moment = constant * load * (np.log10(axle.span / c1) + 0.4825)
    return np.full(np.shape(axle.position), moment)


def westergaard_secondary(axle: StripInput, load: float) -> Floats:
    """Moment across the strip: less than along it by (1 - nu) P / 4 pi = 0.0676 P."""
    return westergaard_moment(axle, load) - (1 - POISSON) * load / (4 * np.pi)


def plain_width(axle: StripInput, factor: float) -> Floats:
    """Load width + factor a (1 - a/l), a from the nearer support, l the clear span."""
    rule = "plain width"
    require(axle.ends != "cantilever", rule, "a span between two supports")
    span = clear_span(axle)
    a = np.clip(placed(axle, rule) - 0.5 * axle.support_width, 0.0, span)
    width = axle.contact[1] + factor * a * (1 - a / span)
    return np.minimum(width, axle.slab_width)


def clear_span(axle: StripInput) -> float:
    """Between faces of supports [m]."""
    return axle.span - axle.support_width


METHODS = {
    "westergaard-working": StripMethod(
        standard=WESTERGAARD,
        edition=PAPER,
        clause="working formula",
        mark="from memory",
        effect="sagging",
        bars="either",
        per="wheel",
        span="centre to centre of supports",
        width=westergaard_width,
        note="c is the diameter of the circle of the contact's area.",
    ),
    "westergaard-moment": StripMethod(
        standard=WESTERGAARD,
        edition=PAPER,
        clause="central wheel, along the span",
        mark="from memory",
        effect="sagging",
        bars="either",
        per="wheel",
        span="centre to centre of supports",
        width=None,
        moment=westergaard_moment,
        note="The printed form was not read; the constant is derived.",
    ),
    "westergaard-secondary": StripMethod(
        standard=WESTERGAARD,
        edition=PAPER,
        clause="central wheel, across the span",
        mark="from memory",
        effect="sagging",
        bars="either",
        per="wheel",
        span="centre to centre of supports",
        width=None,
        moment=westergaard_secondary,
        note="The printed form was not read; the constant is derived.",
    ),
    "as3600-sagging": StripMethod(
        standard="AS 3600",
        edition="2001",
        clause="9.6, one-way slabs, concentrated load, k = 2.4",
        mark="from memory",
        effect="sagging",
        bars="either",
        per="wheel",
        span="clear span",
        width=partial(plain_width, factor=2.4),
        span_of=clear_span,
        note="Away from free edges.",
    ),
    "bs8110-sagging": StripMethod(
        standard="BS 8110-1",
        edition="1997",
        clause="3.5.2.2, k = 2.4",
        mark="from memory",
        effect="sagging",
        bars="either",
        per="wheel",
        span="clear span",
        width=partial(plain_width, factor=2.4),
        span_of=clear_span,
    ),
}
