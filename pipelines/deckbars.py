"""Bars, materials and as-built readings of a deck file."""

from math import radians
from pathlib import Path

from pipelines.bars import Bars, Mat, SlabBars
from pipelines.deck import BarChoice, DesignBasis, Reinforcement, Slab, Survey
from pipelines.deckmistakes import Mistakes
from pipelines.deckschema import (
    BarChoiceTable,
    BarsTable,
    ConcreteTable,
    LayerTable,
    ShearTable,
    SteelTable,
    SurveyTable,
)
from pipelines.detailing_tables import LIST_EXPOSURES
from pipelines.errors import CoverageError, DeckError
from pipelines.grades import FACTORS, Materials, concrete, steel
from pipelines.panels import panel_names
from pipelines.survey import read_survey
from plate.plan import Plan

MM = 1e-3
MOST_BYTES = 10_000_000  # of a survey's file


def reinforcement(
    concretes: tuple[tuple[str, ConcreteTable], ...],
    steels: tuple[tuple[str, SteelTable], ...],
    bars: tuple[tuple[str, BarsTable], ...],
    choice: BarChoiceTable | None,
    shear: ShearTable | None,
    survey: SurveyTable | None,
    slab: Slab | None,
    plan: Plan,
    folder: Path,
    mistakes: Mistakes,
) -> Reinforcement | None:
    """The bars and what they are checked to; None where the file has none of these tables.

    folder : in which the survey's file is looked for.
    """
    tables = (concretes, steels, bars, choice, shear, survey)
    if not any(tables) or slab is None:
        return None
    before = len(mistakes.lines)
    if slab.zones:
        mistakes.add("[[bars]]", None, "not yet supported on a slab with zones of other thickness")
    bases = _bases(concretes, steels, mistakes)
    slab_bars = _slab_bars(bars, slab.thickness, mistakes)
    readings = None if survey is None else _survey(survey, plan, folder, mistakes)
    if len(mistakes.lines) > before or slab_bars is None:
        return None
    return Reinforcement(
        slab_bars,
        radians(bars[0][1].angle_deg),
        bases,
        None
        if choice is None
        else BarChoice(
            tuple(sorted(MM * d for d in choice.diameters_mm)),
            tuple(sorted(MM * s for s in choice.spacings_mm)),
        ),
        None if shear is None else tuple(sorted(set(shear.widths_m))),
        readings,
    )


def _bases(
    concretes: tuple[tuple[str, ConcreteTable], ...],
    steels: tuple[tuple[str, SteelTable], ...],
    mistakes: Mistakes,
) -> tuple[DesignBasis, ...]:
    """Concrete and steel of each standard together."""
    if not concretes:
        mistakes.add("[[concrete]]", None, "is missing; bars are checked to its standard and grade")
    grades = {table.standard: (where, table) for where, table in reversed(steels)}
    for tables in (concretes, steels):
        seen: dict[str, str] = {}
        for where, table in tables:
            if table.standard in seen:
                told = f"{seen[table.standard]} is of this standard already"
                mistakes.add(f"{where}, standard", table.standard, told)
            seen.setdefault(table.standard, where)
    for where, table in steels:
        if table.standard not in {c.standard for _, c in concretes}:
            mistakes.add(f"{where}, standard", table.standard, "no [[concrete]] has this standard")
    found = []
    for where, table in concretes:
        faces = (("top", table.exposure.top), ("bottom", table.exposure.bottom))
        known = LIST_EXPOSURES[table.standard]
        for face, exposure in faces:
            if exposure is not None and exposure not in known:
                told = f"allowed is {', '.join(known)}"
                mistakes.add(f"{where}, exposure.{face}", exposure, told)
        if table.standard not in grades:
            told = f"no [[steel]] has this standard: {table.standard}"
            mistakes.add(f"{where}, standard", table.standard, told)
            continue
        steel_where, steel_table = grades[table.standard]
        try:
            key, value = f"{where}, grade", table.grade
            made = concrete(table.grade, table.standard)
            key, value = f"{steel_where}, grade", steel_table.grade
            bar = steel(steel_table.grade, table.standard)
        except CoverageError as error:
            mistakes.add(key, value, str(error))
            continue
        found.append(
            DesignBasis(
                Materials(made, bar, FACTORS[table.standard]),
                (table.exposure.top, table.exposure.bottom),
                MM * table.aggregate_mm,
                None if table.crack_width_mm is None else MM * table.crack_width_mm,
                table.crack_combination,
            )
        )
    return tuple(found)


def _slab_bars(
    tables: tuple[tuple[str, BarsTable], ...], thickness: float, mistakes: Mistakes
) -> SlabBars | None:
    """Both mats; a mistake where one is missing, stands twice or does not fit."""
    mats: dict[str, Mat] = {}
    for where, table in tables:
        if table.face in mats:
            mistakes.add(f"{where}, face", table.face, "this face has its bars already")
            continue
        try:
            mats[table.face] = Mat(
                MM * table.cover_mm, _layer(table.x), _layer(table.y), table.outer
            )
        except ValueError as error:
            mistakes.add(where, None, str(error))
            return None
    for face in ("top", "bottom"):
        if face not in mats:
            mistakes.add("[[bars]]", None, f'the {face} face is missing: face = "{face}"')
            return None
    angles = {table.angle_deg for _, table in tables}
    if len(angles) > 1:
        mistakes.add("[[bars]] angle_deg", sorted(angles), "must be the same at both faces")
    try:
        return SlabBars(thickness, mats["top"], mats["bottom"])
    except ValueError as error:
        mistakes.add("[[bars]]", None, str(error))
        return None


def _layer(table: LayerTable) -> Bars:
    return Bars(MM * table.diameter_mm, MM * table.spacing_mm)


def _survey(table: SurveyTable, plan: Plan, folder: Path, mistakes: Mistakes) -> Survey | None:
    path = folder / table.file
    if path.exists() and not (path.is_file() and path.stat().st_size <= MOST_BYTES):
        mistakes.add("[survey] file", table.file, "must be a file of at most 10 MB")
        return None
    try:
        return Survey(table.file, read_survey(path, panel_names(plan)), table.value)
    except DeckError as error:
        for line in error.mistakes:
            mistakes.add(f"[survey] {table.file}", None, line)
        return None
