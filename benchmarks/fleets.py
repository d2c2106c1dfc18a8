"""Rating a fleet: what a vehicle takes, against products of matrices, and what comes before.

python benchmarks/fleets.py [DECK] [--vehicles N] [--shapes K]

Times are of all processors that the process used, which other work on the machine disturbs less
than the seconds of a clock. The vehicles are invented, of two to seven axles; each of K shapes has
wheels of its own size and gauge.
"""

import argparse
import time
from pathlib import Path

import numpy as np

from pipelines.bars.rating.fleet import Fleet, Permit
from pipelines.bars.rating.rate import rate
from pipelines.deck.examples import EXAMPLES
from pipelines.deck.reading.deck_file import read_deck
from pipelines.standards.actions.loads import Axle, Vehicle
from plate.threads import one_blas_thread

SIZE = 1500  # of the product of matrices
# Vehicles after which grids and influence surfaces are mostly there: of these the mean is told.
FROM = 0.3


def fleet_of(count: int, shapes: int) -> Fleet:
    """Vehicles that differ in number, load and distance of their axles."""
    rng = np.random.default_rng(7)
    permits = []
    for k in range(count):
        n, shape = int(rng.integers(2, 8)), k % shapes
        at = np.concatenate([[0.0], np.cumsum(rng.uniform(1.2, 5.0, n - 1).round(2))])
        wheels, patch = (-1.0 - 0.05 * shape, 1.0 + 0.05 * shape), (0.25, 0.4 - 0.03 * shape)
        axles = tuple(
            Axle(float(a), 1e3 * load, wheels, patch)
            for a, load in zip(at, rng.uniform(60.0, 160.0, n).round(), strict=True)
        )
        permits.append(Permit(Vehicle(name=f"vehicle {k + 1}", axles=axles, impact=1.1)))
    return Fleet(tuple(permits))


@one_blas_thread
def product() -> float:
    """Seconds of a product of matrices, the least of three."""
    a = np.random.default_rng(0).random((SIZE, SIZE))
    found = []
    for _ in range(3):
        start = time.process_time()
        a @ a
        found.append(time.process_time() - start)
    return min(found)


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("deck", nargs="?", type=Path, default=EXAMPLES["estuary-bars"])
    parser.add_argument("--vehicles", type=int, default=120)
    parser.add_argument("--shapes", type=int, default=1)
    arguments = parser.parse_args()
    deck = read_deck(arguments.deck)
    times: list[float] = []

    def done(count: int, of: int) -> None:
        times.append(time.process_time())

    before = product()
    begin, clock = time.process_time(), time.perf_counter()
    rating = rate(deck, fleet_of(arguments.vehicles, arguments.shapes), done)
    whole, clock = time.process_time() - begin, time.perf_counter() - clock
    after = product()
    driven = sum(not one.at_places for one in rating.rated) // len(
        {r.standard for r in rating.rated}
    )
    # those near 1 that are driven over the deck in the end come after all others
    first, last = max(driven, int(FROM * arguments.vehicles)), arguments.vehicles - 1
    each = (times[last] - times[first]) / (last - first)
    unit = 0.5 * (before + after)
    print(f"{deck.title}: {arguments.vehicles} vehicles, {driven} driven over the whole deck")
    print(f"product of matrices ({SIZE}): {2e-9 * SIZE**3 / unit:.0f} GFLOP/s")
    print(f"all of it {whole:.1f} s of processors, {clock:.1f} s by the clock")
    print(
        f"a vehicle at places {1e3 * each:.1f} ms of processors, {each / unit:.2f} "
        f"products; {60.0 / each:.0f} vehicles a minute and processor"
    )


if __name__ == "__main__":
    main()
