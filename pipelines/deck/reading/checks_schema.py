"""What a deck file may say of shear, membrane forces, collision and fatigue of the bars."""

from typing import Annotated, get_args

from pydantic import BeforeValidator

from pipelines.deck.reading.rules import Choice, Count, Range
from pipelines.deck.reading.schema import Pair, Table, entry
from pipelines.standards.resistance.fatigue_damage import Surface, TrafficType

MembraneForce = Annotated[float, Range(-1e5, 1e5, "kN/m")]
SideEdge = Annotated[str, Choice(("left", "right"))]
DamagePart = Annotated[float, Range(0.1, 5.0)]
Million = Annotated[float, Range(0.001, 10.0)]
Passages = Annotated[list[Million], Count(1, 6)]


def _at_both_faces(value: object) -> object:
    return value if isinstance(value, dict) else {"bottom": value, "top": value}


def _as_numbers(value: object) -> object:
    return [value] if isinstance(value, int | float) else value


class ShearTable(Table):
    """Widths over which the shear beside supports is averaged."""

    widths_m: Annotated[list[Annotated[float, Range(0.0, 20.0, "m")]], Count(1, 12)] = entry(
        "Widths along the support, 0 for the peak; four effective depths are always among them.",
        [0.0, 0.8, 1.2],
    )


class MembraneTable(Table):
    """A membrane force from outside the model, such as a chord that pulls the slab; it is taken as
    present or absent, whichever is worse."""

    stations_m: Pair | None = entry(
        "From which station to which it acts.",
        [6.2, 18.6],
        default=None,
        left_out="the slab's whole length",
    )
    offsets_m: Pair | None = entry(
        "From which offset to which it acts.",
        [-3.5, 3.5],
        default=None,
        left_out="the slab's whole width",
    )
    n_x_kN_m: MembraneForce = entry(
        "Force along the deck per metre of width, characteristic, tension positive.",
        150,
        default=0.0,
    )
    n_y_kN_m: MembraneForce = entry(
        "Force across the deck per metre of length, characteristic, tension positive.",
        40,
        default=0.0,
    )
    n_xy_kN_m: MembraneForce = entry("Shear force in the slab's plane per metre.", 20, default=0.0)
    gamma: Annotated[float, Range(1.0, 3.0)] = entry(
        "Its partial factor at the ultimate limit state.", 1.5, default=1.35
    )


class CollisionTable(Table):
    """A vehicle against the parapet: a horizontal force outwards, an accidental action."""

    force_kN: Annotated[float, Range(1.0, 5000.0, "kN")] = entry("The horizontal force.", 100)
    height_m: Annotated[float, Range(0.05, 5.0, "m")] = entry("Its height above the slab.", 1.0)
    length_m: Annotated[float, Range(0.05, 20.0, "m")] = entry(
        "Its length along the edge.", 1.1, default=0.5
    )
    spread_deg: Annotated[float, Range(0.0, 60.0, "degrees")] = entry(
        "Angle to the vertical, and in the slab to the direction across, at which it spreads.",
        30,
        default=45.0,
    )
    inner_face_mm: Annotated[float, Range(0.0, 3000.0, "mm")] = entry(
        "Distance of the parapet's inner face from the slab's edge: the section looked at.", 350
    )
    edges: Annotated[list[SideEdge], Count(1, 2)] | None = entry(
        "Side edges with such a parapet.", ["left"], default=None, left_out="both"
    )
    vertical_kN: Annotated[float, Range(0.0, 2000.0, "kN")] = entry(
        "Wheel against the parapet that acts with the force.", 225, default=0.0
    )


class SpanFactorTable(Table):
    """The part lambda_s1 for the bars of each face; plainly a number for both."""

    bottom: DamagePart = entry("Of the bottom bars, the annex's line for midspan.", 0.9)
    top: DamagePart = entry("Of the top bars, the annex's line for intermediate supports.", 1.1)


class FatigueTable(Table):
    """Fatigue of the bars by damage equivalent stresses, EN 1992-2 annex NN: the whole factor, or
    its parts. Without the table the plain range of stresses is judged."""

    lambda_s: DamagePart | None = entry(
        "Damage equivalence factor, whole.", 0.7, default=None, left_out="by its parts"
    )
    lambda_s1: Annotated[
        SpanFactorTable | None,
        BeforeValidator(_at_both_faces, json_schema_input_type=DamagePart | SpanFactorTable),
    ] = entry(
        "Part for span and element, from the annex's figures, which the tool does not hold.",
        0.9,
        default=None,
        left_out="lambda_s is whole",
    )
    N_obs_million: (
        Annotated[Passages, BeforeValidator(_as_numbers, json_schema_input_type=Million | Passages)]
        | None
    ) = entry(
        "Millions of heavy lorries a year on the slow lane looked at, then on further slow lanes.",
        [0.5, 0.5],
        default=None,
        left_out="lambda_s is whole",
    )
    traffic_type: Annotated[TrafficType, Choice(get_args(TrafficType))] | None = entry(
        "Kind of traffic, EN 1992-2 table NN.1.",
        "medium distance",
        default=None,
        left_out="lambda_s is whole",
    )
    life_years: Annotated[float, Range(1.0, 300.0)] = entry(
        "Design life in years, for the part lambda_s3.", 80, default=100.0
    )
    surface: Annotated[Surface, Choice(get_args(Surface))] = entry(
        "Surface of the road, for the factor phi_fat of EN 1991-2 annex B.",
        "good",
        default="medium",
    )
