"""What a design came to: its values, in words and as entries."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from pipelines.analysis.result import Result
from pipelines.bar_design.told import (
    alternative_entries,
    alternative_words,
    design_blocks,
    governing_rows,
    layer_words,
)
from pipelines.bars.choice.alternatives import Alternative
from pipelines.bars.choice.deck_text import DeckText
from pipelines.bars.choice.governs import Governs
from pipelines.bars.choice.least_steel import Chosen
from pipelines.bars.choice.one_step_less import Less
from pipelines.caution import TO_VERIFY
from pipelines.deck.deck import Deck
from pipelines.report.document import Section
from plate.geometry.outline import DRAWN, region

HELPS = (
    "With one change, chosen and analysed again by the steps of the load positions, bars of the "
    "set pass:"
)
OFFER = (
    "`--change {kind}` takes that change: it writes the deck with it, its bars and its whole run"
)


@dataclass(frozen=True, kw_only=True)
class Help:
    """A change by which bars come to pass. mass : of these [kg], None where none pass with it,
    which is then the most of its kind that was tried."""

    kind: str
    words: str
    mass: float | None

    def __str__(self) -> str:
        if self.mass is None:
            return f"not with {self.words}"
        return f"with {self.words}: {self.mass:.0f} kg"


@dataclass(frozen=True, kw_only=True)
class Designed:
    """What a design came to.

    text : of the deck file with the bars; chosen : the bars, None where nothing passes; result : of
    the last analysis, with them; analyses : how many were made; stops : the checks that no bars of
    the set meet, in words; one_step_less : what stands against bars that are smaller by one step;
    governs : what sets the steel of each layer and zone; alternatives : what else would weigh;
    helps : where no bars pass, what alone makes some pass and what does not. change : that was
    taken, in words, since none pass without; "" without.
    """

    text: DeckText
    chosen: Chosen | None
    result: Result
    analyses: int
    stops: tuple[str, ...]
    one_step_less: tuple[Less, ...] = ()
    governs: tuple[Governs, ...] = ()
    alternatives: tuple[Alternative, ...] = ()
    helps: tuple[Help, ...] = ()
    change: str = ""

    @property
    def deck(self) -> Deck:
        return self.result.deck

    @property
    def adequate(self) -> bool:
        return not self.stops

    @property
    def area(self) -> float:
        """Of the slab [m2]."""
        return float(region(self.deck.plan, DRAWN).area)

    @property
    def words(self) -> list[str]:
        """The bars, what sets them and what else would weigh; or what does not pass."""
        thickness = self.deck.slab.thickness
        if self.chosen is None or not self.adequate:
            return [
                f"No bars of the set pass after {self.analyses} analyses, at "
                f"{1e3 * thickness:.0f} mm: {'; '.join(self.stops)}",
                *([HELPS] if self.helps else []),
                *(f"  {help}" for help in self.helps),
                *self._offer(),
            ]
        mass, area = self.chosen.mass, self.area
        return [
            *(
                [f"No bars of the set pass without a change; taken: {self.change}"]
                if self.change
                else []
            ),
            f"Bars of least steel and variety after {self.analyses} analyses: "
            f"{mass:.0f} kg, {mass / area:.1f} kg/m², {mass / area / thickness:.0f} kg/m³, "
            "without laps",
            *layer_words(self.chosen, self.governs, self.one_step_less),
            *alternative_words(mass, area, self.alternatives),
        ]

    def _offer(self) -> Iterator[str]:
        """How the first change that helps can be taken."""
        helping = [help for help in self.helps if help.mass is not None]
        if helping:
            yield OFFER.format(kind=helping[0].kind)

    @property
    def section(self) -> Section:
        """What the report says of the design."""
        assert self.chosen is not None
        blocks = design_blocks(
            self.chosen.mass, self.area, self.governs, self.one_step_less, self.alternatives
        )
        return Section("design", "Bars as chosen", tuple(blocks))

    def entries(self) -> dict[str, Any]:
        """What design.json says."""
        assert self.chosen is not None
        return {
            "caution": TO_VERIFY,
            "thickness_mm": round(1e3 * self.deck.slab.thickness, 6),
            "change": self.change or None,
            "analyses": self.analyses,
            "mass_kg": round(self.chosen.mass, 3),
            "area_m2": round(self.area, 4),
            "layers": governing_rows(self.governs, self.one_step_less),
            "otherwise": alternative_entries(self.alternatives),
        }
