"""Membrane forces that act with the moments: those the deck file imposes, and a composite deck's.

The bars of one face are at y_s from mid-depth and the compressed concrete beyond it at the arm
t = (h - lambda x)/2, so that z = y_s + t. The bars' force m/z + n t/z, times z, is the moment
m + n t: with it in place of m, bars are judged as in bending alone. x and with it t are those of
the section's resistance in bending; a tension n makes x smaller, which is on the safe side for
moments about the bars, and stays so where the whole section is in tension (there z is the distance
of the bars, which is less, and the force (m - n y_s)/z + n is larger with the longer z).

Compression of a composite deck's own n relieves the bars, but thickens the stress block: the arm
3 t - h, which is t less twice half the block, is safe up to compression as large as the bars' yield
force. Imposed compression is never counted on.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy import sparse

from pipelines.deck.deck import Deck
from pipelines.deck.reinforcement import ImposedForce
from pipelines.model.responses import Response
from pipelines.standards.materials import Materials
from pipelines.standards.resistance.bars import LAYERS, Layer, SlabBars
from pipelines.standards.resistance.bending import compression_arm, layer_section
from plate.arrays import Floats
from plate.geometry.plan import Plan
from plate.loads.imposed import ImposedStrain
from plate.model.model import PlateModel
from plate.results.fields import FieldPoints
from plate.results.functionals import held_forces, membrane_rows
from plate.results.places import at_field_points
from plate.solver.solution import LocalRows

NEAR = 1e-9  # m: a zone's own edge belongs to it


@dataclass(frozen=True, kw_only=True)
class MembraneForces:
    """What acts besides the moments at the field points.

    arms : layer -> t [m]; thickness : h [m]. ultimate, characteristic : (3, n_point) imposed n_x,
    n_y, n_xy [N/m], tension positive, None where the deck file imposes none. rows : to the model's
    own n (3 n_point, n_dof), None unless a beam is joined to the slab's membrane; held : (3,
    n_point) of the slab held in its plane, a unit of strain imposed.
    """

    arms: Mapping[Layer, float]
    thickness: float
    ultimate: Floats | None = None
    characteristic: Floats | None = None
    rows: sparse.csr_array | None = None
    held: Floats | None = None

    @cached_property
    def _read(self) -> LocalRows | None:
        return None if self.rows is None else LocalRows(self.rows)

    def own(self, response: Response) -> Floats | None:
        """The model's n_x, n_y, n_xy (3, n_point, n) [N/m]."""
        if self._read is None:
            return None
        found = response.of_slab(self._read)
        found = found.reshape(3, -1, found.shape[1])
        if response.imposed is not None and self.held is not None:
            found = found + response.slab * response.imposed.mean * self.held[..., None]
        return found

    def with_moments(self, layer: Layer, moments: Floats, forces: Floats | None) -> Floats:
        """m + n t of a layer, for the signs of m: sagging is positive at both faces.

        moments, forces : (3, ...) of the same shape. Of parts that are added later each may have
        its own sign: the sum is then on the safe side of the sum's own sign.
        """
        if forces is None:
            return moments
        t = np.full(forces.shape, self.arms[layer])
        pressed = max(3 * self.arms[layer] - self.thickness, 0.0)
        t[:2] = np.where(forces[:2] < 0, pressed, t[:2])
        sign = 1.0 if layer[0] == "bottom" else -1.0
        return np.asarray(moments + sign * t * forces)


def membrane_forces(
    deck: Deck, model: PlateModel, points: FieldPoints, grades: Sequence[Materials]
) -> MembraneForces | None:
    """None where no membrane force acts. grades : of all standards; the longest arm counts."""
    reinforcement = deck.reinforcement
    assert reinforcement is not None
    if not reinforcement.imposed and not model.connected:
        return None
    ultimate = characteristic = None
    if reinforcement.imposed:
        ultimate, characteristic = (
            imposed_field(deck.plan, points.plan, reinforcement.imposed, ultimate=u)
            for u in (True, False)
        )
    rows = held = None
    if model.connected:
        rows = _own_rows(model, points)
        places = at_field_points(points, np.arange(points.n_points))
        held = held_forces(model, places, ImposedStrain(mean=1.0)).reshape(-1, 3).T
    return MembraneForces(
        arms=arms(reinforcement.bars, grades),
        thickness=reinforcement.bars.thickness,
        ultimate=ultimate,
        characteristic=characteristic,
        rows=rows,
        held=held,
    )


def arms(bars: SlabBars, grades: Sequence[Materials]) -> dict[Layer, float]:
    """t of every layer [m], the longest of the standards'."""
    return {
        layer: max(float(compression_arm(layer_section(bars, layer), mat)) for mat in grades)
        for layer in LAYERS
    }


def imposed_field(
    plan: Plan, points: Floats, forces: Sequence[ImposedForce], *, ultimate: bool
) -> Floats:
    """n_x, n_y, n_xy (3, n) [N/m] at plan points (n, 2); zones that overlap add."""
    station = plan.logical_station(points)
    found = np.zeros((3, len(points)))
    for force in forces:
        inside = np.ones(len(points), dtype=bool)
        for value, limits in ((station, force.stations), (points[:, 1], force.offsets)):
            if limits is not None:
                inside &= (value >= limits[0] - NEAR) & (value <= limits[1] + NEAR)
        n = np.array(force.n) * (force.gamma if ultimate else 1.0)
        found[:, inside] += n[:, None]
    return found


def _own_rows(model: PlateModel, points: FieldPoints) -> sparse.csr_array:
    """Rows (3 n_point, n_dof) of n_x, then n_y, then n_xy at all field points."""
    places = at_field_points(points, np.arange(points.n_points))
    rows = membrane_rows(model, places)
    return sparse.csr_array(rows[np.arange(rows.shape[0]).reshape(-1, 3).T.ravel()])


def in_direction(forces: Floats, angle: Floats) -> Floats:
    """n across a section whose normal is at `angle` [rad] to x, of n_x, n_y, n_xy (3, ...)."""
    c, s = np.cos(angle), np.sin(angle)
    return np.asarray(forces[0] * c**2 + forces[1] * s**2 + 2 * forces[2] * c * s)


def largest_tension(forces: Floats) -> float:
    """Largest principal tension [N/m] of n_x, n_y, n_xy (3, n), at least 0."""
    mean, half = (forces[0] + forces[1]) / 2, (forces[0] - forces[1]) / 2
    return float(np.max(mean + np.hypot(half, forces[2]), initial=0.0))
