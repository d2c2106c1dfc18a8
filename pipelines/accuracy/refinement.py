"""Refining by itself: higher order, then smaller cells, until every headline value meets the
tolerance asked for."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Protocol, TypeVar

import numpy as np

from pipelines.accuracy.stated_probes import StatedProbe
from pipelines.accuracy.tolerances import Tolerances
from pipelines.deck.deck import Deck
from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.envelopes.peaks import Peak
from pipelines.model.build import MOST_CELLS, BuiltModel
from pipelines.model.responses import SolvedDeck
from plate.arrays import Floats

# Values below this share of the deck's peak of their kind are held to the peak's tolerance times
# it: a moment near zero has no relative error worth its name.
SMALL = 0.1
# Cells that a refined mesh may have at the most, as a multiple of what the default stays below.
MOST = 2 * MOST_CELLS
ROUNDS = 4
HIGHEST_ORDER = 5


class TrafficStated(Protocol):
    """What was found under a case of traffic, with its stated errors."""

    @property
    def envelope(self) -> TrafficEnvelope: ...

    @property
    def governing(self) -> Sequence[Peak]: ...

    @property
    def uncertain(self) -> Sequence[Peak]: ...

    @property
    def tolerances(self) -> Tolerances: ...

    @property
    def probes(self) -> Sequence[StatedProbe]: ...


class Stated(Protocol):
    """A run with its stated errors."""

    @property
    def built(self) -> BuiltModel: ...

    @property
    def solved(self) -> SolvedDeck: ...

    @property
    def traffic(self) -> Sequence[TrafficStated]: ...


Run = TypeVar("Run", bound=Stated)


def relative_errors(result: Stated) -> dict[str, float]:
    """Mesh part of the error of every headline value as a share of the value.

    Headline values are the governing values of the deck and the maxima and minima of the probes,
    of every case of traffic. The step part does not fall with the mesh.
    """
    found: dict[str, float] = {}
    for case in result.traffic:
        peaks: dict[int, float] = {}
        headline = (*case.governing, *case.uncertain)
        for g in headline:
            peaks[g.component] = max(peaks.get(g.component, 0.0), abs(g.value))
        for g in headline:
            if g.tolerance is not None:
                size = max(abs(g.value), SMALL * peaks[g.component])
                name = f"{g.result} {g.extreme}, {case.envelope.name}"
                found[name] = g.tolerance.mesh / size if size else 0.0
        names = [name for one in case.probes for name in one.names]
        for label in ("max", "min"):
            errors = _joined([one.tolerances.probes[label][:, 0] for one in case.probes])
            values = [one.envelope.probes for one in case.probes]
            sides = [e.maximum if label == "max" else e.minimum for e in values]
            rows = np.abs(_joined(sides).reshape(-1, 6))
            highest = rows.max(axis=0, initial=0.0)
            sizes = np.maximum(rows, SMALL * highest)
            share = np.divide(
                errors.reshape(-1, 6), sizes, out=np.zeros_like(sizes), where=sizes > 0.0
            )
            for name, worst in zip(names, share.max(axis=1), strict=True):
                found[f"{name} {label}, {case.envelope.name}"] = float(worst)
    return found


def _joined(parts: Sequence[Floats]) -> Floats:
    return np.concatenate([np.zeros(0), *parts])


def refined(deck: Deck, analyse: Callable[[Deck], Run]) -> tuple[Run, str]:
    """Analyse a deck on finer and finer meshes until its headline values meet [mesh] error.

    Returns the last run and a note, empty where all values meet the tolerance: where the mesh
    would grow beyond `MOST` cells, or after `ROUNDS` meshes, it names those that miss it.
    """
    target = deck.mesh.error
    assert target is not None
    for round_ in range(ROUNDS):
        result = analyse(deck)
        worst = max(relative_errors(result).values(), default=0.0)
        if worst <= target:
            return result, ""
        order = result.built.model.mesh.order
        # Higher order first: layers and patch edges gain most from it for the least unknowns.
        if order < HIGHEST_ORDER:
            finer, cells = replace(deck.mesh, order=order + 1), 0.0
        else:
            # Errors fall at least with the square of the cell size.
            shrink = float(np.clip(np.sqrt(target / worst), 0.5, 0.85))
            finer = replace(deck.mesh, size=result.built.size * shrink)
            cells = result.built.model.mesh.n_cells / shrink**2
        if cells > MOST or round_ == ROUNDS - 1:
            break
        deck = replace(deck, mesh=finer)
    missing = {n: e for n, e in relative_errors(result).items() if e > target}
    listed = ", ".join(f"{name} ({100.0 * e:.2g} %)" for name, e in missing.items())
    limit = f"{MOST} cells" if cells > MOST else f"{ROUNDS} meshes"
    return result, (
        f"[mesh] error = {target:g} is not met within {limit} by: {listed}; shears beside a "
        "patch's edge, and moments at a beam's end or line, converge slowest"
    )
