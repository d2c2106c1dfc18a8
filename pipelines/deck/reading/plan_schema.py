"""What a deck file may say of slab, plan and mesh, and of results asked for by name."""

from typing import Annotated, Literal, get_args

from pipelines.deck.deck import Theory
from pipelines.deck.reading.rules import Choice, Count, RadiusRange, Range, WholeRange
from pipelines.deck.reading.schema import Coordinate, Corners, Modulus, Name, Pair, Table, entry
from pipelines.standards.concrete import CYLINDER_STRENGTH_MPA, STANDARD

DrawingUnit = Literal["m", "cm", "mm"]
Thickness = Annotated[float, Range(20.0, 5000.0, "mm")]
Overhang = Annotated[float, Range(0.0, 100.0, "m")]
Factor = Annotated[float, Range(0.01, 10.0)]


class ZoneTable(Table):
    """A part of the slab with another thickness: a haunch, a thickened joint edge. The model's
    mid-plane stays; of the bars it is the top that is level, the soffit steps. Zones may not
    overlap."""

    stations_m: Pair | None = entry(
        "From which station to which the zone reaches; on skew decks its ends run with the C "
        "lines.",
        [0.0, 1.2],
        default=None,
        left_out="the slab's whole length",
    )
    offsets_m: Pair | None = entry(
        "From which offset to which the zone reaches.",
        [-4.3, -3.1],
        default=None,
        left_out="the slab's whole width",
    )
    thickness_mm: Thickness = entry("Thickness of the slab in the zone.", 350)


class StiffnessTable(Table):
    """Factors on the bending stiffness of a slab that is cracked or orthotropic."""

    x: Factor = entry("Factor on D_x, of bending along the deck.", 0.5, default=1.0)
    y: Factor = entry("Factor on D_y, of bending across the deck.", 0.5, default=1.0)
    xy: Factor = entry("Factor on D_xy, of twisting.", 0.3, default=1.0)


class RigidityTable(Table):
    """Rigidities of an orthotropic plate in place of those of E_GPa and thickness: m_x = -(Dx w,xx
    + D1 w,yy), m_y = -(Dy w,yy + D1 w,xx), m_xy = -2 Dxy w,xy. Shear stays that of E_GPa."""

    Dx: Annotated[float, Range(1e-3, 1e10, "kNm")] = entry(
        "Bending rigidity along the deck per metre of width.", 55000
    )
    Dy: Annotated[float, Range(1e-3, 1e10, "kNm")] = entry(
        "Bending rigidity across the deck per metre of length.", 40000
    )
    D1: Annotated[float, Range(0.0, 1e10, "kNm")] = entry(
        "Coupling of both curvatures, less than the root of Dx Dy; nu D of an isotropic plate.",
        9000,
    )
    Dxy: Annotated[float, Range(1e-3, 1e10, "kNm")] = entry(
        "Twisting rigidity; (1 - nu) D / 2 of an isotropic plate.", 18000
    )


class SlabTable(Table):
    """The slab: thickness, concrete and plate theory."""

    thickness_mm: Thickness = entry("Thickness of the slab, away from zones.", 270)
    E_GPa: Modulus | None = entry(
        "Young's modulus of the slab's concrete.",
        34.0,
        default=None,
        left_out="by `concrete`; one of both is needed",
    )
    concrete: Annotated[str, Choice(tuple(CYLINDER_STRENGTH_MPA))] | None = entry(
        "Strength class whose secant modulus E_cm is taken, in place of E_GPa.",
        "C35/45",
        default=None,
        left_out="E_GPa is needed",
    )
    standard: Annotated[str, Choice((STANDARD,))] | None = entry(
        "Standard whose class `concrete` is.",
        STANDARD,
        default=None,
        left_out=f"{STANDARD}, with a warning, where `concrete` is given",
    )
    poisson: Annotated[float, Range(0.0, 0.49)] = entry(
        "Poisson's ratio of the slab.", 0.2, default=0.2
    )
    density_kN_m3: Annotated[float, Range(0.0, 100.0, "kN/m3")] = entry(
        "Weight of the slab per volume, for cases with self_weight.", 25.0, default=25.0
    )
    theory: Annotated[Theory, Choice(get_args(Theory))] = entry(
        "Plate with shear deformation (mindlin), or thin plate without it (kirchhoff).",
        "kirchhoff",
        default="mindlin",
    )
    stiffness: StiffnessTable | None = entry(
        "Factors on the slab's bending stiffness; D_1 takes the geometric mean of x and y.",
        {"x": 0.5, "y": 0.5, "xy": 0.3},
        default=None,
        left_out="uncracked, all factors 1",
    )
    rigidity_kNm: RigidityTable | None = entry(
        "Rigidities of an orthotropic slab, in place of `stiffness`.",
        {"Dx": 55000, "Dy": 40000, "D1": 9000, "Dxy": 18000},
        default=None,
        left_out="isotropic, by E_GPa, poisson and thickness_mm",
    )
    zone: Annotated[list[ZoneTable], Count(1, 200)] | None = entry(
        "Parts with another thickness, each a table [[slab.zone]].",
        [{"stations_m": [0.0, 1.2], "thickness_mm": 350}],
        default=None,
        left_out="one thickness everywhere",
    )


class OverhangTable(Table):
    """How far the slab reaches beyond its outermost lines, at each of its edges."""

    start: Overhang = entry("Beyond the first C line, along the deck.", 0.3, default=0.0)
    end: Overhang = entry("Beyond the last C line, along the deck.", 0.3, default=0.0)
    left: Overhang = entry("Beyond the first L line, across the deck.", 1.2, default=0.0)
    right: Overhang = entry("Beyond the last L line, across the deck.", 1.2, default=0.0)


class PlanTable(Table):
    """The plan: lines C across the deck at stations and L along it at offsets, or any outline from
    the file or a DXF drawing. x runs along the deck, y across it, positive to the right."""

    stations_m: Annotated[list[Coordinate], Count(2, 500)] | None = entry(
        "Stations of the lines C1, C2, ... across the deck, growing; arc lengths at offset 0 on a "
        "curve.",
        [0.0, 3.1, 6.2, 9.3],
        default=None,
        left_out="the plan is outline_m or dxf",
    )
    offsets_m: Annotated[list[Coordinate], Count(2, 200)] | None = entry(
        "Offsets of the lines L1, L2, ... along the deck, growing.",
        [-4.3, 4.3],
        default=None,
        left_out="the plan is outline_m or dxf",
    )
    overhang_m: OverhangTable = entry(
        "How far the slab reaches beyond the outermost lines.",
        {"start": 0.3, "end": 0.3},
        default=OverhangTable(),
        left_out="0 all around",
    )
    skew_deg: Annotated[float, Range(-75.0, 75.0, "degrees")] = entry(
        "Skew: line C_i passes (station_i + y tan(skew), y); 0 on a curve.", 20, default=0.0
    )
    radius_m: Annotated[float, RadiusRange(1.0, 1e7, "m")] = entry(
        "Radius of the line at offset 0, positive where the deck curves to the right; C lines are "
        "radial.",
        120.0,
        default=float("inf"),
    )
    end_offsets_m: Annotated[list[Coordinate], Count(2, 200)] | None = entry(
        "Offsets of the L lines at the last station, where the deck widens or narrows; straight "
        "between.",
        [-5.0, 5.0],
        default=None,
        left_out="offsets_m all along",
    )
    outline_m: Corners | None = entry(
        "Corners of any outline one after the other, straight lines or arcs between; edges E1, E2, "
        "... lie between them.",
        [
            [0.0, -4.0],
            {"arc_to_m": [12.0, -6.0], "through_m": [6.0, -4.6]},
            [12.0, 4.0],
            [0.0, 4.0],
        ],
        default=None,
        left_out="the plan is stations_m and offsets_m, or dxf",
    )
    dxf: Name | None = entry(
        "DXF drawing with the outline, in the deck file's folder or below it; X is x, Y is -y.",
        "plan.dxf",
        default=None,
        left_out="no drawing",
    )
    dxf_layer: Name | None = entry(
        "Layer of that drawing with the slab's outline, one closed curve; needed with dxf.",
        "SLAB",
        default=None,
        left_out="no drawing",
    )
    dxf_opening_layer: Name | None = entry(
        "Layer of that drawing with openings, closed curves.",
        "OPENINGS",
        default=None,
        left_out="no openings from the drawing",
    )
    dxf_unit: Annotated[DrawingUnit, Choice(get_args(DrawingUnit))] | None = entry(
        "Unit of the drawing's coordinates.",
        "mm",
        default=None,
        left_out="the unit that the drawing states",
    )


class OpeningTable(Table):
    """An opening in the slab: any outline, or a circle."""

    corners_m: Corners | None = entry(
        "Corners of the opening one after the other, straight lines or arcs between.",
        [[9.4, -4.9], [10.4, -4.9], [10.4, -4.2], [9.4, -4.2]],
        default=None,
        left_out="round: centre_m and diameter_m",
    )
    centre_m: Pair | None = entry(
        "Centre [x, y] of a round opening.",
        [4.0, 1.5],
        default=None,
        left_out="the opening is corners_m",
    )
    diameter_m: Annotated[float, Range(0.01, 1000.0, "m")] | None = entry(
        "Diameter of a round opening.", 0.6, default=None, left_out="the opening is corners_m"
    )


class ProbeTable(Table):
    """A result asked for by name: at a point, or the mean along a segment."""

    name: Name = entry("Name of the result, in summary and report.", "mid bay 2")
    at_m: Pair | None = entry(
        "Point [x, y] at which deflection, moments and shears are told.",
        [4.65, 0.0],
        default=None,
        left_out="a segment: from_m and to_m",
    )
    from_m: Pair | None = entry(
        "First end [x, y] of a segment over which the results are averaged by length.",
        [4.65, -0.6],
        default=None,
        left_out="a point: at_m",
    )
    to_m: Pair | None = entry(
        "Second end of that segment.", [4.65, 0.6], default=None, left_out="a point: at_m"
    )


class MeshTable(Table):
    """The mesh, where the program's own choice is not wanted; each result states its error."""

    order: Annotated[int, WholeRange(1, 8)] | None = entry(
        "Order p of the polynomials in an element.", 4, default=None, left_out="3"
    )
    size_m: Annotated[float, Range(0.01, 100.0, "m")] | None = entry(
        "Largest side of an element.",
        0.4,
        default=None,
        left_out="by wheel patches, spans and widths of the deck",
    )
    error: Annotated[float, Range(1e-4, 0.5, "of the value")] | None = entry(
        "Numerical error asked of every headline value, as a share of it: the mesh is refined "
        "until it is met or the job grows too large.",
        0.02,
        default=None,
        left_out="the error is stated, whatever it is",
    )
