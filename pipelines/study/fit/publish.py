"""A fitted formula to use elsewhere: as a module of Python that needs nothing, and as a table."""

from keyword import iskeyword

from pipelines.study.fit.file import Fit
from pipelines.study.fit.forms import Curve
from pipelines.study.fit.result import FitResult
from pipelines.study.fit.text import CAUTION, formula_text, limits_text, safe_text, term_texts
from pipelines.study.table import Column

# Names that the module has of its own.
TAKEN = ("exp", "log", "outside", "mean", "safe", "RANGES", "POLYGON")

MODULE = '''"""{about}
"""

from math import exp, log

RANGES = {{{ranges}}}
POLYGON = {polygon}  # of {leading}, anticlockwise


def outside({names}):
    """Why the formulas do not hold for these inputs, "" where they do."""
    given = {{{given}}}
    for name, (low, high) in RANGES.items():
        slack = 1e-9 * (high - low)
        if not low - slack <= given[name] <= high + slack:
            return f"{{name}} = {{given[name]:g}}: the formulas hold from {{low:g}} to {{high:g}}"
{inside}    return ""


def mean({names}):
    """The mean of {label}; ValueError outside the limits."""
    reason = outside({names})
    if reason:
        raise ValueError(reason)
    return {mean}


def safe({names}):
    """The safe-side {label}; ValueError outside the limits."""
    reason = outside({names})
    if reason:
        raise ValueError(reason)
    return {safe}
'''

INSIDE = """    wide = RANGES["{u}"][1] - RANGES["{u}"][0]
    high = RANGES["{v}"][1] - RANGES["{v}"][0]
    for (u0, v0), (u1, v1) in zip(POLYGON, POLYGON[1:] + POLYGON[:1]):
        left = (u1 - u0) * ({v_name} - v0) - (v1 - v0) * ({u_name} - u0)
        if left < -1e-9 * wide * high:
            return f"{u} = {{{u_name}:g}} and {v} = {{{v_name}:g}} lie outside the polygon"
"""


def python_text(result: FitResult, source: str) -> str:
    """The formulas as a module of Python; source : what they were fitted to, in words."""
    fit, validity = result.fit, result.validity
    names = [_name(one.name) for one in fit.inputs]
    ranges = ", ".join(
        f'"{one.name}": {tuple(pair)}'
        for one, pair in zip(fit.inputs, validity.ranges.tolist(), strict=True)
    )
    leading, inside = "no inputs", ""
    if validity.leading is not None:
        u, v = (fit.inputs[k].name for k in validity.leading)
        leading = f"{u} and {v}"
        inside = INSIDE.format(u=u, v=v, u_name=_name(u), v_name=_name(v))
    about = [f"{fit.title}: {result.labels[0]}", "", "Inputs"]
    response, *labels = result.labels
    inputs = zip(names, labels, fit.inputs, strict=True)
    about += [f"  {name}: {label} = {one.formula.text}" for name, label, one in inputs]
    about += ["", "Mean", "  " + formula_text(fit, result.curves.mean)]
    about += ["Safe side", "  " + formula_text(fit, result.curves.safe)]
    about += ["  " + safe_text(fit, result.coverage), "", "Limits"]
    about += ["  " + line for line in limits_text(fit, validity)]
    about += ["", source, CAUTION]
    words = "\n".join(about).replace("\\", "\\\\").replace('"""', "'''")
    return MODULE.format(
        about=words,
        ranges=ranges,
        polygon=[tuple(corner) for corner in validity.polygon.tolist()],
        leading=leading,
        names=", ".join(names),
        given=", ".join(f'"{one.name}": {n}' for n, one in zip(names, fit.inputs, strict=True)),
        inside=inside,
        label=response.replace("\\", "\\\\").replace('"""', "'''"),
        mean=_expression(fit, result.curves.mean),
        safe=_expression(fit, result.curves.safe),
    )


def _name(name: str) -> str:
    """An input's name that Python lets one use."""
    return f"{name}_" if iskeyword(name) or name in TAKEN else name


def _expression(fit: Fit, curve: Curve) -> str:
    names = [_name(one.name) for one in fit.inputs]
    bases = [f"log({name})" if curve.form.logs else name for name in names]
    parts = []
    for powers, c in zip(curve.powers.tolist(), curve.coefficients.tolist(), strict=True):
        factors = [f"{b}**{p}" if p > 1 else b for b, p in zip(bases, powers, strict=True) if p]
        parts.append(" * ".join([repr(c), *factors]))
    total = " + ".join(parts).replace("+ -", "- ")
    return f"exp({total})" if curve.form.logs else total


def coefficient_columns(result: FitResult) -> list[Column]:
    """The coefficients as a table: a row a term."""
    fit, mean = result.fit, result.curves.mean
    found = [Column("term", "", "", tuple(t or "1" for t in term_texts(fit, mean)))]
    for k, one in enumerate(fit.inputs):
        powers = tuple(mean.powers[:, k].tolist())
        found.append(Column(f"exponent of {one.label}", "", "", powers))
    of = f"ln({fit.label})" if mean.form.logs else fit.label
    found.append(Column(f"mean {of}", "", "", tuple(mean.coefficients.tolist())))
    safe = tuple(result.curves.safe.coefficients.tolist())
    found.append(Column(f"safe-side {of}", "", "", safe))
    return found
