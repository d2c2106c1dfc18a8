"""Files of a user's own, packages that are installed, and a small deck that names them."""

import hashlib
import sys
from base64 import urlsafe_b64encode
from pathlib import Path

import pytest

from tests.pipelines.small_decks import BEAMS, MESH, PLAN, SLAB, TRAFFIC

WIDTH = """
from pipelines import OwnStrip, StripInput


def width(strip: StripInput) -> float:
    return 0.4 * strip.span + strip.contact[1] + 2 * strip.surfacing + strip.depth


strips = [OwnStrip(name="office rule", source="office note 12", sagging=width, hogging=width)]
"""
CRANE = """
axle = {"load_kN": 120, "gauge_m": 2.0, "patch_mm": (250, 400)}
vehicles = [
    {"name": "crane", "impact": 1.1, "axles": [{"at_m": at, **axle} for at in (0.0, 1.6)]},
    {"name": "other", "source": "office note 3", "axles": [{"at_m": 0, **axle}]},
]
"""
DECK = SLAB + PLAN + BEAMS + TRAFFIC + MESH


def written(folder: Path, code: str, deck: str = "", name: str = "office.py") -> tuple[Path, Path]:
    """A deck file that names a file of that code for strips, and the file."""
    file = folder / name
    file.write_text(code, encoding="utf-8")
    path = folder / "deck.toml"
    path.write_text(deck or f'{DECK}[own]\nstrips = "{name}"\n', encoding="utf-8")
    return path, file


def installed(folder: Path, monkeypatch: pytest.MonkeyPatch, code: str, name: str) -> Path:
    """A package with an entry point of that name in a folder on the path, as an installer leaves
    it; returns the folder."""
    module = f"deckslab_{name}"
    site = folder / "site"
    info = site / f"{module}-1.2.dist-info"
    info.mkdir(parents=True)
    data = code.encode()
    (site / f"{module}.py").write_bytes(data)
    texts = {
        "METADATA": f"Metadata-Version: 2.1\nName: {module}\nVersion: 1.2\n",
        "entry_points.txt": f"[deckslab]\n{name} = {module}\n",
        "RECORD": f"{module}.py,sha256={_record(data)},{len(data)}\n",
    }
    for file, text in texts.items():
        (info / file).write_text(text, encoding="utf-8")
    monkeypatch.syspath_prepend(str(site))
    monkeypatch.setenv("PYTHONPATH", str(site), prepend=":" if sys.platform != "win32" else ";")
    return site


def _record(data: bytes) -> str:
    return urlsafe_b64encode(hashlib.sha256(data).digest()).rstrip(b"=").decode()
