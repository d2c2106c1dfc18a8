"""What a deck's model says of the readings of a load test, and how stiffnesses change that."""

from dataclasses import replace
from functools import lru_cache

import numpy as np
from scipy import sparse

from pipelines.deck.deck import Deck
from pipelines.deck.load_test import Factor, LoadTest, Reading, Standing
from pipelines.deck.variants import with_factors
from pipelines.errors import JobError
from pipelines.model.beam_rows import beam_strain_row
from pipelines.model.build import (
    MOST_CELLS,
    PATCH_SHARE,
    BuiltModel,
    build_model,
    cell_size,
    model_on,
)
from pipelines.model.solution_checks import CASE_BALANCE, check_balance, check_stiffness, sums
from pipelines.traffic.positions import LoadPositions, Size, dispersed, together
from plate.arrays import Floats
from plate.elements.membrane import membrane_rigidity
from plate.geometry.outline import plan_area
from plate.loads.loads import patch_loads
from plate.model.model import PlateModel
from plate.results.functionals import membrane_rows, result_rows, slope_rows
from plate.results.places import Places, at_points
from plate.solver.sensitivity import displacement_change
from plate.solver.stiffness import Stiffness

# Of the logarithm of a stiffness, by which the elements' matrices are told its influence.
STEP = 1e-4
# Where results stand among those at a place.
W, M_X, M_Y, SLOPES, STRAINS = 0, 1, 2, 6, 8


class LoadedDeck:
    """The deck under the vehicle of a load test, for factors on the stiffnesses to be found.

    Factors are those on what the deck file's tables say, and x their logarithms (n_unknown,). The
    mesh and the loads stay what they are.

    Parameters
    ----------
    built : the deck's model, whose mesh is used.

    Raises
    ------
    JobError
        The vehicle is off the slab at one of its positions.
    """

    def __init__(self, deck: Deck, test: LoadTest, built: BuiltModel) -> None:
        self.deck, self.test, self.mesh = deck, test, built.model.mesh
        self.names = list(dict.fromkeys(reading.position for reading in test.readings))
        self.loads, self.on_slab = _loads(deck, test, self.names, built.model)
        self.places = at_points(self.mesh, np.array([one.at for one in test.readings]))
        self.column = np.array([self.names.index(one.position) for one in test.readings])
        self._solved = lru_cache(maxsize=1)(self._solve)
        check_stiffness(Stiffness(built.model))

    @property
    def thickness(self) -> Floats:
        """Of the slab at the place of each reading (n_reading,) [m]."""
        return thickness_at(model_on(self.deck, self.mesh), self.places, self.test.readings)

    @property
    def start(self) -> Floats:
        """Logarithms (n_unknown,) of the factors that the deck as read has."""
        return np.log([self.deck.factor_on(one.stiffness) for one in self.test.unknowns])

    @property
    def bounds(self) -> tuple[Floats, Floats]:
        """Logarithms (n_unknown,) of the least and the largest factors."""
        unknowns = self.test.unknowns
        return np.log([one.low for one in unknowns]), np.log([one.high for one in unknowns])

    def factors(self, x: Floats) -> tuple[Factor, ...]:
        """The factors of x on the deck file's stiffnesses."""
        pairs = zip(self.test.unknowns, np.exp(x), strict=True)
        return tuple(Factor(one.stiffness, float(value)) for one, value in pairs)

    def model(self, x: Floats) -> PlateModel:
        """The plate model with the factors of x."""
        return model_on(with_factors(self.deck, self.factors(x - self.start)), self.mesh)

    def values(self, x: Floats) -> Floats:
        """What the model says of each reading (n_reading,) [m, -, rad]."""
        _, U, rows = self._solved(tuple(x))
        return self._read(rows, U)

    def jacobian(self, x: Floats) -> Floats:
        """Derivatives (n_reading, n_unknown) of `values`."""
        stiffness, U, _ = self._solved(tuple(x))
        J = np.empty((len(self.column), len(x)))
        for k in range(len(x)):
            less, more = (self.model(x + by * np.eye(len(x))[k]) for by in (-STEP, STEP))
            change = displacement_change(stiffness, U, less, more, STEP)
            rows = self._rows(stiffness.model)
            turned = (self._rows(more) - self._rows(less)) / (2.0 * STEP)
            J[:, k] = self._read(rows, change) + self._read(turned, U)
        return J

    def _solve(self, x: tuple[float, ...]) -> tuple[Stiffness, Floats, sparse.csr_array]:
        stiffness = Stiffness(self.model(np.array(x)))
        U = stiffness.solve(self.loads, refine=True)
        what = f"load test {self.test.name}"
        check_balance(stiffness.reactions(U, self.loads), self.loads, CASE_BALANCE, what)
        return stiffness, U, self._rows(stiffness.model)

    def _read(self, rows: sparse.csr_array, U: Floats) -> Floats:
        return np.asarray((rows @ U)[np.arange(len(self.column)), self.column])

    def _rows(self, model: PlateModel) -> sparse.csr_array:
        """Rows (n_reading, n_dof) of the readings."""
        return reading_rows(model, self.places, self.test.readings)


def reading_rows(
    model: PlateModel, places: Places, readings: tuple[Reading, ...]
) -> sparse.csr_array:
    """Rows (n, n_dof) of readings at places [m, -, rad].

    A strain is that of the mid-plane and the curvature's times the lever, tension positive: sagging
    stretches the bottom.
    """
    n = len(readings)
    rows = [result_rows(model, places), slope_rows(model, places)]
    if model.connected:
        rows.append(_midplane_strains(model, places, readings))
    shares = np.zeros((n, 10))  # of w, m_x, m_y, m_xy, q_x, q_y, both slopes, both strains there
    thickness = thickness_at(model, places, readings)
    Dx, Dy, D1, _ = model.section.rigidities
    soft = np.linalg.inv([[Dx, D1], [D1, Dy]])
    for one, share, t in zip(readings, shares, thickness.tolist(), strict=True):
        along = 0 if one.direction in (None, "x") else 1
        if one.quantity == "deflection":
            share[W] = 1.0
        elif one.quantity == "rotation":
            share[SLOPES + along] = 1.0
        elif not one.beam:
            lever = (0.5 * t if one.lever is None else one.lever) * (-1.0) ** (one.face == "top")
            share[M_X : M_Y + 1] = lever * soft[along] * (model.section.thickness / t) ** 3
            share[STRAINS + along] = 1.0
    parts = (shares[:, :SLOPES], shares[:, SLOPES:STRAINS], shares[:, STRAINS:])
    found = [_each(part) @ row for part, row in zip(parts, rows, strict=False)]
    of_slab = sparse.csr_array(sum(found[1:], found[0]))
    on_beams = [k for k, one in enumerate(readings) if one.beam]
    if not on_beams:
        return of_slab
    gauges = [
        beam_strain_row(
            model,
            readings[k].beam,
            model.mesh.alignment.to_cartesian(np.array(readings[k].at)),
            readings[k].signed_lever,
        )
        for k in on_beams
    ]
    spread = sparse.csr_array(
        (np.ones(len(on_beams)), (on_beams, np.arange(len(on_beams)))), shape=(n, len(on_beams))
    )
    return sparse.csr_array(of_slab + spread @ sparse.vstack(gauges, format="csr"))


def _each(shares: Floats) -> sparse.csr_array:
    """Rows (n, k n) that take of the k results at each of n places their shares (n, k)."""
    n, k = shares.shape
    return sparse.csr_array((shares.ravel(), np.arange(n * k), k * np.arange(n + 1)), (n, n * k))


def thickness_at(model: PlateModel, places: Places, readings: tuple[Reading, ...]) -> Floats:
    """Of the slab at places (n,) [m]."""
    return model.section.thickness_at(_inside(model, places, readings))


def _inside(model: PlateModel, places: Places, readings: tuple[Reading, ...]) -> Floats:
    """Places of readings (n, 2) in plan, drawn a little to the middle of one of the cells in which
    they lie, so that the thickness there is that of the cell."""
    plan = np.array([reading.at for reading in readings])
    _, first = np.unique(places.place, return_index=True)
    middle = model.mesh.plan[model.mesh.cells[places.cells[first]]].mean(axis=1)
    return np.asarray(plan + 1e-6 * (middle - plan))


def _midplane_strains(
    model: PlateModel, places: Places, readings: tuple[Reading, ...]
) -> sparse.csr_array:
    """Rows (2 n, n_dof) of the strains of the mid-plane along and across [-]."""
    plan = _inside(model, places, readings)
    soft = np.linalg.inv(membrane_rigidity(model.section, plan)[:, :2, :2])
    forces = membrane_rows(model, places)
    n = len(readings)
    # n_x and n_y of each place, in place of all three.
    index = 3 * np.arange(n)[:, None, None] + np.zeros((1, 2, 1), dtype=int) + np.arange(2)
    turn = sparse.csr_array((soft.ravel(), index.ravel(), 2 * np.arange(2 * n + 1)), (2 * n, 3 * n))
    return sparse.csr_array(turn @ forces)


def build_for(deck: Deck, test: LoadTest) -> BuiltModel:
    """The deck's model, with cells as small as the wheels of the test where strains are read."""
    size, notes = cell_size(deck)
    least = float(np.sqrt(plan_area(deck.plan) / MOST_CELLS))
    on_slab = any(one.quantity == "strain" and not one.beam for one in test.readings)
    if deck.mesh.size is None and on_slab:
        wheels = min(min(patch) for patch in spread_patches(deck, test))
        size = min(size, max(PATCH_SHARE * wheels, least))
    built = build_model(replace(deck, mesh=replace(deck.mesh, size=size)))
    return replace(built, notes=(*notes, *built.notes))


def spread_patches(deck: Deck, test: LoadTest) -> tuple[Size, ...]:
    """Sides of each axle's wheels [m]: spread as [traffic] says, without it as they touch."""
    patches = (axle.patch for axle in test.vehicle.axles)
    if deck.traffic is None:
        return tuple(patches)
    traffic, thickness = deck.traffic, deck.slab.thickness
    return tuple(dispersed(patch, traffic, thickness) for patch in patches)


def _loads(
    deck: Deck, test: LoadTest, names: list[str], model: PlateModel
) -> tuple[Floats, Floats]:
    """Right-hand sides (n_plate_dof, n_position) [N] of load positions, and the share (n_position,)
    of the vehicles' weight that is on the slab."""
    columns, shares = [], []
    weight = sum(axle.load for axle in test.vehicle.axles)
    for name in names:
        standings = test.positions[name]
        wheels = together([(_stand(deck, test, one).wheels(slice(0, 1)), 1.0) for one in standings])
        F = patch_loads(model.mesh, wheels.corners, wheels.load, wheels.position, 1).toarray()
        columns.append(F[:, 0])
        shares.append(float(sums(F)[0]) / (weight * len(standings)))
        if shares[-1] < 1e-9:
            raise JobError(
                f"{deck.path}: [[loadtest]] {test.name}, position {name}: no wheel of it is on the "
                "slab"
            )
    return np.column_stack(columns), np.array(shares)


def _stand(deck: Deck, test: LoadTest, one: Standing) -> LoadPositions:
    return LoadPositions(
        vehicle=test.vehicle,
        direction=one.direction,
        stations=np.array([one.station]),
        offsets=np.array([one.offset]),
        patches=spread_patches(deck, test),
        course=deck.course,
    )
