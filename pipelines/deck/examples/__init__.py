"""Packaged example decks; their data are invented."""

from pathlib import Path

FOLDER = Path(__file__).parent


def example_path(name: str) -> Path | None:
    """The deck file of a packaged example, None for an unknown name."""
    return next((p for p in FOLDER.glob("*.toml") if p.stem == name), None)
