"""Results of the user's own: numbers made of values at places that a deck asks for by name."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Literal

from pipelines.errors import OwnError
from pipelines.standards.own.code import OwnCode, OwnFunction, check_text
from pipelines.units import RESULT_KEYS


@dataclass(frozen=True)
class NamedValues:
    """Values at the deck's [[probe]] tables, in mm, kNm/m and kN/m.

    Results are named as in files: w_mm, m_x, m_y, m_xy, q_x, q_y. A name that does not exist raises
    LookupError, which is told.

    entries : `probes` of summary.json; models : of each load model the same under it.

    >>> at = NamedValues({"mid": {"cases": {"wheel": {"m_x": 12.0}}}}, {})
    >>> at.case("mid", "wheel", "m_x")
    12.0
    """

    entries: Mapping[str, Any]
    models: Mapping[str, Any]

    def case(self, probe: str, case: str, result: str) -> float:
        """In a static case."""
        cases = _of(self.entries, probe, "probe")["cases"]
        return float(_of(_of(cases, case, "static case"), result, "result"))

    def extreme(
        self, probe: str, result: str, extreme: Literal["max", "min"], load: str = ""
    ) -> float:
        """Under traffic: of a load model by its name, "" = of the vehicles that drive alone."""
        if load:
            values = _of(_of(self.models, load, "load model")["probes"], probe, "probe")
        else:
            values = _of(_of(self.entries, probe, "probe"), "envelope", "traffic")
        one = _of(_of(values, result, "result"), extreme, "extreme")
        return float(one["value"])


def _of(entries: Mapping[str, Any], name: str, what: str) -> Any:
    if name not in entries:
        there = [key for key in entries if what != "result" or key in RESULT_KEYS]
        raise LookupError(f"no {what} {name}; there are {', '.join(there) or 'none'}")
    return entries[name]


@dataclass(frozen=True, kw_only=True)
class OwnResult:
    """A result; one entry of a file's list `results`.

    value : a number in `unit`, from what the deck asks for by name. A function may raise
        MethodRangeError with words of its own, then there is no value.
    name, source : as of `OwnStrip`. unit : for print, "" for none. Studies read it at
        `own_results.NAME.value`.

    >>> result = OwnResult(
    ...     name="spread",
    ...     source="office note 9",
    ...     unit="",
    ...     value=lambda at: at.case("mid", "wheel", "m_y") / at.case("mid", "wheel", "m_x"),
    ... )
    """

    name: str
    source: str
    unit: str
    value: Callable[[NamedValues], float]


@dataclass(frozen=True)
class ResultRule:
    """A result of the user's own with the function that is asked."""

    name: str
    source: str
    unit: str
    rule: OwnFunction

    def value(self, at: NamedValues) -> float:
        """Raises OwnError for what is no number, MethodRangeError where the rule says so."""
        return self.rule.signed(at)


@lru_cache(maxsize=64)
def own_results(code: OwnCode) -> tuple[ResultRule, ...]:
    """The results that a file or package gives. Raises OwnError for what is not allowed in them."""
    found: list[ResultRule] = []
    for number, one in enumerate(code.given("results")):
        where = f"{code.name}, results {number + 1}"
        if not isinstance(one, OwnResult):
            raise OwnError(f"{where} is a {type(one).__name__}: allowed is OwnResult")
        check_text(one.name, f"{where}, name")
        check_text(one.source, f"{where}, source")
        if one.unit != "":
            check_text(one.unit, f"{where}, unit")
        if one.name in [other.name for other in found]:
            raise OwnError(f'{where}, name "{one.name}": another result has this name')
        if not callable(one.value):
            raise OwnError(f"{where}, value is no function")
        rule = OwnFunction(code, "results", number, "value")
        found.append(ResultRule(one.name, one.source, one.unit, rule))
    return tuple(found)
