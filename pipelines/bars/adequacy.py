"""What a check of the bars comes to, and all checks under one standard."""

from dataclasses import dataclass
from enum import Enum

from pipelines.numbers import within
from pipelines.standards.detailing.rules import Row
from pipelines.standards.own.checks import NAMED
from pipelines.standards.resistance.bars import Layer, place_of
from pipelines.standards.sources import Source, Standard


class Adequacy(Enum):
    """What a check comes to, in the words that are printed."""

    ADEQUATE = "adequate"
    NOT_ADEQUATE = "not adequate"
    NOT_JUDGED = "not judged"


class Check(Enum):
    """The checks in the order in which they are told."""

    BENDING = "bending"
    SHEAR = "shear without links"
    PUNCHING = "punching under wheels"
    STRESSES = "stresses in service"
    CRACKS = "crack width"
    FATIGUE = "fatigue"
    STEEL = "least and most steel"
    SPACING = "spacing of bars"
    COVER = "cover and grade"
    ANCHORAGE = "anchorage and laps"
    COLLISION = "barrier collision"
    BEAMS = "beams with bars"
    DEPTH = "least depth of the slab"
    ADVICE = "advice on span/depth"
    OWN = "checks of the user's own"
    OTHER = "other rules"


# Which check a rule belongs to, by how its name begins.
FAMILIES = {
    "concrete stress": Check.STRESSES,
    "steel stress": Check.STRESSES,
    "crack width": Check.CRACKS,
    "spacing for cracks": Check.CRACKS,
    "fatigue": Check.FATIGUE,
    "least steel": Check.STEEL,
    "shrinkage steel": Check.STEEL,
    "least resistance": Check.STEEL,
    "distribution steel": Check.STEEL,
    "most steel": Check.STEEL,
    "largest spacing": Check.SPACING,
    "clear distance": Check.SPACING,
    "cover": Check.COVER,
    "concrete grade": Check.COVER,
    "anchorage": Check.ANCHORAGE,
    "lap": Check.ANCHORAGE,
    "U-bars": Check.ANCHORAGE,
    "barrier collision": Check.COLLISION,
    "beam,": Check.BEAMS,
    "least deck thickness": Check.DEPTH,
    "span/depth": Check.ADVICE,
    "thickness by span": Check.ADVICE,
    NAMED: Check.OWN,
}


@dataclass(frozen=True, kw_only=True)
class Found:
    """A utilisation that one search found.

    by : the search, or the rule's name; place : in words. otherwise : what it comes to above 1
    where nothing is refused for it (`Row`).
    """

    utilisation: float
    by: str
    place: str
    source: Source
    otherwise: str = ""

    @property
    def met(self) -> bool:
        return within(self.utilisation)


@dataclass(frozen=True, kw_only=True)
class Judgement:
    """One check under one standard.

    layer : of bending, None for the others. found : by every search. why : reason for which the
    check cannot be judged, "" where it is. asked : whether the standard asks for it at all.
    left_out : what the check leaves out where it is judged.
    """

    check: Check
    layer: Layer | None = None
    found: tuple[Found, ...]
    why: str = ""
    asked: bool = True
    left_out: str = ""

    @property
    def worst(self) -> Found | None:
        """The largest value of any search; None where none has looked."""
        return max(self.found, key=lambda one: one.utilisation, default=None)

    @property
    def adequacy(self) -> Adequacy:
        if self.asked and any(not one.met and not one.otherwise for one in self.found):
            return Adequacy.NOT_ADEQUATE
        if self.why or not self.asked or self.worst is None or not self.worst.met:
            return Adequacy.NOT_JUDGED
        return Adequacy.ADEQUATE

    @property
    def reason(self) -> str:
        """Why it is not judged; "" where it is."""
        if self.adequacy is not Adequacy.NOT_JUDGED:
            return ""
        return self.why or ("" if self.worst is None else self.worst.otherwise)

    @property
    def is_open(self) -> bool:
        """Whether it is not judged though nothing can be called adequate without it."""
        if self.adequacy is not Adequacy.NOT_JUDGED or not self.asked:
            return False
        unmet = self.worst is not None and not self.worst.met
        return unmet or self.check is Check.BENDING

    @property
    def title(self) -> str:
        where = "" if self.layer is None else f": {place_of(self.layer)}"
        return f"{self.check.value}{where}"


@dataclass(frozen=True, kw_only=True)
class Verdict:
    """All checks of some bars under one standard."""

    judgements: tuple[Judgement, ...]

    @property
    def adequacy(self) -> Adequacy:
        """Not adequate where one check is not; adequate where every check that can be judged is,
        bending among them, and no rule is unmet."""
        if self.of(Adequacy.NOT_ADEQUATE):
            return Adequacy.NOT_ADEQUATE
        return Adequacy.NOT_JUDGED if self.open else Adequacy.ADEQUATE

    @property
    def open(self) -> tuple[Judgement, ...]:
        """Those not judged without which the whole is not adequate."""
        return tuple(judgement for judgement in self.judgements if judgement.is_open)

    def of(self, adequacy: Adequacy) -> tuple[Judgement, ...]:
        """The checks that come to this, in their order."""
        return tuple(judgement for judgement in self.judgements if judgement.adequacy is adequacy)

    @property
    def largest(self) -> float:
        """The largest utilisation of all checks that the standard asks for."""
        asked = (judgement for judgement in self.judgements if judgement.asked)
        return max((f.utilisation for one in asked for f in one.found), default=0.0)


@dataclass(frozen=True, kw_only=True)
class PanelVerdict(Verdict):
    """What one panel comes to as built."""

    panel: str


@dataclass(frozen=True, kw_only=True)
class StandardVerdict(Verdict):
    """What the slab as drawn and every panel as built come to: what was found of the panels is
    among the judgements, too. traffic : what they are judged under, in words."""

    standard: Standard
    traffic: str
    panels: tuple[PanelVerdict, ...] = ()


def check_of(row: Row) -> Check:
    """The check that a rule belongs to."""
    longest = sorted(FAMILIES, key=len, reverse=True)
    return next((FAMILIES[name] for name in longest if row.check.startswith(name)), Check.OTHER)
