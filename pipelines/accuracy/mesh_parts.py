"""The mesh part of the errors of stated values, from what a richer mesh makes of them.

The difference of two meshes may be nothing by chance: it changes its sign from place to place and
from axis to axis. Moments at a place are a tensor, shears a vector: on axes turned by any angle the
same difference has other components, and a result is told to be no less wrong than the root mean
square of its component over all angles. The largest of many load positions may be as wrong as those
around it: the difference is asked under the loads that govern and under those of the steps.

Shears of a richer mesh are wrong beside the edges of wheels in the same way as the run's, and
hardly less: to them is added what is known to be lacking there (`plate.results.kinks`). What that
still leaves is as much as it differs from the run's with what is lacking there, and a tenth of what
is lacking.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from pipelines.accuracy.stated_values import (
    Asked,
    Read,
    StatedValues,
    own_read,
    read_on,
    stated_under,
    together,
)
from pipelines.model.fixed_loads import known_patches
from pipelines.model.responses import SolvedDeck
from plate.arrays import Floats, Ints
from plate.conventions import RESULTS
from plate.results.kinks import shears_missed
from plate.results.places import joined
from plate.solver.stiffness import Stiffness

SAFETY = 2.0
# What is known to be lacking is known but for this share of it.
DOUBT = 0.1

# Results in RESULTS that are components of one thing, by each of them.
TENSORS = ((0,), (1, 2, 3), (1, 2, 3), (1, 2, 3), (4, 5), (4, 5))


def on_all_axes(differences: Floats) -> Floats:
    """Root mean squares (..., 6) of the components of results (..., 6) over all angles of axes."""
    w, x, y, xy, qx, qy = np.moveaxis(differences, -1, 0)
    bending = (3.0 * x**2 + 3.0 * y**2 + 2.0 * x * y + 4.0 * xy**2) / 8.0
    twist = ((x - y) ** 2 + 4.0 * xy**2) / 8.0
    shear = (qx**2 + qy**2) / 2.0
    parts = np.stack([w**2, bending, bending, twist, shear, shear], axis=-1)
    return np.asarray(np.sqrt(parts))


def mesh_parts(differences: Floats) -> Floats:
    """Mesh parts (..., 6) of the errors of results that differ by (..., 6) on a richer mesh."""
    return np.asarray(np.maximum(SAFETY * np.abs(differences), on_all_axes(differences)))


def left_unknown(difference: Floats, missed: Floats, still: Floats) -> Floats:
    """What values (n,) may be wrong by that is not known, of those that lack what they are known to
    have `missed`, beside better ones, which differ by (n,) with what they have `still` missed."""
    doubt = DOUBT * np.maximum(np.abs(missed), np.abs(still))
    return np.asarray(np.abs(difference - missed) + doubt)


def traffic_mesh_parts(
    solved: SolvedDeck,
    stated: Sequence[StatedValues],
    of_steps: Sequence[StatedValues],
    richer: Stiffness,
) -> Floats:
    """Mesh parts (n,) of the errors of the values stated of cases of traffic, one case after the
    other, at their places alone; `of_steps` are the same values by the steps of the load positions.
    """
    known = together([*stated, *of_steps])
    n = len(known.value) // 2
    component = np.array([known.result(k) for k in range(n)], dtype=np.int64)
    asked, owner, result, under = _asked(known)
    own, finer = own_read(solved, asked), read_on(richer, solved, asked)
    missed = _missed(solved.stiffness, own, asked), _missed(richer, finer, asked)
    value = stated_under(solved.stiffness, own.rows, asked)
    better = stated_under(richer, finer.rows, asked) + missed[1]
    difference = better - value
    # what the better value may still be wrong by is as much as it differs from one of its kind
    left = left_unknown(difference, *missed)
    alike = result == component[owner]
    found, more = np.zeros(n), np.zeros(n)
    np.maximum.at(found, owner[alike], np.abs(difference[alike]))
    np.maximum.at(more, owner[alike], left[alike])
    found += (SAFETY - 1.0) * more
    tensors = np.zeros((n, len(RESULTS)))
    tensors[owner[under], result[under]] = difference[under]
    return np.maximum(found, on_all_axes(tensors)[np.arange(n), component])


def _missed(stiffness: Stiffness, read: Read, asked: Asked) -> Floats:
    """What the results (n,) that are shears lack as they are read on a mesh."""
    found, patches = np.zeros(len(asked.row)), known_patches(stiffness, asked.loads)
    every = [read.places[row] if row < len(read.places) else None for row in asked.row.tolist()]
    for integrated in (False, True):
        own = [k for k, one in enumerate(every) if one and one.integrated == integrated]
        places = [one for one in (every[k] for k in own) if one]
        if places:
            components = [asked.result(k) for k in own]
            there, under = joined(places), asked.load[own]
            found[own] = shears_missed(stiffness.model, there, components, patches, under)
    return found


def _asked(known: StatedValues) -> tuple[Asked, Ints, Ints, slice]:
    """What is asked of both meshes, for which of the values stated and which result (m,); which of
    it are the results of a tensor at the place of a value and under its load; the rest are the
    values by the steps."""
    n = len(known.value) // 2
    tensors = {
        (peak.point, other): replace(peak, component=other)
        for peak in known.peaks
        for other in TENSORS[peak.component]
    }
    place = {key: known.n_probe + k for k, key in enumerate(tensors)}

    def row(k: int, other: int) -> int:
        own = int(known.row[k])
        if own < known.n_probe:
            return own - own % len(RESULTS) + other
        if own < known.n_probe + len(known.peaks):
            return place[known.peaks[own - known.n_probe].point, other]
        return own + len(tensors) - len(known.peaks)

    own = [known.result(k) for k in range(2 * n)]
    under_load = known.load.tolist()
    asks = [(k, other, row(k, other), under_load[k]) for k in range(n) for other in TENSORS[own[k]]]
    under = slice(len(asks))
    asks += [(k - n, own[k], row(k, own[k]), under_load[k]) for k in range(n, 2 * n)]
    owner, result, rows, load = np.array(asks, dtype=np.int64).reshape(-1, 4).T
    asked = Asked(
        n_probe=known.n_probe,
        peaks=tuple(tensors.values()),
        ends=known.ends,
        row=rows,
        loads=known.loads,
        load=load,
    )
    return asked, owner, result, under
