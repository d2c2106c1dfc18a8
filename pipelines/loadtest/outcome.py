"""A load test judged: measured beside computed, stiffnesses found, and the same with them."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from pipelines.deck.deck import Deck
from pipelines.deck.load_test import UNITS, Factor, LoadTest, Quantity, Reading, Unknown
from pipelines.errors import JobError
from pipelines.loadtest.fit import Fit, fit
from pipelines.loadtest.loaded_deck import LoadedDeck, build_for
from pipelines.model.build import BuiltModel, richer_model
from pipelines.model.job_size import check_job_size
from plate.arrays import Floats


@dataclass(frozen=True)
class Agreement:
    """How computed values agree with the readings of a quantity.

    ratio : factor on the readings that comes nearest to what is computed; scatter : root mean
    square of the differences as a share of the largest reading.
    """

    quantity: Quantity
    count: int
    ratio: float
    scatter: float


@dataclass(frozen=True, kw_only=True)
class Found:
    """A stiffness found: its factor on the deck file's tables and the ends of its 95 % interval.

    low, high : None at a bound, or where the readings do not tell it. state : "" or what is to be
    known of it.
    """

    unknown: Unknown
    factor: float
    low: float | None
    high: float | None
    state: str

    @property
    def is_told(self) -> bool:
        """Whether the readings tell it."""
        return self.low is not None


@dataclass(frozen=True, kw_only=True, eq=False)
class Outcome:
    """A load test of a deck, judged.

    computed : (n_reading,) [m, -, rad] with the deck as its file describes it; tolerance :
    (n_reading,) by how much a finer mesh changes them; thickness : (n_reading,) of the slab at each
    place [m].
    fit, fitted : what was found, and what is computed with it; None where nothing was sought.
    off_slab : share of the vehicles' weight that stands beside the slab, by position, where some
    does.
    """

    deck: Deck
    test: LoadTest
    built: BuiltModel
    computed: Floats
    tolerance: Floats
    thickness: Floats
    off_slab: dict[str, float]
    fit: Fit | None = None
    fitted: Floats | None = None

    @property
    def measured(self) -> Floats:
        """(n_reading,) [m, -, rad]."""
        return np.array([reading.value for reading in self.test.readings])

    def agreement(self, computed: Floats) -> tuple[Agreement, ...]:
        """By quantity."""
        found = []
        for quantity, mine in self.by_quantity():
            c, m = computed[mine], self.measured[mine]
            ratio = float(c @ m / (m @ m)) if m.any() else np.nan
            scatter = float(np.sqrt(np.mean((c - m) ** 2)) / self.largest[mine][0])
            found.append(Agreement(quantity, len(mine), ratio, scatter))
        return tuple(found)

    def by_quantity(self) -> Iterator[tuple[Quantity, list[int]]]:
        """Numbers of the readings of each quantity that was read."""
        for quantity in UNITS:
            mine = [i for i, one in enumerate(self.test.readings) if one.quantity == quantity]
            if mine:
                yield quantity, mine

    @property
    def largest(self) -> Floats:
        """The largest reading (n_reading,) of the quantity of each [m, -, rad]."""
        found = np.empty(len(self.test.readings))
        for _, mine in self.by_quantity():
            found[mine] = np.abs(self.measured[mine]).max() or 1.0
        return found

    def worst(self, computed: Floats) -> tuple[int, Reading]:
        """The reading that differs most, as a share of the largest of its quantity."""
        i = int(np.argmax(np.abs(computed - self.measured) / self.largest))
        return i, self.test.readings[i]

    @property
    def found(self) -> tuple[Found, ...]:
        """The stiffnesses found."""
        if self.fit is None:
            return ()
        one, rows = self.fit, []
        for k, unknown in enumerate(self.test.unknowns):
            side = int(one.at_bound[k])
            told = side == 0 and bool(np.isfinite(one.deviation[k]))
            state = ""
            if side:
                bound = unknown.low if side < 0 else unknown.high
                state = f"at its bound, {bound:g}"
            elif not told:
                state = "not told by the readings"
            rows.append(
                Found(
                    unknown=unknown,
                    factor=float(np.exp(one.x[k])),
                    low=_end(one.low[k]) if told else None,
                    high=_end(one.high[k]) if told else None,
                    state=state,
                )
            )
        return tuple(rows)

    @property
    def changes(self) -> tuple[Factor, ...]:
        """Factors of what was found on the stiffnesses of the deck as it was read."""
        return tuple(
            Factor(of, one.factor / self.deck.factor_on(of))
            for one in self.found
            for of in (one.unknown.stiffness,)
        )

    @property
    def factors(self) -> tuple[Factor, ...]:
        """All factors on the deck file's stiffnesses that the readings tell, those that it had
        before among them."""
        sought = [one.stiffness for one in self.test.unknowns]
        kept = [
            factor
            for factor in self.deck.fitted
            if not any(factor.stiffness.overlaps(one) for one in sought)
        ]
        told = [Factor(one.unknown.stiffness, one.factor) for one in self.found if one.is_told]
        return (*kept, *told)


def _end(x: float) -> float:
    """An end of an interval; of one that reaches beyond all numbers the largest or least."""
    return float(np.exp(np.clip(x, -700.0, 700.0)))


def chosen_test(deck: Deck, name: str | None) -> LoadTest:
    """The load test of that name, or the only one of the deck.

    Raises JobError where there is none, or several and no name.
    """
    names = [test.name for test in deck.load_tests]
    if not names:
        raise JobError(f"{deck.path}: has no [[loadtest]]")
    if name is None and len(names) > 1:
        raise JobError(
            f"{deck.path}: has several load tests, name one by --test: {', '.join(names)}"
        )
    if name is not None and name not in names:
        raise JobError(f"{deck.path}: has no load test {name}; there are {', '.join(names)}")
    return deck.load_tests[0 if name is None else names.index(name)]


def judge(deck: Deck, test: LoadTest, *, fitting: bool = True) -> Outcome:
    """Measured beside computed; with `fitting` also the stiffnesses that the test asks for.

    Raises
    ------
    PlateError, JobError
        What is wrong with the deck, or the vehicle is off the slab.
    """
    bare = replace(deck, cases=(), probes=())
    check_job_size(bare)
    built = build_for(bare, test)
    loaded = LoadedDeck(bare, test, built)
    start = loaded.start
    computed = loaded.values(start)
    finer = LoadedDeck(bare, test, richer_model(bare, built)).values(start)
    outcome = Outcome(
        deck=deck,
        test=test,
        built=built,
        computed=computed,
        tolerance=np.abs(finer - computed),
        thickness=loaded.thickness,
        off_slab={
            name: 1.0 - share
            for name, share in zip(loaded.names, loaded.on_slab.tolist(), strict=True)
            if share < 1.0 - 1e-6
        },
    )
    if not test.unknowns or not fitting:
        return outcome
    readings = test.readings
    known = [one.accuracy for one in readings if one.accuracy is not None]
    found = fit(
        loaded,
        outcome.measured,
        np.array(known) if len(known) == len(readings) else None,
        start,
        loaded.bounds,
    )
    return replace(outcome, fit=found, fitted=loaded.values(found.x))
