"""Table A4-1 of AASHTO LRFD: live-load moments of decks on girders, main bars across traffic.

The table's positive moments are held here, from memory; a beam on 3 to 6 girders under wheels of
16 kip on the equivalent strip of 4.6.2.1.3, what the table is computed from, comes within 2 % of
them (in the tests). Its negative moments depend on the distance of the design section from the
girder and are not held: the equivalent strip for -M is another method of the library.
"""

import numpy as np

from pipelines.standards.strip_widths.method import FOOT, KIP, StripInput, StripMethod, require
from plate.arrays import Floats

RULE = "AASHTO LRFD table A4-1"
LEAST_GIRDERS = 3
LEAST_BETWEEN = 14 * FOOT  # centre lines of the outermost girders
WHEEL = 16 * KIP

# S from 4 ft in steps of 3 in; +M [kip ft/ft] with the dynamic load allowance and presence factors
_FIRST, _STEP = 4.0, 0.25
_SAGGING = (
    4.68, 4.66, 4.63, 4.64, 4.65, 4.67, 4.71, 4.77, 4.83, 4.91, 5.00, 5.10, 5.21, 5.32, 5.44,
    5.56, 5.69, 5.83, 5.99, 6.14, 6.29, 6.44, 6.59, 6.74, 6.89, 7.03, 7.17, 7.32, 7.46, 7.60,
    7.74, 7.88, 8.01, 8.15, 8.28, 8.41, 8.54, 8.66, 8.78, 8.90, 9.02, 9.14, 9.25, 9.36, 9.47,
)  # fmt: skip
_SPANS = _FIRST + _STEP * np.arange(len(_SAGGING))


def deck_sagging(axle: StripInput, load: float) -> Floats:
    """Sagging moment [N m/m] of HL-93 axles whose wheel is `load` [N], 16 kip in the table; with
    its dynamic load allowance and presence factors. Linear between the table's spans.

    Raises MethodRangeError for bars along traffic, cantilevers and spans outside 4 to 15 ft.
    """
    require(axle.bars == "across", RULE, "main bars across traffic, over girders along it")
    require(axle.ends != "cantilever", RULE, "a span between two girders")
    feet = axle.span / FOOT
    allowed = "girders 4 to 15 ft (1.22 to 4.57 m) apart"
    require(_SPANS[0] - 1e-9 <= feet <= _SPANS[-1] + 1e-9, RULE, allowed)
    per_foot = float(np.interp(feet, _SPANS, _SAGGING))
    return np.full(np.shape(axle.position), per_foot * KIP * load / WHEEL)


def require_girders(places: Floats) -> None:
    """Raise MethodRangeError unless the girders at offsets (n,) [m] are those of the table."""
    limit = "at least three girders, the outermost 14 ft (4.27 m) apart or more"
    enough = len(places) >= LEAST_GIRDERS and np.ptp(places) >= LEAST_BETWEEN * (1 - 1e-9)
    require(bool(enough), RULE, limit)


DECK_TABLE = StripMethod(
    standard="AASHTO LRFD",
    edition="9th edition (2020)",
    clause="table A4-1, +M",
    mark="from memory",
    effect="sagging",
    bars="across",
    per="lane",
    span="centre to centre of girders",
    width=None,
    moment=deck_sagging,
    note=(
        "For at least three girders, the outermost 14 ft apart or more, 4 to 15 ft between "
        "neighbours. Dynamic load allowance and presence factors are in the values."
    ),
)
