"""Scenes as pictures (PNG), animations (GIF) and pages that stand alone (HTML).

Pictures are rendered by PyVista, an extra of the installation, without a screen. Where no library
for that is found its renderer kills the whole process, so a child process tries first. The HTML
page draws by itself and needs neither.
"""

import re
import subprocess
import sys
from base64 import b64encode
from collections.abc import Sequence
from functools import cache
from html import escape
from importlib.util import find_spec
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from pipelines.caution import CAUTION
from pipelines.deck.deck import Deck
from pipelines.errors import JobError, extra_words
from pipelines.numbers import number
from pipelines.report.document import page_data
from pipelines.report.drawings.colours import SCENE, ramp, rgb
from pipelines.report.fonts import SANS, font_folder
from pipelines.report.space.scene import WHEEL, Scene, Surface, crossing, model_scene, result_scene
from pipelines.system.files import write_bytes, write_text
from plate.arrays import Floats, Ints

ASSETS = Path(__file__).parents[1] / "assets"
SUFFIXES = (".png", ".gif", ".html")
BANDS = 14
COLOURS = ramp(SCENE, BANDS)
# A picture [pixel]: its size, what words and the bar of colours take above and below.
SIZE, ABOVE, BELOW = (1120, 630), 84, 84
TEXT, NOTE = 17, 13
# The viewer's direction: turned about the vertical and above the horizon [degree].
TURN, RISE = 12.0, 40.0
PROBE = (
    "import pyvista as pv; p = pv.Plotter(off_screen=True, window_size=(32, 32)); "
    "p.add_mesh(pv.Plane()); p.screenshot(None, return_img=True); print('rendered')"
)
PROBE_SECONDS = 120


def write_view(source: Path, deck: Deck | None, out: Path, field: str) -> None:
    """Write a view of a folder of results, or of a deck if `source` is no folder.

    A deck gives its model; as .gif the first vehicle crossing it, which is computed for that.

    Raises
    ------
    JobError
        Another suffix; no renderer for pictures; no such field.
    """
    if out.suffix not in SUFFIXES:
        *first, last = SUFFIXES
        raise JobError(
            f"--out {out}: must end in {', '.join(first)} or {last}; a crossing moves as .gif"
        )
    if out.suffix != ".html":
        reason = no_renderer()
        if reason:
            raise JobError(f"--out {out}: {reason}; --out {out.with_suffix('.html')} needs none")
    if source.is_dir():
        scenes = [result_scene(source, field, deck)]
    elif deck is None:
        raise JobError(f"{source}: is neither a folder of results nor a deck file")
    else:
        scenes = crossing(deck) if out.suffix == ".gif" else [model_scene(deck)]
    out.parent.mkdir(parents=True, exist_ok=True)
    if out.suffix == ".html":
        write_text(out, page(scenes[0]))
    else:
        _render(scenes, out)


@cache
def no_renderer() -> str:
    """Why pictures cannot be rendered here; "" if they can."""
    if find_spec("pyvista") is None:
        return f"needs {extra_words('views')}"
    command = [sys.executable, "-c", PROBE]
    try:
        tried = subprocess.run(command, capture_output=True, text=True, timeout=PROBE_SECONDS)
    except subprocess.TimeoutExpired:
        return f"the renderer gave no picture in {PROBE_SECONDS} s"
    if tried.returncode == 0 and "rendered" in tried.stdout:
        return ""
    return (
        "no library to render without a screen was found (EGL or OSMesa; on Debian and Ubuntu "
        "the packages libegl1 and libgl1, or libosmesa6)"
    )


def _render(scenes: Sequence[Scene], out: Path) -> None:
    import pyvista

    pyvista.vtk_verbosity("off")
    width, height = SIZE
    room = (width, height - ABOVE - BELOW)
    plotter: Any = pyvista.Plotter(off_screen=True, window_size=list(room))
    plotter.enable_parallel_projection()
    # The same view of every frame.
    _aim(plotter, np.concatenate([_standing(scene) for scene in scenes]), room)
    camera = plotter.camera.copy()
    frames = []
    for scene in scenes:
        plotter.clear()
        plotter.set_background("white")
        plotter.enable_lightkit()
        for surface in scene.surfaces:
            if surface.values is not None:
                mesh = _mesh(pyvista, surface.points, surface.triangles)
                plotter.add_mesh(
                    mesh,
                    scalars=surface.values,
                    clim=scene.limits,
                    cmap=COLOURS,
                    n_colors=BANDS,
                    show_scalar_bar=False,
                )
        plain = [s for s in scene.surfaces if s.values is None]
        if plain:
            points, triangles = _joined(plain)
            colours = np.concatenate([_colours(s, *scene.limits) for s in plain])
            plotter.add_mesh(_mesh(pyvista, points, triangles), scalars=colours, rgb=True)
        plotter.camera = camera
        frames.append(_captioned(plotter.screenshot(None, return_img=True), scene))
    plotter.close()
    _save(frames, out)


def _mesh(pyvista: Any, points: Floats, triangles: Ints) -> Any:
    threes = np.full((len(triangles), 1), 3)
    return pyvista.PolyData(points, np.hstack([threes, triangles]))


def _joined(surfaces: Sequence[Surface]) -> tuple[Floats, Ints]:
    """Points (n, 3) and triangles (m, 3) of all surfaces."""
    starts = np.cumsum([0, *(len(s.points) for s in surfaces)])
    triangles = [s.triangles + start for s, start in zip(surfaces, starts, strict=False)]
    return np.concatenate([s.points for s in surfaces]), np.concatenate(triangles)


def _standing(scene: Scene) -> Floats:
    """Points (n, 3) of all but the wheels: a train may be far longer than the deck."""
    return np.concatenate([s.points for s in scene.surfaces if s.colour != WHEEL])


def _aim(plotter: Any, points: Floats, room: tuple[int, int]) -> None:
    """Look at points (n, 3) from the right of travel so that they fill the picture."""
    turn, rise = np.radians([TURN, RISE])
    right = np.array([np.cos(turn), np.sin(turn), 0.0])
    back = np.array([np.sin(turn) * np.cos(rise), -np.cos(turn) * np.cos(rise), np.sin(rise)])
    up = np.cross(back, right)
    seen = points @ np.stack([right, up, back], axis=1)
    low, high = seen.min(axis=0), seen.max(axis=0)
    middle = np.stack([right, up, back], axis=1) @ (0.5 * (low + high))
    size = float(np.linalg.norm(high - low))
    plotter.camera.focal_point = middle
    plotter.camera.position = middle + 2.0 * size * back
    plotter.camera.up = up
    plotter.camera.clipping_range = (0.5 * size, 4.0 * size)
    across, along = (high - low)[:2] * 1.06
    plotter.camera.parallel_scale = 0.5 * max(along, across * room[1] / room[0])


def _captioned(frame: NDArray[np.uint8], scene: Scene) -> Image.Image:
    """A frame with its words above and the bar of its colours below."""
    image = Image.new("RGB", SIZE, "white")
    image.paste(Image.fromarray(frame), (0, ABOVE))
    pen = ImageDraw.Draw(image)
    file = str(font_folder("A picture", "views") / SANS)
    font = ImageFont.truetype(file, TEXT)
    pen.text((12, 8), "\n".join([scene.title, *scene.notes]), fill="black", font=font)
    note = ImageFont.truetype(file, NOTE)
    pen.text((12, SIZE[1] - 8), CAUTION, fill="black", font=note, anchor="lb")
    if scene.label:
        width, top = SIZE[0] - 320, SIZE[1] - BELOW + 12
        for k, (colour, words) in enumerate(_bands(scene)):
            x = 40 + k * width / BANDS
            if k < BANDS:
                pen.rectangle((x, top, x + width / BANDS, top + 18), fill=colour)
            if k % 2 == 0:
                pen.text((x, top + 24), words, fill="black", font=font, anchor="ma")
        pen.text((64 + width, top), scene.label, fill="black", font=font)
    return image


def _bands(scene: Scene) -> list[tuple[str, str]]:
    """Colour of each band and the value where it begins; at the end nothing and the last value."""
    low, high = scene.limits
    values = [number(low + k * (high - low) / BANDS) for k in range(BANDS + 1)]
    return list(zip([*COLOURS, "transparent"], values, strict=True))


def _save(images: Sequence[Image.Image], out: Path) -> None:
    """PNG of one frame, GIF of several."""
    stream = BytesIO()
    if out.suffix == ".png":
        images[0].save(stream, format="PNG")
    else:
        images[0].save(
            stream, format="GIF", save_all=True, append_images=images[1:], duration=90, loop=0
        )
    write_bytes(out, stream.getvalue())


def page(scene: Scene) -> str:
    """A scene as a page that stands alone: turned by dragging or arrow keys."""
    points, triangles = _joined(scene.surfaces)
    colours = np.concatenate([_colours(s, *scene.limits) for s in scene.surfaces])
    data = {
        "points": _encoded(points.astype("<f4")),
        "colours": _encoded(colours),
        "triangles": _encoded(triangles.astype("<u4")),
        "low": _standing(scene).min(axis=0).tolist(),
        "high": _standing(scene).max(axis=0).tolist(),
        "label": scene.label,
        "bands": _bands(scene),
    }
    text = (ASSETS / "scene.html").read_text(encoding="utf-8")
    words = " · ".join([scene.title, *scene.notes])
    filled = {"TITLE": escape(words), "CAUTION": escape(CAUTION), "DATA": page_data(data)}
    # All at once: what is filled in is not looked at again.
    return re.sub("%(TITLE|CAUTION|DATA)%", lambda place: filled[place[1]], text)


def _colours(surface: Surface, low: float, high: float) -> NDArray[np.uint8]:
    if surface.values is None:
        found = np.tile(rgb(surface.colour), (len(surface.points), 1))
    else:
        share = (surface.values - low) / (high - low or 1.0)
        band = np.clip(np.floor(share * BANDS), 0, BANDS - 1).astype(int)
        found = np.array([rgb(colour) for colour in COLOURS])[band]
    return np.rint(255.0 * found).astype(np.uint8)


def _encoded(values: NDArray[np.generic]) -> str:
    return b64encode(np.ascontiguousarray(values).tobytes()).decode()
