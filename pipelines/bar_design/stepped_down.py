"""Bars of a design that pass made smaller by a step, one after another, until none can be."""

from collections.abc import Callable, Mapping
from dataclasses import replace

from pipelines.analysis.kept import Kept
from pipelines.bar_design.designed import Designed
from pipelines.bar_design.known import Known
from pipelines.bar_design.looks import Look, analysed, stops_of
from pipelines.bars.choice.candidates import Candidate
from pipelines.bars.choice.one_step_less import one_step_less
from pipelines.deck.reinforcement import BarChoice
from pipelines.standards.resistance.bars import Layer, place_of

Step = tuple[Layer, Candidate]
"""A layer with bars a step smaller."""


def stepped_down(
    design: Designed, choice: BarChoice, known: Known, kept: Kept, tell: Callable[[str], None]
) -> tuple[Designed, dict[Step, str]]:
    """An adequate design with bars made smaller by a step, one after another, as long as they pass
    in an analysis of their own; and what those fail that do not."""
    tried: dict[Step, str] = {}
    while True:
        step = _spare(design, choice, known, tried)
        if step is None:
            return design, tried
        layer, candidate = step
        chosen, bars = design.chosen, design.deck.required_reinforcement.bars
        assert chosen is not None
        changed = replace(chosen, layers={**chosen.layers, layer: candidate})
        text = design.text.with_bars(bars, changed)
        looks: tuple[Look, ...] = ("wide", "whole")
        for look in looks:
            result = analysed(text.deck, kept, look)
            design = replace(design, analyses=design.analyses + 1)
            stops = stops_of(result.verdicts)
            if stops:
                tried[step] = "; ".join(stops)
                break
        else:
            tell(f"{place_of(layer)}: {' + '.join(map(str, candidate.sets))} passes, too")
            design = replace(design, text=text, chosen=changed, result=result)


def _spare(
    design: Designed, choice: BarChoice, known: Known, tried: Mapping[Step, str]
) -> Step | None:
    """Bars a step smaller that cost less and have not been shown to fail; None where there are
    none."""
    chosen, bars = design.chosen, design.deck.required_reinforcement.bars
    assert chosen is not None
    for less in one_step_less(known.needs(design.result, choice), bars, chosen):
        step = less.layer, less.candidate
        if less.estimate and step not in tried:
            return step
    return None
