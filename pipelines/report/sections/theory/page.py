"""The theory as a page, and as text for a terminal."""

from collections.abc import Iterator

from pipelines.report.document import Block, Caution, Document, Formula, Paragraph, Section
from pipelines.report.sections.theory.checks import actions, checks
from pipelines.report.sections.theory.formulas import (
    Chapter,
    Item,
    formula,
    on_terminal,
    running,
)
from pipelines.report.sections.theory.mechanics import errors, mechanics
from pipelines.report.sections.theory.memory import memory
from pipelines.report.sections.theory.strips import strips

MARKS = (
    "Marks: read = in the print named; from memory = the print is named and was not read again; "
    "common practice = a rule of the trade. National annexes govern; EN values are the recommended "
    "ones."
)


def chapters() -> tuple[Chapter, ...]:
    """Everything in order."""
    stated = (mechanics(), errors(), strips(), actions(), checks())
    return *stated, memory(stated)


def theory_page(caution: str) -> Document:
    """A page with every chapter."""
    sections = tuple(
        Section(
            chapter.name,
            chapter.title,
            tuple(Section("", i.title, _blocks(i)) for i in chapter.items),
        )
        for chapter in chapters()
    )
    return Document(
        title="Theory of deckslab",
        lead="Mechanics, stated errors, hand strips and checks in formulas, with their sources",
        front=(Caution((Paragraph(caution),)), Paragraph(MARKS)),
        sections=sections,
        end=caution,
    )


def _blocks(item: Item) -> tuple[Block, ...]:
    found: list[Block] = [Paragraph(running(item.words))] if item.words else []
    found += [Formula(formula(line)) for line in item.formulas]
    if item.source:
        found.append(Paragraph(("Source: ", running(item.source), ".")))
    return tuple(found)


def theory_lines(chapter: Chapter) -> Iterator[tuple[str, str]]:
    """A chapter for a terminal: kind of a line ("title", "words", "formula", "source") and line."""
    for item in chapter.items:
        yield "title", on_terminal(item.title)
        if item.words:
            yield "words", on_terminal(item.words)
        for line in item.formulas:
            yield "formula", on_terminal(line)
        if item.source:
            yield "source", f"Source: {on_terminal(item.source)}."
