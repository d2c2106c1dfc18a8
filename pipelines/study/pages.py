"""Figures as a PDF, a page for each at its own size: vectors with fonts embedded, for print."""

import re
import tempfile
from collections.abc import Iterable
from importlib.util import find_spec
from pathlib import Path

from pipelines.report.document import Drawing
from pipelines.report.drawings.canvas import sheet
from pipelines.report.fonts import font_folder

_VIEW = re.compile(r'viewBox="\S+ \S+ (\S+) (\S+)"')


def has_pdf() -> bool:
    """Whether PDF can be written here."""
    return find_spec("typst") is not None and find_spec("matplotlib") is not None


def pages_of(drawings: Iterable[Drawing]) -> bytes:
    """The same bytes from the same drawings, which have the caution below them."""
    import typst

    pages = ["#set document(date: none)"]
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for k, drawing in enumerate(drawings, start=1):
            svg = sheet(drawing)
            (folder / f"{k}.svg").write_text(svg, encoding="utf-8")
            width, height = _VIEW.findall(svg)[0]
            pages.append(
                f"#page(width: {width}pt, height: {height}pt, margin: 0pt)"
                f'[#image("{k}.svg", width: {width}pt)]'
            )
        (folder / "figures.typ").write_text("\n".join(pages), encoding="utf-8")
        fonts = font_folder("figures.pdf", "pdf")
        return bytes(typst.compile(folder / "figures.typ", font_paths=[fonts]))
