"""The family of fonts that print and pictures are set in, so that they are the same everywhere."""

from importlib.util import find_spec
from pathlib import Path

from pipelines.errors import MissingError

SANS = "DejaVuSans.ttf"


def font_folder(wanted: str, extra: str) -> Path:
    """Where the DejaVu fonts are: matplotlib brings them, which is not loaded for that.

    Raises
    ------
    MissingError
        It is not there; what is `wanted` needs the `extra` of the installation.
    """
    found = find_spec("matplotlib")
    if found is None or found.origin is None:
        raise MissingError(wanted, extra)
    return Path(found.origin).parent / "mpl-data" / "fonts" / "ttf"
