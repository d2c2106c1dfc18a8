"""The tables of a deck file by name, and how often those in double brackets may stand."""

from pipelines.deck.reading.bars_schema import (
    BarChoiceTable,
    BarsTable,
    BeamBarsTable,
    CollisionTable,
    ConcreteTable,
    FatigueTable,
    MembraneTable,
    ShearTable,
    SteelTable,
    SurveyTable,
)
from pipelines.deck.reading.schema import (
    CaseTable,
    LineTable,
    MeshTable,
    OpeningTable,
    PlanTable,
    PointTable,
    ProbeTable,
    SlabTable,
    Table,
    TrafficTable,
    VehicleTable,
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
    "traffic": TrafficTable,
    "vehicle": VehicleTable,
    "probe": ProbeTable,
    "mesh": MeshTable,
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
    "vehicle": 200,
    "probe": 5000,
}
"""How often those tables may stand that are written in double brackets: [[line]] and so on."""
