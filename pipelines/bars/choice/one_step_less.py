"""What stands against bars that are smaller by one step: the check that they would fail, or the
price of one more diameter or spacing."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

from pipelines.bars.choice.candidates import Candidate, Needs, Trial
from pipelines.bars.choice.least_steel import Chosen, shears_used
from pipelines.numbers import rounded_up, within
from pipelines.standards.resistance.bars import LAYERS, Bars, Layer, SlabBars

PRICE = "price of one more diameter or spacing"
# Bars that what is known says to fail by less than this are analysed by themselves.
CLOSE = 1.02


@dataclass(frozen=True, kw_only=True)
class Less:
    """Bars one step smaller than those of a layer, or than those added to it.

    candidate : the layer with them; added bars keep lying in the same gaps of a wider mat. added :
    whether these are the smaller ones. check : that they fail, with its utilisation; None where the
    words have the value, or there is none. estimate : whether they would cost less and that they
    fail is an estimate, so that an analysis of their own tells.
    """

    layer: Layer
    candidate: Candidate
    added: bool
    check: str
    utilisation: float | None
    estimate: bool = False

    @property
    def bars(self) -> Bars:
        """The smaller bars."""
        return self.candidate.sets[self.added]

    @property
    def what(self) -> str:
        """The bars in words."""
        if self.added:
            return f"{self.bars} added"
        return " + ".join(map(str, self.candidate.sets))

    @property
    def words(self) -> str:
        if self.check == PRICE:
            return f"{self.what} would pass: {self.check}"
        value = "" if self.utilisation is None else f" {rounded_up(self.utilisation)}"
        return f"{self.what} would fail {self.check}{value}"


def one_step_less(needs: Needs, bars: SlabBars, chosen: Chosen) -> tuple[Less, ...]:
    """For every layer, and what is added to it, both smaller bars of the set: of the next diameter
    and at the next spacing, of added bars the next at which they lie between those of the mat.

    bars : the mats that were chosen.
    """
    found = []
    for layer in LAYERS:
        trial = Trial(needs, bars, layer)
        for candidate, added in _smaller(chosen.layers[layer], needs):
            fails, estimate = _alone(trial, candidate), False
            if fails is None:
                fails, estimate = _together(trial, candidate, chosen)
            check, used = fails
            found.append(
                Less(
                    layer=layer,
                    candidate=candidate,
                    added=added,
                    check=check,
                    utilisation=used,
                    estimate=estimate,
                )
            )
    return tuple(found)


def _smaller(own: Candidate, needs: Needs) -> Iterator[tuple[Candidate, bool]]:
    """A layer with smaller bars, and whether these are the added ones."""
    mat, added = own.bars, own.added
    for thinner in _thinner(mat, needs):
        yield needs.candidate(thinner, added), False
    for wider in _wider(mat, needs):
        respaced = added
        if added is not None:
            spacing = added.bars.spacing / mat.spacing * wider.spacing
            respaced = replace(added, bars=replace(added.bars, spacing=spacing))
        yield needs.candidate(wider, respaced), False
        break
    if added is None:
        return
    for thinner in _thinner(added.bars, needs):
        yield needs.candidate(mat, replace(added, bars=thinner)), True
    for wider in _wider(added.bars, needs):
        multiple = wider.spacing / mat.spacing
        if abs(multiple - round(multiple)) < 1e-6:
            yield needs.candidate(mat, replace(added, bars=wider)), True
            break


def _thinner(bars: Bars, needs: Needs) -> list[Bars]:
    """Of the next diameter, if there is one."""
    thinner = [d for d in needs.choice.diameters if d < bars.diameter]
    return [replace(bars, diameter=max(thinner))] if thinner else []


def _wider(bars: Bars, needs: Needs) -> list[Bars]:
    """At every wider spacing, the next first."""
    return [replace(bars, spacing=s) for s in sorted(needs.choice.spacings) if s > bars.spacing]


def _alone(trial: Trial, candidate: Candidate) -> tuple[str, float | None] | None:
    """The check of a single layer that a candidate fails, with its utilisation."""
    mats = trial.with_layer(candidate.bars)
    if mats is None:
        return "the thickness: they do not fit", None
    added = candidate.added
    if added is None:
        return trial.fails(mats, trial.needs.everywhere)
    try:
        both = mats.with_added(trial.layer, added.bars)
        inside = trial.counts(mats, added)
    except ValueError:
        return "the room between the bars", None
    return trial.fails(mats, ~inside) or trial.fails(both, inside)


def _together(
    trial: Trial, candidate: Candidate, chosen: Chosen
) -> tuple[tuple[str, float | None], bool]:
    """The check of several layers that a candidate fails beside the others' bars, or the price; and
    whether that is an estimate, by which it would cost less."""
    needs = trial.needs
    changed = replace(chosen, layers={**chosen.layers, trial.layer: candidate})
    before, after = (one.counted(needs.choice.prices, needs.area) for one in (chosen, changed))
    cheaper = after < before * (1.0 - 1e-9)
    used = [
        (float(values.max(initial=0.0)), shears.why)
        for shears, values in zip(
            needs.shears, shears_used(needs, trial.bars, changed), strict=True
        )
    ]
    most, why = max(used, default=(0.0, ""))
    if not within(most):
        return (why, most), cheaper and most <= CLOSE
    floor = needs.floors.get(trial.layer)
    if floor is not None and candidate.bars.area < floor.everywhere:
        return (floor.why, None), cheaper
    return (PRICE, None), cheaper
