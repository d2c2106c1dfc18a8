"""Vehicles and load models of the user's own, in SI units."""

from collections.abc import Collection, Mapping, Sequence

from pipelines.deck.reading.loads import Offered, check_names, own_vehicles
from pipelines.deck.reading.mistakes import Mistakes, nearest
from pipelines.deck.reading.own import load_models_given, vehicles_given
from pipelines.deck.reading.own_schema import OwnLoadModelTable
from pipelines.deck.traffic import Traffic
from pipelines.standards.actions.load_models import load_models
from pipelines.standards.actions.loads import LaneKind, LaneSet, LoadModel, Vehicle
from pipelines.standards.actions.vehicles import library
from pipelines.standards.own.code import MARK
from pipelines.standards.own.own import Own


def offered_by(own: Own, described: Mapping[str, Vehicle | None], mistakes: Mistakes) -> Offered:
    """What code of the user's own gives; described : vehicles of the deck file, by name, which load
    models may name, too."""
    vehicles = own_vehicles(vehicles_given(own, mistakes), mistakes, described)
    known = {**library, **vehicles, **described}
    return Offered(vehicles, _load_models(load_models_given(own, mistakes), known, mistakes))


def _load_models(
    tables: Sequence[tuple[str, OwnLoadModelTable]],
    vehicles: Mapping[str, Vehicle | None],
    mistakes: Mistakes,
) -> dict[str, LoadModel | None]:
    """The load models by name, None for one with mistakes; vehicles : that they may name."""
    check_names(((where, table.name) for where, table in tables), mistakes)
    found: dict[str, LoadModel | None] = {}
    for where, table in tables:
        before = len(mistakes.lines)
        if table.name in load_models:
            mistakes.add(f"{where}, name", table.name, "a standard's load model has this name")
        kinds = []
        for k, lane in enumerate(table.lanes, start=1):
            for name in lane.vehicles:
                if name not in vehicles:
                    told = f"no vehicle, {nearest(name, vehicles)}"
                    mistakes.add(f"{where}, lanes {k}, vehicles", name, told)
            named = [vehicles.get(name) for name in lane.vehicles]
            kinds.append(
                LaneKind(
                    name=f"lane {k}",
                    vehicles=tuple(one for one in named if one is not None),
                    factor=lane.factor,
                    room=lane.room_m,
                    pressure=1e3 * lane.pressure_kN_m2,
                    width=lane.width_m,
                )
            )
        every = tuple(range(len(kinds)))
        sets = [LaneSet(every)]
        if table.together is not None:
            sets = [LaneSet(tuple(n - 1 for n in one.lanes), one.factor) for one in table.together]
        for k, one in enumerate(sets, start=1):
            if max(one.kinds) not in every:
                told = f"there are {len(kinds)} lanes"
                mistakes.add(f"{where}, together {k}, lanes", max(one.kinds) + 1, told)
        sound = len(mistakes.lines) == before and all(kind.vehicles for kind in kinds)
        found[table.name] = None
        if sound:
            found[table.name] = LoadModel(
                name=table.name,
                kinds=tuple(kinds),
                sets=tuple(sets),
                pressure=1e3 * table.pressure_kN_m2,
                source=table.source or "",
                mark=MARK,
            )
    return found


def check_room(traffic: Traffic, names: Collection[str], mistakes: Mistakes) -> None:
    """Lanes that are loaded together fit side by side on the carriageway; names : of load models of
    the user's own."""
    low, high = traffic.carriageway
    for model in traffic.load_models:
        if model.name not in names:
            continue
        for one in model.sets:
            kinds = [model.kinds[k] for k in one.kinds]
            rooms = sorted(kind.room for kind in kinds)
            apart = 2.0 * sum(rooms) - sum(rooms[-2:]) if len(rooms) > 1 else 0.0
            ranges = [traffic.offset_range(v) for kind in kinds for v in kind.vehicles]
            free = max(end for _, end in ranges) - min(start for start, _ in ranges)
            if apart > free + 1e-9:
                words = " + ".join(kind.name for kind in kinds)
                mistakes.add(
                    "[traffic] load_models",
                    model.name,
                    f"{words}: centre lines need {apart:g} m side by side, the carriageway of "
                    f"{high - low:g} m has {max(free, 0.0):.3g} m",
                )
