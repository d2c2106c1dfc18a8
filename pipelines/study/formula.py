"""Formulas of study and fit files: plain arithmetic on named numbers, nothing else.

A formula may use numbers, names, + - * / **, parentheses, the functions of FUNCTIONS (angles in
radians), and as a condition < <= > >= == != with and, or, not. It works on numbers and on arrays
alike; what is not known is not a number, and so is what follows from it.
"""

import ast
import operator
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from pipelines.errors import JobError

LONGEST = 1000

FUNCTIONS: dict[str, Callable[..., Any]] = {
    "sqrt": np.sqrt,
    "exp": np.exp,
    "log": np.log,
    "sin": np.sin,
    "cos": np.cos,
    "tan": np.tan,
    "radians": np.radians,
    "abs": np.abs,
    "min": lambda *values: _of_all(np.minimum, values),
    "max": lambda *values: _of_all(np.maximum, values),
}
_BINARY: dict[type, Callable[[Any, Any], Any]] = {
    ast.Add: operator.add,
    ast.Sub: operator.sub,
    ast.Mult: operator.mul,
    ast.Div: np.divide,
    ast.Pow: np.power,
}
_COMPARE: dict[type, Callable[[Any, Any], Any]] = {
    ast.Lt: operator.lt,
    ast.LtE: operator.le,
    ast.Gt: operator.gt,
    ast.GtE: operator.ge,
    ast.Eq: operator.eq,
    ast.NotEq: operator.ne,
}


class FormulaError(JobError):
    """A formula that cannot be read, or that names what is not there."""


@dataclass(frozen=True)
class Formula:
    """A formula that has been read; names are those it uses, in order of appearance."""

    text: str
    names: tuple[str, ...]

    def __call__(self, values: Mapping[str, Any]) -> Any:
        """Its value: a float or array of numbers, or of truth for a condition.

        Raises FormulaError for a name that is missing or stands for text.
        """
        for name in self.names:
            if name not in values:
                raise FormulaError(f'"{self.text}": {name} is not among {", ".join(values)}')
            if isinstance(values[name], str):
                raise FormulaError(f'"{self.text}": {name} stands for a text, not a number')
        with np.errstate(all="ignore"):
            return _value(ast.parse(self.text, mode="eval").body, values)


def read_formula(text: str) -> Formula:
    """Raises FormulaError where the text is not a formula."""
    if len(text) > LONGEST:
        raise FormulaError(f"a formula of more than {LONGEST} characters")
    try:
        tree = ast.parse(text.strip(), mode="eval").body
        names = dict.fromkeys(_names(tree))
    except (SyntaxError, ValueError, RecursionError, OverflowError, MemoryError):
        raise FormulaError(f'"{text}" is not a formula') from None
    return Formula(text.strip(), tuple(names))


def _names(node: ast.AST) -> list[str]:
    """Names of a tree; ValueError for anything that formulas do not have."""
    match node:
        case ast.Constant(value=bool() | str() | bytes() | None):
            raise ValueError
        case ast.Constant(value=int() | float() as number):
            float(number)
            return []
        case ast.Name(id=name):
            return [name]
        case ast.BinOp(left=left, op=op, right=right) if type(op) in _BINARY:
            return _names(left) + _names(right)
        case ast.UnaryOp(op=ast.USub() | ast.UAdd() | ast.Not(), operand=inner):
            return _names(inner)
        case ast.Compare(left=left, ops=ops, comparators=others) if all(
            type(op) in _COMPARE for op in ops
        ):
            return [name for part in (left, *others) for name in _names(part)]
        case ast.BoolOp(values=parts):
            return [name for part in parts for name in _names(part)]
        case ast.Call(func=ast.Name(id=name), args=[_, *_] as parts, keywords=[]) if (
            name in FUNCTIONS and (name in ("min", "max") or len(parts) == 1)
        ):
            return [name for part in parts for name in _names(part)]
    raise ValueError


def _value(node: ast.AST, values: Mapping[str, Any]) -> Any:
    match node:
        case ast.Constant(value=number):
            return float(number)  # type: ignore[arg-type]
        case ast.Name(id=name):
            value = values[name]
            return np.nan if value is None else np.asarray(value, dtype=float)[()]
        case ast.BinOp(left=left, op=op, right=right):
            return _BINARY[type(op)](_value(left, values), _value(right, values))
        case ast.UnaryOp(op=ast.Not(), operand=inner):
            return np.logical_not(_value(inner, values))
        case ast.UnaryOp(op=op, operand=inner):
            return -_value(inner, values) if isinstance(op, ast.USub) else _value(inner, values)
        case ast.Compare(left=left, ops=ops, comparators=others):
            parts = [_value(part, values) for part in (left, *others)]
            pairs = zip(ops, parts[:-1], parts[1:], strict=True)
            return _of_all(np.logical_and, [_COMPARE[type(o)](a, b) for o, a, b in pairs])
        case ast.BoolOp(op=op, values=parts):
            join = np.logical_and if isinstance(op, ast.And) else np.logical_or
            return _of_all(join, [_value(part, values) for part in parts])
        case ast.Call(func=ast.Name(id=name), args=parts):
            return FUNCTIONS[name](*[_value(part, values) for part in parts])
    raise AssertionError("not a formula")


def _of_all(join: Callable[[Any, Any], Any], values: Any) -> Any:
    first, *rest = values
    for other in rest:
        first = join(first, other)
    return first
