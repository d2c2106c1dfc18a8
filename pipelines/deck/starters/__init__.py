"""Files to start from: a deck file for each kind of deck, a study and a fit; their data are
invented."""

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
    """The commented file of a kind."""
    return (FOLDER / f"{kind}.toml").read_text(encoding="utf-8")


FAMILIES = {
    "study": "study file with the deck file that it changes",
    "fit": "fit file for the table of that study",
}


def family_starter(kind: str, out: Path) -> dict[Path, str]:
    """The commented files of a study or a fit by their paths; out : of the study or fit file,
    beside which a study has its deck file."""
    text = starter(kind)
    if kind != "study":
        return {out: text}
    base = out.with_name(f"{out.stem}-deck.toml")
    texts = {out: text.replace('"study-deck.toml"', f'"{base.name}"')}
    return texts | {base: starter("study-deck")}
