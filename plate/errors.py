"""Errors of the mechanics.

PlateError
├── GeometryError      a plan that cannot be built, a point off the slab
├── MeshError          a mesh with folded or degenerate cells
├── SupportError       contradictory supports
├── LoadError          a load that does not touch the plate
├── MechanismError     the plate can move as a rigid body; says which motion is free
├── SolutionError      a solution that fails its residual or equilibrium check
├── SizeError          a job too large for the memory of an accelerator
└── CollapseError      a plastic collapse load that cannot be certified, or is none
"""


class PlateError(Exception):
    """Base of all errors of the mechanics.

    >>> try:
    ...     raise MechanismError("the plate may turn about x")
    ... except PlateError as error:
    ...     print(type(error).__name__)
    MechanismError
    """


class GeometryError(PlateError):
    """A plan that cannot be built, or a point off the slab."""


class MeshError(PlateError):
    """A mesh with folded or degenerate cells."""


class SupportError(PlateError):
    """Contradictory or impossible supports."""


class LoadError(PlateError):
    """A load that does not touch the plate."""


class MechanismError(PlateError):
    """The plate can move as a rigid body.

    Parameters
    ----------
    motion : str
        The free motion in words.
    """

    def __init__(self, motion: str) -> None:
        self.motion = motion
        super().__init__(f"the deck is a mechanism: {motion}")


class SolutionError(PlateError):
    """A solution that fails its residual or equilibrium check."""


class SizeError(PlateError):
    """A job too large for the memory of an accelerator."""


class CollapseError(PlateError):
    """A plastic collapse load that cannot be certified, or is none."""
