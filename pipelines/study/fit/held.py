"""How well a fit does on rows held out while its study still runs, and whether that is enough."""

from collections.abc import Sequence
from dataclasses import dataclass

from pipelines.study.fit.file import Fit, FitError
from pipelines.study.fit.rows import rows_of
from pipelines.study.fit.score import enforced, fit_mean, score, where_it_holds
from pipelines.study.spec import Stop
from pipelines.study.table import Column

# With fewer rows held out nothing can be said of one in twenty of them.
LEAST_HELD = 20
# Looks one after the other that must be within the error asked for: one alone may be luck.
LOOKS = 2


@dataclass(frozen=True, kw_only=True)
class Look:
    """A fit to the rows so far.

    rows : computed so far, of which the fit uses `used`; held : held out, with a prediction;
    within, worst : relative errors of the mean formula there, of 95 % of them and of all; reason :
    why there is no fit yet.
    """

    rows: int
    used: int = 0
    held: int = 0
    within: float | None = None
    worst: float | None = None
    reason: str = ""


def look(fit: Fit, columns: tuple[Column, ...], computed: int) -> Look:
    """What `deckslab fit` would say of the table so far."""
    try:
        rows, _ = rows_of(fit, columns)
        seen = ~rows.held
        mean = fit_mean(fit, rows.x[seen], rows.y[seen])
        _, validity = where_it_holds(mean, rows.x[seen])
    except FitError as error:
        return Look(rows=computed, reason=str(error))
    held = rows.held
    found = score(enforced(mean, rows.x[held], validity), rows.y[held], fit.unsafe_above)
    if found is None:
        return Look(rows=computed, used=len(rows.y), reason="no row held out lies within limits")
    return Look(
        rows=computed, used=len(rows.y), held=found.n, within=found.within, worst=found.worst
    )


def enough(looks: Sequence[Look], error: float) -> bool:
    """Whether the last looks are all within the error asked for, on rows enough."""
    last = looks[-LOOKS:]
    return len(last) == LOOKS and all(
        one.within is not None and one.held >= LEAST_HELD and one.within <= error for one in last
    )


def stop_words(stop: Stop, looks: Sequence[Look], saved: int) -> str:
    """Why no more decks were computed, and how many that saved."""
    last = looks[-1]
    return (
        f"stopped after {last.rows} rows: of {last.held} rows held out 95 % are within "
        f"{100.0 * (last.within or 0.0):.2f} % of {stop.fit.title} ({100.0 * stop.error:g} % asked "
        f"for), at {LOOKS} looks one after the other; {saved} decks saved. A study that stops when "
        "it is good enough is judged a little too well by the same rows."
    )
