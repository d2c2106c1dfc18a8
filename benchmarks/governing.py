"""Governing values of decks of every kind against those of a far richer mesh, wherever they stand.

python benchmarks/governing.py [--decks N]

The decks are those of `effectivity.py`, each under the same lorry in steps of 0.4 m. On its default
mesh every deck has its governing values with their stated errors; a mesh of order 5 with cells 1.5
times smaller, under steps of 0.1 m, has governing values of its own, at places and load positions
of its own. Counted are those that differ by more than is stated: above, where the richer mesh has
more. Values below a thousandth of the largest of their kind, and those of knife edges over the
width of supports, are left out.
"""

import argparse
from dataclasses import dataclass, replace

import numpy as np
from effectivity import KINDS, LORRY, Kind, read_kind

from pipelines.accuracy.tolerances import Yardsticks, traffic_tolerances
from pipelines.accuracy.worst_envelope import WorstEnvelope, with_worst_loads
from pipelines.deck.deck import Deck
from pipelines.envelopes.peaks import Peak
from pipelines.envelopes.traffic import traffic_envelopes
from pipelines.model.build import REFINEMENT, build_model
from pipelines.model.responses import SolvedDeck

ORDER = 5
LEAST = 1e-3
STEP, FINE_STEP = 0.4, 0.1
MOMENTS, SHEARS = ("m_x", "m_y", "m_xy"), ("q_x", "q_y")


@dataclass(frozen=True)
class Governing:
    """A governing value with its error, and what the richer mesh has for it, in its unit."""

    peak: Peak
    error: float
    richest: Peak

    @property
    def above(self) -> float:
        """How much further from zero the richer mesh's is."""
        return self.peak.sign * (self.richest.value - self.peak.value)

    @property
    def share(self) -> float:
        """Stated error as a share of the value."""
        return self.error / abs(self.peak.value)


def deck_values(kind: Kind) -> list[Governing]:
    """The governing values of a deck under the lorry."""
    deck = _stepped(replace(read_kind(replace(kind, traffic=LORRY)), probes=(), cases=()), STEP)
    built = build_model(deck)
    solved, worst = _governing(deck, SolvedDeck.of(deck, built.model))
    [tolerances] = traffic_tolerances(solved, [worst], Yardsticks.of(built, solved))
    mesh = replace(deck.mesh, order=ORDER, size=built.size / REFINEMENT)
    finely = _stepped(replace(deck, mesh=mesh), FINE_STEP)
    _, finer = _governing(finely, SolvedDeck.of(finely))
    richest = {(one.result, one.extreme): one for one in finer.peaks if not one.knife_edge}
    rows = []
    for peak, tolerance in zip(worst.peaks, tolerances.peaks, strict=True):
        own = peak.with_tolerance(tolerance)
        if not own.knife_edge and own.is_known:
            assert own.error is not None
            rows.append(Governing(own, own.error, richest[own.result, own.extreme]))
    sizes = {name: max(abs(r.peak.value) for r in rows if r.peak.result == name) for name in
             {r.peak.result for r in rows}}  # fmt: skip
    return [r for r in rows if abs(r.peak.value) > LEAST * sizes[r.peak.result]]


def _stepped(deck: Deck, step: float) -> Deck:
    assert deck.traffic is not None
    return replace(deck, traffic=replace(deck.traffic, step=step))


def _governing(deck: Deck, solved: SolvedDeck) -> tuple[SolvedDeck, WorstEnvelope]:
    [envelope] = traffic_envelopes(solved)
    return solved, with_worst_loads(solved, envelope)


def print_row(name: str, rows: list[Governing]) -> None:
    above = sum(r.above > r.error for r in rows)
    below = sum(-r.above > r.error for r in rows)
    stated = [
        np.array([r.share for r in rows if r.peak.result in names]) for names in (MOMENTS, SHEARS)
    ]
    shares = "".join(f"{100.0 * np.median(s):8.1f}{100.0 * s.max():8.1f}" for s in stated)
    print(f"{name:34s}{len(rows):8d}{above:8d}{below:8d}{shares}", flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--decks", type=int, default=len(KINDS), help="only the first N decks")
    arguments = parser.parse_args()
    print("errors of moments and of shears: median and largest [%]")
    print(f"{'deck':34s}{'values':>8s}{'above':>8s}{'below':>8s}{'m':>8s}{'':8s}{'q':>8s}")
    every: list[Governing] = []
    for kind in KINDS[: arguments.decks]:
        rows = deck_values(kind)
        every += rows
        print_row(kind.name, rows)
        for r in rows:
            if abs(r.above) > r.error:
                p, q = r.peak, r.richest
                places = " at ({:.2f}, {:.2f})".format(*p.at), " at ({:.2f}, {:.2f})".format(*q.at)
                print(
                    f"    {p.result} {p.extreme} {p.value:.3f} ± {r.error:.3f}{places[0]}, "
                    f"is {q.value:.3f}{places[1]}"
                )
    print_row("all", every)


if __name__ == "__main__":
    main()
