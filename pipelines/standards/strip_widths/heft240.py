"""Effective widths of DAfStb Heft 240: moments and shears of one-way slabs under one patch.

Deutscher Ausschuss für Stahlbeton, Heft 240 (3rd edition, 1991), table of load distribution widths,
from memory; EN 1992 itself gives no rule and leaves it to such practice. The width divides the
moment or shear of the one-way beam.

t = contact + 2 surfacing + depth on each side (45 degrees to mid-depth), t_y across the strip.
"""

from functools import partial
from typing import Literal

import numpy as np

from pipelines.standards.strip_widths.method import (
    Ends,
    StripInput,
    StripMethod,
    near_edge,
    placed,
    require,
)
from plate.arrays import Floats

NAME = "DAfStb Heft 240"
EDITION = "3rd edition (1991)"
Quantity = Literal["m_F", "m_S", "v_S", "v_S pinned"]
UNION = (
    "Where the widths of neighbouring wheels overlap they are taken as one width for their common "
    "load (common practice; the table is for one load)."
)


def loaded(axle: StripInput) -> tuple[float, float]:
    """t_x along and t_y across the strip [m]."""
    spread = 2 * axle.surfacing + axle.depth
    return axle.contact[0] + spread, axle.contact[1] + spread


def _limits(axle: StripInput, rule: str, tx_share: float, ty_share: float) -> tuple[Floats, float]:
    tx, ty = loaded(axle)
    require(
        ty <= ty_share * axle.span,
        rule,
        f"t_y at most {ty_share:g} of the span, here {ty:.3g} m on {axle.span:.3g} m",
    )
    require(
        tx <= tx_share * axle.span,
        rule,
        f"t_x at most {tx_share:g} of the span, here {tx:.3g} m on {axle.span:.3g} m",
    )
    return placed(axle, rule), ty


def sagging(axle: StripInput) -> Floats:
    """t_y + k x (1 - x/l): k = 2.5 simple, 1.5 with one end fixed, 1 with both ends fixed."""
    rule = f"{NAME} span moment"
    require(axle.ends != "cantilever", rule, "a span between two supports")
    x, ty = _limits(axle, rule, 1.0, 0.8)
    k = {"simple": 2.5, "one end": 1.5, "both ends": 1.0}[axle.ends]
    return near_edge(ty + k * x * (1 - x / axle.span), axle, rule)


def hogging(axle: StripInput) -> Floats:
    """t_y + 0.5 x (2 - x/l), x from the fixed end whose moment is wanted."""
    rule = f"{NAME} fixed-end moment"
    require(axle.ends in ("one end", "both ends"), rule, "an end that is fixed or continuous")
    x, ty = _limits(axle, rule, 1.0, 0.8 if axle.ends == "one end" else 0.4)
    return near_edge(ty + 0.5 * x * (2 - x / axle.span), axle, rule)


def cantilever(axle: StripInput) -> Floats:
    """max(t_y, 0.2 l_k) + 1.5 x, x from the root."""
    rule = f"{NAME} cantilever moment"
    require(axle.ends == "cantilever", rule, "a cantilever")
    x, ty = _limits(axle, rule, 1.0, 0.8)
    return near_edge(max(ty, 0.2 * axle.span) + 1.5 * x, axle, rule)


def shear(axle: StripInput) -> Floats:
    """t_y + k x, x from the support considered: k = 0.5 simple, 0.3 at a fixed end.

    For the pinned end of a span fixed at the other see `shear_pinned`.
    """
    rule = f"{NAME} support shear"
    require(axle.ends != "cantilever", rule, "a span between two supports")
    if axle.ends == "simple":
        x, ty = _limits(axle, rule, 1.0, 0.8)
        return near_edge(ty + 0.5 * x, axle, rule)
    x, ty = _limits(axle, rule, 0.2, 0.4)
    require(bool(np.all(x >= 0.2 * axle.span)), rule, "a load at least 0.2 of the span away")
    return near_edge(ty + 0.3 * x, axle, rule)


def shear_pinned(axle: StripInput) -> Floats:
    """t_y + 0.4 x at the pinned end of a span fixed at the other, x from the pinned end."""
    rule = f"{NAME} shear at the pinned end"
    require(axle.ends == "one end", rule, "a span with one end fixed")
    x, ty = _limits(axle, rule, 0.2, 0.4)
    require(bool(np.all(x >= 0.2 * axle.span)), rule, "a load at least 0.2 of the span away")
    return near_edge(ty + 0.4 * x, axle, rule)


def cantilever_shear(axle: StripInput) -> Floats:
    """max(t_y, 0.2 l_k) + 0.3 x, x from the root."""
    rule = f"{NAME} cantilever shear"
    require(axle.ends == "cantilever", rule, "a cantilever")
    x, ty = _limits(axle, rule, 0.2, 0.4)
    require(bool(np.all(x >= 0.2 * axle.span)), rule, "a load at least 0.2 l_k from the root")
    return near_edge(max(ty, 0.2 * axle.span) + 0.3 * x, axle, rule)


# Line load over the whole span (t_x = l), as shares of the span or of l_k: published for
# t_y = 0.05 l and for t_y = 0.10 l.
LINE_LOAD: dict[tuple[Ends, Quantity], tuple[float, float]] = {
    ("simple", "m_F"): (1.36, 1.36),
    ("simple", "v_S"): (0.25, 0.30),
    ("one end", "m_F"): (1.01, 1.01),
    ("one end", "m_S"): (0.67, 0.67),
    ("one end", "v_S"): (0.25, 0.30),
    ("one end", "v_S pinned"): (0.17, 0.21),
    ("both ends", "m_F"): (0.86, 0.86),
    ("both ends", "m_S"): (0.52, 0.52),
    ("both ends", "v_S"): (0.21, 0.25),
    ("cantilever", "m_S"): (1.35, 1.35),
    ("cantilever", "v_S"): (0.36, 0.43),
}


def line_load(axle: StripInput, quantity: Quantity) -> Floats:
    """Width for a load over the whole span, linear between the two breadths of the table."""
    rule = f"{NAME} line load"
    require((axle.ends, quantity) in LINE_LOAD, rule, f"ends that have {quantity}, not {axle.ends}")
    share = loaded(axle)[1] / axle.span
    require(0.05 <= share <= 0.10, rule, f"t_y of 0.05 to 0.10 of the span, here {share:.3g}")
    width = axle.span * np.interp(share, (0.05, 0.10), LINE_LOAD[axle.ends, quantity])
    return np.full(np.shape(axle.position), width)


SPAN = "theoretical span, centre to centre of supports"
SAGGING = StripMethod(
    standard=NAME,
    edition=EDITION,
    clause="span moment m_F",
    mark="from memory",
    effect="sagging",
    bars="either",
    per="wheel",
    span=SPAN,
    width=sagging,
    union=True,
    note=UNION,
)
HOGGING = StripMethod(
    standard=NAME,
    edition=EDITION,
    clause="fixed-end moment m_S",
    mark="from memory",
    effect="hogging",
    bars="either",
    per="wheel",
    span=SPAN,
    width=hogging,
    union=True,
    note=UNION,
)
CANTILEVER = StripMethod(
    standard=NAME,
    edition=EDITION,
    clause="cantilever moment m_S",
    mark="from memory",
    effect="overhang",
    bars="either",
    per="wheel",
    span="load to the root, length of the cantilever",
    width=cantilever,
    union=True,
    note=UNION,
)
METHODS = {
    "heft240-sagging": SAGGING,
    "heft240-hogging": HOGGING,
    "heft240-cantilever": CANTILEVER,
    "heft240-shear": StripMethod(
        standard=NAME,
        edition=EDITION,
        clause="support shear v_S",
        mark="from memory",
        effect="shear",
        bars="either",
        per="wheel",
        span=SPAN,
        width=shear,
        union=True,
        note=UNION,
    ),
    "heft240-shear-pinned": StripMethod(
        standard=NAME,
        edition=EDITION,
        clause="shear at the pinned end v_S",
        mark="from memory",
        effect="shear",
        bars="either",
        per="wheel",
        span=SPAN,
        width=shear_pinned,
        union=True,
        note=UNION,
    ),
    "heft240-cantilever-shear": StripMethod(
        standard=NAME,
        edition=EDITION,
        clause="cantilever shear v_S",
        mark="from memory",
        effect="shear",
        bars="either",
        per="wheel",
        span=SPAN,
        width=cantilever_shear,
        union=True,
        note=UNION,
    ),
    "heft240-line-sagging": StripMethod(
        standard=NAME,
        edition=EDITION,
        clause="line load, m_F",
        mark="from memory",
        effect="sagging",
        bars="either",
        per="wheel",
        span=SPAN,
        width=partial(line_load, quantity="m_F"),
    ),
    "heft240-line-hogging": StripMethod(
        standard=NAME,
        edition=EDITION,
        clause="line load, m_S",
        mark="from memory",
        effect="hogging",
        bars="either",
        per="wheel",
        span=SPAN,
        width=partial(line_load, quantity="m_S"),
    ),
    "heft240-line-shear": StripMethod(
        standard=NAME,
        edition=EDITION,
        clause="line load, v_S",
        mark="from memory",
        effect="shear",
        bars="either",
        per="wheel",
        span=SPAN,
        width=partial(line_load, quantity="v_S"),
    ),
    "heft240-line-shear-pinned": StripMethod(
        standard=NAME,
        edition=EDITION,
        clause="line load, v_S at the pinned end",
        mark="from memory",
        effect="shear",
        bars="either",
        per="wheel",
        span=SPAN,
        width=partial(line_load, quantity="v_S pinned"),
    ),
}
