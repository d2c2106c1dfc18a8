"""What of a deck comes from code of the user's own."""

from dataclasses import dataclass
from typing import Any

from pipelines.standards.own.checks import CheckRule, own_checks
from pipelines.standards.own.code import Kind, OwnCode, plain
from pipelines.standards.own.results import ResultRule, own_results
from pipelines.standards.own.strips import OwnRules, own_rules


@dataclass(frozen=True)
class Own:
    """Files and packages that a deck names, by what they give; what that is is asked of them where
    it is needed, so that another process asks its own."""

    codes: tuple[tuple[Kind, OwnCode], ...] = ()

    @property
    def strips(self) -> OwnRules:
        """Strip methods."""
        code = self.code("strips")
        return OwnRules() if code is None else own_rules(code)

    @property
    def vehicles(self) -> tuple[Any, ...]:
        """Tables of vehicles in plain values, as of a file, still to be validated. Raises OwnError
        for what a file could not hold."""
        return self._plain("vehicles")

    @property
    def load_models(self) -> tuple[Any, ...]:
        """Tables of load models, as `vehicles`."""
        return self._plain("load_models")

    @property
    def factors(self) -> tuple[Any, ...]:
        """The table of factors, if there is one, otherwise as `vehicles`."""
        return self._plain("factors")

    @property
    def sums(self) -> tuple[Any, ...]:
        """Tables of sums of static cases, as `vehicles`."""
        return self._plain("sums")

    @property
    def checks(self) -> tuple[CheckRule, ...]:
        """Checks of bars."""
        code = self.code("checks")
        return () if code is None else own_checks(code)

    @property
    def results(self) -> tuple[ResultRule, ...]:
        """Results made of values at named places."""
        code = self.code("results")
        return () if code is None else own_results(code)

    @property
    def names(self) -> tuple[str, ...]:
        """Of everything that is given."""
        every = (*self.vehicles, *self.load_models, *self.sums)
        tables = [one for one in every if isinstance(one, dict)]
        return (
            *self.strips.names,
            *(str(one.get("name")) for one in tables),
            *(check.name for check in self.checks),
            *(result.name for result in self.results),
        )

    def code(self, kind: Kind) -> OwnCode | None:
        """What gives a kind."""
        return dict(self.codes).get(kind)

    def _plain(self, kind: Kind) -> tuple[Any, ...]:
        code = self.code(kind)
        return () if code is None else tuple(plain(one) for one in code.given(kind))

    def check(self) -> None:
        """Ask for all of it once. Raises OwnError for what is not allowed in it."""
        _ = self.strips, self.vehicles, self.load_models, self.factors, self.sums
        _ = self.checks, self.results

    def of(self, *kinds: Kind) -> "Own":
        """What is given of some kinds alone."""
        return Own(tuple(pair for pair in self.codes if pair[0] in kinds))
