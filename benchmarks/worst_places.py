"""Worst traffic of all stated values of packaged decks: proof and search side by side, and how far
the steps of the load positions fall short of the proof.

python benchmarks/worst_places.py [DECK ...]

Processor times, with one thread. The search is that of decks on which there is no proof.
"""

import sys
import time
from collections.abc import Callable
from typing import TypeVar

import numpy as np

from pipelines.accuracy.free_vehicle import free_vehicles
from pipelines.accuracy.searched_position import searched_places
from pipelines.accuracy.stated_values import StatedValues, own_rows, stated_values
from pipelines.accuracy.worst_arrangement import worst_arrangements
from pipelines.accuracy.worst_loads import worst_loads
from pipelines.deck.examples import EXAMPLES
from pipelines.deck.reading.deck_file import read_deck
from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.envelopes.peaks import governing_values
from pipelines.envelopes.traffic import traffic_envelopes
from pipelines.model.influence import surfaces
from pipelines.model.responses import SolvedDeck
from plate.arrays import Floats
from plate.conventions import RESULTS
from plate.threads import one_blas_thread

T = TypeVar("T")


@one_blas_thread
def main(names: list[str]) -> None:
    for name in names or list(EXAMPLES):
        solved = SolvedDeck.of(read_deck(EXAMPLES[name]))
        for envelope in traffic_envelopes(solved):
            _case(name, solved, envelope)


def _case(name: str, solved: SolvedDeck, envelope: TrafficEnvelope) -> None:
    deck, model = solved.deck, envelope.model
    stated = stated_values(solved, envelope, governing_values(solved, envelope))
    sizes = stated.largest[stated.kinds]
    rows = own_rows(solved, stated)
    wanted = list(zip(stated.row.tolist(), stated.sign.tolist(), strict=True))
    starts = [envelope.position(number) for number in stated.number.tolist()]
    found = surfaces(solved.stiffness, rows)
    proof_time, proven = _timed(
        lambda: worst_loads(deck, found, wanted, model, sizes=sizes, starts=starts)
    )
    if model.one_lane:
        fleet = list(free_vehicles(deck, [v for kind in model.kinds for v in kind.vehicles]))
        signs = stated.sign.astype(float)
        search_time, searched = _timed(
            lambda: [
                (abs(one.value), one.tolerance)
                for one in searched_places(deck, found, fleet, stated.row, signs, None)
            ]
        )
    else:
        search_time, searched = _timed(
            lambda: [
                (abs(one.value), one.tolerance)
                for one in worst_arrangements(deck, found, wanted, model, starts)
            ]
        )
    value = np.array([abs(one.value) for one in proven])
    gap = np.array([one.tolerance for one in proven])
    search, missed = np.array(searched).T
    n = len(value)
    print(f"\n{name}, {model.name}: {n} stated values, {sum(p.proven for p in proven)} proven")
    print(f"proof  {proof_time:6.2f} s, {1e3 * proof_time / n:6.1f} ms each")
    print(f"search {search_time:6.2f} s; proof by search {proof_time / search_time:.2f}")
    of = np.maximum(value, 1e-3 * sizes)
    large = value > 0.02 * sizes
    print("of values above 2 % of their kind:")
    print(
        f"  gap of the proof {(gap / of)[large].max():.2g} at most; of all {(gap / of).max():.2g}"
    )
    above = (value / np.maximum(search, 1e-300) - 1.0)[large].max()
    print(f"  above the search by {above:.2g} at most")
    print(f"above what the search states: {int(np.sum(value > search + missed))}; ", end="")
    print(f"search above the proof's bound: {int(np.sum(search > value + gap))}")
    short = 1.0 - np.abs(stated.value / stated.joint) / np.maximum(value, 1e-12)
    print("the steps' highest below the proven value, of values above 2 % of their kind [%]")
    print(f"{'':14}{'n':>5}{'median':>9}{'9 in 10':>9}{'largest':>9}")
    kinds = kinds_of(stated)
    for kind in (*RESULTS, "beams"):
        _row(kind, short[large & (kinds == kind)])
    governing = slice(2 * stated.n_probe, 2 * stated.n_probe + len(stated.peaks))
    _row("governing", short[governing])


def _timed(work: Callable[[], T]) -> tuple[float, T]:
    start = time.process_time()
    found = work()
    return time.process_time() - start, found


def kinds_of(stated: StatedValues) -> np.ndarray:
    """What each stated value is (n,): a result of probes, of governing values, or of the beams."""
    probes = np.tile(RESULTS, 2 * stated.n_probe // len(RESULTS))
    peaks = [RESULTS[peak.component] for peak in stated.peaks]
    return np.concatenate([probes, peaks, ["beams"] * len(stated.ends)])


def _row(name: str, short: Floats) -> None:
    if len(short):
        middle, most = np.percentile(100.0 * short, [50.0, 90.0])
        print(f"{name:14}{len(short):5d}{middle:9.2f}{most:9.2f}{100.0 * short.max():9.2f}")


if __name__ == "__main__":
    main(sys.argv[1:])
