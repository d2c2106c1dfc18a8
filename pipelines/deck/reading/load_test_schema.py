"""What a deck file may say of load tests, the columns of a file of their readings, and stiffnesses
that were found from them."""

from typing import Annotated, Literal, get_args

from pipelines.deck.load_test import UNITS, Kind
from pipelines.deck.reading.loads_schema import AxleTable
from pipelines.deck.reading.rules import Choice, Count, Range
from pipelines.deck.reading.schema import Coordinate, Lines, Name, Table, entry
from pipelines.standards.resistance.bars import Direction, Face

LEAST_FACTOR, LARGEST_FACTOR = 1e-3, 1e3
DEFAULT_BOUNDS = (0.05, 20.0)

Factor = Annotated[float, Range(LEAST_FACTOR, LARGEST_FACTOR)]
OneKind = Annotated[Kind, Choice(get_args(Kind))]
KINDS = (
    "Which stiffness: slab E (all of its rigidity with E), slab thickness (bending with its cube), "
    "beam EI (bending alone), beam E (bending, shear, torsion, length), connection k (beam to "
    "slab), spring k or k_rot (of lines and edges), hold k or k_rot (where beams are held), point "
    "k (of point supports)."
)


class StandingTable(Table):
    """A vehicle at a place; positions of one name are vehicles that stand at the same time."""

    name: Name = entry("Name of the load position, as the readings call it.", "P1")
    station_m: Coordinate = entry("Station of the first axle's centre.", 4.65)
    offset_m: Coordinate = entry("Offset of the vehicle's centre line.", 0.5)
    direction: Annotated[Literal["forward", "reverse"], Choice(("forward", "reverse"))] = entry(
        "Whether it faces growing stations.", "forward", default="forward"
    )


class UnknownTable(Table):
    """A stiffness to be found: one factor on what the deck file says of it, the same for all lines
    or points named."""

    of: OneKind = entry(KINDS, "beam EI")
    on: Lines | None = entry(
        "Lines or points that share the factor: a name, a list of names, or a pattern; for holds "
        "the beams that are held.",
        "C*",
        default=None,
        left_out="of the slab, else needed",
    )
    name: Name | None = entry(
        "Name for print.", "cross beams", default=None, left_out="by kind and lines"
    )
    factor: Annotated[list[Factor], Count(2, 2)] = entry(
        "Least and largest factor that is looked at.",
        [0.2, 5.0],
        default=list(DEFAULT_BOUNDS),
        left_out="{:g} to {:g}".format(*DEFAULT_BOUNDS),
    )


class LoadTestTable(Table):
    """A load test: a known vehicle that stands at known load positions, and a file of what was read
    of the deck; `deckslab loadtest` finds stiffnesses from it. The vehicle counts without impact
    and alone: readings are those under it less those of the empty deck."""

    name: Name = entry("Name of the test.", "May 2026")
    vehicle: Name | None = entry(
        "The vehicle, of a standard or of a [[vehicle]] table.",
        "maintenance lorry",
        default=None,
        left_out="axles",
    )
    axles: Annotated[list[AxleTable], Count(1, 100)] | None = entry(
        "Axles of the vehicle as weighed, from the front to the rear.",
        [{"at_m": 0.0, "load_kN": 71.4, "gauge_m": 2.0, "patch_mm": [220, 320]}],
        default=None,
        left_out="vehicle",
    )
    positions: Annotated[list[StandingTable], Count(1, 1000)] = entry(
        "Where the vehicle stood.", [{"name": "P1", "station_m": 4.65, "offset_m": 0.5}]
    )
    file: Name = entry(
        "CSV file of the readings, in the deck file's folder or below it; `deckslab keys loadtest` "
        "has its columns.",
        "loadtest.csv",
    )
    fit: Annotated[list[UnknownTable], Count(1, 20)] | None = entry(
        "Stiffnesses to be found from the readings.",
        [{"of": "slab E"}, {"of": "beam EI", "on": "C*"}],
        default=None,
        left_out="none: measured stands beside computed",
    )


class FittedTable(Table):
    """A stiffness found from a load test, as `deckslab loadtest` writes it: what the other tables
    say of it is multiplied."""

    of: OneKind = entry(KINDS, "slab E")
    on: Lines | None = entry(
        "Lines or points whose stiffness it is: a name, a list of names, or a pattern.",
        ["C1", "C2"],
        default=None,
        left_out="of the slab, else needed",
    )
    factor: Factor = entry("Factor on that stiffness.", 0.87)


class LoadTestColumns(Table):
    """The columns of a file of readings under load (CSV), in any order; a row holds one reading:
    that under the vehicle less that of the empty deck."""

    position: Name = entry("Load position, one of the test's.", "P1")
    place: Name = entry(
        "Name of the place of the gauge, its own or that of a [[probe]] at a point.", "G3"
    )
    x_m: Coordinate | None = entry(
        "Station of the place; together with y_m.",
        4.65,
        default=None,
        left_out="that of an earlier row with this place, or of the [[probe]] of its name",
    )
    y_m: Coordinate | None = entry(
        "Offset of the place; together with x_m.",
        -1.2,
        default=None,
        left_out="as x_m",
    )
    deflection_mm: (
        Annotated[float, Range(-UNITS["deflection"].largest, UNITS["deflection"].largest, "mm")]
        | None
    ) = entry("Deflection, positive down.", 3.42, default=None, left_out="not read")
    strain_um_m: (
        Annotated[float, Range(-UNITS["strain"].largest, UNITS["strain"].largest, "um/m")] | None
    ) = entry(
        "Strain in millionths, tension positive; needs face and direction.",
        61,
        default=None,
        left_out="not read",
    )
    rotation_mrad: (
        Annotated[float, Range(-UNITS["rotation"].largest, UNITS["rotation"].largest, "mrad")]
        | None
    ) = entry(
        "Rotation, positive where the deflection grows in the direction; needs direction.",
        -0.31,
        default=None,
        left_out="not read",
    )
    accuracy: Annotated[float, Range(1e-9, 1e4)] | None = entry(
        "Standard deviation of the reading, in the reading's own unit.",
        0.05,
        default=None,
        left_out="not known: from how readings and model differ",
    )
    face: Annotated[Face, Choice(get_args(Face))] | None = entry(
        "Face of the slab, or side of a beam, on which a strain is read.",
        "bottom",
        default=None,
        left_out="no strain",
    )
    direction: Annotated[Direction, Choice(get_args(Direction))] | None = entry(
        "Direction of a strain or of a rotation.", "x", default=None, left_out="a deflection"
    )
    lever_mm: Annotated[float, Range(1.0, 5000.0, "mm")] | None = entry(
        "Distance of a strain gauge from the section's neutral axis; on a beam from the beam's own "
        "centroid, where it is needed.",
        135,
        default=None,
        left_out="half the slab's thickness there: an uncracked section, gauges on its faces",
    )
    beam: Name | None = entry(
        "Line of the beam on which a strain is read, along the beam, at a place on that line; face "
        "tells whether the gauge is below or above the beam's centroid.",
        "C2",
        default=None,
        left_out="on the slab",
    )


COLUMNS = tuple(LoadTestColumns.model_fields)
