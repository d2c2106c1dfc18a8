"""The keys of all files as a page."""

from collections.abc import Iterable

from pipelines.deck.reading.key_reference import Key, KeyFile, KeyTable
from pipelines.report.document import (
    Block,
    Caution,
    Code,
    Document,
    Link,
    Paragraph,
    Section,
    Strong,
    Together,
    Words,
    joined,
    table,
)

HEADS = ("Key", "Meaning", "Unit", "Allowed", "Left out", "Example")


def key_page(files: Iterable[KeyFile], caution: str) -> Document:
    """Every key with meaning, unit, what is allowed, what holds without it, and an example."""
    listed = tuple(files)
    count = sum(len(part.keys) for file in listed for part in file.tables)
    return Document(
        title="Keys of deckslab's files",
        lead=f"{count} keys, made from the models that read the files",
        front=(Caution((Paragraph(caution),)), Paragraph(_intro())),
        sections=tuple(_file_section(file) for file in listed),
        end=caution,
    )


def _intro() -> Words:
    return (
        "x runs along the deck (stations), y across it (offsets, positive to the right), z down. A "
        "key carries its unit as its suffix. What is allowed of a key by itself stands here; what "
        "keys mean together is told by ",
        Code("deckslab run"),
        " and ",
        Code("deckslab draw"),
        " with key, value and what is allowed.",
    )


def _file_section(file: KeyFile) -> Section:
    links = joined(" · ", (Link(_address(file, part), part.heading) for part in file.tables))
    parts: list[Block] = [_table_section(file, part) for part in file.tables]
    return Section(file.name, file.title, (Paragraph(links), *parts))


def _address(file: KeyFile, part: KeyTable) -> str:
    return f"{file.name}-{part.name}".replace(".", "-")


def _table_section(file: KeyFile, part: KeyTable) -> Section:
    rows = [_row(file, key) for key in part.keys]
    caption = f"{file.title}, {part.heading}"
    blocks = (Paragraph(part.meaning), table(caption, HEADS, rows, wide=(1, 4)))
    return Section(_address(file, part), part.heading, blocks)


def _row(file: KeyFile, key: Key) -> tuple[Words, ...]:
    example = key.example.strip('"') if file.is_csv else f"{key.name} = {key.example}"
    name: Words = Strong(Together(Code(key.name)))
    return name, key.meaning, key.unit, key.allowed, key.left_out, Code(example)
