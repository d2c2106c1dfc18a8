"""What a deck file may say of bars and of what they are checked to: the tables of `deckschema`'s
kind that are about resistance."""

from typing import Annotated, Literal, get_args

from pydantic import BeforeValidator

from pipelines.deck.reading.rules import Choice, Count, Range, WholeRange
from pipelines.deck.reading.schema import Lines, Name, Pair, Table
from pipelines.deck.reinforcement import CrackCombination
from pipelines.deck.survey import Value as SurveyValue
from pipelines.standards.resistance.bars import Direction, Face
from pipelines.standards.resistance.fatigue_damage import Surface, TrafficType
from pipelines.standards.sources import Standard

Millimetre = Annotated[float, Range(4.0, 1000.0, "mm")]


class ExposureTable(Table):
    top: Name | None = None
    bottom: Name | None = None


MomentAt = Literal["centre line", "face"]
StructuralClass = Literal["S1", "S2", "S3", "S4", "S5", "S6"]


class ConcreteTable(Table):
    standard: Annotated[Standard, Choice(get_args(Standard))]
    grade: Name
    exposure: ExposureTable = ExposureTable()
    structural_class: Annotated[StructuralClass, Choice(get_args(StructuralClass))] | None = None
    design_life_years: Annotated[float, Range(10.0, 120.0, "years")] | None = None
    aggregate_mm: Annotated[float, Range(4.0, 100.0, "mm")] = 20.0
    crack_width_mm: Annotated[float, Range(0.05, 1.0, "mm")] | None = None
    crack_combination: Annotated[CrackCombination, Choice(get_args(CrackCombination))] = "frequent"


class SteelTable(Table):
    standard: Annotated[Standard, Choice(get_args(Standard))]
    grade: Name


class LayerTable(Table):
    diameter_mm: Annotated[float, Range(4.0, 60.0, "mm")]
    spacing_mm: Annotated[float, Range(20.0, 1000.0, "mm")]


class BarsTable(Table):
    face: Annotated[Face, Choice(get_args(Face))]
    cover_mm: Annotated[float, Range(1.0, 300.0, "mm")]
    outer: Annotated[Direction, Choice(get_args(Direction))]
    x: LayerTable
    y: LayerTable
    angle_deg: Annotated[float, Range(15.0, 165.0, "degrees")] = 90.0
    moment_at: Annotated[MomentAt, Choice(get_args(MomentAt))] = "centre line"


class BarChoiceTable(Table):
    diameters_mm: Annotated[list[Millimetre], Count(1, 20)]
    spacings_mm: Annotated[list[Millimetre], Count(1, 20)]


class ShearTable(Table):
    widths_m: Annotated[list[Annotated[float, Range(0.0, 20.0, "m")]], Count(1, 12)]


MembraneForce = Annotated[float, Range(-1e5, 1e5, "kN/m")]


class MembraneTable(Table):
    stations_m: Pair | None = None
    offsets_m: Pair | None = None
    n_x_kN_m: MembraneForce = 0.0
    n_y_kN_m: MembraneForce = 0.0
    n_xy_kN_m: MembraneForce = 0.0
    gamma: Annotated[float, Range(1.0, 3.0)] = 1.35


SideEdge = Annotated[str, Choice(("left", "right"))]


class CollisionTable(Table):
    force_kN: Annotated[float, Range(1.0, 5000.0, "kN")]
    height_m: Annotated[float, Range(0.05, 5.0, "m")]
    length_m: Annotated[float, Range(0.05, 20.0, "m")] = 0.5
    spread_deg: Annotated[float, Range(0.0, 60.0, "degrees")] = 45.0
    inner_face_mm: Annotated[float, Range(0.0, 3000.0, "mm")]
    edges: Annotated[list[SideEdge], Count(1, 2)] | None = None
    vertical_kN: Annotated[float, Range(0.0, 2000.0, "kN")] = 0.0


DamagePart = Annotated[float, Range(0.1, 5.0)]


class SpanFactorTable(Table):
    bottom: DamagePart
    top: DamagePart


def _at_both_faces(value: object) -> object:
    return value if isinstance(value, dict) else {"bottom": value, "top": value}


def _as_numbers(value: object) -> object:
    return [value] if isinstance(value, int | float) else value


Million = Annotated[float, Range(0.001, 10.0)]
Passages = Annotated[list[Million], Count(1, 6)]


class FatigueTable(Table):
    lambda_s: DamagePart | None = None
    lambda_s1: Annotated[
        SpanFactorTable | None,
        BeforeValidator(_at_both_faces, json_schema_input_type=DamagePart | SpanFactorTable),
    ] = None
    N_obs_million: (
        Annotated[Passages, BeforeValidator(_as_numbers, json_schema_input_type=Million | Passages)]
        | None
    ) = None
    traffic_type: Annotated[TrafficType, Choice(get_args(TrafficType))] | None = None
    life_years: Annotated[float, Range(1.0, 300.0)] = 100.0
    surface: Annotated[Surface, Choice(get_args(Surface))] = "medium"


class BeamLayerTable(Table):
    count: Annotated[int, WholeRange(2, 60)]
    diameter_mm: Annotated[float, Range(4.0, 60.0, "mm")]


class LinksTable(Table):
    diameter_mm: Annotated[float, Range(4.0, 40.0, "mm")]
    spacing_mm: Annotated[float, Range(20.0, 1000.0, "mm")]
    legs: Annotated[int, WholeRange(2, 20)] = 2


class BeamBarsTable(Table):
    on: Lines
    width_mm: Annotated[float, Range(50.0, 5000.0, "mm")]
    depth_mm: Annotated[float, Range(50.0, 10000.0, "mm")]
    cover_mm: Annotated[float, Range(1.0, 300.0, "mm")]
    top: BeamLayerTable
    bottom: BeamLayerTable
    links: LinksTable


class SurveyTable(Table):
    file: Name
    value: Annotated[SurveyValue, Choice(get_args(SurveyValue))] = "mean"
    panel_m: Pair | None = None
