"""The influence surface of one result as files: table, field and drawing with the vehicle that
governs."""

import csv
import io
from dataclasses import dataclass
from pathlib import Path

import meshio
import numpy as np
from numpy.typing import NDArray

from pipelines.accuracy.worst_position import WorstPlace, worst_places
from pipelines.deck.deck import Deck
from pipelines.envelopes.single_vehicles import LoadPosition
from pipelines.model.build import build_model
from pipelines.model.influence import Wanted, surfaces, wanted_row
from pipelines.model.job_size import check_job_size
from pipelines.model.responses import Solver
from pipelines.outputs import replacing
from pipelines.report.drawings.contour_plans import ContourPlans, PlanField
from pipelines.report.drawings.cuts import field_map
from pipelines.traffic.positions import LoadPositions, dispersed
from pipelines.units import RESULT_SCALE
from plate.conventions import RESULTS
from plate.results.fields import FieldRecovery, at_points
from plate.solver.stiffness import Stiffness

Floats = NDArray[np.float64]

UNITS = {
    "w": ("mm", "mm m"),
    **dict.fromkeys(("m_x", "m_y", "m_xy"), ("kNm/m", "kNm")),
    **dict.fromkeys(("q_x", "q_y"), ("kN/m", "kN")),
}


@dataclass(frozen=True)
class InfluenceResult:
    """Influence of loads on one result.

    ordinates : (n_point,) at the field points, `unit` per kN; unit : of the result itself.
    worst : its largest and smallest value under the deck's vehicles [unit]; empty without traffic.
    """

    deck: Deck
    solver: Solver
    wanted: Wanted
    ordinates: Floats
    unit: str
    worst: tuple[WorstPlace, ...]


def influence_result(deck: Deck, wanted: Wanted) -> InfluenceResult:
    """The influence surface of a result of a deck, and its worst load positions.

    Raises JobError or PlateError, as `analyse` does, and where the place is not on the slab.
    """
    check_job_size(deck)
    model = build_model(deck).model
    recovery = FieldRecovery(model)
    solver = Solver.of(deck, Stiffness(model), recovery)
    found = surfaces(solver.stiffness, wanted_row(deck, solver, wanted))
    scale = RESULT_SCALE[RESULTS.index(wanted.component)]
    worst: list[WorstPlace] = []
    if deck.traffic is not None and deck.traffic.vehicles:
        worst = [
            WorstPlace(scale * p.value, p.position, scale * p.tolerance)
            for p in worst_places(deck, found, [(0, 1), (0, -1)])
        ]
    unit = UNITS[wanted.component][wanted.resultant]
    # per newton in SI to per kilonewton in the units of the report
    points = recovery.points
    nodal = 1e3 * scale * found.ordinates[0]
    ordinates = at_points(model.mesh, points.order, points.cells, nodal)
    return InfluenceResult(deck, solver, wanted, ordinates, unit, tuple(worst))


def write_influence(result: InfluenceResult, out: Path) -> list[Path]:
    """Write influence.csv, influence.vtu and influence.svg, all at once; returns the files."""
    points = result.solver.recovery.points
    xy = points.xy
    coordinates = np.column_stack([xy[:, 0], -xy[:, 1], np.zeros(len(xy))])
    name = f"influence [{result.unit} per kN]"
    field = meshio.Mesh(coordinates, [("quad", points.quads)], point_data={name: result.ordinates})
    with replacing(out, "influence") as folder:
        (folder / "influence.csv").write_text(_table(result), encoding="utf-8")
        meshio.write(folder / "influence.vtu", field, file_format="vtu")
        (folder / "influence.svg").write_text(drawing(result) + "\n", encoding="utf-8")
    return [out / f"influence.{kind}" for kind in ("csv", "vtu", "svg")]


def _table(result: InfluenceResult) -> str:
    # once each, not once for each side of a line
    plan, first = np.unique(
        np.round(result.solver.recovery.points.plan, 9), axis=0, return_index=True
    )
    stream = io.StringIO()
    rows = csv.writer(stream, lineterminator="\n")
    unit = result.unit.replace(" ", "_").replace("/", "_")
    rows.writerow(["station_m", "offset_m", f"{result.wanted.component}_{unit}_per_kN"])
    for (x, y), value in zip(plan, result.ordinates[first], strict=True):
        rows.writerow([f"{x:.6g}", f"{y:.6g}", f"{value:.9g}"])
    return stream.getvalue()


def drawing(result: InfluenceResult) -> str:
    """Contour plan of the surface with the load position of the value furthest from zero."""
    clear = np.ones(len(result.ordinates), dtype=bool)
    governing = max(result.worst, key=lambda p: abs(p.value), default=None)
    position = None if governing is None else governing.position
    runs = () if position is None else (one_position(result.deck, position),)
    plans = ContourPlans(result.deck, field_map(result.solver), clear, runs)
    top = int(np.argmax(np.abs(result.ordinates)))
    x, y = result.solver.recovery.points.plan[top]
    return plans.plan(
        PlanField(
            "influence",
            f"influence on {result.wanted.words}",
            f"{result.unit} per kN",
            result.ordinates,
            "both",
            float(result.ordinates[top]),
            (float(x), float(y)),
            position,
        )
    )


def one_position(deck: Deck, at: LoadPosition) -> LoadPositions:
    """The run that holds just one load position of the deck's traffic, wherever it is."""
    assert deck.traffic is not None
    vehicle = next(v for v in deck.traffic.all_vehicles if v.name == at.vehicle)
    return LoadPositions(
        vehicle,
        "reverse" if at.direction == "reverse" else "forward",
        np.array([at.station]),
        np.array([at.offset]),
        tuple(dispersed(a.patch, deck.traffic, deck.slab.thickness) for a in vehicle.axles),
        deck.plan.chart,
        np.array([at.spread]) if vehicle.variable else None,
    )
