"""Strip methods of the user's own: what a file or package gives, and the methods made of it."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from types import MappingProxyType
from typing import Literal, get_args

import numpy as np

from pipelines.errors import MethodRangeError, OwnError
from pipelines.standards.own.code import MARK, OwnCode, OwnFunction, check_text
from pipelines.standards.strip_widths import heft240
from pipelines.standards.strip_widths.method import Effect, StripInput, StripMethod, near_edge
from pipelines.standards.strip_widths.sets import FIRST_SET, Share, StripSet
from plate.arrays import Floats

Per = Literal["axle", "wheel line", "wheel"]
WidthOf = Literal["load", "section"]
WIDTHS: tuple[Effect, ...] = ("sagging", "hogging", "overhang", "edge", "shear")
MOMENTS: tuple[Effect, ...] = ("sagging", "hogging")
# A width [m] and a moment [kNm/m] beyond which there is a slip of unit.
WIDEST, MOST_MOMENT = 1000.0, 1e5
ONE_LOAD = (
    "The moment is that of the heaviest axle of the load by itself, in the middle of the bay."
)


@dataclass(frozen=True, kw_only=True)
class OwnStrip:
    """A strip method that gives widths; one entry of a file's list `strips`.

    name, source : for print, in findings, studies and reports; the mark is "user's".
    sagging, hogging, overhang, edge, shear : width [m] that carries what `per` says, as a function
        of one load on one span (`StripInput`, its position a number); None where the method has no
        rule. A function may raise MethodRangeError with words of its own. Widths for moments but
        that along a free edge are cut there: half of them and the distance to it. Without `edge`
        that for sagging is taken, without `shear` rules of common practice are. For shear the
        position counts from the line beside which it is read, and d is the effective depth.
    per : a whole axle, a line of wheels (half an axle), or a wheel. width_of : each load has the
        width of its own place, or the least of a bay belongs to the section and carries every load.
    joined : whether widths of wheels side by side may be joined where they overlap.
    patch : loaded sides of a wheel along and across the strip [m]; None = the contact, spread at 45
        degrees through surfacing and half the slab.
    across : moment of the bars at right angles as a share of the strip's own; None = no rule.

    >>> rule = OwnStrip(
    ...     name="office rule",
    ...     source="office note 12",
    ...     sagging=lambda strip: 0.4 * strip.span + 1.2,
    ... )
    """

    name: str
    source: str
    sagging: Callable[[StripInput], float] | None = None
    hogging: Callable[[StripInput], float] | None = None
    overhang: Callable[[StripInput], float] | None = None
    edge: Callable[[StripInput], float] | None = None
    shear: Callable[[StripInput], float] | None = None
    per: Per = "axle"
    width_of: WidthOf = "load"
    joined: bool = False
    patch: Callable[[StripInput], tuple[float, float]] | None = None
    across: float | None = None


@dataclass(frozen=True, kw_only=True)
class OwnMoment:
    """A strip method that gives moments; one entry of a file's list `strips`.

    sagging, hogging : moment per metre [kNm/m], a magnitude, as a function of one load on one span,
        in its middle, and of the load [kN] of what `per` says, with impact; None = no rule.
    name, source, per : as of `OwnStrip`.

    >>> rule = OwnMoment(
    ...     name="office moment",
    ...     source="office note 13",
    ...     sagging=lambda strip, load: load * strip.span / 4 / (0.4 * strip.span + 1.2),
    ... )
    """

    name: str
    source: str
    sagging: Callable[[StripInput, float], float] | None = None
    hogging: Callable[[StripInput, float], float] | None = None
    per: Per = "axle"


@dataclass(frozen=True)
class OwnRules:
    """The strip methods of a deck's own code: sets of widths, and rules for moments."""

    sets: tuple[StripSet, ...] = ()
    moments: tuple[StripMethod, ...] = ()

    @property
    def names(self) -> tuple[str, ...]:
        """Of all methods."""
        moments = dict.fromkeys(one.standard for one in self.moments)
        return (*(one.name for one in self.sets), *moments)


@lru_cache(maxsize=64)
def own_rules(code: OwnCode) -> OwnRules:
    """The methods that a file or package gives. Raises OwnError for what is not allowed in them."""
    sets: list[StripSet] = []
    moments: list[StripMethod] = []
    names = [one.name for one in FIRST_SET]
    for number, one in enumerate(code.given("strips")):
        where = f"{code.name}, strips {number + 1}"
        if isinstance(one, OwnStrip):
            _check(one, where, WIDTHS, names)
            sets.append(_set(one, code, number))
        elif isinstance(one, OwnMoment):
            _check(one, where, MOMENTS, names)
            moments += _moments(one, code, number)
        else:
            raise OwnError(f"{where} is a {type(one).__name__}: allowed is OwnStrip or OwnMoment")
        names.append(one.name)
    return OwnRules(tuple(sets), tuple(moments))


def _check(
    one: OwnStrip | OwnMoment, where: str, parts: Sequence[str], names: Sequence[str]
) -> None:
    for key in ("name", "source"):
        check_text(getattr(one, key), f"{where}, {key}")
    if one.name in names:
        raise OwnError(f'{where}, name "{one.name}": another method has this name')
    rules = {part: getattr(one, part) for part in parts}
    if not any(rules.values()):
        raise OwnError(f"{where} has no rule: give one or more of {', '.join(parts)}")
    if isinstance(one, OwnStrip):
        rules["patch"] = one.patch
        if one.width_of not in get_args(WidthOf):
            raise OwnError(f'{where}, width_of: allowed is "load" or "section"')
        if one.across is not None and not 0.0 <= one.across <= 1.0:
            raise OwnError(f"{where}, across: allowed is a share of 0 to 1")
    for part, rule in rules.items():
        if rule is not None and not callable(rule):
            raise OwnError(f"{where}, {part} is no function")
    if one.per not in get_args(Per):
        raise OwnError(f'{where}, per: allowed is "axle", "wheel line" or "wheel"')


def _set(one: OwnStrip, code: OwnCode, number: int) -> StripSet:
    def method(effect: Effect, part: Effect) -> StripMethod:
        given = getattr(one, part) is not None
        rule = OwnFunction(code, "strips", number, part) if given else None
        return StripMethod(
            standard=one.name,
            edition="",
            clause=one.source,
            mark=MARK,
            effect=effect,
            bars="either",
            per=one.per,
            span="centre to centre of supports",
            width=OwnWidth(one.name, part, rule),
            union=one.joined,
        )

    edge = method("edge", "sagging" if one.edge is None else "edge")
    across = None if one.across is None else float(one.across)
    patched = OwnPatch(OwnFunction(code, "strips", number, "patch"))
    return StripSet(
        name=one.name,
        sagging=method("sagging", "sagging"),
        hogging=method("hogging", "hogging"),
        overhang=method("overhang", "overhang"),
        edge=MappingProxyType({"parallel": edge, "across": edge}),
        edge_from="wheel",
        width_of=one.width_of,
        patch=heft240.loaded if one.patch is None else patched,
        share=Share(one.source, MARK, OwnShare(one.name, across)),
        shear=None if one.shear is None else method("shear", "shear"),
    )


def _moments(one: OwnMoment, code: OwnCode, number: int) -> list[StripMethod]:
    return [
        StripMethod(
            standard=one.name,
            edition="",
            clause=one.source,
            mark=MARK,
            effect=part,
            bars="either",
            per=one.per,
            span="centre to centre of supports",
            moment=OwnMomentRule(OwnFunction(code, "strips", number, part)),
            note=ONE_LOAD,
        )
        for part in MOMENTS
        if getattr(one, part) is not None
    ]


@dataclass(frozen=True)
class OwnWidth:
    """A width of the user's, asked place by place; rule : None where there is none."""

    name: str
    part: Effect
    rule: OwnFunction | None

    def __call__(self, one: StripInput) -> Floats:
        if self.rule is None:
            raise MethodRangeError(f"{self.name} has no width for this section ({self.part})")
        places = np.asarray(one.position, dtype=float)
        widths = [
            self.rule.value(replace(one, position=x), unit="m", most=WIDEST)
            for x in places.ravel().tolist()
        ]
        found = np.array(widths).reshape(places.shape)
        if self.part in ("edge", "shear"):
            return np.asarray(np.minimum(found, one.slab_width))
        return near_edge(found, one, self.name)


@dataclass(frozen=True)
class OwnPatch:
    """Loaded sides of a wheel along and across the strip [m]."""

    rule: OwnFunction

    def __call__(self, one: StripInput) -> tuple[float, float]:
        found = self.rule(one)
        allowed = f"two lengths above 0, at most {WIDEST:g} m"
        if not isinstance(found, list | tuple) or len(found) != 2:
            raise self.rule.refused(found, allowed)
        sides = [float(side) if isinstance(side, int | float) else 0.0 for side in found]
        if not all(0.0 < side <= WIDEST for side in sides):
            raise self.rule.refused(found, allowed)
        return sides[0], sides[1]


@dataclass(frozen=True)
class OwnShare:
    """The same share for every span; MethodRangeError without one."""

    name: str
    value: float | None

    def __call__(self, one: StripInput) -> float:
        if self.value is None:
            raise MethodRangeError(f"{self.name} has no moment for this section (across)")
        return self.value


@dataclass(frozen=True)
class OwnMomentRule:
    """A moment of the user's [N m/m] of a load [N]."""

    rule: OwnFunction

    def __call__(self, one: StripInput, load: float) -> Floats:
        found = self.rule.value(one, 1e-3 * load, unit="kNm/m", most=MOST_MOMENT)
        return np.asarray(1e3 * found)
