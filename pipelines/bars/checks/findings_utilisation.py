"""Resistance and utilisation beside the findings of a deck with bars.

Design moment = permanent actions of the plate with the factors that are worse, and the traffic of
the finding with its factor: once by the strip, once by the plate. Moments of the bars' own
direction; twisting moments and membrane forces are in the check of the bars, not here.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from pipelines.bars.checks.bending_and_service import resistances
from pipelines.bars.demand.control_sections import field_interpolation
from pipelines.bars.demand.moments import permanent_fields
from pipelines.bars.drawn_parts import DrawnBars
from pipelines.findings.finding import Finding, Used
from pipelines.model.responses import Response, SolvedDeck
from pipelines.standards.actions.combinations import combination
from pipelines.standards.actions.load_models import counts_under
from pipelines.standards.resistance.bars import Direction, Face
from plate.arrays import Floats
from plate.conventions import RESULTS

MOMENTS = {RESULTS.index("m_x"): "x", RESULTS.index("m_y"): "y"}


def with_utilisation(
    solved: SolvedDeck, cases: Mapping[str, Response], findings: Sequence[Finding]
) -> tuple[Finding, ...]:
    """The findings on moments with m_Rd [N m/m] and utilisations by the first standard named,
    under traffic that counts under it.

    None is added where the deck file gives no bars, or bars that are not orthogonal.
    """
    deck, reinforcement = solved.deck, solved.deck.reinforcement
    if reinforcement is None or abs(reinforcement.angle - 0.5 * np.pi) > 1e-6:
        return tuple(findings)
    materials = reinforcement.bases[0].materials
    ultimate = combination(materials.factors, "ULS")
    if ultimate is None:
        return tuple(findings)
    drawn = DrawnBars.of(solved, materials)
    at = np.array([row.plate.at for row in findings]).reshape(-1, 2)
    m_Rd = drawn.at(at, lambda bars: resistances(bars, materials))
    permanent = {
        action: _where_read(solved, fields, findings)
        for action, fields in permanent_fields(deck, cases, slice(1, 4)).items()
    }

    def found(k: int, row: Finding) -> Finding:
        if row.section.component not in MOMENTS or not counts_under(row.load, materials.standard):
            return row
        direction: Direction = "x" if MOMENTS[row.section.component] == "x" else "y"
        sign = 1.0 if row.plate.peak >= 0.0 else -1.0
        face: Face = "bottom" if sign > 0.0 else "top"
        steady = 0.0
        for action, moments in permanent.items():
            value = sign * float(moments[row.section.component - 1, k])
            steady += max(factor * value for factor in ultimate.permanent[action])
        resistance = float(m_Rd[face, direction][k])

        def used(traffic: float) -> float:
            return max(steady + ultimate.traffic * sign * traffic, 0.0) / resistance

        strip = None if row.hand.value is None else used(row.hand.value)
        return replace(
            row,
            used=Used(
                resistance=sign * resistance,
                by_strip=strip,
                by_plate=used(row.plate.peak),
                standard=materials.standard,
            ),
        )

    return tuple(found(k, row) for k, row in enumerate(findings))


def _where_read(solved: SolvedDeck, fields: Floats, findings: Sequence[Finding]) -> Floats:
    """Values (3, n) of fields (3, n_point) where each finding is read: at its field point, or where
    its section lies beside them."""
    found = fields[:, [row.plate.point for row in findings]]
    beside = [k for k, row in enumerate(findings) if row.section.s is not None]
    if beside:
        at = np.array([findings[k].plate.at for k in beside])
        found[:, beside] = (field_interpolation(solved, at) @ fields.T).T
    return found
