"""Bars, materials and as-built readings of a deck file."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from math import pi, radians
from pathlib import Path

from pipelines.deck.as_built import as_built
from pipelines.deck.deck import Line, Slab
from pipelines.deck.panels import Panels
from pipelines.deck.reading.added_bars import added_bars
from pipelines.deck.reading.bar_choice import bar_choice
from pipelines.deck.reading.bars_schema import (
    BarChoiceTable,
    BarsTable,
    BeamBarsTable,
    BeamLayerTable,
    ConcreteTable,
    LayerTable,
    SteelTable,
    SurveyTable,
)
from pipelines.deck.reading.checks_schema import (
    CollisionTable,
    FatigueTable,
    MembraneTable,
    ShearTable,
)
from pipelines.deck.reading.mistakes import BESIDE, Mistakes
from pipelines.deck.reading.survey_file import read_survey
from pipelines.deck.reinforcement import (
    STOCK,
    AddedBars,
    Collision,
    DesignBasis,
    EdgeBeam,
    ImposedForce,
    Reinforcement,
    Survey,
)
from pipelines.deck.thicknesses import Thicknesses, as_drawn
from pipelines.errors import CoverageError, DeckError
from pipelines.standards.detailing.tables import LIST_EXPOSURES
from pipelines.standards.factors import Factors
from pipelines.standards.materials import Materials, concrete, steel
from pipelines.standards.own.own import Own
from pipelines.standards.resistance.bars import Bars, Face, Mat, SlabBars
from pipelines.standards.resistance.fatigue_damage import DamageFactor, by_parts, stated
from pipelines.standards.sources import Standard
from pipelines.system.files import is_beside
from plate.geometry.plan import Plan

MM = 1e-3
MOST_PANELS = 4000


@dataclass(frozen=True, kw_only=True)
class BarTables:
    """The tables of a deck file about resistance, each with where it stands."""

    concretes: tuple[tuple[str, ConcreteTable], ...]
    steels: tuple[tuple[str, SteelTable], ...]
    bars: tuple[tuple[str, BarsTable], ...]
    choice: BarChoiceTable | None
    shear: ShearTable | None
    membrane: tuple[tuple[str, MembraneTable], ...]
    collision: CollisionTable | None
    fatigue: FatigueTable | None
    beams: tuple[tuple[str, BeamBarsTable], ...]
    survey: SurveyTable | None

    @property
    def any(self) -> bool:
        return any(getattr(self, field.name) for field in fields(self))


def reinforcement(
    tables: BarTables,
    factors: Mapping[Standard, Factors],
    slab: Slab | None,
    plan: Plan,
    lines: Sequence[Line],
    folder: Path,
    given: Own,
    mistakes: Mistakes,
) -> Reinforcement | None:
    """The bars and what they are checked to; None where the file has none of these tables.

    folder : in which the survey's file is looked for. given : by code of the user's own.
    """
    checking = given.code("checks")
    if checking is not None and not tables.any:
        mistakes.add("[own] checks", checking.name, "there are no bars that it could check")
    if not tables.any or slab is None:
        return None
    before = len(mistakes.lines)
    if slab.zones and (
        tables.membrane or any(line.beam and line.beam.connection for line in lines)
    ):
        told = "with membrane forces, imposed or of composite beams, take a slab of one thickness"
        mistakes.add("[[bars]]", None, f"{told}: [[slab.zone]] has others")
    bases = _bases(tables.concretes, tables.steels, factors, given.of("checks"), mistakes)
    choice = None
    if tables.choice is not None:
        choice = bar_choice(tables.choice, tables.concretes, mistakes)
    slab_bars = _slab_bars(tables.bars, slab, mistakes)
    imposed = tuple(_imposed(where, table, mistakes) for where, table in tables.membrane)
    beams = _beams(tables.beams, lines, mistakes)
    damage = None if tables.fatigue is None else _damage(tables.fatigue, bases, mistakes)
    survey, shear = tables.survey, tables.shear
    added = () if slab_bars is None else added_bars(tables.bars, slab_bars, plan, mistakes)
    readings = None
    if survey is not None and slab_bars is not None:
        found = Thicknesses(plan, slab)
        readings = _survey(survey, slab_bars, added, found, folder, mistakes)
    if len(mistakes.lines) > before or slab_bars is None:
        return None
    return Reinforcement(
        bars=slab_bars,
        angle=radians(tables.bars[0][1].angle_deg),
        bases=bases,
        choice=choice,
        shear_widths=None if shear is None else tuple(sorted(set(shear.widths_m))),
        survey=readings,
        imposed=imposed,
        collision=None if tables.collision is None else _collision(tables.collision),
        beams=beams,
        damage=damage,
        hogging_at_face=all(table.moment_at != "centre line" for _, table in tables.bars),
        added=added,
        stock=STOCK if tables.choice is None else tables.choice.stock_m,
    )


def _collision(table: CollisionTable) -> Collision:
    return Collision(
        force=1e3 * table.force_kN,
        height=table.height_m,
        length=table.length_m,
        spread=radians(table.spread_deg),
        inner_face=MM * table.inner_face_mm,
        edges=tuple(dict.fromkeys(table.edges or ("left", "right"))),
        vertical=1e3 * table.vertical_kN,
    )


def _damage(
    table: FatigueTable, bases: Sequence[DesignBasis], mistakes: Mistakes
) -> dict[Face, DamageFactor] | None:
    """lambda_s of both faces, whole or by its parts."""
    if bases and all(basis.materials.standard != "EN 1992" for basis in bases):
        mistakes.add("[fatigue]", None, "is for EN 1992, which no [[concrete]] names")
    span, lorries, kind = table.lambda_s1, table.N_obs_million, table.traffic_type
    if table.lambda_s is not None:
        if not (span is None and lorries is None and kind is None):
            mistakes.add("[fatigue] lambda_s", table.lambda_s, "stands beside its own parts")
        whole = stated(table.lambda_s)
        return {"bottom": whole, "top": whole}
    if span is None or lorries is None or kind is None:
        told = "is missing, or lambda_s1, N_obs_million and traffic_type, its parts"
        mistakes.add("[fatigue] lambda_s", None, told)
        return None
    rest = (lorries, kind, table.life_years, table.surface)
    return {"bottom": by_parts(span.bottom, *rest), "top": by_parts(span.top, *rest)}


def _beams(
    tables: tuple[tuple[str, BeamBarsTable], ...], lines: Sequence[Line], mistakes: Mistakes
) -> tuple[EdgeBeam, ...]:
    """Beams whose bars the file states; each line once."""
    beams = [line for line in lines if line.beam is not None]
    known = [line.name for line in beams]
    seen: set[str] = set()
    found = []
    for where, table in tables:
        for name in table.on:
            if name not in known:
                told = f"is no line with a beam: allowed is {', '.join(known) or 'none here'}"
                mistakes.add(f"{where}, on", name, told)
            elif name in seen:
                mistakes.add(f"{where}, on", name, "has its bars already")
            seen.add(name)
        cover, link = MM * table.cover_mm, MM * table.links.diameter_mm
        axes = [cover + link + MM * t.diameter_mm / 2 for t in (table.top, table.bottom)]
        if sum(axes) >= MM * table.depth_mm:
            mistakes.add(f"{where}, depth_mm", table.depth_mm, "covers and bars need more")
        found.append(
            EdgeBeam(
                lines=tuple(table.on),
                width=MM * table.width_mm,
                depth=MM * table.depth_mm,
                top=_area(table.top),
                bottom=_area(table.bottom),
                axis_top=axes[0],
                axis_bottom=axes[1],
                links=table.links.legs * pi / 4 * link**2 / (MM * table.links.spacing_mm),
                legs=table.links.legs,
                axis_links=cover + link / 2,
            )
        )
    return tuple(found)


def _area(table: BeamLayerTable) -> float:
    return table.count * pi / 4 * (MM * table.diameter_mm) ** 2


def _imposed(where: str, table: MembraneTable, mistakes: Mistakes) -> ImposedForce:
    for key, limits in (("stations_m", table.stations_m), ("offsets_m", table.offsets_m)):
        if limits is not None and not limits[0] < limits[1]:
            mistakes.add(f"{where}, {key}", limits, "the second must be larger than the first")
    n = (1e3 * table.n_x_kN_m, 1e3 * table.n_y_kN_m, 1e3 * table.n_xy_kN_m)
    if not any(n):
        mistakes.add(where, None, "names no force: n_x_kN_m, n_y_kN_m or n_xy_kN_m is missing")
    return ImposedForce(_pair(table.stations_m), _pair(table.offsets_m), n, table.gamma)


def _pair(values: list[float] | None) -> tuple[float, float] | None:
    return None if values is None else (values[0], values[1])


def _bases(
    concretes: tuple[tuple[str, ConcreteTable], ...],
    steels: tuple[tuple[str, SteelTable], ...],
    factors: Mapping[Standard, Factors],
    given: Own,
    mistakes: Mistakes,
) -> tuple[DesignBasis, ...]:
    """Concrete and steel of each standard together; given : checks of the user's own."""
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
        for key in ("structural_class", "design_life_years"):
            if getattr(table, key) is not None and table.standard != "EN 1992":
                told = "is of EN 1992 alone: the covers of the others are for one life"
                mistakes.add(f"{where}, {key}", getattr(table, key), told)
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
        own = factors[table.standard]
        if table.design_life_years is not None:
            by = Path(mistakes.path).name
            own = own.stated_by(by, design_life_years=table.design_life_years)
        found.append(
            DesignBasis(
                materials=Materials(made, bar, own),
                exposure=(table.exposure.top, table.exposure.bottom),
                aggregate=MM * table.aggregate_mm,
                crack_width=None if table.crack_width_mm is None else MM * table.crack_width_mm,
                crack_combination=table.crack_combination,
                structural_class=None
                if table.structural_class is None
                else int(table.structural_class[1]),
                own=given,
            )
        )
    return tuple(found)


def _slab_bars(
    tables: tuple[tuple[str, BarsTable], ...], slab: Slab, mistakes: Mistakes
) -> SlabBars | None:
    """Both mats; a mistake where one is missing, stands twice or does not fit."""
    mats: dict[str, Mat] = {}
    for where, table in tables:
        if table.face in mats:
            mistakes.add(f"{where}, face", table.face, "this face has its bars already")
            continue
        if table.face == "bottom" and table.moment_at is not None:
            told = "is for the top bars: sagging over a line counts there"
            mistakes.add(f"{where}, moment_at", table.moment_at, told)
        try:
            mats[table.face] = Mat(
                cover=MM * table.cover_mm, x=_layer(table.x), y=_layer(table.y), outer=table.outer
            )
        except ValueError as error:
            mistakes.add(where, None, str(error))
            return None
    for face in ("top", "bottom"):
        if face not in mats:
            # A table with a mistake of its own may well be that of this face.
            if not any(line.startswith("[[bars]]") for line in mistakes.lines):
                mistakes.add("[[bars]]", None, f'the {face} face is missing: face = "{face}"')
            return None
    angles = {table.angle_deg for _, table in tables}
    if len(angles) > 1:
        mistakes.add("[[bars]] angle_deg", sorted(angles), "must be the same at both faces")
    try:
        found = SlabBars(slab.thickness, mats["top"], mats["bottom"])
        for thickness in {zone.thickness for zone in slab.zones}:
            found.at(thickness)
    except ValueError as error:
        mistakes.add("[[bars]]", None, str(error))
        return None
    return found


def _layer(table: LayerTable) -> Bars:
    return Bars(MM * table.diameter_mm, MM * table.spacing_mm)


def _survey(
    table: SurveyTable,
    drawing: SlabBars,
    added: Sequence[AddedBars],
    thicknesses: Thicknesses,
    folder: Path,
    mistakes: Mistakes,
) -> Survey | None:
    if not is_beside(table.file):
        mistakes.add("[survey] file", table.file, BESIDE)
        return None
    size = _pair(table.panel_m)
    panels = Panels(thicknesses.plan, size)
    if panels.count > MOST_PANELS:
        told = f"makes {panels.count} panels; allowed is {MOST_PANELS} at most"
        mistakes.add("[survey] panel_m", table.panel_m, told)
        return None
    try:
        layers = {one.mark: one.layer for one in added}
        readings = read_survey(folder / table.file, panels, layers, thicknesses)
        sets = [(one.layer, one.bars) for one in added]
        built = {}
        for name, one in readings.items():
            number = panels.names.index(name)
            drawn = as_drawn(drawing, panels, number, thicknesses)
            built[number] = as_built(drawn or drawing, one, table.value, sets)
    except DeckError as error:
        for line in error.mistakes:
            mistakes.add(f"[survey] {table.file}", None, line)
        return None
    return Survey(path=table.file, panels=panels, built=built, value=table.value)
