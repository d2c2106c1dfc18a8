"""bars.dxf: sections of the slab in both directions with their bars, details of U-bars, the bars of
each layer in plan, the table of bars, and the zones of each layer.

Everything is drawn at full size in mm, X along the deck and Y up the sheet: y grows down it, as in
every plan here. Sections are to be plotted at 1:10, the table at 1:100, plans as their titles say.
Each layer of the drawing says what it holds and its unit. Bars are those of the schedule and no
others. Zones are areas where bending needs them; anchorage, least and distribution steel are not in
them, and the drawing says so.
"""

from io import StringIO
from textwrap import wrap

import numpy as np
import shapely
from ezdxf import units
from ezdxf._options import options
from ezdxf.colors import rgb2int
from ezdxf.document import Drawing
from ezdxf.enums import TextEntityAlignment as Align
from ezdxf.filemanagement import new
from ezdxf.layouts.layout import Modelspace
from shapely.geometry.base import BaseGeometry

from pipelines.bars.checks.curtailment import STEP
from pipelines.bars.demand.moments import LAYER_ROWS
from pipelines.bars.design import Design
from pipelines.bars.schedule.marks import Schedule
from pipelines.caution import CAUTION, TO_VERIFY
from pipelines.deck.deck import Deck
from pipelines.deck.words import named_title
from pipelines.numbers import as_given
from pipelines.report.drawings.bar_openings_dxf import opening_details
from pipelines.report.drawings.bar_plans_dxf import edges_plan, layer_plan
from pipelines.report.drawings.bar_sections_dxf import section_sheets
from pipelines.report.drawings.bar_table_dxf import bar_table, u_bar_details
from pipelines.report.drawings.bars import (
    ALONG,
    LENGTH,
    ZONE_WORDS,
    bar_mark,
    centre_depth,
    layer_name,
    layer_title,
    places_across,
    step_words,
    stretches,
    zone_area,
)
from pipelines.report.drawings.dxf_parts import (
    MM,
    SECTION,
    TABLE,
    dimension,
    flat,
    sheet,
    text,
)
from pipelines.report.drawings.ground_dxf import draw_ground, ground_of
from pipelines.report.fonts import SANS
from pipelines.standards.resistance.bars import DIRECTIONS, FACES, Direction, Layer, SlabBars
from plate.arrays import Floats

GREYS = {1: (222, 214, 198), 2: (176, 163, 132)}
COLOURS: dict[Direction, int] = {"x": 5, "y": 30}
NOTES = (
    *wrap(CAUTION, 100),
    "Lengths in mm, stations x and offsets y in m.",
    "Zones: bars that bending needs, shifted by a_l; bars go on past a zone by their anchorage.",
    "Plans of bars: as in bar_schedule.csv. Not drawn: chairs, links and bars of beams.",
)


def drawn_bars(deck: Deck, design: Design, schedule: Schedule) -> tuple[Drawing, str]:
    """The drawing of a deck's bars, and the text of its file: the same whenever and wherever it is
    drawn."""
    fixed = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True  # no time and no GUID of its own
    try:
        stream = StringIO()
        doc = drawing(deck, design, schedule)
        # ezdxf adds them as they come out of a set, which another process has in another order
        for name in sorted(doc.entitydb.dxf_types_in_use()):
            doc.classes.add_class(name)
        doc.write(stream)
    finally:
        options.write_fixed_meta_data_for_testing = fixed
    return doc, stream.getvalue()


def drawing(deck: Deck, design: Design, schedule: Schedule) -> Drawing:
    """The drawing: INSUNITS 4, millimetres."""
    doc = new("R2010", setup=["linetypes"])
    doc.units = units.MM
    doc.header["$MEASUREMENT"] = 1
    doc.styles.add("BARS", font=SANS)
    for name, colour, linetype in (
        ("SLAB (mm)", 7, "CONTINUOUS"),
        ("SUPPORTING LINES (mm)", 8, "DASHDOT"),
        ("BARS ALONG X (mm)", COLOURS["x"], "CONTINUOUS"),
        ("BARS ALONG Y (mm)", COLOURS["y"], "CONTINUOUS"),
        ("DIMENSIONS (mm)", 8, "CONTINUOUS"),
        ("TEXT", 7, "CONTINUOUS"),
    ):
        doc.layers.add(name, color=colour, linetype=linetype)
    bars = design.reinforcement.bars
    space = doc.modelspace()
    top = 0.0
    for cut in DIRECTIONS:
        top = _section(space, bars, cut, top)
    steps = [line for sentence in step_words(deck) for line in wrap(sentence, 100)]
    for words in (*NOTES, *steps):
        text(space, words, (0.0, top), SECTION)
        top -= 1.8 * SECTION
    top = section_sheets(space, deck, schedule, top - 4 * SECTION)
    top = u_bar_details(space, deck, schedule, top)
    top -= 4 * TABLE
    for layer in LAYER_ROWS:
        top = layer_plan(space, deck, schedule, layer, top)
    top = edges_plan(space, deck, schedule, top)
    top = opening_details(space, deck, schedule, top)
    top = bar_table(space, deck, schedule, top)
    for layer in LAYER_ROWS:
        top = _plan(doc, deck, design, layer, top)
    return doc


def _section(space: Modelspace, bars: SlabBars, cut: Direction, top: float) -> float:
    """A section along `cut` below `top`; the height at which the next drawing may begin [mm]."""
    h, length = MM * bars.thickness, MM * LENGTH
    text(space, f"SECTION {ALONG[cut]}, plot at 1:10; {TO_VERIFY}", (0.0, top), 1.4 * SECTION)
    top -= 4 * SECTION
    for z in (top, top - h):
        space.add_line((0.0, z), (length, z), dxfattribs={"layer": "SLAB (mm)"})
    for x in (0.0, length):
        cutting = {"layer": "SLAB (mm)", "linetype": "DASHED", "ltscale": SECTION}
        space.add_line((x, top), (x, top - h), dxfattribs=cutting)
    layers: list[Layer] = sorted(
        ((f, d) for f in FACES for d in DIRECTIONS), key=lambda layer: centre_depth(bars, layer)
    )
    heights = (
        top
        - np.linspace(0.05, 0.95, len(layers)) * max(h, 12 * SECTION)
        + 0.5 * max(12 * SECTION - h, 0.0)
    )
    for layer, level in zip(layers, heights.tolist(), strict=True):
        z, one = top - MM * centre_depth(bars, layer), bars.bars(layer)
        on = {"layer": f"BARS ALONG {layer[1].upper()} (mm)"}
        radius, end = MM * one.diameter / 2, length
        if layer[1] == cut:
            corners = [(0.0, z - radius), (length, z - radius), (length, z + radius)]
            outline = [*corners, (0.0, z + radius)]
            space.add_lwpolyline(outline, close=True, dxfattribs=on)
            space.add_hatch(color=256, dxfattribs=on).paths.add_polyline_path(outline)
        else:
            for x in (MM * places_across(one)).tolist():
                space.add_circle((x, z), radius, dxfattribs=on)
                paths = space.add_hatch(color=256, dxfattribs=on).paths
                paths.add_edge_path().add_ellipse((x, z), (radius, 0.0), ratio=1.0)
                end = x
        space.add_lwpolyline(
            [(end, z), (length + 40, level), (length + 90, level)], dxfattribs={"layer": "TEXT"}
        )
        cover = as_given(MM * bars.mat(layer[0]).cover_to(layer[1]))
        words = f"{layer_title(bars, layer)}, cover {cover}, "
        words += f"d = {as_given(MM * bars.effective_depth(layer))}"
        text(space, words, (length + 100, level), SECTION, Align.MIDDLE_LEFT)
    dimension(space, (0.0, top), (0.0, top - h), (-8 * SECTION, top), SECTION, upright=True)
    for face in FACES:
        depth = MM * bars.mat(face).cover
        a, b = (top, top - depth) if face == "top" else (top - h + depth, top - h)
        dimension(space, (0.0, a), (0.0, b), (-3 * SECTION, top), SECTION, upright=True)
    _spacings(space, bars, cut, top)
    return top - max(h, 12 * SECTION) - 10 * SECTION


def _spacings(space: Modelspace, bars: SlabBars, cut: Direction, top: float) -> None:
    """Spacing of the bars that the section cuts, at the face they lie at."""
    for face in FACES:
        across: Layer = (face, "y" if cut == "x" else "x")
        z = top - MM * centre_depth(bars, across)
        places = (MM * places_across(bars.bars(across))).tolist()
        if len(places) < 2:
            continue
        outside = top + 1.8 * SECTION if face == "top" else top - MM * bars.thickness - 2 * SECTION
        dimension(space, (places[0], z), (places[1], z), (places[0], outside), SECTION)


def _plan(doc: Drawing, deck: Deck, design: Design, layer: Layer, top: float) -> float:
    """Zones of one layer below `top`, the larger need of all standards at each place."""
    space, bars = doc.modelspace(), design.reinforcement.bars
    name = layer_name(bars, layer)
    title = f"ZONES OF LAYER {layer_title(bars, layer)}"
    angle = np.degrees(design.reinforcement.angle)
    if layer[1] == "y" and not np.isclose(angle, 90.0):
        title += f" at {angle:g} degrees to x"
    ground = ground_of(deck, top)
    title += f", plan, plot at 1:{ground.scale}"
    shift, x_min, size = ground.shift, ground.x_min, ground.size
    text(space, title, (x_min, top), 1.4 * size)
    found = [standard.zones for standard in design.standards]
    for least in (1, 2):
        area = shapely.transform(zone_area(deck, found, layer, least), sheet)
        drawn = f"ZONE {name} {ZONE_WORDS[least].upper()} (mm)"
        doc.layers.add(drawn, color=8, true_color=rgb2int(GREYS[least]))
        _fill(space, area, shift, drawn)
    draw_ground(space, deck, ground)
    _bar_mark(space, deck, layer, shift)
    low = ground.below - 4 * size
    for sentence in _words(deck, design, layer):
        for words in wrap(sentence, 100):
            text(space, words, (x_min, low), size)
            low -= 1.8 * size
    return low - 4 * size


def _fill(space: Modelspace, area: BaseGeometry, shift: Floats, layer: str) -> None:
    """Filled areas with their outlines; holes stay empty."""
    for part in shapely.get_parts(area):
        if not isinstance(part, shapely.Polygon):
            continue
        hatch = space.add_hatch(color=256, dxfattribs={"layer": layer})
        for k, ring in enumerate((part.exterior, *part.interiors)):
            points = (np.array(ring.coords)[:-1] + shift).tolist()
            hatch.paths.add_polyline_path(points, is_closed=True, flags=1 if k == 0 else 16)
            space.add_lwpolyline(points, close=True, dxfattribs={"layer": layer})


def _bar_mark(space: Modelspace, deck: Deck, layer: Layer, shift: Floats) -> None:
    """A short double line in the middle that shows how the bars run."""
    on = {"layer": f"BARS ALONG {layer[1].upper()} (mm)", "lineweight": 50}
    for path in bar_mark(deck, layer[1], 0.8, 0.08):
        space.add_lwpolyline((flat(deck, path) + shift).tolist(), dxfattribs=on)


def _words(deck: Deck, design: Design, layer: Layer) -> list[str]:
    """What stands below a plan: supports, and each standard's stretches and lengths."""
    held = ", ".join(named_title(deck, line.name) for line in deck.lines)
    found = [
        CAUTION,
        f"Light: {ZONE_WORDS[1]}; dark: {ZONE_WORDS[2]}; white: {ZONE_WORDS[0]}. "
        f"Edges of zones to {STEP:g} m. The double line shows how the bars run. Lines: {held}.",
    ]
    axis = "x" if layer[1] == "x" else "y"
    if deck.plan.skew:
        found.append("Stations are those at offset zero, carried along the cross lines' skew.")
    for standard in design.standards:
        z = standard.zones
        some, every = (_where(axis, stretches(z, layer, least)) for least in (1, 2))
        found.append(
            f"{standard.basis.materials.standard}: bars needed {some}, every bar {every}, each "
            f"shifted by a_l of "
            f"{MM * z.shift[layer]:.0f} mm; anchorage beyond, not drawn: "
            f"{MM * z.anchorage[layer]:.0f} mm."
        )
    return found


def _where(axis: str, places: str) -> str:
    return "nowhere" if places == "none" else f"at {axis} = {places} m"
