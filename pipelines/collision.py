"""Barrier collision at a side edge: moment and tension that the slab's top bars must take.

A horizontal force outwards at a height above the slab spreads along the edge through the parapet,
and is carried inwards by the slab at the parapet's inner face: m = F (height + h/2) / L about
mid-depth, with the tension n = F / L. Accidental combination: permanent actions and no other load,
accidental partial factors.

Forces for the user's orientation, from memory: EN 1991-2 table 4.9 classes A to D: 100, 200, 400,
600 kN over 0.5 m, at 1.0 m above the carriageway or 0.1 m below the parapet's top; AASHTO A13.2
TL-4: 54 kip over 3.5 ft (later editions more). EN 1991-2 4.7.3.3(2) also asks for 1.25 times the
parapet's own resistance: the user enters the larger. A vertical wheel load that acts together with
the collision (4.7.3.3(1)) is not included.
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pipelines.bars import Layer, SlabBars
from pipelines.bending import capacity, compression_arm, layer_section
from pipelines.clauses import Source, Standard
from pipelines.designenvelope import row_of
from pipelines.detailing_rules import Row
from pipelines.grades import Materials
from pipelines.reinforcement import Collision
from plate.plan import Plan

Floats = NDArray[np.float64]

TOP: Layer = ("top", "y")
ROW = 3  # of designenvelope.ROWS

# gamma_c, gamma_s, and the factor on permanent actions; AASHTO: phi = 1 in extreme event II.
ACCIDENTAL: dict[Standard, tuple[float, float, float, Source]] = {
    "EN 1992": (
        1.2,
        1.0,
        1.0,
        Source("EN 1992", "EN 1991-2 4.7.3.3, EN 1992-1-1 table 2.1N, EN 1990 (6.11)"),
    ),
    "IRC:112": (1.2, 1.0, 1.0, Source("IRC:112", "IRC:6 206, IRC:112 6.4.2.8, 6.3.5 (accidental)")),
    "AASHTO LRFD": (1.0, 1.0, 1.25, Source("AASHTO LRFD", "A13.4.1, extreme event II, phi = 1")),
}


def edge_forces(collision: Collision, thickness: float) -> tuple[float, float]:
    """Moment about mid-depth [N m/m], tension at the top positive, and tension n [N/m]."""
    length = collision.length + 2 * collision.height * np.tan(collision.spread)
    n = collision.force / length
    return float(n * (collision.height + thickness / 2)), float(n)


def accidental(mat: Materials) -> Materials:
    """The materials with the factors of the accidental combination."""
    gamma_c, gamma_s, _, _ = ACCIDENTAL[mat.standard]
    factors = replace(mat.factors, gamma_c=gamma_c, gamma_s=gamma_s)
    if mat.standard == "AASHTO LRFD":
        factors = replace(factors, phi_bending=1.0, phi_bending_least=1.0)
    return replace(mat, factors=factors)


def collision_rows(
    collision: Collision | None,
    bars: SlabBars,
    mat: Materials,
    plan: Plan,
    points: Floats,
    permanent: Floats,
) -> tuple[Row, ...]:
    """A row for each edge, the moment m + n t against the resistance of the top bars across.

    points : (n, 2) in plan [m]; permanent : (3, n) m_x, m_y, m_xy of all permanent actions.
    """
    if collision is None:
        return ()
    _, _, factor, source = ACCIDENTAL[mat.standard]
    grades, section = accidental(mat), layer_section(bars, TOP)
    m, n = edge_forces(collision, bars.thickness)
    arm, m_Rd = float(compression_arm(section, grades)), float(capacity(section, grades).m_Rd)
    hogging = factor * row_of(permanent, ROW)
    rows = []
    for edge in collision.edges:
        near = _at_inner_face(plan, points, edge, collision.inner_face, bars.thickness)
        dead = float(hogging[near].max(initial=0.0))
        rows.append(
            Row(
                "barrier collision, m + n t (accidental)",
                f"{edge} edge: top, bars along y",
                m + n * arm + dead,
                m_Rd,
                "at least",
                "N m/m",
                source,
            )
        )
    return tuple(rows)


def _at_inner_face(
    plan: Plan, points: Floats, edge: str, inner: float, thickness: float
) -> NDArray[np.bool_]:
    """Points within a thickness of the parapet's inner face."""
    limits = plan.line_offsets(plan.logical_station(points))
    gap = points[:, 1] - limits[:, 0] if edge == "left" else limits[:, -1] - points[:, 1]
    return np.asarray(np.abs(gap - inner) <= thickness)
