"""What bars, thickness and concrete of a deck file may be chosen from."""

from math import ceil

from pipelines.deck.reading.bars_schema import BarChoiceTable, ConcreteTable
from pipelines.deck.reading.mistakes import Mistakes
from pipelines.deck.reinforcement import BarChoice, Prices
from pipelines.errors import CoverageError
from pipelines.standards.materials import concrete
from pipelines.standards.sources import Standard

MM = 1e-3
MOST = 200  # thicknesses of a range


def bar_choice(
    table: BarChoiceTable, concretes: tuple[tuple[str, ConcreteTable], ...], mistakes: Mistakes
) -> BarChoice:
    """The set of a deck file; concretes : each with where it stands."""
    return BarChoice(
        tuple(sorted(MM * d for d in table.diameters_mm)),
        tuple(sorted(MM * s for s in table.spacings_mm)),
        Prices(**table.price_kg_m2.model_dump()),
        _thicknesses(table, mistakes),
        _grades(concretes, mistakes),
    )


def _thicknesses(table: BarChoiceTable, mistakes: Mistakes) -> tuple[float, ...]:
    """Those to choose from [m], each once, increasing."""
    listed, steps = table.thickness_mm, table.thickness_range_mm
    if steps is None:
        return tuple(sorted({round(MM * t, 9) for t in listed or ()}))
    key = "[bar_choice] thickness_range_mm"
    if listed is not None:
        mistakes.add(key, None, "stands beside thickness_mm: one of both says what may be chosen")
    if not steps.least < steps.most:
        mistakes.add(key, [steps.least, steps.most], "most must be larger than least")
        return ()
    count = ceil((steps.most - steps.least) / steps.step - 1e-9)
    if count >= MOST:
        told = f"makes {count + 1} thicknesses; allowed is {MOST} at most"
        mistakes.add(key, steps.step, told)
        return ()
    inner = [steps.least + k * steps.step for k in range(count)]
    return tuple(round(MM * t, 9) for t in (*inner, steps.most))


def _grades(
    concretes: tuple[tuple[str, ConcreteTable], ...], mistakes: Mistakes
) -> tuple[dict[Standard, str], ...]:
    """Grades to choose from, by standard; as many of each standard that has any."""
    lists = [(where, table, table.grades) for where, table in concretes if table.grades is not None]
    for where, table, grades in lists:
        if len(grades) != len(lists[0][2]):
            told = f"must be as many as those of {lists[0][0]}: they belong together"
            mistakes.add(f"{where}, grades", grades, told)
            return ()
        for grade in grades:
            try:
                concrete(grade, table.standard)
            except CoverageError as error:
                mistakes.add(f"{where}, grades", grade, str(error))
    count = len(lists[0][2]) if lists else 0
    return tuple({table.standard: grades[k] for _, table, grades in lists} for k in range(count))
