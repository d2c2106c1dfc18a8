"""Every node of a document through both renderers, with any words in it."""

import json
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from pipelines.report.document import (
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
    Interactive,
    Link,
    Paragraph,
    Section,
    Short,
    Strong,
    Symbol,
    Together,
    Words,
    plain,
    table,
)
from pipelines.report.fonts import font_folder
from pipelines.report.html import html_of
from pipelines.report.pdf import pdf_of, typst_of
from tests.pipelines.report_page import Reader

typst = pytest.importorskip("typst")

HOSTILE = (
    "& < > \" ' # $ * _ ` @ <x> \\ [ ] ~ // /* = - + ; { } &amp; #let x = 1 \\n \\u{41} \\\\ \\"
)
DRAWING = Drawing(
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 50" role="img" aria-label="a line">'
    '<path d="M0 0L100 50" stroke="red"/></svg>',
    "a line",
    100.0,
    50.0,
)
# A file in UTF-8 holds no halves of pairs; the parser of HTML reads carriage returns as new lines.
ANY = st.text(
    st.sampled_from('\\"\n#$[]{}<>&;*_`@~nrtu41')
    | st.characters(exclude_categories=["Cs"], exclude_characters="\r\x00"),
    max_size=40,
)


def document(*blocks: Block, title: str = "A page") -> Document:
    return Document(
        title=title, lead="lead", front=(), sections=(Section("one", "One", blocks),), end="end"
    )


def headings(one: Document, folder: Path) -> list[str]:
    """Titles of the sections as typst itself tells them after it has set the document."""
    source, drawings = typst_of(one)
    (folder / "report.typ").write_text(source, encoding="utf-8")
    for name, drawing in drawings.items():
        (folder / name).write_text(drawing.svg, encoding="utf-8")
    told = json.loads(typst.query(str(folder / "report.typ"), "heading.where(level: 2)"))
    return ["".join(_texts(heading["body"])) for heading in told]


def _texts(body: dict[str, Any]) -> list[str]:
    if "children" in body:
        return [text for child in body["children"] for text in _texts(child)]
    return [body.get("text", "")]


def all_nodes(words: str) -> tuple[Block, ...]:
    inline: tuple[Words, ...] = (
        words,
        Symbol("m", "x"),
        Symbol(words, words),
        Strong(words),
        Short((words, Strong(words))),
        Together(words),
        Code(words),
        Break(),
        Link("row", words),
        Link("nowhere", words),
    )
    return (
        Paragraph(Anchor("row", words)),
        Paragraph(inline),
        Bullets((words, inline)),
        table(words, ["head", inline], [[words, inline]], numeric=(1,), wide=(0,)),
        Figure("figure", DRAWING, inline),
        Caution((Paragraph(inline),)),
        Details(words, (Paragraph(inline),)),
        Section("inner", words, (Paragraph(words), Section("", words, (Paragraph(words),)))),
    )


def test_every_node_takes_hostile_words() -> None:
    one = document(*all_nodes(HOSTILE), title=HOSTILE)
    page = Reader(html_of(one))
    for tag in ("title", "h1", "h3", "h4", "p", "strong", "code", "sub", "a", "li", "summary"):
        assert HOSTILE in page.words(tag), tag
    # Only the tags of our own.
    assert "x" not in {tag for tag, _ in page.found}
    assert pdf_of(one).startswith(b"%PDF")
    assert pdf_of(one) == pdf_of(one)


@given(ANY)
@settings(max_examples=200, deadline=None)
def test_any_words_come_back_from_html(words: str) -> None:
    page = Reader(html_of(document(Paragraph(Code(words)), Paragraph((words, Break(), words)))))
    shown = [text for tag, text in page.found if tag == "code"]
    assert "".join(shown) == words
    outer = "".join(text for tag, text in page.found if tag == "p")
    assert outer.count(words) >= 2


@given(st.lists(ANY, min_size=1, max_size=30))
@settings(max_examples=8, deadline=None)
def test_any_words_come_back_from_typst(tmp_path_factory: Any, titles: list[str]) -> None:
    sections = tuple(Section("", title, (Paragraph(title),)) for title in [*titles, HOSTILE])
    one = Document(title="t", lead="l", front=(), sections=sections, end="e")
    assert headings(one, tmp_path_factory.mktemp("set")) == [*titles, HOSTILE]


def test_empty_sections_are_left_out_and_links_to_them_are_words() -> None:
    there = Section("there", "There", (Paragraph(Link("gone", "to what is gone")),))
    one = Document(
        title="t", lead="l", front=(), sections=(there, Section("gone", "Gone", ())), end="e"
    )
    page = html_of(one)
    assert "Gone" not in page
    assert 'href="#gone"' not in page
    assert "<p>to what is gone</p>" in page
    assert page.count('<a href="#there">There</a>') == 1
    source, _ = typst_of(one)
    assert "Gone" not in source
    assert "label(" not in source.split("#contents")[1].replace('#label("there")', "")


def test_what_is_looked_at_by_hand_is_on_the_screen_alone(tmp_path: Path) -> None:
    hand = Section("explore", "By hand", (Interactive('<div id="canvas"></div>'),))
    one = Document(
        title="t",
        lead="l",
        front=(),
        sections=(hand, Section("s", "Read", (Paragraph("words"),))),
        end="e",
    )
    assert '<div id="canvas"></div>' in html_of(one)
    assert headings(one, tmp_path) == ["Read"]


def test_what_a_screen_folds_is_printed(tmp_path: Path) -> None:
    one = document(Details("More", (Paragraph("folded"),)))
    assert "<details open><summary>More</summary>\n<p>folded</p>\n</details>" in html_of(one)
    source, _ = typst_of(one)
    assert '#"folded";' in source


def test_a_row_has_a_cell_for_every_column() -> None:
    with pytest.raises(ValueError, match="short: 1 cells, 2 columns"):
        table("short", ["a", "b"], [["a", "b"], ["a"]])


def test_words_alone() -> None:
    words = (Symbol("m", "x"), " is ", Strong(("1", Break(), Link("to", "2"))), Code(" c"))
    assert plain(words) == "mx is 1\n2 c"


@pytest.mark.parametrize("columns", [2, 8, 16])
def test_no_table_is_wider_than_its_page(columns: int, tmp_path: Path) -> None:
    """Long cells of words beside numbers: the margins stay white."""
    heads = [f"A head of some words and units [kNm/m] {k}" for k in range(columns)]
    row: list[Words] = [
        "−123.4 ± 0.012 kNm/m" if k % 2 else "sentences of a reason why it is so, " * 9
        for k in range(columns)
    ]
    one = document(table("Wide", heads, [row] * 4, numeric=range(1, columns, 2)))
    source, _ = typst_of(one)
    (tmp_path / "report.typ").write_text(source, encoding="utf-8")
    fonts = font_folder("print", "pdf")
    pages = typst.compile(
        str(tmp_path / "report.typ"), format="png", ppi=72.0, font_paths=[str(fonts)]
    )
    for page in pages if isinstance(pages, list) else [pages]:
        ink = np.asarray(Image.open(BytesIO(page)).convert("L")) < 250
        # Margins of 12 mm = 34 pt.
        assert ink[:, 36:-36].any()
        assert not ink[:, :32].any()
        assert not ink[:, -32:].any()
