"""Stated against true error of probe values, over decks of every kind, and the figure of it.

python benchmarks/effectivity.py [--decks N] [--csv FILE] [--figure FILE.svg]

Each deck is analysed on its default mesh. True errors are against a reference of order 7 on
cells 1.5 times smaller; how far that reference is from the same mesh at order 6 says how far it
can be trusted. Values that are zero by symmetry, below 1e-4 of the largest of their kind under
the same load, and values whose reference is not known to a quarter of the true error or of the
stated one, are left out and counted.
"""

import argparse
import csv
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from pipelines.accuracy.stated_values import StatedValues, read_on, stated_under
from pipelines.accuracy.tolerances import (
    Yardsticks,
    case_tolerances,
    case_values,
    traffic_tolerances,
)
from pipelines.accuracy.worst_envelope import with_worst_loads
from pipelines.deck.deck import Deck
from pipelines.deck.reading.deck_file import read_deck
from pipelines.envelopes.traffic import traffic_envelopes
from pipelines.model.build import REFINEMENT, BuiltModel, build_model
from pipelines.model.case_responses import case_responses
from pipelines.model.responses import SolvedDeck
from pipelines.model.static_cases import case_solutions
from pipelines.report.drawings.axes import Axes
from pipelines.report.drawings.canvas import Paper, draw
from pipelines.report.drawings.colours import MARKS, SERIES
from pipelines.report.drawings.legend import Key, legend
from plate.arrays import Floats
from plate.conventions import RESULTS
from plate.solver.stiffness import Stiffness

ORDER = 7
ZERO = 1e-4
KNOWN = 0.25

PLAIN = """
title = "{name}"
[slab]
thickness_mm = {t}
E_GPa = 32.0
poisson = 0.2
{slab}
[plan]
stations_m = {stations}
offsets_m = {offsets}
{plan}
"""

LORRY = """
[traffic]
carriageway_m = [-1.9, 1.9]
offsets_m = [-0.4, 0.3]
step_m = 0.75
surfacing_mm = 80
[[vehicle]]
name = "lorry"
axles = [
  { at_m = 0.0, load_kN = 60, gauge_m = 1.8, patch_mm = [250, 350] },
  { at_m = 2.3, load_kN = 100, gauge_m = 1.8, patch_mm = [250, 400] } ]
"""

CROSS = """
[[line]]
on = "C*"
support = "beam"
beam = { E_GPa = 210, G_GPa = 81, I_cm4 = 60000, J_cm4 = 200, A_cm2 = 160, Av_cm2 = 60 }
held_at = [{ on = "L1", stub_m = 0.3 }, { on = "L2", stub_m = 0.3 }]
"""

COMPOSITE = """
[[line]]
on = "C*"
support = "beam"
held_at = ["L1", "L2"]
[line.beam]
E_GPa = 210
G_GPa = 81
I_cm4 = 20000
J_cm4 = 100
A_cm2 = 110
Av_cm2 = 45
eccentricity_mm = 320
connection = "full"
"""


def line(on: str, support: str, more: str = "") -> str:
    """A [[line]] table."""
    return f'[[line]]\non = "{on}"\nsupport = "{support}"\n{more}\n'


@dataclass(frozen=True, kw_only=True)
class Kind:
    """A deck without its loads and probes; patch: x, y, a, b [m] of its static wheel."""

    name: str
    patch: tuple[float, float, float, float]
    lines: str
    stations: tuple[float, ...] = (0.0, 3.0, 6.0)
    offsets: tuple[float, ...] = (-2.0, 2.0)
    t: int = 250
    slab: str = ""
    plan: str = ""
    traffic: str = ""

    def text(self) -> str:
        """The deck file."""
        parts = [
            PLAIN.format(
                name=self.name,
                t=self.t,
                slab=self.slab,
                stations=list(self.stations),
                offsets=list(self.offsets),
                plan=self.plan,
            ),
            self.lines,
            self.traffic,
            '[[case]]\nname = "weight"\nself_weight = true\n',
        ]
        x, y, a, b = self.patch
        parts.append(
            f'[[case]]\nname = "wheel"\npatches = [{{ at_m = [{x}, {y}], size_m = [{a}, {b}], '
            "load_kN = 100 }]\n"
        )
        for k, at in enumerate(self._places()):
            parts.append(f'[[probe]]\nname = "p{k}"\nat_m = [{at[0]:.4f}, {at[1]:.4f}]\n')
        x0, y0 = self._inside(0.3, 0.3)
        x1, y1 = self._inside(0.3, 0.7)
        parts.append(
            f'[[probe]]\nname = "mean"\nfrom_m = [{x0:.4f}, {y0:.4f}]\n'
            f"to_m = [{x1:.4f}, {y1:.4f}]\n"
        )
        return "\n".join(parts)

    def _places(self) -> Iterator[tuple[float, float]]:
        """Below and beside the wheel, over a line, and at places like any other."""
        x, y, a, b = self.patch
        yield x, y
        yield x + a, y
        yield x, y - 0.75 * b
        yield self.stations[1] if len(self.stations) > 2 else x + 2 * a, y + 0.1
        for u, v in ((0.21, 0.37), (0.83, 0.62), (0.47, 0.12)):
            yield self._inside(u, v)

    def _inside(self, u: float, v: float) -> tuple[float, float]:
        """A plan point at shares of the length and the width between the outermost lines."""
        y = self.offsets[0] + v * (self.offsets[-1] - self.offsets[0])
        skew = np.tan(np.radians(_number(self.plan, "skew_deg")))
        x = self.stations[0] + u * (self.stations[-1] - self.stations[0]) + y * skew
        return x, y


def _number(text: str, key: str) -> float:
    """The number given for a key in a fragment of a deck file, 0 where it is not."""
    rows = [row.split("=")[1] for row in text.splitlines() if row.startswith(key)]
    return float(rows[0]) if rows else 0.0


OVERHANGS = "overhang_m = { start = 0.4, end = 0.4 }"
CANTILEVER = "overhang_m = { left = 1.4, right = 1.4 }"
BEARINGS = "".join(
    f'[[point]]\nat_m = [{x}, {y}]\nsupport = "rigid"\nsize_mm = 400\n'
    for x in (0.4, 5.6)
    for y in (-1.2, 1.2)
)

KINDS = (
    Kind(
        name="two spans on lines",
        patch=(1.4, 0.2, 0.4, 0.6),
        lines=line("C*", "rigid"),
        traffic=LORRY,
    ),
    Kind(
        name="panel held hard on four sides",
        patch=(1.7, 0.3, 0.5, 0.4),
        lines=line("C*", "rigid", "hard = true") + line("L*", "rigid", "hard = true"),
        stations=(0.0, 4.0),
    ),
    Kind(
        name="clamped panel",
        patch=(1.3, -0.2, 0.35, 0.6),
        lines=line("C*", "clamped") + line("L*", "clamped"),
        stations=(0.0, 3.5),
    ),
    Kind(
        name="cross beams", patch=(1.5, 0.4, 0.6, 0.8), lines=CROSS, plan=OVERHANGS, traffic=LORRY
    ),
    Kind(name="composite cross beams", patch=(1.6, 0.3, 0.6, 0.6), lines=COMPOSITE, plan=OVERHANGS),
    Kind(
        name="skew 25",
        patch=(3.2, 0.3, 0.5, 0.5),
        lines=line("C*", "rigid"),
        stations=(0.0, 5.0),
        plan="skew_deg = 25.0",
    ),
    Kind(
        name="skew 45",
        patch=(2.2, 0.1, 0.5, 0.5),
        lines=line("C*", "rigid"),
        stations=(0.0, 5.0),
        plan="skew_deg = 45.0",
    ),
    Kind(
        name="curved",
        patch=(2.6, -0.4, 0.5, 0.5),
        lines=line("C*", "rigid"),
        stations=(0.0, 5.0),
        plan="radius_m = 9.0",
    ),
    Kind(
        name="tapered",
        patch=(1.6, 0.5, 0.5, 0.7),
        lines=line("C*", "rigid"),
        plan="end_offsets_m = [-2.0, 3.0]",
    ),
    Kind(
        name="two girders with cantilevers",
        patch=(2.8, 3.05, 0.4, 0.5),
        lines=line("L*", "rigid"),
        stations=(0.0, 6.0),
        plan=CANTILEVER,
    ),
    Kind(
        name="orthotropic",
        patch=(1.4, 0.2, 0.5, 0.5),
        lines=line("C*", "rigid"),
        slab="stiffness = { x = 1.0, y = 0.4, xy = 0.5 }",
        traffic=LORRY,
    ),
    Kind(
        name="haunched",
        patch=(1.4, 0.2, 0.5, 0.5),
        lines=line("C*", "rigid"),
        slab="[[slab.zone]]\nstations_m = [2.6, 3.4]\nthickness_mm = 380",
    ),
    Kind(
        name="thin",
        patch=(1.4, 0.2, 0.5, 0.5),
        lines=line("C*", "rigid"),
        slab='theory = "kirchhoff"',
        t=180,
    ),
    Kind(name="thick", patch=(1.4, 0.2, 0.5, 0.5), lines=line("C*", "rigid"), t=900),
    Kind(name="small wheel", patch=(1.43, 0.17, 0.2, 0.2), lines=line("C*", "rigid"), t=200),
    Kind(
        name="spring lines",
        patch=(1.4, 0.2, 0.5, 0.5),
        lines=line("C*", "spring", "k_kN_m2 = 60000.0"),
    ),
    Kind(
        name="four bearings",
        patch=(2.9, 0.2, 0.5, 0.5),
        lines=BEARINGS,
        stations=(0.0, 6.0),
    ),
)


@dataclass(frozen=True)
class Errors:
    """Of many values [SI]: name, the value, stated and true error, how far the reference moves
    from one order to the next, and the largest value of the kind under the same load."""

    names: tuple[str, ...]
    value: Floats
    stated: Floats
    true: Floats
    doubt: Floats
    largest: Floats

    @property
    def counted(self) -> NDArray[np.bool_]:
        """Values that are not zero by symmetry and whose reference is known well enough."""
        known = self.doubt <= KNOWN * np.maximum(self.true, self.stated)
        return (np.abs(self.value) > ZERO * self.largest) & known

    @property
    def inside(self) -> NDArray[np.bool_]:
        """Whether the true error is inside the stated one; rounding alone never decides."""
        return self.true <= self.stated + 1e-9 * self.largest

    @property
    def effectivity(self) -> Floats:
        """Stated over true error."""
        return np.asarray(self.stated / np.maximum(self.true, 1e-12 * self.largest))


def joined(parts: Sequence[Errors]) -> Errors:
    """The errors of several decks as one."""
    return Errors(
        tuple(name for part in parts for name in part.names),
        *(
            np.concatenate([getattr(part, key) for part in parts])
            for key in ("value", "stated", "true", "doubt", "largest")
        ),
    )


def read_kind(kind: Kind) -> Deck:
    """The deck of a kind, as the deck file gives it."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "deck.toml"
        path.write_text(kind.text(), encoding="utf-8")
        return read_deck(path)


def _reference(
    deck: Deck,
    built: BuiltModel,
    solved: SolvedDeck,
    stated: Sequence[StatedValues],
    order: int,
) -> tuple[dict[str, Floats], list[Floats]]:
    """The same values at the given order on cells 1.5 times smaller than the default."""
    mesh = replace(deck.mesh, order=order, size=built.size / REFINEMENT)
    stiffness = Stiffness(build_model(replace(deck, mesh=mesh)).model)
    traffic = [stated_under(stiffness, read_on(stiffness, solved, one).rows, one) for one in stated]
    return case_values(deck, case_solutions(deck, stiffness, solved.models)), traffic


def deck_errors(kind: Kind) -> Errors:
    """Stated and true errors of all probe values of a deck."""
    deck = read_kind(kind)
    built = build_model(deck)
    solved = SolvedDeck.of(deck, built.model)
    cases = case_responses(solved)
    worst = [with_worst_loads(solved, envelope) for envelope in traffic_envelopes(solved)]
    stated = [case.stated for case in worst]
    measured = Yardsticks.of(built, solved)
    of_cases = case_tolerances(solved, cases, measured).mesh
    last, before = (_reference(deck, built, solved, stated, k) for k in (ORDER, ORDER - 1))
    labels = [f"{n} {c}" for n in solved.probes.names for c in RESULTS]
    parts = []
    for name, response in cases.items():
        exact, other = (r[0][name] for r in (last, before))
        values = response.probes[:, 0]
        full = [f"{kind.name}: {name} {label}" for label in labels]
        parts.append(_compared(full, values, of_cases[name], exact, other))
    n = len(labels)
    for k, tolerances in enumerate(traffic_tolerances(solved, worst, measured)):
        of_traffic = tolerances.probes
        for end, part in (("max", slice(0, n)), ("min", slice(n, 2 * n))):
            exact, other = (r[1][k][part] for r in (last, before))
            full = [f"{kind.name}: {end} {label}" for label in labels]
            errors = of_traffic[end][:, 0]
            parts.append(_compared(full, stated[k].value[part], errors, exact, other))
    return joined(parts)


def _compared(
    names: Sequence[str], value: Floats, stated: Floats, exact: Floats, other: Floats
) -> Errors:
    size = np.abs(value).reshape(-1, len(RESULTS))
    # Moments belong together, and so do shears: a twist near zero has no scale of its own.
    groups = (slice(0, 1), slice(1, 4), slice(4, 6))
    largest = np.empty_like(size)
    for group in groups:
        largest[:, group] = size[:, group].max()
    true, doubt = np.abs(value - exact), np.abs(exact - other)
    return Errors(tuple(names), value, stated, true, doubt, largest.ravel())


def figure(errors: Errors, path: Path) -> None:
    """True against stated error as shares of the largest value of their kind, log-log, as SVG."""
    use = errors.counted
    names = np.array([name.rsplit(" ", 1)[1] for name in errors.names])
    kinds = {"deflection": ("w",), "moments": ("m_x", "m_y", "m_xy"), "shears": ("q_x", "q_y")}
    low, high = 1e-9, 1.0

    def paint(paper: Paper) -> None:
        axes = Axes(
            paper=paper, box=(60.0, 15.0, 420.0, 345.0), x=(low, high), y=(high, low),
            log=(True, True),
        )  # fmt: skip
        powers = [10.0**k for k in range(-9, 1)]
        ticks = powers, [f"{power:.0e}" for power in powers]
        axes.scale("bottom", "stated mesh error / largest value of its kind", ticks)
        axes.scale("left", "true error / largest value of its kind", ticks)
        axes.frame()
        keys = [
            Key(words="true = stated", width=1.0),
            Key(words="true = stated / 10", width=0.6, dash=(1, 2)),
        ]
        axes.path([[low, low], [high, high]], width=1.0)
        axes.path([[10.0 * low, low], [high, 0.1 * high]], width=0.6, dash=(1, 2))
        for (label, components), ink, mark in zip(kinds.items(), SERIES, MARKS, strict=False):
            pick = use & np.isin(names, components)
            stated, true = (v[pick] / errors.largest[pick] for v in (errors.stated, errors.true))
            shown = np.clip(np.column_stack([stated, true]), low, high)
            axes.mark(shown, mark, 3.0, fill=ink, ink="none")
            keys.append(Key(words=label, mark=mark, mark_fill=ink, mark_ink="none"))
        legend(paper, keys)

    words = "True against stated error of the mesh."
    path.write_text(draw("effectivity", words, (432.0, 420.0), paint).svg, encoding="utf-8")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--decks", type=int, default=len(KINDS), help="only the first N decks")
    parser.add_argument("--csv", type=Path, help="file for all values")
    parser.add_argument("--figure", type=Path, help="file for the figure, .svg")
    arguments = parser.parse_args()
    parts = []
    print(f"{'deck':34s}{'values':>8s}{'left out':>10s}{'inside':>9s}{'median':>9s}")
    for kind in KINDS[: arguments.decks]:
        parts.append(deck_errors(kind))
        print_row(kind.name, parts[-1])
    every = joined(parts)
    print_row("all", every)
    if arguments.csv:
        with arguments.csv.open("w", newline="", encoding="utf-8") as file:
            out = csv.writer(file)
            out.writerow(["name", "value", "stated", "true", "doubt", "largest", "counted"])
            columns = (every.value, every.stated, every.true, every.doubt, every.largest)
            out.writerows(zip(every.names, *columns, every.counted, strict=True))
    if arguments.figure:
        figure(every, arguments.figure)


def print_row(name: str, errors: Errors) -> None:
    use = errors.counted
    print(
        f"{name:34s}{use.sum():8d}{(~use).sum():10d}{errors.inside[use].mean():9.3f}"
        f"{np.median(errors.effectivity[use]):9.2f}",
        flush=True,
    )


if __name__ == "__main__":
    main()
