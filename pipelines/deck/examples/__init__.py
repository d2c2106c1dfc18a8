"""Packaged decks, studies and fits; their data are invented."""

from pathlib import Path

FOLDER = Path(__file__).parent


EXAMPLES = {path.stem: path for path in sorted(FOLDER.glob("*.toml"))}
"""The deck file of every packaged example, by name."""
STUDIES = {path.stem: path for path in sorted(FOLDER.glob("studies/*-study.toml"))}
"""The study file of every packaged study, by name."""
FITS = {path.stem: path for path in sorted(FOLDER.glob("studies/*-fit.toml"))}
"""The fit file of every packaged fit, by name."""
