"""What a run makes of the check that a multiplier was found for."""

from pipelines.bars.adequacy import Check, check_of
from pipelines.bars.design import StandardDesign
from pipelines.bars.rating.multipliers import Multiplier, Rated
from pipelines.bars.rating.root import MOST
from pipelines.standards.resistance.bars import place_of

# Of a multiplier: beyond its own closeness, and small against a step of anything.
JUST = 1e-3


COARSE = """
[mesh]
size_m = 1.5
order = 2
"""


def utilisation(one: StandardDesign, of: Multiplier) -> float:
    """Of the same check, in the run."""
    if of.check is Check.BENDING:
        [layer] = [check for check in one.layers if place_of(check.layer) == of.words]
        return layer.utilisation
    if of.check is Check.SHEAR:
        assert one.design_shear is not None
        return one.design_shear.utilisation
    if of.check is Check.PUNCHING:
        assert one.punching is not None
        return one.punching.utilisation
    [row] = [row for row in one.rows if row.check == of.rule and row.place == of.words]
    assert check_of(row) is of.check
    return row.utilisation


def looked_at(rated: Rated) -> list[Multiplier]:
    """One multiplier of every check, and of every layer in bending."""
    first = {(m.check, m.words if m.check is Check.BENDING else ""): m
             for m in reversed(rated.multipliers)}  # fmt: skip
    return [m for m in first.values() if 0.0 < m.value < MOST]
