"""What a deck file may say of loads: static cases, traffic, vehicles of the file's own."""

from typing import Annotated, Literal, get_args

from pipelines.deck.cases import Stage
from pipelines.deck.reading.rules import Choice, Count, Range, ZeroOrRange
from pipelines.deck.reading.schema import Coordinate, Corners, Flag, Name, Pair, Table, entry
from pipelines.deck.traffic import Dispersal
from pipelines.standards.actions.loads import Action

DEFAULT_LATERAL_STEP = 0.25  # m
Directions = Literal["forward", "both"]
# What holds where [traffic] does not state such a factor itself.
AS_FACTORS = "that of [factors.EN], else 1"
ModularRatio = Annotated[float, Range(1.0, 200.0)]
# Of concrete [1/K]: EN 1992-1-1 3.1.3 (5), from memory.
EXPANSION = 1e-5
LaneFactor = Annotated[float, Range(0.0, 3.0)]


class PatchTable(Table):
    """A loaded rectangle of a static case; it acts as it stands, without dispersal."""

    at_m: Pair = entry("Centre [x, y] of the rectangle.", [4.65, 0.4])
    size_m: Annotated[list[Annotated[float, Range(0.005, 1000.0, "m")]], Count(2, 2)] = entry(
        "Sides along and across the deck.", [0.3, 0.55]
    )
    load_kN: Annotated[float, Range(-1e5, 1e5, "kN")] = entry(
        "Load on the whole rectangle, positive down; only its part on the slab acts.", 100.0
    )


class LineLoadTable(Table):
    """A load along a path or along a line of the plan."""

    path_m: Annotated[list[Pair], Count(2, 500)] | None = entry(
        "Points [x, y] of the path, straight between them.",
        [[0.0, -4.1], [9.3, -4.1]],
        default=None,
        left_out="`on` names the line",
    )
    on: Name | None = entry(
        "Line or edge of the plan that the load follows.", "E1", default=None, left_out="path_m"
    )
    load_kN_m: Annotated[float, Range(-1e4, 1e4, "kN/m")] = entry(
        "Load per metre of the path, positive down.", 7.0
    )


class TemperatureTable(Table):
    """A temperature of the slab, linear through its depth."""

    difference_K: Annotated[float, Range(-100.0, 100.0, "K")] = entry(
        "Temperature of the upper face less that of the lower one.",
        8.0,
        default=0.0,
    )
    mean_K: Annotated[float, Range(-200.0, 200.0, "K")] = entry(
        "Temperature of the slab at mid-depth less that of its beams; acts through their composite "
        "connection.",
        5.0,
        default=0.0,
    )
    alpha_per_K: Annotated[float, Range(1e-6, 3e-5, "1/K")] = entry(
        "Coefficient of thermal expansion of the concrete.",
        1.2e-5,
        default=EXPANSION,
        left_out=f"{EXPANSION:g} 1/K, EN 1992-1-1 3.1.3 (5), from memory",
    )


Settlement = Annotated[float, Range(-1000.0, 1000.0, "mm")]


class CaseTable(Table):
    """A static load case, characteristic: one or more kinds of load, or a temperature, shrinkage
    and settlements, which are cases of their own."""

    name: Name = entry("Name of the case.", "P1")
    patches: Annotated[list[PatchTable], Count(1, 2000)] | None = entry(
        "Loaded rectangles.",
        [{"at_m": [4.65, 0.4], "size_m": [0.3, 0.55], "load_kN": 100.0}],
        default=None,
        left_out="none",
    )
    pressure_kN_m2: Annotated[float, Range(-1e4, 1e4, "kN/m2")] | None = entry(
        "Load on the whole slab, positive down.", 1.92, default=None, left_out="none"
    )
    self_weight: Flag = entry(
        "Whether the slab's weight acts: density times thickness.", True, default=False
    )
    lines: Annotated[list[LineLoadTable], Count(1, 500)] | None = entry(
        "Loads along lines.",
        [{"path_m": [[0.0, -4.1], [9.3, -4.1]], "load_kN_m": 7.0}],
        default=None,
        left_out="none",
    )
    temperature: TemperatureTable | None = entry(
        "Temperature of the slab.", {"difference_K": 8.0}, default=None, left_out="none"
    )
    shrinkage_permille: Annotated[float, Range(-2.0, 2.0, "permille")] | None = entry(
        "Free shrinkage of the slab, positive = shorter; acts through the composite connection of "
        "its beams.",
        0.25,
        default=None,
        left_out="none",
    )
    settlements_mm: dict[str, Settlement] | None = entry(
        "How far lines, holds of beams (as C2@L1) and yielding points go down, by their names.",
        {"C2": 10.0},
        default=None,
        left_out="none",
    )
    action: Annotated[Action, Choice(get_args(Action))] = entry(
        "What the case is in the combinations of the bars' checks; with none it is left out of "
        "them. Shrinkage and settlement are actions of cases of shrinkage_permille and of "
        "settlements_mm alone, warming and cooling of temperatures, which never act at once.",
        "surfacing",
        default="none",
    )
    stage: Annotated[Stage, Choice(get_args(Stage))] = entry(
        "Stage of the deck's life at which the load acts; with [stages] the case is solved on the "
        "model of that stage, without it changes no value.",
        "long-term",
        default="short-term",
    )


class StagesTable(Table):
    """Stages of the deck's life: fresh concrete on the beams alone, and the slab's stiffness under
    loads that stay. Without this table every case acts on the same model."""

    long_term_n: ModularRatio | None = entry(
        "Modular ratio of the stage long-term: E of the beams over the slab's.",
        18.5,
        default=None,
        left_out="no case is long-term",
    )
    shrinkage_n: ModularRatio | None = entry(
        "Modular ratio of the stage shrinkage.",
        15.0,
        default=None,
        left_out="no case is of that stage",
    )


class SumTable(Table):
    """A sum of static cases, each with its factor, whatever their stages."""

    name: Name = entry("Name of the sum.", "dead + shrinkage")
    factors: dict[str, Annotated[float, Range(-10.0, 10.0)]] = entry(
        "Factors by the names of the cases.", {"weight": 1.35, "shrinkage": 1.0}
    )
    cracked: Flag = entry(
        "Whether the sum is also solved with the stiffness that its cracks leave the slab, by the "
        "mats of [[bars]], iterated; of cases of loads alone.",
        True,
        default=False,
    )


class TrafficTable(Table):
    """Moving loads: where they drive, which, and in what steps they are tried."""

    carriageway_m: Pair = entry(
        "Offsets of the left and the right edge of the carriageway, from its axis or, without one, "
        "parallel to x.",
        [-3.5, 3.5],
    )
    carriageway_axis_m: Corners | None = entry(
        "Axis of the carriageway on a slab of any outline: corners and arcs in the direction of "
        "traffic, which offsets and stations of the traffic count from and along.",
        [[0.0, 1.0], [12.0, 1.0]],
        default=None,
        left_out="it runs along x",
    )
    vehicles: Annotated[list[Name], Count(1, 200)] | None = entry(
        "Vehicles of the standards that drive alone, as `deckslab vehicles` lists them; those of "
        "[[vehicle]] drive without being named.",
        ["EN 1991-2 LM2"],
        default=None,
        left_out="those of [[vehicle]] and load_models alone",
    )
    step_m: Annotated[float, Range(0.005, 10.0, "m")] = entry(
        "Step between load positions along the deck: first axles stand at its whole multiples.",
        0.3,
        default=0.1,
    )
    lateral_step_m: Annotated[float, Range(0.005, 10.0, "m")] | None = entry(
        "Largest step between load positions across the carriageway.",
        0.5,
        default=None,
        left_out=f"{DEFAULT_LATERAL_STEP:g} m, or offsets_m",
    )
    offsets_m: Annotated[list[Coordinate], Count(1, 1000)] | None = entry(
        "Offsets of the vehicles' centre line, exactly these, in place of lateral_step_m.",
        [-1.5, 0.0, 1.5],
        default=None,
        left_out="equal places by lateral_step_m",
    )
    edge_clearance_m: Annotated[float, Range(0.0, 20.0, "m")] | None = entry(
        "Distance that a wheel's centre keeps from the carriageway's edge.",
        0.5,
        default=None,
        left_out="what each vehicle's own standard asks for",
    )
    surfacing_mm: Annotated[float, ZeroOrRange(1.0, 1000.0, "mm")] = entry(
        "Thickness of the surfacing, through which wheels spread; its weight is a case of its own.",
        80,
        default=0.0,
    )
    dispersal: Annotated[Dispersal, Choice(get_args(Dispersal))] = entry(
        "How deep wheels spread: not at all, through the surfacing, or on to the slab's mid-depth.",
        "surfacing",
        default="mid-depth",
    )
    dispersal_deg: Annotated[float, Range(0.0, 75.0, "degrees")] = entry(
        "Angle to the vertical at which wheels spread.", 45, default=45.0
    )
    directions: Annotated[Directions, Choice(get_args(Directions))] = entry(
        "Whether vehicles also drive against x.", "forward", default="both"
    )
    impact: dict[str, Annotated[float, Range(0.1, 10.0)]] = entry(
        "Factors on the wheels of vehicles and of load models, by their names.",
        {"AASHTO HL-93 truck": 1.33},
        default={},
        left_out="1, beside what each vehicle's own standard has in its loads",
    )
    load_models: Annotated[list[Name], Count(1, 20)] | None = entry(
        "Whole load models of the standards, with lanes, distributed loads, presence and impact, "
        "as `deckslab vehicles` lists them.",
        ["EN 1991-2 LM1"],
        default=None,
        left_out="none: no finding says that a strip covers",
    )
    alpha_Q: Annotated[list[LaneFactor], Count(1, 3)] | None = entry(
        "Adjustment factors on the tandems of lanes 1, 2 and 3 of EN 1991-2 load model 1.",
        [0.9, 0.8, 0.8],
        default=None,
        left_out=AS_FACTORS,
    )
    alpha_q: Annotated[list[LaneFactor], Count(1, 4)] | None = entry(
        "Adjustment factors on the uniform load of lanes 1, 2, 3 and of the rest of the "
        "carriageway, load model 1.",
        [0.7, 1.0, 1.0, 1.0],
        default=None,
        left_out=AS_FACTORS,
    )
    beta_Q: LaneFactor | None = entry(
        "Adjustment factor on EN 1991-2 load model 2.",
        0.8,
        default=None,
        left_out=AS_FACTORS,
    )
    joints: Annotated[list[Annotated[str, Choice(("start", "end"))]], Count(1, 2)] | None = entry(
        "Edges at expansion joints, near which load models that say so are raised.",
        ["start", "end"],
        default=None,
        left_out="none",
    )


class AxleTable(Table):
    """An axle of a vehicle; its wheels are gauge_m or wheels_m."""

    at_m: Annotated[float, Range(0.0, 200.0, "m")] = entry(
        "Distance behind the first axle, whose own is 0.", 3.7
    )
    load_kN: Annotated[float, Range(0.01, 1e4, "kN")] = entry(
        "Load of the axle, shared equally by its wheels.", 95
    )
    gauge_m: Annotated[float, Range(0.1, 20.0, "m")] | None = entry(
        "Distance between the centres of two wheels.", 2.0, default=None, left_out="wheels_m"
    )
    wheels_m: Annotated[list[Annotated[float, Range(-20.0, 20.0, "m")]], Count(1, 32)] | None = (
        entry(
            "Offsets of the wheels' centres from the vehicle's centre line.",
            [-1.08, -0.75, 0.75, 1.08],
            default=None,
            left_out="gauge_m",
        )
    )
    patch_mm: Annotated[list[Annotated[float, Range(10.0, 20000.0, "mm")]], Count(2, 2)] = entry(
        "Sides of a wheel's contact along and across the vehicle, before dispersal.", [220, 280]
    )


class VehicleTable(Table):
    """A vehicle of the file's own; it drives alone over the whole deck."""

    name: Name = entry("Name of the vehicle, none of a standard's.", "maintenance lorry")
    impact: Annotated[float, Range(0.1, 10.0)] = entry(
        "Factor on its loads for dynamics.", 1.25, default=1.0
    )
    axles: Annotated[list[AxleTable], Count(1, 100)] = entry(
        "Axles from the front to the rear.",
        [{"at_m": 0.0, "load_kN": 70, "gauge_m": 2.0, "patch_mm": [220, 320]}],
    )
