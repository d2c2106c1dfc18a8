"""What a deck file may say: its tables, keys and defaults, with the bounds of every number.

The models mirror the file key by key in the file's own units, which each key carries as its
suffix; what the values mean together is checked by `deckfile`. Bounds catch slips of unit, they
do not say what is good engineering.
"""

from collections.abc import Iterator
from typing import Annotated, Any, Literal, get_args

from pydantic import BaseModel, BeforeValidator, ConfigDict

from pipelines.deck.deck import Dispersal, Stage, Support, Theory
from pipelines.deck.reading.rules import (
    Choice,
    Count,
    RadiusRange,
    Range,
    Rule,
    Text,
    WholeRange,
    ZeroOrRange,
)
from pipelines.standards.actions.loads import Action
from pipelines.standards.concrete import CYLINDER_STRENGTH_MPA, STANDARD


def _as_list(value: object) -> object:
    return [value] if isinstance(value, str) else value


def _as_held_tables(value: object) -> object:
    if isinstance(value, list):
        return [{"on": entry} if isinstance(entry, str) else entry for entry in value]
    return value


def _as_corner_tables(value: object) -> object:
    if isinstance(value, list):
        return [{"corner_m": entry} if isinstance(entry, list) else entry for entry in value]
    return value


def _as_connection_table(value: object) -> object:
    return {"kind": value} if isinstance(value, str) else value


Connection = Literal["none", "full"]
Directions = Literal["forward", "both"]
DrawingUnit = Literal["m", "cm", "mm"]
PointSupport = Literal["rigid", "spring"]
Name = Annotated[str, Text(100)]
Names = Annotated[list[Name], Count(1, 700)]
Lines = Annotated[Names, BeforeValidator(_as_list, json_schema_input_type=Name | Names)]
Flag = Annotated[bool, Choice((True, False))]
Coordinate = Annotated[float, Range(-1e4, 1e4, "m")]
Pair = Annotated[list[Coordinate], Count(2, 2)]
Modulus = Annotated[float, Range(0.1, 1000.0, "GPa")]
Thickness = Annotated[float, Range(20.0, 5000.0, "mm")]
Overhang = Annotated[float, Range(0.0, 100.0, "m")]
Factor = Annotated[float, Range(0.01, 10.0)]
LaneFactor = Annotated[float, Range(0.0, 3.0)]
Spring = Annotated[float, Range(0.0, 1e10, "kN/m")]
RotationSpring = Annotated[float, Range(0.0, 1e10, "kNm/rad")]


class Table(BaseModel):
    """A table of the file: no key but its own."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class ZoneTable(Table):
    stations_m: Pair | None = None
    offsets_m: Pair | None = None
    thickness_mm: Thickness


class StiffnessTable(Table):
    x: Factor = 1.0
    y: Factor = 1.0
    xy: Factor = 1.0


class RigidityTable(Table):
    Dx: Annotated[float, Range(1e-3, 1e10, "kNm")]
    Dy: Annotated[float, Range(1e-3, 1e10, "kNm")]
    D1: Annotated[float, Range(0.0, 1e10, "kNm")]
    Dxy: Annotated[float, Range(1e-3, 1e10, "kNm")]


class SlabTable(Table):
    thickness_mm: Thickness
    E_GPa: Modulus | None = None
    concrete: Annotated[str, Choice(tuple(CYLINDER_STRENGTH_MPA))] | None = None
    standard: Annotated[str, Choice((STANDARD,))] | None = None
    poisson: Annotated[float, Range(0.0, 0.49)] = 0.2
    density_kN_m3: Annotated[float, Range(0.0, 100.0, "kN/m3")] = 25.0
    theory: Annotated[Theory, Choice(get_args(Theory))] = "mindlin"
    stiffness: StiffnessTable | None = None
    rigidity_kNm: RigidityTable | None = None
    zone: Annotated[list[ZoneTable], Count(1, 200)] | None = None


class OverhangTable(Table):
    start: Overhang = 0.0
    end: Overhang = 0.0
    left: Overhang = 0.0
    right: Overhang = 0.0


class CornerTable(Table):
    """A corner [x, y], or { arc_to_m, through_m }: an arc from the corner before to this one."""

    corner_m: Pair | None = None
    arc_to_m: Pair | None = None
    through_m: Pair | None = None


Corners = Annotated[
    list[CornerTable],
    Count(2, 1000),
    BeforeValidator(
        _as_corner_tables,
        json_schema_input_type=Annotated[list[Pair | CornerTable], Count(2, 1000)],
    ),
]


class PlanTable(Table):
    stations_m: Annotated[list[Coordinate], Count(2, 500)] | None = None
    offsets_m: Annotated[list[Coordinate], Count(2, 200)] | None = None
    overhang_m: OverhangTable = OverhangTable()
    skew_deg: Annotated[float, Range(-75.0, 75.0, "degrees")] = 0.0
    radius_m: Annotated[float, RadiusRange(1.0, 1e7, "m")] = float("inf")
    end_offsets_m: Annotated[list[Coordinate], Count(2, 200)] | None = None
    outline_m: Corners | None = None
    dxf: Name | None = None
    dxf_layer: Name | None = None
    dxf_opening_layer: Name | None = None
    dxf_unit: Annotated[DrawingUnit, Choice(get_args(DrawingUnit))] | None = None


class OpeningTable(Table):
    corners_m: Corners | None = None
    centre_m: Pair | None = None
    diameter_m: Annotated[float, Range(0.01, 1000.0, "m")] | None = None


ConnectionKind = Annotated[Connection, Choice(get_args(Connection))]


class ConnectionTable(Table):
    kind: ConnectionKind | None = None
    k_kN_m2: Annotated[float, Range(1e-3, 1e12, "kN/m2")] | None = None


class BeamTable(Table):
    E_GPa: Modulus
    G_GPa: Annotated[float, Range(0.01, 1000.0, "GPa")]
    I_cm4: Annotated[float, Range(1.0, 1e13, "cm4")]
    J_cm4: Annotated[float, Range(0.0, 1e13, "cm4")]
    A_cm2: Annotated[float, Range(0.1, 1e7, "cm2")]
    Av_cm2: Annotated[float, Range(0.1, 1e7, "cm2")] | None = None
    eccentricity_mm: Annotated[float, Range(-10000.0, 10000.0, "mm")] = 0.0
    connection: (
        Annotated[
            ConnectionTable,
            BeforeValidator(
                _as_connection_table, json_schema_input_type=ConnectionKind | ConnectionTable
            ),
        ]
        | None
    ) = None


class HeldTable(Table):
    on: Name
    k_kN_m: Spring | None = None
    k_rot_kNm_rad: RotationSpring = 0.0
    stub_m: Annotated[float, Range(0.0, 20.0, "m")] = 0.0
    lifts: Flag = False


class LineTable(Table):
    on: Lines | None = None
    name: Name | None = None
    path_m: Corners | None = None
    dxf_layer: Name | None = None
    support: Annotated[Support, Choice(get_args(Support))]
    hard: Flag = False
    lifts: Flag = False
    to_edges: Flag = False
    k_kN_m2: Annotated[float, Range(0.0, 1e10, "kN/m2")] | None = None
    k_rot_kNm_rad_m: Annotated[float, Range(0.0, 1e10, "kNm/rad/m")] | None = None
    beam: BeamTable | None = None
    held_at: (
        Annotated[
            list[HeldTable],
            Count(1, 700),
            BeforeValidator(
                _as_held_tables,
                json_schema_input_type=Annotated[list[Name | HeldTable], Count(1, 700)],
            ),
        ]
        | None
    ) = None
    width_mm: Annotated[float, Range(1.0, 5000.0, "mm")] | None = None
    label: Name | None = None


class PointTable(Table):
    name: Name | None = None
    at_m: Pair
    support: Annotated[PointSupport, Choice(get_args(PointSupport))]
    k_kN_m: Annotated[float, Range(1e-3, 1e10, "kN/m")] | None = None
    size_mm: Annotated[float, Range(5.0, 10000.0, "mm")] | None = None
    lifts: Flag = False


class PatchTable(Table):
    at_m: Pair
    size_m: Annotated[list[Annotated[float, Range(0.005, 1000.0, "m")]], Count(2, 2)]
    load_kN: Annotated[float, Range(-1e5, 1e5, "kN")]


class LineLoadTable(Table):
    path_m: Annotated[list[Pair], Count(2, 500)] | None = None
    on: Name | None = None
    load_kN_m: Annotated[float, Range(-1e4, 1e4, "kN/m")]


class CaseTable(Table):
    name: Name
    patches: Annotated[list[PatchTable], Count(1, 2000)] | None = None
    pressure_kN_m2: Annotated[float, Range(-1e4, 1e4, "kN/m2")] | None = None
    self_weight: Flag = False
    lines: Annotated[list[LineLoadTable], Count(1, 500)] | None = None
    action: Annotated[Action, Choice(get_args(Action))] = "none"
    stage: Annotated[Stage, Choice(get_args(Stage))] = "short-term"


class TrafficTable(Table):
    carriageway_m: Pair
    vehicles: Annotated[list[Name], Count(1, 200)] | None = None
    step_m: Annotated[float, Range(0.005, 10.0, "m")] = 0.1
    lateral_step_m: Annotated[float, Range(0.005, 10.0, "m")] | None = None
    offsets_m: Annotated[list[Coordinate], Count(1, 1000)] | None = None
    edge_clearance_m: Annotated[float, Range(0.0, 20.0, "m")] | None = None
    surfacing_mm: Annotated[float, ZeroOrRange(1.0, 1000.0, "mm")] = 0.0
    dispersal: Annotated[Dispersal, Choice(get_args(Dispersal))] = "mid-depth"
    dispersal_deg: Annotated[float, Range(0.0, 75.0, "degrees")] = 45.0
    directions: Annotated[Directions, Choice(get_args(Directions))] = "both"
    impact: dict[str, Annotated[float, Range(0.1, 10.0)]] = {}
    load_models: Annotated[list[Name], Count(1, 20)] | None = None
    alpha_Q: Annotated[list[LaneFactor], Count(1, 3)] | None = None
    alpha_q: Annotated[list[LaneFactor], Count(1, 4)] | None = None
    beta_Q: LaneFactor = 1.0
    joints: Annotated[list[Annotated[str, Choice(("start", "end"))]], Count(1, 2)] | None = None


class AxleTable(Table):
    at_m: Annotated[float, Range(0.0, 200.0, "m")]
    load_kN: Annotated[float, Range(0.01, 1e4, "kN")]
    gauge_m: Annotated[float, Range(0.1, 20.0, "m")] | None = None
    wheels_m: Annotated[list[Annotated[float, Range(-20.0, 20.0, "m")]], Count(1, 32)] | None = None
    patch_mm: Annotated[list[Annotated[float, Range(10.0, 20000.0, "mm")]], Count(2, 2)]


class VehicleTable(Table):
    name: Name
    impact: Annotated[float, Range(0.1, 10.0)] = 1.0
    axles: Annotated[list[AxleTable], Count(1, 100)]


class ProbeTable(Table):
    name: Name
    at_m: Pair | None = None
    from_m: Pair | None = None
    to_m: Pair | None = None


class MeshTable(Table):
    order: Annotated[int, WholeRange(1, 8)] | None = None
    size_m: Annotated[float, Range(0.01, 100.0, "m")] | None = None
    error: Annotated[float, Range(1e-4, 0.5, "of the value")] | None = None


TITLE = Text(200)


def described_keys(table: type[Table]) -> dict[tuple[str, ...], str]:
    """What each key of a table may hold, in words, nested keys included: path to words.

    The bounds in messages and in the documentation come from here.
    """
    found: dict[tuple[str, ...], str] = {}
    for key, field in table.model_fields.items():
        words: list[str] = []
        for part in _rules_and_tables((*field.metadata, field.annotation)):
            if isinstance(part, Rule):
                words.append(part.allowed)
            else:
                words.append("a table")
                found |= {(key, *below): text for below, text in described_keys(part).items()}
        found[(key,)] = ", each ".join(words)
    return found


def _rules_and_tables(parts: tuple[Any, ...]) -> Iterator[Rule | type[Table]]:
    """What the parts of an annotation say about a value, outermost first."""
    yield from (part for part in parts if isinstance(part, Rule))
    for part in parts:
        if isinstance(part, type) and issubclass(part, Table):
            yield part
        elif not isinstance(part, Rule):
            yield from _rules_and_tables(get_args(part))
