"""The vehicles and load models of the standards as a list and as a page with drawings to scale."""

from itertools import groupby

from pipelines.numbers import as_given, length
from pipelines.report.document import (
    Bullets,
    Caution,
    Document,
    Figure,
    Paragraph,
    Section,
    Strong,
)
from pipelines.standards.actions.load_models import Conditions, load_models
from pipelines.standards.actions.loads import LoadModel, Vehicle
from pipelines.standards.actions.vehicles import MARK, library

CAUTION = (
    "Loads are characteristic. Unless an entry says otherwise all its numbers are from memory: the "
    "clause was not read again in the print that is named. Editions, national annexes and "
    "local rules may differ: for a qualified engineer to verify."
)


def vehicle_words(vehicle: Vehicle) -> str:
    """Total load, length and width over contacts in a few words."""
    total = sum(axle.load for axle in vehicle.axles)
    width = max(y + 0.5 * axle.patch[1] for axle in vehicle.axles for y in axle.wheels)
    low = min(y - 0.5 * axle.patch[1] for axle in vehicle.axles for y in axle.wheels)
    stations = len({axle.at for axle in vehicle.axles})
    axles = "1 axle" if stations == 1 else f"{stations} axles over {length(vehicle.axles[-1].at)} m"
    return (
        f"{as_given(1e-3 * total)} kN, {axles}, {length(width - low)} m over contacts, "
        f"{length(vehicle.clearance)} m from the kerb to the {vehicle.clearance_to}"
    ) + (
        ""
        if vehicle.overhang_clearance is None
        else f" ({length(vehicle.overhang_clearance)} m on an overhang)"
    )


def model_words(model: LoadModel) -> list[str]:
    """Kinds of lanes, sets of lanes and distributed load of a load model, a line each."""
    lines = []
    for kind in model.kinds:
        names = " or ".join(vehicle.name for vehicle in kind.vehicles)
        impact = kind.vehicles[0].impact
        words = f"{kind.name}: {as_given(round(kind.factor, 4))} x {names}"
        if impact != 1.0:
            words += f" with impact {as_given(round(impact, 4))}"
        if kind.pressure:
            total = 1e-3 * (kind.pressure + model.pressure)
            words += f", {as_given(round(total, 4))} kN/m2 on {length(kind.width)} m"
        lines.append(words)
    sets = []
    for lane_set in model.sets:
        names = " + ".join(model.kinds[k].name for k in lane_set.kinds)
        sets.append(names + (f" (x {as_given(lane_set.factor)})" if lane_set.factor != 1.0 else ""))
    lines.append("together: " + "; ".join(sets))
    if model.pressure:
        lines.append(
            f"elsewhere on the carriageway {as_given(1e-3 * model.pressure)} kN/m2, "
            "adverse parts only"
        )
    if model.near_joint:
        lines.append("results within 6 m of [traffic] joints are raised, by 1.30 at the joint")
    return [*lines, *model.notes]


def listed(one: Vehicle | LoadModel) -> str:
    """The source of an entry, with its mark where that is another than the legend's."""
    return one.source if one.mark == MARK else one.cited


def listing(conditions: Conditions) -> list[str]:
    """Every vehicle and load model in plain lines."""
    lines = [CAUTION, "Vehicles, for [traffic] vehicles; below one or several their source:"]
    for source, vehicles in groupby(library.values(), listed):
        lines += [f"  {vehicle.name}: {vehicle_words(vehicle)}" for vehicle in vehicles]
        lines.append(f"    {source}")
    lines.append(f"Load models, for [traffic] load_models; {_made_for(conditions)}:")
    for make in load_models.values():
        model = make(conditions)
        lines += [f"  {model.name}", *(f"    {words}" for words in model_words(model))]
        lines.append(f"    {listed(model)}")
    return lines


def page(conditions: Conditions) -> Document:
    """The list as a page, every vehicle drawn to scale from above."""
    # Drawings load a library that takes long.
    from pipelines.report.drawings.vehicles import vehicle_drawing

    vehicles = [
        Figure(
            f"vehicle-{k}",
            vehicle_drawing(vehicle, f"vehicle-{k}"),
            (Strong(vehicle.name), f": {vehicle_words(vehicle)}. {listed(vehicle)}."),
        )
        for k, vehicle in enumerate(library.values(), start=1)
    ]
    models = [_model_part(make(conditions)) for make in load_models.values()]
    made = Paragraph(f"{_made_for(conditions).capitalize()}.")
    return Document(
        title="Vehicles and load models",
        lead="To scale, from above, travelling to the right",
        front=(Caution((Paragraph(CAUTION),)),),
        sections=(
            Section("vehicles", "Vehicles", tuple(vehicles)),
            Section("load-models", "Load models", (made, *models)),
        ),
        end=CAUTION,
    )


def _model_part(model: LoadModel) -> Section:
    rows = Bullets(tuple(model_words(model)))
    return Section("", model.name, (rows, Paragraph(f"{listed(model)}.")))


def _made_for(conditions: Conditions) -> str:
    return (
        f"lanes and impact as on a carriageway of {length(conditions.width)} m and a span of "
        f"{length(conditions.span)} m"
    )
