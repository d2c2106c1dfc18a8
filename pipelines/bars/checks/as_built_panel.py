"""A panel as built: readings in place of the drawing, the effective depths, what may still pass.

What was not read comes from the drawing, and the result says so.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from pipelines.deck.survey import ADVERSE, Key, PanelReadings, Quantity, Statistics, Value
from pipelines.errors import DeckError
from pipelines.standards.resistance.bars import (
    DIRECTIONS,
    FACES,
    LAYERS,
    Bars,
    Direction,
    Face,
    Mat,
    SlabBars,
    other_direction,
)


@dataclass(frozen=True)
class AsBuilt:
    """A panel as built.

    bars : what is used. from_drawing : what was not read and comes from the drawing, in words.
    statistics : of what was read.
    """

    panel: str
    bars: SlabBars
    from_drawing: tuple[str, ...]
    statistics: Mapping[Key, Statistics]


def as_built(drawing: SlabBars, readings: PanelReadings, which: Value = "mean") -> AsBuilt:
    """The panel's bars with every quantity that was read in place of the drawing's.

    Covers read to both directions go before one to the outermost bars, and that before one to a
    single direction.

    Raises
    ------
    DeckError
        If the readings contradict each other or do not fit in the thickness.
    """
    statistics = readings.statistics()
    missing: list[str] = []

    def use(key: Key, drawn: float) -> float:
        if key in statistics:
            return statistics[key].value(key.quantity, which)
        missing.append(str(key))
        return drawn

    try:
        thickness = use(Key("thickness"), drawing.thickness)
        mats = [_mat(face, drawing.mat(face), readings, use, missing) for face in FACES]
        bars = SlabBars(thickness, *mats)
    except ValueError as error:
        raise DeckError(f"as-built readings, panel {readings.panel}", [str(error)]) from error
    return AsBuilt(readings.panel, bars, tuple(missing), statistics)


def _mat(
    face: Face,
    drawn: Mat,
    readings: PanelReadings,
    use: Callable[[Key, float], float],
    missing: list[str],
) -> Mat:
    x, y = (
        Bars(
            use(Key("diameter", face, direction), drawn.bars(direction).diameter),
            use(Key("spacing", face, direction), drawn.bars(direction).spacing),
        )
        for direction in DIRECTIONS
    )
    covers = {d: Key("cover", face, d) for d in DIRECTIONS}
    read = {d: use(key, 0.0) for d, key in covers.items() if key in readings.readings}
    seen = readings.outer.get(face)
    if len(read) == 2:
        outer: Direction = "x" if read["x"] < read["y"] else "y"
        if seen not in (None, outer):
            raise ValueError(f"{face}: outer {seen} contradicts the covers read to x and to y")
        mat = Mat(cover=read[outer], x=x, y=y, outer=outer)
        # bars cannot overlap: a smaller difference is the scatter of the readings
        gap = max(read[other_direction(outer)] - mat.cover_to(other_direction(outer)), 0.0)
        return replace(mat, gap=gap)
    if seen is None:
        missing.append(f"layer order, {face}")
    mat = Mat(cover=drawn.cover, x=x, y=y, outer=seen or drawn.outer, gap=drawn.gap)
    key = Key("cover", face)
    if not read or key in readings.readings:
        return replace(mat, cover=use(key, drawn.cover))
    # one direction read: take off what lies outside it
    ((direction, cover),) = read.items()
    return replace(mat, cover=cover - (mat.cover_to(direction) - mat.cover))


def largest_deviation(
    bars: SlabBars,
    key: Key,
    utilisation: Callable[[SlabBars], float],
    limit: float,
    tolerance: float = 1e-5,
) -> float:
    """Largest adverse deviation [m] of one quantity from `bars` that still passes, up to `limit`.

    Adverse: more cover or spacing, less thickness or diameter. Only that quantity changes; cover
    moves both layers of its face. Negative where `bars` fail: by how much the quantity would have
    to be better; -inf where nothing up to `limit` that can be built is enough.
    """
    sign = ADVERSE[key.quantity]

    def builds(deviation: float) -> bool:
        try:
            deviated(bars, key, sign * deviation)
        except ValueError:  # bars that do not fit in the slab, or touch each other
            return False
        return True

    def passes(deviation: float) -> bool:
        return builds(deviation) and utilisation(deviated(bars, key, sign * deviation)) <= 1

    if passes(0.0):
        return limit if passes(limit) else _last(passes, 0.0, limit, tolerance)
    best = -limit if builds(-limit) else _last(builds, 0.0, -limit, tolerance)
    return _last(passes, best, 0.0, tolerance) if passes(best) else float("-inf")


def _last(good: Callable[[float], bool], inside: float, outside: float, tolerance: float) -> float:
    """Value next to `outside` that is still good, to `tolerance`; `inside` is good."""
    while abs(outside - inside) > tolerance:
        middle = (inside + outside) / 2
        inside, outside = (middle, outside) if good(middle) else (inside, middle)
    return inside


def deviated(bars: SlabBars, key: Key, by: float) -> SlabBars:
    """`bars` with one quantity changed by `by` [m]."""
    if key.quantity == "thickness":
        return replace(bars, thickness=bars.thickness + by)
    if key.face is None:
        raise ValueError(f"{key.quantity} needs a face")
    mat = bars.mat(key.face)
    if key.quantity == "cover":
        return bars.with_mat(key.face, replace(mat, cover=mat.cover + by))
    if key.direction is None:
        raise ValueError(f"{key.quantity} needs a direction")
    old = mat.bars(key.direction)
    new = (
        replace(old, diameter=old.diameter + by)
        if key.quantity == "diameter"
        else replace(old, spacing=old.spacing + by)
    )
    changed = replace(mat, x=new) if key.direction == "x" else replace(mat, y=new)
    return bars.with_mat(key.face, changed)


def measured_keys() -> tuple[Key, ...]:
    """Everything that can be measured in a panel: thickness, covers, diameters, spacings."""
    quantities: tuple[Quantity, Quantity] = ("diameter", "spacing")
    return (
        Key("thickness"),
        *(Key("cover", face) for face in FACES),
        *(Key(quantity, *layer) for layer in LAYERS for quantity in quantities),
    )
