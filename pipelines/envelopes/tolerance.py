"""How wrong one value may be."""

from dataclasses import dataclass

import numpy as np

# Whether the step part is proven.
STEP_IS = {True: "proven", False: "searched"}


@dataclass(frozen=True, kw_only=True)
class Tolerance:
    """How wrong one value may be, in its unit.

    mesh, step : parts of the error; proven : whether no load position can make more than the step
    part, or it is what a search may have missed. theory : value by the other of Mindlin's and
    Kirchhoff's theory less this one, on the same mesh; None where it was not asked. raised : how
    much further from zero the value is than at the steps of the load positions.
    """

    mesh: float
    step: float
    theory: float | None = None
    proven: bool = False
    raised: float | None = None

    @property
    def error(self) -> float:
        return self.mesh + self.step

    def scaled(self, scale: float) -> "Tolerance":
        """The same in another unit."""
        theory = None if self.theory is None else scale * self.theory
        size = abs(scale)
        raised = None if self.raised is None else size * self.raised
        return Tolerance(
            mesh=size * self.mesh,
            step=size * self.step,
            theory=theory,
            proven=self.proven,
            raised=raised,
        )


def tolerance_entry(tolerance: Tolerance | None) -> dict[str, float | str | None]:
    """A tolerance as it stands in summary.json, None throughout where there is none."""
    if tolerance is None:
        return dict.fromkeys(
            (
                "error",
                "error_mesh",
                "error_step",
                "error_step_is",
                "theory_difference",
                "above_steps",
            )
        )
    return {
        "error": tolerance.error,
        "error_mesh": tolerance.mesh,
        "error_step": tolerance.step,
        "error_step_is": None if np.isnan(tolerance.step) else STEP_IS[tolerance.proven],
        "theory_difference": tolerance.theory,
        "above_steps": tolerance.raised,
    }
