"""The multiplier of one vehicle at which the slab collapses in bending, over its load positions.

A safe bound of every position that is looked at, on triangles as they come; then the worst few
between two bounds. What is smaller, the multiplier of a brittle check or that of bending, is what
counts: plastic moments need sections that turn, not slabs that break in shear before.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipelines.bars.adequacy import Adequacy, Check, StandardVerdict
from pipelines.bars.collapse.first_yield import FirstYield, first_yield
from pipelines.bars.collapse.plastic_deck import (
    BeamStrength,
    bar_resistances,
    check_covered,
    permanent_load,
    plastic_slab,
    vehicle_load,
)
from pipelines.deck.deck import Deck
from pipelines.deck.reinforcement import DesignBasis
from pipelines.errors import CoverageError, JobError
from pipelines.standards.actions.combinations import Combination, combination
from pipelines.standards.detailing.ductility import ductile_steel, hinge_rows
from pipelines.standards.detailing.rules import Row
from pipelines.traffic.arrangements import LoadPosition
from pipelines.traffic.positions import LoadPositions, load_positions
from plate.errors import CollapseError
from plate.plastic.collapse import GAP, Collapse, collapse, safe_multiplier
from plate.plastic.triangles import Triangles

Progress = Callable[[str, int, int], None]

BRITTLE = (Check.SHEAR, Check.PUNCHING)


@dataclass(frozen=True, kw_only=True)
class Wanted:
    """What is asked for.

    vehicle : its name, "" = the first. at : station and offset of its first axle [m], None = all
    positions, no more than `positions` of them, evenly chosen. beams : plastic moments by line.
    standard : "" = the first of the deck file's. gap : between the bounds, as a share. worst : how
    many positions are looked at between both bounds.
    """

    vehicle: str = ""
    at: tuple[float, float] | None = None
    reverse: bool = False
    beams: Mapping[str, BeamStrength]
    standard: str = ""
    gap: float = GAP
    positions: int = 1000
    worst: int = 3


@dataclass(frozen=True, kw_only=True)
class Bounded:
    """A position. safe : certified lower bound on triangles as they come, NaN where none was found;
    found : both bounds, None where it was not looked at closer."""

    position: LoadPosition
    run: LoadPositions
    number: int
    safe: float
    found: Collapse | None = None

    @property
    def lower(self) -> float:
        """The largest lower bound that is known."""
        return self.safe if self.found is None else float(np.fmax(self.safe, self.found.lower))


@dataclass(frozen=True, kw_only=True)
class Brittle:
    """What a brittle check comes to under the traffic of the deck file with its factors.

    utilisation : NaN where it is not judged, with the reason in `why`; limit : multiplier of the
    vehicle below which it is met, on the safe side, NaN where the check is not met as it is.
    """

    check: Check
    utilisation: float
    limit: float
    place: str
    why: str = ""


@dataclass(frozen=True, kw_only=True)
class CollapseLoad:
    """What was found. positions : in order of their safe bounds, the least first; of : how many
    of this vehicle's positions have a wheel on the slab. rows : ductility. brittle : empty where it
    was not asked for. first : elastic first yield at the governing position."""

    deck: Deck
    basis: DesignBasis
    combination: Combination
    wanted: Wanted
    vehicle: str
    positions: tuple[Bounded, ...]
    of: int
    rows: tuple[Row, ...]
    ductile: bool | None
    brittle: tuple[Brittle, ...]
    first: FirstYield

    @property
    def governing(self) -> Bounded:
        """The position with the smallest lower bound of those between two bounds."""
        return _governing(self.positions)

    @property
    def safe(self) -> float:
        """Lower bound of all positions that were looked at."""
        return float(min(one.lower for one in self.positions))

    @property
    def counts(self) -> float:
        """The smaller of bending at collapse and the brittle checks; NaN where one of these is not
        met or not judged."""
        limits = [one.limit for one in self.brittle]
        return float("nan") if np.any(np.isnan(limits)) else float(min([self.safe, *limits]))


def collapse_load(deck: Deck, wanted: Wanted, progress: Progress | None = None) -> CollapseLoad:
    """Bounds of the multiplier of a vehicle, without the brittle checks (`brittle_checks`).

    progress : called with the stage, the load positions that are done and those there are.

    Raises
    ------
    JobError
        What is missing or not known; CoverageError for what is not covered.
    CollapseError
        A dead load that is not carried, bounds that are not certified.
    """
    check_covered(deck, wanted.beams)
    basis = _basis(deck, wanted.standard)
    factors = combination(basis.materials.factors, "ULS")
    assert factors is not None
    slab = plastic_slab(deck, basis, wanted.beams)
    chosen, count = _positions(deck, wanted, slab.triangles)
    dead = permanent_load(deck, factors)
    found: list[Bounded] = []
    for k, (run, number) in enumerate(chosen):
        if progress is not None:
            progress("safe bounds", k, len(chosen))
        safe = float("nan")
        if len(chosen) > 1:
            try:
                safe = safe_multiplier(slab, vehicle_load(deck, slab.triangles, run, number), dead)
            except CollapseError:
                safe = float("nan")
        position = LoadPosition(
            vehicle=run.vehicle.name,
            direction=run.direction,
            station=float(run.stations[number]),
            offset=float(run.offsets[number]),
        )
        found.append(Bounded(position=position, run=run, number=number, safe=safe))
    # What has no safe bound is looked at first.
    found.sort(key=lambda one: (not np.isnan(one.safe), one.safe))
    missing = sum(bool(np.isnan(one.safe)) for one in found)
    closer = max(wanted.worst, missing) if len(found) > 1 else 1
    for k, one in enumerate(found[:closer]):
        if progress is not None:
            progress("both bounds", k, min(closer, len(found)))
        load = vehicle_load(deck, slab.triangles, one.run, one.number)
        try:
            found[k] = replace(one, found=collapse(slab, load, dead, gap=wanted.gap))
        except CollapseError as error:
            raise CollapseError(f"{one.position.words}: {error}") from error
    bars = deck.required_reinforcement.bars
    worst = _governing(found)
    return CollapseLoad(
        deck=deck,
        basis=basis,
        combination=factors,
        wanted=wanted,
        vehicle=chosen[0][0].vehicle.name,
        positions=tuple(found),
        of=count,
        rows=hinge_rows(bars, basis.materials),
        ductile=ductile_steel(basis.materials),
        brittle=(),
        first=first_yield(deck, factors, worst.run, worst.number, bar_resistances(deck, basis)),
    )


def _governing(positions: Sequence[Bounded]) -> Bounded:
    closer = [one for one in positions if one.found is not None]
    return min(closer, key=lambda one: one.lower)


def brittle_checks(
    verdicts: Sequence[StandardVerdict], basis: DesignBasis, factors: Combination
) -> tuple[Brittle, ...]:
    """Shear and punching as they were judged under all traffic of the deck file, with its factors.

    Permanent loads are in the utilisation u, which is at most linear in the traffic: where u <= 1,
    u is met up to 1/u of the factored traffic at least.
    """
    standard = basis.materials.standard
    verdict = next(one for one in verdicts if one.standard == standard)
    found = []
    for check in BRITTLE:
        judged = [one for one in verdict.judgements if one.check is check]
        if not judged or judged[0].worst is None:
            why = judged[0].reason if judged else "not among the checks of this standard"
            nan = float("nan")
            found.append(Brittle(check=check, utilisation=nan, limit=nan, place="", why=why))
            continue
        worst = judged[0].worst
        met = judged[0].adequacy is not Adequacy.NOT_ADEQUATE and worst.met
        limit = factors.traffic / max(worst.utilisation, 1e-9) if met else float("nan")
        found.append(
            Brittle(check=check, utilisation=worst.utilisation, limit=limit, place=worst.place)
        )
    return tuple(found)


def _basis(deck: Deck, standard: str) -> DesignBasis:
    bases = deck.required_reinforcement.bases
    names = [basis.materials.standard for basis in bases]
    if not standard:
        return bases[0]
    if standard not in names:
        raise JobError(f"--standard {standard}: the deck file has {', '.join(names)}")
    return bases[[str(name) for name in names].index(standard)]


def _positions(
    deck: Deck, wanted: Wanted, triangles: Triangles
) -> tuple[list[tuple[LoadPositions, int]], int]:
    """The positions to be looked at, and how many of the vehicle's have a wheel on the slab."""
    if deck.traffic is None or not deck.traffic.vehicles:
        raise JobError(f"{deck.path}: a collapse load needs a vehicle, [traffic] in the deck file")
    runs = load_positions(deck)
    names = list(dict.fromkeys(run.vehicle.name for run in runs))
    name = wanted.vehicle or names[0]
    if name not in names:
        raise JobError(f"--vehicle {name}: the deck file has {', '.join(names)}")
    mine = [run for run in runs if run.vehicle.name == name]
    if any(run.spreads is not None for run in mine) or mine[0].vehicle.variable is not None:
        raise CoverageError(f"{name} has a variable spacing: its collapse load is not covered")
    if wanted.at is not None:
        direction = "reverse" if wanted.reverse else "forward"
        run = next((one for one in mine if one.direction == direction), mine[0])
        run = _at(run, wanted.at)
        if not vehicle_load(deck, triangles, run, 0).patches:
            raise JobError(f"--at {wanted.at[0]:g} {wanted.at[1]:g}: no wheel stands on the slab")
        return [(run, 0)], 1
    every = [(run, k) for run in mine for k in range(len(run))]
    loaded = [(run, k) for run, k in every if vehicle_load(deck, triangles, run, k).patches]
    if not loaded:
        raise JobError(f"{name}: no wheel stands on the slab at any load position")
    if len(loaded) <= wanted.positions:
        return loaded, len(loaded)
    numbers = np.linspace(0, len(loaded) - 1, wanted.positions).astype(int)
    return [loaded[k] for k in numbers], len(loaded)


def _at(run: LoadPositions, place: tuple[float, float]) -> LoadPositions:
    return replace(run, stations=np.array([place[0]]), offsets=np.array([place[1]]))
