"""What a deck file says of the deck's life: stages, strains and settlements, sums of cases."""

from collections.abc import Sequence
from dataclasses import replace

from pipelines.deck.cases import Case, Stages, Sum, Temperature
from pipelines.deck.deck import Line, Point, Slab
from pipelines.deck.reading.loads_schema import CaseTable, StagesTable, SumTable
from pipelines.deck.reading.mistakes import Mistakes, nearest, printable
from pipelines.deck.reading.own_schema import OwnSumTable
from pipelines.standards.actions.loads import TEMPERATURES, Action
from pipelines.standards.own.code import MARK

IMPOSED = {"temperature", "shrinkage_permille", "settlements_mm"}
# The actions of cases that impose one thing alone.
OF_KEY: dict[str, tuple[Action, ...]] = {
    "shrinkage_permille": ("shrinkage",),
    "settlements_mm": ("settlement",),
    "temperature": TEMPERATURES,
}


def temperature_of(table: CaseTable) -> Temperature | None:
    """The temperature of a case."""
    given = table.temperature
    if given is None:
        return None
    return Temperature(given.difference_K, given.mean_K, given.alpha_per_K)


def check_imposed(
    tables: Sequence[tuple[str, CaseTable]],
    lines: Sequence[Line],
    points: Sequence[Point],
    mistakes: Mistakes,
) -> None:
    """Cases that strain the slab or move supports: alone, as an action of their own, and with
    something that can take them."""
    supports = _supports(lines, points)
    joined = any(line.beam is not None and line.beam.connection > 0.0 for line in lines)
    for where, table in tables:
        given = table.model_fields_set
        if not given & IMPOSED:
            if any(table.action in actions for actions in OF_KEY.values()):
                told = "shrinkage, settlement, warming and cooling are actions of cases with"
                keys = "shrinkage_permille, settlements_mm or temperature alone"
                mistakes.add(f"{where}, action", table.action, f"{told} {keys}")
            continue
        others = sorted(given - IMPOSED - {"name", "action", "stage"})
        if others:
            told = "temperature, shrinkage and settlements are cases of their own, without loads"
            mistakes.add(f"{where}, {others[0]}", None, f"{told}: add them up in a [[sum]]")
        _check_action(where, table, given & IMPOSED, mistakes)
        strains = given & {"temperature", "shrinkage_permille"}
        if strains and table.stage == "wet concrete":
            mistakes.add(f"{where}, stage", table.stage, "fresh concrete takes no strain")
        mean = 0.0 if table.temperature is None else table.temperature.mean_K
        for key, value in (
            ("temperature.mean_K", mean),
            ("shrinkage_permille", table.shrinkage_permille or 0.0),
        ):
            if value != 0.0 and not joined:
                told = "the slab moves freely in its plane, so this makes no force: it needs a beam"
                mistakes.add(f"{where}, {key}", value, f"{told} with a connection to the slab")
        for name, value in (table.settlements_mm or {}).items():
            key = f'{where}, settlements_mm."{printable(name)}"'
            if name not in supports:
                told = "no line, hold or point that holds the deck"
                hint = nearest(name, supports) if supports else "there is none"
                mistakes.add(key, value, f"{told}, {hint}")
            elif supports[name]:
                mistakes.add(key, value, "a rigid point cannot settle: state its k_kN_m")


def _check_action(where: str, table: CaseTable, keys: set[str], mistakes: Mistakes) -> None:
    """The action of a case that imposes strains or settlements."""
    if table.action == "none":
        return
    key = f"{where}, action"
    own = [OF_KEY[one] for one in keys]
    if len(own) != 1 or table.action not in own[0]:
        told = (
            "in the bars' combinations shrinkage alone is the action shrinkage, settlements alone "
            "are settlement, a temperature alone is warming or cooling"
        )
        mistakes.add(key, table.action, told)


def _supports(lines: Sequence[Line], points: Sequence[Point]) -> dict[str, bool]:
    """Names of what holds the deck's deflection, and whether it is a rigid point."""
    found = {line.name: False for line in lines if line.support in ("rigid", "clamped", "spring")}
    found |= {f"{line.name}@{held.on}": False for line in lines for held in line.held_at}
    return found | {point.name: point.k == float("inf") for point in points}


def read_stages(
    table: StagesTable | None,
    cases: Sequence[Case],
    slab: Slab | None,
    lines: Sequence[Line],
    mistakes: Mistakes,
) -> Stages | None:
    """The slab's modulus by stage. Raises nothing; what is missing is a mistake."""
    if table is None:
        return None
    beams = [line for line in lines if line.beam is not None]
    moduli = {line.beam.E for line in beams if line.beam is not None}
    if not beams:
        told = "stages are those of a slab on beams: this deck has none"
        mistakes.add("[stages]", None, told)
    elif len(moduli) > 1:
        listed = ", ".join(f"{1e-9 * E:g}" for E in sorted(moduli))
        told = f"a modular ratio is that to beams of one modulus; these have {listed} GPa"
        mistakes.add("[stages]", None, told)
    ratios = {"long-term": table.long_term_n, "shrinkage": table.shrinkage_n}
    for stage, n in ratios.items():
        key = f"{stage.replace('-', '_')}_n"
        users = [case.name for case in cases if case.stage == stage]
        if n is None and users:
            told = f'is missing: case "{printable(users[0])}" is of stage {stage}'
            mistakes.add(f"[stages] {key}", None, told)
    if slab is None or not moduli:
        return None
    share = {stage: None if n is None else max(moduli) / n / slab.E for stage, n in ratios.items()}
    return Stages(long_term=share["long-term"], shrinkage=share["shrinkage"])


def read_sums(
    tables: Sequence[tuple[str, SumTable]], cases: Sequence[Case], mistakes: Mistakes
) -> tuple[Sum, ...]:
    """The sums of static cases."""
    names = [case.name for case in cases]
    found = []
    for where, table in tables:
        if not table.factors:
            mistakes.add(f"{where}, factors", None, "has no case")
        for name, factor in table.factors.items():
            if name not in names:
                key = f'{where}, factors."{printable(name)}"'
                hint = nearest(name, names) if names else "there is none"
                mistakes.add(key, factor, f"no such case, {hint}")
        made = Sum(name=table.name, factors=tuple(table.factors.items()), cracked=table.cracked)
        if isinstance(table, OwnSumTable):
            made = replace(made, source=table.source or "", mark=MARK)
        found.append(made)
    return tuple(found)


def check_cracked(
    sums: Sequence[tuple[str, Sum]],
    cases: Sequence[Case],
    stages: Stages | None,
    slab: Slab | None,
    lines: Sequence[Line],
    mistakes: Mistakes,
    *,
    has_bars: bool,
) -> None:
    """Sums with cracked stiffness: loads on a slab with bars that bends alone."""
    of = {case.name: case for case in cases}
    for where, one in sums:
        if not one.cracked:
            continue
        key = f"{where}, cracked"
        if not has_bars:
            mistakes.add(key, True, "needs [[bars]]: cracks leave the slab their stiffness")
        if slab is not None and (slab.rigidity is not None or slab.zones):
            told = "needs a slab of one thickness with E_GPa or concrete, not rigidity_kNm"
            mistakes.add(key, True, told)
        if any(line.beam is not None and line.beam.connection > 0.0 for line in lines):
            mistakes.add(key, True, "a slab connected to its beams cracks by membrane forces, too")
        for name, _ in one.factors:
            case = of.get(name)
            if case is not None and (case.imposes or (stages and case.stage != "short-term")):
                told = "is of loads of the stage short-term alone: cracking has no sums by stage"
                mistakes.add(f'{where}, factors."{printable(name)}"', None, told)
