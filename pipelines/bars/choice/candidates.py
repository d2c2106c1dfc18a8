"""Bars that a layer may have: a mat everywhere, and bars added along lines where the mat does not
suffice, with what they weigh.

A candidate passes in bending, stresses, crack width, fatigue and the rules of its layer by every
standard, each part of the slab by the bars that lie there.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray

from pipelines.bars.checks.bending_and_service import Peaks, mat_rows, resistances
from pipelines.bars.checks.fatigue import fatigue_rows
from pipelines.bars.checks.part import peaks_at
from pipelines.bars.design import Design, StandardDesign
from pipelines.deck.added_areas import along_lines, courses
from pipelines.deck.deck import Deck
from pipelines.deck.reinforcement import BarChoice
from pipelines.model.responses import SolvedDeck
from pipelines.numbers import within
from pipelines.standards.detailing.anchorage import anchorage
from pipelines.standards.resistance.bars import Bars, Layer, SlabBars, place_of
from plate.arrays import Floats
from plate.geometry.outline import DRAWN, region

STEEL = 7850.0  # density of reinforcing steel [kg/m3], EN 1991-1-1 table A.4
STEP = 0.1  # to which the reach of added bars is rounded up [m]
# Lines and bars that enclose an angle with a sine above the first cross; below the other they run
# alongside.
CROSS, ALONGSIDE = 0.7, 0.5


@dataclass(frozen=True, kw_only=True)
class Added:
    """Bars added between those of a mat within a reach [m] of some lines."""

    bars: Bars
    along: tuple[str, ...]
    reach: float


@dataclass(frozen=True, kw_only=True)
class Candidate:
    """Bars of one layer. mass : of steel on the whole slab [kg], without laps."""

    bars: Bars
    added: Added | None
    mass: float

    @property
    def sets(self) -> tuple[Bars, ...]:
        return (self.bars,) if self.added is None else (self.bars, self.added.bars)


@dataclass(frozen=True, kw_only=True)
class Band:
    """Lines along which bars may be added to a layer. gap : (n,) distance of every result point to
    the nearest of them [m]; sine : largest of the angles between them and the bars: a bond length
    along the bars is so much of it away from the lines."""

    along: tuple[str, ...]
    gap: Floats
    sine: float


@dataclass(frozen=True, eq=False)
class Needs:
    """What the bars of a run must take, and the bars there are to choose from.

    floors : least area of a layer [m2/m] that checks beyond those of single layers ask for.
    """

    solved: SolvedDeck
    design: Design
    choice: BarChoice
    floors: Mapping[Layer, float] = field(default_factory=dict)

    @property
    def deck(self) -> Deck:
        return self.solved.deck

    @property
    def standards(self) -> Sequence[StandardDesign]:
        return self.design.standards

    @cached_property
    def area(self) -> float:
        """Of the slab [m2]."""
        return float(region(self.deck.plan, DRAWN).area)

    @cached_property
    def sets(self) -> tuple[Bars, ...]:
        """Every diameter at every spacing, least area first."""
        pairs = [Bars(d, s) for d in self.choice.diameters for s in self.choice.spacings if d < s]
        return tuple(sorted(pairs, key=lambda bars: (bars.area, -bars.spacing)))

    def bands(self, layer: Layer) -> Iterator[Band]:
        """The supporting lines that the layer's bars cross, and the free edges that run alongside
        them."""
        plan, angle = self.deck.plan, self.deck.required_reinforcement.angle
        bar = 0.0 if layer[1] == "x" else angle
        along = np.array([np.cos(bar), np.sin(bar)])

        def sine(name: str) -> float:
            a, b = plan.lines[name].path[[0, -1]]
            run = (b - a) / max(float(np.linalg.norm(b - a)), 1e-9)
            return abs(float(along[0] * run[1] - along[1] * run[0]))

        supports = {line.name for line in self.deck.lines if line.support != "free"}
        held = supports | {edge for edge, twin in plan.twins.items() if twin in supports}
        crossed = sorted(name for name in supports if sine(name) > CROSS)
        edges = sorted(e for e in plan.edges if e not in held and sine(e) < ALONGSIDE)
        points = shapely.points(self.solved.recovery.points.plan)
        for names in (crossed, edges):
            if names:
                lines = courses(plan, names)
                yield Band(
                    along=tuple(names),
                    gap=np.asarray(shapely.distance(lines, points)),
                    sine=_largest_sine(lines, along),
                )

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

    def candidates(self) -> Iterator[Candidate]:
        """One for every mat that passes: alone, or with the least bars added along lines.

        Of mats that pass alone the least, the least of every diameter, on which the inner layer's
        depth depends, and those whose further steel a diameter and a spacing less may pay for.
        """
        everywhere = np.ones(len(self.needs.solved.recovery.points.plan), dtype=bool)
        prices = self.needs.choice.prices
        saved = self.needs.area * (prices.diameter + prices.spacing)
        least, diameters = np.inf, set[float]()
        for mat in self.needs.sets:
            if mat.area < self.needs.floors.get(self.layer, 0.0):
                continue
            changed = self.with_layer(mat)
            if changed is None:
                continue
            mass = STEEL * mat.area * self.needs.area
            if self.fails(changed, everywhere) is None:
                least = min(least, mass)
                if mass <= least + saved or mat.diameter not in diameters:
                    yield Candidate(bars=mat, added=None, mass=mass)
                diameters.add(mat.diameter)
                continue
            if np.isfinite(least):
                continue  # less steel passes without any added
            for band in self.needs.bands(self.layer):
                added = self._added(changed, mat, band)
                if added is not None:
                    area = along_lines(self.needs.deck.plan, added.along, added.reach)
                    on = (area & region(self.needs.deck.plan, DRAWN)).area
                    more = STEEL * added.bars.area * float(on)
                    yield Candidate(bars=mat, added=added, mass=mass + more)

    def with_layer(self, bars: Bars) -> SlabBars | None:
        """The slab's bars with others in the layer; None where they do not fit."""
        mat = self.bars.mat(self.layer[0]).with_bars(self.layer[1], bars)
        try:
            return self.bars.with_mat(self.layer[0], mat)
        except ValueError:
            return None

    def _added(self, changed: SlabBars, mat: Bars, band: Band) -> Added | None:
        """The least bars added within the least reach; None where the mat fails outside any."""
        reaches = np.arange(STEP, band.gap.max() + STEP, STEP)
        low, high = 0, len(reaches)
        while low < high:  # the first reach outside which the mat passes
            middle = (low + high) // 2
            passes = self.fails(changed, band.gap > reaches[middle]) is None
            low, high = (low, middle) if passes else (middle + 1, high)
        if low == len(reaches) or (band.gap > reaches[low]).sum() == 0:
            return None
        inside = band.gap <= reaches[low]
        for more in self.needs.sets:
            try:
                both = changed.with_added(self.layer, more)
            except ValueError:
                continue
            if self.fails(both, inside) is None:
                reach = reaches[low] + band.sine * self._bond(both)
                rounded = round(float(np.ceil(reach / STEP - 1e-9) * STEP), 3)
                return Added(bars=more, along=band.along, reach=rounded)
        return None

    def counts(self, mats: SlabBars, added: Added) -> NDArray[np.bool_]:
        """(n,) at which result points bars added to some mats are anchored.

        Raises
        ------
        ValueError
            If they do not fit between those of the mat.
        """
        band = next(b for b in self.needs.bands(self.layer) if b.along == added.along)
        bond = self._bond(mats.with_added(self.layer, added.bars))
        return np.asarray(band.gap <= added.reach - band.sine * bond)

    def _bond(self, both: SlabBars) -> float:
        """The largest bond length of all standards [m]."""
        standards = self.needs.standards
        return max(anchorage(both, self.layer, s.basis.materials) for s in standards)

    def fails(self, bars: SlabBars, where: NDArray[np.bool_]) -> tuple[str, float] | None:
        """The first check that the layer's bars fail at some result points, with its value."""
        return next((one for one in self.used(bars, where) if not within(one[1])), None)

    def used(self, bars: SlabBars, where: NDArray[np.bool_]) -> Iterator[tuple[str, float]]:
        """The checks of the layer's bars at some result points by every standard, and how far each
        is used."""
        for standard in self.needs.standards:
            key = standard.basis.materials.standard, where.tobytes()
            if key not in self._peaks:
                self._peaks[key] = self.needs.peaks(standard, where)
            yield from judged(standard, self._peaks[key], bars, self.layer, where)


def _largest_sine(lines: shapely.Geometry, along: Floats) -> float:
    """Of the angles between lines and a direction (2,)."""
    runs = [np.diff(shapely.get_coordinates(line), axis=0) for line in shapely.get_parts(lines)]
    run = np.concatenate(runs)
    length = np.linalg.norm(run, axis=1)
    across = np.abs(along[0] * run[:, 1] - along[1] * run[:, 0])[length > 0.0]
    return float((across / length[length > 0.0]).max(initial=0.0))


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
