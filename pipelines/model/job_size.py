"""How large a job is, before it is begun: cells, load positions, memory and time.

On a grid of lines the cells are counted as the mesh will have them, elsewhere from areas and
lengths. Memory is that of what a run holds at its two fullest moments: with blocks of load
positions under way, and with the richer model of the stated errors being factorised, and that of a
process beside it, where there is one: as much as the program and what a model leaves. Time is that
of one processor. Both are estimates, not bounds; `benchmarks/jobsizes.py` sets them beside whole
runs. A job that cannot fit is refused with the key that makes it smaller.
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import ceil, log2

import numpy as np

from pipelines.deck.deck import Deck
from pipelines.errors import SizeError
from pipelines.model.build import ORDER, PATCH_SHARE, cell_counts, cell_size, richer_size
from pipelines.model.free_mesh import free_cells
from pipelines.model.position_blocks import position_threads
from pipelines.standards.actions.loads import LoadModel, Vehicle
from pipelines.system.machine import free_memory
from pipelines.traffic.positions import dispersed, turn_repeats
from pipelines.traffic.trains import spreads
from plate.conventions import N_FIELDS, RESULTS
from plate.solver.stiffness import BLOCK

# More load positions than this are refused: days, and numbers that no one can look through.
MOST_POSITIONS = 20_000_000
# Share of the free memory that a job may take.
MEMORY_SHARE = 0.85
# What the program itself takes, with the drawings of a report [byte].
PROGRAM = 200e6
# Numbers kept of the factor, per degree of freedom, order and doubling of the cells: measured, 5
# to 7 on meshes of 50 to 5 000 cells.
FACTOR = 6.0
# A model leaves this many times its own size in use, because what its making took is not given
# back to the system at once; and takes this many times its size while it is factorised, where
# fronts and what is kept of them are there side by side.
LEFT, MAKING = 3.0, 2.0
# Numbers kept at a point of a set of envelopes: extremes of some fields with their positions, and
# what coexists, on two sides; of the six results, and of the forms that design moments are made of.
RESULT_NUMBERS = 2 * len(RESULTS) * (2 + len(RESULTS))
FORM_NUMBERS = 2 * 7 * (2 + 3)
# Blocks that runs of load positions begin and do not fill, and that are read meanwhile.
PARTS_OF_BLOCKS = 4
# A job of fewer seconds of one processor does not pay for the start of a process beside it [s].
APART_FROM = 7.5
# Seconds of one processor, measured on decks of 2 100 to 83 000 degrees of freedom: for the program
# and the report; more where beams take part in the walk from strip to plate, and where bars are
# drawn; per degree of freedom of the model, factorised in either theory, walked and drawn; per one
# of the richer model; per one and load position. Fronts wider than so many cells take longer in
# proportion, as dense products do.
START, OVER_BEAMS, OVER_BARS = 4.0, 1.0, 1.0
MODEL_SECONDS, RICHER_SECONDS, POSITION_SECONDS = 1.4e-4, 5e-5, 4e-8
WIDE = 60.0
# A load position takes so many times as long with bars, and a load of a load model so many times,
# whose lanes are put together in every way.
WITH_BARS, IN_MODELS = 2.2, 3.0
# Every value that is stated under a load model has its worst load position searched; that takes
# more among patches askew to the cells: on skew decks (measured with lanes of eight axles), on
# curved ones, on outlines, on those with arcs. A vehicle that drives alone takes a share of that.
SEARCHED = 0.12
ON_SKEWS, ON_CURVES, ON_OUTLINES, ON_ARCS, ALONE = 1.5, 0.24, 0.8, 2.0, 0.25


@dataclass(frozen=True, kw_only=True)
class ModelSize:
    """A model of so many cells of an order.

    narrow : cells across its narrower direction. connected : beams joined to the slab's membrane.
    along_webs : cells along all beams that have a bending rotation of their own, one beam each.
    """

    cells: float
    narrow: float
    order: int
    connected: bool = False
    along_webs: tuple[float, ...] = ()

    @property
    def fields(self) -> int:
        """Degrees of freedom of a node: w and slopes, with the membrane's two where needed."""
        return N_FIELDS + 2 * self.connected

    @property
    def degrees_of_freedom(self) -> float:
        """The degrees of freedom of all nodes, and of beams with a bending rotation of their
        own."""
        long = self.cells / self.narrow
        own = sum(self.order * cells + 1 for cells in self.along_webs)
        return self.fields * (self.order * self.narrow + 1) * (self.order * long + 1) + own

    @property
    def points(self) -> float:
        """Points at which fields are given."""
        return self.cells * max(2, self.order - 1) ** 2

    @property
    def matrices(self) -> float:
        """Element matrices [byte]."""
        nodes = (self.order + 1) ** 2
        return 8.0 * self.cells * ((N_FIELDS * nodes) ** 2 + self.connected * (2 * nodes) ** 2)

    @property
    def factor(self) -> float:
        """The factor of a nested dissection [byte]: once parts are as wide as the model is narrow
        their separators grow no longer."""
        doublings = max(1.0, log2(min(self.cells, 4.0 * self.narrow**2)))
        share = self.fields / N_FIELDS
        return 8.0 * FACTOR * self.order * self.degrees_of_freedom * doublings * share

    @property
    def front(self) -> float:
        """How much longer its widest fronts make the work of a degree of freedom."""
        return max(1.0, self.narrow / WIDE)

    @property
    def operators(self) -> float:
        """Operators from displacements to results [byte]."""
        lattice = (max(2, self.order - 1) + 1) ** 2
        return 8.0 * self.cells * len(RESULTS) * lattice * N_FIELDS * (self.order + 1) ** 2


@dataclass(frozen=True, kw_only=True)
class JobSize:
    """What a job will about need.

    cells, degrees of freedom, load positions; memory [byte]; seconds of one processor. apart :
    whether some of it is to be done in a process beside (`pipelines.system.beside`).
    """

    cells: int
    degrees_of_freedom: int
    load_positions: int
    memory: float
    seconds: float
    apart: bool

    @property
    def words(self) -> str:
        """The size of the job in one line."""
        return (
            f"about {_count(self.cells)} cells, {_count(self.degrees_of_freedom)} degrees of "
            f"freedom, {_count(self.load_positions)} load positions, {_bytes(self.memory)} of "
            f"memory, {_time(self.seconds)} of one processor"
        )


def job_size(deck: Deck, workers: int | None = None, *, tolerances: bool = True) -> JobSize:
    """Estimate of a deck's job.

    workers : threads of the load positions, by default as in `position_threads`; tolerances :
    whether numerical tolerances are wanted.
    """
    workers = position_threads(workers)
    order = deck.mesh.order or ORDER
    size, _ = cell_size(deck)
    own, richer = _model(deck, size, order), _model(deck, richer_size(deck, size), order + 1)
    bars = deck.reinforcement is not None
    positions = loads = envelopes = trains = 0.0
    if deck.traffic is not None:
        vehicles, models = deck.traffic.vehicles, deck.traffic.load_models
        positions = sum(_positions(deck, vehicle) for vehicle in vehicles)
        envelopes = RESULT_NUMBERS * (1.0 + len(vehicles) + len(models))
        for model in models:
            sets, count = _model_loads(deck, model)
            loads += count
            # One model after the other.
            trains = max(trains, sets * (RESULT_NUMBERS + bars * FORM_NUMBERS))
    kept = 8.0 * (envelopes * own.points + 5.0 * (positions + loads))
    held = own.matrices + own.factor + own.operators
    in_flight = own.degrees_of_freedom + bars * len(RESULTS) * own.points
    blocks = 8.0 * trains * own.points
    if positions + loads:
        # No more than there are, a part of one for each vehicle, direction and case besides.
        there = (positions + loads) / BLOCK + PARTS_OF_BLOCKS
        blocks += 8.0 * BLOCK * min(2 * workers + 1, there) * in_flight
    making = MAKING * (richer.matrices + richer.factor) if tolerances else 0.0
    beams = any(line.beam is not None for line in deck.lines)
    seconds = START + OVER_BEAMS * beams + OVER_BARS * bars
    seconds += MODEL_SECONDS * own.degrees_of_freedom * own.front
    seconds += RICHER_SECONDS * richer.degrees_of_freedom * richer.front * tolerances
    times = positions * (WITH_BARS if bars else 1.0) + IN_MODELS * loads
    seconds += POSITION_SECONDS * own.degrees_of_freedom * times
    if tolerances and deck.traffic is not None:
        askew = _askew_seconds(deck)
        searches = len(models) * (SEARCHED + askew) + ALONE * len(vehicles) * askew
        seconds += _stated(deck) * searches
    apart = tolerances and workers > 1 and seconds >= APART_FROM
    return JobSize(
        cells=int(own.cells),
        degrees_of_freedom=int(own.degrees_of_freedom),
        load_positions=int(positions + loads),
        memory=PROGRAM
        + kept
        + max(LEFT * held + making, held + blocks)
        + apart * (PROGRAM + LEFT * held),
        seconds=seconds,
        apart=apart,
    )


def _stated(deck: Deck) -> int:
    """Values that are stated of a case of traffic: the largest and smallest of six results over
    the deck and at every place asked for by name, of two at every beam."""
    beams = sum(line.beam is not None for line in deck.lines)
    return 2 * (len(RESULTS) * (1 + len(deck.probes)) + 2 * beams)


def _askew_seconds(deck: Deck) -> float:
    """What one of them takes more than on a straight grid."""
    if deck.plan.is_mapped:
        curved = 0.0 if deck.plan.alignment.straight else ON_CURVES
        return curved + (ON_SKEWS if deck.plan.skew else 0.0)
    arcs = any(curve.sweep for ring in deck.plan.boundary for curve in ring)
    return ON_ARCS if arcs else ON_OUTLINES


def check_job_size(
    deck: Deck,
    workers: int | None = None,
    free: Callable[[], float] | None = None,
    *,
    tolerances: bool = True,
) -> JobSize:
    """The estimate.

    free : memory that may be taken [byte], what the system has free by default.

    Raises SizeError where the job cannot fit: too many load positions, or more memory than is free.
    """
    size = job_size(deck, workers, tolerances=tolerances)
    if size.load_positions > MOST_POSITIONS:
        raise SizeError(
            f"{deck.path}: too large a job, {size.words}; at most {MOST_POSITIONS:.3g} load "
            f"positions are allowed: make {_steps(deck)} larger"
        )
    limit = MEMORY_SHARE * (free or free_memory)()
    if size.memory > limit:
        used, _ = cell_size(deck)
        raise SizeError(
            f"{deck.path}: too large a job, {size.words}; {_bytes(limit)} may be taken: make "
            f"[mesh] size_m larger than the {used:.3g} m used, or [mesh] order lower than "
            f"{deck.mesh.order or ORDER}"
        )
    return size


def _steps(deck: Deck) -> str:
    """The keys that set how many load positions there are, with their values."""
    traffic = deck.required_traffic
    step = f"[traffic] step_m = {traffic.step:g}"
    return (
        step
        if traffic.lateral_step is None
        else (f"{step} or lateral_step_m = {traffic.lateral_step:g}")
    )


def _model(deck: Deck, size: float, order: int) -> ModelSize:
    """The model of the deck with cells of that largest side [m]."""
    connected = any(line.beam is not None and line.beam.connection > 0.0 for line in deck.lines)
    webs = [line for line in deck.lines if line.beam is not None and line.beam.Av is not None]
    if deck.plan.is_mapped:
        along, across = cell_counts(deck, size)
        n = along * across
        beside = tuple(
            float(across if w.name[0] == "C" or w.name in ("start", "end") else along) for w in webs
        )
        return ModelSize(
            cells=float(n),
            narrow=min(along, across),
            order=order,
            connected=connected,
            along_webs=beside,
        )
    cells = free_cells(deck, size, PATCH_SHARE)
    return ModelSize(
        cells=cells,
        narrow=cells**0.5,
        order=order,
        connected=connected,
        along_webs=len(webs) * (cells**0.5,),
    )


def _positions(deck: Deck, vehicle: Vehicle) -> float:
    """Load positions of a vehicle, none left out."""
    traffic = deck.required_traffic
    patches = [dispersed(axle.patch, traffic, deck.slab.thickness)[0] for axle in vehicle.axles]
    length = float(np.ptp(deck.slab_limits[:, 0])) + max(a.at for a in vehicle.axles)
    stations = (length + max(patches)) / traffic.step
    if traffic.offsets is not None:
        offsets = len(traffic.offsets)
    else:
        assert traffic.lateral_step is not None
        low, high = traffic.offset_range(vehicle)
        offsets = ceil(max(high - low, 0.0) / traffic.lateral_step) + 1
    both = traffic.directions == "both" and not turn_repeats(vehicle, traffic, deck.course)
    return float(ceil(stations) * offsets * (2 if both else 1))


def _model_loads(deck: Deck, model: LoadModel) -> tuple[float, float]:
    """Trains' offsets and strips of a load model for which fields are kept, and its loads."""
    traffic = deck.required_traffic
    trains = {vehicle for kind in model.kinds for vehicle in kind.vehicles}
    width = traffic.carriageway[1] - traffic.carriageway[0]
    if traffic.offsets is not None:
        places = float(len(traffic.offsets))
    else:
        places = width / (traffic.lateral_step or width) + 2.0
    strips = 2.0 * width if model.has_pressure else 0.0
    length = float(np.ptp(deck.slab_limits[:, 0]))
    loads = sum(len(spreads(v)) * _positions(deck, v) for v in trains) + strips * 2.0 * length
    return len({kind.vehicles for kind in model.kinds}) * places + strips, loads


def _count(value: float) -> str:
    return f"{value:,}" if value < 1e7 else f"{value:.3g}"


def _bytes(value: float) -> str:
    return f"{_figures(1e-9 * value)} GB" if value >= 1e9 else f"{_figures(1e-6 * value)} MB"


def _time(seconds: float) -> str:
    for unit, length in (("days", 86400.0), ("h", 3600.0), ("min", 60.0)):
        if seconds >= 2.0 * length:
            return f"{_figures(seconds / length)} {unit}"
    return f"{_figures(seconds)} s"


def _figures(value: float) -> str:
    """Three figures at least."""
    return f"{value:.3g}" if value < 1e3 else f"{value:,.0f}"
