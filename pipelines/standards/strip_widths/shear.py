"""Widths for one-way shear of slabs without links under a wheel near a line support.

The resultant beam shear of the wheel is taken uniform over the width. These widths count on
redistribution before failure: the elastic peak is narrower, often by half. They belong with a
punching check of the same wheel. For a qualified engineer to judge.
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


def clear_distance(axle: StripInput, rule: str) -> Floats:
    """a_v [m]: from the support's face to the near side of the loaded area."""
    x = placed(axle, rule)
    require(bool(np.all(x <= 0.5 * axle.span + 1e-9)), rule, "the support nearer to the load")
    a_v = x - 0.5 * (axle.support_width + axle.contact[0])
    require(bool(np.all(a_v > 0)), rule, "a load clear of the support's face")
    return a_v


def far_side(axle: StripInput) -> Floats:
    """45 degrees from the far side of the loaded area to the face; at least 4 d where d is given.

    French practice, recommended after tests by Lantsoght, van der Veen and Walraven, ACI Structural
    Journal 110 (2013), with the bound 4 d (from memory).
    """
    rule = "45 degrees from the far side"
    width = axle.contact[1] + 2 * (clear_distance(axle, rule) + axle.contact[0])
    return near_edge(np.maximum(width, 4 * (axle.d or 0.0)), axle, rule)


def centre(axle: StripInput) -> Floats:
    """45 degrees from the centre of the loaded area to the face (older Dutch practice)."""
    rule = "45 degrees from the centre"
    width = axle.contact[1] + 2 * (clear_distance(axle, rule) + 0.5 * axle.contact[0])
    return near_edge(width, axle, rule)


def control_section(axle: StripInput, rule: str = "fib Model Code 2010 7.3.3.1") -> Floats:
    """Distance of the control section from the support's face [m]: the lesser of d and a_v/2."""
    require(axle.d is not None, rule, "the effective depth d")
    assert axle.d is not None
    return np.minimum(axle.d, 0.5 * clear_distance(axle, rule))


def model_code(axle: StripInput) -> Floats:
    """Spread from the near side of the loaded area to the control section.

    At 45 degrees to the span direction for clamped or continuous supports, 60 degrees for simple
    ones. The angles are from memory; their sense follows elastic plates, where a clamped edge
    takes a wheel in a narrower band (1930: 1.57 u against 2.2 u of peak reaction for a load at u).
    The start at the near side is the cautious one.
    """
    rule = "fib Model Code 2010 7.3.3.1"
    require(axle.ends != "cantilever", rule, "a span between two supports")
    tangent = np.sqrt(3.0) if axle.ends == "simple" else 1.0
    reach = clear_distance(axle, rule) - control_section(axle, rule)
    return near_edge(axle.contact[1] + 2 * tangent * reach, axle, rule)


FACE = "load to the support's face"
METHODS = {
    "shear-45-far-side": StripMethod(
        standard="French practice",
        edition="",
        clause="45 degrees from the far side",
        mark="common practice",
        effect="shear",
        bars="either",
        per="wheel",
        span=FACE,
        width=far_side,
        union=True,
    ),
    "shear-45-centre": StripMethod(
        standard="Dutch practice",
        edition="",
        clause="45 degrees from the centre",
        mark="common practice",
        effect="shear",
        bars="either",
        per="wheel",
        span=FACE,
        width=centre,
        union=True,
    ),
    "shear-model-code-2010": StripMethod(
        standard="fib Model Code 2010",
        edition="2013 print",
        clause="7.3.3.1",
        mark="from memory",
        effect="shear",
        bars="either",
        per="wheel",
        span=FACE,
        width=model_code,
        union=True,
        note="Angles and the start of the spread with less certainty.",
    ),
}
