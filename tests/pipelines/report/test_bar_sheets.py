"""Sheets of the drawings of bars: their scales, paper and cautions."""

import pickle
import re
from itertools import combinations
from pathlib import Path
from xml.etree import ElementTree

import pytest
import shapely
from ezdxf.document import Drawing
from ezdxf.filemanagement import new
from ezdxf.fonts import fonts

from pipelines.caution import CAUTION
from pipelines.report.drawings.bar_files import bar_files
from pipelines.report.drawings.bar_sheets import (
    EDGE,
    FORMATS,
    MARGIN,
    NOTE,
    SCALE,
    pages_of,
    sheets,
    svg_of,
)
from pipelines.report.drawings.bars_dxf import drawn_bars
from pipelines.report.fonts import SANS
from pipelines.run import run
from pipelines.system.beside import Beside, _packed
from tests.pipelines.decks_with_bars import bars
from tests.pipelines.small_decks import BEAMS, PLAN, SLAB, TRAFFIC, deck_of

TEXT = "{http://www.w3.org/2000/svg}text"


def strips(*drawn: tuple[float, float, float]) -> Drawing:
    """A title for every scale, length and height [mm, full size] above a rectangle of that size."""
    doc, top = new("R2010"), 0.0
    for scale, long, high in drawn:
        title = f"plot at 1:{scale:g}"
        doc.modelspace().add_text(title, height=scale).set_placement((0.0, top))
        low = top - 4 * scale - high
        corners = [(0.0, low), (long, low), (long, low + high), (0.0, low + high)]
        doc.modelspace().add_lwpolyline(corners, close=True)
        top = low - 20 * scale
    return doc


def test_drawings_have_the_size_of_their_scale() -> None:
    """2 m at 1:10 and 24 m at 1:100 are 200 and 240 mm wide."""
    (sheet,) = sheets(strips((10, 2000, 300), (100, 24000, 6000)))
    assert sheet.paper == "A3"
    # sizes are told to a tenth of a millimetre; half a line's width on each side
    widths = [part.size[0] - 2 * MARGIN for part, _ in sheet.placed]
    assert widths == pytest.approx([200.0, 240.0], abs=0.5)
    (_, (x, y)), (_, (right, low)) = sheet.placed
    assert x == right
    assert low - y > 30.0


def test_paper_is_as_large_as_the_drawings_need() -> None:
    assert sheets(strips((10, 4000, 300)))[0].paper == "A1"
    (longer,) = sheets(strips((10, 9000, 300)))
    assert longer.paper == "A1 made longer"
    assert longer.size[0] > 900.0
    assert longer.size[1] == FORMATS["A1"][1]
    many = sheets(strips(*[(10, 3500, 700)] * 4))
    assert [len(sheet.placed) for sheet in many] == [3, 1]


def test_drawings_take_the_room_beside_narrow_ones() -> None:
    """One of 370 mm, and below it, on A3, two of 180 and 150 mm beside each other, all clear."""
    (sheet,) = sheets(strips((10, 3600, 600), (10, 1700, 1000), (10, 1500, 1000)))
    assert sheet.paper == "A3"
    (_, (first, top)), (_, (second, low)), (_, (third, same)) = sheet.placed
    assert first == second < third
    assert top < low == same
    boxes = [shapely.box(x, y, x + p.size[0], y + p.size[1]) for p, (x, y) in sheet.placed]
    for one, other in combinations(boxes, 2):
        assert one.distance(other) > 5.9


@pytest.mark.parametrize("long", [2000, 6000])
def test_the_cautions_end_within_the_frame(long: int) -> None:
    """As wide as their letters are in the font of the sheets, on A3 and on A1."""
    printed = sheets(strips((10, long, 300)))
    font = fonts.make_font(SANS, cap_height=NOTE)
    lines = ElementTree.fromstring(svg_of(printed, "bars")).iter(TEXT)
    ends = [float(one.get("x", 0.0)) + font.text_width(one.text or "") for one in lines]
    assert max(ends) < printed[0].size[0] - EDGE


@pytest.mark.slow
def test_the_sheets_of_a_run(tmp_path: Path) -> None:
    """Every drawing of bars.dxf on one of them, the caution at the size of the notes on each, the
    same bytes each time."""
    pytest.importorskip("typst")
    deck_of(tmp_path, SLAB, PLAN, BEAMS, TRAFFIC, bars())
    result = run(tmp_path / "deck.toml", tmp_path / "out", pdf=True)
    assert (tmp_path / "out" / "bars.pdf").read_bytes().startswith(b"%PDF")
    assert result.design is not None
    assert result.schedule is not None
    bars_of = result.deck, result.design, result.schedule
    doc, _ = drawn_bars(*bars_of)
    printed = sheets(doc)
    titles = [one for one in doc.modelspace().query("TEXT") if SCALE.search(one.dxf.text)]
    assert sum(len(sheet.placed) for sheet in printed) == len(titles) > 10
    svg = svg_of(printed, result.deck.title)
    assert svg == (tmp_path / "out" / "bars.svg").read_text(encoding="utf-8")
    assert pages_of(printed, "bars") == pages_of(printed, "bars")
    # in a process beside the run the same
    with Beside([]) as beside:
        there = beside._asked(_packed((bar_files, (*bars_of, "bars"), {"pdf": False})))
    assert pickle.loads(there) == {"bars.dxf": (tmp_path / "out" / "bars.dxf").read_bytes()}
    texts = [one.text or "" for one in ElementTree.fromstring(svg).iter(TEXT)]
    assert sum(text.startswith("Sheet ") for text in texts) == len(printed)
    assert " ".join(texts).count(CAUTION) == len(printed)
    # DejaVu's capitals are 0.73 of its size
    (size,) = set(re.findall(r'font-size="([0-9.]+)"', svg))
    assert 0.73 * float(size) == pytest.approx(NOTE, abs=0.01)
