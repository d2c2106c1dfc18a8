"""What to measure on site, where, and the largest deviation that still passes every check.

The limits are those of the as-built check of panels that are read as drawn: one quantity at a time
is changed until a check fails, under the demands found for the panel. A panel whose readings come
to these values is judged by the same functions.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
import shapely

from pipelines.bars.adequacy import Check
from pipelines.bars.checks.as_built import PanelCheck
from pipelines.bars.design import Design
from pipelines.deck.as_built import AsBuilt, as_built
from pipelines.deck.deck import Deck
from pipelines.deck.panels import Panels
from pipelines.deck.reinforcement import Reinforcement, Survey
from pipelines.deck.survey import Key, PanelReadings
from pipelines.deck.thicknesses import Thicknesses, as_drawn
from pipelines.deck.words import place
from pipelines.errors import JobError
from pipelines.model.responses import SolvedDeck
from pipelines.standards.detailing.tolerances import (
    Tolerance,
    cover_tolerance,
    diameter_tolerance,
    thickness_tolerance,
)
from pipelines.standards.resistance.bars import (
    FACES,
    LAYERS,
    Bars,
    Direction,
    Face,
    Layer,
    SlabBars,
    other_direction,
    place_of,
)
from pipelines.standards.sources import Standard
from plate.arrays import Floats
from plate.geometry.outline import DRAWN, region

FILE = "inspection.csv"
# How far from an edge of the slab is measured; places nearer to each other are one [m].
INSIDE, SAME = 0.10, 0.30
SEVERAL = (
    "The slab has several thicknesses in this panel: a reading of it counts by how far it is off "
    "the drawing at its place, which it must state."
)
# Places are told to so many decimals of a metre.
DECIMALS = 3


@dataclass(frozen=True)
class Limit:
    """A value [m] that just passes every check, None where none does; stops : the check that fails
    first beyond it and its standard, None where none does as far as is looked."""

    value: float | None
    stops: tuple[Check, Standard] | None


@dataclass(frozen=True, kw_only=True)
class Place:
    """Where to measure. number : in its panel; at : plan point [m]; words : bay or line; why : it
    is measured there."""

    number: int
    at: tuple[float, float]
    words: str
    why: str


@dataclass(frozen=True, kw_only=True)
class Measured:
    """A length to measure. places : numbers of places; drawn [m]; tolerance : the narrowest of the
    standards', None where none states one; least, most : None where it may be any."""

    key: Key
    places: tuple[int, ...]
    drawn: float
    tolerance: Tolerance | None
    least: Limit | None
    most: Limit | None

    @property
    def tolerance_is_beyond(self) -> bool:
        """Whether what execution may deviate by is more than what passes."""
        if self.tolerance is None:
            return False
        low, high = self.drawn - self.tolerance.less, self.drawn + self.tolerance.more
        return any(
            limit is not None and (limit.value is None or sign * (reach - limit.value) > 1e-9)
            for limit, reach, sign in ((self.least, low, -1.0), (self.most, high, 1.0))
        )


@dataclass(frozen=True, kw_only=True)
class LayerOrder:
    """Which bars lie outermost at a face, by a look. stops : the check that fails first where it is
    the other way round, with its standard."""

    face: Face
    place: int
    drawn: Direction
    stops: tuple[Check, Standard] | None


@dataclass(frozen=True, kw_only=True)
class PanelSheet:
    """What to inspect in a panel; note : what is not on the sheet."""

    panel: str
    places: tuple[Place, ...]
    orders: tuple[LayerOrder, ...]
    measured: tuple[Measured, ...]
    note: str = ""


def read_as_drawn(deck: Deck) -> Deck:
    """The deck with readings equal to the drawing in every panel, those of `[survey]` if the deck
    file has one.

    Raises
    ------
    JobError
        If the deck has no bars.
    """
    reinforcement = deck.reinforcement
    if reinforcement is None:
        raise JobError(f"{deck.path}: the deck file has no bars to inspect")
    stated = reinforcement.survey
    panels = Panels(deck.plan) if stated is None else stated.panels
    value = "mean" if stated is None else stated.value
    bars, thicknesses = reinforcement.bars, Thicknesses.of(deck)
    added = [(one.layer, one.bars) for one in reinforcement.added]
    built = {}
    for name in panels.with_slab:
        number = panels.names.index(name)
        drawn = as_drawn(bars, panels, number, thicknesses)
        readings = drawn_readings(drawn or bars, name, added)
        built[number] = as_built(drawn or bars, readings, value, added)
    survey = Survey(path=FILE, panels=panels, built=built, value=value)
    return replace(deck, reinforcement=replace(reinforcement, survey=survey))


def drawn_readings(
    bars: SlabBars, panel: str, added: Sequence[tuple[Layer, Bars]] = ()
) -> PanelReadings:
    """One reading of every quantity as drawn."""
    found = {Key("thickness"): bars.thickness}
    found |= {Key("cover", face): bars.mat(face).cover for face in FACES}
    for layer in LAYERS:
        found[Key("diameter", *layer)] = bars.bars(layer).diameter
        found[Key("spacing", *layer)] = bars.bars(layer).spacing
    for layer, one in added:
        found[Key("diameter", *layer, one.mark)] = one.diameter
        found[Key("spacing", *layer, one.mark)] = one.spacing
    return PanelReadings(
        panel=panel,
        readings={key: (value,) for key, value in found.items()},
        outer={face: bars.mat(face).outer for face in FACES},
    )


def panel_sheets(solved: SolvedDeck, design: Design) -> tuple[PanelSheet, ...]:
    """Sheets of all panels of a deck that is read as drawn."""
    survey = design.reinforcement.survey
    if survey is None:
        return ()
    places, thicknesses = _Candidates.of(solved, survey), Thicknesses.of(solved.deck)
    found = []
    for number in survey.built:
        # by every standard, and in every part with bars of its own
        panels = [one for of in design.standards for one in of.panels if one.number == number]
        chosen = places.chosen(number, panels)
        name = survey.panels.names[number]
        of = survey.built[number]
        several = len(thicknesses.within(partial(survey.panels.holds, number))) > 1
        found.append(
            _sheet(design.reinforcement, name, panels, chosen, of, thicknesses if several else None)
        )
    return tuple(found)


@dataclass(frozen=True, eq=False, kw_only=True)
class _Candidates:
    """Result points at which may be measured: clear of the edges of the slab."""

    deck: Deck
    survey: Survey
    points: Floats

    @classmethod
    def of(cls, solved: SolvedDeck, survey: Survey) -> "_Candidates":
        deck = solved.deck
        inside = region(deck.plan, DRAWN).buffer(-INSIDE)
        points = np.unique(solved.recovery.points.plan.round(DECIMALS), axis=0)
        points = points[shapely.contains_xy(inside, *points.T)]
        return cls(deck=deck, survey=survey, points=points)

    def chosen(self, number: int, panels: Sequence[PanelCheck]) -> dict[Layer | str | None, Place]:
        """The place of every layer, where it is used most by any standard, that of added bars by
        their mark, and that in the middle of the panel (None)."""
        mine = self.points[self.survey.panels.holds(number, self.points)]
        if not len(mine):
            return {}
        u, y = self.survey.panels.extent(number)
        wanted: dict[Layer | str | None, tuple[Floats, str]] = {
            None: (
                self.deck.plan.at(np.array(sum(u) / 2), np.array(sum(y) / 2)),
                "middle of the panel",
            )
        }
        for layer in LAYERS:
            checks = [c for panel in panels for c in panel.layers if c.layer == layer]
            if checks:
                worst = max(checks, key=lambda check: check.utilisation)
                wanted[layer] = np.array(worst.at), f"{place_of(layer)} used most"
        for layer, one in _sets(panels):
            mine_of = [panel for panel in panels if one in panel.bars.bars(layer).between]
            checks = [c for panel in mine_of for c in panel.layers if c.layer == layer]
            if checks:
                worst = max(checks, key=lambda check: check.utilisation)
                wanted[one.mark] = np.array(worst.at), f"{one.mark} used most"
        found: dict[Layer | str | None, Place] = {}
        for of, (point, why) in wanted.items():
            at = mine[np.hypot(*(mine - point).T).argmin()]
            same = [p for p in found.values() if np.hypot(*(at - p.at)) < SAME]
            if same:
                whole = replace(same[0], why=f"{same[0].why}; {why}")
                found = {k: whole if p == same[0] else p for k, p in found.items()}
                found[of] = whole
                continue
            number_of = len({p.number for p in found.values()}) + 1
            xy = (float(at[0]), float(at[1]))
            words = place(self.deck, xy)
            found[of] = Place(number=number_of, at=xy, words=words, why=why)
        return found


def _sets(panels: Sequence[PanelCheck]) -> list[tuple[Layer, Bars]]:
    """The added bars of a panel with their layers, each once."""
    found = {
        one.mark: (layer, one)
        for panel in panels
        for layer in LAYERS
        for one in panel.bars.bars(layer).between
    }
    return list(found.values())


def _sheet(
    reinforcement: Reinforcement,
    name: str,
    panels: Sequence[PanelCheck],
    places: Mapping[Layer | str | None, Place],
    built: AsBuilt,
    thicknesses: Thicknesses | None,
) -> PanelSheet:
    """thicknesses : of a panel that has several."""

    def numbers(*layers: Layer | str | None) -> tuple[int, ...]:
        return tuple(sorted({places[one].number for one in layers if one in places}))

    bars, sets = reinforcement.bars.at(built.drawn_thickness), _sets(panels)
    added = [(a.layer, a.bars) for a in reinforcement.added]
    drawn = {key: one[0] for key, one in drawn_readings(bars, name, added).readings.items()}

    def measure(key: Key, at: tuple[int, ...]) -> Measured:
        return _measured(bars, drawn[key], panels, key, at)

    measured = []
    for thickness, at in _thick(numbers(*places), places, bars.thickness, thicknesses):
        measured.append(_measured(bars, thickness, panels, Key("thickness"), at))
    orders = []
    for face in FACES:
        outer = bars.mat(face).outer
        order: list[Layer] = [(face, outer), (face, other_direction(outer))]
        at = numbers(None, *order)
        measured.append(measure(Key("cover", face), at))
        for layer in order:
            measured.append(measure(Key("diameter", *layer), numbers(layer)))
            measured.append(measure(Key("spacing", *layer), numbers(None, layer)))
            for mark in (one.mark for of, one in sets if of == layer):
                measured.append(measure(Key("diameter", *layer, mark), numbers(mark)))
                measured.append(measure(Key("spacing", *layer, mark), numbers(mark)))
        stops = [
            (check, panel.basis.materials.standard)
            for panel in panels
            if (check := panel.swapped[face]) is not None
        ]
        orders.append(
            LayerOrder(
                face=face,
                place=next(iter(numbers(order[0])), 0),
                drawn=outer,
                stops=stops[0] if stops else None,
            )
        )
    return PanelSheet(
        panel=name,
        places=tuple(sorted(set(places.values()), key=lambda one: one.number)),
        orders=tuple(orders),
        measured=tuple(measured),
        note="" if thicknesses is None else SEVERAL,
    )


def _thick(
    numbers: tuple[int, ...],
    places: Mapping[Layer | str | None, Place],
    own: float,
    thicknesses: Thicknesses | None,
) -> Iterator[tuple[float, tuple[int, ...]]]:
    """Thicknesses on the drawing [m] with the numbers of the places that have each; own : of a
    panel that has one."""
    if thicknesses is None:
        yield own, numbers
        return
    at = {one.number: one.at for one in places.values()}
    there = thicknesses.at(np.array([at[number] for number in numbers]).reshape(-1, 2)).tolist()
    for thickness in sorted(set(there)):
        yield thickness, tuple(n for n, t in zip(numbers, there, strict=True) if t == thickness)


def _measured(
    bars: SlabBars,
    drawn: float,
    panels: Sequence[PanelCheck],
    key: Key,
    places: tuple[int, ...],
) -> Measured:
    standards = [panel.basis.materials.standard for panel in panels]
    return Measured(
        key=key,
        places=places,
        drawn=drawn,
        tolerance=_narrowest([_tolerance(one, key, bars, drawn) for one in standards]),
        least=_limit(panels, key, drawn, more=False),
        most=_limit(panels, key, drawn, more=True),
    )


def _limit(panels: Sequence[PanelCheck], key: Key, drawn: float, *, more: bool) -> Limit | None:
    """The least deviation of all standards; None where none looks that way."""
    found = [
        (one, panel.basis.materials.standard)
        for panel in panels
        for one in panel.deviations
        if one.key == key and one.more == more
    ]
    if not found:
        return None
    one, standard = min(found, key=lambda pair: pair[0].value)
    stops = None if one.stops is None else (one.stops, standard)
    if not np.isfinite(one.value):
        return Limit(None, stops)
    return Limit(drawn + (one.value if more else -one.value), stops)


def _tolerance(standard: Standard, key: Key, bars: SlabBars, drawn: float) -> Tolerance | None:
    if key.quantity == "thickness":
        return thickness_tolerance(standard, drawn)
    if key.quantity == "cover":
        return cover_tolerance(standard, bars.thickness, drawn)
    return diameter_tolerance(standard, drawn) if key.quantity == "diameter" else None


def _narrowest(found: Sequence[Tolerance | None]) -> Tolerance | None:
    stated = [one for one in found if one is not None]
    return min(stated, key=lambda one: (one.less, one.more), default=None)


def reading_rows(sheet: PanelSheet) -> Iterator[tuple[Place | None, Measured | LayerOrder]]:
    """Every single reading, place by place as one walks."""
    for spot in sheet.places or (None,):
        for order in sheet.orders:
            if spot is None or order.place == spot.number:
                yield spot, order
        for one in sheet.measured:
            if spot is None or spot.number in one.places:
                yield spot, one
