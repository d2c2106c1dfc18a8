"""Findings, widths and reconciliation of small decks, against independent readings of the plate."""

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from pipelines.analysis.analyse import analyse
from pipelines.analysis.result import Result
from pipelines.findings.beam_stiffness import Curve, Sweep, sweep
from pipelines.findings.compare import worst_first
from pipelines.findings.finding import CAUTION, Finding, Verdict
from pipelines.findings.reconciliation.walk import governing_findings
from pipelines.model.position_blocks import position_load
from pipelines.report.data.findings_csv import COLUMNS, write_findings
from pipelines.strips.deck_strip import strip_deck, strip_decks
from pipelines.strips.spring_supports import beam_spring, on_springs
from pipelines.traffic.positions import find_position
from plate.results.functionals import mean_rows, result_rows
from plate.results.places import at_points
from tests.pipelines.fake_findings import fake
from tests.pipelines.small_decks import BEAMS, MESH, PLAN, SLAB, TRAFFIC, deck_of

GIRDERS = """
[plan]
stations_m = [0.0, 8.0]
offsets_m = [-2.4, 0.0, 2.4]
overhang_m = { start = 0.2, end = 0.2, left = 0.8, right = 0.8 }
[[line]]
on = "L*"
support = "beam"
to_edges = true
width_mm = 250
beam = { E_GPa = 210, G_GPa = 81, I_cm4 = 500000, J_cm4 = 300, A_cm2 = 300, Av_cm2 = 100 }
held_at = ["C1", "C2"]
"""


@pytest.fixture(scope="module")
def result(small_result: Result) -> Result:
    """Two bays on cross beams, side edges free, one lorry."""
    return small_result


@pytest.fixture(scope="module")
def girders(tmp_path_factory: pytest.TempPathFactory) -> Result:
    """A slab on three girders, joint edges free, one lorry."""
    folder = tmp_path_factory.mktemp("girders")
    traffic = TRAFFIC.replace("[-1.9, 1.9]", "[-2.8, 2.8]").replace("step_m = 0.5", "step_m = 0.8")
    return analyse(deck_of(folder, SLAB, GIRDERS, traffic, MESH))


def solved(result: Result, one: Finding) -> np.ndarray:
    """Displacements of the finding's load position."""
    assert result.alone is not None
    run, index = find_position(result.alone.envelope.runs, one.plate.number)
    F = position_load(result.solved.model, run, slice(index, index + 1))
    return result.solved.stiffness.solve(F)[:, 0]


# The words --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("ratio", "error", "whole", "words"),
    [
        (0.8, 0.0, False, "strip short by 20 %"),
        (1.3, 0.0, False, CAUTION),
        (1.3, 0.0, True, "strip covers"),
        (0.99, 400.0, True, "no difference within ±2 %"),
        (1.01, 400.0, False, "no difference within ±2 %"),
        (0.97, 400.0, False, "strip short by 3 %"),
        (-0.4, 0.0, True, "not comparable"),
        (None, 400.0, True, "outside the method's range"),
    ],
)
def test_the_four_findings(ratio: float | None, error: float, whole: bool, words: str) -> None:
    one = fake(ratio, plate_error=error, whole_model=whole)
    assert one.words == words
    assert one.is_short == words.startswith("strip short")


def test_small_values_stand_after_the_others() -> None:
    """Of 50 kNm/m: 9 is small, 11 is not; what has no ratio comes last."""
    given = [(0.9, 50e3), (0.1, 9e3), (None, 50e3), (0.5, 11e3), (0.2, 1e3)]
    rows = [fake(ratio, peak=peak) for ratio, peak in given]
    assert [one.ratio for one in worst_first(rows)] == pytest.approx([0.5, 0.9, 0.1, 0.2, None])


def test_a_single_vehicle_is_never_covered(result: Result, girders: Result) -> None:
    for rows in (result.findings, girders.findings):
        assert rows
        assert not [one for one in rows if one.verdict is Verdict.COVERS]
        assert all(one.entry()["caution"] == CAUTION for one in rows)


# What is read from the plate --------------------------------------------------------------------


def test_every_section_has_its_rows(result: Result, girders: Result) -> None:
    kinds = {"sagging", "hogging", "face", "over line", "transverse", "edge", "end edge", "shear"}
    kinds |= {"edge hogging", "edge face"}
    assert {one.section.kind for one in result.findings} == kinds
    assert {one.section.kind for one in girders.findings} == kinds
    assert {one.bars for one in result.findings} == {"parallel"}
    assert {one.bars for one in girders.findings} == {"across"}
    largest: dict[int, float] = {}
    for one in result.findings:
        largest[one.section.component] = max(
            largest.get(one.section.component, 0.0), abs(one.plate.peak)
        )
    compared = [one for one in result.findings if one.ratio is not None]
    # small values, less than a fifth of the largest of the same result, come last
    small = [abs(one.plate.peak) < 0.2 * largest[one.section.component] for one in compared]
    assert small == sorted(small)
    assert any(small)
    for group in (False, True):
        ratios = [o.ratio for o, s in zip(compared, small, strict=True) if s == group]
        assert ratios == sorted(ratios)  # type: ignore[type-var]


@pytest.mark.parametrize("which", ["result", "girders"])
def test_peaks_and_means_come_back_from_the_load_position(
    which: str, request: pytest.FixtureRequest
) -> None:
    of: Result = request.getfixturevalue(which)
    model = of.solved.model
    seen: set[str] = set()
    for one in of.findings:
        if one.section.kind in seen or one.plate.mean_width == 0.0:
            continue
        seen.add(one.section.kind)
        u = solved(of, one)
        places = at_points(model.mesh, np.array([one.plate.at])).apart()
        values = (result_rows(model, places) @ u).reshape(-1, 6)[:, one.section.component]
        turn = -1.0 if one.section.kind == "shear" and values.mean() < 0 else 1.0
        # Cells that meet at the point differ by the mesh's own error.
        slack = 0.02 * abs(one.plate.peak)
        assert turn * values.min() - slack <= one.plate.peak <= turn * values.max() + slack
        along = one.bars == "parallel"
        x, y = one.plate.at
        centre = y if along else x
        low, high = (-2.0, 2.0) if along else (-0.2, 8.2)
        start = min(max(centre - 0.5 * one.plate.mean_width, low), high - one.plate.mean_width)
        ends = [(x, start), (x, start + one.plate.mean_width)]
        path = np.array(ends if along else [(b, y) for _, b in ends])
        mean = float((mean_rows(model, path) @ u)[one.section.component])
        assert turn * mean == pytest.approx(one.plate.mean, rel=1e-6, abs=1.0)
    assert {"sagging", "hogging", "face", "shear"} <= seen


def test_bay_peak_is_the_envelopes(result: Result) -> None:
    assert result.alone is not None
    plan = result.solved.recovery.points.plan
    bay = (plan[:, 0] > 1e-6) & (plan[:, 0] < 3.0 - 1e-6) & (np.abs(plan[:, 1]) <= 0.5 + 1e-6)
    largest = result.alone.envelope.fields.extremes.maximum[1, bay].max()
    rows = [
        o for o in result.findings if o.section.kind == "sagging" and o.section.place == "bay C1–C2"
    ]
    # Free side edges: half a span of 3.0 m beside each is left to the edge's own rows.
    assert rows
    assert all(o.plate.peak == pytest.approx(largest) for o in rows)
    edge = [
        o
        for o in result.findings
        if o.section.kind == "edge" and o.section.place.startswith("left edge")
    ]
    assert edge
    beside = (plan[:, 0] > 1e-6) & (plan[:, 0] < 6.0 - 1e-6) & (plan[:, 1] < -0.5 - 1e-6)
    largest = result.alone.envelope.fields.extremes.maximum[1, beside].max()
    assert all(o.plate.peak == pytest.approx(largest) for o in edge)


def test_stiffened_edges_have_no_edge_strip(tmp_path: Path, result: Result) -> None:
    beam = 'on = "L*"\nsupport = "beam"\nto_edges = true\n'
    section = "{ E_GPa = 30, G_GPa = 12, I_cm4 = 600000, J_cm4 = 1000, A_cm2 = 2000 }"
    edges = f"[[line]]\n{beam}beam = {section}\n"
    of = analyse(
        deck_of(tmp_path, SLAB, PLAN, BEAMS, edges, TRAFFIC, MESH), tolerances_wanted=False
    )
    rows = [one for one in of.findings if one.section.kind == "edge"]
    assert rows
    assert all(one.hand.value is None and "stiffens the edge" in one.hand.reason for one in rows)
    assert all(
        o.hand.value for o in result.findings if o.section.kind == "edge" and not o.hand.reason
    )


def test_softer_beams_widen_the_range(result: Result) -> None:
    for one in result.findings:
        assert one.plate.beam_range is not None
        low, high = one.plate.beam_range
        assert low <= one.plate.peak <= high
    [most] = [o for o in governing_findings(result.findings) if o.section.kind == "sagging"]
    assert most.plate.beam_range is not None
    assert most.plate.beam_range[1] > 1.01 * most.plate.peak


def test_csv_holds_every_row(result: Result, tmp_path: Path) -> None:
    write_findings(tmp_path / "findings.csv", result.findings)
    with (tmp_path / "findings.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert tuple(rows[0]) == COLUMNS
    assert len(rows) == len(result.findings)
    for row, one in zip(rows, result.findings, strict=True):
        assert row["finding"] == one.words
        assert float(row["plate_peak"]) == pytest.approx(1e-3 * one.plate.peak, rel=1e-5)
        assert row["unit"] == one.unit
        assert (row["mark"], row["note"]) == (one.hand.mark, one.hand.note)
        assert row["load_source"] == "deck file"


# Widths -----------------------------------------------------------------------------------------


def test_widths_compare_as_the_values_do(result: Result, girders: Result) -> None:
    for of in (result, girders):
        rows = {
            (
                one.section.kind,
                one.section.place,
                one.section.where,
                one.section.effect,
                f"{one.hand.strip} {one.hand.clause}",
            ): one
            for one in of.findings
        }
        assert of.widths
        for width in of.widths:
            for name, code in width.codes:
                one = rows[width.kind, width.place, width.where, width.effect, name]
                assert one.hand.value is not None
                ratio = abs(one.hand.value / one.plate.peak)
                assert width.by_peak / code == pytest.approx(ratio, rel=1e-9)


# Reconciliation ---------------------------------------------------------------------------------


@pytest.mark.parametrize("which", ["result", "girders"])
def test_walks_lead_from_the_strip_to_the_peak(which: str, request: pytest.FixtureRequest) -> None:
    of: Result = request.getfixturevalue(which)
    assert {walk.finding.section.kind for walk in of.reconciliations} >= {
        "sagging",
        "face",
        "edge",
    }
    for walk in of.reconciliations:
        one = walk.finding
        for steps in (walk.forward, walk.reverse):
            assert steps[0].searched == one.hand.value
            assert steps[-1].searched == steps[-1].held == one.plate.peak
            assert abs(steps[0].held) <= abs(steps[0].searched) * (1 + 1e-6)
            for step in steps[1:]:
                # The held position and place are among those that are searched.
                assert abs(step.searched) >= abs(step.held) * (1 - 0.02)
        # By their words: a place of the strip has no offset, which equals nothing.
        assert repr(walk.forward[1]) == repr(walk.reverse[1])
        assert {step.title for step in walk.forward} == {step.title for step in walk.reverse}
        # The walk's models, with wide cells far away, give the main analysis' own value within
        # what a mesh may do.
        assert one.plate.error is not None
        assert walk.closing < max(0.01 * abs(one.plate.peak), one.plate.error)
        # Its steps carry the finding's tolerance as a share of themselves, or what it closes by.
        share = one.plate.error / abs(one.plate.peak)
        for steps in (walk.forward, walk.reverse):
            assert steps[0].error == 0.0
            assert steps[-1].error == one.plate.error
            for step in steps[1:-1]:
                most = max(abs(step.held), abs(step.searched))
                assert step.error == pytest.approx(max(share * most, walk.closing))


def test_rigid_step_is_the_rigid_deck(result: Result, tmp_path: Path) -> None:
    """The step before the beams bend, held, against a deck file with rigid lines."""
    [walk] = [w for w in result.reconciliations if w.finding.section.kind == "sagging"]
    titles = [step.title for step in walk.forward]
    rigid = walk.forward[titles.index("finite width, side edges free")]
    lines = '[[line]]\non = "C*"\nsupport = "rigid"\nwidth_mm = 250\nrests = false\n'
    deck = deck_of(tmp_path, SLAB, PLAN, lines, TRAFFIC, MESH)
    assert deck.traffic is not None
    spread = {"surfacing": 0.0, "dispersal": "none"}
    axles = tuple(
        replace(a, patch=(a.patch[0] + p, a.patch[1] + q))
        for a, p, q in zip(
            deck.traffic.vehicles[0].axles,
            *_more(walk.finding.hand.strip, deck.slab.thickness),
            strict=True,
        )
    )
    vehicle = replace(deck.traffic.vehicles[0], axles=axles)
    deck = replace(deck, traffic=replace(deck.traffic, vehicles=(vehicle,), **spread))
    of = analyse(deck, tolerances_wanted=False)
    assert of.alone is not None
    plan = of.solved.recovery.points.plan
    low = min(result.deck.stations[int(n[1:]) - 1] for n in walk.finding.section.lines)
    inside = (plan[:, 0] > low + 1e-6) & (plan[:, 0] < low + 3.0 - 1e-6)
    inside &= np.abs(plan[:, 1]) <= 0.5 + 1e-6
    largest = of.alone.envelope.fields.extremes.maximum[1, inside].max()
    assert rigid.searched == pytest.approx(largest, rel=1e-6)


def _more(strip: str, depth: float) -> tuple[list[float], list[float]]:
    """What a strip's rule adds to both sides of the two axles' tyres [m]."""
    along = {"AASHTO LRFD": depth, "DAfStb Heft 240": 0.16 + depth}
    across = dict(along) | {"IRC:112 annex B-3": 0.16}
    along["IRC:112 annex B-3"] = 0.16 + 2 * depth
    return [along[strip]] * 2, [across[strip]] * 2


# Strips across, springs, sweep ------------------------------------------------------------------


def test_the_shorter_span_is_the_strips(tmp_path: Path, girders: Result) -> None:
    [one] = strip_decks(girders.deck)
    assert one.bars == "across"
    assert [s.name for s in one.beam.supports] == ["L1", "L2", "L3"]
    assert (one.beam.start, one.beam.end) == (-3.2, 3.2)
    assert one.slab_width == pytest.approx(8.4)
    [row] = [o for o in governing_findings(girders.findings) if o.section.kind == "sagging"]
    assert abs(row.hand.station or 0.0) <= 2.8 - 0.5 - 0.9 + 1e-9  # wheels stay 0.5 m off the kerb


def test_springs_are_the_beams_deflection(result: Result) -> None:
    deck = result.deck
    line = deck.line("C2")
    assert line is not None
    assert line.beam is not None
    stiff = replace(line, beam=replace(line.beam, Av=None))
    EI, L = line.beam.E * line.beam.I, 4.0 + 2 * 0.3
    # Mean deflection of a simple beam under a uniform load over all of it: q L^4 / (120 EI).
    assert beam_spring(deck, stiff, 0.0, L) == pytest.approx(120 * EI / L**4, rel=1e-9)
    # A load on next to nothing at the middle: P L^3 / (48 EI).
    assert beam_spring(deck, stiff, 0.0, 1e-3) == pytest.approx(48e3 * EI / L**3, rel=1e-5)
    strip = on_springs(deck, strip_deck(deck), 0.0, 2.0)
    assert strip is not None
    assert all(np.isfinite(s.k) for s in strip.beam.supports)


def test_flips_lie_where_plate_and_strip_are_equal() -> None:
    ratios = np.array([1.0, 10.0, 100.0])
    curve = Curve(1.0, np.array([60e3, 50e3, 40e3]), 38e3, 50e3)
    one = Sweep(
        finding=fake(0.8),
        ratios=ratios,
        own=10.0,
        curves=(curve,),
        strips=(("a", 55e3), ("b", 70e3), ("c", 30e3)),
        marks=dict.fromkeys("abc", "from memory"),
    )
    assert one.flip(55e3, curve) == pytest.approx(10**0.5)
    assert one.words(55e3, curve) == "short where EI/(D L) is below 3.16"
    assert one.words(70e3, curve) == "not short at any stiffness"
    assert one.words(30e3, curve) == "short at every stiffness"
    assert "rigid" in one.words(39e3, curve)


def test_sweep_meets_the_deck_and_the_rigid_lines(result: Result) -> None:
    found = sweep(result.deck, 0.5, (1.0, 30.0, 1e5))
    [sagging] = [one for one in found if one.finding.section.kind == "sagging"]
    # It is the place of the run's largest value, its worst load position included.
    told = next(o for o in governing_findings(result.findings) if o.section.kind == "sagging")
    assert sagging.finding.section.place == told.section.place
    assert sagging.finding.plate.peak == pytest.approx(told.plate.peak, rel=1e-6)
    whole, cracked = sagging.curves
    assert whole.own == pytest.approx(
        max(o.plate.peak for o in result.findings if o.section.kind == "sagging"), rel=0.01
    )
    assert whole.values[0] > whole.values[1] > whole.values[2]
    assert whole.values[2] == pytest.approx(whole.rigid, rel=0.01)
    # Half as stiff a slab on the same beams is the same slab on beams twice as stiff, but for the
    # torsion of the beams.
    assert cracked.values[0] < whole.values[0]
