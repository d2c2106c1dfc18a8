"""What shears lack beside a wheel on a curved panel, beside a mesh of order 6 on smaller cells."""

from dataclasses import replace
from pathlib import Path

import numpy as np

from pipelines.model.build import build_model
from plate.arrays import Floats
from plate.conventions import RESULTS
from plate.loads.loads import patch_loads
from plate.model.model import PlateModel
from plate.results.fields import field_points
from plate.results.functionals import component_rows
from plate.results.kinks import shears_missed
from plate.results.places import Places, at_field_points, at_points
from plate.solver.stiffness import Stiffness
from tests.pipelines.small_decks import SLAB, deck_of

PANEL = """
[plan]
stations_m = [0.0, 4.0]
offsets_m = [-2.0, 2.0]
radius_m = 15.0
[[line]]
on = ["C*", "L*"]
support = "rigid"
hard = true
[mesh]
size_m = 0.6
"""
SIDES = [0.76, 1.01]
CENTRES = [(1.33, 0.4), (1.7, -0.61), (2.12, 0.93)]


def read(model: PlateModel, places: Places, corners: Floats, load: Floats) -> tuple[Floats, Floats]:
    """Shears (2, n) [N/m] as they are read and what they lack."""
    column = np.zeros(len(corners), dtype=np.int64)
    u = Stiffness(model).solve(patch_loads(model.mesh, corners, load, column, 1).toarray())
    rows = [component_rows(model, places, [k] * places.count) for k in range(4, len(RESULTS))]
    under, patches = np.zeros(places.count, dtype=np.int64), [(corners, load)]
    lacking = [
        shears_missed(model, places, [k] * places.count, patches, under)
        for k in range(4, len(RESULTS))
    ]
    return np.stack([(row @ u)[:, 0] for row in rows]), np.stack(lacking)


def test_what_is_known_to_be_lacking_on_an_arc(tmp_path: Path) -> None:
    """With it shears at all points beside the wheel have less than two fifths of their error in the
    mean (measured 0.32 and 0.14) and are within 3 % of the largest (2.1 and 1.4 %)."""
    deck = deck_of(tmp_path, SLAB, PANEL)
    model = build_model(deck).model
    fine = build_model(replace(deck, mesh=replace(deck.mesh, order=6, size=0.4))).model
    points, load = field_points(model), np.array([1e5])
    own, left, largest = [], [], np.zeros(2)
    for centre in CENTRES:
        corners = deck.course.rectangles(np.array([centre]), np.array(SIDES))
        away = np.abs(points.plan - np.array(centre))
        inside = np.abs(points.plan - [2.0, 0.0]).max(axis=1) < 1.74
        chosen = np.flatnonzero((away < SIDES).all(axis=1) & inside)
        here = at_field_points(points, chosen)
        there = at_points(fine.mesh, points.plan[chosen])
        (plain, lacking), (exact, still) = (
            read(*of, corners, load) for of in ((model, here), (fine, there))
        )
        exact = exact + still
        own.append(plain - exact)
        left.append(plain + lacking - exact)
        largest = np.maximum(largest, np.abs(exact).max(axis=1))
    before, after = np.concatenate(own, axis=1), np.concatenate(left, axis=1)
    rms = [np.sqrt(np.mean(errors**2, axis=1)) for errors in (before, after)]
    assert np.all(rms[1] < 0.4 * rms[0])
    assert np.all(np.abs(after).max(axis=1) < 0.03 * largest)
