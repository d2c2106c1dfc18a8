"""The model before anything is computed: plan, section and vehicles as drawings."""

import itertools
from pathlib import Path

import numpy as np
from shapely import LineString, Polygon, get_coordinates, get_parts

from pipelines.deck.deck import Deck
from pipelines.files import write_text
from pipelines.numbers import as_given, length
from pipelines.outputs import SMALL, check_file, check_folder, replacing
from pipelines.report.document import Drawing
from pipelines.report.drawings.axes import Axes
from pipelines.report.drawings.canvas import WIDTH, Paper, draw, sheet
from pipelines.report.drawings.colours import BEAM, BEAM_FILL, SOFT
from pipelines.report.drawings.input_plan import input_plan
from pipelines.report.drawings.plan import line_path
from pipelines.report.drawings.vehicles import vehicle_drawing
from plate.arrays import Floats
from plate.geometry.outline import points_of

# Heights of the section are drawn this much larger than widths.
STRETCH = 2.0
CUT = "#d8d4c8"  # what is cut


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
    scale = (WIDTH - 65.0) / (right - left)
    metre = STRETCH * scale
    height = 137.0 + metre * (thickest + 0.3)

    def paint(paper: Paper) -> None:
        axes = Axes(
            paper=paper,
            box=(20.0, 0.0, WIDTH - 20.0, height),
            x=(left - 12.5 / scale, right + 12.5 / scale),
            y=(-54.0 / metre, (height - 54.0) / metre),
        )
        for a, b in pieces:
            _slab(axes, deck, u, a, b)
        _carriageway(axes, deck, metre)
        beside = {y for _, y in lines}
        for line, y in lines:
            _line(axes, deck, line, y, metre, thickest)
        low = thickest + 64.0 / metre
        marks = np.unique(np.round([*(y for piece in pieces for y in piece), *beside], 3))
        chain = np.column_stack([marks, np.full(len(marks), low)])
        axes.path(chain, width=0.5)
        axes.mark(chain, "|", 5.0, width=0.7)
        for a, b in itertools.pairwise(marks.tolist()):
            axes.text([0.5 * (a + b), low], length(b - a), (0.0, 5.0), level="top")
        words = f"section at station {length(u)} m; slab {as_given(1e3 * deck.slab.thickness)} mm"
        words += f"; heights drawn {STRETCH:g} times; lengths in m"
        paper.text([32.0, 8.0], words, along="start", ink=SOFT)

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
        axes.path(_box(a, middle - 0.5 * t, b, middle + 0.5 * t), closed=True, fill=CUT, width=0.8)


def _box(left: float, top: float, right: float, bottom: float) -> list[list[float]]:
    return [[left, top], [right, top], [right, bottom], [left, bottom]]


def _carriageway(axes: Axes, deck: Deck, metre: float) -> None:
    if deck.traffic is None:
        return
    a, b = deck.traffic.carriageway
    t = deck.traffic.surfacing
    if t > 0.0:
        axes.path(_box(a, -t, b, 0.0), closed=True, fill="#6b6b66", ink="none")
    y, middle = -t - 10.0 / metre, 0.5 * (a + b)
    axes.arrow([middle, y], [a, y], width=0.6)
    axes.arrow([middle, y], [b, y], width=0.6)
    axes.text([middle, y], f"carriageway {length(b - a)}", (0.0, -3.0), level="foot")


def _line(axes: Axes, deck: Deck, name: str, y: float, metre: float, low: float) -> None:
    line = deck.line(name)
    support = "free" if line is None else line.support
    if line is not None and line.support == "beam":
        width = line.width or 0.25
        beam = _box(y - 0.5 * width, low, y + 0.5 * width, low + 22.0 / metre)
        axes.path(beam, closed=True, fill=BEAM_FILL, ink=BEAM, width=0.8)
    elif line is not None:
        axes.mark([y, low + 7.0 / metre], "^", 7.0, fill="#222222")
    axes.path([[y, -4.0 / metre], [y, low + 4.0 / metre]], width=0.5, dash=(4, 2))
    axes.text([y, low], f"{name} {support}", (0.0, 34.0))
