"""A fit in words: the formula, its limits, how good it is, and the hand methods beside it."""

from pipelines.study.fit.file import Fit
from pipelines.study.fit.forms import FIGURES, Curve
from pipelines.study.fit.score import LeftOut, Score
from plate.arrays import Floats

CAUTION = (
    "Fitted to computed widths of linear-elastic plates within the limits stated above. To be "
    "verified by a qualified engineer; local codes and licensed practice govern."
)


def formula_text(fit: Fit, curve: Curve) -> str:
    """The formula as it is printed; everything stated of it is computed with these figures."""
    names = [source.label for source in fit.inputs]
    if fit.degree == 1:
        constant, *rest = curve.coefficients
        parts = [f"exp({_number(constant)})"]
        factors = [name if name.isalnum() else f"({name})" for name in names]
        parts += [f"{factor}^{_number(c)}" for factor, c in zip(factors, rest, strict=True)]
        return f"{fit.label} = {' '.join(parts)}"
    parts = []
    for powers, c in zip(curve.powers, curve.coefficients, strict=True):
        factors = [
            f"ln({name})" + (f"^{p}" if p > 1 else "")
            for name, p in zip(names, powers.tolist(), strict=True)
            if p
        ]
        parts.append(" ".join([_number(c), *factors]))
    return f"ln({fit.label}) = " + " + ".join(parts).replace("+ -", "- ")


def limits_text(fit: Fit, ranges: Floats) -> list[str]:
    """Ranges of the inputs, what was not varied, and the limits that the formula meets."""
    lines = [
        f"{source.label}: {low:.4g} to {high:.4g}"
        for source, (low, high) in zip(fit.inputs, ranges, strict=True)
    ]
    lines += fit.holds_for
    for limit in fit.limits:
        at = ", ".join(f"{i.label} = {v:.4g}" for i, v in zip(fit.inputs, limit.at, strict=True))
        lines.append(f"{fit.label} = {limit.value:.4g} at {at}: {limit.why}")
    return lines


HEADINGS = ("rows", "without", "bias", "CoV", "lowest", "highest", "unsafe")


def score_cells(score: Score | None) -> tuple[str, ...]:
    """Cells under `HEADINGS`."""
    if score is None:
        return ("0",) + ("–",) * (len(HEADINGS) - 1)
    return (
        f"{score.n}",
        f"{score.missing}",
        f"{score.bias:.3f}",
        f"{100.0 * score.variation:.1f} %",
        f"{score.low:.3f}",
        f"{score.high:.3f}",
        f"{100.0 * score.unsafe:.1f} %",
    )


def table_text(first: str, rows: list[tuple[str, Score | None]]) -> list[str]:
    """A table of scores in columns of plain text."""
    cells = [(first, *HEADINGS), *((name, *score_cells(one)) for name, one in rows)]
    widths = [max(len(row[k]) for row in cells) for k in range(len(cells[0]))]
    return [
        "  ".join(
            [
                row[0].ljust(widths[0]),
                *(c.rjust(w) for c, w in zip(row[1:], widths[1:], strict=True)),
            ]
        )
        for row in cells
    ]


def family_rows(left: tuple[LeftOut, ...]) -> list[tuple[str, Score | None]]:
    """Rows of the table of families, the mean formula's scores."""
    return [(f"{one.family} = {one.level}", one.mean) for one in left]


def _number(value: float) -> str:
    return f"{value:.{FIGURES}g}"
