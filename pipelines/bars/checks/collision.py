"""Barrier collision at a side edge: moment and tension that the slab's top bars must take.

A horizontal force outwards at a height above the slab spreads along the edge through the parapet,
and is carried inwards by the slab: m = F (height + h/2) / L about mid-depth, with the tension
n = F / L, L growing at the same angle in the slab. Two sections: the parapet's inner face and,
where the slab cantilevers past it, the first line that carries it. Accidental combination:
permanent actions, the vertical force that the deck file states, and no other load; accidental
partial factors. Nothing counts within a thickness of a place whose moments are infinite.

Forces for the user's orientation, from memory: EN 1991-2 table 4.9 classes A to D: 100, 200, 400,
600 kN over 0.5 m, at 1.0 m above the carriageway or 0.1 m below the parapet's top; with it acts a
vertical force of 0.75 alpha_Q1 Q_1k = 225 kN (4.7.3.3(1)), here as one wheel of 0.40 m square
against the parapet, anywhere along the edge. AASHTO A13.2 TL-4: 54 kip over 3.5 ft (later editions
more). EN 1991-2 4.7.3.3(2) also asks for 1.25 times the parapet's own resistance: the user enters
the larger. AASHTO A13.4.1 designs the overhang for what its barrier can hand over, M_c with the
tension R_w / (L_c + 2 H), which takes the barrier's own resistances: that is not done here, and the
rows say so.
"""

from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from pipelines.bars.demand.wood_armer import layer_moment
from pipelines.bars.drawn_parts import DrawnBars
from pipelines.deck.deck import Deck
from pipelines.deck.reinforcement import Collision
from pipelines.deck.thicknesses import Thicknesses
from pipelines.deck.words import line_title
from pipelines.model.fixed_loads import FixedLoads
from pipelines.model.position_blocks import stream
from pipelines.model.responses import SolvedDeck
from pipelines.standards.detailing.rules import Row
from pipelines.standards.factors import Factors
from pipelines.standards.materials import Materials
from pipelines.standards.resistance.bars import Layer, SlabBars
from pipelines.standards.resistance.bending import capacity, compression_arm, layer_section
from pipelines.standards.sources import Source, Standard
from pipelines.traffic.positions import WheelPatches
from plate.arrays import Floats

TOP: Layer = ("top", "y")
ROW = 3  # of LAYER_ROWS
WHEEL = 0.40  # side of the patch of the vertical force [m]
STEP = 0.5  # of its places along the edge [m]

# What spreads the force, for the rows: no clause of the three.
SPREAD = "force spread through parapet and slab at the stated angle (common practice)"

ACCIDENTAL: dict[Standard, Source] = {
    "EN 1992": Source(
        "EN 1992",
        f"EN 1991-2 4.7.3.3(1), EN 1992-1-1 table 2.1N, EN 1990 (6.11); {SPREAD}; not "
        "4.7.3.3(2), 1.25 times the parapet's own resistance",
    ),
    "IRC:112": Source("IRC:112", f"IRC:6 206, IRC:112 6.4.2.8, 6.3.5 (accidental); {SPREAD}"),
    "AASHTO LRFD": Source(
        "AASHTO LRFD",
        f"A13.2 force F_t, extreme event II, phi = 1; {SPREAD}; not A13.4.1, which takes the "
        "barrier's R_w and M_c over L_c + 2 H",
    ),
}


def edge_forces(
    collision: Collision, thickness: ArrayLike, inside: ArrayLike = 0.0
) -> tuple[Floats, Floats]:
    """Moment about mid-depth [N m/m], tension at the top positive, and tension n [N/m], at
    distances `inside` the parapet's inner face [m]."""
    spread = 2 * (collision.height + np.asarray(inside)) * np.tan(collision.spread)
    n = np.asarray(collision.force / (collision.length + spread))
    return np.asarray(n * (collision.height + np.asarray(thickness) / 2)), n


def accidental(mat: Materials) -> Materials:
    """The materials with the factors of the accidental combination."""
    factors = mat.factors
    if mat.standard == "AASHTO LRFD":  # extreme event II
        factors = factors.with_values(phi_bending=1.0, phi_bending_least=1.0)
    else:
        factors = factors.with_values(
            gamma_c=factors["gamma_c_accidental"], gamma_s=factors["gamma_s_accidental"]
        )
    return replace(mat, factors=factors)


def permanent_factor(factors: Factors) -> float:
    """On permanent actions in the accidental combination."""
    return factors["gamma_DC_sup"] if factors.standard == "AASHTO LRFD" else 1.0


def collision_rows(solved: SolvedDeck, mat: Materials, permanent: Floats) -> tuple[Row, ...]:
    """Rows for each edge, the moment m + n t against the resistance of the top bars across.

    permanent : (3, n_point) m_x, m_y, m_xy of all permanent actions.
    """
    deck = solved.deck
    reinforcement = deck.reinforcement
    assert reinforcement is not None
    if reinforcement.collision is None:
        return ()
    factor, source = permanent_factor(mat.factors), ACCIDENTAL[mat.standard]
    grades, drawn = accidental(mat), DrawnBars.of(solved, mat)
    points = solved.recovery.points.plan
    h = Thicknesses.of(deck).at(points)

    def arms(bars: SlabBars) -> dict[Layer, float]:
        return {TOP: float(compression_arm(layer_section(bars, TOP), grades))}

    def resistances(bars: SlabBars) -> dict[Layer, float]:
        return {TOP: float(capacity(layer_section(bars, TOP), grades).m_Rd)}

    arm, m_Rd = drawn.at(points, arms)[TOP], drawn.at(points, resistances)[TOP]
    rows = []
    for edge in reinforcement.collision.edges:
        hogging = worst_hogging(solved, reinforcement.collision, edge, factor * permanent)
        gap, lines = _gaps(deck, edge, points)
        inner = reinforcement.collision.inner_face
        sections = [("parapet's inner face", np.full(len(points), inner))]
        carrying = [(name, at) for name, at in lines if deck.line(name) is not None]
        # a line below the parapet leaves no cantilever
        if carrying and (carrying[0][1] > inner).all():
            name, at = carrying[0]
            sections.append((line_title(deck, name), at))
        for where, at in sections:
            m, n = edge_forces(reinforcement.collision, h, at - inner)
            near = solved.readable & (np.abs(gap - at) <= h)
            acting, resists = (m + n * arm + hogging)[near], m_Rd[near]
            worst = int((acting / resists).argmax())
            rows.append(
                Row(
                    check="barrier collision, m + n t (accidental)",
                    place=f"{edge} edge, {where}: top, bars along y",
                    required=float(acting[worst]),
                    provided=float(resists[worst]),
                    sense="at least",
                    unit="N m/m",
                    source=source,
                )
            )
    return tuple(rows)


def worst_hogging(solved: SolvedDeck, collision: Collision, edge: str, permanent: Floats) -> Floats:
    """(n_point,) moment of the top bars across [N m/m] under permanent moments (3, n_point), with
    the vertical force against the parapet anywhere along an edge, or without it."""
    worst = layer_moment(permanent, ROW)
    if not collision.vertical:
        return worst
    plan, (low, high) = solved.deck.plan, solved.deck.plan.u_range
    u = np.linspace(low, high, int(np.ceil((high - low) / STEP)) + 1)
    limits = plan.line_offsets(u)
    inwards = collision.inner_face + WHEEL / 2
    y = limits[:, 0] + inwards if edge == "left" else limits[:, -1] - inwards
    corners = plan.alignment.rectangles(plan.at(u, y), WHEEL)
    load, first = np.array([collision.vertical]), np.zeros(1, dtype=np.int64)
    held = [WheelPatches(corner[None], load, first) for corner in corners]
    loads = FixedLoads("vertical force of the collision", held)
    for _, response, _ in stream(solved, [loads], lambda *_: None):
        for index, fields in response.parts:
            moments = layer_moment(permanent[:, index, None] + fields[1:4], ROW)
            worst[index] = np.maximum(worst[index], moments.max(axis=1))
    return worst


def _gaps(deck: Deck, edge: str, points: Floats) -> tuple[Floats, list[tuple[str, Floats]]]:
    """Distances (n,) from plan points (n, 2) and, at their stations, of the lines along the deck
    to a side edge [m], the nearest line first."""
    limits = deck.plan.line_offsets(deck.plan.logical_station(points))
    names = [f"L{k}" for k in range(1, limits.shape[1] - 1)]
    if edge == "left":
        gaps, own = limits - limits[:, :1], points[:, 1] - limits[:, 0]
    else:
        gaps, own = limits[:, -1:] - limits, limits[:, -1] - points[:, 1]
    lines = [(name, gaps[:, k + 1]) for k, name in enumerate(names)]
    return own, lines if edge == "left" else lines[::-1]
