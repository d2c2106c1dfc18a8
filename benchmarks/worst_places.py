"""Worst places of all stated values of the packaged example: proof and search side by side, and how
far the steps of the load positions fall short of them.

python benchmarks/worst_places.py

Processor times, with one thread. The search is that of decks on which there is no proof.
"""

import time

import numpy as np

from pipelines.accuracy.free_vehicle import free_vehicles
from pipelines.accuracy.searched_position import searched_places
from pipelines.accuracy.stated_values import own_rows, stated_values
from pipelines.accuracy.worst_position import worst_places
from pipelines.deck.examples import EXAMPLES
from pipelines.deck.reading.deck_file import read_deck
from pipelines.envelopes.peaks import governing_values
from pipelines.envelopes.traffic import traffic_envelopes
from pipelines.model.influence import surfaces
from pipelines.model.responses import SolvedDeck
from plate.arrays import Floats
from plate.conventions import RESULTS
from plate.threads import one_blas_thread


@one_blas_thread
def main() -> None:
    deck = read_deck(EXAMPLES["estuary"])
    solved = SolvedDeck.of(deck)
    [envelope] = traffic_envelopes(solved)
    stated = stated_values(solved, envelope, governing_values(solved, envelope))
    found = surfaces(solved.stiffness, own_rows(solved, stated))
    start = time.process_time()
    wanted = list(zip(stated.row.tolist(), stated.sign.tolist(), strict=True))
    proven = worst_places(deck, found, wanted, sizes=stated.sizes)
    halfway = time.process_time()
    fleet = list(free_vehicles(deck, deck.required_traffic.vehicles))
    searched = searched_places(deck, found, fleet, stated.row, stated.sign.astype(float), None)
    end = time.process_time()
    value, bound, search, most = (
        np.array(column)
        for column in (
            [abs(place.value) for place in proven],
            [abs(place.value) + place.tolerance for place in proven],
            [abs(place.value) for place in searched],
            [abs(place.value) + place.tolerance for place in searched],
        )
    )
    n = len(value)
    print(f"{n} stated values, {deck.title}")
    print(f"proof   {halfway - start:6.2f} s, {1e3 * (halfway - start) / n:6.1f} ms each")
    print(f"search  {end - halfway:6.2f} s, {1e3 * (end - halfway) / n:6.1f} ms each")
    gap = (bound - value) / np.maximum(value, 1e-3 * stated.sizes)
    print(f"gap of the proof, of the value or a thousandth of its kind: at most {gap.max():.2g}")
    print(f"above what the search states: {int(np.sum(value > most))}; ", end="")
    print(f"search above the proof's bound: {int(np.sum(search > bound))}")
    short = 1.0 - np.abs(stated.value) / np.maximum(value, 1e-12)
    counted = value > 0.02 * stated.sizes
    print("\nthe steps' highest below the proven value, of values above 2 % of their kind [%]")
    print(f"{'':14}{'n':>5}{'median':>9}{'9 in 10':>9}{'largest':>9}")
    kinds = kinds_of(stated.n_probe, len(stated.peaks), len(stated.ends))
    for kind in (*RESULTS, "beams"):
        _row(kind, short[counted & (kinds == kind)])
    governing = slice(2 * stated.n_probe, 2 * stated.n_probe + len(stated.peaks))
    _row("governing", short[governing])


def kinds_of(n_probe: int, n_peak: int, n_end: int) -> np.ndarray:
    """What each stated value is (n,): a result of probes, of governing values, or of the beams."""
    probes = np.tile(RESULTS, 2 * n_probe // len(RESULTS))
    return np.concatenate([probes, np.repeat(RESULTS, n_peak // len(RESULTS)), ["beams"] * n_end])


def _row(name: str, short: Floats) -> None:
    middle, most = np.percentile(100.0 * short, [50.0, 90.0])
    print(f"{name:14}{len(short):5d}{middle:9.2f}{most:9.2f}{100.0 * short.max():9.2f}")


if __name__ == "__main__":
    main()
