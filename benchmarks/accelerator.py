"""Envelopes and studies on an accelerator: what its kernels reach, and the same on processors.

python benchmarks/accelerator.py [envelope] [growth] [study] [--threads N] [--decks N]

All three unless some are named. Needs a card and the extra "gpu".

envelope  the packaged example in fine steps, one vehicle at a time, everything that a run keeps.
          First the peak that the card reaches by itself, in products of matrices and in copies;
          then the load positions; then the parts of a block, each by the operations and the bytes
          that it cannot do without; last the same on the processors, with what the numbers differ
          by.
growth    load positions of the example on three meshes.
study     a few decks of the packaged study, and decks like them under a lorry in steps so fine that
          each has some 1e5 load positions: on a card, on every card there is with a worker each,
          and with two workers on processors.
"""

import argparse
import gc
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from pipelines.deck.examples import EXAMPLES, STUDIES
from pipelines.deck.reading.deck_file import read_deck
from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.envelopes.extremes import FieldTracker
from pipelines.envelopes.traffic import traffic_envelopes
from pipelines.envelopes.traffic_case import TrafficCase
from pipelines.model.position_blocks import position_threads
from pipelines.model.responses import SolvedDeck
from pipelines.study.run import run_study
from pipelines.system.machine import Device, accelerator, accelerators
from pipelines.traffic.positions import load_positions
from plate.device.card import Card

COARSE, STEPS, FINER = (0.2, 0.5), (0.05, 0.1), (0.02, 0.024)
# Of the meshes: the load positions, and cell sizes [m] with their orders.
GROWTH, MESHES = (0.1, 0.2), ((0.9, 3), (0.5, 3), (0.35, 3))
LORRY = """
[traffic]
carriageway_m = [-2.4, 2.4]
step_m = 0.02
lateral_step_m = 0.05
[[vehicle]]
name = "lorry"
axles = [
  { at_m = 0.0, load_kN = 70, gauge_m = 1.8, patch_mm = [250, 350] },
  { at_m = 3.7, load_kN = 95, gauge_m = 1.8, patch_mm = [250, 400] },
  { at_m = 5.0, load_kN = 95, gauge_m = 1.8, patch_mm = [250, 400] } ]
"""
RESPONSE = """
[run]
tolerance_every = 0
[[response]]
name = "m_x"
unit = "kNm/m"
path = ["governing", { result = "m_x", extreme = "max" }, "value"]
"""

# The package is loaded by those that need it, once `accelerator` has set it up, and by no worker
# of a study on processors.


def seconds(work: Callable[[], object], repeat: int = 5) -> float:
    """The least time that work takes on the card, after once without a clock."""
    import cupy

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
    import cupy

    a, b = cupy.random.rand(8192, 8192), cupy.random.rand(8192, 8192)
    product = 2.0 * 8192**3 / seconds(lambda: cupy.matmul(a, b))
    c = cupy.zeros(2**28)
    d = cupy.empty_like(c)
    return product, 2.0 * c.nbytes / seconds(lambda: cupy.copyto(d, c))


def with_steps(solved: SolvedDeck, steps: tuple[float, float]) -> SolvedDeck:
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
        f"| {where} | {solved.model.n_dof} | {found.n_positions} | {clock:.2f} | {own:.2f} | "
        f"{1e6 * clock / found.n_positions:.1f} |",
        flush=True,
    )
    return found


def heading() -> None:
    """Print the heading of the table."""
    print("| where | degrees of freedom | load positions | time [s] | processors [s] | us each |")
    print("|---|---|---|---|---|---|")


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
    entries = sum(2 * g.coupling.size + g.inverse.size for g in groups)
    values = fields.of(X)
    cells, results, dofs = fields._operators.shape
    multipliers = stiffness.solve(X)
    tracker = FieldTracker(len(fields.points), like=deck.like)
    job = TrafficCase(solved, solved.deck.required_traffic.cases[0], None, like=deck.like)

    def whole() -> None:
        job.take(0, job.read(0, deck.respond(run, part)))

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
        ("all of it, with checks", whole, 0.0, 0.0),
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


def envelope(card: Card, threads: int) -> None:
    """Load positions of the example, on the card and on so many threads."""
    peak = peaks()
    print(
        f"products reach {1e-12 * peak[0]:.1f} TFLOP/s, copies {1e-12 * peak[1]:.2f} TB/s",
        flush=True,
    )
    host = SolvedDeck.of(read_deck(EXAMPLES["estuary"]))
    start = time.perf_counter()
    solved = replace(host, card=card)
    _ = solved.on_card
    print(
        f"{host.recovery.points.n_points} points; put on the card in "
        f"{time.perf_counter() - start:.2f} s"
    )
    heading()
    # The first of all compiles the kernels, the first in fine steps meets blocks of another size.
    for steps in (COARSE, COARSE, STEPS, STEPS, FINER):
        found = timed(with_steps(solved, steps))
        if steps == STEPS:
            on_card = found
    parts(with_steps(solved, STEPS), peak)
    apart(timed(with_steps(host, STEPS), threads), on_card)


def growth(card: Card) -> None:
    """As many load positions of the example on three meshes."""
    heading()
    deck = read_deck(EXAMPLES["estuary"])
    for size, order in MESHES:
        mesh = replace(deck.mesh, size=size, order=order)
        solved = SolvedDeck.of(replace(deck, mesh=mesh), card=card)
        _ = solved.on_card
        for _ in range(2):
            timed(with_steps(solved, GROWTH))


def studies(decks: int) -> None:
    """Decks an hour of two studies on cards and on processors."""
    packaged = STUDIES["width-study"]
    text = packaged.read_text(encoding="utf-8")
    base = packaged.with_name("width-deck.toml").read_text(encoding="utf-8")
    fine = text[: text.index("# ---- The wheel")] + RESPONSE
    text = text.replace("rows = 512", "rows = 2").replace("[0.2, 0.6]", "[0.2]")
    # Where cells are no rectangles patches are integrated on the host.
    for many, one in (
        ("rows = 512", f"rows = {decks}"),
        ("range = [0, 35]", "values = [0]"),
        ("values = [0.2, 0.6]", "values = [0.2]"),
        ("values = [0.125, 0.25, 0.375, 0.5]", "values = [0.25]"),
    ):
        assert many in fine
        fine = fine.replace(many, one)
    cards = accelerators()
    ways: list[tuple[Device, int]] = [("gpu", count) for count in sorted({1, cards})]
    # The first deck is computed by itself: what a longer study reaches is told by the decks' times.
    print(
        "\n| study | workers | decks | time [s] | of the decks [s] | decks an hour, all at work |"
    )
    print("|---|---|---|---|---|---|")
    lorry = base.replace("order = 3", "order = 2") + LORRY
    for name, study, deck in (("fine steps", fine, lorry), ("packaged", text, base)):
        for device, workers in (*ways, ("cpu", 2)):
            with tempfile.TemporaryDirectory() as folder:
                (Path(folder) / "width-deck.toml").write_text(deck, encoding="utf-8")
                path = Path(folder) / "study.toml"
                path.write_text(study, encoding="utf-8")
                done = run_study(path, Path(folder) / "out", workers=workers, device=device)
            where = f"{workers} on {'cards' if device == 'gpu' else 'processors'}"
            print(
                f"| {name} | {where} | {done.computed}, {done.failed} failed | "
                f"{done.seconds:.1f} | {done.deck_seconds:.1f} | "
                f"{3600.0 * workers * done.computed / done.deck_seconds:.0f} |",
                flush=True,
            )


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    every = ("envelope", "growth", "study")
    parser.add_argument("what", nargs="*", metavar="|".join(every))
    parser.add_argument("--threads", type=int, default=position_threads())
    parser.add_argument(
        "--decks", type=int, default=4, help="of the study in fine steps: 2, 4, 8, ..."
    )
    options = parser.parse_args()
    what = set(options.what or every)
    if not what <= set(every):
        parser.error(f"{', '.join(what - set(every))}: allowed are {', '.join(every)}")
    if what & {"envelope", "growth"}:
        card = accelerator()
        import cupy

        device = cupy.cuda.Device()
        properties = cupy.cuda.runtime.getDeviceProperties(device.id)
        print(f"{accelerators()} cards, {properties['name'].decode()}", flush=True)
        if "envelope" in what:
            envelope(card, options.threads)
        if "growth" in what:
            growth(card)
        gc.collect()
        cupy.get_default_memory_pool().free_all_blocks()
    if "study" in what:
        studies(options.decks)


if __name__ == "__main__":
    main()
