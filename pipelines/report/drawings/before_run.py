"""The model before anything is computed: plan, section and vehicles as drawings."""

import itertools
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from shapely import LineString, Polygon, get_coordinates, get_parts

from pipelines.deck.deck import Deck
from pipelines.deck.words import line_title
from pipelines.numbers import as_given, length
from pipelines.report.document import Drawing
from pipelines.report.drawings.axes import Axes
from pipelines.report.drawings.canvas import WIDTH, Paper, draw, sheet
from pipelines.report.drawings.colours import BEAM, BEAM_FILL, SOFT
from pipelines.report.drawings.input_plan import input_plan
from pipelines.report.drawings.plan import line_path
from pipelines.report.drawings.vehicles import vehicle_drawing
from pipelines.system.files import write_text
from pipelines.system.outputs import SMALL, check_file, check_folder, replacing
from plate.arrays import Floats
from plate.geometry.outline import points_of

# Heights of the section are drawn this much larger than widths.
STRETCH = 2.0
# The slab is drawn no thinner, and beams below it so deep [point].
LEAST, BEAM_DEPTH = 14.0, 22.0
# Width of a beam that states none [m].
NARROW = 0.25
CUT = "#d8d4c8"  # what is cut


def write_drawings(deck: Deck, out: Path) -> list[Path]:
    """Write the plan to `out` if it is named .svg, else plan, sections and vehicles, those of
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
    along = section_along(deck)
    names = ["plan", "section", *(["section-along"] if along else []), *named]
    check_folder(out, "drawings", [f"{name}.svg" for name in names], SMALL)
    drawings = {"plan.svg": input_plan(deck), "section.svg": section(deck)}
    if along is not None:
        drawings["section-along.svg"] = along
    drawings |= {f"{name}.svg": vehicle_drawing(v, name) for name, v in named.items()}
    with replacing(out, "drawings") as folder:
        for name, drawing in drawings.items():
            write_text(folder / name, sheet(drawing))
    return [out / name for name in drawings]


@dataclass(frozen=True, kw_only=True)
class Cut:
    """A vertical cut through the slab.

    at : station of a cut across the deck, offset of one along it [m]; pieces : of the slab, and
    lines with where it meets them, as distances along the cut [m].
    """

    at: float
    along: bool
    pieces: list[tuple[float, float]]
    lines: list[tuple[str, float]]


def section(deck: Deck, name: str = "section") -> Drawing:
    """The slab across the deck, at a right angle to traffic, at the middle station, with lines,
    carriageway and surfacing, and the cross beam that it lies over.

    Heights are drawn twice as large as widths.
    """
    ends = deck.plan.u_range if deck.plan.is_grid else deck.slab_limits[:, 0]
    cut = _across(deck, float(np.mean(ends)))
    below = _line_below(deck, cut)
    place = f"at station {length(cut.at)} m" + (
        f", over {line_title(deck, below)}" if below else ""
    )
    told = f"Section across the deck {place}, seen in the direction of traffic"
    return _drawing(deck, cut, name, told, place, below)


def section_along(deck: Deck, name: str = "section-along") -> Drawing | None:
    """The slab along the deck at its middle, with the cross lines that it meets; None where the
    plan has no cross lines."""
    if not deck.plan.is_grid:
        return None
    low, high = deck.plan.u_range
    first, *_, last = (float(y) for y in deck.plan.line_offsets(np.array(0.5 * (low + high))))
    at = 0.5 * (first + last)
    lean = at * float(np.tan(deck.plan.skew))
    lines = [(f"C{i}", float(u) + lean) for i, u in enumerate(deck.stations, start=1)]
    cut = Cut(at=at, along=True, pieces=[(low + lean, high + lean)], lines=lines)
    place = f"along the deck at offset {length(at)} m"
    return _drawing(deck, cut, name, f"Section {place}", place, "")


def _drawing(deck: Deck, cut: Cut, name: str, told: str, place: str, below: str) -> Drawing:
    """below : the beam that runs below the slab along the cut, "" for none."""
    left, right = cut.pieces[0][0], cut.pieces[-1][1]
    thickest = max([deck.slab.thickness, *(z.thickness for z in deck.slab.zones)])
    scale = (WIDTH - 65.0) / (right - left)
    # Of a long deck heights are drawn larger, so that there is something to see.
    stretch = max(STRETCH, round(LEAST / (scale * deck.slab.thickness)))
    metre = stretch * scale
    height = 137.0 + metre * (thickest + 0.3)

    def paint(paper: Paper) -> None:
        axes = Axes(
            paper=paper,
            box=(20.0, 0.0, WIDTH - 20.0, height),
            x=(left - 12.5 / scale, right + 12.5 / scale),
            y=(-54.0 / metre, (height - 54.0) / metre),
        )
        for a, b in cut.pieces:
            _slab(axes, deck, cut, a, b)
        if cut.along:
            _surfacing(axes, deck, left, right)
        else:
            _carriageway(axes, deck, metre)
        if below:
            beam = _box(left, thickest, right, thickest + BEAM_DEPTH / metre)
            axes.path(beam, closed=True, fill=BEAM_FILL, ink=BEAM, width=0.8)
        for line, y in cut.lines:
            _line(axes, deck, line, y, metre, thickest)
        low = thickest + 64.0 / metre
        beside = {y for _, y in cut.lines}
        marks = np.unique(np.round([*(y for piece in cut.pieces for y in piece), *beside], 3))
        chain = np.column_stack([marks, np.full(len(marks), low)])
        axes.path(chain, width=0.5)
        axes.mark(chain, "|", 5.0, width=0.7)
        for a, b in itertools.pairwise(marks.tolist()):
            axes.text([0.5 * (a + b), low], length(b - a), (0.0, 5.0), level="top")
        words = f"section {place}; slab {as_given(1e3 * deck.slab.thickness)} mm"
        words += f"; heights drawn {stretch:g} times; lengths in m"
        paper.text([32.0, 8.0], words, along="start", ink=SOFT)

    return draw(name, told, (WIDTH, height), paint)


def _line_below(deck: Deck, cut: Cut) -> str:
    """The cross beam over whose width a cut across a square deck lies, "" for none."""
    if not deck.plan.is_grid or deck.plan.skew:
        return ""
    for i, u in enumerate(deck.stations, start=1):
        line = deck.line(f"C{i}")
        if line is not None and line.beam is not None:
            half = 0.5 * (line.width or NARROW)
            if abs(float(u) - cut.at) <= half:
                return line.name
    return ""


def _across(deck: Deck, u: float) -> Cut:
    """The cut across the deck at a station."""
    if deck.plan.is_grid:
        first, *inner, last = (float(y) for y in deck.plan.line_offsets(np.array(u)))
        lines = [(f"L{j}", y) for j, y in enumerate(inner, start=1)]
        return Cut(at=u, along=False, pieces=[(first, last)], lines=lines)
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
    return Cut(
        at=u,
        along=False,
        pieces=sorted((float(a), float(b)) for a, b in cuts),
        lines=[
            (name, float(offsets(np.array([at.x, at.y]))))
            for name, at in met
            if at.geom_type == "Point"
        ],
    )


def _slab(axes: Axes, deck: Deck, cut: Cut, left: float, right: float) -> None:
    """Pieces of the slab about their common mid-plane."""
    middle = 0.5 * deck.slab.thickness
    zones = []
    for zone in deck.slab.zones:
        there, ends = (zone.stations, zone.offsets)[:: -1 if cut.along else 1]
        if there is None or there[0] <= cut.at <= there[1]:
            zones.append((ends, zone.thickness))
    cuts = {left, right} | {y for ends, _ in zones for y in ends or () if left < y < right}
    edges = sorted(cuts)
    for a, b in itertools.pairwise(edges):
        here = [
            thickness for ends, thickness in zones
            if ends is None or ends[0] <= 0.5 * (a + b) <= ends[1]
        ]  # fmt: skip
        t = here[0] if here else deck.slab.thickness
        axes.path(_box(a, middle - 0.5 * t, b, middle + 0.5 * t), closed=True, fill=CUT, width=0.8)


def _box(left: float, top: float, right: float, bottom: float) -> list[list[float]]:
    return [[left, top], [right, top], [right, bottom], [left, bottom]]


def _carriageway(axes: Axes, deck: Deck, metre: float) -> None:
    if deck.traffic is None:
        return
    a, b = deck.traffic.carriageway
    _surfacing(axes, deck, a, b)
    y, middle = -deck.traffic.surfacing - 10.0 / metre, 0.5 * (a + b)
    axes.arrow([middle, y], [a, y], width=0.6)
    axes.arrow([middle, y], [b, y], width=0.6)
    axes.text([middle, y], f"carriageway {length(b - a)}", (0.0, -3.0), level="foot")


def _surfacing(axes: Axes, deck: Deck, left: float, right: float) -> None:
    t = 0.0 if deck.traffic is None else deck.traffic.surfacing
    if t > 0.0:
        axes.path(_box(left, -t, right, 0.0), closed=True, fill="#6b6b66", ink="none")


def _line(axes: Axes, deck: Deck, name: str, y: float, metre: float, low: float) -> None:
    line = deck.line(name)
    support = "free" if line is None else line.support
    if line is not None and line.support == "beam":
        half = 0.5 * (line.width or NARROW)
        beam = _box(y - half, low, y + half, low + BEAM_DEPTH / metre)
        axes.path(beam, closed=True, fill=BEAM_FILL, ink=BEAM, width=0.8)
    elif line is not None:
        axes.mark([y, low + 7.0 / metre], "^", 7.0, fill="#222222")
    axes.path([[y, -4.0 / metre], [y, low + 4.0 / metre]], width=0.5, dash=(4, 2))
    axes.text([y, low], f"{name} {support}", (0.0, 34.0))
