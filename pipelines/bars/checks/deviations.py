"""How far a measured quantity may deviate further: the largest deviation that still passes."""

from collections.abc import Callable, Iterable
from dataclasses import replace

from pipelines.deck.survey import Key, Quantity
from pipelines.numbers import within
from pipelines.standards.resistance.bars import FACES, LAYERS, Bars, SlabBars


def largest_deviation(
    bars: SlabBars,
    key: Key,
    utilisations: Callable[[SlabBars], Iterable[float]],
    limit: float,
    tolerance: float = 1e-5,
    *,
    more: bool | None = None,
) -> tuple[float, SlabBars | None]:
    """Largest deviation of one quantity from `bars` that still passes, up to `limit`, in SI, and
    the bars just beyond it, None where none can be built or none is looked at.

    utilisations : of every check, always in the same order; each may only rise or only fall with
    the quantity. more : of more of it or of less; None = what lowers the capacity: more cover,
    spacing or loss, less thickness or diameter. Only that quantity changes; cover moves both layers
    of its face. Negative where `bars` fail: by how much the quantity would have to be better; -inf
    where nothing up to `limit` that can be built is enough.
    """
    sign = key.measure.adverse if more is None else (1.0 if more else -1.0)

    def built(deviation: float) -> SlabBars | None:
        try:
            return deviated(bars, key, sign * deviation)
        except ValueError:  # bars that do not fit in the slab, or touch each other
            return None

    def builds(deviation: float) -> bool:
        return built(deviation) is not None

    def passes(deviation: float) -> bool:
        changed = built(deviation)
        return changed is not None and all(map(within, utilisations(changed)))

    if passes(0.0):
        if passes(limit):
            return limit, None
        found = _last(passes, 0.0, limit, tolerance)
        return found, built(min(found + tolerance, limit))
    failing = {k for k, value in enumerate(utilisations(bars)) if not within(value)}

    def mends(deviation: float) -> bool:
        """Whether what fails now passes; other checks may not."""
        changed = built(deviation)
        return changed is not None and all(
            within(value) for k, value in enumerate(utilisations(changed)) if k in failing
        )

    best = -limit if builds(-limit) else _last(builds, 0.0, -limit, tolerance)
    if mends(best):
        found = _last(mends, best, 0.0, tolerance)
        if passes(found):
            return found, bars
    return float("-inf"), bars


def _last(good: Callable[[float], bool], inside: float, outside: float, tolerance: float) -> float:
    """Value next to `outside` that is still good, to `tolerance`; `inside` is good."""
    while abs(outside - inside) > tolerance:
        middle = (inside + outside) / 2
        inside, outside = (middle, outside) if good(middle) else (inside, middle)
    return inside


def deviated(bars: SlabBars, key: Key, by: float) -> SlabBars:
    """`bars` with one quantity changed by `by`, in SI."""
    if key.quantity == "thickness":
        return bars.thicker(by)
    if key.face is None:
        raise ValueError(f"{key.quantity} needs a face")
    mat = bars.mat(key.face)
    if key.quantity == "cover":
        return bars.with_mat(key.face, replace(mat, cover=mat.cover + by))
    if key.direction is None:
        raise ValueError(f"{key.quantity} needs a direction")
    old = mat.bars(key.direction)
    if key.mark:
        sets = (_changed(one, key, by) if one.mark == key.mark else one for one in old.between)
        new = replace(old, between=tuple(sets))
    else:
        new = _changed(replace(old, between=()), key, by)
        # what is added lies in the gaps
        wider = new.spacing / old.spacing
        sets = (replace(one, spacing=one.spacing * wider) for one in old.between)
        new = replace(new, between=tuple(sets))
    changed = replace(mat, x=new) if key.direction == "x" else replace(mat, y=new)
    return bars.with_mat(key.face, changed)


def _changed(bars: Bars, key: Key, by: float) -> Bars:
    """Bars of one set with one quantity changed."""
    changes = {
        "diameter": lambda: replace(bars, diameter=bars.diameter + by),
        "spacing": lambda: replace(bars, spacing=bars.spacing + by),
        "area loss": lambda: replace(bars, loss=bars.loss + by),
    }
    return changes[key.quantity]()


def measured_keys(bars: SlabBars) -> tuple[Key, ...]:
    """What may deviate further: thickness, covers, and of every set of bars diameter, spacing and
    loss of area."""
    quantities: tuple[Quantity, ...] = ("diameter", "spacing", "area loss")
    return (
        Key("thickness"),
        *(Key("cover", face) for face in FACES),
        *(
            Key(quantity, *layer, one.mark)
            for layer in LAYERS
            for one in bars.bars(layer).sets
            for quantity in quantities
        ),
    )
