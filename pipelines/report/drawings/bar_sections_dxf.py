"""Sections of the slab at named places in bars.dxf, with the bars of the schedule in them."""

from textwrap import wrap

import numpy as np
from ezdxf.enums import TextEntityAlignment as Align
from ezdxf.layouts.layout import Modelspace

from pipelines.bars.schedule.marks import Mark, Schedule
from pipelines.caution import CAUTION, TO_VERIFY
from pipelines.deck.deck import Deck
from pipelines.deck.words import named_title
from pipelines.numbers import as_given
from pipelines.report.drawings.bar_sections import (
    SAME,
    BentBar,
    LongBar,
    RoundBar,
    Section,
    named_sections,
)
from pipelines.report.drawings.bars import layer_name
from pipelines.report.drawings.dxf_parts import MM, dimension, filled_circle, text, u_bar
from pipelines.standards.resistance.bars import Direction, Layer

RUNS: dict[Direction, str] = {"x": "ALONG", "y": "ACROSS"}
BELOW = 6.0  # that a support is drawn deep, in heights of text


def section_sheets(space: Modelspace, deck: Deck, schedule: Schedule, top: float) -> float:
    """All sections below `top`; where the next drawing may begin [mm]."""
    for section in named_sections(deck, schedule):
        top = _sheet(space, deck, section, top)
    return top


def _sheet(space: Modelspace, deck: Deck, section: Section, top: float) -> float:
    cut, bars = section.cut, deck.required_reinforcement.bars
    size = 2.5 * cut.scale  # of text, 2.5 mm as plotted
    h = MM * section.deepest
    title = f"SECTION {RUNS[cut.direction]} at {cut.where}, plot at 1:{cut.scale}; {TO_VERIFY}"
    text(space, title.replace("\u2013", "-"), (0.0, top), 1.4 * size)
    top -= 6 * size
    _slab(space, section, top, size)
    for bar in section.longs:
        on = {"layer": f"BARS ALONG {bar.layer[1].upper()} (mm)"}
        z, r = top - MM * bar.depth, MM * bar.mark.diameter / 2
        a, b = MM * bar.start, MM * bar.end
        space.add_lwpolyline([(a, z - r), (b, z - r), (b, z + r), (a, z + r)], close=True,
                             dxfattribs=on)  # fmt: skip
    for bend in section.bends:
        _bend(space, deck, bend, top)
    for one in section.rounds:
        on = {"layer": f"BARS ALONG {one.layer[1].upper()} (mm)"}
        filled_circle(space, (MM * one.at, top - MM * one.depth), MM * one.mark.diameter / 2, on)
    for support in section.supports:
        x, w = MM * support.at, MM * support.width / 2
        axis = {"layer": "SUPPORTING LINES (mm)", "ltscale": size / 2}
        low = top - h - BELOW * size
        soffit = top - MM * section.depth(support.at)
        space.add_line((x, soffit), (x, low), dxfattribs=axis)
        for side in (-w, w) if w > 0.0 else ():
            space.add_line((x + side, soffit), (x + side, low), dxfattribs={"layer": "SLAB (mm)"})
        name = named_title(deck, support.line.name)
        text(space, name, (x, low - 0.4 * size), size, Align.TOP_CENTER)
    outlined = _beams(space, deck, section, top)
    left, first = -3 * size, MM * section.depths[0][2]
    dimension(space, (0.0, top), (0.0, top - first), (2.6 * left, top), size, upright=True)
    stepped = len({t for *_, t in section.depths}) > 1
    for start, end, t in section.depths if stepped else ():
        at = (MM * start + 0.5 * size, top - MM * t - 0.5 * size)
        if MM * (end - start) > 7 * size:
            text(space, f"h = {as_given(round(MM * t, 6))}", at, size, Align.TOP_LEFT)
    covers = [("top", 0.0), ("bottom", first)]
    for face, depth in covers:
        cover = MM * bars.mat(face).cover  # type: ignore[arg-type]
        inner = depth + cover if face == "top" else depth - cover
        a, b = sorted((depth, inner))
        dimension(space, (0.0, top - a), (0.0, top - b), (left, top), size, upright=True)
    low = top - h - (BELOW + 4) * size if section.supports else top - h - 3 * size
    if stepped and not section.supports:
        low -= 2 * size
    legend = _legend(deck, section) + (" Beams in outline." if outlined else "")
    for sentence in (CAUTION, legend):
        for words in wrap(sentence, 100):
            text(space, words, (0.0, low), size)
            low -= 1.8 * size
    return low - 4 * size


def _slab(space: Modelspace, section: Section, top: float, size: float) -> None:
    on = {"layer": "SLAB (mm)"}
    for start, end, *edges in section.pieces:
        a, b = MM * start, MM * end
        space.add_line((a, top), (b, top), dxfattribs=on)
        soffit = [
            (MM * x, top - MM * t)
            for low, high, t in section.depths
            if start - SAME < 0.5 * (low + high) < end + SAME
            for x in (low, high)
        ]
        space.add_lwpolyline(soffit, dxfattribs=on)
        for x, low, is_edge in zip((a, b), (soffit[0][1], soffit[-1][1]), edges, strict=True):
            look = on if is_edge else on | {"linetype": "DASHED", "ltscale": size}
            space.add_line((x, top), (x, low), dxfattribs=look)


def _bend(space: Modelspace, deck: Deck, bend: BentBar, top: float) -> None:
    mark, bars = bend.mark, deck.required_reinforcement.bars
    level = top - MM * bars.mat("top").cover_to(mark.layers[0][1])
    u_bar(space, mark, MM * bend.at, MM * bend.leg, level, rightward=bend.rightward)


def _beams(space: Modelspace, deck: Deck, section: Section, top: float) -> bool:
    """Outlines of concrete beams whose bars the deck file states, at the height of the model, and
    whether there are any."""
    drawn = False
    for beam in deck.required_reinforcement.beams:
        for support in section.supports:
            if support.line.name in beam.lines and support.line.beam is not None:
                x, w, d = MM * support.at, MM * beam.width / 2, MM * beam.depth
                h = MM * section.depth(support.at)
                high = top - h / 2 - MM * support.line.beam.eccentricity + d / 2
                corners = [(x - w, high), (x + w, high), (x + w, high - d), (x - w, high - d)]
                look = {"layer": "SLAB (mm)", "linetype": "DASHED", "ltscale": h / 10}
                space.add_lwpolyline(corners, close=True, dxfattribs=look)
                drawn = True
    return drawn


def _legend(deck: Deck, section: Section) -> str:
    """What is seen: from the top down, each layer with its marks."""
    bars = deck.required_reinforcement.bars
    found: dict[tuple[float, str], list[int]] = {}

    def add(depth: float, layers: tuple[Layer, ...], mark: Mark) -> None:
        names = " and ".join(dict.fromkeys(layer_name(bars, layer) for layer in layers))
        size = as_given(round(MM * mark.diameter, 6))
        if mark.spacing:
            size += f"@{as_given(round(MM * mark.spacing, 6))}"
        use = "" if mark.use == "mat" else f" {mark.use}"
        numbers = found.setdefault((round(depth, 6), f"{names}{use} {size}"), [])
        if mark.number not in numbers:
            numbers.append(mark.number)

    straight: list[LongBar | RoundBar] = [*section.longs, *section.rounds]
    for bar in straight:
        if bar.mark.use != "U-bar":
            add(bar.depth, (bar.layer,), bar.mark)
    for mark in [b.mark for b in section.bends] + [
        r.mark for r in section.rounds if r.mark.use == "U-bar"
    ]:
        add(np.inf, mark.layers, mark)
    parts = [f"{words}, mark {_listed(numbers)}" for (_, words), numbers in sorted(found.items())]
    return f"From the top: {'; '.join(parts)}. Covers to the outer layers."


def _listed(numbers: list[int]) -> str:
    """ "3, 5-8": marks, those that follow each other by the first and the last."""
    runs: list[list[int]] = []
    for number in sorted(numbers):
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(str(r[0]) if len(r) == 1 else f"{r[0]}-{r[-1]}" for r in runs)
