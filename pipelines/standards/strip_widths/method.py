"""What a hand strip method is asked, and what one is: the words shared by every method.

A strip spans between supports; `along` is the direction of its span, `across` is at right angles.
Main bars parallel to traffic: along is the traffic's direction. Bars across traffic: along is
across the deck, so a tyre's sides and an axle's spacings change places.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from pipelines.errors import MethodRangeError
from pipelines.standards.sources import Mark
from plate.arrays import Floats

Effect = Literal["sagging", "hogging", "overhang", "edge", "shear"]
Bars = Literal["parallel", "across"]
Ends = Literal["simple", "one end", "both ends", "cantilever"]

FOOT = 0.3048
INCH = 0.0254
KIP = 4448.2216152605  # newtons


@dataclass(frozen=True, kw_only=True)
class StripInput:
    """One load on one span of a strip.

    span : between centres of supports; of a cantilever its length from the support's centre [m].
    position : the load's centre from the support considered [m], a number or an array.
    contact : sides of the tyre's contact (along, across) the strip [m].
    depth : slab thickness [m]; surfacing : thickness over it [m].
    support_width : breadth of each support along the strip [m].
    slab_width : of the whole slab across the strip [m].
    edge_distance : of the load's centre from a free edge that runs along the strip [m]; None = far.
    ends : "simple", or which ends are continuous or clamped; "one end" counts positions from the
        clamped end for hogging and shear there.
    bars : main bars parallel or across traffic. skew_deg : of the supports.
    d : effective depth of the main bars [m], for shear.

    >>> strip = StripInput(
    ...     span=3.0, position=1.5, contact=(0.2, 0.5), depth=0.25, surfacing=0.08
    ... )
    >>> round(0.4 * strip.span + strip.contact[1] + 2 * strip.surfacing + strip.depth, 3)
    2.11
    """

    span: float
    position: float | Floats
    contact: tuple[float, float]
    depth: float
    surfacing: float = 0.0
    support_width: float = 0.0
    slab_width: float = np.inf
    edge_distance: float | None = None
    ends: Ends = "simple"
    bars: Bars = "parallel"
    skew_deg: float = 0.0
    d: float | None = None


def own_span(axle: StripInput) -> float:
    """The span as it is put in [m]."""
    return axle.span


@dataclass(frozen=True, kw_only=True)
class StripMethod:
    """A published rule for the width that carries a wheel, or for the moment itself.

    per : what the width carries: one wheel, one line of wheels (half an axle), one axle, or all
        axles of a lane. bars : main bars for which the rule is meant.
    span : which span the rule reads, in words; span_of gives it in metres.
    width : effective width [m]; moment : moment per metre [N m/m] of a load [N], for rules that
        give the moment; one of the two is None.
    union : whether the widths of wheels side by side may be joined where they overlap.
    note : what a reader must know before trusting it. mark : how far it is to
        be trusted (`standards.sources`), "" for a user's own.
    Both functions raise MethodRangeError outside the rule's range.
    """

    standard: str
    edition: str
    clause: str
    mark: Mark | Literal[""]
    effect: Effect
    bars: Literal["parallel", "across", "either"]
    per: Literal["wheel", "wheel line", "axle", "lane"]
    span: str
    width: Callable[[StripInput], Floats] | None = None
    moment: Callable[[StripInput, float], Floats] | None = None
    span_of: Callable[[StripInput], float] = own_span
    union: bool = False
    note: str = ""

    @property
    def name(self) -> str:
        return f"{self.standard} {self.clause}"


def require(condition: bool, rule: str, limit: str) -> None:
    """Raise MethodRangeError naming the rule and the limit that is not met."""
    if not condition:
        raise MethodRangeError(f"{rule}: outside its range, which asks for {limit}")


def placed(axle: StripInput, rule: str) -> Floats:
    """The load's position as an array [m], checked to lie on the span."""
    x = np.asarray(axle.position, dtype=float)
    on = bool(np.all((x >= -1e-9) & (x <= axle.span * (1 + 1e-9))))
    require(on, rule, f"a load on the span, 0 to {axle.span:.3g} m")
    return np.asarray(np.clip(x, 0.0, axle.span))


def near_edge(width: Floats, axle: StripInput, rule: str) -> Floats:
    """Half the width and the distance to a free edge, where that is less; the slab at most."""
    if axle.edge_distance is not None:
        require(axle.edge_distance >= 0, rule, "a load on the slab")
        width = np.minimum(width, 0.5 * width + axle.edge_distance)
    return np.asarray(np.minimum(width, axle.slab_width))
