"""Drawings of slabs, as files."""

from pathlib import Path
from typing import Any

import ezdxf
from ezdxf import units


def drawing(folder: Path, draw: Any, unit: int = units.M, version: str = "R2010") -> Path:
    document = ezdxf.new(version, units=unit)
    draw(document.modelspace())
    path = folder / "plan.dxf"
    document.saveas(path)
    return path


def on(layer: str) -> dict[str, str]:
    return {"layer": layer}


def slab(space: Any, scale: float = 1.0) -> None:
    """8 m x 4 m with its right end a half circle, from (0, 0) upwards in the drawing."""
    points = [(0, 0, 0), (8, 0, 1.0), (8, 4, 0), (0, 4, 0)]
    scaled = [(scale * x, scale * y, bulge) for x, y, bulge in points]
    space.add_lwpolyline(scaled, format="xyb", close=True, dxfattribs=on("SLAB"))
