"""The slab under a sum of static cases with the stiffness that its cracks leave it.

Every cell has a secant stiffness along x and along y, by the layer of the mat in tension: its
curvature lies between those of the plain and of the cracked section, EN 1992-1-1 7.4.3 (3) (from
memory) with beta = 1, the first loading, by which the stiffness does not jump when the section
cracks. The moments of a step give the stiffness of the next, each halfway from the last, until
moments no longer change. Added bars and the slab's shear stiffness are left as they are.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pipelines.deck.cases import Sum
from pipelines.deck.deck import Deck
from pipelines.deck.thicknesses import Thicknesses
from pipelines.model.responses import Response, SolvedDeck
from pipelines.model.solution_checks import CASE_BALANCE
from pipelines.model.static_cases import case_load
from pipelines.standards.materials import Materials
from pipelines.standards.resistance.bars import DIRECTIONS, LAYERS, Layer, SlabBars
from pipelines.standards.resistance.bending import layer_section
from pipelines.standards.resistance.cracking import cracked_state
from pipelines.standards.sources import Source
from plate.arrays import Floats
from plate.interpolation import gauss, shape, square
from plate.model.model import PlateModel
from plate.results.fields import FieldPoints

SOURCE = Source("EN 1992", "7.4.3 (3), first loading")
# Settled: moments change by less than this share of the largest one, and every cell's stiffness is
# as near to the secant of its moment.
SETTLED, SECANT = 2e-3, 1e-2
MOST_STEPS = 40
# Unit moment for the cracked section, whose stiffness does not depend on it [N m/m].
UNIT = 1e4


@dataclass(frozen=True)
class Step:
    """change : of a moment since the step before, as a share of the largest (NaN in the first);
    off : largest difference of a cell's stiffness from the secant of its moment, as a share of
    that; least : share of D that the softest cell has; w, m : largest deflection [m] and moment,
    m_x or m_y [N m/m], in magnitude."""

    change: float
    off: float
    least: float
    w: float
    m: float


@dataclass(frozen=True, eq=False, kw_only=True)
class CrackedSum:
    """A sum of static cases by three stiffnesses of the slab.

    gross, filed, cracked : responses uncracked, with the factors of the deck file, and as iterated;
    shares : (n_cell, 2) of D_x and D_y that are left. settled : whether the last step changed
    nothing more.
    """

    name: str
    gross: Response
    filed: Response
    cracked: Response
    shares: Floats
    steps: tuple[Step, ...]
    settled: bool


@dataclass(frozen=True)
class Secant:
    """Secant stiffness of a layer over that of the plain section, by the moment that pulls it.

    m_cr : cracking moment [N m/m]; ratio : stiffness of the plain section over the cracked one's.
    """

    m_cr: float
    ratio: float

    @classmethod
    def of(cls, bars: SlabBars, layer: Layer, mat: Materials, E_c: float) -> "Secant":
        """Of a layer of the mats; E_c : the slab's modulus [Pa]."""
        section, h = layer_section(bars, layer), bars.thickness
        state = cracked_state(section, UNIT, E_c, mat.steel.E_s)
        strain = float(state.sigma_s) / mat.steel.E_s
        d = bars.effective_depth(layer)
        cracked = UNIT * (d - float(state.x)) / strain
        ratio = max(E_c * h**3 / 12.0 / cracked, 1.0)
        return cls(mat.concrete.f_ct * h**2 / 6.0, ratio)

    def share(self, m: Floats) -> Floats:
        """Shares of moments >= 0, of the same shape."""
        zeta = 1.0 - (self.m_cr / np.maximum(m, self.m_cr)) ** 2
        return 1.0 / (1.0 - zeta + zeta * self.ratio)


Laws = Sequence[tuple[NDArray[np.bool_], Mapping[Layer, Secant]]]
"""Of cells of one thickness (n_cell,) the secants of every layer."""


def cracked_sums(solved: SolvedDeck, deck: Deck) -> tuple[CrackedSum, ...]:
    """The sums that the deck file asks for with cracked stiffness; deck : with its bars."""
    asked = [one for one in deck.sums if one.cracked]
    if not asked:
        return ()
    reinforcement = deck.required_reinforcement
    mat = reinforcement.bases[0].materials
    points = solved.recovery.points
    depth = Thicknesses.of(deck).at(points.plan[points.cells].mean(axis=1))
    laws = []
    for t in np.unique(depth).tolist():
        bars = reinforcement.bars.at(t)
        of = {layer: Secant.of(bars, layer, mat, deck.slab.E) for layer in LAYERS}
        laws.append((depth == t, of))
    return tuple(_iterated(solved, one, laws) for one in asked)


def _iterated(solved: SolvedDeck, asked: Sum, laws: Laws) -> CrackedSum:
    model = solved.model
    plain = replace(model, section=replace(model.section, factors=(1.0, 1.0, 1.0)))
    cases = {case.name: case for case in solved.deck.cases}
    loads = [f * case_load(solved.deck, cases[name], model) for name, f in asked.factors]
    F = np.sum(loads, axis=0)[:, None]

    def respond(model: PlateModel) -> Response:
        there = replace(
            solved,
            stiffness=solved.models.stiffness(model),
            recovery=solved.models.recovery(model),
        ).of_deck(solved.deck)
        response = there.respond(F, refine=True)
        response.check(F, CASE_BALANCE, f"sum {asked.name}")
        return response

    gross = response = respond(plain)
    shares = np.ones((model.mesh.n_cells, 2))
    wanted = secant_shares(response, laws)
    steps = [_step(response, shares, wanted, np.nan)]
    settled = False
    while not settled and len(steps) < MOST_STEPS:
        shares = np.sqrt(shares * wanted)
        before, response = response, respond(replace(plain, softened=shares))
        moments = [one.fields[1:4] for one in (before, response)]
        change = float(np.abs(moments[1] - moments[0]).max() / np.abs(moments[0]).max())
        wanted = secant_shares(response, laws)
        steps.append(_step(response, shares, wanted, change))
        settled = change < SETTLED and steps[-1].off < SECANT
    return CrackedSum(
        name=asked.name,
        gross=gross,
        filed=respond(model),
        cracked=response,
        shares=shares,
        steps=tuple(steps),
        settled=settled,
    )


def secant_shares(response: Response, laws: Laws) -> Floats:
    """(n_cell, 2) shares of D_x and D_y by the mean moments of every cell: of each direction the
    layer that its moment pulls, by |m| + |m_xy| as bars are designed for."""
    points = response.recovery.points
    m_x, m_y, m_xy = cell_means(points, response.fields[1:4, :, 0])
    found = np.empty((len(m_x), 2))
    for cells, of in laws:
        for k, (direction, m) in enumerate(zip(DIRECTIONS, (m_x, m_y), strict=True)):
            pulled = np.abs(m[cells]) + np.abs(m_xy[cells])
            below, above = (of[face, direction].share(pulled) for face in ("bottom", "top"))
            found[cells, k] = np.where(m[cells] >= 0.0, below, above)
    return found


def cell_means(points: FieldPoints, values: Floats) -> Floats:
    """Means (k, n_cell) over every cell's reference square of values (k, n_point)."""
    x, weight = gauss(points.order + 1)
    weights = np.outer(weight, weight).ravel() / 4.0
    return np.asarray(values[:, points.cells] @ (weights @ shape(points.order, square(x, x))))


def _step(response: Response, shares: Floats, wanted: Floats, change: float) -> Step:
    off = float(np.abs(shares / wanted - 1.0).max())
    w, m_x, m_y = np.abs(response.fields[:3, :, 0]).max(axis=1).tolist()
    return Step(change, off, float(shares.min()), w, max(m_x, m_y))
