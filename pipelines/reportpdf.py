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

# Room for a drawing on a page, and its width there per point of its own [pt].
PAGE = (766.0, 440.0)
SVG_SCALE = 1.1

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
        self._spans: list[str] = []
        self._divs: list[str] = []
        self._row: list[tuple[str, bool]] = []
        title = re.search(r"<title>(.*?)</title>", html, re.DOTALL)
        self._title = unescape(title.group(1)) if title else ""
        html = re.sub(r'<section id="explore".*?</section>', "", html, flags=re.DOTALL)
        self.feed(re.sub(r"<svg .*?</svg>", self._drawing, html, flags=re.DOTALL))

    def source(self) -> str:
        """The whole document."""
        return START.replace("TITLE", _string(self._title)) + "".join(self._out)

    def _drawing(self, found: re.Match[str]) -> str:
        svg = found.group()
        view = re.search(r'viewBox="([^"]*)"', svg)
        assert view is not None
        width, height = (float(v) for v in view.group(1).split()[2:])
        scale = min(SVG_SCALE, PAGE[0] / width, PAGE[1] / height)
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
            self._caption = ""
            self._start = len(self._out)
        elif tag in ("caption", "td", "th"):
            self._start = len(self._out)
            self._numeric = "n" in about.get("class", "").split()
        elif tag == "tr":
            self._row = []
        else:
            self._out.append(self.OPEN.get(tag, ""))

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
                self._row.append((words, self._numeric))
        elif tag == "tr":
            cells = [f"[{words}]" for words, _ in self._row]
            if self._heads:
                self._body.append(", ".join(cells))
            else:
                self._heads = cells
                self._right = [numeric for _, numeric in self._row]
        elif tag == "table":
            self._out.append(self._table())
        else:
            self._out.append(self.CLOSE.get(tag, ""))

    def handle_data(self, data: str) -> None:
        # Space between blocks would be a paragraph of its own.
        if not self._skip and (data.strip() or self._depth):
            words = re.sub(r"[ \t\n]+", " ", data)
            self._out.append(f"#{_string(words)};")

    def _table(self) -> str:
        align = ", ".join("right" if right else "left" for right in self._right)
        heads = ", ".join(f"strong({head})" for head in self._heads)
        rows = "".join(f"{row},\n" for row in self._body)
        title = f"table.cell(colspan: {len(self._heads)}, strong([{self._caption}]))"
        return (
            f"\n#table(columns: {len(self._heads)}, align: ({align},),\n"
            f"table.header({title}, {heads}),\n{rows})\n"
        )
