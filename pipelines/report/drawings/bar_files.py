"""The files that show a deck's bars: bars.dxf and, to print, its sheets."""

from pipelines.bars.design import Design
from pipelines.bars.schedule.marks import Schedule
from pipelines.deck.deck import Deck


def bar_files(
    deck: Deck, design: Design, schedule: Schedule, title: str, *, pdf: bool
) -> dict[str, bytes]:
    """The bytes of bars.dxf, with `pdf` also of bars.svg and bars.pdf under that title, by name.

    What draws is imported here, where it is done: in a process beside the run as well as in it.
    """
    from pipelines.report.drawings.bars_dxf import drawn_bars

    drawing, text = drawn_bars(deck, design, schedule)
    found = {"bars.dxf": text.encode()}
    if pdf:
        from pipelines.report.drawings.bar_sheets import pages_of, sheets, svg_of

        printed = sheets(drawing)
        found["bars.svg"] = svg_of(printed, title).encode()
        found["bars.pdf"] = pages_of(printed, title)
    return found
