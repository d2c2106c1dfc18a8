"""Packaged example decks; their data are invented."""

from pathlib import Path

FOLDER = Path(__file__).parent


EXAMPLES = {path.stem: path for path in sorted(FOLDER.glob("*.toml"))}
"""The deck file of every packaged example, by name."""


def example_path(name: str) -> Path | None:
    """The deck file of a packaged example, None for an unknown name."""
    return EXAMPLES.get(name)
