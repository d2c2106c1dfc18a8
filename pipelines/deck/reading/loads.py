"""Loads of a deck file: static cases, vehicles of the library and of the file, and traffic."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from math import radians

import numpy as np
import shapely

from pipelines.deck.cases import Case, LineLoad, Patch
from pipelines.deck.deck import Line
from pipelines.deck.reading.carriageway import axis_of, check_edges, on_overhang
from pipelines.deck.reading.loads_schema import (
    DEFAULT_LATERAL_STEP,
    AxleTable,
    CaseTable,
    LineLoadTable,
    PatchTable,
    TrafficTable,
    VehicleTable,
)
from pipelines.deck.reading.mistakes import Mistakes, nearest, printable, shown
from pipelines.deck.reading.own_schema import OwnVehicleTable
from pipelines.deck.reading.plausible import check_wheels
from pipelines.deck.reading.stages import temperature_of
from pipelines.deck.traffic import Traffic
from pipelines.standards.actions.load_models import Conditions, load_models
from pipelines.standards.actions.loads import Axle, LoadModel, Vehicle
from pipelines.standards.actions.vehicles import library
from pipelines.standards.factors import Factors
from pipelines.standards.own.code import MARK
from pipelines.standards.sources import Standard
from plate.arrays import Floats
from plate.geometry.elementary import rectangle_corners
from plate.geometry.outline import FINE, covers, region
from plate.geometry.plan import Plan

SHARE_TOLERANCE = 1e-9  # of a patch's area: rounding of its clipped corners


def check_names(named: Iterable[tuple[str, str]], mistakes: Mistakes) -> None:
    """Each (table, name) once; a repeat is a mistake that names both tables."""
    first: dict[str, str] = {}
    for where, name in named:
        if name in first:
            mistakes.add(f"{where}, name", name, f"{first[name]} has this name already")
        first.setdefault(name, where)


def static_cases(
    tables: list[tuple[str, CaseTable]], plan: Plan, mistakes: Mistakes, warnings: list[str]
) -> tuple[Case, ...]:
    """The load cases; a warning for each patch that is partly off the slab."""
    check_names(((where, table.name) for where, table in tables), mistakes)
    cases = []
    for where, table in tables:
        if not table.model_fields_set - {"name", "action", "stage"}:
            mistakes.add(
                where,
                None,
                "has no load; give patches, pressure_kN_m2, self_weight = true or lines, "
                "temperature, shrinkage_permille or settlements_mm",
            )
        lines = [
            _line_load(line, f"{where}, lines {i + 1}", plan, mistakes)
            for i, line in enumerate(table.lines or [])
        ]
        patches = tuple(_patch(patch) for patch in table.patches or [])
        _check_patches(patches, where, table.name, plan, mistakes, warnings)
        cases.append(
            Case(
                name=table.name,
                patches=patches,
                pressure=1e3 * (table.pressure_kN_m2 or 0.0),
                self_weight=table.self_weight,
                lines=tuple(line for line in lines if line is not None),
                action=table.action,
                stage=table.stage,
                temperature=temperature_of(table),
                shrinkage=1e-3 * (table.shrinkage_permille or 0.0),
                settlements=tuple((n, s / 1e3) for n, s in (table.settlements_mm or {}).items()),
            )
        )
    return tuple(cases)


def _patch(table: PatchTable) -> Patch:
    (x, y), (along, across) = table.at_m, table.size_m
    return Patch((x, y), (along, across), 1e3 * table.load_kN)


def _line_load(table: LineLoadTable, where: str, plan: Plan, mistakes: Mistakes) -> LineLoad | None:
    """A load along a path, or along a line of the plan that it names."""
    load = 1e3 * table.load_kN_m
    if (table.on is None) == (table.path_m is None):
        mistakes.add(where, None, "give path_m, or `on` with the name of a line or edge")
        return None
    if table.on is not None:
        if table.on not in plan.lines:
            hint = nearest(table.on, plan.lines)
            mistakes.add(f"{where}, on", table.on, f"no line of the plan, {hint}")
            return None
        course = plan.lines[table.on].path.tolist()
        return LineLoad(tuple((x, y) for x, y in course), load, table.on)
    assert table.path_m is not None
    path = np.array(table.path_m)
    before = len(mistakes.lines)
    for i in np.flatnonzero(~plan.contains(path)):
        mistakes.add(f"{where}, path_m {i + 1}", table.path_m[i], "not on the slab")
    for i in np.flatnonzero(np.all(np.diff(path, axis=0) == 0.0, axis=1)):
        mistakes.add(f"{where}, path_m {i + 2}", table.path_m[i + 1], "repeats the point before it")
    if len(mistakes.lines) == before and not covers(plan, path):
        mistakes.add(f"{where}, path_m", table.path_m, "leaves the slab between its points")
    return LineLoad(tuple((x, y) for x, y in table.path_m), load)


def _check_patches(
    patches: tuple[Patch, ...],
    where: str,
    case: str,
    plan: Plan,
    mistakes: Mistakes,
    warnings: list[str],
) -> None:
    if not patches:
        return
    shares = _shares_on_slab(patches, plan)
    for i in np.flatnonzero(shares < 1.0 - SHARE_TOLERANCE):
        share = shares[i]
        patch = patches[i]
        if share <= SHARE_TOLERANCE:
            beyond = "" if plan.alignment.straight else ", or reaches the centre of curvature"
            allowed = f"the patch is wholly off the slab{beyond}"
            mistakes.add(f"{where}, patches {i + 1}, at_m", patch.at, allowed)
        else:
            warnings.append(
                f"case {shown(case)}, patch {i + 1} at {shown(patch.at)}: "
                f"{100.0 * (1.0 - share):.3g} % of it is off the slab; "
                f"{patch.load / 1e3 * (1.0 - share):.3g} kN of its "
                f"{patch.load / 1e3:g} kN do not act"
            )


def _shares_on_slab(patches: tuple[Patch, ...], plan: Plan) -> Floats:
    """Share (n,) of each patch's area on the ground that is on the slab; none of one that reaches
    the centre of curvature, where there is no slab."""
    at = np.array([patch.at for patch in patches])
    size = np.array([patch.size for patch in patches])
    on_deck = np.all(plan.alignment.stretch(rectangle_corners(at, size)) > 0.0, axis=1)
    corners = np.zeros((len(at), 4, 2))
    corners[on_deck] = plan.alignment.rectangles(at[on_deck], size[on_deck])
    shares = np.where(on_deck, 1.0, 0.0)
    slab = region(plan)
    (cut,) = np.nonzero(on_deck & ~shapely.covers(slab.buffer(FINE), shapely.polygons(corners)))
    for i, common in zip(
        cut, shapely.intersection(shapely.polygons(corners[cut]), slab), strict=True
    ):
        area = 0.0
        for part in shapely.get_parts(common):
            for sign, ring in _rings(part):
                area += sign * abs(
                    float(plan.alignment.polygon_area(shapely.get_coordinates(ring)[:-1]))
                )
        shares[i] = area / plan.alignment.polygon_area(corners[i])
    return shares


def _rings(part: shapely.Geometry) -> list[tuple[float, shapely.Geometry]]:
    """The rings of a polygon, +1 for the outer one and -1 for holes; none of points and lines."""
    if not isinstance(part, shapely.Polygon):
        return []
    return [(1.0, part.exterior), *((-1.0, hole) for hole in part.interiors)]


def own_vehicles(
    tables: Sequence[tuple[str, VehicleTable]],
    mistakes: Mistakes,
    taken: Collection[str] = (),
) -> dict[str, Vehicle | None]:
    """The vehicles that the file, or code of the user's own, describes, by name; None for one with
    mistakes. taken : names that they may not have."""
    check_names(((where, table.name) for where, table in tables), mistakes)
    vehicles: dict[str, Vehicle | None] = {}
    for where, table in tables:
        if table.name in library:
            mistakes.add(f"{where}, name", table.name, "a standard's vehicle has this name")
        if table.name in taken:
            mistakes.add(f"{where}, name", table.name, "a [[vehicle]] has this name")
        axles: list[Axle] = []
        last = 0.0
        for i, axle in enumerate(table.axles):
            key = f"{where}, axles {i + 1}"
            if i == 0 and axle.at_m != 0.0:
                mistakes.add(f"{key}, at_m", axle.at_m, "the first axle is at 0")
            if axle.at_m < last:
                mistakes.add(
                    f"{key}, at_m",
                    axle.at_m,
                    f"axles stand from the front to the rear, the one before is at {last:g} m",
                )
            last = axle.at_m
            wheels = _wheels(axle, key, mistakes)
            along, across = axle.patch_mm
            if wheels:
                axles.append(
                    Axle(axle.at_m, 1e3 * axle.load_kN, wheels, (along / 1e3, across / 1e3))
                )
        sound = len(axles) == len(table.axles)
        if sound:
            check_wheels(where, axles, mistakes)
        vehicle = Vehicle(name=table.name, axles=tuple(axles), impact=table.impact)
        if isinstance(table, OwnVehicleTable):
            vehicle = replace(vehicle, source=table.source or "", mark=MARK)
        vehicles[table.name] = vehicle if sound else None
    return vehicles


@dataclass(frozen=True)
class Offered:
    """Vehicles and load models that code of the user's own gives, by name, None for one with
    mistakes: only those that [traffic] names drive or act."""

    vehicles: Mapping[str, Vehicle | None]
    load_models: Mapping[str, LoadModel | None]


def _wheels(axle: AxleTable, key: str, mistakes: Mistakes) -> tuple[float, ...]:
    if axle.gauge_m is not None and axle.wheels_m is not None:
        mistakes.add(f"{key}, gauge_m", axle.gauge_m, "give gauge_m or wheels_m, not both")
        return ()
    if axle.gauge_m is not None:
        return (-0.5 * axle.gauge_m, 0.5 * axle.gauge_m)
    if axle.wheels_m is None:
        mistakes.add(key, None, "has no wheels; give gauge_m (two wheels) or wheels_m")
        return ()
    wheels = sorted(axle.wheels_m)
    for left, right in pairwise(wheels):
        if left == right:
            mistakes.add(f"{key}, wheels_m", axle.wheels_m, f"two wheels at {left:g} m")
    return tuple(wheels)


def moving_loads(
    table: TrafficTable,
    own: Mapping[str, Vehicle | None],
    offered: Offered,
    factors: Mapping[Standard, Factors],
    plan: Plan,
    lines: Sequence[Line],
    mistakes: Mistakes,
    warnings: list[str],
) -> Traffic:
    """The traffic: the vehicles listed, then the file's own that are not listed."""
    low, high = table.carriageway_m
    axis = axis_of(table, plan, mistakes, warnings)
    vehicles = _driven(table, own, offered, mistakes)
    traffic = Traffic(
        carriageway=(low, high),
        vehicles=vehicles,
        step=table.step_m,
        lateral_step=_lateral_step(table, mistakes),
        offsets=None if table.offsets_m is None else tuple(sorted(table.offsets_m)),
        edge_clearance=table.edge_clearance_m,
        surfacing=table.surfacing_mm / 1e3,
        dispersal=table.dispersal,
        dispersal_angle=radians(table.dispersal_deg),
        directions=table.directions,
        load_models=_models(table, own, offered, factors, plan, mistakes),
        joints=tuple(table.joints or ()),
        on_overhang=on_overhang((low, high), plan, lines, axis),
        axis=axis,
    )
    misread = table.carriageway_axis_m is not None and axis is None
    if not misread and check_edges(traffic, plan, mistakes, warnings):
        for vehicle in dict.fromkeys(traffic.all_vehicles):
            _check_width(vehicle, traffic, mistakes, warnings)
    return traffic


def _lateral_step(table: TrafficTable, mistakes: Mistakes) -> float | None:
    if table.offsets_m is None:
        return DEFAULT_LATERAL_STEP if table.lateral_step_m is None else table.lateral_step_m
    if table.lateral_step_m is not None:
        mistakes.add(
            "[traffic] lateral_step_m",
            table.lateral_step_m,
            "give lateral_step_m or offsets_m, not both",
        )
    if len(set(table.offsets_m)) < len(table.offsets_m):
        mistakes.add("[traffic] offsets_m", table.offsets_m, "has an offset twice")
    return None


def _driven(
    table: TrafficTable,
    own: Mapping[str, Vehicle | None],
    offered: Offered,
    mistakes: Mistakes,
) -> tuple[Vehicle, ...]:
    known = {**library, **offered.vehicles, **own}
    listed: dict[str, Vehicle | None] = {}
    for i, name in enumerate(table.vehicles or []):
        key = f"[traffic] vehicles {i + 1}"
        if name not in known:
            told = "is a load model, with all its lanes: name it in load_models"
            if name not in load_models and name not in offered.load_models:
                told = f"unknown vehicle, {nearest(name, known)}"
            mistakes.add(key, name, told)
        elif name in listed:
            mistakes.add(key, name, "listed twice")
        else:
            listed[name] = known[name]
    if not table.vehicles and not own and not table.load_models:
        mistakes.add(
            "[traffic] vehicles",
            None,
            f"no vehicle; list some of {', '.join((*library, *offered.vehicles))}, or describe a "
            "[[vehicle]]",
        )
    driven = listed | {name: vehicle for name, vehicle in own.items() if name not in listed}
    for name, factor in table.impact.items():
        if name in (table.load_models or ()):
            continue
        vehicle = driven.get(name)
        if vehicle is not None:
            driven[name] = replace(vehicle, impact=vehicle.impact * factor)
        elif name not in driven and (there := [*driven, *(table.load_models or ())]):
            key = f'[traffic] impact."{printable(name)}"'
            mistakes.add(key, factor, f"no such vehicle in this traffic, {nearest(name, there)}")
    return tuple(vehicle for vehicle in driven.values() if vehicle is not None)


def lane_factors(table: TrafficTable, factors: Factors, by: str) -> Factors:
    """The factors of EN 1992 with alpha_Q, alpha_q and beta_Q that [traffic] states; by : who."""
    keys = (
        *zip(("alpha_Q1", "alpha_Q2", "alpha_Q3"), table.alpha_Q or (), strict=False),
        *zip(("alpha_q1", "alpha_q2", "alpha_q3", "alpha_qr"), table.alpha_q or (), strict=False),
    )
    values = dict(keys) if table.beta_Q is None else {**dict(keys), "beta_Q": table.beta_Q}
    return factors.stated_by(by, **values) if values else factors


def _models(
    table: TrafficTable,
    own: Collection[str],
    offered: Offered,
    factors: Mapping[Standard, Factors],
    plan: Plan,
    mistakes: Mistakes,
) -> tuple[LoadModel, ...]:
    """The load models listed, made for this carriageway; own : names of the file's vehicles."""
    spans = [*np.diff(plan.stations), *np.diff(plan.offsets)]
    given = Conditions(
        width=table.carriageway_m[1] - table.carriageway_m[0],
        span=float(min(spans)) if spans else 0.0,
        factors=factors,
    )
    found: dict[str, LoadModel] = {}
    for i, name in enumerate(table.load_models or []):
        key = f"[traffic] load_models {i + 1}"
        if name not in load_models and name not in offered.load_models:
            told = "is a vehicle, which drives alone: name it in vehicles"
            if name not in library and name not in own and name not in offered.vehicles:
                told = f"unknown load model, {nearest(name, (*load_models, *offered.load_models))}"
            mistakes.add(key, name, told)
        elif name in found:
            mistakes.add(key, name, "listed twice")
        elif given.width > 0.0:
            theirs = offered.load_models
            model = theirs[name] if name in theirs else load_models[name](given)
            if model is not None:
                found[name] = _with_impact(model, table.impact.get(name, 1.0))
    if table.joints and not plan.stations:
        mistakes.add("[traffic] joints", table.joints, "this plan has no start and end")
    return tuple(found.values())


def _with_impact(model: LoadModel, factor: float) -> LoadModel:
    """The model with its vehicles' loads multiplied."""
    kinds = tuple(replace(kind, factor=factor * kind.factor) for kind in model.kinds)
    return replace(model, kinds=kinds)


def _check_width(
    vehicle: Vehicle, traffic: Traffic, mistakes: Mistakes, warnings: list[str]
) -> None:
    low, high = traffic.offset_range(vehicle)
    if traffic.offsets is not None:
        outside = [y for y in traffic.offsets if not low - 1e-9 <= y <= high + 1e-9]
        if outside:
            warnings.append(
                f"vehicle {shown(vehicle.name)} stands nearer to the kerb than its clearance "
                f"at the offsets {', '.join(f'{y:g}' for y in outside)} m given by offsets_m"
            )
    elif low > high:
        mistakes.add(
            "[traffic] carriageway_m",
            traffic.carriageway,
            f"{low - high:.3g} m too narrow for {shown(vehicle.name)} with its clearances",
        )
