"""As-built check: every panel with readings, its bars as measured in all checks that bars have.

Demands are those of the deck as drawn: the readings change what resists, not the plate.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np

from pipelines.bars.adequacy import Check, check_of
from pipelines.bars.checks.bending_and_service import Peaks, mat_rows, resistances
from pipelines.bars.checks.deviations import largest_deviation, measured_keys
from pipelines.bars.checks.fatigue import FatigueDemand, fatigue_rows
from pipelines.bars.checks.part import (
    Part,
    PartChecks,
    Seen,
    StandardDemand,
    part_checks,
    part_peaks,
)
from pipelines.bars.demand.shear import ShearTracker, resistance
from pipelines.bars.drawn_parts import DrawnBars
from pipelines.deck.as_built import AsBuilt
from pipelines.deck.reinforcement import DesignBasis
from pipelines.deck.survey import Key
from pipelines.numbers import within
from pipelines.standards.detailing.cover import cover_rows
from pipelines.standards.detailing.rules import Row
from pipelines.standards.resistance.bars import (
    DIRECTIONS,
    FACES,
    LAYERS,
    Face,
    Layer,
    SlabBars,
    place_of,
)
from pipelines.standards.resistance.bending import utilisation
from plate.arrays import Ints

# How far a quantity is let deviate at most: its own share of what is drawn.
MOST_SHARE = 0.5
TOLERANCE = {"area loss": 1e-3}  # of a share; lengths to a tenth of a millimetre
TOLERANCE_LENGTH = 1e-4
TOO_SMALL = "cover below durability requirement"
# A difference from the drawing that is told: of lengths.
DIFFERENCE = 0.03


@dataclass(frozen=True, kw_only=True)
class Deviation:
    """The largest further deviation of one quantity that passes every check.

    more : whether of more of it or of less. value : in SI, negative by how much it would have to be
    better, minus infinity where nothing is enough. stops : the check that fails first beyond it;
    None where none does as far as is looked.
    """

    key: Key
    more: bool
    value: float
    stops: Check | None


@dataclass(frozen=True, kw_only=True)
class PanelCheck(PartChecks):
    """One panel as built, or a part of it with bars of its own.

    number : of the panel. extent : ranges of its stations and offsets without overhangs [m].
    drawing : utilisation in bending with the bars as drawn. swapped : at each face the check that
    fails first with its layers the other way round, None where none does. durability : covers that
    are too small to last, and why : what differs from the drawing, in words.
    """

    number: int
    as_built: AsBuilt
    extent: tuple[tuple[float, float], tuple[float, float]]
    drawing: Mapping[Layer, float]
    deviations: tuple[Deviation, ...]
    swapped: Mapping[Face, Check | None]
    durability: tuple[str, ...]
    why: tuple[str, ...]

    @property
    def panel(self) -> str:
        return self.as_built.panel

    @property
    def utilisation(self) -> Mapping[Layer, float]:
        """The utilisation of every layer in bending."""
        return {check.layer: check.utilisation for check in self.layers}


def panel_checks(
    seen: Seen,
    demand: StandardDemand,
    basis: DesignBasis,
    drawn_bars: DrawnBars,
    trackers: Sequence[ShearTracker],
) -> tuple[PanelCheck, ...]:
    """Checks of the panels with readings by one standard, in the deck's order, of each part of a
    panel with bars of its own; trackers : of the shear of each."""
    reinforcement = seen.deck.required_reinforcement
    survey, plan = reinforcement.survey, seen.solved.recovery.points.plan
    found = []
    if survey is None:
        return ()
    for one, tracker in zip(drawn_bars.built, trackers, strict=True):
        built, holds, drawing = one.built, one.holds, one.drawn.bars
        own = replace(basis, materials=built.materials(basis.materials))
        part = Part(basis=own, bars=built.bars, holds=holds)
        peaks, where = part_peaks(seen, demand, part), np.flatnonzero(holds(plan))
        rows = tuple(
            as_built_rows(built.bars, built.least_cover, own, peaks, demand.fatigue, where)
        )
        checks = part_checks(seen, demand, part, tracker, peaks, rows)
        trial = _Trial(built, checks, demand.fatigue, where)
        drawn = resistances(drawing, basis.materials)
        found.append(
            PanelCheck(
                **{field.name: getattr(checks, field.name) for field in fields(checks)},
                number=one.number,
                as_built=built,
                extent=survey.panels.extent(one.number),
                drawing={
                    layer: float(utilisation(peaks.ultimate[layer], drawn[layer]))
                    for layer in LAYERS
                },
                deviations=trial.deviations(drawing),
                swapped={face: trial.swapped(face) for face in FACES},
                durability=tuple(_durability(rows)),
                why=tuple(_differences(drawing, built)),
            )
        )
    return tuple(found)


def as_built_rows(
    bars: SlabBars,
    least_cover: Mapping[Face, float],
    basis: DesignBasis,
    peaks: Peaks,
    fatigue: FatigueDemand,
    where: Ints,
) -> Iterator[Row]:
    """Every rule for the layers of both faces, fatigue at the result points `where`, and the cover
    measured [m] against what durability asks for, one after the other: who tries bars asks no
    further than the first that fails."""
    for face in FACES:
        yield from mat_rows(bars, face, basis, peaks)
    yield from fatigue_rows(fatigue, bars, basis.materials, where)
    for face, exposure in zip(FACES, basis.exposure, strict=True):
        if exposure is not None:
            stated, cover = basis.structural_class, least_cover[face]
            yield from cover_rows(bars, face, basis.materials, exposure, stated, cover)


@dataclass(frozen=True)
class _Trial:
    """A panel with its bars changed a little, judged by the demands found for it: of the shear, at
    the load positions that govern as built; of punching, at the place that governs."""

    built: AsBuilt
    found: PartChecks
    fatigue: FatigueDemand
    where: Ints

    def deviations(self, drawing: SlabBars) -> tuple[Deviation, ...]:
        """The deviations of every quantity that was read; of covers both ways where durability asks
        for some."""
        exposed = [f for f, e in zip(FACES, self.found.basis.exposure, strict=True) if e]
        wanted = []
        for key in measured_keys(self.built.bars):
            if self.built.was_read(key):
                adverse = key.measure.adverse > 0
                wanted.append((key, adverse))
                if key.quantity == "cover" and key.face in exposed:
                    wanted.append((key, not adverse))
        return tuple(self._deviation(key, more, drawing) for key, more in wanted)

    def _deviation(self, key: Key, more: bool, drawing: SlabBars) -> Deviation:
        tolerance = TOLERANCE.get(key.quantity, TOLERANCE_LENGTH)
        limit = MOST_SHARE * _drawn(key, drawing)
        value, beyond = largest_deviation(
            self.built.bars, key, self._utilisations, limit, tolerance, more=more
        )
        stops = None if beyond is None else self._stops(beyond)
        return Deviation(key=key, more=more, value=value, stops=stops)

    def swapped(self, face: Face) -> Check | None:
        """The check that fails first with the layers of a face the other way round."""
        bars = self.built.bars
        return self._stops(bars.with_mat(face, bars.mat(face).swapped()))

    def _stops(self, bars: SlabBars) -> Check | None:
        check, worst = max(self.used(bars), key=lambda pair: pair[1])
        return None if within(worst) else check

    def _utilisations(self, bars: SlabBars) -> Iterator[float]:
        return (value for _, value in self.used(bars))

    def used(self, bars: SlabBars) -> Iterator[tuple[Check, float]]:
        """Utilisation by check with these bars, what is quickly found first."""
        found, basis = self.found, self.found.basis
        m_Rd = resistances(bars, basis.materials)
        for layer in LAYERS:
            yield Check.BENDING, float(utilisation(found.peaks.ultimate[layer], m_Rd[layer]))
        yield Check.SHEAR, self._shear(bars)
        if found.punching is not None:
            yield Check.PUNCHING, found.punching.with_bars(bars, basis.materials)
        covers = {
            face: max(
                self.built.least_cover[face]
                + bars.mat(face).cover
                - self.built.bars.mat(face).cover,
                0.0,
            )
            for face in FACES
        }
        rows = as_built_rows(bars, covers, basis, found.peaks, self.fatigue, self.where)
        for row in rows:
            if not row.otherwise:
                yield check_of(row), row.utilisation

    def _shear(self, bars: SlabBars) -> float:
        """What was found as built, in proportion to that of the load positions as stepped."""
        found, demand = self.found, self.found.shear_demand
        if demand is None or found.shear_not_asked is not None or found.design_shear is None:
            return 0.0
        v, forces = demand.v[0], demand.forces[0]
        basis = found.basis
        resists = resistance(bars, basis.materials, basis.aggregate, v, forces, demand.imposed)
        stepped = float(utilisation(v, resists).max())
        largest = found.design_shear.utilisation
        if largest == 0.0:
            return 0.0
        near = found.reduced
        closer = () if near is None else (near.whole, near.utilisation, near.strut)
        worst: float = max((largest, *closer))
        return worst * stepped / largest


def _drawn(key: Key, drawing: SlabBars) -> float:
    """What a quantity is on the drawing; of covers the thickness, of a loss all of it twice."""
    if key.quantity == "area loss":
        return 1.0 / MOST_SHARE
    if key.face is None or key.direction is None:
        return drawing.thickness
    sets = drawing.bars((key.face, key.direction)).sets
    bars = next(one for one in sets if one.mark == key.mark)
    return bars.diameter if key.quantity == "diameter" else bars.spacing


def _durability(rows: Sequence[Row]) -> Iterator[str]:
    """Covers that are too small for durability, in words."""
    for row in rows:
        if row.check.startswith("cover") and not row.passes:
            face, lengths = row.place.split(",")[0], (1e3 * row.provided, 1e3 * row.required)
            measured = "{:.0f} mm, asked {:.0f}".format(*lengths)
            yield f"{TOO_SMALL}, {face}: {measured} ({row.source})"


def _differences(drawing: SlabBars, built: AsBuilt) -> Iterator[str]:
    """What differs from the drawing by more than 3 % (of lengths), and what is lost, in words."""
    now = built.bars

    def lengths(what: str, value: float, drawn: float) -> Iterator[str]:
        if abs(value - drawn) > DIFFERENCE * drawn:
            yield f"{what} {1e3 * value:.0f} mm, drawn {1e3 * drawn:.0f}"

    yield from lengths("thickness", now.thickness, drawing.thickness)
    for face in FACES:
        gone = built.statistics.get(Key("spalled depth", face))
        if gone is not None and gone.most > 0.0:
            yield f"{face}: spalled, up to {1e3 * gone.most:.0f} mm"
        bare = [direction for direction in DIRECTIONS if (face, direction) in built.bare]
        if bare:
            yield f"{face}: bars along {' and '.join(bare)} laid bare, not counted"
            continue
        if now.mat(face).outer != drawing.mat(face).outer:
            yield f"{face}: layers swapped, bars along {now.mat(face).outer} outermost"
        else:
            yield from lengths(f"{face}, cover", now.mat(face).cover, drawing.mat(face).cover)
    for layer in (layer for layer in LAYERS if layer not in built.bare):
        for bars, drawn in zip(now.bars(layer).sets, drawing.bars(layer).sets, strict=True):
            of = f"{place_of(layer)}{f', {bars.mark}' if bars.mark else ''}"
            yield from lengths(f"{of}: spacing", bars.spacing, drawn.spacing)
            yield from lengths(f"{of}: diameter", bars.diameter, drawn.diameter)
            if bars.loss > drawn.loss:
                yield f"{of}: {1e2 * bars.loss:.0f} % of the area lost"
    if built.cores is not None:
        yield f"concrete {built.cores.words}"
