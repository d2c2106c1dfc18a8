"""The model before anything is computed: plan, section and vehicles as drawings."""

import itertools
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from shapely import LineString, Polygon, get_coordinates, get_parts

from pipelines.deck.deck import Deck
from pipelines.files import write_text
from pipelines.numbers import as_given, length
from pipelines.outputs import SMALL, check_file, check_folder, replacing
from pipelines.report.document import Drawing
from pipelines.report.drawings.canvas import INK, WIDTH, draw, sheet
from pipelines.report.drawings.input_plan import input_plan
from pipelines.report.drawings.plan import line_path
from pipelines.report.drawings.vehicles import vehicle_drawing
from plate.arrays import Floats
from plate.geometry.outline import points_of

BEAM_INK = "#2b5f8a"
# Heights of the section are drawn this much larger than widths.
STRETCH = 2.0


def write_drawings(deck: Deck, out: Path) -> list[Path]:
    """Write the plan to `out` if it is named .svg, else plan, section and vehicles, those of
    load models too, to folder `out`, in place of all drawings there before.

    Returns the files written.
    """
    if out.suffix == ".svg":
        check_file(out, SMALL)
        out.parent.mkdir(parents=True, exist_ok=True)
        write_text(out, sheet(input_plan(deck)))
        return [out]
    vehicles = dict.fromkeys(deck.traffic.all_vehicles) if deck.traffic else ()
    named = {f"vehicle-{k}": vehicle for k, vehicle in enumerate(vehicles, start=1)}
    names = ["plan", "section", *named]
    check_folder(out, "drawings", [f"{name}.svg" for name in names], SMALL)
    drawings = {"plan.svg": input_plan(deck), "section.svg": section(deck)}
    drawings |= {f"{name}.svg": vehicle_drawing(v, name) for name, v in named.items()}
    with replacing(out, "drawings") as folder:
        for name, drawing in drawings.items():
            write_text(folder / name, sheet(drawing))
    return [out / name for name in drawings]


def section(deck: Deck, name: str = "section") -> Drawing:
    """The slab across the deck, at a right angle to traffic, at the middle station, with lines,
    carriageway and surfacing.

    Heights are drawn twice as large as widths.
    """
    ends = deck.plan.u_range if deck.plan.is_grid else deck.slab_limits[:, 0]
    u = float(np.mean(ends))
    pieces, lines = _cut(deck, u)
    left, right = pieces[0][0], pieces[-1][1]
    thickest = max([deck.slab.thickness, *(z.thickness for z in deck.slab.zones)])
    scale = (WIDTH - 0.9) / (right - left)
    height = 1.9 + STRETCH * scale * (thickest + 0.3)

    def paint(figure: Figure) -> None:
        axes = figure.add_axes((0.3 / WIDTH, 0.0, (WIDTH - 0.6) / WIDTH, 1.0))
        axes.set_axis_off()
        axes.set_xlim(left - 0.15 / scale, right + 0.15 / scale)
        metre = STRETCH * scale
        axes.set_ylim(thickest + 1.15 / metre, -0.75 / metre)
        for a, b in pieces:
            _slab(axes, deck, u, a, b)
        _carriageway(axes, deck, metre)
        for line, y in lines:
            _line(axes, deck, line, y, metre, thickest)
        low = thickest + 0.75 / metre
        marks = np.unique(
            np.round([*(y for piece in pieces for y in piece), *dict(lines).values()], 3)
        )
        axes.plot(marks, np.full(len(marks), low), color=INK, lw=0.5, marker="|", ms=5, mew=0.7)
        for a, b in itertools.pairwise(marks):
            axes.text(
                0.5 * (a + b), low + 0.13 / metre, length(float(b - a)), ha="center", va="top"
            )
        words = f"section at station {length(u)} m; slab {as_given(1e3 * deck.slab.thickness)} mm"
        words += f"; heights drawn {STRETCH:g} times; lengths in m"
        axes.text(left, -0.72 / metre, words, va="top", color="#444444")

    told = f"Section across the deck at station {length(u)} m, seen in the direction of traffic"
    return draw(name, told, (WIDTH, height), paint)


def _cut(deck: Deck, u: float) -> tuple[list[tuple[float, float]], list[tuple[str, float]]]:
    """Offsets of the slab's pieces across the deck at a station, and lines there with theirs."""
    if deck.plan.is_grid:
        first, *inner, last = (float(y) for y in deck.plan.line_offsets(np.array(u)))
        return [(first, last)], [(f"L{j}", y) for j, y in enumerate(inner, start=1)]
    whole = Polygon(deck.plan.outline, points_of(deck.plan.openings))
    low, high = deck.slab_limits[:, 1] + np.array([-1.0, 1.0])
    start, end = deck.course.to_plan(np.array([[u, low], [u, high]]))
    across = LineString([start, end])

    def offsets(places: Floats) -> Floats:
        return np.asarray(low + np.linalg.norm(places - start, axis=-1))

    parts = [part for part in get_parts(whole.intersection(across)) if part.length > 0.0]
    cuts = [np.sort(offsets(get_coordinates(part))[[0, -1]]) for part in parts]
    met = [
        (line.name, LineString(line_path(deck, line)).intersection(across)) for line in deck.lines
    ]
    return sorted((float(a), float(b)) for a, b in cuts), [
        (name, float(offsets(np.array([at.x, at.y]))))
        for name, at in met
        if at.geom_type == "Point"
    ]


def _slab(axes: Axes, deck: Deck, u: float, left: float, right: float) -> None:
    """Pieces of the slab about their common mid-plane."""
    middle = 0.5 * deck.slab.thickness
    zones = [
        z for z in deck.slab.zones if z.stations is None or z.stations[0] <= u <= z.stations[1]
    ]
    cuts = {left, right} | {y for z in zones for y in z.offsets or () if left < y < right}
    edges = sorted(cuts)
    for a, b in itertools.pairwise(edges):
        here = [
            z.thickness for z in zones
            if z.offsets is None or z.offsets[0] <= 0.5 * (a + b) <= z.offsets[1]
        ]  # fmt: skip
        t = here[0] if here else deck.slab.thickness
        axes.add_patch(Rectangle((a, middle - 0.5 * t), b - a, t, fc="#d8d4c8", ec=INK, lw=0.8))


def _carriageway(axes: Axes, deck: Deck, metre: float) -> None:
    if deck.traffic is None:
        return
    a, b = deck.traffic.carriageway
    if deck.traffic.surfacing > 0.0:
        t = deck.traffic.surfacing
        axes.add_patch(Rectangle((a, -t), b - a, t, fc="#6b6b66", ec="none"))
    y = -deck.traffic.surfacing - 0.14 / metre
    axes.annotate("", (a, y), (b, y), arrowprops={"arrowstyle": "<->", "lw": 0.6, "color": INK})
    words = f"carriageway {length(b - a)}"
    axes.text(0.5 * (a + b), y - 0.04 / metre, words, ha="center", va="bottom")


def _line(axes: Axes, deck: Deck, name: str, y: float, metre: float, low: float) -> None:
    line = deck.line(name)
    support = "free" if line is None else line.support
    if line is not None and line.support == "beam":
        width = line.width or 0.25
        box = Rectangle((y - 0.5 * width, low), width, 0.3 / metre, fc=BEAM_INK, alpha=0.5)
        axes.add_patch(box)
    elif line is not None:
        axes.plot([y], [low + 0.1 / metre], marker="^", color=INK, ms=7)
    axes.plot([y, y], [-0.05 / metre, low + 0.05 / metre], color=INK, lw=0.5, ls=(0, (4, 2)))
    axes.text(y, low + 0.48 / metre, f"{name} {support}", ha="center", va="center")
