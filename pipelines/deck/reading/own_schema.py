"""What a deck file may say of code of the user's own."""

from typing import Annotated

from pipelines.deck.reading.loads_schema import SumTable, VehicleTable
from pipelines.deck.reading.rules import Count, Range, Text, WholeRange
from pipelines.deck.reading.schema import Lines, Name, Table, entry

OwnName = Annotated[str, Text(200)]


class OwnTable(Table):
    """Code of the user's own: Python files, relative to the deck file, or packages that are
    installed, by their entry point of the group `deckslab`. A file runs only where the command
    names it, too: --own FILE."""

    strips: OwnName | None = entry(
        "What gives strip methods, in its list `strips`.",
        "office.py",
        default=None,
        left_out="none but the library's",
    )
    vehicles: OwnName | None = entry(
        "What gives vehicles, in its list `vehicles`, as tables [[vehicle]] have them, with "
        "`source`; [traffic] vehicles names those that drive.",
        "office.py",
        default=None,
        left_out="none but the library's and those of [[vehicle]]",
    )
    load_models: OwnName | None = entry(
        "What gives load models, in its list `load_models`; [traffic] load_models names those that "
        "act.",
        "office.py",
        default=None,
        left_out="none but the library's",
    )
    factors: OwnName | None = entry(
        "What gives a set of factors and national choices, in its table `factors`, which holds "
        "what [factors] may hold; what a file of factors or [factors] itself states wins.",
        "office.py",
        default=None,
        left_out="recommended ones",
    )
    sums: OwnName | None = entry(
        "What gives sums of static cases, combinations, in its list `sums`, as tables [[sum]] have "
        "them, with `source`; all of them are made.",
        "office.py",
        default=None,
        left_out="those of [[sum]] alone",
    )
    checks: OwnName | None = entry(
        "What gives checks of bars, in its list `checks`; they count as the standards' own do.",
        "office.py",
        default=None,
        left_out="the standards' alone",
    )
    results: OwnName | None = entry(
        "What gives results made of those that [[probe]] tables ask for, in its list `results`.",
        "office.py",
        default=None,
        left_out="none",
    )


class OwnVehicleTable(VehicleTable):
    """A vehicle that code of the user's own gives."""

    source: Name | None = entry(
        "Where it comes from, for print.",
        "office note 12",
        default=None,
        left_out="the code's name",
    )


class OwnSumTable(SumTable):
    """A sum of static cases that code of the user's own gives."""

    source: Name | None = entry(
        "Where it comes from, for print.",
        "office note 12",
        default=None,
        left_out="the code's name",
    )


class OwnLaneTable(Table):
    """A way of loading a lane of a load model of the user's own: one of several vehicles at a time,
    and a pressure."""

    vehicles: Lines = entry(
        "Vehicles of which one stands in the lane: of the library, of [[vehicle]] or of [own].",
        ["office crane"],
    )
    factor: Annotated[float, Range(0.01, 10.0)] = entry(
        "Factor on the vehicles' loads.", 0.8, default=1.0
    )
    room_m: Annotated[float, Range(0.1, 10.0, "m")] = entry(
        "Two lanes side by side keep the sum of their rooms between the vehicles' centre lines.",
        1.25,
        default=1.5,
    )
    pressure_kN_m2: Annotated[float, Range(0.0, 100.0, "kN/m2")] = entry(
        "Pressure on the lane, on its adverse parts, on top of that of the load model.",
        6.5,
        default=0.0,
    )
    width_m: Annotated[float, Range(0.5, 20.0, "m")] = entry(
        "Width of the lane about the vehicle's centre line that the pressure acts on.",
        3.0,
        default=3.0,
    )


class OwnLaneSetTable(Table):
    """Lanes that are loaded together, in any order across the carriageway."""

    lanes: Annotated[list[Annotated[int, WholeRange(1, 10)]], Count(1, 10)] = entry(
        "Numbers of the lanes, from 1; a lane may stand several times.", [1, 2]
    )
    factor: Annotated[float, Range(0.01, 10.0)] = entry(
        "Factor on all of them, for presence.", 0.85, default=1.0
    )


class OwnLoadModelTable(Table):
    """A load model that code of the user's own gives: the whole traffic of a deck."""

    name: Name = entry("Name of the load model, none of a standard's.", "office traffic")
    source: Name | None = entry(
        "Where it comes from, for print.",
        "office note 12",
        default=None,
        left_out="the code's name",
    )
    lanes: Annotated[list[OwnLaneTable], Count(1, 10)] = entry(
        "Its lanes.", [{"vehicles": "office crane"}]
    )
    together: Annotated[list[OwnLaneSetTable], Count(1, 50)] | None = entry(
        "Sets of lanes that are loaded together, of which the worst counts.",
        [{"lanes": [1]}, {"lanes": [1, 2], "factor": 0.85}],
        default=None,
        left_out="all lanes together",
    )
    pressure_kN_m2: Annotated[float, Range(0.0, 100.0, "kN/m2")] = entry(
        "Pressure on the whole carriageway, on its adverse parts.", 2.5, default=0.0
    )
