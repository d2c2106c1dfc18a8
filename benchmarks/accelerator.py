"""The envelope on an accelerator: times, what its kernels reach, and the same on all processors.

python benchmarks/accelerator.py [--steps S Y] [--finer S Y] [--threads N]

The packaged example in fine steps, one vehicle at a time, everything that a run keeps. Needs a card
and the extra "gpu". First the peak that the card reaches by itself, in products of matrices and in
copies; then the load positions; then the parts of a block, each by the operations and the bytes
that it cannot do without; last the same on the processors, with what the numbers differ by.
"""

import argparse
import time
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np

from pipelines.deck.examples import EXAMPLES
from pipelines.deck.reading.deck_file import read_deck
from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.envelopes.extremes import FieldTracker
from pipelines.envelopes.traffic import traffic_envelopes
from pipelines.model.responses import SolvedDeck
from pipelines.system.machine import accelerator, processors
from pipelines.traffic.positions import load_positions

# How the package is set is told before it is loaded.
CARD = accelerator()

import cupy  # noqa: E402


def seconds(work: Callable[[], object], repeat: int = 5) -> float:
    """The least time that work takes on the card, after once without a clock."""
    found = []
    for _ in range(repeat + 1):
        cupy.cuda.Device().synchronize()
        start = time.perf_counter()
        work()
        cupy.cuda.Device().synchronize()
        found.append(time.perf_counter() - start)
    return min(found[1:])


def peaks() -> tuple[float, float]:
    """What the card reaches: operations in products of matrices and bytes in copies, a second."""
    a, b = cupy.random.rand(8192, 8192), cupy.random.rand(8192, 8192)
    product = 2.0 * 8192**3 / seconds(lambda: cupy.matmul(a, b))
    c = cupy.zeros(2**28)
    d = cupy.empty_like(c)
    return product, 2.0 * c.nbytes / seconds(lambda: cupy.copyto(d, c))


def with_steps(solved: SolvedDeck, steps: list[float]) -> SolvedDeck:
    """The deck with other steps along and across it."""
    traffic = replace(solved.deck.required_traffic, step=steps[0], lateral_step=steps[1])
    return solved.of_deck(replace(solved.deck, traffic=traffic))


def timed(solved: SolvedDeck, threads: int | None = None) -> TrafficEnvelope:
    """The envelope of the example, and a row of the table."""
    start = time.perf_counter(), time.process_time()
    [found] = traffic_envelopes(solved, workers=threads)
    clock, own = time.perf_counter() - start[0], time.process_time() - start[1]
    card = solved.on_card
    where = f"{threads} threads" if card is None else f"card, {card.block} a block"
    print(
        f"| {where} | {found.n_positions} | {clock:.2f} | {own:.2f} | "
        f"{1e6 * clock / found.n_positions:.1f} |",
        flush=True,
    )
    return found


def parts(solved: SolvedDeck, peak: tuple[float, float]) -> None:
    """Print what the parts of a block in the middle of the deck take."""
    deck, plate = solved.on_card, solved.plate_on_card
    assert deck is not None
    assert plate is not None
    [run, *_] = load_positions(solved.deck)
    n = min(deck.block, len(run))
    part = np.arange(n) + (len(run) - n) // 2
    wheels = run.wheels(part)
    stiffness, fields, loads = plate._stiffness, plate._fields, plate._loads
    X, held = stiffness.empty(n)

    def put() -> Any:
        return loads.put(X, held, wheels.corners, wheels.load, wheels.position)

    groups = stiffness._fronts._groups
    pivots = sum(g.inverse.shape[0] * g.inverse.shape[1] for g in groups)
    borders = sum(g.border.size for g in groups)
    entries = sum(2 * g.minus.size + g.inverse.size for g in groups)
    values = fields.of(X)
    cells, results, dofs = fields._operators.shape
    multipliers = stiffness.solve(X)
    tracker = FieldTracker(len(fields.points), like=deck.like)
    given = deck.respond(run, part)
    tracker.take(tracker.seen(*next(iter(given.combined)), next(iter(given.combined))[1], 0))
    rows: list[tuple[str, Callable[[], Any], float, float]] = [
        ("wheels on the host", lambda: run.wheels(part), 0.0, 0.0),
        ("patch loads", put, 0.0, 0.0),
        # pivots read and borders read and written on the way up; pivots read and written and
        # borders read on the way down
        ("solution", lambda: stiffness.solve(X), 2.0 * entries, 8.0 * 3 * (pivots + borders)),
        ("reactions", lambda: stiffness.reactions(X, held, multipliers), 0.0, 0.0),
        ("probes, beams", lambda: deck._rows.of(X), 2.0 * deck._rows.rows.size, 0.0),
        (
            "fields",
            lambda: fields.of(X),
            2.0 * cells * results * dofs,
            8.0 * (2 * cells * (dofs + results) + 6 * len(fields.points)),
        ),
        (
            "extremes",
            lambda: tracker.seen(*next(iter(given.combined)), next(iter(given.combined))[1], 0),
            0.0,
            8.0 * 2 * values.size / n,
        ),
    ]
    print(f"\nA block of {n} load positions\n| part | ms | us a position | of the products' peak | "
          "of the memory's |\n|---|---|---|---|---|")  # fmt: skip
    for name, work, operations, moved in rows:
        took = seconds(work)
        print(
            f"| {name} | {1e3 * took:.2f} | {1e6 * took / n:.2f} | "
            f"{100.0 * operations * n / took / peak[0]:.0f} % | "
            f"{100.0 * moved * n / took / peak[1]:.0f} % |",
            flush=True,
        )
    print(f"{len(groups)} groups of fronts, {pivots} pivots, {borders} on borders, "
          f"{entries} numbers of the factor")  # fmt: skip


def apart(one: TrafficEnvelope, other: TrafficEnvelope) -> None:
    """Print by how much two envelopes differ, as shares of each result's largest value."""
    a, b = one.fields, other.fields
    ties = positions = 0
    gaps, beside = [], []
    for k in range(6):
        size = max(np.abs(a.extremes.maximum[k]).max(), np.abs(a.extremes.minimum[k]).max())
        for name in ("maximum", "minimum"):
            at = [getattr(x.extremes, f"at_{name}")[k] for x in (a, b)]
            mine = [getattr(x.extremes, name)[k] for x in (a, b)]
            gaps.append(np.abs(mine[0] - mine[1]).max() / size)
            other_at = at[0] != at[1]
            # Where two positions tie to rounding, either may be told.
            positions += int((other_at & (np.abs(mine[0]) > 1e-6 * size)).sum())
            ties += int(other_at.sum())
            with_ = [getattr(x, f"with_{name}")[k][:, ~other_at] for x in (a, b)]
            scale = np.abs(with_[0]).max(axis=1, keepdims=True)
            beside.append((np.abs(with_[0] - with_[1]) / np.where(scale > 0, scale, 1.0)).max())
    print(
        f"largest difference {max(gaps):.1e} of a result's largest value, {max(beside):.1e} in "
        f"what coexists; {ties} of {12 * one.n_points} governing positions differ, {positions} "
        "where the value is more than a millionth of the largest"
    )
    for name in ("probes", "beam_moments", "beam_shears", "reactions"):
        x, y = getattr(one, name), getattr(other, name)
        size = max(np.abs(x.maximum).max(initial=0.0), np.abs(x.minimum).max(initial=0.0), 1e-300)
        gap = max(np.abs(x.maximum - y.maximum).max(initial=0.0),
                  np.abs(x.minimum - y.minimum).max(initial=0.0))  # fmt: skip
        print(f"{name}: {gap / size:.1e}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--steps", type=float, nargs=2, default=[0.05, 0.1], help="[m]")
    parser.add_argument("--finer", type=float, nargs=2, default=[0.02, 0.024], help="[m]")
    parser.add_argument("--threads", type=int, default=processors())
    options = parser.parse_args()
    peak = peaks()
    name = cupy.cuda.runtime.getDeviceProperties(0)["name"].decode()
    print(
        f"{name}: products reach {1e-12 * peak[0]:.1f} TFLOP/s, copies {1e-12 * peak[1]:.2f} TB/s",
        flush=True,
    )
    host = SolvedDeck.of(read_deck(EXAMPLES["estuary"]))
    start = time.perf_counter()
    solved = replace(host, card=CARD)
    _ = solved.on_card
    print(
        f"{host.model.n_dof} degrees of freedom, {host.recovery.points.n_points} points; put on "
        f"the card in {time.perf_counter() - start:.2f} s"
    )
    print("| where | load positions | time [s] | processors [s] | us a position |")
    print("|---|---|---|---|---|")
    timed(with_steps(solved, [0.2, 0.5]))
    on_card = timed(with_steps(solved, options.steps))
    timed(with_steps(solved, options.finer))
    parts(with_steps(solved, options.steps), peak)
    on_host = timed(with_steps(host, options.steps), options.threads)
    apart(on_host, on_card)


if __name__ == "__main__":
    main()
