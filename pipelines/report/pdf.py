"""The report as PDF: the same HTML, set in pages by the typst library.

Only the tags that the report uses are known; drawings stay vectors. What is looked at by hand in
a browser is left out.
"""

import re
import tempfile
from html import unescape
from html.parser import HTMLParser
from importlib.util import find_spec
from pathlib import Path
from typing import ClassVar

import matplotlib

from pipelines.errors import JobError

# Room for a drawing on a page below headings and an introduction, and its width there per point of
# its own [pt].
PAGE = (766.0, 370.0)
# Width of drawings that stand two side by side [pt]; up to so much wider ones are made to fit.
HALF, NEARLY = 375.0, 1.25
SVG_SCALE = 1.1

# Characters on a line of a table, in the margins of a column, and in a cell that needs many lines.
LINE, MARGIN, LONG = 185, 2, 90

START = """
#set document(title: TITLE, date: none)
#set page(paper: "a4", flipped: true, margin: (x: 12mm, top: 13mm, bottom: 15mm),
  footer: context [#set text(7pt, fill: luma(90)); #TITLE #h(1fr)
  #counter(page).display("1 / 1", both: true)])
#set text(font: "DejaVu Sans", size: 8.5pt, lang: "en", hyphenate: true)
#set par(leading: 0.55em, spacing: 0.9em)
#show heading: set block(above: 1.3em, below: 0.7em, sticky: true)
#show heading.where(level: 1): set text(16pt)
#show heading.where(level: 2): set text(12.5pt)
#show heading.where(level: 3): set text(10pt)
#set table(stroke: (x: none, top: none, bottom: 0.3pt + luma(170)), inset: (x: 3pt, y: 2.2pt))
#show table: set text(6.6pt)
#show table: set par(leading: 0.4em)
"""


def require_pdf() -> None:
    """Raise JobError where PDF cannot be written."""
    if find_spec("typst") is None:
        raise JobError(
            "--pdf needs the typst library: pip install 'deckslab[pdf]' "
            "(report.html can be printed to PDF from a browser as well)"
        )


def pdf_of(html: str) -> bytes:
    """The report's HTML as a PDF file."""
    import typst

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "report.typ").write_text(_Pages(html, folder).source(), encoding="utf-8")
        fonts = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
        return bytes(typst.compile(folder / "report.typ", font_paths=[fonts]))


def _widths(cells: list[list[str]], whole: list[bool]) -> str:
    """Widths of a table's columns from the plain words of its rows: as they need while all fit,
    otherwise each its longest word and a share of what is left by the length of its lines.

    whole : columns of which cells are not broken, but those of the first row, the heads.
    """
    least, most = [], []
    for column, one in zip(zip(*cells, strict=True), whole, strict=True):
        lines = [line for cell in column[1:] for line in cell.split("\n")]
        words = [word for cell in column for word in cell.split()]
        least.append(MARGIN + max(map(_size, [*words, *(lines if one else ()), ""])))
        most.append(max(least[-1], MARGIN + max(map(_size, [*lines, ""]))))
    if sum(most) <= LINE:
        return ", ".join(["auto"] * len(most))
    wish = [max(0, min(m, LONG) - n) for n, m in zip(least, most, strict=True)]
    left = max(0, LINE - sum(least)) / max(1, sum(wish))
    return ", ".join(f"{n + left * w:.1f}fr" for n, w in zip(least, wish, strict=True))


def _size(words: str) -> int:
    """Characters, wide ones counted as one and a half."""
    return len(words) + sum(words.count(c) for c in "mMwW") // 2


def _string(words: str) -> str:
    return '"' + words.replace("\\", "\\\\").replace('"', '\\"') + '"'


class _Pages(HTMLParser):
    """Turns the report's HTML into typst's markup and its drawings into files."""

    OPEN: ClassVar = {
        "strong": "#strong[",
        "i": "#emph[",
        "sub": "#sub[",
        "code": '#text(font: "DejaVu Sans Mono")[',
        "p": "\n\n#par[",
        "figcaption": "#block(width: 100%, text(7.5pt, fill: luma(60))[",
        "h1": "\n#heading(level: 1)[",
        "h2": "\n#heading(level: 2)[",
        "h3": "\n#heading(level: 3)[",
        "ul": "\n#list(",
        "li": "[",
        "figure": "\n#block(breakable: false)[",
        "footer": "\n\n#line(length: 100%, stroke: 0.4pt)\n",
    }
    CLOSE: ClassVar = {
        **dict.fromkeys(("strong", "i", "sub", "code", "h1", "h2", "h3", "figure"), "]"),
        "p": "]\n\n",
        "figcaption": "])",
        "li": "],",
        "ul": ")\n",
    }
    WITH_WORDS = ("p", "li", "td", "th", "caption", "figcaption", "h1", "h2", "h3")
    SKIPPED = ("head", "nav", "script", "style", "noscript")

    def __init__(self, html: str, folder: Path) -> None:
        super().__init__()
        self._folder = folder
        self._out: list[str] = []
        self._skip = 0
        self._count = 0
        self._depth = 0
        self._headed = self._intro = False
        self._spans: list[str] = []
        self._divs: list[str] = []
        self._row: list[tuple[str, bool, str]] = []
        self._cell = ""
        title = re.search(r"<title>(.*?)</title>", html, re.DOTALL)
        self._title = unescape(title.group(1)) if title else ""
        html = re.sub(r'<section id="explore".*?</section>', "", html, flags=re.DOTALL)
        html = re.sub(r"<svg .*?</svg>", self._drawing, html, flags=re.DOTALL)
        # Two narrow drawings stand side by side.
        narrow = r'<figure(?= id="[^"]*">\s*<img src="[^"]*" width="([\d.]+)")'
        self.feed(re.sub(narrow, lambda m: m[0] + " half" * (float(m[1]) <= HALF), html))

    def source(self) -> str:
        """The whole document."""
        return START.replace("TITLE", _string(self._title)) + "".join(self._out)

    def _drawing(self, found: re.Match[str]) -> str:
        svg = found.group()
        view = re.search(r'viewBox="([^"]*)"', svg)
        assert view is not None
        width, height = (float(v) for v in view.group(1).split()[2:])
        scale = min(SVG_SCALE, PAGE[0] / width, PAGE[1] / height)
        if scale * width <= NEARLY * HALF:
            scale = min(scale, HALF / width)
        self._count += 1
        (self._folder / f"{self._count}.svg").write_text(svg, encoding="utf-8")
        words = re.search(r'aria-label="([^"]*)"', svg)
        label = words.group(1) if words else ""
        return f'<img src="{self._count}.svg" width="{scale * width:.1f}" alt="{label}">'

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        about = {key: value or "" for key, value in attrs}
        if tag in self.SKIPPED:
            self._skip += 1
        if self._skip:
            return
        self._depth += tag in self.WITH_WORDS
        if tag == "img":
            self._out.append(
                f"#image({_string(about['src'])}, width: {about['width']}pt, "
                f"alt: {_string(about['alt'])})\n"
            )
        elif tag == "br":
            self._cell += "\n"
            self._out.append("#linebreak()")
        elif tag == "span":
            short = about.get("class") == "short"
            self._spans.append("]" if short else "")
            self._out.append('#text(fill: rgb("#8c2d04"), weight: "bold")[' if short else "")
        elif tag == "div":
            caution = about.get("class") == "caution"
            self._divs.append("]\n" if caution else "")
            style = '#block(fill: rgb("#fbf1ea"), inset: 6pt, width: 100%)['
            self._out.append(style if caution else "")
        elif tag == "table":
            self._heads: list[str] = []
            self._body: list[str] = []
            self._right: list[bool] = []
            self._plain: list[list[str]] = []
            self._caption = ""
            self._start = len(self._out)
        elif tag in ("caption", "td", "th"):
            self._start = len(self._out)
            self._cell = ""
            self._numeric = "n" in about.get("class", "").split()
        elif tag == "tr":
            self._row = []
        elif tag == "figure" and "half" in about:
            self._out.append("#box(width: 49%)[")
        elif tag == "p" and self._headed:
            # An introduction stays with what it introduces.
            self._out.append("\n\n#block(sticky: true)[#par[")
            self._intro = True
        else:
            self._out.append(self.OPEN.get(tag, ""))
        self._headed = False

    def handle_endtag(self, tag: str) -> None:
        if tag in self.SKIPPED:
            self._skip -= 1
            return
        if self._skip:
            return
        self._depth -= tag in self.WITH_WORDS
        if tag == "span":
            self._out.append(self._spans.pop())
        elif tag == "div":
            self._out.append(self._divs.pop())
        elif tag in ("caption", "td", "th"):
            words = "".join(self._out[self._start :])
            del self._out[self._start :]
            if tag == "caption":
                self._caption = words
            else:
                self._row.append((words, self._numeric, self._cell))
        elif tag == "tr":
            cells = [f"[{words}]" for words, _, _ in self._row]
            self._plain.append([plain for *_, plain in self._row])
            if self._heads:
                self._body.append(", ".join(cells))
            else:
                self._heads = cells
                self._right = [numeric for _, numeric, _ in self._row]
        elif tag == "table":
            self._out.append(self._table())
        elif tag == "p" and self._intro:
            self._out.append("]]\n\n")
            self._intro = False
        else:
            self._out.append(self.CLOSE.get(tag, ""))
        self._headed = self._headed or tag in ("h2", "h3")

    def handle_data(self, data: str) -> None:
        # Space between blocks would be a paragraph of its own.
        if not self._skip and (data.strip() or self._depth):
            words = re.sub(r"[ \t\n]+", " ", data)
            self._cell += words
            self._out.append(f"#{_string(words)};")

    def _table(self) -> str:
        align = ", ".join("right" if right else "left" for right in self._right)
        heads = ", ".join(f"strong({head})" for head in self._heads)
        rows = "".join(f"{row},\n" for row in self._body)
        title = f"table.cell(colspan: {len(self._heads)}, strong([{self._caption}]))"
        return (
            f"\n#table(columns: ({_widths(self._plain, self._right)},), align: ({align},),\n"
            f"table.header({title}, {heads}),\n{rows})\n"
        )
