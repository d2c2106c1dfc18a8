"""Where no bars of the set pass: the least change of thickness, concrete or set with which some do,
each alone, chosen and analysed again."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal, TypeVar, get_args

from pipelines.analysis.kept import Kept
from pipelines.bar_design.designed import Designed, Help
from pipelines.bar_design.search import Tell, adequate
from pipelines.bars.checks.part import PartChecks
from pipelines.bars.checks.remedies import steps
from pipelines.bars.choice.deck_text import DeckText
from pipelines.bars.choice.least_steel import Chosen
from pipelines.bars.demand.shear import resistance
from pipelines.deck.reinforcement import BarChoice
from pipelines.numbers import within
from pipelines.standards.materials import grade_ladder
from pipelines.standards.resistance.bending import utilisation

STEP, THICKER = 0.010, 0.150  # of thickness, and the most that is added [m]
GRADES = 3  # stronger ones that are tried
# Diameters of bars in use [m], common practice: metric and soft metric sizes.
METRIC = (0.008, 0.010, 0.012, 0.014, 0.016, 0.020, 0.025, 0.028, 0.032, 0.040)
SOFT = (0.010, 0.013, 0.016, 0.019, 0.022, 0.025, 0.029, 0.032, 0.036)
CLOSER, CLOSEST = 0.025, 0.075  # step of a smaller spacing and the smallest that is tried [m]

Kind = Literal["thickness", "grade", "diameter", "spacing"]
KINDS: tuple[Kind, ...] = get_args(Kind)

T = TypeVar("T")
R = TypeVar("R")


@dataclass(frozen=True, kw_only=True)
class _Change:
    """A deck and a set of bars with one thing changed, in words."""

    words: str
    text: DeckText
    choice: BarChoice


def least_changes(
    text: DeckText, found: Designed, choice: BarChoice, kept: Kept, tell: Tell
) -> Iterator[Help]:
    """What alone makes some bars pass, of every kind the least, or the most that does not; found :
    what does not pass."""
    for kind in KINDS:
        changes = _changes(kind, text, choice)
        if changes:
            k, again = _first(kind, changes, found, kept, tell)
            mass = None
            if again is not None:  # these pass, and may be more than the least
                least = adequate(again.text, changes[k].choice, kept, lambda _: None, look="steps")
                again = least if least.adequate else again
                mass = None if again.chosen is None else again.chosen.mass
            yield Help(kind=kind, words=changes[k].words, mass=mass)


def with_least_change(
    kind: Kind, text: DeckText, found: Designed, choice: BarChoice, kept: Kept, tell: Tell
) -> Designed:
    """The design with the least change of that kind with which some bars pass, with all searches;
    `found`, what does not pass, where none of those tried helps."""
    changes = _changes(kind, text, choice)
    if not changes:
        return found
    k, again = _first(kind, changes, found, kept, tell)
    if again is None:
        return replace(found, helps=(Help(kind=kind, words=changes[k].words, mass=None),))
    bars = again.chosen
    for change in changes[k:]:
        tell(f"with {change.words}")
        whole = adequate(_with(bars, change.text), change.choice, kept, tell, chosen=bars)
        if whole.adequate:  # by searches closer than the steps, too
            return replace(whole, change=change.words)
    return replace(found, helps=(Help(kind=kind, words=changes[-1].words, mass=None),))


def _first(
    kind: Kind, changes: Sequence[_Change], found: Designed, kept: Kept, tell: Tell
) -> tuple[int, Designed | None]:
    """Which change is the first that passes by a wide look, and bars with which it does: those of
    `found`, which fail without, if these pass."""
    bars, fails = found.chosen, found

    def passing(change: _Change) -> Designed | None:
        nonlocal fails
        tell(f"does it pass with {change.words}?")
        again = adequate(
            _with(bars, change.text), change.choice, kept, lambda _: None, look="wide", chosen=bars
        )
        tell("it does" if again.adequate else f"it does not: {'; '.join(again.stops)}")
        if again.adequate:
            return again
        fails = again
        return None

    if kind != "thickness":
        return first_passing(changes, 0, passing)
    return first_passing(changes, _near(changes, found), passing, lambda: _near(changes, fails))


def _with(bars: Chosen | None, text: DeckText) -> DeckText:
    """A deck with bars chosen for another."""
    if bars is None:
        return text
    return text.with_bars(text.deck.required_reinforcement.bars, bars)


def first_passing(
    changes: Sequence[T],
    start: int,
    passing: Callable[[T], R | None],
    better: Callable[[], int] | None = None,
) -> tuple[int, R | None]:
    """The first of changes, each more than the one before, that passes; sought from `start` in
    steps that double, then between the last that fails and the first that passes. The last and
    None where it does not pass.

    better : a better start, asked for once where the start fails; after that, or without it, the
    last is asked next.
    """
    low, high, last = -1, len(changes), len(changes) - 1
    k, step, found = start, 1, None
    while high - low > 1:
        again = passing(changes[k])
        if again is None:
            low = k
        else:
            high, found = k, again
        if high > last:
            k = last if better is None else min(max(better(), low + 1), last)
            better = None
        elif low < 0:
            k, step = max(high - step, 0), 2 * step
        else:
            k = (low + high) // 2
    return (last, None) if found is None else (high, found)


def _changes(kind: Kind, text: DeckText, choice: BarChoice) -> list[_Change]:
    """Those of a kind, each more than the one before."""
    of: Mapping[Kind, Callable[[DeckText, BarChoice], Iterator[_Change]]] = {
        "thickness": _thicker,
        "grade": _stronger,
        "diameter": _larger,
        "spacing": _closer,
    }
    return list(of[kind](text, choice))


def _thicker(text: DeckText, choice: BarChoice) -> Iterator[_Change]:
    t = text.deck.slab.thickness
    for more in steps(t, t + THICKER, STEP):
        yield _Change(
            words=f"{1e3 * more:.0f} mm of slab", text=text.with_thickness(more), choice=choice
        )


def _near(thicker: Sequence[_Change], found: Designed) -> int:
    """The number of the change with which shear and punching pass under the forces that govern
    them in `found`, the last where none suffices: a thicker slab draws others."""
    design = found.result.design
    assert design is not None
    parts = [part for standard in design.standards for part in standard.drawn]
    t = design.reinforcement.bars.thickness
    for k, change in enumerate(thicker):
        more = change.text.deck.slab.thickness - t
        if more > 0.0 and all(_passes(part, more) for part in parts):
            return k
    return len(thicker) - 1


def _passes(part: PartChecks, more: float) -> bool:
    """Whether shear and punching of a part pass with so much more thickness [m]."""
    mat, bars = part.basis.materials, part.bars.thicker(more)
    demand, peak, near = part.shear_demand, part.design_shear, part.reduced
    if demand is not None and peak is not None and part.shear_not_asked is None:
        w = demand.widths.index(part.design_width)
        v, forces = demand.v[w], demand.forces[w]
        resists = resistance(bars, mat, part.basis.aggregate, v, forces, demand.imposed)
        # searches that look closer may find more
        closer = 1.0 if near is None else max(1.0, near.whole / max(peak.utilisation, 1e-9))
        if not within(closer * float(utilisation(v, resists).max())):
            return False
    return part.punching is None or within(part.punching.with_bars(bars, mat))


def _stronger(text: DeckText, choice: BarChoice) -> Iterator[_Change]:
    """One grade up in all standards, two grades, and so on, as far as all have them."""
    ladders = {
        basis.materials.standard: [
            grade.name
            for grade in grade_ladder(basis.materials.standard)
            if grade.f_ck > basis.materials.concrete.f_ck
        ]
        for basis in text.deck.required_reinforcement.bases
    }
    for number in range(min(GRADES, *(len(ladder) for ladder in ladders.values()))):
        grades = {standard: ladder[number] for standard, ladder in ladders.items()}
        yield _Change(
            words=", ".join(grades.values()), text=text.with_grades(grades), choice=choice
        )


def _larger(text: DeckText, choice: BarChoice) -> Iterator[_Change]:
    """One diameter more in the set."""
    bases = text.deck.required_reinforcement.bases
    sizes = SOFT if bases[0].materials.standard == "AASHTO LRFD" else METRIC
    larger = [size for size in sizes if size > max(choice.diameters) + 1e-9]
    if larger:
        more = replace(choice, diameters=(*choice.diameters, larger[0]))
        yield _Change(words=f"bars of {1e3 * larger[0]:g} mm in the set", text=text, choice=more)


def _closer(text: DeckText, choice: BarChoice) -> Iterator[_Change]:
    """One spacing more in the set."""
    closer = round(min(choice.spacings) - CLOSER, 6)
    if closer >= CLOSEST - 1e-9:
        more = replace(choice, spacings=(closer, *choice.spacings))
        yield _Change(words=f"a spacing of {1e3 * closer:g} mm in the set", text=text, choice=more)
