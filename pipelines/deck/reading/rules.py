"""Rules for single values of a deck file: each checks a value and says what is allowed.

A rule is the metadata of a key of a table (`schema`); a refused value carries the rule's own words.
"""

from abc import ABC, abstractmethod
from dataclasses import dataclass

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

LARGEST = 1e308  # below infinity, which JSON does not have
OTHER_UNITS = {
    "mm": {"m": 1e3, "cm": 10.0},
    "m": {"mm": 1e-3},
    "GPa": {"MPa": 1e-3, "Pa": 1e-9},
    "kN": {"N": 1e-3},
    "kN/m3": {"kg/m3": 9.81e-3},
    "cm4": {"m4": 1e8, "mm4": 1e-4},
    "cm2": {"m2": 1e4, "mm2": 1e-2},
}
"""Units that a number may have been written in by mistake, with the factor to the right one."""


def refused(allowed: str) -> PydanticCustomError:
    """The error of a value of which `allowed` says what it may be."""
    return PydanticCustomError("refused", "{allowed}", {"allowed": allowed})


class Rule(ABC):
    """What a value may be, usable as the metadata of an annotated model field."""

    @property
    @abstractmethod
    def allowed(self) -> str:
        """What is allowed, in words."""

    @property
    def schema(self) -> JsonSchemaValue:
        """The same as a JSON schema, for editors; in words alone where a rule has no other."""
        return {"description": self.allowed}

    @abstractmethod
    def check(self, value: object) -> object:
        """The value as the model holds it. Raises `refused` if it is not allowed."""

    def __get_pydantic_core_schema__(
        self, source: object, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.check)

    def __get_pydantic_json_schema__(
        self, source: CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        return self.schema


@dataclass(frozen=True)
class Range(Rule):
    """A finite number from low to high, both included, in `unit`."""

    low: float
    high: float
    unit: str = ""

    @property
    def allowed(self) -> str:
        return f"{self.low:g} to {self.high:g} {self.unit}".rstrip()

    def check(self, value: object) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise refused(f"must be a number, {self.allowed}")
        if not self.low <= value <= self.high:
            raise refused(f"allowed is {self.allowed}{self._slip_of_unit(value)}")
        return float(value)

    def _slip_of_unit(self, value: float) -> str:
        if 0.0 < value < 1e15:
            for unit, factor in OTHER_UNITS.get(self.unit, {}).items():
                if self.low <= value * factor <= self.high:
                    return f" ({value:g} {unit} would be {value * factor:g} {self.unit})"
        return ""

    @property
    def schema(self) -> JsonSchemaValue:
        bounds = {"type": "number", "minimum": self.low, "maximum": self.high}
        return bounds | self._in_words

    @property
    def _in_words(self) -> JsonSchemaValue:
        words = {"description": f"allowed is {self.allowed}"}
        return words | ({"unit": self.unit} if self.unit else {})


@dataclass(frozen=True)
class WholeRange(Range):
    """A whole number from low to high."""

    def check(self, value: object) -> int:
        if isinstance(value, bool) or not isinstance(value, int):
            raise refused(f"must be a whole number, {self.allowed}")
        return int(super().check(value))

    @property
    def schema(self) -> JsonSchemaValue:
        return super().schema | {"type": "integer"}


@dataclass(frozen=True)
class ZeroOrRange(Range):
    """Zero, which is none, or a number from low to high."""

    @property
    def allowed(self) -> str:
        return f"0, or {super().allowed}"

    def check(self, value: object) -> float:
        if isinstance(value, int | float) and not isinstance(value, bool) and value == 0:
            return 0.0
        return super().check(value)

    @property
    def schema(self) -> JsonSchemaValue:
        sizes = [{"const": 0}, {"minimum": self.low, "maximum": self.high}]
        return {"type": "number", "anyOf": sizes} | self._in_words


@dataclass(frozen=True)
class RadiusRange(Range):
    """A number of either sign with its size from low to high, or inf (straight)."""

    @property
    def allowed(self) -> str:
        return f"inf, or {self.low:g} to {self.high:g} {self.unit} of either sign"

    def check(self, value: object) -> float:
        if isinstance(value, float) and value == float("inf"):
            return value
        if isinstance(value, int | float) and not isinstance(value, bool) and value < 0:
            return -super().check(-value)
        return super().check(value)

    @property
    def schema(self) -> JsonSchemaValue:
        sizes = [
            {"minimum": self.low, "maximum": self.high},
            {"minimum": -self.high, "maximum": -self.low},
            {"exclusiveMinimum": LARGEST},
        ]
        return {"type": "number", "anyOf": sizes} | self._in_words


@dataclass(frozen=True)
class Text(Rule):
    """Printable text of at most `longest` characters without blanks at its ends."""

    longest: int

    @property
    def allowed(self) -> str:
        return f"text of 1 to {self.longest} printable characters, no blank at its ends"

    def check(self, value: object) -> str:
        if (
            isinstance(value, str)
            and 1 <= len(value) <= self.longest
            and value.isprintable()
            and value == value.strip()
        ):
            return value
        raise refused(f"must be {self.allowed}")

    @property
    def schema(self) -> JsonSchemaValue:
        length = {"type": "string", "minLength": 1, "maxLength": self.longest}
        return length | {"pattern": r"^\S(.*\S)?$", "description": self.allowed}


@dataclass(frozen=True)
class Choice(Rule):
    """One of the options, all texts or all of true and false."""

    options: tuple[str, ...] | tuple[bool, ...]

    @property
    def allowed(self) -> str:
        words = [f'"{x}"' if isinstance(x, str) else str(x).lower() for x in self.options]
        return " or ".join([", ".join(words[:-1]), words[-1]]) if words[1:] else words[0]

    def check(self, value: object) -> object:
        if type(value) is type(self.options[0]) and value in self.options:
            return value
        raise refused(f"allowed is {self.allowed}")

    @property
    def schema(self) -> JsonSchemaValue:
        return {"enum": list(self.options)}


@dataclass(frozen=True)
class Count(Rule):
    """A list of least to most entries, told before any entry is looked at."""

    least: int
    most: int

    @property
    def allowed(self) -> str:
        if self.least == self.most:
            return f"a list of {self.least}"
        return f"a list of {self.least} to {self.most}"

    def check(self, value: object) -> object:
        if isinstance(value, list) and self.least <= len(value) <= self.most:
            return value
        raise refused(f"must be {self.allowed}")

    def __get_pydantic_core_schema__(
        self, source: object, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        return core_schema.no_info_before_validator_function(self.check, handler(source))

    @property
    def schema(self) -> JsonSchemaValue:
        return {"minItems": self.least, "maxItems": self.most}

    def __get_pydantic_json_schema__(
        self, source: CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        return handler(source) | self.schema
