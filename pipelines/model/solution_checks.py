"""What a solution is held to before anything is read from it: finite values, equilibrium, and of a
factorised model its residual and reciprocity."""

from collections.abc import Mapping

import numpy as np

from plate.arrays import Floats
from plate.conventions import N_FIELDS
from plate.errors import SolutionError
from plate.solver.nested_dissection import Loads as RightHandSides
from plate.solver.solution import Solution
from plate.solver.stiffness import Stiffness

# What may be out of balance, as a share of the load: static cases are refined; load positions are
# not, and the thin limit costs them digits.
CASE_BALANCE = 1e-5
POSITION_BALANCE = 1e-3
# What a factorised model's answers to two trial loads may be wrong by, as a share of their energy:
# how far they are from Betti's reciprocity, and what a residual leaves of them, which load
# positions keep: well below the three figures of print.
RECIPROCITY = 1e-8
RESIDUAL = 1e-4


def sums(F: RightHandSides) -> Floats:
    """Sums (n,) [N] of the forces of right-hand sides, and of the loads put on the slab."""
    down = np.zeros(F.shape[0])
    down[::N_FIELDS] = 1.0
    return np.asarray(down @ F)


def check_finite(solution: Solution, what: str) -> None:
    """Stop where a solution is not finite.

    Raises
    ------
    SolutionError
        With the name of the check and `what` was solved.
    """
    if not solution.is_finite:
        raise SolutionError(f"{what}: check of finite values: the solution is not finite")


def check_balance(
    reactions: Mapping[str, Floats], F: RightHandSides, tolerance: float, what: str
) -> None:
    """Stop where reactions do not carry the load.

    tolerance : share of the sum of the loads' sizes that may be out of balance.

    Raises
    ------
    SolutionError
        With the name of the check, `what` was solved and by how much it fails.
    """
    put = sums(np.abs(F) if isinstance(F, np.ndarray) else abs(F))
    check_sum(reactions, sums(F), put, tolerance, what)


def check_sum(
    reactions: Mapping[str, Floats], total: Floats, size: Floats, tolerance: float, what: str
) -> None:
    """Stop where reactions do not sum to the load (n,) [N], to a share of some forces' size (n,)
    [N]; raises SolutionError as `check_balance`."""
    carried = sum(reactions.values(), np.zeros_like(total))
    gap = np.abs(carried - total) / np.where(size > 0.0, size, 1.0)
    # Not a number fails, too.
    if not bool((gap <= tolerance).all()):
        raise SolutionError(
            f"{what}: check of equilibrium: reactions differ from the load by "
            f"{float(gap.max()):.2g} of it, {tolerance:.0e} is allowed"
        )


def check_stiffness(stiffness: Stiffness) -> None:
    """Stop where the factorised model does not answer two trial loads, rough and up and down all
    over the slab, as a stiffness does: no residual against the elements' own forces, f1 . u2 equal
    to f2 . u1.

    Raises
    ------
    SolutionError
        With the name of the check and by how much it fails.
    """
    n = stiffness.model.n_plate_dof
    F = np.zeros((n, 2))
    F[::N_FIELDS] = np.random.default_rng(1).standard_normal((n // N_FIELDS, 2))
    plain = F.T @ stiffness.solve(F)[:n]
    refined = F.T @ stiffness.solve(F, refine=True)[:n]
    scale = np.sqrt(np.outer(np.diag(refined), np.diag(refined)))
    found = {
        "residual": (float((np.abs(refined - plain) / scale).max()), RESIDUAL),
        "reciprocity": (float(abs(plain[0, 1] - plain[1, 0]) / scale[0, 1]), RECIPROCITY),
    }
    for name, (gap, allowed) in found.items():
        # Not a number fails, too.
        if not gap <= allowed:
            raise SolutionError(
                f"stiffness: check of {name}: trial loads give energies that differ by {gap:.2g} "
                f"of them, {allowed:.0e} is allowed; spans or stiffnesses of the deck are too far "
                "apart: look at [plan] and at the stiffness of slab, beams and springs"
            )
