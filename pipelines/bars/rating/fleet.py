"""Reads a fleet file (TOML): the vehicles that are rated on a deck, and the levels of rating."""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from pipelines.bars.rating.fleet_schema import FleetTable, PermitTable
from pipelines.deck.deck import Deck
from pipelines.deck.reading.loads import own_vehicles
from pipelines.deck.reading.mistakes import Mistakes, nearest, validated
from pipelines.deck.reading.own import vehicles_given
from pipelines.deck.reading.toml import read_toml
from pipelines.deck.traffic import SAME
from pipelines.standards.actions.loads import LoadModel, Vehicle
from pipelines.standards.actions.vehicles import library
from pipelines.standards.sources import Source, Standard

WHERE = "fleet"


@dataclass(frozen=True, kw_only=True)
class Level:
    """A level of rating: `gamma` on the traffic at the ultimate limit state; permit : whether it is
    for permit vehicles, not for load models."""

    name: str
    standard: Standard
    gamma: float
    source: str
    permit: bool = False


LRFR = Source(None, "AASHTO Manual for Bridge Evaluation, table 6A.4.2.2-1, strength I")
PERMIT = Source(None, "AASHTO Manual for Bridge Evaluation, table 6A.4.5.4.2a-1, strength II")
LEVELS = (
    Level(name="inventory", standard="AASHTO LRFD", gamma=1.75, source=str(LRFR)),
    Level(name="operating", standard="AASHTO LRFD", gamma=1.35, source=str(LRFR)),
    # of those the one for a vehicle that no other traffic is beside
    Level(
        name="permit, escorted, one trip",
        standard="AASHTO LRFD",
        gamma=1.1,
        source=str(PERMIT),
        permit=True,
    ),
)


@dataclass(frozen=True)
class Permit:
    """A vehicle and the offsets [m] between which its centre line may run, None = all of them.

    beside : name of the load model of the deck file whose lanes stand beside it, None = alone;
    factors : on their axles and distributed loads, None = frequent values.
    """

    vehicle: Vehicle
    path: tuple[float, float] | None = None
    beside: str | None = None
    factors: tuple[float, float] | None = None


@dataclass(frozen=True)
class Fleet:
    """The vehicles of a fleet file, levels beside the deck's own factors, and the names of load
    models of the deck file."""

    permits: tuple[Permit, ...]
    levels: tuple[Level, ...] = LEVELS
    models: tuple[str, ...] = ()

    @classmethod
    def of_deck(cls, deck: Deck) -> "Fleet":
        """The deck's own traffic: its vehicles and those of its load models that are not for
        fatigue alone."""
        traffic = deck.traffic
        if traffic is None:
            return cls(())
        models = tuple(model.name for model in traffic.load_models if not model.fatigue)
        return cls(tuple(Permit(vehicle) for vehicle in traffic.vehicles), models=models)

    def load_models(self, deck: Deck, mistakes: Mistakes) -> tuple[LoadModel, ...]:
        """Those of the deck with a mistake for each that it has not."""
        there = {model.name: model for model in deck.required_traffic.load_models}
        for name in self.models:
            if name not in there:
                told = "is not among [traffic] load_models of the deck file"
                mistakes.add(f"{WHERE}, load_models", name, f"{told}, {nearest(name, there)}")
            elif there[name].fatigue:
                told = "is for fatigue alone, which is rated by itself"
                mistakes.add(f"{WHERE}, load_models", name, told)
        return tuple(there[name] for name in dict.fromkeys(self.models) if name in there)


def read_fleet(path: Path, deck: Deck | None = None) -> Fleet:
    """A fleet; deck : whose vehicles it may name, those of its own code among them.

    Raises DeckError with every mistake of the fleet file.
    """
    data = read_toml(str(path))
    mistakes = Mistakes(str(path))
    table = validated(FleetTable, data, WHERE, mistakes)
    mistakes.raise_if_any()
    assert table is not None, "a table is missing without a mistake"
    known = {**library, **_of_deck(deck)}
    tables = [(f"[[vehicle]] {k}", one) for k, one in enumerate(table.vehicle or [], start=1)]
    own = own_vehicles(tables, mistakes)
    named = [(f"{WHERE}, vehicles {k}", n) for k, n in enumerate(table.vehicles or [], start=1)]
    asked = [(f"[[permit]] {k}", one) for k, one in enumerate(table.permit or [], start=1)]
    for where, name in (*named, *((f"{where}, name", one.name) for where, one in asked)):
        if name not in known:
            mistakes.add(where, name, f"unknown vehicle, {nearest(name, known)}")
    permits = [Permit(known[name]) for _, name in named if name in known]
    taken = {name for _, name in named} | {one.name for _, one in asked}
    for where, one in tables:
        if one.name in taken:
            mistakes.add(f"{where}, name", one.name, "is among `vehicles` or [[permit]], too")
    for where, permit, vehicle in (
        *((where, one, known.get(one.name)) for where, one in asked),
        *((where, one, own.get(one.name)) for where, one in tables),
    ):
        _check_permit(where, permit, mistakes)
        if vehicle is not None:
            band, factors = permit.offsets_m, permit.beside_factors
            permits.append(
                Permit(
                    vehicle,
                    None if band is None else (band[0], band[1]),
                    permit.beside,
                    None if factors is None else (factors[0], factors[1]),
                )
            )
    models = tuple(table.load_models or ())
    if not named and not asked and not tables and not models:
        told = "names no vehicle: vehicles, [[permit]], [[vehicle]] or load_models is missing"
        mistakes.add(WHERE, None, told)
    mistakes.raise_if_any()
    levels = [
        Level(name=one.name, standard=one.standard, gamma=one.gamma, source=path.name)
        for one in table.level or []
    ]
    return Fleet(tuple(permits), (*LEVELS, *levels), models)


def _check_permit(where: str, table: PermitTable, mistakes: Mistakes) -> None:
    """What a path and the factors of lanes beside it must be."""
    band, factors = table.offsets_m, table.beside_factors
    if factors is not None and not (0.0 < factors[0] <= 1.0 and 0.0 <= factors[1] <= 1.0):
        told = "must be above 0 and up to 1, then 0 to 1"
        mistakes.add(f"{where}, beside_factors", factors, told)
    if band is not None and band[0] > band[1]:
        mistakes.add(f"{where}, offsets_m", band, "the second must not be less than the first")


def _of_deck(deck: Deck | None) -> dict[str, Vehicle]:
    """Vehicles of the deck file by name: those that drive, and all that its own code gives."""
    if deck is None:
        return {}
    given = vehicles_given(deck.own, Mistakes(deck.path))
    own = own_vehicles(given, Mistakes(deck.path))
    driving = () if deck.traffic is None else deck.traffic.vehicles
    sound = {name: one for name, one in own.items() if one is not None}
    return sound | {one.name: one for one in driving}


def driven(deck: Deck, permit: Permit, mistakes: Mistakes) -> Deck | None:
    """The deck with that vehicle as its only traffic, on its path; None with a mistake where the
    path leaves the carriageway."""
    traffic = deck.required_traffic
    offsets = traffic.offsets
    low, high = traffic.offset_range(permit.vehicle)
    where = f"vehicle {permit.vehicle.name}"
    if low > high:
        told = f"with its clearances is {low - high:.3g} m wider than the carriageway"
        mistakes.add(where, None, told)
        return None
    if permit.path is not None:
        a, b = permit.path
        if a < low - SAME or b > high + SAME:
            told = f"allowed is {low:.3g} to {high:.3g} m on this carriageway"
            mistakes.add(f"{where}, offsets_m", list(permit.path), told)
            return None
        step = traffic.lateral_step or 0.25
        offsets = tuple(np.unique(np.linspace(a, b, int(np.ceil((b - a) / step - SAME)) + 1)))
    alone = replace(
        traffic,
        vehicles=(permit.vehicle,),
        load_models=(),
        offsets=offsets,
        lateral_step=None if offsets is not None else traffic.lateral_step,
    )
    return replace(deck, traffic=alone)
