"""A document as a PDF, set in pages by the typst library; drawings stay vectors.

Every word goes into typst's source as a string, never as markup.
"""

import tempfile
from collections.abc import Iterable
from importlib.util import find_spec
from pathlib import Path
from typing import assert_never

from pipelines.caution import CAUTION
from pipelines.errors import MissingError
from pipelines.report.document import (
    RECORD,
    Anchor,
    Block,
    Break,
    Bullets,
    Caution,
    Code,
    Details,
    Document,
    Drawing,
    Figure,
    Formula,
    Interactive,
    Link,
    Paragraph,
    Raised,
    Section,
    Short,
    Strong,
    Symbol,
    Table,
    Together,
    Words,
    addresses,
    plain,
)
from pipelines.report.fonts import font_folder

ASSETS = Path(__file__).parent / "assets"
# Room for a drawing on a page below headings and an introduction, and its width there per point of
# its own [pt].
PAGE = (766.0, 370.0)
# Width of drawings that stand two side by side [pt]; up to so much wider ones are made to fit.
HALF, NEARLY = 375.0, 1.25
SVG_SCALE = 1.1
# Height up to which two drawings with their captions stand on a page [pt], and how far a drawing
# may be made smaller for it.
STACKED = (205.0, 0.64)


def require_pdf() -> None:
    """Raise MissingError where PDF cannot be written."""
    if find_spec("typst") is None or find_spec("matplotlib") is None:
        raise MissingError("--pdf (report.html can be printed from a browser as well)", "pdf")


def pdf_of(document: Document) -> bytes:
    """The document as a PDF file, the same bytes from the same document."""
    import typst

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        source, drawings = typst_of(document)
        (folder / "report.typ").write_text(source, encoding="utf-8")
        for file, drawing in drawings.items():
            (folder / file).write_text(drawing.svg, encoding="utf-8")
        fonts = font_folder("--pdf", "pdf")
        return bytes(typst.compile(folder / "report.typ", font_paths=[fonts]))


def typst_of(document: Document) -> tuple[str, dict[str, Drawing]]:
    """The document in typst's language, and the drawings that it reads by file name."""
    printed = filter(_on_paper, (*document.sections, *document.record))
    writer = _Writer(frozenset(addresses((*document.front, *printed))))
    record = document.recorded
    parts = [
        (ASSETS / "report.typ").read_text(encoding="utf-8"),
        f"#show: report.with({_string(document.title)}, {_string(document.lead)}, "
        f"{_string(CAUTION)})\n",
        writer.blocks(document.front),
        "" if record else "#contents\n",
        *(
            "#pagebreak(weak: true)\n" * document.paged + writer.blocks([one])
            for one in document.shown
        ),
        *((f"#record({_string(RECORD)})\n", writer.blocks(record)) if record else ()),
        f"#end-words({_string(document.end)})\n" * (not document.paged),
    ]
    return "\n".join(parts), writer.drawings


def _on_paper(section: Section) -> bool:
    """Whether anything of a section is printed."""
    return any(not isinstance(block, Interactive) for block in section.blocks)


def _string(words: str) -> str:
    """A typst string that holds these words."""
    found = words.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if c.isprintable() else f"\\u{{{ord(c):x}}}" for c in found) + '"'


class _Writer:
    """Writes nodes as calls in typst's markup; drawings : those met, by file name."""

    def __init__(self, addresses: frozenset[str]) -> None:
        self._addresses = addresses
        self.drawings: dict[str, Drawing] = {}

    def blocks(self, blocks: Iterable[Block], level: int = 2) -> str:
        """Blocks one after the other; level : of the headings of sections among them."""
        return "\n".join(self._block(block, level) for block in blocks)

    def _block(self, block: Block, level: int) -> str:
        match block:
            case Paragraph(words):
                return f"\n#par[{self.words(words)}]\n"
            case Formula(words):
                return f"\n#formula[{self.words(words)}]\n"
            case Bullets(rows):
                return f"#list({''.join(f'[{self.words(row)}],' for row in rows)})\n"
            case Figure():
                return self._figure(block)
            case Table():
                return self._table(block)
            case Caution(inner):
                return f"#caution[{self.blocks(inner, level + 1)}]\n"
            case Details(title, inner):
                return self._block(Section("", title, inner), level)
            case Interactive():
                return ""
            case Section():
                return self._section(block, level)
            case _:
                assert_never(block)

    def _section(self, section: Section, level: int) -> str:
        if not _on_paper(section):
            return ""
        first, *others = section.blocks
        label = f" #label({_string(section.name)})" if section.name else ""
        start = self._block(first, level + 1)
        if isinstance(first, Paragraph):
            # An introduction stays with what it introduces.
            start = f"#block(sticky: true)[{start}]\n"
        heading = f"#heading(level: {level})[#{_string(section.title)};]{label}\n"
        return heading + start + self.blocks(others, level + 1)

    def _figure(self, figure: Figure) -> str:
        drawing = figure.drawing
        scale = min(SVG_SCALE, PAGE[0] / drawing.width, PAGE[1] / drawing.height)
        if STACKED[1] <= STACKED[0] / drawing.height < scale:
            scale = STACKED[0] / drawing.height
        if scale * drawing.width <= NEARLY * HALF:
            scale = min(scale, HALF / drawing.width)
        width = scale * drawing.width
        file = f"{len(self.drawings) + 1}.svg"
        self.drawings[file] = drawing
        return (
            f"#drawing({_string(file)}, {width:.1f}pt, {_string(drawing.words)}, "
            f"{str(width <= HALF).lower()})[{self.words(figure.caption)}]"
            f" #label({_string(figure.name)})"
        )

    def _table(self, table: Table) -> str:
        heads = "".join(f"[{self.words(column.head)}]," for column in table.columns)
        parts = (plain(column.head).split() for column in table.columns)
        words = "".join(f"({''.join(f'{_string(word)},' for word in part)})," for part in parts)
        right = "".join(f"{str(c.align == 'right').lower()}," for c in table.columns)
        rows = "".join(
            "".join(f"[{self.words(cell)}]," for cell in row) + "\n" for row in table.rows
        )
        hand = str(table.by_hand).lower()
        return (
            f"#sheet({_string(table.caption)}, ({right}), ({heads}), ({words}),\n{rows}"
            f"by-hand: {hand})\n"
        )

    def words(self, words: Words) -> str:
        """Running words."""
        match words:
            case str():
                return f"#{_string(words)};" if words else ""
            case tuple():
                return "".join(map(self.words, words))
            case Symbol(letter, mark):
                return f"#symbol-of({_string(letter)}, {_string(mark)});"
            case Raised(inner):
                return f"#super[{self.words(inner)}]"
            case Strong(inner):
                return f"#strong[{self.words(inner)}]"
            case Short(inner):
                return f"#short[{self.words(inner)}]"
            case Together(inner):
                return f"#box[{self.words(inner)}]"
            case Code(text):
                return f"#code({_string(text)});"
            case Anchor(name, inner):
                return f"#box[{self.words(inner)}]#label({_string(name)})"
            case Link(to, inner):
                if to not in self._addresses:
                    return self.words(inner)
                return f"#link(label({_string(to)}))[{self.words(inner)}]"
            case Break():
                return "#linebreak()"
            case _:
                assert_never(words)
