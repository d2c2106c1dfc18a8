"""Bars that a layer may have: a mat everywhere, and bars added along lines or clear of them where
the mat does not suffice, with what they weigh.

A candidate passes in bending, stresses, crack width, fatigue and the rules of its layer by every
standard, each part of the slab by the bars that lie there.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import product

import numpy as np
from numpy.typing import NDArray

from pipelines.bars.checks.bending_and_service import Peaks, mat_rows, resistances
from pipelines.bars.checks.fatigue import fatigue_rows
from pipelines.bars.checks.part import peaks_at
from pipelines.bars.choice.bands import STEP, Added, Band, band_of, bands, bond, shift
from pipelines.bars.choice.floors import Floor
from pipelines.bars.choice.shears import Shears
from pipelines.bars.design import Design, StandardDesign
from pipelines.bars.drawn_parts import DrawnBars
from pipelines.deck.deck import Deck
from pipelines.deck.reinforcement import BarChoice
from pipelines.model.responses import SolvedDeck
from pipelines.numbers import within
from pipelines.standards.materials import Materials
from pipelines.standards.resistance.bars import (
    Bars,
    Layer,
    SlabBars,
    other_direction,
    place_of,
)
from pipelines.standards.sources import Standard
from plate.arrays import Floats
from plate.geometry.outline import DRAWN, region

STEEL = 7850.0  # density of reinforcing steel [kg/m3], EN 1991-1-1 table A.4
# Of the steel in a span so much runs on to the supports: EN 1992-1-1 9.3.1.2(1), from memory.
RUNS_ON = 0.5


@dataclass(frozen=True, kw_only=True)
class Candidate:
    """Bars of one layer. mass : of steel on the whole slab [kg], without laps."""

    bars: Bars
    added: Added | None
    mass: float

    @property
    def sets(self) -> tuple[Bars, ...]:
        return (self.bars,) if self.added is None else (self.bars, self.added.bars)

    @property
    def largest(self) -> float:
        """Largest diameter [m]."""
        return max(bars.diameter for bars in self.sets)


@dataclass(frozen=True, eq=False)
class Needs:
    """What the bars of a run must take, and the bars there are to choose from.

    floors : least areas of layers that checks beyond those of single layers ask for; shears : what
    shear asks for.
    """

    solved: SolvedDeck
    design: Design
    choice: BarChoice
    floors: Mapping[Layer, Floor] = field(default_factory=dict)
    shears: tuple[Shears, ...] = ()
    _depths: dict[Standard, Sequence[tuple[NDArray[np.bool_], SlabBars]]] = field(
        default_factory=dict
    )

    @property
    def deck(self) -> Deck:
        return self.solved.deck

    @property
    def standards(self) -> Sequence[StandardDesign]:
        return self.design.standards

    @property
    def materials(self) -> list[Materials]:
        """Of every standard."""
        return [standard.basis.materials for standard in self.standards]

    @cached_property
    def area(self) -> float:
        """Of the slab [m2]."""
        return float(region(self.deck.plan, DRAWN).area)

    @property
    def everywhere(self) -> NDArray[np.bool_]:
        """(n,) all result points."""
        return np.ones(len(self.solved.recovery.points.plan), dtype=bool)

    @cached_property
    def sets(self) -> tuple[Bars, ...]:
        """Every diameter at every spacing, least area first."""
        pairs = [Bars(d, s) for d in self.choice.diameters for s in self.choice.spacings if d < s]
        return tuple(sorted(pairs, key=lambda bars: (bars.area, -bars.spacing)))

    def candidate(self, bars: Bars, added: Added | None) -> Candidate:
        """Bars of a layer with what they weigh."""
        mass = STEEL * bars.area * self.area
        if added is not None:
            mass += STEEL * added.bars.area * added.area(self.deck)
        return Candidate(bars=bars, added=added, mass=mass)

    def depths(self, standard: StandardDesign) -> Sequence[tuple[NDArray[np.bool_], SlabBars]]:
        """The result points (n,) of the parts of the slab within which the thickness by which bars
        are judged is the same, and bars of that."""
        mat = standard.basis.materials
        if mat.standard not in self._depths:
            plan = self.solved.recovery.points.plan
            parts = DrawnBars.of(self.solved, mat).without_added.parts
            self._depths[mat.standard] = [(part.holds(plan), part.bars) for part in parts]
        return self._depths[mat.standard]

    def peaks(self, standard: StandardDesign, where: NDArray[np.bool_]) -> Peaks:
        membrane, angle = self.design.membrane, self.design.reinforcement.angle
        return peaks_at(standard.demands, standard.basis, where, membrane, angle)


@dataclass(frozen=True, eq=False)
class Trial:
    """Bars of the layers of one face judged, beside the other face's as they are.

    bars : of the slab, whose layer is changed from candidate to candidate.
    """

    needs: Needs
    bars: SlabBars
    layer: Layer
    _peaks: dict[tuple[str, bytes], Peaks] = field(default_factory=dict)
    _floors: dict[float, Floor] = field(default_factory=dict)

    def candidates(self) -> list[Candidate]:
        """One for every mat that passes: alone, or with the least bars added along lines.

        Of mats that pass alone the least, the least of every diameter, on which the inner layer's
        depth depends, and those whose further steel a diameter and a spacing less may pay for.
        Where none meets the least areas, those that meet them as far as the fullest mat does.
        """
        return list(self._meeting(alone=False)) or list(self._meeting(alone=True))

    def _meeting(self, *, alone: bool) -> Iterator[Candidate]:
        """Those that meet the least areas; alone : as far as a mat alone does."""
        needs = self.needs
        least, diameters = np.inf, set[float]()
        for mat in needs.sets:
            floor = self.floor(mat.diameter, alone=alone)
            if mat.area < floor.everywhere:
                continue
            changed = self.with_layer(mat)
            if changed is None:
                continue
            mass = STEEL * mat.area * needs.area
            short = floor.areas > mat.area
            if not short.any() and self.fails(changed, needs.everywhere) is None:
                least = min(least, mass)
                if mass <= least + self._variety or mat.diameter not in diameters:
                    yield needs.candidate(mat, None)
                diameters.add(mat.diameter)
                continue
            if np.isfinite(least):
                continue  # less steel passes without any added
            for band in self._bands:
                for added in self._added(changed, mat, band, alone=alone):
                    yield needs.candidate(mat, added)

    def floor(self, diameter: float, *, alone: bool = False) -> Floor:
        """Least areas of the layer with bars of that diameter at most: no more than the fullest
        have that pass what single layers are checked by, of a mat everywhere and elsewhere of two
        sets, or of a mat alone. Whether these suffice, an analysis tells."""
        floor = self._asked(diameter)
        if floor.most == 0.0 or floor.most <= self._fullest_mat:
            return floor
        return floor.at_most(self._fullest_mat, self._fullest_mat if alone else self._fullest_sets)

    def _asked(self, diameter: float) -> Floor:
        """What checks of several layers ask for."""
        if diameter not in self._floors:
            floor = self.needs.floors.get(self.layer, Floor())
            bars, least = self._deep(diameter), self.needs.sets[0].area
            if bars is not None:
                for shears in self.needs.shears:
                    floor = floor.joined(shears.asked(self.layer, bars, least))
            self._floors[diameter] = floor
        return self._floors[diameter]

    def _deep(self, diameter: float) -> SlabBars | None:
        """The slab's bars with that diameter in the layer, beside an inner layer of the largest
        bars of the set that fit; None where none do."""
        face, own = self.layer
        mat = self.bars.mat(face)
        inner = sorted(self.needs.choice.diameters, reverse=True) if mat.outer == own else [None]
        for one in inner:
            if one is not None:
                mat = mat.with_bars(other_direction(own), Bars(one, 1.0))
            try:
                return self.bars.with_mat(face, mat.with_bars(own, Bars(diameter, 1.0)))
            except ValueError:
                continue
        return None

    @cached_property
    def _fullest_mat(self) -> float:
        return self._fullest((mat,) for mat in self.needs.sets)

    @cached_property
    def _fullest_sets(self) -> float:
        sets = self.needs.sets
        return self._fullest([*((mat,) for mat in sets), *product(sets, repeat=2)])

    def _fullest(self, kinds: Iterable[tuple[Bars, ...]]) -> float:
        """The most steel of some kinds of bars, mats alone or with others between theirs, that pass
        what single layers are checked by [m2/m]; infinite where none do."""
        for bars in sorted(kinds, key=lambda bars: -sum(one.area for one in bars)):
            try:
                changed = self.with_layer(bars[0].with_more(bars[1]) if bars[1:] else bars[0])
            except ValueError:
                continue
            if changed is not None and self.fails(changed, self.needs.everywhere) is None:
                return changed.bars(self.layer).area
        return np.inf

    def steel_at(self, candidate: Candidate, points: Floats) -> Floats:
        """(n,) steel of a candidate that resists shear at plan points (n, 2) [m2/m]: of what is
        added the bars that reach on by the tension shift and their bond length."""
        areas = np.full(len(points), candidate.bars.area)
        mats, added = self.with_layer(candidate.bars), candidate.added
        if added is not None and mats is not None:
            both, materials = mats.with_added(self.layer, added.bars), self.needs.materials
            ends = sum(of(both, self.layer, materials) for of in (bond, shift))
            band = band_of(self.needs.solved, self.layer, added)
            counted = band.counted(added.reach, ends, band.gap_at(points))
            areas[counted] += added.bars.area
        return areas

    def is_short(self, candidate: Candidate) -> bool:
        """Whether a candidate has less steel than the least areas ask for."""
        floor = self.floor(candidate.largest)
        least = candidate.bars.area < floor.everywhere
        return least or bool((self.steel_at(candidate, floor.at) < floor.areas).any())

    @cached_property
    def _bands(self) -> tuple[Band, ...]:
        return tuple(bands(self.needs.solved, self.layer))

    @cached_property
    def _variety(self) -> float:
        """What a diameter and a spacing less may pay for [kg]."""
        prices = self.needs.choice.prices
        return self.needs.area * (prices.diameter + prices.spacing)

    def with_layer(self, bars: Bars) -> SlabBars | None:
        """The slab's bars with others in the layer; None where they do not fit."""
        mat = self.bars.mat(self.layer[0]).with_bars(self.layer[1], bars)
        slab = self.needs.deck.slab
        try:
            changed = self.bars.with_mat(self.layer[0], mat)
            changed.at(min(slab.thickness, *(zone.thickness for zone in slab.zones), np.inf))
        except ValueError:
            return None
        return changed

    def _added(self, changed: SlabBars, mat: Bars, band: Band, *, alone: bool) -> Iterator[Added]:
        """The least bars added within the least reach, those whose further steel a diameter and a
        spacing less may pay for, and the least of every smaller diameter; nothing where the mat
        fails outside any. alone : as of `floor`."""
        reaches = band.reaches
        low, high = 0, len(reaches)
        while low < high:  # the first reach outside which the mat passes
            middle = (low + high) // 2
            passes = self.fails(changed, band.alone(reaches[middle])) is None
            low, high = (low, middle) if passes else (middle + 1, high)
        if low == len(reaches):
            return
        asked = {
            diameter: self._reach(changed, mat, band, float(reaches[low]), floor)
            for diameter in self.needs.choice.diameters
            for floor in [self.floor(max(mat.diameter, diameter), alone=alone)]
        }
        least, thinnest = np.inf, np.inf
        for more in self.needs.sets:
            found = asked[more.diameter]
            if found is None or mat.area + more.area < found[2]:
                continue
            here, reach, _ = found
            if here.clear and more.area > (1.0 / RUNS_ON - 1.0) * mat.area * (1.0 + 1e-9):
                break
            try:
                both = changed.with_added(self.layer, more)
            except ValueError:
                continue
            bonded, shifted = (of(both, self.layer, self.needs.materials) for of in (bond, shift))
            drawn = here.lengthened(reach, bonded + shifted)
            if drawn < STEP:
                continue
            added = Added(bars=more, along=here.along, reach=drawn, clear=here.clear)
            mass = STEEL * more.area * added.area(self.needs.deck)
            if mass > least + self._variety and more.diameter >= thinnest:
                continue
            if self.fails(both, here.counted(drawn, bonded, here.gap)) is None:
                least, thinnest = min(least, mass), min(thinnest, more.diameter)
                yield added

    def _reach(
        self, changed: SlabBars, mat: Bars, band: Band, reach: float, floor: Floor
    ) -> tuple[Band, float, float] | None:
        """The lines of a band beside which bars are needed, how far off them [m], no less than
        `reach`, and how much steel some least areas ask for there; None where that is all of the
        slab."""
        short = floor.areas > mat.area
        places = floor.at[short]
        if short.any():
            gaps = band.gap_at(places)
            reach = min(reach, float(gaps.min())) if band.clear else max(reach, float(gaps.max()))
        if not band.alone(reach).any():
            return None
        most = float(floor.areas[short].max(initial=0.0))
        return self._needed(changed, band, reach, places), reach, most

    def _needed(self, changed: SlabBars, band: Band, reach: float, places: Floats) -> Band:
        """The band without lines beside which the mat suffices alone, also at places (n, 2)."""
        for name in () if band.clear else band.along:
            if len(band.along) == 1:
                break
            rest = band.without(band.along.index(name))
            reached = not len(places) or rest.gap_at(places).max() <= reach
            if reached and self.fails(changed, rest.alone(reach)) is None:
                band = rest
        return band

    def counts(self, mats: SlabBars, added: Added) -> NDArray[np.bool_]:
        """(n,) at which result points bars added to some mats are anchored.

        Raises
        ------
        ValueError
            If they do not fit between those of the mat.
        """
        both = mats.with_added(self.layer, added.bars)
        band = band_of(self.needs.solved, self.layer, added)
        return band.counted(added.reach, bond(both, self.layer, self.needs.materials), band.gap)

    def fails(self, bars: SlabBars, where: NDArray[np.bool_]) -> tuple[str, float] | None:
        """The first check that the layer's bars fail at some result points, with its value."""
        return next((one for one in self.used(bars, where) if not within(one[1])), None)

    def used(self, bars: SlabBars, where: NDArray[np.bool_]) -> Iterator[tuple[str, float]]:
        """The checks of the layer's bars at some result points by every standard, and how far each
        is used."""
        for standard in self.needs.standards:
            for inside, depths in self.needs.depths(standard):
                mine = where & inside
                if not mine.any():
                    continue
                key = standard.basis.materials.standard, mine.tobytes()
                if key not in self._peaks:
                    self._peaks[key] = self.needs.peaks(standard, mine)
                there = bars.at(depths.thickness, depths.run_on)
                yield from judged(standard, self._peaks[key], there, self.layer, mine)


def judged(
    standard: StandardDesign, peaks: Peaks, bars: SlabBars, layer: Layer, where: NDArray[np.bool_]
) -> Iterator[tuple[str, float]]:
    """Utilisations of one layer at some result points, what is quickly found first."""
    mat = standard.basis.materials
    m_Rd = resistances(bars, mat)[layer]
    yield f"bending, {mat.standard}", peaks.ultimate[layer] / m_Rd
    for row in (
        *mat_rows(bars, layer[0], standard.basis, peaks),
        *fatigue_rows(standard.fatigue, bars, mat, where),
    ):
        # rules whose breach would still have to be justified count too: a design has none of these
        if row.place == place_of(layer):
            yield f"{row.check}, {mat.standard}", row.utilisation
