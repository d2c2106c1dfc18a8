"""The influence surface of one result as files: table, field and drawing with the vehicle that
governs."""

import csv
import io
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from pipelines.accuracy.worst_loads import WorstLoad, worst_loads
from pipelines.caution import TO_VERIFY
from pipelines.deck.deck import Deck
from pipelines.model.influence import Wanted, surfaces, wanted_row
from pipelines.model.job_size import check_job_size
from pipelines.model.responses import SolvedDeck
from pipelines.report.data.fields_vtu import write_fields
from pipelines.report.document import Drawing
from pipelines.report.drawings.canvas import sheet
from pipelines.report.drawings.contour_plans import ContourPlans, PlanField
from pipelines.report.drawings.cuts import field_map
from pipelines.report.drawings.plan import StandingLoad
from pipelines.system.files import write_text
from pipelines.system.outputs import replacing
from pipelines.traffic.arrangements import Arrangement, LoadPosition
from pipelines.traffic.positions import LoadPositions, dispersed
from pipelines.units import RESULT_SCALE
from plate.arrays import Floats
from plate.conventions import RESULTS
from plate.results.fields import at_points

FILES = ("influence.csv", "influence.vtu", "influence.svg")

UNITS = {
    "w": ("mm", "mm m"),
    **dict.fromkeys(("m_x", "m_y", "m_xy"), ("kNm/m", "kNm")),
    **dict.fromkeys(("q_x", "q_y"), ("kN/m", "kN")),
}


@dataclass(frozen=True, kw_only=True)
class InfluenceResult:
    """Influence of loads on one result.

    ordinates : (n_point,) at the field points, `unit` per kN; unit : of the result itself.
    worst : its largest and smallest value under every case of traffic, the leading one first
    [unit].
    """

    deck: Deck
    solved: SolvedDeck
    wanted: Wanted
    ordinates: Floats
    unit: str
    worst: tuple[WorstLoad, ...]


def influence_result(deck: Deck, wanted: Wanted) -> InfluenceResult:
    """The influence surface of a result of a deck, and its worst load positions.

    Raises JobError or PlateError, as `analyse` does, and where the place is not on the slab.
    """
    check_job_size(deck)
    solved = SolvedDeck.of(deck)
    row = wanted_row(solved, wanted)
    found = surfaces(solved.stiffness, row)
    scale = RESULT_SCALE[RESULTS.index(wanted.component)]
    worst = [
        replace(load, value=scale * load.value, tolerance=scale * load.tolerance)
        for model in (deck.traffic.cases if deck.traffic is not None else ())
        for load in worst_loads(deck, found, [(0, 1), (0, -1)], model)
    ]
    unit = UNITS[wanted.component][wanted.resultant]
    # per newton in SI to per kilonewton in the units of the report
    points = solved.recovery.points
    nodal = 1e3 * scale * found.ordinates[0]
    ordinates = at_points(solved.model.mesh, points.order, points.cells, nodal)
    return InfluenceResult(
        deck=deck, solved=solved, wanted=wanted, ordinates=ordinates, unit=unit, worst=tuple(worst)
    )


def write_influence(result: InfluenceResult, out: Path) -> list[Path]:
    """Write influence.csv, influence.vtu and influence.svg, all at once; returns the files."""
    columns = {f"influence [{result.unit} per kN]": result.ordinates}
    with replacing(out, "influence") as folder:
        write_text(folder / "influence.csv", _table(result))
        write_fields(folder / "influence.vtu", result.solved.recovery.points, columns)
        write_text(folder / "influence.svg", sheet(drawing(result)))
    return [out / name for name in FILES]


def _table(result: InfluenceResult) -> str:
    # once each, not once for each side of a line
    plan, first = np.unique(
        np.round(result.solved.recovery.points.plan, 9), axis=0, return_index=True
    )
    stream = io.StringIO()
    rows = csv.writer(stream, lineterminator="\n")
    unit = result.unit.replace(" ", "_").replace("/", "_")
    rows.writerow(["station_m", "offset_m", f"{result.wanted.component}_{unit}_per_kN", "caution"])
    for (x, y), value in zip(plan, result.ordinates[first], strict=True):
        rows.writerow([f"{x:.6g}", f"{y:.6g}", f"{value:.9g}", TO_VERIFY])
    return stream.getvalue()


def drawing(result: InfluenceResult) -> Drawing:
    """Contour plan of the surface with the load position of the value furthest from zero."""
    # Drawings load a library that takes long.

    clear = np.ones(len(result.ordinates), dtype=bool)
    leading = [one for one in result.worst if one.case == result.worst[0].case]
    governing = max(leading, key=lambda one: abs(one.value), default=None)
    load = None
    if governing is not None and governing.position is not None:
        load = standing_load(result.deck, governing.position)
    plans = ContourPlans(result.deck, field_map(result.solved), clear)
    top = int(np.argmax(np.abs(result.ordinates)))
    x, y = result.solved.recovery.points.plan[top]
    return plans.plan(
        PlanField(
            name="influence",
            title=f"influence on {result.wanted.words}",
            unit=f"{result.unit} per kN",
            values=result.ordinates,
            extreme="both",
            peak=float(result.ordinates[top]),
            at=(float(x), float(y)),
            load=load,
        )
    )


def standing_load(deck: Deck, at: Arrangement) -> StandingLoad:
    """The wheels of an arrangement as a plan shows them."""
    vehicles = tuple(lane.position for lane in at.lanes if lane.position is not None)
    runs = [one_position(deck, position) for position in vehicles]
    corners = [run.wheels(slice(None)).corners for run in runs]
    return StandingLoad(np.concatenate([np.empty((0, 4, 2)), *corners]), vehicles)


def one_position(deck: Deck, at: LoadPosition) -> LoadPositions:
    """The run that holds just one load position of the deck's traffic, wherever it is."""
    vehicle = next(v for v in deck.required_traffic.all_vehicles if v.name == at.vehicle)
    return LoadPositions(
        vehicle=vehicle,
        direction="reverse" if at.direction == "reverse" else "forward",
        stations=np.array([at.station]),
        offsets=np.array([at.offset]),
        patches=tuple(
            dispersed(a.patch, deck.required_traffic, deck.slab.thickness) for a in vehicle.axles
        ),
        course=deck.course,
        spreads=np.array([at.spread]) if vehicle.variable else None,
    )
