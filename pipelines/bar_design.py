"""From loads, concrete, cover and a set of bars to bars by layer and zone that pass every check.

The deck is analysed with some bars, the least steel that resists what was found is chosen, and the
whole is done again with it, until the bars no longer change and every check that is judged is
adequate. What checks of several layers together ask for, shear above all, comes back as least areas
of layers; where no bars of the set suffice the slab gets thicker, if the deck file allows it.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from pipelines.analysis import analyse
from pipelines.bars.adequacy import Adequacy, StandardVerdict
from pipelines.bars.choice.candidates import Needs
from pipelines.bars.choice.deck_text import kept_keys, tables_of, with_tables
from pipelines.bars.choice.floors import asked
from pipelines.bars.choice.least_steel import Chosen, least_steel, slab_bars
from pipelines.bars.choice.one_step_less import Less, one_step_less
from pipelines.deck.added_areas import along_lines
from pipelines.deck.deck import Deck
from pipelines.deck.reading.deck_file import deck_of
from pipelines.deck.reading.toml import tables_of_text, text_of
from pipelines.deck.reinforcement import AddedBars, BarChoice, Reinforcement
from pipelines.errors import JobError
from pipelines.files import write_text
from pipelines.kept import Kept
from pipelines.outputs import check_folder
from pipelines.report.sections.bars_words import remedy_words
from pipelines.result import Result
from pipelines.run import FILES, write_results
from pipelines.standards.detailing.cover import cover_rows
from pipelines.standards.resistance.bars import (
    DIRECTIONS,
    FACES,
    LAYERS,
    Bars,
    Face,
    Layer,
    Mat,
    SlabBars,
    place_of,
)
from plate.geometry.outline import DRAWN, region

DECK_FILE = "deck.toml"
MOST = 12  # analyses at one thickness
# Bars with which a deck without any is read [m].
SOME = Bars(0.016, 0.150)
NONE = "no bars of the set pass the checks of single layers"
# To what covers are rounded up [m], and the cover of a face whose exposure is not stated.
ROUND, COVER = 0.005, 0.040

Tell = Callable[[str], None]


@dataclass(frozen=True, kw_only=True)
class Designed:
    """What a design came to.

    chosen : the bars, None where nothing passes; result : of the last analysis, with them; floors :
    least areas that checks of several layers asked for [m2/m], with the check; analyses : how many
    were made; stops : the checks that no bars of the set meet, in words; one_step_less : what
    stands against bars that are smaller by one step.
    """

    deck: Deck
    chosen: Chosen | None
    result: Result
    floors: dict[Layer, tuple[float, str]]
    analyses: int
    stops: tuple[str, ...]
    one_step_less: tuple[Less, ...] = ()

    @property
    def adequate(self) -> bool:
        return not self.stops

    @property
    def words(self) -> list[str]:
        """The bars, and what sets the steel of layers as a whole; or what does not pass."""
        if self.chosen is None or not self.adequate:
            return [
                f"No bars of the set pass after {self.analyses} analyses, at "
                f"{1e3 * self.deck.slab.thickness:.0f} mm: {'; '.join(self.stops)}",
                *self._helps(),
            ]
        bars = self.deck.required_reinforcement.bars
        area = float(region(self.deck.plan, DRAWN).area)
        told = [
            f"Bars of least steel and variety after {self.analyses} analyses: "
            f"{self.chosen.mass:.0f} kg, {self.chosen.mass / area:.1f} kg/m², "
            f"{self.chosen.mass / area / bars.thickness:.0f} kg/m³, without laps"
        ]
        for layer in LAYERS:
            one = self.chosen.layers[layer]
            words = f"  {place_of(layer)}: {one.bars}"
            if one.added is not None:
                words += f", and {one.added.bars} within {one.added.reach:g} m of "
                words += ", ".join(one.added.along)
            told.append(words)
            told += [f"    {less.words}" for less in self.one_step_less if less.layer == layer]
        return told

    def _helps(self) -> list[str]:
        """What alone would make the shear pass."""
        design = self.result.design
        if design is None:
            return []
        return [
            f"{standard.basis.materials.standard}: shear passes with {remedy_words(remedy)} alone"
            for standard in design.standards
            for remedy in standard.remedies
            if remedy.needed is not None
        ]


def design_bars(path: Path, out: Path, tell: Tell = lambda _: None) -> Designed:
    """Bars of a deck file; where they are adequate its whole run with them is written to `out`,
    beside the deck file that has them.

    Raises
    ------
    DeckError, JobError
        What is wrong with the deck file, or with asking it for a design.
    """
    check_folder(out, "results", FILES)
    text = _with_some_bars(text_of(str(path)), str(path))
    data = tables_of_text(text, str(path))
    deck = deck_of(data, str(path))
    found = designed(deck, tell)
    if found.chosen is None or not found.adequate:
        return found
    bars = found.deck.required_reinforcement.bars
    thickness = None if bars.thickness == deck.slab.thickness else bars.thickness
    tables = tables_of(bars, found.chosen, kept_keys(data))
    whole = with_tables(text, tables, thickness)
    final = deck_of(tables_of_text(whole, str(path)), str(path))
    write_results(replace(found.result, deck=final), out)
    write_text(out / DECK_FILE, whole)
    return found


def _with_some_bars(text: str, name: str) -> str:
    """The text of a deck file, with some bars where it has none, at the covers asked for."""
    if "bars" in tables_of_text(text, name):
        return text
    covers: Mapping[Face, float] = dict.fromkeys(FACES, COVER)
    for _ in range(2):
        mats = [Mat(cover=covers[face], x=SOME, y=SOME, outer="x") for face in FACES]
        some = with_tables(text, tables_of(SlabBars(math.inf, *mats), None, {}))
        reinforcement = deck_of(tables_of_text(some, name), name).reinforcement
        if reinforcement is None:
            return text
        covers = least_covers(reinforcement)
    return some


def designed(deck: Deck, tell: Tell = lambda _: None) -> Designed:
    """Bars of a deck from its [bar_choice].

    Raises
    ------
    JobError
        If the deck has no set of bars, no traffic or as-built readings.
    """
    reinforcement = deck.reinforcement
    if reinforcement is None or reinforcement.choice is None:
        raise JobError(
            f"{deck.path}: a design needs [[concrete]], [[steel]] and a set of bars, [bar_choice]"
        )
    if deck.traffic is None:
        raise JobError(f"{deck.path}: a design needs [traffic]")
    if reinforcement.survey is not None:
        raise JobError(f"{deck.path}: [survey] is of bars that lie already: leave it out")
    kept, count = Kept(), 0
    for thickness in reinforcement.choice.thicknesses or (deck.slab.thickness,):
        tell(f"slab of {1e3 * thickness:.0f} mm")
        found = _at_thickness(_thick(deck, thickness), reinforcement.choice, kept, tell)
        count += found.analyses
        found = replace(found, analyses=count)
        if found.adequate:
            return found
    return found


def _at_thickness(deck: Deck, choice: BarChoice, kept: Kept, tell: Tell) -> Designed:
    floors: dict[Layer, tuple[float, str]] = {}
    chosen: Chosen | None = None
    quickly = True
    for number in range(1, MOST + 1):
        result = analyse(deck, kept=kept, tolerances_wanted=not quickly)
        assert result.design is not None
        drawn = deck.required_reinforcement
        stops = _stops(result.verdicts)
        changed = _raise(floors, result, drawn.bars, chosen=chosen is not None)
        tell(f"analysis {number}: {', '.join(stops) or 'every check that is judged is adequate'}")
        found = chosen is not None and not stops
        if found and not quickly:
            break
        areas = {layer: area for layer, (area, _) in floors.items()}
        needs = Needs(result.solved, result.design, choice, areas)
        following = least_steel(needs, drawn.bars)
        if following is None:
            stops = stops or (NONE,)
            break
        if following == chosen and not found and not changed:
            break
        # the last analysis is the whole one, whose searches are closer
        quickly = not (found and following == chosen)
        chosen = following
        deck = with_bars(deck, chosen)
    else:  # the bars that were chosen last have not been analysed with all searches
        stops = stops or (f"the bars still change after {MOST} analyses",)
    less: tuple[Less, ...] = ()
    if chosen is not None and not stops:
        assert result.design is not None
        areas = {layer: area for layer, (area, _) in floors.items()}
        needs = Needs(result.solved, result.design, choice, areas)
        why = {layer: why for layer, (_, why) in floors.items()}
        less = one_step_less(needs, slab_bars(chosen, drawn.bars), chosen, why)
    return Designed(
        deck=deck,
        chosen=chosen,
        result=result,
        floors=floors,
        analyses=number,
        stops=stops,
        one_step_less=less,
    )


def _stops(verdicts: Sequence[StandardVerdict]) -> tuple[str, ...]:
    """The checks for which the bars are not adequate, or not shown to be."""
    found = []
    for verdict in verdicts:
        for judged in (*verdict.of(Adequacy.NOT_ADEQUATE), *verdict.open):
            worst = "" if judged.worst is None else f" {judged.worst.utilisation:.2f}"
            found.append(f"{verdict.standard} {judged.title}{worst}")
    return tuple(found)


def _raise(
    floors: dict[Layer, tuple[float, str]], result: Result, bars: SlabBars, *, chosen: bool
) -> bool:
    """Raise the least areas to what failing checks ask for; whether any has risen."""
    changed = False
    assert result.design is not None
    for verdict, standard in zip(result.verdicts, result.design.standards, strict=True):
        for layer, area, why in asked(verdict, standard, bars, chosen=chosen):
            if area > floors.get(layer, (0.0, ""))[0] * (1.0 + 1e-9):
                floors[layer] = (area, why)
                changed = True
    return changed


def with_bars(deck: Deck, chosen: Chosen) -> Deck:
    """The deck with the bars that were chosen."""
    reinforcement = deck.required_reinforcement
    added: list[AddedBars] = []
    for face in FACES:
        for direction in DIRECTIONS:
            more = chosen.layers[face, direction].added
            if more is None:
                continue
            area = along_lines(deck.plan, more.along, more.reach) & region(deck.plan, DRAWN)
            added.append(
                AddedBars(
                    mark=f"A{len(added) + 1}",
                    layer=(face, direction),
                    bars=more.bars,
                    area=area,
                    where=f"within {more.reach:.2f} m of {', '.join(more.along)}",
                )
            )
    bars = slab_bars(chosen, reinforcement.bars)
    return replace(deck, reinforcement=replace(reinforcement, bars=bars, added=tuple(added)))


def _thick(deck: Deck, thickness: float) -> Deck:
    """The deck with another thickness of its slab and the same covers."""
    if thickness == deck.slab.thickness:
        return deck
    reinforcement = deck.required_reinforcement
    bars = replace(reinforcement.bars, thickness=thickness)
    return replace(
        deck,
        slab=replace(deck.slab, thickness=thickness),
        reinforcement=replace(reinforcement, bars=bars),
    )


def least_covers(reinforcement: Reinforcement) -> dict[Face, float]:
    """The cover [m] that the exposure of each face asks for by every standard, rounded up."""
    found = {}
    for k, face in enumerate(FACES):
        asked_for = [COVER]
        for basis in reinforcement.bases:
            exposure = basis.exposure[k]
            if exposure is not None:
                rows = cover_rows(
                    reinforcement.bars,
                    face,
                    basis.materials,
                    exposure,
                    basis.structural_class,
                )
                asked_for.append(rows[0].required)
        found[face] = float(np.ceil(max(asked_for) / ROUND - 1e-9) * ROUND)
    return found
