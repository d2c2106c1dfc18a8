"""Sheets to print, cut from bars.dxf: its drawings at their scales, with a frame, a number and the
cautions at the size of the notes; as SVG, all one below the other, and as PDF.

A drawing begins with the title that names its scale and ends above the next. Sheets are A3 where
every drawing has room on it, else A1, longer than that where a drawing is.
"""

import re
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from html import escape
from itertools import pairwise, product
from pathlib import Path
from textwrap import wrap

from ezdxf import bbox
from ezdxf.addons.drawing.config import BackgroundPolicy, Configuration
from ezdxf.addons.drawing.frontend import Frontend
from ezdxf.addons.drawing.layout import Margins, Page, Settings, Units
from ezdxf.addons.drawing.properties import RenderContext
from ezdxf.addons.drawing.svg import SVGBackend
from ezdxf.document import Drawing
from ezdxf.fonts import fonts

from pipelines.caution import CAUTION
from pipelines.report.fonts import SANS, font_folder

FORMATS = {"A3": (420.0, 297.0), "A1": (841.0, 594.0)}  # ISO 216 [mm]
BINDING, EDGE = 20.0, 10.0  # from the paper's edge to the frame: left, elsewhere [mm]
FOOT = 16.0  # strip along the foot of a frame: title, cautions, number [mm]
NOTE = 2.5  # height of its letters, that of the drawings' notes [mm]
LETTER = 0.85  # mean width of those of the cautions, in heights
MARGIN = 1.0  # round a drawing [mm]
APART = 6.0  # of drawings on a sheet, and from its frame [mm]
SCALE = re.compile(r"plot at 1:(\d+)")
STYLE = re.compile(r'(class="|\.)(?=C[0-9A-F]+\b)')
SIZE = re.compile(r'(?:width|height)="([0-9.]+)mm"')


@dataclass(frozen=True, eq=False, kw_only=True)
class Part:
    """A drawing of bars.dxf as SVG, width and height on paper [mm]. scale : 10 = 1:10."""

    scale: float
    svg: str
    size: tuple[float, float]


@dataclass(frozen=True, eq=False, kw_only=True)
class Sheet:
    """Drawings with the places of their upper left corners on paper [mm]. size : of paper."""

    paper: str
    size: tuple[float, float]
    placed: tuple[tuple[Part, tuple[float, float]], ...]


def sheets(doc: Drawing) -> tuple[Sheet, ...]:
    """The sheets of a drawing of bars, its parts in their order, down and then to the right.

    Raises
    ------
    MissingError
        If there is no font to draw letters with.
    """
    if not fonts.font_manager.has_font(SANS):
        fonts.font_manager.build([str(font_folder("--pdf", "pdf"))], support_dirs=False)
    parts = tuple(_parts(doc))
    wide, high = (max(part.size[k] for part in parts) for k in (0, 1))
    fits = [k for k, s in FORMATS.items() if wide <= _room(s)[0] and high <= _room(s)[1]]
    paper = next(iter(fits), list(FORMATS)[-1])
    size = FORMATS[paper]
    room = _room(size)
    longer = (max(wide - room[0], 0.0), max(high - room[1], 0.0))
    if any(longer):
        paper, size = f"{paper} made longer", (size[0] + longer[0], size[1] + longer[1])
        room = _room(size)
    found: list[list[tuple[Part, tuple[float, float]]]] = [[]]
    for part in parts:
        at = _spot(found[-1], part.size, room)
        if at is None:
            found.append([])
            at = 0.0, 0.0
        found[-1].append((part, at))
    corner = BINDING + APART, EDGE + APART
    return tuple(
        Sheet(
            paper=paper,
            size=size,
            placed=tuple((part, (corner[0] + x, corner[1] + y)) for part, (x, y) in one),
        )
        for one in found
    )


def _spot(
    placed: Sequence[tuple[Part, tuple[float, float]]],
    size: tuple[float, float],
    room: tuple[float, float],
) -> tuple[float, float] | None:
    """The leftmost place for a drawing on a sheet, there the highest, clear of those placed."""
    boxes = [(x, y, x + part.size[0] + APART, y + part.size[1] + APART) for part, (x, y) in placed]
    for x, y in sorted(product({0.0, *(b[2] for b in boxes)}, {0.0, *(b[3] for b in boxes)})):
        right, low = x + size[0], y + size[1]
        if right > room[0] or low > room[1]:
            continue
        if all(
            x >= b[2] or y >= b[3] or right + APART <= b[0] or low + APART <= b[1] for b in boxes
        ):
            return x, y
    return None


def _room(size: tuple[float, float]) -> tuple[float, float]:
    """For drawings on paper [mm]."""
    return size[0] - BINDING - EDGE - 2 * APART, size[1] - 2 * EDGE - FOOT - 2 * APART


def _parts(doc: Drawing) -> Iterator[Part]:
    space = doc.modelspace()
    titles = [
        (float(one.dxf.insert.y) + 1.2 * float(one.dxf.height), float(match[1]))
        for one in space.query("TEXT")
        if (match := SCALE.search(one.dxf.text))
    ]
    titles.sort(reverse=True)
    cache = bbox.Cache()
    boxes = [(one, bbox.extents([one], fast=True, cache=cache)) for one in space]
    tops = [(one, box.extmax.y) for one, box in boxes if box.has_data]
    for number, ((top, scale), (end, _)) in enumerate(pairwise([*titles, (float("-inf"), 0.0)])):
        yield _part(doc, {id(one) for one, high in tops if end < high <= top}, scale, f"d{number}")


def _part(doc: Drawing, mine: set[int], scale: float, name: str) -> Part:
    """name : stands before the names of its styles, which all drawings of a page share."""
    backend = SVGBackend()
    look = Configuration(background_policy=BackgroundPolicy.WHITE)
    frontend = Frontend(RenderContext(doc), backend, config=look)
    frontend.draw_layout(doc.modelspace(), filter_func=lambda entity: id(entity) in mine)
    svg = backend.get_string(
        Page(0.0, 0.0, Units.mm, Margins.all(MARGIN)),
        settings=Settings(fit_page=False, scale=1.0 / scale, output_layers=False),
        xml_declaration=False,
    )
    wide, high = (float(size) for size in SIZE.findall(svg)[:2])
    return Part(scale=scale, svg=STYLE.sub(rf"\g<1>{name}", svg), size=(wide, high))


def svg_of(printed: Sequence[Sheet], title: str) -> str:
    """All sheets one below the other, as they are printed, in one SVG."""
    width = max(sheet.size[0] for sheet in printed)
    lines, top = [], 0.0
    for sheet, inner in zip(printed, _numbered(printed, title), strict=True):
        lines += [f'<g transform="translate(0 {top:.2f})">', *inner, "</g>"]
        top += sheet.size[1] + APART
    return _svg(lines, (width, top - APART))


def pages_of(printed: Sequence[Sheet], title: str) -> bytes:
    """A PDF with a page for every sheet, at its size, the same bytes from the same drawing."""
    import typst

    pages = ["#set document(date: none)"]
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for k, (sheet, lines) in enumerate(
            zip(printed, _numbered(printed, title), strict=True), start=1
        ):
            (folder / f"{k}.svg").write_text(_svg(lines, sheet.size), encoding="utf-8")
            wide, high = sheet.size
            pages.append(
                f"#page(width: {wide:g}mm, height: {high:g}mm, margin: 0mm)"
                f'[#image("{k}.svg", width: {wide:g}mm)]'
            )
        (folder / "bars.typ").write_text("\n".join(pages), encoding="utf-8")
        letters = font_folder("--pdf", "pdf")
        return bytes(typst.compile(folder / "bars.typ", font_paths=[letters]))


def _numbered(printed: Sequence[Sheet], title: str) -> Iterator[list[str]]:
    for number, sheet in enumerate(printed, start=1):
        yield list(_sheet(sheet, title, f"{number} of {len(printed)}"))


def _svg(lines: Sequence[str], size: tuple[float, float]) -> str:
    wide, high = size
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide:g}mm" height="{high:g}mm" '
        f'viewBox="0 0 {wide:g} {high:g}">'
    )
    return "\n".join((head, *lines, "</svg>\n"))


def _sheet(sheet: Sheet, title: str, number: str) -> Iterator[str]:
    """The lines of a sheet, lengths in mm of paper."""
    wide, high = sheet.size
    yield f'<rect width="{wide:g}" height="{high:g}" fill="#ffffff"/>'
    for part, (x, y) in sheet.placed:
        width, height = part.size
        inner = part.svg[part.svg.index("viewBox") :]
        yield f'<svg x="{x:.3f}" y="{y:.3f}" width="{width:.3f}" height="{height:.3f}" {inner}'
    left, right, low = BINDING, wide - EDGE, high - EDGE
    foot = low - FOOT
    yield (
        f'<g fill="none" stroke="#000000" stroke-width="0.5"><rect x="{left:g}" y="{EDGE:g}" '
        f'width="{right - left:g}" height="{low - EDGE:g}"/>'
        f'<path d="M{left:g} {foot:g}H{right:g}"/></g>'
    )
    scales = sorted({part.scale for part, _ in sheet.placed})
    told = ", ".join(f"1:{scale:g}" for scale in scales)
    words = (
        f"{title}: bars; lengths in mm",
        f"Sheet {number}; {sheet.paper}, print at full size: {told}",
    )
    room = int(0.62 * (right - left) / (LETTER * NOTE))
    yield f'<g font-family="DejaVu Sans, sans-serif" font-size="{NOTE / 0.73:.3f}">'
    for k, line in enumerate(words):
        yield _text(line, left + 2.0, foot + 5.5 + 5.0 * k)
    for k, line in enumerate(wrap(CAUTION, room)):
        yield _text(line, left + 0.38 * (right - left), foot + 5.5 + 5.0 * k)
    yield "</g>"


def _text(words: str, x: float, y: float) -> str:
    return f'<text x="{x:.2f}" y="{y:.2f}">{escape(words, quote=False)}</text>'
