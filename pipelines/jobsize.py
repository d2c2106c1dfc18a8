"""How large a job is, before it is begun: cells, load positions, memory and time.

Estimates, not bounds: the cells follow from the size asked for and the lines of the plan, memory
and time from measurements on decks of 1 000 to 3 000 cells. A job that cannot fit is refused with
the key that makes it smaller.
"""

import os
from collections.abc import Callable
from dataclasses import dataclass
from math import ceil, log2
from pathlib import Path

import numpy as np

from pipelines.accuracy import REFINEMENT
from pipelines.build import ORDER, cell_size
from pipelines.deck import Deck, LoadModel, Vehicle
from pipelines.errors import JobError
from pipelines.modeltrains import spreads
from pipelines.responses import BLOCK
from pipelines.traffic import dispersed, offset_range, turn_repeats
from plate.conventions import N_FIELDS, RESULTS

# More load positions than this are refused: days, and numbers that no one can look through.
MOST_POSITIONS = 20_000_000
# Share of the free memory that a job may take.
MEMORY_SHARE = 0.85
# Cells that each line adds to those across it, by the fine rows along free edges and beams.
CELLS_PER_LINE = 4.0
# A factorised model with its element matrices, per degree of freedom, order and doubling [byte].
MODEL_BYTES = 75.0
# What the program itself takes [byte].
PROGRAM = 135e6
# Time of one load position per degree of freedom on one core, solution and recovery [s].
SECONDS = 4e-8


@dataclass(frozen=True)
class JobSize:
    """What a job will about need.

    cells, degrees of freedom, load positions; memory [byte]; seconds of the load positions.
    """

    cells: int
    degrees_of_freedom: int
    load_positions: int
    memory: float
    seconds: float

    @property
    def words(self) -> str:
        """In one line."""
        return (
            f"about {self.cells:,} cells, {self.degrees_of_freedom:,} degrees of freedom, "
            f"{self.load_positions:,} load positions, {_bytes(self.memory)}, "
            f"{_time(self.seconds)}"
        )


def job_size(deck: Deck, workers: int | None = None) -> JobSize:
    """Estimate of a deck's job with that many threads, one per processor by default."""
    workers = workers or len(os.sched_getaffinity(0))
    order = deck.mesh.order or ORDER
    size, _ = cell_size(deck)
    cells = _cells(deck, size)
    dof = N_FIELDS * cells * order**2
    richer = N_FIELDS * _cells(deck, size / REFINEMENT) * (order + 1) ** 2
    points = cells * max(2, order - 1) ** 2
    vehicles = () if deck.traffic is None else deck.traffic.vehicles
    positions = sum(_positions(deck, vehicle) for vehicle in vehicles)
    block = 8.0 * BLOCK * dof
    kept = 8.0 * points * (2 * len(RESULTS) ** 2 + 4 * len(RESULTS)) * (len(vehicles) + 1)
    if deck.traffic is not None:
        for model in deck.traffic.load_models:
            offsets, loads = _model_loads(deck, model)
            positions += loads
            kept += 8.0 * points * (2 * len(RESULTS) ** 2 + 4 * len(RESULTS)) * offsets
    memory = PROGRAM + _model_bytes(order, dof) + kept + 40.0 * positions
    # Blocks of load positions first, then the richer model of the stated errors.
    memory += max((2 * workers + 1) * block, _model_bytes(order + 1, richer))
    return JobSize(
        int(cells), int(dof), int(positions), memory, SECONDS * dof * positions / workers
    )


def check_job_size(
    deck: Deck, workers: int | None = None, free: Callable[[], float] | None = None
) -> JobSize:
    """The estimate.

    free : memory that may be taken [byte], what the system has free by default.

    Raises JobError where the job cannot fit: too many load positions, or more memory than is free.
    """
    size = job_size(deck, workers)
    if size.load_positions > MOST_POSITIONS:
        raise JobError(
            f"about {size.load_positions:.3g} load positions, {_time(size.seconds)} of solving; "
            f"allowed are {MOST_POSITIONS:.3g}: widen [traffic] step_m or lateral_step_m"
        )
    limit = MEMORY_SHARE * (free or free_memory)()
    if size.memory > limit:
        key = "[mesh] size_m" if deck.mesh.size is not None else "[mesh] order"
        raise JobError(
            f"about {size.cells:.3g} cells with {size.degrees_of_freedom:.3g} degrees of freedom "
            f"and {size.load_positions:.3g} load positions need {_bytes(size.memory)}; "
            f"{_bytes(limit)} may be taken: make {key} coarser"
        )
    return size


def free_memory() -> float:
    """Memory that the system can give [byte], within the limit of the process's group."""
    page = float(os.sysconf("SC_PAGE_SIZE"))
    free = page * os.sysconf("SC_PHYS_PAGES")
    try:
        for line in Path("/proc/meminfo").read_text().splitlines():
            if line.startswith("MemAvailable:"):
                free = 1024.0 * float(line.split()[1])
        group = Path("/sys/fs/cgroup")
        used = float((group / "memory.current").read_text())
        free = min(free, float((group / "memory.max").read_text()) - used)
    except (OSError, ValueError):
        pass  # no such file here, or no limit set
    return free


def _model_bytes(order: int, dof: float) -> float:
    return MODEL_BYTES * order * dof * log2(max(dof, 2.0))


def _cells(deck: Deck, size: float) -> float:
    plan = deck.plan
    area = float(abs(plan.chart.polygon_area(plan.outline)))
    if not plan.is_mapped:
        return 1.5 * area / size**2
    length = float(plan.outline[:, 0].max() - plan.outline[:, 0].min())
    width = area / length
    along = length / size + CELLS_PER_LINE * len(plan.stations)
    across = width / size + CELLS_PER_LINE * len(plan.offsets)
    return along * across


def _positions(deck: Deck, vehicle: Vehicle) -> float:
    """Load positions of a vehicle, none left out."""
    traffic = deck.traffic
    assert traffic is not None
    patches = [dispersed(axle.patch, traffic, deck.slab.thickness)[0] for axle in vehicle.axles]
    outline = deck.plan.outline
    length = outline[:, 0].max() - outline[:, 0].min() + max(a.at for a in vehicle.axles)
    stations = (length + max(patches)) / traffic.step
    if traffic.offsets is not None:
        offsets = len(traffic.offsets)
    else:
        assert traffic.lateral_step is not None
        low, high = offset_range(vehicle, traffic)
        offsets = ceil(max(high - low, 0.0) / traffic.lateral_step) + 1
    both = traffic.directions == "both" and not turn_repeats(vehicle, traffic, deck.plan.chart)
    return float(ceil(stations) * offsets * (2 if both else 1))


def _model_loads(deck: Deck, model: LoadModel) -> tuple[float, float]:
    """Trains' offsets and strips of a load model for which fields are kept, and its loads."""
    traffic = deck.traffic
    assert traffic is not None
    trains = {vehicle for kind in model.kinds for vehicle in kind.vehicles}
    width = traffic.carriageway[1] - traffic.carriageway[0]
    if traffic.offsets is not None:
        places = float(len(traffic.offsets))
    else:
        places = width / (traffic.lateral_step or width) + 2.0
    strips = 2.0 * width
    length = float(np.ptp(deck.plan.outline[:, 0]))
    loads = sum(len(spreads(v)) * _positions(deck, v) for v in trains) + strips * 2.0 * length
    return len({kind.vehicles for kind in model.kinds}) * places + strips, loads


def _bytes(value: float) -> str:
    return f"{value / 1e9:.3g} GB" if value >= 1e9 else f"{value / 1e6:.3g} MB"


def _time(seconds: float) -> str:
    for unit, length in (("days", 86400.0), ("h", 3600.0), ("min", 60.0)):
        if seconds >= 2.0 * length:
            return f"{seconds / length:.3g} {unit}"
    return f"{seconds:.3g} s"
