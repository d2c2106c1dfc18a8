"""Scenes as pictures (PNG), animations (GIF) and pages that stand alone (HTML).

Pictures are rendered by PyVista, an extra of the installation, without a screen. Where no library
for that is found its renderer kills the whole process, so a child process tries first. The HTML
page draws by itself and needs neither.
"""

import json
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
from matplotlib import colormaps
from matplotlib.colors import to_rgb
from numpy.typing import NDArray
from PIL import Image

from pipelines.deck import Deck
from pipelines.errors import JobError
from pipelines.figures import number
from pipelines.files import write_bytes, write_text
from pipelines.scene import Scene, Surface, crossing, model_scene, result_scene

ASSETS = Path(__file__).parent / "assets"
SUFFIXES = (".png", ".gif", ".html")
COLOURS = "viridis"
BANDS = 14
# Of a picture: below the deck.
BAR = {
    "color": "black",
    "n_labels": 5,
    "position_x": 0.25,
    "position_y": 0.01,
    "width": 0.5,
    "height": 0.09,
}
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
        raise JobError(f"--out {out}: must end in {', '.join(SUFFIXES)}")
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
        return "needs PyVista: pip install 'deckslab[views]'"
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

    plotter: Any = pyvista.Plotter(off_screen=True, window_size=[1120, 630])
    frames = []
    for scene in scenes:
        form = "%.3g" if max(map(abs, scene.limits)) < 1000.0 else "%.0f"
        plotter.clear()
        plotter.set_background("white")
        plotter.enable_lightkit()
        for surface in scene.surfaces:
            threes = np.full((len(surface.triangles), 1), 3)
            mesh = pyvista.PolyData(surface.points, np.hstack([threes, surface.triangles]))
            if surface.values is None:
                plotter.add_mesh(mesh, color=surface.colour, show_edges=False)
            else:
                mesh.point_data[scene.label] = surface.values
                plotter.add_mesh(
                    mesh,
                    scalars=scene.label,
                    clim=scene.limits,
                    cmap=COLOURS,
                    n_colors=BANDS,
                    lighting=True,
                    scalar_bar_args=BAR | {"title": scene.label, "fmt": form},
                )
        words = "\n".join([scene.title, *scene.notes])
        plotter.add_text(words, position="upper_left", font_size=10, color="black")
        plotter.camera_position = "xy"
        plotter.camera.elevation = -50.0
        plotter.camera.azimuth = -20.0
        plotter.reset_camera()
        plotter.camera.zoom(1.35)
        frames.append(plotter.screenshot(None, return_img=True))
    plotter.close()
    _save(frames, out)


def _save(frames: Sequence[NDArray[np.uint8]], out: Path) -> None:
    """PNG of one frame, GIF of several."""
    stream = BytesIO()
    images = [Image.fromarray(frame) for frame in frames]
    if out.suffix == ".png":
        images[0].save(stream, format="PNG")
    else:
        images[0].save(
            stream, format="GIF", save_all=True, append_images=images[1:], duration=90, loop=0
        )
    write_bytes(out, stream.getvalue())


def page(scene: Scene) -> str:
    """A scene as a page that stands alone: turned by dragging or arrow keys."""
    low, high = scene.limits
    points = np.concatenate([s.points for s in scene.surfaces])
    colours = np.concatenate([_colours(s, low, high) for s in scene.surfaces])
    starts = np.cumsum([0, *(len(s.points) for s in scene.surfaces)])
    triangles = np.concatenate(
        [s.triangles + start for s, start in zip(scene.surfaces, starts, strict=False)]
    )
    ramp = colormaps[COLOURS]
    data = {
        "points": _encoded(points.astype("<f4")),
        "colours": _encoded(colours),
        "triangles": _encoded(triangles.astype("<u4")),
        "label": scene.label,
        "bands": [
            [
                "#" + "".join(f"{round(255 * c):02x}" for c in ramp((k + 0.5) / BANDS)[:3]),
                number(low + k * (high - low) / BANDS),
            ]
            for k in range(BANDS)
        ]
        + [["transparent", number(high)]],
    }
    text = (ASSETS / "scene.html").read_text(encoding="utf-8")
    words = " · ".join([scene.title, *scene.notes])
    packed = json.dumps(data, allow_nan=False).replace("</", "<\\/")
    return text.replace("%TITLE%", escape(words)).replace("%DATA%", packed)


def _colours(surface: Surface, low: float, high: float) -> NDArray[np.uint8]:
    if surface.values is None:
        rgb = np.tile(to_rgb(surface.colour), (len(surface.points), 1))
    else:
        share = (surface.values - low) / (high - low or 1.0)
        rgb = colormaps[COLOURS](np.clip((np.floor(share * BANDS) + 0.5) / BANDS, 0.0, 1.0))[:, :3]
    return np.rint(255.0 * rgb).astype(np.uint8)


def _encoded(values: NDArray[np.generic]) -> str:
    return b64encode(np.ascontiguousarray(values).tobytes()).decode()
