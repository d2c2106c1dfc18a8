"""Named results as rows on the displacements: points and segment means."""

import math
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from pipelines.deck.deck import Deck, Probe
from pipelines.units import RESULT_KEYS, RESULT_SCALE
from plate.arrays import Floats
from plate.conventions import RESULTS
from plate.model.model import PlateModel
from plate.model.singular_points import SingularPlace, singular_places
from plate.results import functionals
from plate.results.fields import FieldPoints
from plate.results.places import Places, along_path, at_points, on_both_sides

T = TypeVar("T", np.float64, np.int64)

# What follows a probe's name where the slab is divided at it, in the order of `on_both_sides`.
SIDES = ("", "/before", "/after")


@dataclass(frozen=True)
class ProbeRows:
    """Rows (6 n, n_dof) of all probes' results in the order of `names`.

    A probe where the slab is divided (a support, a beam, a step of thickness) has rows for the
    mean of both sides, and rows `name/before` and `name/after`.
    widths : probe name -> width [m] of the mean that stands for a point value, for probes at a
    singular place. places : where each probe is read.
    """

    names: tuple[str, ...]
    rows: sparse.csr_array
    widths: dict[str, float]
    places: tuple[Places, ...]

    def values(self, results: NDArray[T]) -> dict[str, NDArray[T]]:
        """Results (6 n, ...) as name -> (6, ...)."""
        split = results.reshape(len(self.names), len(RESULTS), *results.shape[1:])
        return dict(zip(self.names, split, strict=True))


def probe_rows(
    deck: Deck,
    model: PlateModel,
    points: FieldPoints,
    places: tuple[SingularPlace, ...] | None = None,
) -> ProbeRows:
    """Rows of the deck's probes.

    places : of infinite moments of the model, where they are known.
    """
    names: list[str] = []
    rows: list[sparse.csr_array] = []
    read: list[Places] = []
    widths: dict[str, float] = {}
    if places is None:
        places = singular_places(model) if deck.probes else ()
    for probe in deck.probes:
        path = _averaged(deck, probe, places)
        if path is not None:
            widths[probe.name] = float(path[1, 1] - path[0, 1])
            where = along_path(model.mesh, path)
        else:
            where = _places(probe, model, points)
        names += [f"{probe.name}{side}" for side in SIDES[: where.count]]
        rows.append(functionals.result_rows(model, where))
        read.append(where)
    empty = sparse.csr_array((0, model.n_dof))
    stacked = sparse.csr_array(sparse.vstack([*rows, empty], format="csr"))
    return ProbeRows(tuple(names), stacked, widths, tuple(read))


def _averaged(deck: Deck, probe: Probe, places: tuple[SingularPlace, ...]) -> Floats | None:
    """Path (2, 2) across the deck, two thicknesses long and on the slab, over which the results
    of a probe at a singular place are averaged; None where point values are finite."""
    t = deck.slab.thickness
    if probe.at is None or not any(math.dist(probe.at, place.at) < t for place in places):
        return None
    centre = np.array(probe.at)
    for shift in (0.0, -1.0, 1.0):
        path = centre + np.array([[0.0, (shift - 1.0) * t], [0.0, (shift + 1.0) * t]])
        if deck.plan.contains(path).all():
            return np.asarray(path)
    return None


def _places(probe: Probe, model: PlateModel, points: FieldPoints) -> Places:
    """Where a probe's results are read: one place, or where the slab is divided three."""
    if probe.at is None:
        return along_path(model.mesh, np.array([probe.start, probe.end]))
    return on_both_sides(model.mesh, points, probe.at)


def membrane_rows(deck: Deck, model: PlateModel) -> sparse.csr_array:
    """Rows (3 n_probe, n_dof) of n_x, n_y, n_xy [N/m], tension positive, at every probe.

    At a point the mean of the cells that meet; along a segment the arc-length mean. Empty where
    no beam is connected to the slab's membrane.
    """
    places = membrane_places(deck, model) if model.connected else []
    rows = [functionals.membrane_rows(model, one) for one in places]
    empty = sparse.csr_array((0, model.n_dof))
    return sparse.csr_array(sparse.vstack([*rows, empty], format="csr"))


def membrane_places(deck: Deck, model: PlateModel) -> list[Places]:
    """Where the membrane forces of every probe are read."""
    return [
        along_path(model.mesh, np.array([probe.start, probe.end]))
        if probe.at is None
        else at_points(model.mesh, np.array([probe.at]))
        for probe in deck.probes
    ]


def point_result(values: Floats) -> dict[str, float]:
    """(6,) SI results as a summary entry: w_mm, m [kNm/m], q [kN/m]."""
    return {k: float(v) for k, v in zip(RESULT_KEYS, values * RESULT_SCALE, strict=True)}
