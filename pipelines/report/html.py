"""A document as one HTML page that stands alone: styles inside, nothing fetched."""

from collections.abc import Iterable
from html import escape
from pathlib import Path
from typing import assert_never

from pipelines.caution import CAUTION
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
)

ASSETS = Path(__file__).parent / "assets"
STYLES = ("report.css", "explorer.css")
# Headings of sections in sections end here.
LOWEST = 6


def html_of(document: Document) -> str:
    """The page as text, to be written as UTF-8."""
    parts = (*document.front, *document.sections, *document.record)
    writer = _Writer(frozenset(addresses(parts)))
    css = "\n".join((ASSETS / name).read_text(encoding="utf-8") for name in STYLES)
    # At the foot of each page in print.
    css += f'@page {{ @bottom-left {{ content: "{CAUTION}"; font: 7pt sans-serif; }} }}\n'
    title = escape(document.title)
    record = _record(document, writer) if document.recorded else ""
    # A summary is read from its beginning, and a folded record is its own contents.
    contents = "" if record else _contents(document.shown)
    return f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{title}</title>
<style>
{css}</style>
</head>
<body>
<header>
<h1>{title}</h1>
<p class="lead">{escape(document.lead)}</p>
{writer.blocks(document.front)}
{contents}</header>
<main{' class="paged"' if document.paged else ""}>
{writer.blocks(document.shown)}
{record}</main>
<footer>{escape(document.end)}</footer>
</body>
</html>
"""


def _contents(sections: Iterable[Section]) -> str:
    links = "".join(f'<li><a href="#{one.name}">{escape(one.title)}</a></li>' for one in sections)
    return f'<nav aria-label="Contents"><ol>{links}</ol></nav>\n'


def _record(document: Document, writer: "_Writer") -> str:
    """The sections for whoever checks, folded; printing and links to them open them."""
    folded = "\n".join(writer.folded(section) for section in document.recorded)
    script = (ASSETS / "record.js").read_text(encoding="utf-8")
    return f'<h2 class="record">{RECORD}</h2>\n{folded}\n<script>{script}</script>\n'


class _Writer:
    """Writes nodes; addresses : those that links can go to."""

    def __init__(self, addresses: frozenset[str]) -> None:
        self._addresses = addresses

    def blocks(self, blocks: Iterable[Block], level: int = 2) -> str:
        """Blocks one after the other; level : of the headings of sections among them."""
        return "\n".join(self._block(block, level) for block in blocks)

    def _block(self, block: Block, level: int) -> str:
        match block:
            case Paragraph(words):
                return f"<p>{self.words(words)}</p>"
            case Formula(words):
                return f'<p class="formula">{self.words(words)}</p>'
            case Bullets(rows):
                items = "".join(f"<li>{self.words(row)}</li>" for row in rows)
                return f'<ul class="plain">{items}</ul>'
            case Figure(name, drawing, caption):
                words = self.words(caption)
                return (
                    f'<figure id="{escape(name)}">\n{drawing.svg}\n'
                    f"<figcaption>{words}</figcaption>\n</figure>"
                )
            case Table():
                return self._table(block)
            case Caution(inner):
                return f'<div class="caution" role="note">\n{self.blocks(inner, level + 1)}\n</div>'
            case Details(title, inner):
                return (
                    f"<details open><summary>{escape(title)}</summary>\n"
                    f"{self.blocks(inner, level + 1)}\n</details>"
                )
            case Interactive(html):
                return html
            case Section():
                return self._section(block, level) if block.blocks else ""
            case _:
                assert_never(block)

    def folded(self, section: Section) -> str:
        """A section of the record."""
        name, title = escape(section.name), escape(section.title)
        return (
            f'<details class="record" id="{name}"><summary><h3 id="{name}-title">{title}</h3>'
            f"</summary>\n{self.blocks(section.blocks, 4)}\n</details>"
        )

    def _section(self, section: Section, level: int) -> str:
        tag = f"h{min(level, LOWEST)}"
        name, title = escape(section.name), escape(section.title)
        body = self.blocks(section.blocks, level + 1)
        if not name:
            return f"<section>\n<{tag}>{title}</{tag}>\n{body}\n</section>"
        return (
            f'<section id="{name}" aria-labelledby="{name}-title">\n'
            f'<{tag} id="{name}-title">{title}</{tag}>\n{body}\n</section>'
        )

    def _table(self, table: Table) -> str:
        css = [
            ' class="n"' if c.align == "right" else ' class="w"' if c.wide else ""
            for c in table.columns
        ]
        head = "".join(
            f'<th scope="col"{k}>{self.words(column.head)}</th>'
            for k, column in zip(css, table.columns, strict=True)
        )
        body = []
        for row in table.rows:
            first, *others = (self.words(cell) for cell in row)
            cells = "".join(f"<td{k}>{cell}</td>" for k, cell in zip(css[1:], others, strict=True))
            body.append(f'<tr><th scope="row"{css[0]}>{first}</th>{cells}</tr>')
        caption = escape(table.caption)
        hand = ' class="by-hand"' if table.by_hand else ""
        return (
            f'<div class="scroll" tabindex="0" role="region" aria-label="{caption}">'
            f"<table{hand}><caption><span>{caption}</span></caption><thead><tr>{head}</tr></thead>\n"
            "<tbody>" + "\n".join(body) + "</tbody></table></div>"
        )

    def words(self, words: Words) -> str:
        """Running words."""
        match words:
            case str():
                return escape(words)
            case tuple():
                return "".join(map(self.words, words))
            case Symbol(letter, mark):
                low = f"<sub>{escape(mark)}</sub>" if mark else ""
                return f"<i>{escape(letter)}</i>{low}"
            case Raised(inner):
                return f"<sup>{self.words(inner)}</sup>"
            case Strong(inner):
                return f"<strong>{self.words(inner)}</strong>"
            case Short(inner):
                return f'<span class="short">{self.words(inner)}</span>'
            case Together(inner):
                return f'<span class="t">{self.words(inner)}</span>'
            case Code(text):
                return f"<code>{escape(text)}</code>"
            case Anchor(name, inner):
                return f'<span id="{escape(name)}">{self.words(inner)}</span>'
            case Link(to, inner):
                if to not in self._addresses:
                    return self.words(inner)
                return f'<a href="#{escape(to)}">{self.words(inner)}</a>'
            case Break():
                return "<br>"
            case _:
                assert_never(words)
