"""What of a deck comes from code of the user's own."""

from dataclasses import dataclass

from pipelines.standards.own.code import Kind, OwnCode
from pipelines.standards.own.strips import OwnRules, own_rules


@dataclass(frozen=True)
class Own:
    """Files and packages that a deck names, by what they give; what that is is asked of them where
    it is needed, so that another process asks its own."""

    codes: tuple[tuple[Kind, OwnCode], ...] = ()

    @property
    def strips(self) -> OwnRules:
        """Strip methods."""
        code = dict(self.codes).get("strips")
        return OwnRules() if code is None else own_rules(code)

    @property
    def names(self) -> tuple[str, ...]:
        """Of everything that is given."""
        return self.strips.names

    def check(self) -> None:
        """Ask for all of it once. Raises OwnError for what is not allowed in it."""
        _ = self.strips

    def of(self, *kinds: Kind) -> "Own":
        """What is given of some kinds alone."""
        return Own(tuple(pair for pair in self.codes if pair[0] in kinds))
