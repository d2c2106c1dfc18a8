"""Where a rule or a number comes from, and how far it may be trusted.

Every value taken from a standard carries a `Source`. `from memory` means that the clause was not
read again for this tool: the user checks it in the edition that governs the job. `read` is for what
was read in the print that is named, a standard, a book or a paper, and for nothing else. `user's`
marks what code of the user's own gives.
"""

from dataclasses import dataclass
from typing import Literal

Standard = Literal["EN 1992", "IRC:112", "AASHTO LRFD"]
Mark = Literal["from memory", "common practice", "read", "user's"]

EDITIONS: dict[Standard, str] = {
    "EN 1992": "EN 1992-1-1:2004 and EN 1992-2:2005",
    "IRC:112": "IRC:112-2020",
    "AASHTO LRFD": "AASHTO LRFD Bridge Design Specifications, 9th edition (2020)",
}

CAUTION = (
    "Resistances, rules and partial factors are stated for a qualified engineer to verify. "
    "The factors are the user's to confirm; the national annex or the owner's rules govern. "
    "EN 1992-1-1:2023 changes the rules for shear and cracking and is not covered."
)


@dataclass(frozen=True)
class Source:
    """standard : None for a rule of the trade; clause : number or words; mark : trust."""

    standard: Standard | None
    clause: str
    mark: Mark = "from memory"

    def __str__(self) -> str:
        named = self.standard is None or self.clause.startswith(("EN ", "IRC:", "AASHTO"))
        name = "" if named else f"{self.standard} "
        return f"{name}{self.clause} ({self.mark})"
