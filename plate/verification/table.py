"""The verification table: published cases of plate theory, computed again by the finite elements,
and collapse loads of rigid-plastic slabs by certified bounds.

Every value is computed when asked for. The sources are prints, closed forms, and series that share
nothing with the finite elements but the units (`plate.exact`).
"""

import csv
import io
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from plate.verification import panels as verificationpanels
from plate.verification import plastic as verificationplastic
from plate.verification import slabs as verificationslabs
from plate.verification.row import PRINTS, Row

CASES: tuple[Callable[[], list[Row]], ...] = (
    *verificationpanels.CASES,
    *verificationslabs.CASES,
    *verificationplastic.CASES,
)
LEGEND = (
    f"Prints, from memory: {'; '.join(PRINTS)}. Series, formulas, closed forms, corner functions "
    "and Legendre-Ritz are recomputed here, by a route that shares nothing with the finite "
    "elements. "
    "Within: the largest difference that passes; w deflection, m moments, q shears, nu Poisson's "
    "ratio, a and b sides, t thickness, EI and D bending stiffness of beam and slab. Collapse "
    "loads are bounds from both sides, within the gap asked for; m_p is the plastic moment per "
    "metre, the same in all directions on both faces; without the package clarabel they are left "
    "out."
)
"""Where the values of the table come from, and what its letters mean."""
COLUMNS = ("case", "result", "source", "value", "found", "difference", "within", "status")


def verification_rows(progress: Callable[[str, int, int], None] | None = None) -> list[Row]:
    """All rows, computed one after another, about two minutes on one processor.

    progress : called with what is done, how many groups are finished and of how many.
    """
    rows: list[Row] = []
    for k, case in enumerate(CASES):
        if progress is not None:
            progress("published cases", k, len(CASES))
        rows += case()
    if progress is not None:
        progress("published cases", len(CASES), len(CASES))
    return rows


@dataclass(frozen=True)
class Agreement:
    """What the table comes to, for a sentence in a report.

    rows, cases : how many; failed : the rows outside what they allow; worst : the row that uses
    the largest share of what it allows.
    """

    rows: int
    cases: int
    failed: tuple[Row, ...]
    worst: Row

    @property
    def sentence(self) -> str:
        """One sentence."""
        share = f"{100.0 * self.worst.difference:+.2g} %"
        return (
            f"{self.rows - len(self.failed)} of {self.rows} values, printed, of closed forms or of "
            f"series, of {self.cases} cases agree within what each row allows; nearest to its "
            f"limit: {self.worst.case}, {self.worst.result} ({self.worst.source}), {share} of "
            f"{100 * self.worst.within:g} %."
        )


def agreement(rows: Sequence[Row]) -> Agreement:
    """Summary of the rows, of which there must be one at least."""
    return Agreement(
        len(rows),
        len({row.case for row in rows}),
        tuple(row for row in rows if not row.passes),
        max(rows, key=lambda row: abs(row.difference) / row.within),
    )


def cells(row: Row) -> tuple[str, ...]:
    """A row as text, in the order of `COLUMNS`; difference and within in per cent."""
    return (
        row.case,
        row.result,
        row.source,
        f"{row.value:.6g}",
        f"{row.found:.6g}",
        f"{100.0 * row.difference:+.3f} %",
        f"{100.0 * row.within:g} %",
        "agrees" if row.passes else "DIFFERS",
    )


def csv_text(rows: Iterable[Row]) -> str:
    """The table as CSV, numbers in full, difference and within as fractions."""
    text = io.StringIO()
    out = csv.writer(text, lineterminator="\n")
    out.writerow(COLUMNS)
    for row in rows:
        numbers = (row.value, row.found, row.difference, row.within)
        out.writerow((row.case, row.result, row.source, *map(repr, numbers), cells(row)[-1]))
    return text.getvalue()
