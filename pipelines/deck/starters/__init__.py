"""Deck files to start from, one for each kind of deck; their data are invented."""

from pathlib import Path

FOLDER = Path(__file__).parent
KINDS = {
    "truss": "slab on cross beams between two trusses or main girders",
    "girder": "slab on longitudinal girders, with overhangs",
    "skew": "skew solid slab on two line supports",
    "curved": "curved slab of two spans with edge beams",
    "outline": "slab of any outline, with an arc, an opening and lines anywhere",
}


def starter(kind: str) -> str:
    """The commented deck file of a kind."""
    return (FOLDER / f"{kind}.toml").read_text(encoding="utf-8")
