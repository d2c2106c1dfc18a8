"""What a deck file may say of supports: lines with their beams, and points."""

from typing import Annotated, Literal, get_args

from pydantic import BeforeValidator

from pipelines.deck.deck import Support
from pipelines.deck.reading.rules import Choice, Count, Range
from pipelines.deck.reading.schema import Corners, Flag, Lines, Modulus, Name, Pair, Table, entry


def _as_held_tables(value: object) -> object:
    if isinstance(value, list):
        return [{"on": entry} if isinstance(entry, str) else entry for entry in value]
    return value


def _as_connection_table(value: object) -> object:
    return {"kind": value} if isinstance(value, str) else value


Connection = Literal["none", "full"]
PointSupport = Literal["rigid", "spring"]
Spring = Annotated[float, Range(0.0, 1e10, "kN/m")]
RotationSpring = Annotated[float, Range(0.0, 1e10, "kNm/rad")]
ConnectionKind = Annotated[Connection, Choice(get_args(Connection))]


class ConnectionTable(Table):
    """How a beam off the slab's mid-plane is connected to it along its length: plainly "none" or
    "full", or a stiffness."""

    kind: ConnectionKind | None = entry(
        "No connection against slip, or one without slip.",
        "full",
        default=None,
        left_out="k_kN_m2 is needed",
    )
    k_kN_m2: Annotated[float, Range(1e-3, 1e12, "kN/m2")] | None = entry(
        "Stiffness of the connection: force per metre of beam and metre of slip.",
        500000,
        default=None,
        left_out="kind is needed",
    )


class BeamTable(Table):
    """Section of the beam along a line, about its own centroid."""

    E_GPa: Modulus = entry("Young's modulus of the beam.", 210)
    G_GPa: Annotated[float, Range(0.01, 1000.0, "GPa")] = entry("Shear modulus of the beam.", 81)
    I_cm4: Annotated[float, Range(1.0, 1e13, "cm4")] = entry(
        "Second moment of area for vertical bending.", 429200
    )
    J_cm4: Annotated[float, Range(0.0, 1e13, "cm4")] = entry(
        "Torsion constant (Saint-Venant); 0 lets the slab rotate along the beam.", 331
    )
    A_cm2: Annotated[float, Range(0.1, 1e7, "cm2")] = entry("Area of the section.", 258)
    Av_cm2: Annotated[float, Range(0.1, 1e7, "cm2")] | None = entry(
        "Shear area; of an I section about its web.",
        114,
        default=None,
        left_out="no shear deformation of the beam",
    )
    eccentricity_mm: Annotated[float, Range(-10000.0, 10000.0, "mm")] = entry(
        "Depth of the beam's centroid below the slab's mid-plane; other than 0 it needs a "
        "connection.",
        635,
        default=0.0,
    )
    connection: (
        Annotated[
            ConnectionTable,
            BeforeValidator(
                _as_connection_table, json_schema_input_type=ConnectionKind | ConnectionTable
            ),
        ]
        | None
    ) = entry(
        "How beam and slab act together along the line where eccentricity_mm is not 0.",
        "full",
        default=None,
        left_out="none",
    )


class HeldTable(Table):
    """Where a beam is itself held: plainly the name of a crossing line, or a table."""

    on: Name = entry("Line at whose crossing the beam is held, a name or pattern.", "L1")
    k_kN_m: Spring | None = entry(
        "Vertical stiffness of the hold.", 250000, default=None, left_out="rigid, w = 0"
    )
    k_rot_kNm_rad: RotationSpring = entry(
        "Stiffness of the hold against the beam's bending slope.", 50000, default=0.0
    )
    stub_m: Annotated[float, Range(0.0, 20.0, "m")] = entry(
        "Length by which the beam runs on past that end to where it is held.", 0.45, default=0.0
    )
    lifts: Flag = entry(
        "Whether the beam may lift off there; of a hold without k_kN_m and stub_m.",
        True,
        default=False,
    )


class LineTable(Table):
    """What supports or stiffens the slab along lines of the plan; lines that no table names are
    free."""

    on: Lines | None = entry(
        "Lines of the plan that the table is of: a name (C2, L1, E3, start, end, left, right), a "
        "list of names, or a pattern.",
        "C*",
        default=None,
        left_out="a line of its own: name with path_m or dxf_layer",
    )
    name: Name | None = entry(
        "Name of a line of its own.", "W1", default=None, left_out="`on` names lines of the plan"
    )
    path_m: Corners | None = entry(
        "Course of a line of its own: straight lines or arcs over these points.",
        [[6.0, -4.6], [6.4, 4.0]],
        default=None,
        left_out="dxf_layer, or `on`",
    )
    dxf_layer: Name | None = entry(
        "Layer of [plan] dxf with the course of a line of its own, one curve.",
        "WALL",
        default=None,
        left_out="path_m, or `on`",
    )
    support: Annotated[Support, Choice(get_args(Support))] = entry(
        "Nothing (free), no deflection (rigid), no deflection nor rotation (clamped), a spring, or "
        "a beam that bends.",
        "beam",
    )
    hard: Flag = entry(
        "Whether a rigid line also stops the rotation along itself (a hard support); without "
        "meaning for thin plates.",
        True,
        default=False,
    )
    lifts: Flag = entry(
        "Whether the slab may lift off a rigid line: it is not tied down.", True, default=False
    )
    to_edges: Flag = entry(
        "Whether a line of the plan goes on through the overhangs to the edges.",
        True,
        default=False,
        left_out="it ends at the outermost lines that it crosses",
    )
    k_kN_m2: Annotated[float, Range(0.0, 1e10, "kN/m2")] | None = entry(
        "Stiffness of a spring: force per metre of line and metre of deflection; 0 is a guided "
        "edge.",
        80000,
        default=None,
        left_out="needed by support spring alone",
    )
    k_rot_kNm_rad_m: Annotated[float, Range(0.0, 1e10, "kNm/rad/m")] | None = entry(
        "Stiffness of a spring against the slope across the line, per metre of line.",
        12000,
        default=None,
        left_out="free to rotate",
    )
    beam: BeamTable | None = entry(
        "Section of the beam; needed by support beam.",
        {"E_GPa": 210, "G_GPa": 81, "I_cm4": 429200, "J_cm4": 331, "A_cm2": 258, "Av_cm2": 114},
        default=None,
        left_out="needed by support beam alone",
    )
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
    ) = entry(
        "Where the beam is itself held, by the lines that it crosses.",
        ["L1", {"on": "L2", "stub_m": 0.45}],
        default=None,
        left_out="carried by the slab and by the beams that it crosses",
    )
    width_mm: Annotated[float, Range(1.0, 5000.0, "mm")] | None = entry(
        "Width of the support (flange, wall): for face moments, clear spans and shear sections.",
        300,
        default=None,
        left_out="0, a line without width",
    )
    rests: Flag | None = entry(
        "Whether the slab only rests on the support, so that hogging over it counts a quarter of "
        "width_mm off its centre line; false: the slab is one with it, cut at the face.",
        True,
        default=None,
        left_out="true of rigid lines and of springs without k_rot_kNm_rad_m, else false",
    )
    label: Name | None = entry(
        "Name for print; the line's own is added where the table names several.",
        "cross beam",
        default=None,
        left_out="by kind and name of the line",
    )


class PointTable(Table):
    """A support at a point: a bearing or column. The mean deflection over a square is held."""

    name: Name | None = entry(
        "Name of the support.", "B1", default=None, left_out='"point 1" and so on, in file order'
    )
    at_m: Pair = entry("Centre [x, y] of the support.", [0.3, -3.2])
    support: Annotated[PointSupport, Choice(get_args(PointSupport))] = entry(
        "No deflection, or a spring.", "spring"
    )
    k_kN_m: Annotated[float, Range(1e-3, 1e10, "kN/m")] | None = entry(
        "Vertical stiffness of a spring.",
        600000,
        default=None,
        left_out="needed by support spring alone",
    )
    size_mm: Annotated[float, Range(5.0, 10000.0, "mm")] | None = entry(
        "Side of the square.", 350, default=None, left_out="the slab's thickness"
    )
    lifts: Flag = entry(
        "Whether the slab may lift off there: it is not tied down.", True, default=False
    )
