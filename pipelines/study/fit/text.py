"""A fit in words: the formula, its limits, how good it is, and the hand methods beside it."""

from collections.abc import Sequence

from pipelines.study.fit.file import Fit
from pipelines.study.fit.forms import FIGURES, Curve
from pipelines.study.fit.score import Compared, Coverage, LeftOut, Score
from pipelines.study.fit.validity import Validity
from plate.arrays import Floats

CAUTION = (
    "Fitted to computed widths of linear-elastic plates within the limits stated above. To be "
    "verified by a qualified engineer; local codes and licensed practice govern."
)


def formula_text(fit: Fit, curve: Curve) -> str:
    """The formula as it is printed; everything stated of it is computed with these figures."""
    names = [source.label for source in fit.inputs]
    if curve.form.degree == 1 and curve.form.logs:
        constant, *rest = curve.coefficients
        parts = [f"exp({_number(constant)})"]
        factors = [name if name.isalnum() else f"({name})" for name in names]
        parts += [f"{factor}^{_number(c)}" for factor, c in zip(factors, rest, strict=True)]
        return f"{fit.label} = {' '.join(parts)}"
    left = f"ln({fit.label})" if curve.form.logs else fit.label
    parts = [
        " ".join(filter(None, [_number(c), term]))
        for c, term in zip(curve.coefficients, term_texts(fit, curve), strict=True)
    ]
    return f"{left} = " + " + ".join(parts).replace("+ -", "- ")


def term_texts(fit: Fit, curve: Curve) -> list[str]:
    """What each coefficient is multiplied with, "" for the constant."""
    before = "ln" if curve.form.logs else ""
    return [
        " ".join(
            f"{before}({source.label})" + (f"^{p}" if p > 1 else "")
            for source, p in zip(fit.inputs, powers, strict=True)
            if p
        )
        for powers in curve.powers.tolist()
    ]


def limits_text(fit: Fit, validity: Validity) -> list[str]:
    """Ranges of the inputs, the polygon, what was not varied, and the limits that are met."""
    lines = [
        f"{source.label}: {low:.4g} to {high:.4g}"
        for source, (low, high) in zip(fit.inputs, validity.ranges, strict=True)
    ]
    if validity.leading is not None:
        first, second = (fit.inputs[k].label for k in validity.leading)
        corners = ", ".join(f"({u:.4g}, {v:.4g})" for u, v in validity.polygon)
        lines.append(f"({first}, {second}) within the polygon {corners}")
    lines += fit.holds_for
    for limit in fit.limits:
        at = ", ".join(f"{i.label} = {v:.4g}" for i, v in zip(fit.inputs, limit.at, strict=True))
        lines.append(f"{fit.label} = {limit.value:.4g} at {at}: {limit.why}")
    return lines


def safe_text(fit: Fit, covered: Coverage | None) -> str:
    """How much of what was not seen the safe-side formula covers."""
    asked = f"{100.0 * fit.quantile:g} % of the rows fitted lie beyond it"
    if covered is None:
        return f"{asked}; of rows not seen nothing is known: none were held out within the limits"
    return (
        f"{asked}; of {covered.n} rows not seen, of {covered.geometries} geometries, "
        f"{100.0 * covered.safe:.1f} % lie on the safe side, 95 % interval "
        f"{100.0 * covered.low:.1f} to {100.0 * covered.high:.1f} % (a geometry counts once)"
    )


HEADINGS = ("rows", "without", "bias", "CoV", "95 % within", "lowest", "highest", "unsafe")


def score_cells(score: Score | None) -> tuple[str, ...]:
    """Cells under `HEADINGS`."""
    if score is None:
        return ("0",) + ("–",) * (len(HEADINGS) - 1)
    return (
        f"{score.n}",
        f"{score.missing}",
        f"{score.bias:.3f}",
        f"{100.0 * score.variation:.1f} %",
        f"{100.0 * score.within:.1f} %",
        f"{score.low:.3f}",
        f"{score.high:.3f}",
        f"{100.0 * score.unsafe:.1f} %",
    )


def table_text(first: str, rows: Sequence[tuple[str, Score | None]]) -> list[str]:
    """A table of scores in columns of plain text."""
    return lined([(first, *HEADINGS), *((name, *score_cells(one)) for name, one in rows)])


def lined(cells: Sequence[tuple[str, ...]]) -> list[str]:
    """Rows of cells in columns of plain text, the first to the left."""
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


def forms_text(compared: tuple[Compared, ...], held: bool) -> list[str]:
    """The forms in one table, that of the fit first."""
    what = "on the rows held out" if held else "on the rows fitted, since none were held out"
    lines = [
        f"Forms of the mean formula, {what}; whoever takes the best of them by these numbers has "
        "them a little too good",
        "",
    ]
    heads = ("", "coefficients", "95 % within", "worst", "bias", "CoV")
    rows = []
    for one in compared:
        score = one.score
        cells = ("–",) * 4
        if score is not None:
            shares = (score.within, score.worst, score.variation)
            within, worst, variation = (f"{100.0 * share:.1f} %" for share in shares)
            cells = (within, worst, f"{score.bias:.3f}", variation)
        rows.append((one.form.words, str(one.coefficients or "–"), *cells))
    lines += lined([heads, *rows])
    return lines + [f"  –: {one}" for one in dict.fromkeys(c.reason for c in compared if c.reason)]


def effects_text(fit: Fit, effects: tuple[Floats, Floats]) -> list[str]:
    """What the mean formula changes with."""
    rows = [("", "first order", "total")]
    for source, first, total in zip(fit.inputs, *effects, strict=True):
        rows.append((source.label, f"{first:.2f}", f"{total:.2f}"))
    return [
        "",
        "Shares of the mean formula's variance that go with an input alone and in any company "
        "(Saltelli's and Jansen's estimators of the formula itself, its inputs each by itself and "
        "even in their logarithms over their ranges)",
        "",
        *lined(rows),
    ]


def family_rows(left: tuple[LeftOut, ...]) -> list[tuple[str, Score | None]]:
    """Rows of the table of families, the mean formula's scores."""
    return [(f"{one.family} = {one.level}", one.mean) for one in left]


def _number(value: float) -> str:
    return f"{value:.{FIGURES}g}"
