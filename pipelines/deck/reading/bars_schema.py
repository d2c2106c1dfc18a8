"""What a deck file may say of concrete, steel and bars, and of readings on site."""

from typing import Annotated, Literal, get_args

from pipelines.deck.reading.plan_schema import Thickness
from pipelines.deck.reading.rules import Choice, Count, Range, WholeRange
from pipelines.deck.reading.schema import Lines, Name, Pair, Table, entry
from pipelines.deck.reinforcement import STOCK, CrackCombination, Prices
from pipelines.deck.survey import Value as SurveyValue
from pipelines.standards.resistance.bars import Direction, Face
from pipelines.standards.sources import Standard

MomentAt = Literal["centre line", "face"]
StructuralClass = Literal["S1", "S2", "S3", "S4", "S5", "S6"]
Millimetre = Annotated[float, Range(4.0, 1000.0, "mm")]
Cover = Annotated[float, Range(1.0, 300.0, "mm")]
Diameter = Annotated[float, Range(4.0, 60.0, "mm")]
Spacing = Annotated[float, Range(20.0, 1000.0, "mm")]
PanelSide = Annotated[float, Range(0.5, 1e4, "m")]  # a wheel's width, or so, at least


class ExposureTable(Table):
    """Exposure classes of both faces in the standard's own words."""

    top: Name | None = entry(
        "Class of the top face.",
        "XD1",
        default=None,
        left_out="its cover is not judged, nor cracks without crack_width_mm",
    )
    bottom: Name | None = entry(
        "Class of the bottom face.",
        "XC4",
        default=None,
        left_out="its cover is not judged, nor cracks without crack_width_mm",
    )


class ConcreteTable(Table):
    """The concrete of the slab under one standard, to which the bars are then checked."""

    standard: Annotated[Standard, Choice(get_args(Standard))] = entry(
        "Standard that the bars are checked to; a [[steel]] of the same one is needed.", "EN 1992"
    )
    grade: Name = entry("Grade by its name in that standard: C35/45, M45, 4 ksi.", "C35/45")
    grades: Annotated[list[Name], Count(1, 20)] | None = entry(
        "Grades that `deckslab design` may choose from, tried in this order; of several standards "
        "the first belong together, the second, and so on.",
        ["C35/45", "C40/50"],
        default=None,
        left_out="grade alone",
    )
    exposure: ExposureTable = entry(
        "Exposure classes, for covers and crack widths.",
        {"top": "XD1", "bottom": "XC4"},
        default=ExposureTable(),
        left_out="not stated",
    )
    structural_class: Annotated[StructuralClass, Choice(get_args(StructuralClass))] | None = entry(
        "Structural class behind the least cover, EN 1992-1-1 4.4.1.2(5); EN 1992 alone.",
        "S5",
        default=None,
        left_out="by design life, grade and a slab's geometry",
    )
    design_life_years: Annotated[float, Range(10.0, 120.0, "years")] | None = entry(
        "Design life behind the least cover; EN 1992 alone.",
        50,
        default=None,
        left_out="that of [factors.EN], else 100 years, for bridges",
    )
    aggregate_mm: Annotated[float, Range(4.0, 100.0, "mm")] = entry(
        "Largest size of the aggregate, for clear distances and AASHTO's shear.", 20, default=20.0
    )
    crack_width_mm: Annotated[float, Range(0.05, 1.0, "mm")] | None = entry(
        "Limit of the crack width.",
        0.3,
        default=None,
        left_out="the standard's for the exposure; without exposure cracks are not judged",
    )
    crack_combination: Annotated[CrackCombination, Choice(get_args(CrackCombination))] = entry(
        "Combination of actions under which the crack width is computed; the quasi-permanent one "
        "has no traffic.",
        "characteristic",
        default="frequent",
    )


class SteelTable(Table):
    """The reinforcing steel under one standard."""

    standard: Annotated[Standard, Choice(get_args(Standard))] = entry(
        "Standard, that of a [[concrete]].", "EN 1992"
    )
    grade: Name = entry("Grade by its name in that standard: B500B, Fe 500D, Grade 60.", "B500B")


class LayerTable(Table):
    """Bars of one direction at one face."""

    diameter_mm: Diameter = entry("Diameter of the bars.", 16)
    spacing_mm: Spacing = entry("Distance between the bars' centres.", 125)


class AddedTable(Table):
    """Bars added between those of a layer in a part of the slab: along lines or edges or clear of
    them, round an opening, within a polygon, between stations or offsets; of several of these,
    where all hold.

    They count from where they are anchored, a bond length inside the part; at an edge of the slab
    they are taken as anchored like the mat's own.
    """

    mark: Name | None = entry(
        "By which drawings and tables name the bars.",
        "A1",
        default=None,
        left_out="A and a number",
    )
    direction: Annotated[Direction, Choice(get_args(Direction))] = entry(
        "Layer whose bars they lie between, by its direction.", "x"
    )
    diameter_mm: Diameter = entry("Diameter of the bars.", 12)
    spacing_mm: Spacing = entry(
        "Distance between their centres, that of the layer's own bars or a whole multiple of it.",
        150,
    )
    along: Lines | None = entry(
        "Lines or edges of the plan, a name, a list or a pattern, along which they lie, within "
        "reach_m.",
        ["C2", "C3"],
        default=None,
        left_out="not by a line",
    )
    clear_of: Lines | None = entry(
        "Lines or edges of the plan, a name, a list or a pattern, from which they keep away by "
        "clear_m: bars that stop short of supports, or of edges.",
        ["L1", "L2"],
        default=None,
        left_out="of no line",
    )
    clear_m: Annotated[float, Range(0.05, 100.0, "m")] | None = entry(
        "How far they keep away from the lines of clear_of.",
        0.8,
        default=None,
        left_out="without clear_of",
    )
    opening: Annotated[int, WholeRange(1, 1000)] | None = entry(
        "Number of the opening round which they lie, within reach_m.",
        1,
        default=None,
        left_out="round no opening",
    )
    reach_m: Annotated[float, Range(0.05, 100.0, "m")] | None = entry(
        "How far they reach to each side of the lines and beyond ends of these within the slab, or "
        "from the opening.",
        0.9,
        default=None,
        left_out="without along or opening",
    )
    corners_m: Annotated[list[Pair], Count(3, 200)] | None = entry(
        "Corners of a polygon in plan, in order.",
        [[0.0, -2.0], [3.0, -2.0], [3.0, 2.0]],
        default=None,
        left_out="no polygon",
    )
    stations_m: Pair | None = entry(
        "From which station to which they lie; on skew decks the ends run with the C lines.",
        [0.0, 1.2],
        default=None,
        left_out="as far as the rest says",
    )
    offsets_m: Pair | None = entry(
        "From which offset to which they lie.",
        [-2.0, 2.0],
        default=None,
        left_out="as far as the rest says",
    )


class BarsTable(Table):
    """Both layers of bars at one face; a deck with bars has such a table for each face."""

    face: Annotated[Face, Choice(get_args(Face))] = entry("Face of the slab.", "bottom")
    cover_mm: Cover = entry("Concrete cover to the outer layer.", 50)
    outer: Annotated[Direction, Choice(get_args(Direction))] = entry(
        "Direction of the layer nearer to the face.", "y"
    )
    x: LayerTable = entry("Bars along the deck.", {"diameter_mm": 16, "spacing_mm": 100})
    y: LayerTable = entry(
        "Bars across the deck, or at angle_deg.", {"diameter_mm": 16, "spacing_mm": 110}
    )
    angle_deg: Annotated[float, Range(15.0, 165.0, "degrees")] = entry(
        "Angle from x, towards y, to the second bars, the same at both faces; 90 is at right "
        "angles.",
        75,
        default=90.0,
    )
    moment_at: Annotated[MomentAt, Choice(get_args(MomentAt))] | None = entry(
        "Where hogging counts for the top bars: over the supports' centre lines, or beside them by "
        "width_mm and rests of [[line]]: at the faces, or a quarter of the width off.",
        "centre line",
        default=None,
        left_out="beside supports whose width_mm is stated, else the centre lines",
    )
    added: Annotated[list[AddedTable], Count(1, 200)] | None = entry(
        "Bars between those of the mat in parts of the slab, each a table [[bars.added]].",
        [{"direction": "x", "diameter_mm": 12, "spacing_mm": 150, "along": "C*", "reach_m": 0.9}],
        default=None,
        left_out="the mat alone, everywhere",
    )


Price = Annotated[float, Range(0.0, 100.0, "kg/m2")]


class PriceTable(Table):
    """What one more of a kind may cost, as steel per area of slab, so that a site can build what is
    chosen; the defaults are the program's own."""

    diameter: Price = entry("Of a further diameter.", 0.5, default=Prices.diameter)
    spacing: Price = entry("Of a further spacing.", 0.2, default=Prices.spacing)
    zone: Price = entry("Of each zone of added bars.", 0.5, default=Prices.zone)


class ThicknessRangeTable(Table):
    """Thicknesses in even steps."""

    least: Thickness = entry("Least thickness that is tried.", 250)
    most: Thickness = entry("The last, which counts whether a step ends there or not.", 350)
    step: Annotated[float, Range(1.0, 500.0, "mm")] = entry(
        "From one to the next.", 10, default=10.0
    )


class BarChoiceTable(Table):
    """Bars to choose from: the least steel that passes is told beside the checks, and `deckslab
    design` takes the deck's bars from them."""

    diameters_mm: Annotated[list[Millimetre], Count(1, 20)] = entry(
        "Diameters at hand.", [12, 16, 20]
    )
    spacings_mm: Annotated[list[Millimetre], Count(1, 20)] = entry(
        "Spacings to be used.", [100, 125, 150, 175, 200]
    )
    price_kg_m2: PriceTable = entry(
        "What `deckslab design` counts for variety.",
        {"diameter": 0.5, "spacing": 0.2, "zone": 0.5},
        default=PriceTable(),
        left_out="as its own keys say",
    )
    thickness_mm: Annotated[list[Thickness], Count(1, 40)] | None = entry(
        "Thicknesses of the slab that `deckslab design` may choose from, the least that passes.",
        [260, 280, 300, 320],
        default=None,
        left_out="that of [slab]",
    )
    thickness_range_mm: ThicknessRangeTable | None = entry(
        "The same as a range, in place of `thickness_mm`.",
        {"least": 250, "most": 350, "step": 10},
        default=None,
        left_out="that of [slab]",
    )
    stock_m: Annotated[float, Range(5.0, 30.0, "m")] = entry(
        "Longest bar that is delivered: longer ones are lapped in the bar schedule.",
        14.0,
        default=STOCK,
    )


class BeamLayerTable(Table):
    """Bars of a beam at one face, in one layer."""

    count: Annotated[int, WholeRange(2, 60)] = entry("Number of bars.", 4)
    diameter_mm: Diameter = entry("Diameter of the bars.", 20)


class LinksTable(Table):
    """Links of a beam, closed around its bars."""

    diameter_mm: Annotated[float, Range(4.0, 40.0, "mm")] = entry("Diameter of a link.", 12)
    spacing_mm: Spacing = entry("Distance between links along the beam.", 120)
    legs: Annotated[int, WholeRange(2, 20)] = entry(
        "Legs of a link that cross the shear.", 4, default=2
    )


class BeamBarsTable(Table):
    """Bars and links of the concrete beams along some lines, a rectangle."""

    on: Lines = entry("Lines with such beams, a name or a list of names.", ["L1", "L2"])
    width_mm: Annotated[float, Range(50.0, 5000.0, "mm")] = entry("Width of the rectangle.", 350)
    depth_mm: Annotated[float, Range(50.0, 10000.0, "mm")] = entry("Depth of the rectangle.", 620)
    cover_mm: Cover = entry("Concrete cover to the links.", 50)
    top: BeamLayerTable = entry("Bars at the top.", {"count": 4, "diameter_mm": 20})
    bottom: BeamLayerTable = entry("Bars at the bottom.", {"count": 4, "diameter_mm": 20})
    links: LinksTable = entry("Its links, alike all along.", {"diameter_mm": 12, "spacing_mm": 120})


class SurveyTable(Table):
    """Readings on site, from a CSV file: the bars as built are judged beside those as designed."""

    file: Name = entry(
        "CSV file, in the deck file's folder or below it; `deckslab keys survey` has its columns.",
        "survey.csv",
    )
    value: Annotated[SurveyValue, Choice(get_args(SurveyValue))] = entry(
        "What counts of repeated readings: their mean, or the one that lowers the capacity most.",
        "worst",
        default="mean",
    )
    panel_m: Annotated[list[PanelSide], Count(2, 2)] | None = entry(
        "Largest length along and width across of the parts that a bay, or an outline, is cut "
        "into, each judged by its own readings.",
        [1.6, 2.0],
        default=None,
        left_out="a panel is a whole bay, of an outline the slab",
    )
