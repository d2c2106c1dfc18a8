"""What a fleet file may say: its tables, keys and bounds."""

from typing import Annotated, get_args

from pipelines.deck.reading.loads_schema import VehicleTable
from pipelines.deck.reading.rules import Choice, Count, Range
from pipelines.deck.reading.schema import Name, Pair, Table, entry
from pipelines.standards.sources import Standard

MOST_VEHICLES = 20_000


class PermitTable(Table):
    """A vehicle that is rated by its name, on its path and with what stands beside it."""

    name: Name = entry("Name of a vehicle, as `vehicles` may have it.", "EN 1991-2 LM2")
    offsets_m: Pair | None = entry(
        "Permitted path: from which offset to which its centre line may run.",
        [-0.5, 0.5],
        default=None,
        left_out="the whole carriageway, with the deck file's clearance",
    )

    beside: Name | None = entry(
        "Load model of the deck file whose other lanes stand beside the vehicle, which takes one.",
        "EN 1991-2 LM1",
        default=None,
        left_out="alone on the deck",
    )
    beside_factors: Pair | None = entry(
        "Factors on the axles and on the distributed loads of those lanes, which are not "
        "multiplied.",
        [0.75, 0.4],
        default=None,
        left_out="those of the frequent combination of the load model's standard",
    )


class FleetVehicleTable(VehicleTable, PermitTable):
    """A vehicle that is rated, by its axles."""

    name: Name = entry("Name of the vehicle, none of those that have one.", "crane")


class LevelTable(Table):
    """A level of rating: another factor on the vehicles at the ultimate limit state."""

    name: Name = entry("Name of the level.", "escorted, 10 km/h")
    standard: Annotated[Standard, Choice(get_args(Standard))] = entry(
        "Standard whose factor it replaces.", "EN 1992"
    )
    gamma: Annotated[float, Range(0.5, 3.0)] = entry("Factor on the vehicle.", 1.1)


class FleetTable(Table):
    """Vehicles to be rated on a deck, and levels of rating."""

    vehicles: Annotated[list[Name], Count(1, 100)] | None = entry(
        "Vehicles by their names: of the standards, as `deckslab vehicles` lists them, of the deck "
        "file, and those that its [own] vehicles give.",
        ["EN 1991-2 LM2"],
        default=None,
        left_out="those of the tables alone",
    )
    vehicle: Annotated[list[FleetVehicleTable], Count(1, MOST_VEHICLES)] | None = entry(
        "Vehicles by their axles, each a table [[vehicle]].",
        [{"name": "crane", "axles": [{"at_m": 0.0, "load_kN": 120, "gauge_m": 2.0,
                                      "patch_mm": [250, 400]}]}],
        default=None,
        left_out="those of the standards alone",
    )  # fmt: skip
    permit: Annotated[list[PermitTable], Count(1, MOST_VEHICLES)] | None = entry(
        "Vehicles by their names, too, each a table [[permit]] with its path or what stands beside "
        "it.",
        [{"name": "EN 1991-2 LM2", "offsets_m": [-0.5, 0.5]}],
        default=None,
        left_out="those of `vehicles` and the tables [[vehicle]] alone",
    )
    load_models: Annotated[list[Name], Count(1, 20)] | None = entry(
        "Load models of the deck file, each with all its lanes, that are rated "
        "beside the vehicles, by their names.",
        ["EN 1991-2 LM1"],
        default=None,
        left_out="none; without a fleet file all of them",
    )
    level: Annotated[list[LevelTable], Count(1, 20)] | None = entry(
        "Levels, each a table [[level]]; AASHTO's inventory, operating and permit levels are "
        "always there.",
        [{"name": "escorted", "standard": "EN 1992", "gamma": 1.1}],
        default=None,
        left_out="the factors of the deck file",
    )
