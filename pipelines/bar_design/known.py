"""What the analyses of a design ask of its bars, all together."""

from dataclasses import dataclass, field, replace

from pipelines.analysis.result import Result
from pipelines.bars.choice.candidates import Needs
from pipelines.bars.choice.floors import Floor, asked
from pipelines.bars.choice.least_steel import Chosen, least_steel, shears_used
from pipelines.bars.choice.one_step_less import CLOSE
from pipelines.bars.choice.shears import Shears, shears_of, with_shears
from pipelines.deck.reinforcement import BarChoice
from pipelines.standards.resistance.bars import Layer, SlabBars


@dataclass
class Known:
    """What the analyses so far ask of the bars, which only grows.

    floors : least areas of layers that failed checks ask for. shears : of all analyses.
    """

    floors: dict[Layer, Floor] = field(default_factory=dict)
    shears: tuple[Shears, ...] = ()

    def add(self, result: Result, bars: SlabBars, *, closer: bool) -> None:
        """What a further analysis asks for, with these bars; closer : as of `asked`."""
        assert result.design is not None
        for verdict, standard in zip(result.verdicts, result.design.standards, strict=True):
            for layer, floor in asked(verdict, bars, closer=closer):
                self.floors[layer] = self.floors.get(layer, Floor()).joined(floor)
            for more in shears_of(standard):
                self.shears = with_shears(self.shears, more)

    def needs(self, result: Result, choice: BarChoice) -> Needs:
        """What the bars must take after an analysis."""
        assert result.design is not None
        return Needs(result.solved, result.design, choice, self.floors, self.shears)

    def least(
        self, result: Result, choice: BarChoice, bars: SlabBars
    ) -> tuple[Needs, Chosen | None]:
        """The least steel that resists all that is known, and what it must."""
        return self.least_of(self.needs(result, choice), bars)

    def least_of(self, needs: Needs, bars: SlabBars) -> tuple[Needs, Chosen | None]:
        """The same by the moments of some needs, with what is known of all else."""
        while True:
            needs = replace(needs, floors=self.floors, shears=self.shears)
            chosen = least_steel(needs, bars)
            if chosen is None:
                return needs, None
            used = shears_used(needs, bars, chosen)
            more = tuple(one.more_of(u) for one, u in zip(self.shears, used, strict=True))
            if all((a.asks == b.asks).all() for a, b in zip(more, self.shears, strict=True)):
                return needs, chosen
            self.shears = more

    def shears_fail(self, needs: Needs, bars: SlabBars, chosen: Chosen) -> bool:
        """Whether the bars chosen fail in shear by more than is worth an analysis, though it asks
        for no more: the set has none that do not."""
        used = shears_used(needs, bars, chosen)
        return any(float(one.max(initial=0.0)) > CLOSE for one in used)
