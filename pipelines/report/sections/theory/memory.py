"""Every value that carries the mark "from memory", by the print in which it has to be read.

Made from what carries the marks: the sources of the other chapters, of every vehicle and load
model, and of every rule of the packages of standards and checks.
"""

import importlib
import pkgutil
import re
from collections.abc import Iterable, Iterator, Mapping
from types import ModuleType
from typing import Any

import pipelines.bars.checks
import pipelines.standards
from pipelines.report.sections.theory.formulas import Chapter, Item, on_terminal
from pipelines.standards.actions.load_models import load_models, of_a_standard
from pipelines.standards.actions.vehicles import library
from pipelines.standards.sources import Source

MARK = "from memory"
# Prints by the words that a source names them with, and how they are ordered from a library.
PRINTS: Mapping[str, str] = {
    "EN 1990": "EN 1990:2002 with A1:2005, annex A2",
    "EN 1991-1-1": "EN 1991-1-1:2002",
    "EN 1991-2": "EN 1991-2:2003",
    "EN 1992": "EN 1992-1-1:2004 with A1:2014, and EN 1992-2:2005",
    "IRC:6": "IRC:6-2017",
    "IRC:21": "IRC:21-2000",
    "IRC:112": "IRC:112-2020",
    "AASHTO Standard Specifications": "AASHTO Standard Specifications, 17th edition (2002)",
    "AASHTO LRFD": "AASHTO LRFD Bridge Design Specifications, 9th edition (2020), SI 2005",
    "DAfStb Heft 240": "DAfStb Heft 240, 3rd edition (1991)",
    "DIN 1045": "DIN 1045:1988",
    "Westergaard": "Westergaard, Public Roads 11(1), 1930",
    "AS 3600": "AS 3600-2001",
    "BS 8110-1": "BS 8110-1:1997",
    "fib Model Code 2010": "fib Model Code for Concrete Structures 2010 (2013)",
}
PAPERS = "Papers and books"
# What may stand between the name of a print and the place in it.
EDITION = (
    r"(?:[-:]\d{4})?(?: Bridge Design Specifications)?(?:, (?:SI edition \d+|\d+\w\w edition "
    r"\(\d+\)|\d{4}(?: print)?))*,? "
)
# Of vehicles that stand on the same words so many are named.
NAMED = 2


def memory(chapters: Iterable[Chapter]) -> Chapter:
    """One item a print: what is in the tool from it; chapters : the others."""
    found: dict[str, dict[str, str]] = {}
    for what, source in _marked(chapters):
        for print_, place in _prints(source):
            places = found.setdefault(print_, {})
            if what and not what.endswith(place):
                told = places.get(place, "")
                places[place] = f"{told}, {what}" if told else what
            else:
                places.setdefault(place, "")
    known = [*PRINTS.values(), PAPERS]
    count = sum(map(len, found.values()))
    lead = Item(
        title="What it takes",
        words=f"{count} places in {len(found)} prints, or kinds of them, were not read again. To "
        "read one: take the print in the edition named, open each place below, compare it with the "
        "formula or number of this page, of `deckslab vehicles` and of the report, and where they "
        'agree change its mark from "from memory" to "read" where it is stated. Until then each is '
        "for the user to confirm in the edition that governs the job.",
    )
    prints = [
        Item(title=f"{print_}: places to open, {len(places)}", words=_listed(places))
        for print_, places in sorted(found.items(), key=lambda one: known.index(one[0]))
    ]
    return Chapter(name="memory", title="Values from memory, by print", items=(lead, *prints))


def _listed(places: Mapping[str, str]) -> str:
    return "; ".join(f"{place}: {what}" if what else place for place, what in places.items()) + "."


def _marked(chapters: Iterable[Chapter]) -> Iterator[tuple[str, str]]:
    """What is stated, and the source that carries the mark."""
    for chapter in chapters:
        for item in chapter.items:
            if MARK in item.source:
                yield on_terminal(item.title), on_terminal(item.source)
    loads: dict[str, list[str]] = {}
    models = {name: of_a_standard(name, whole=True) for name in load_models}
    for name, load in [*library.items(), *models.items()]:
        if load is not None and load.mark == MARK:
            loads.setdefault(load.source, []).append(name)
    for source, names in loads.items():
        place, _, _ = source.partition("; ")
        more = f" and {len(names) - NAMED} more" if len(names) > NAMED else ""
        yield ", ".join(names[:NAMED]) + more, f"{place} ({MARK})"
    for one in _sources():
        yield "", str(one)


def _sources() -> Iterator[Source]:
    """Sources that the modules of standards and checks hold."""
    for package in (pipelines.standards, pipelines.bars.checks):
        for module in pkgutil.walk_packages(package.__path__, f"{package.__name__}."):
            yield from _held(importlib.import_module(module.name))


def _held(module: ModuleType) -> Iterator[Source]:
    for value in vars(module).values():
        one: Any
        for one in value.values() if isinstance(value, Mapping) else (value,):
            source = getattr(one, "source", one)
            if isinstance(source, Source) and source.mark == MARK:
                yield source


def _prints(source: str) -> Iterator[tuple[str, str]]:
    """The prints that a source names, each with its place."""
    marked, _, _ = source.rpartition(f" ({MARK})")
    for part in re.split(rf"(?: \({MARK}\))?; (?=EN |IRC:|AASHTO)", marked):
        name = next((one for one in PRINTS if part.startswith(one)), None)
        if name is None:
            yield PAPERS, part
        else:
            yield PRINTS[name], re.sub(rf"^{re.escape(name)}{EDITION}(?=\S)", "", part)
