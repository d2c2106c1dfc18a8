"""A document as a tree of nodes: what a page says, not how it looks.

Words are plain: nothing in them is markup, and each renderer (`html`, `pdf`) makes them safe for
its own language, once. What may be told apart in running words has a node of its own.
"""

import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal, TypeAlias


@dataclass(frozen=True)
class Symbol:
    """A letter with a mark set lower, such as m_x."""

    letter: str
    mark: str = ""


@dataclass(frozen=True)
class Raised:
    """Words set higher, such as an exponent."""

    words: "Words"


@dataclass(frozen=True)
class Strong:
    """Words set out."""

    words: "Words"


@dataclass(frozen=True)
class Short:
    """What is not met or falls short."""

    words: "Words"


@dataclass(frozen=True)
class Together:
    """Words that are not broken over lines."""

    words: "Words"


@dataclass(frozen=True)
class Code:
    """What a machine reads: a file's name, a digest."""

    text: str


@dataclass(frozen=True)
class Anchor:
    """Words with an address that a link can go to."""

    name: str
    words: "Words"


@dataclass(frozen=True)
class Link:
    """A link to the section, figure or anchor of that address; plain words where it is left out."""

    to: str
    words: "Words"


@dataclass(frozen=True)
class Break:
    """The next words stand on a line of their own."""


Inline: TypeAlias = Symbol | Raised | Strong | Short | Together | Code | Anchor | Link | Break
Words: TypeAlias = "str | Inline | tuple[Words, ...]"


@dataclass(frozen=True)
class Paragraph:
    words: Words


@dataclass(frozen=True)
class Formula:
    """A formula on a line of its own."""

    words: Words


@dataclass(frozen=True)
class Bullets:
    rows: tuple[Words, ...]


@dataclass(frozen=True)
class Drawing:
    """A picture as SVG.

    words : read aloud instead of it; width, height : its own size [pt].
    """

    svg: str = field(repr=False)
    words: str
    width: float
    height: float


@dataclass(frozen=True)
class Figure:
    """A drawing with its caption, and an address."""

    name: str
    drawing: Drawing
    caption: Words


@dataclass(frozen=True)
class Column:
    """A column of a table.

    align : numbers stand to the right and are not broken over lines; wide : a column of text that
    is kept from getting narrow.
    """

    head: Words
    align: Literal["left", "right"] = "left"
    wide: bool = False


@dataclass(frozen=True)
class Table:
    """Rows of as many cells as there are columns; the first cell heads its row. by_hand : whether
    it is written into on paper, with rows high enough for that."""

    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Words, ...], ...]
    by_hand: bool = False

    def __post_init__(self) -> None:
        for row in self.rows:
            if len(row) != len(self.columns):
                raise ValueError(f"{self.caption}: {len(row)} cells, {len(self.columns)} columns")


@dataclass(frozen=True)
class Caution:
    """What has to be known before anything else is read."""

    blocks: tuple["Block", ...]


@dataclass(frozen=True)
class Details:
    """What a screen can fold away, open at first so that a browser prints it."""

    title: str
    blocks: tuple["Block", ...]


@dataclass(frozen=True)
class Interactive:
    """Markup, styles and scripts of our own that only a screen shows."""

    html: str = field(repr=False)


@dataclass(frozen=True)
class Section:
    """Blocks under a heading; of a document or of another section.

    name : its address, "" for none. A section without blocks is left out.
    """

    name: str
    title: str
    blocks: tuple["Block", ...]


Block: TypeAlias = (
    Paragraph | Formula | Bullets | Figure | Table | Caution | Details | Interactive | Section
)


# Heads the sections for whoever checks.
RECORD = "Full record, for checking"


@dataclass(frozen=True, kw_only=True)
class Document:
    """A page: title, one line under it, what stands before all sections, sections, last words.

    record : sections for whoever checks, folded on a screen until they are asked for, printed
    after the others. paged : whether every section begins a page in print; last words are not
    printed then, which would take a page of their own.
    """

    title: str
    lead: str
    front: tuple[Block, ...]
    sections: tuple[Section, ...]
    end: str
    record: tuple[Section, ...] = ()
    paged: bool = False

    @property
    def shown(self) -> tuple[Section, ...]:
        """The sections that have something in them."""
        return tuple(section for section in self.sections if section.blocks)

    @property
    def figures(self) -> tuple[Figure, ...]:
        """All drawings, of the record, too."""
        return tuple(_figures((*self.front, *self.sections, *self.record)))

    @property
    def recorded(self) -> tuple[Section, ...]:
        """The sections of the record that have something in them."""
        return tuple(section for section in self.record if section.blocks)


def table(
    caption: str,
    heads: Sequence[Words],
    rows: Iterable[Sequence[Words]],
    *,
    numeric: Iterable[int] = (),
    wide: Iterable[int] = (),
) -> Table:
    """A table by its heads; numeric, wide : numbers of the columns set to the right, and of those
    kept from getting narrow."""
    right, broad = set(numeric), set(wide)
    columns = tuple(
        Column(head, "right" if k in right else "left", k in broad) for k, head in enumerate(heads)
    )
    return Table(caption, columns, tuple(tuple(row) for row in rows))


def lines(rows: Iterable[Words]) -> tuple[Words, ...]:
    """Words each on a line of its own."""
    found: list[Words] = []
    for row in rows:
        found += [Break(), row] if found else [row]
    return tuple(found)


def joined(separator: str, rows: Iterable[Words]) -> tuple[Words, ...]:
    """Words with a separator between them."""
    found: list[Words] = []
    for row in rows:
        found += [separator, row] if found else [row]
    return tuple(found)


def page_data(data: Any) -> str:
    """Data as JSON that stands in a script element of a page: no text in it can end the element,
    or begin a comment in which a page's end would be lost."""
    text = json.dumps(data, separators=(",", ":"), allow_nan=False)
    return text.replace("<", "\\u003c")


def addresses(blocks: Iterable[Block]) -> Iterator[str]:
    """Every address that a link can go to."""
    for block in blocks:
        match block:
            case Section(name, _, inner):
                if inner and name:
                    yield name
                yield from addresses(inner)
            case Caution(inner) | Details(_, inner):
                yield from addresses(inner)
            case Figure(name):
                yield name
            case Table(_, _, rows, _):
                yield from (found for row in rows for cell in row for found in _anchors(cell))
            case Paragraph(words) | Formula(words):
                yield from _anchors(words)
            case Bullets(items):
                yield from (found for words in items for found in _anchors(words))
            case Interactive():
                pass


def _figures(blocks: Iterable[Block]) -> Iterator[Figure]:
    for block in blocks:
        match block:
            case Figure():
                yield block
            case Section(_, _, inner) | Caution(inner) | Details(_, inner):
                yield from _figures(inner)
            case _:
                pass


def _anchors(words: Words) -> Iterator[str]:
    match words:
        case tuple():
            for word in words:
                yield from _anchors(word)
        case Anchor(name, inner):
            yield name
            yield from _anchors(inner)
        case Raised(inner) | Strong(inner) | Short(inner) | Together(inner) | Link(_, inner):
            yield from _anchors(inner)
        case str() | Symbol() | Code() | Break():
            pass


def plain(words: Words) -> str:
    """The words alone."""
    match words:
        case str():
            return words
        case tuple():
            return "".join(map(plain, words))
        case Symbol(letter, mark):
            return letter + mark
        case Code(text):
            return text
        case Break():
            return "\n"
        case _:
            return plain(words.words)
