"""The job of a deck engineer, from deck file to report, built on the mechanics of `plate`.

What a program of one's own needs is here, and nothing else needs to be known of the rooms:

>>> from pipelines import DeckFile
>>> deck = DeckFile.read("estuary").with_({"slab.thickness_mm": 250})
>>> analysis = deck.analyse()
>>> analysis.findings[["place", "effect", "strip", "strip_over_plate"]]

A user's mistake is a `JobError` or a `PlateError`, a deck file's a `DeckError`: each of its
`mistakes` has key, value and what is allowed.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pipelines.analysis.kept import Kept
    from pipelines.api import Analysis, DeckFile, Influence, Picture
    from pipelines.errors import DeckError, JobError, MethodRangeError, Mistake
    from pipelines.standards.own.checks import (
        LayerDemand,
        LayerSection,
        OwnCheck,
        ShearForces,
        ShearSection,
    )
    from pipelines.standards.own.results import NamedValues, OwnResult
    from pipelines.standards.own.strips import OwnMoment, OwnStrip
    from pipelines.standards.strip_widths.method import StripInput
    from pipelines.study.fit.run import run_fit
    from pipelines.study.run import run_study
    from plate.errors import PlateError

# Imported when they are asked for: the command line needs few of them.
_ROOMS = {
    "Analysis": "pipelines.api",
    "DeckFile": "pipelines.api",
    "Influence": "pipelines.api",
    "Picture": "pipelines.api",
    "DeckError": "pipelines.errors",
    "JobError": "pipelines.errors",
    "Mistake": "pipelines.errors",
    "Kept": "pipelines.analysis.kept",
    "run_study": "pipelines.study.run",
    "run_fit": "pipelines.study.fit.run",
    "OwnStrip": "pipelines.standards.own.strips",
    "OwnMoment": "pipelines.standards.own.strips",
    "OwnCheck": "pipelines.standards.own.checks",
    "LayerSection": "pipelines.standards.own.checks",
    "LayerDemand": "pipelines.standards.own.checks",
    "ShearSection": "pipelines.standards.own.checks",
    "ShearForces": "pipelines.standards.own.checks",
    "OwnResult": "pipelines.standards.own.results",
    "NamedValues": "pipelines.standards.own.results",
    "StripInput": "pipelines.standards.strip_widths.method",
    "MethodRangeError": "pipelines.errors",
    "PlateError": "plate.errors",
}
__all__ = [  # noqa: RUF022 - in the order in which one meets them
    "DeckFile",
    "Analysis",
    "Influence",
    "Picture",
    "Kept",
    "run_study",
    "run_fit",
    "OwnStrip",
    "OwnMoment",
    "StripInput",
    "OwnCheck",
    "LayerSection",
    "LayerDemand",
    "ShearSection",
    "ShearForces",
    "OwnResult",
    "NamedValues",
    "MethodRangeError",
    "JobError",
    "DeckError",
    "Mistake",
    "PlateError",
    "__version__",
]


def __getattr__(name: str) -> Any:
    if name == "__version__":
        from importlib.metadata import version

        return version("deckslab")
    if name not in _ROOMS:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(_ROOMS[name]), name)


def __dir__() -> list[str]:
    return sorted(__all__)
