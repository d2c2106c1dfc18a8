"""What is asked of a slab's sections before its collapse load may be used: rotation of hinges."""

from pipelines.standards.detailing.rules import Row
from pipelines.standards.materials import MPA, Materials
from pipelines.standards.resistance.bars import DIRECTIONS, LAYERS, SlabBars, place_of
from pipelines.standards.resistance.bending import capacity, layer_section
from pipelines.standards.sources import Source, Standard

SOURCES: dict[Standard, Source] = {
    "EN 1992": Source("EN 1992", "EN 1992-2 5.6.2(102), EN 1992-1-1 5.6.2(2)"),
}
# Neutral axis over depth up to C50/60 and above it; resistance over supports to that in spans.
DEPTHS, STRENGTH = (0.15, 0.10), 50.0
RATIO = (0.5, 2.0)


def ductile_steel(mat: Materials) -> bool | None:
    """Whether the steel is of class B or C, None where its name does not say."""
    letter = mat.steel.name[-1:]
    return letter in "BC" if letter and letter in "ABC" else None


def hinge_rows(bars: SlabBars, mat: Materials) -> tuple[Row, ...]:
    """Depth of the neutral axis of every layer with bars, and the resistance of the top bars to
    that of the bottom bars along the same direction; nothing where no clause of the standard is
    known here."""
    source = SOURCES.get(mat.standard)
    if source is None:
        return ()
    limit = DEPTHS[mat.concrete.f_ck > (STRENGTH + 1e-6) * MPA]
    rows, m_Rd = [], {}
    for layer in LAYERS:
        if bars.bars(layer).area == 0.0:
            continue
        found = capacity(layer_section(bars, layer), mat)
        m_Rd[layer] = float(found.m_Rd)
        rows.append(
            Row(
                check="neutral axis x/d",
                place=place_of(layer),
                required=limit,
                provided=float(found.x) / bars.effective_depth(layer),
                sense="at most",
                unit="-",
                source=source,
            )
        )
    for direction in DIRECTIONS:
        top, bottom = m_Rd.get(("top", direction)), m_Rd.get(("bottom", direction))
        if top is None or bottom is None:
            continue
        for sense, bound in (("at least", RATIO[0]), ("at most", RATIO[1])):
            rows.append(
                Row(
                    check="m_Rd over supports to that in spans",
                    place=f"bars along {direction}",
                    required=bound,
                    provided=top / bottom,
                    sense="at least" if sense == "at least" else "at most",
                    unit="-",
                    source=source,
                )
            )
    return tuple(rows)
