"""The slab of a deck file: thickness, modulus and zones of another thickness."""

from collections.abc import Sequence
from itertools import combinations
from math import inf

from pipelines.deck.deck import Slab, Zone
from pipelines.deck.reading.chains import LEAST_GAP
from pipelines.deck.reading.mistakes import Mistakes
from pipelines.deck.reading.plan_schema import SlabTable, StiffnessTable, ZoneTable
from pipelines.standards.concrete import STANDARD, secant_modulus
from plate.geometry.plan import Plan

SAME_PLACE = 1e-9  # m


def read_slab(
    table: SlabTable | None, plan: Plan | None, mistakes: Mistakes, warnings: list[str]
) -> Slab | None:
    """The slab in SI units, None without a sound table; `warnings` gets what is assumed."""
    if table is None:
        return None
    stiffness = table.stiffness or StiffnessTable()
    rigidity = table.rigidity_kNm
    if table.stiffness is not None and rigidity is not None:
        mistakes.add("[slab] rigidity_kNm", None, "give stiffness or rigidity_kNm, not both")
    if rigidity is not None and rigidity.Dx * rigidity.Dy <= rigidity.D1**2:
        mistakes.add(
            "[slab] rigidity_kNm.D1",
            rigidity.D1,
            f"must be less than the root of Dx Dy, {(rigidity.Dx * rigidity.Dy) ** 0.5:g} kNm",
        )
    return Slab(
        thickness=table.thickness_mm / 1e3,
        E=_modulus(table, mistakes, warnings),
        poisson=table.poisson,
        density=1e3 * table.density_kN_m3,
        theory=table.theory,
        stiffness=(stiffness.x, stiffness.y, stiffness.xy),
        rigidity=None
        if rigidity is None
        else (1e3 * rigidity.Dx, 1e3 * rigidity.Dy, 1e3 * rigidity.D1, 1e3 * rigidity.Dxy),
        zones=() if plan is None else _zones(table.zone or [], plan, mistakes),
        concrete=None if table.concrete is None else f"{table.concrete} ({STANDARD})",
    )


def _modulus(table: SlabTable, mistakes: Mistakes, warnings: list[str]) -> float:
    if table.standard is not None and table.concrete is None:
        mistakes.add("[slab] standard", table.standard, "says whose class `concrete` is; give both")
    if table.concrete is None:
        if table.E_GPa is None:
            mistakes.add("[slab] E_GPa", None, "is missing; give E_GPa in GPa, or concrete")
            return 0.0
        return 1e9 * table.E_GPa
    if table.E_GPa is not None:
        mistakes.add("[slab] E_GPa", table.E_GPa, "give E_GPa or concrete, not both")
    modulus = secant_modulus(table.concrete)
    if table.standard is None:
        warnings.append(
            f"concrete {table.concrete} is taken as a class of {STANDARD}, the file names no "
            f"standard: E = {1e-9 * modulus:.3g} GPa"
        )
    return modulus


def _zones(tables: list[ZoneTable], plan: Plan, mistakes: Mistakes) -> tuple[Zone, ...]:
    """Zones cut to the slab's extent; stations count at offset zero, as those of the C lines."""
    full_stations = plan.u_range
    full_offsets = (float(plan.outline[:, 1].min()), float(plan.outline[:, 1].max()))
    zones: list[Zone] = []
    for i, table in enumerate(tables):
        key = f"[slab] zone {i + 1}"
        stations = _cut(f"{key}, stations_m", table.stations_m, full_stations, mistakes)
        offsets = _cut(f"{key}, offsets_m", table.offsets_m, full_offsets, mistakes)
        zones.append(Zone(stations, offsets, table.thickness_mm / 1e3))
    for (i, one), (j, other) in combinations(enumerate(zones), 2):
        if _overlap(one.stations, other.stations) and _overlap(one.offsets, other.offsets):
            mistakes.add(f"[slab] zone {j + 1}", None, f"overlaps zone {i + 1}")
    return tuple(zones)


def _cut(
    key: str, given: Sequence[float] | None, full: tuple[float, float], mistakes: Mistakes
) -> tuple[float, float] | None:
    """The part of a range that is on the slab; None for the full extent."""
    if given is None:
        return None
    low, high = max(given[0], full[0]), min(given[1], full[1])
    if given[1] < given[0] + LEAST_GAP:
        mistakes.add(key, given, f"the second must be {LEAST_GAP} m or more beyond the first")
    elif high < low + LEAST_GAP:
        mistakes.add(key, given, f"off the slab, which reaches from {full[0]:g} to {full[1]:g} m")
    return low, high


def _overlap(one: tuple[float, float] | None, other: tuple[float, float] | None) -> bool:
    (a, b), (c, d) = one or (-inf, inf), other or (-inf, inf)
    return min(b, d) - max(a, c) > SAME_PLACE
