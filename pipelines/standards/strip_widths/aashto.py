"""AASHTO strips: LRFD equivalent strips and the older Standard Specifications.

The rules are printed in feet and inches; spans enter and widths leave in metres. Constants from
memory: AASHTO LRFD Bridge Design Specifications 9th edition (2020), Standard Specifications for
Highway Bridges 17th edition (2002). The multiple presence factor and the dynamic load allowance
are not part of a width.
"""

import numpy as np

from pipelines.standards.strip_widths.method import (
    FOOT,
    INCH,
    StripInput,
    StripMethod,
    placed,
    require,
)
from plate.arrays import Floats

LRFD = "AASHTO LRFD"
LRFD_EDITION = "9th edition (2020)"
STANDARD = "AASHTO Standard Specifications"
STANDARD_EDITION = "17th edition (2002)"
SLAB_SPAN = 15 * FOOT  # longer spans along traffic are slab bridges
BOTH_WAYS = (
    "The table gives concrete decks one width for bars parallel and across traffic. Along traffic "
    "one strip carries a whole axle: the article limits such strips to 144 in, which spans of up "
    "to 15 ft do not reach. That reading is from memory and should be confirmed."
)


def _interior(axle: StripInput, constant: float, per_foot: float, rule: str) -> Floats:
    require(axle.ends != "cantilever", rule, "a span between two supports")
    if axle.bars == "parallel":
        require(
            axle.span <= SLAB_SPAN,
            rule,
            "spans of at most 15 ft (4.57 m) along traffic; longer ones are slab bridges (4.6.2.3)",
        )
    return np.full(np.shape(axle.position), (constant + per_foot * axle.span / FOOT) * INCH)


def lrfd_sagging(axle: StripInput) -> Floats:
    """26.0 + 6.6 S inches, S in ft between centres of supports."""
    return _interior(axle, 26.0, 6.6, "AASHTO LRFD 4.6.2.1.3 +M")


def lrfd_hogging(axle: StripInput) -> Floats:
    """48.0 + 3.0 S inches, S in ft between centres of supports."""
    return _interior(axle, 48.0, 3.0, "AASHTO LRFD 4.6.2.1.3 -M")


def lrfd_overhang(axle: StripInput) -> Floats:
    """45.0 + 10.0 X inches, X in ft from the load to the support's centre."""
    rule = "AASHTO LRFD 4.6.2.1.3 overhang"
    require(axle.ends == "cantilever", rule, "an overhang")
    x = placed(axle, rule)
    return np.asarray((45.0 + 10.0 * x / FOOT) * INCH)


def lrfd_transverse_edge(axle: StripInput) -> Floats:
    """Edge along the bars: half the strip and the edge's distance, at most the strip.

    `edge_distance` is from the deck's transverse edge to the first line of support.
    """
    rule = "AASHTO LRFD 4.6.2.1.4c"
    require(axle.bars == "across", rule, "bars across traffic, so that the edge runs along them")
    require(axle.edge_distance is not None, rule, "the distance from the edge to the support line")
    assert axle.edge_distance is not None
    full = lrfd_sagging(axle)
    return np.minimum(full, 0.5 * full + axle.edge_distance)


def lrfd_longitudinal_edge(axle: StripInput) -> Floats:
    """Edge along traffic: barrier + 12 in + a quarter strip, at most half a strip or 72 in.

    Carries one line of wheels; `edge_distance` is from the edge to the barrier's inner face.
    """
    rule = "AASHTO LRFD 4.6.2.1.4b"
    require(
        axle.bars == "parallel", rule, "bars parallel to traffic, so that the edge cuts no bars"
    )
    require(
        axle.edge_distance is not None, rule, "the distance from the edge to the barrier's face"
    )
    assert axle.edge_distance is not None
    full = lrfd_sagging(axle)
    return np.minimum(
        axle.edge_distance + 12 * INCH + 0.25 * full, np.minimum(0.5 * full, 72 * INCH)
    )


def lrfd_slab_bridge(axle: StripInput) -> Floats:
    """10 + 5 sqrt(L1 W1) inches for one loaded lane; presence factor included."""
    rule = "AASHTO LRFD 4.6.2.3"
    require(axle.bars == "parallel", rule, "bars parallel to traffic")
    require(axle.span > SLAB_SPAN, rule, "spans over 15 ft (4.57 m)")
    require(bool(np.isfinite(axle.slab_width)), rule, "the slab's width")
    length, width = min(axle.span / FOOT, 60.0), min(axle.slab_width / FOOT, 30.0)
    lane = (10.0 + 5.0 * np.sqrt(length * width)) * INCH
    return np.full(np.shape(axle.position), min(lane, axle.slab_width))


def standard_span(axle: StripInput) -> float:
    """Between edges of flanges and half a flange (steel beams): S less half the flange width."""
    return axle.span - 0.5 * axle.support_width


def standard_across(axle: StripInput, load: float) -> Floats:
    """(S + 2)/32 times the wheel, S in ft; 0.8 of it where the slab is continuous."""
    rule = "AASHTO Standard Specifications 3.24.3.1"
    span = standard_span(axle) / FOOT
    require(axle.bars == "across", rule, "main bars across traffic")
    require(2.0 <= span <= 24.0, rule, "spans of 2 to 24 ft (0.61 to 7.3 m)")
    require(abs(axle.skew_deg) <= 20.0, rule, "a skew of at most 20 degrees")
    factor = 1.0 if axle.ends == "simple" else 0.8
    return np.full(np.shape(axle.position), factor * load * (span + 2.0) / 32.0)


def standard_along(axle: StripInput) -> Floats:
    """E = 4 + 0.06 S ft, at most 7 ft, for one line of wheels."""
    rule = "AASHTO Standard Specifications 3.24.3.2"
    require(axle.bars == "parallel", rule, "main bars parallel to traffic")
    require(abs(axle.skew_deg) <= 20.0, rule, "a skew of at most 20 degrees")
    require(axle.ends != "cantilever", rule, "a span between two supports")
    width = min(4.0 + 0.06 * standard_span(axle) / FOOT, 7.0) * FOOT
    return np.full(np.shape(axle.position), width)


def standard_cantilever_across(axle: StripInput) -> Floats:
    """E = 0.8 X + 3.75 ft, bars across traffic."""
    rule = "AASHTO Standard Specifications 3.24.5.1.1"
    require(
        axle.ends == "cantilever" and axle.bars == "across", rule, "a cantilever across traffic"
    )
    x = placed(axle, rule)
    return np.asarray((0.8 * x / FOOT + 3.75) * FOOT)


def standard_cantilever_along(axle: StripInput) -> Floats:
    """E = 0.35 X + 3.2 ft, at most 7 ft, bars parallel to traffic."""
    rule = "AASHTO Standard Specifications 3.24.5.1.2"
    require(
        axle.ends == "cantilever" and axle.bars == "parallel", rule, "a cantilever along traffic"
    )
    x = placed(axle, rule)
    return np.asarray(np.minimum(0.35 * x / FOOT + 3.2, 7.0) * FOOT)


CENTRES = "centre to centre of supports"
FLANGES = "between flange edges plus half a flange (slab on steel beams)"
LRFD_SAGGING = StripMethod(
    standard=LRFD,
    edition=LRFD_EDITION,
    clause="table 4.6.2.1.3-1, +M",
    mark="from memory",
    effect="sagging",
    bars="either",
    per="axle",
    span=CENTRES,
    width=lrfd_sagging,
    note=BOTH_WAYS,
)
LRFD_HOGGING = StripMethod(
    standard=LRFD,
    edition=LRFD_EDITION,
    clause="table 4.6.2.1.3-1, -M",
    mark="from memory",
    effect="hogging",
    bars="either",
    per="axle",
    span=CENTRES,
    width=lrfd_hogging,
    note=BOTH_WAYS,
)
LRFD_OVERHANG = StripMethod(
    standard=LRFD,
    edition=LRFD_EDITION,
    clause="table 4.6.2.1.3-1, overhang",
    mark="from memory",
    effect="overhang",
    bars="either",
    per="axle",
    span="load to the support's centre",
    width=lrfd_overhang,
)
METHODS = {
    "aashto-lrfd-sagging": LRFD_SAGGING,
    "aashto-lrfd-hogging": LRFD_HOGGING,
    "aashto-lrfd-overhang": LRFD_OVERHANG,
    "aashto-lrfd-transverse-edge": StripMethod(
        standard=LRFD,
        edition=LRFD_EDITION,
        clause="4.6.2.1.4c",
        mark="from memory",
        effect="edge",
        bars="across",
        per="axle",
        span=CENTRES,
        width=lrfd_transverse_edge,
    ),
    "aashto-lrfd-longitudinal-edge": StripMethod(
        standard=LRFD,
        edition=LRFD_EDITION,
        clause="4.6.2.1.4b",
        mark="from memory",
        effect="edge",
        bars="parallel",
        per="wheel line",
        span=CENTRES,
        width=lrfd_longitudinal_edge,
    ),
    "aashto-lrfd-slab-bridge": StripMethod(
        standard=LRFD,
        edition=LRFD_EDITION,
        clause="4.6.2.3, one lane",
        mark="from memory",
        effect="sagging",
        bars="parallel",
        per="lane",
        span="span, at most 60 ft",
        width=lrfd_slab_bridge,
        note="The presence factor 1.2 of a single lane is inside the width.",
    ),
    "aashto-standard-across": StripMethod(
        standard=STANDARD,
        edition=STANDARD_EDITION,
        clause="3.24.3.1",
        mark="from memory",
        effect="sagging",
        bars="across",
        per="wheel",
        span=FLANGES,
        width=None,
        moment=standard_across,
        span_of=standard_span,
    ),
    "aashto-standard-along": StripMethod(
        standard=STANDARD,
        edition=STANDARD_EDITION,
        clause="3.24.3.2",
        mark="from memory",
        effect="sagging",
        bars="parallel",
        per="wheel line",
        span=FLANGES,
        width=standard_along,
        moment=None,
        span_of=standard_span,
    ),
    "aashto-standard-cantilever-across": StripMethod(
        standard=STANDARD,
        edition=STANDARD_EDITION,
        clause="3.24.5.1.1",
        mark="from memory",
        effect="overhang",
        bars="across",
        per="wheel",
        span="load to the support",
        width=standard_cantilever_across,
    ),
    "aashto-standard-cantilever-along": StripMethod(
        standard=STANDARD,
        edition=STANDARD_EDITION,
        clause="3.24.5.1.2",
        mark="from memory",
        effect="overhang",
        bars="parallel",
        per="wheel",
        span="load to the support",
        width=standard_cantilever_along,
    ),
}
