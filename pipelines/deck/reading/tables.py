"""The tables of a deck file by name, and how often those in double brackets may stand."""

from typing import Annotated

from pipelines.deck.reading.bars_schema import (
    BarChoiceTable,
    BarsTable,
    BeamBarsTable,
    ConcreteTable,
    SteelTable,
    SurveyTable,
)
from pipelines.deck.reading.checks_schema import (
    CollisionTable,
    FatigueTable,
    MembraneTable,
    ShearTable,
)
from pipelines.deck.reading.factors_schema import FactorsTable
from pipelines.deck.reading.load_test_schema import FittedTable, LoadTestTable
from pipelines.deck.reading.loads_schema import (
    CaseTable,
    StagesTable,
    SumTable,
    TrafficTable,
    VehicleTable,
)
from pipelines.deck.reading.own_schema import OwnTable
from pipelines.deck.reading.plan_schema import (
    MeshTable,
    OpeningTable,
    PlanTable,
    ProbeTable,
    SlabTable,
)
from pipelines.deck.reading.rules import Text
from pipelines.deck.reading.schema import Table, entry
from pipelines.deck.reading.strip_schema import StripTable
from pipelines.deck.reading.supports_schema import LineTable, PointTable

TITLE = Text(200)


class TopKeys(Table):
    """Keys of a deck file above all tables."""

    title: Annotated[str, TITLE] | None = entry(
        "Title of the report.",
        "Estuary crossing, north span",
        default=None,
        left_out="the file's name",
    )


BARS_TABLES: dict[str, type[Table]] = {
    "concrete": ConcreteTable,
    "steel": SteelTable,
    "bars": BarsTable,
    "bar_choice": BarChoiceTable,
    "shear": ShearTable,
    "membrane": MembraneTable,
    "collision": CollisionTable,
    "fatigue": FatigueTable,
    "beam_bars": BeamBarsTable,
    "survey": SurveyTable,
}
TABLES: dict[str, type[Table]] = {
    "slab": SlabTable,
    "plan": PlanTable,
    "opening": OpeningTable,
    "line": LineTable,
    "point": PointTable,
    "case": CaseTable,
    "stages": StagesTable,
    "sum": SumTable,
    "traffic": TrafficTable,
    "vehicle": VehicleTable,
    "strip": StripTable,
    "probe": ProbeTable,
    "mesh": MeshTable,
    "factors": FactorsTable,
    "loadtest": LoadTestTable,
    "fitted": FittedTable,
    "own": OwnTable,
    **BARS_TABLES,
}
MOST_TABLES = {
    "concrete": 3,
    "steel": 3,
    "bars": 2,
    "membrane": 200,
    "beam_bars": 20,
    "line": 700,
    "opening": 200,
    "point": 500,
    "case": 1000,
    "sum": 200,
    "vehicle": 200,
    "probe": 5000,
    "loadtest": 20,
    "fitted": 100,
}
"""How often those tables may stand that are written in double brackets: [[line]] and so on."""
