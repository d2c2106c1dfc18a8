"""The multiplier of a vehicle, over its load positions, or of a load model, over its worst
arrangements, at which the slab collapses in bending.

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
    live_load,
    permanent_load,
    plastic_slab,
)
from pipelines.bars.collapse.standing import (
    Standing,
    evenly,
    load_model_of,
    standing_arrangements,
    standing_vehicles,
    vehicle_positions,
)
from pipelines.deck.deck import Deck
from pipelines.deck.reinforcement import DesignBasis
from pipelines.errors import JobError
from pipelines.standards.actions.combinations import Combination, combination
from pipelines.standards.actions.load_models import counts_under
from pipelines.standards.detailing.ductility import ductile_steel, hinge_rows
from pipelines.standards.detailing.rules import Row
from plate.errors import CollapseError
from plate.plastic.collapse import GAP, Collapse, collapse, safe_multiplier
from plate.plastic.slab import PlasticLoad
from plate.plastic.triangles import Triangles

Progress = Callable[[str, int, int], None]

BRITTLE = (Check.SHEAR, Check.PUNCHING)


@dataclass(frozen=True, kw_only=True)
class Wanted:
    """What is asked for.

    vehicle : its name, "" = the first. load_model : its name, in place of a vehicle, "" = none.
    at : station and offset of the vehicle's first axle [m], None = all positions, no more than
    `positions` of them, evenly chosen. beams : plastic moments by line.
    standard : "" = the first of the deck file's. gap : between the bounds, as a share. worst : how
    many positions are looked at between both bounds.
    """

    vehicle: str = ""
    load_model: str = ""
    at: tuple[float, float] | None = None
    reverse: bool = False
    beams: Mapping[str, BeamStrength]
    standard: str = ""
    gap: float = GAP
    positions: int = 1000
    worst: int = 3


@dataclass(frozen=True, kw_only=True)
class Bounded:
    """A position, or an arrangement. safe : certified lower bound on triangles as they come, NaN
    where none was found; found : both bounds, None where it was not looked at closer."""

    standing: Standing
    safe: float
    found: Collapse | None = None

    @property
    def words(self) -> str:
        """Where the traffic stands, as it is entered again."""
        return self.standing.at.words

    @property
    def lower(self) -> float:
        """The largest lower bound that is known."""
        return self.safe if self.found is None else float(np.fmax(self.safe, self.found.lower))


@dataclass(frozen=True, kw_only=True)
class Brittle:
    """What a brittle check comes to under the traffic of the deck file with its factors.

    utilisation : NaN where it is not judged, with the reason in `why`; limit : multiplier of the
    traffic below which it is met, on the safe side, NaN where the check is not met as it is.
    """

    check: Check
    utilisation: float
    limit: float
    place: str
    why: str = ""


@dataclass(frozen=True, kw_only=True)
class CollapseLoad:
    """What was found. traffic : name of the vehicle or load model. positions : in order of their
    safe bounds, the least first; of : how many of this vehicle's positions have a wheel on the
    slab, or how many arrangements govern its elastic values. rows : ductility. brittle : empty
    where it was not asked for. first : elastic first yield at the governing position."""

    deck: Deck
    basis: DesignBasis
    combination: Combination
    wanted: Wanted
    traffic: str
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
    """Bounds of the multiplier of a vehicle or load model, without the brittle checks
    (`brittle_checks`).

    progress : called with the stage, the load positions that are done and those there are.

    Raises
    ------
    JobError
        What is missing or not known; CoverageError for what is not covered.
    CollapseError
        A dead load that is not carried, bounds that are not certified.
    """
    check_covered(deck, wanted.beams)
    basis = _basis(deck, wanted)
    factors = combination(basis.materials.factors, "ULS")
    assert factors is not None
    slab = plastic_slab(deck, basis, wanted.beams)
    chosen, count = _standings(deck, wanted, slab.triangles)
    dead = permanent_load(deck, factors, slab.triangles)
    found: list[Bounded] = []
    for k, standing in enumerate(chosen):
        if progress is not None:
            progress("safe bounds", k, len(chosen))
        safe = float("nan")
        if len(chosen) > 1:
            try:
                safe = safe_multiplier(slab, _live(deck, slab.triangles, standing), dead)
            except CollapseError:
                safe = float("nan")
        found.append(Bounded(standing=standing, safe=safe))
    # What has no safe bound is looked at first.
    found.sort(key=lambda one: (not np.isnan(one.safe), one.safe))
    missing = sum(bool(np.isnan(one.safe)) for one in found)
    closer = max(wanted.worst, missing) if len(found) > 1 else 1
    for k, one in enumerate(found[:closer]):
        if progress is not None:
            progress("both bounds", k, min(closer, len(found)))
        load = _live(deck, slab.triangles, one.standing)
        try:
            found[k] = replace(one, found=collapse(slab, load, dead, gap=wanted.gap))
        except CollapseError as error:
            raise CollapseError(f"{one.words}: {error}") from error
    bars = deck.required_reinforcement.bars
    worst = _governing(found)
    return CollapseLoad(
        deck=deck,
        basis=basis,
        combination=factors,
        wanted=wanted,
        traffic=wanted.load_model or chosen[0].vehicles[0].vehicle,
        positions=tuple(found),
        of=count,
        rows=hinge_rows(bars, basis.materials),
        ductile=ductile_steel(basis.materials),
        brittle=(),
        first=first_yield(deck, factors, worst.standing.patches, bar_resistances(deck, basis)),
    )


def _live(deck: Deck, triangles: Triangles, standing: Standing) -> PlasticLoad:
    return live_load(deck, triangles, standing.wheels, standing.spread)


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


def _basis(deck: Deck, wanted: Wanted) -> DesignBasis:
    """Of the standard that is asked for, else the first under which the traffic counts."""
    by_name = {str(b.materials.standard): b for b in deck.required_reinforcement.bases}
    standard, traffic = wanted.standard, wanted.load_model or wanted.vehicle
    if standard and standard not in by_name:
        raise JobError(f"--standard {standard}: the deck file has {', '.join(by_name)}")
    for name, basis in by_name.items():
        if standard in ("", name) and counts_under(traffic, basis.materials.standard):
            return basis
    among = standard or ", ".join(by_name)
    raise JobError(f"{traffic} does not count for bars that are checked to {among}")


def _standings(deck: Deck, wanted: Wanted, triangles: Triangles) -> tuple[list[Standing], int]:
    """Where traffic is looked at, and how many of these places have a wheel on the slab."""
    if wanted.load_model:
        every = standing_arrangements(deck, load_model_of(deck, wanted.load_model))
    else:
        runs = vehicle_positions(deck, wanted.vehicle)
        if wanted.at is not None:
            direction = "reverse" if wanted.reverse else "forward"
            run = next((one for one in runs if one.direction == direction), runs[0])
            x, y = wanted.at
            runs = [replace(run, stations=np.array([x]), offsets=np.array([y]))]
        every = standing_vehicles(runs)
    loaded = [one for one in every if _live(deck, triangles, one).patches]
    if not loaded and wanted.at is not None:
        raise JobError(f"--at {wanted.at[0]:g} {wanted.at[1]:g}: no wheel stands on the slab")
    if not loaded:
        name = wanted.load_model or wanted.vehicle or str(deck.path)
        raise JobError(f"{name}: no wheel stands on the slab at any load position")
    return evenly(loaded, wanted.positions), len(loaded)
