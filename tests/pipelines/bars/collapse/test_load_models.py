"""The collapse load of a load model: its arrangements, and the multiplier of all of it by hand."""

import csv
from pathlib import Path

import numpy as np
import pytest
import shapely

from pipelines.bars.checks.bending_and_service import resistances
from pipelines.bars.collapse.plastic_deck import live_load, plastic_slab
from pipelines.bars.collapse.search import Wanted, collapse_load
from pipelines.bars.collapse.standing import load_model_of, standing_arrangements
from pipelines.cli.main import main
from pipelines.deck.deck import Deck
from pipelines.deck.starters import starter
from pipelines.errors import CoverageError, JobError
from pipelines.report.data.collapse_csv import write_collapse
from pipelines.report.html import html_of
from pipelines.report.sections.collapse import collapse_page
from plate.plastic.discrete import with_loads
from tests.pipelines.decks_with_bars import BOTTOM, GRADES, TOP
from tests.pipelines.small_decks import SLAB, WEIGHT, deck_of

pytest.importorskip("clarabel")

LM1 = "EN 1991-2 LM1"
# One lane of 3 m, as wide as the slab, the tandem in its middle.
STRIP = """
[plan]
stations_m = {stations}
offsets_m = [-1.5, 1.5]
[[line]]
on = "C*"
support = "rigid"
[traffic]
carriageway_m = [-1.5, 1.5]
load_models = ["EN 1991-2 LM1"]
offsets_m = [0.0]
step_m = 0.3
dispersal = "none"
surfacing_mm = 0
[mesh]
size_m = 1.0
order = 2
"""


def strip(folder: Path, stations: str = "[0.0, 6.0]", plan: str = "", grades: str = GRADES) -> Deck:
    text = STRIP.replace(
        "offsets_m = [-1.5, 1.5]\n[[line]]", f"offsets_m = [-1.5, 1.5]\n{plan}[[line]]"
    )
    return deck_of(folder, SLAB, text, WEIGHT, grades, BOTTOM, TOP, stations=stations)


def by_hand(deck: Deck, first_axle: float) -> float:
    """The least multiplier of any section: m_Rd b = 1.35 g b x (L - x)/2 + multiplier M(x), M of
    two axles of 300 kN, 1.2 m apart on 0.4 m each, and of 9 kN/m2 on the whole span."""
    reinforcement = deck.required_reinforcement
    m = resistances(reinforcement.bars, reinforcement.bases[0].materials)["bottom", "x"]
    L, b, x = 6.0, 3.0, np.linspace(1.0, 5.0, 4001)
    pieces = np.linspace(-0.2, 0.2, 401)
    M = 9e3 * b * x * (L - x) / 2.0
    for axle in (first_axle, first_axle - 1.2):
        at = axle + pieces[:, None]
        M += 300e3 * np.where(x < at, x * (L - at) / L, at * (L - x) / L).mean(axis=0)
    return float(((m * b - 1.35 * 25e3 * 0.25 * b * x * (L - x) / 2.0) / M).min())


def test_all_of_a_load_model_by_hand(tmp_path: Path) -> None:
    deck = strip(tmp_path)
    found = collapse_load(deck, Wanted(beams={}, load_model=LM1, worst=1, gap=0.02))
    both, standing = found.governing.found, found.governing.standing
    assert both is not None
    [position] = standing.vehicles
    # of the span's places in steps of 0.3 m that with one wheel near the middle
    places = [by_hand(deck, s) for s in np.arange(1.2, 6.0, 0.3)]
    assert by_hand(deck, position.station) == pytest.approx(min(places), rel=1e-6)
    # bars across spread the wheels over the width, as far as the bounds can tell
    assert both.lower <= min(places) * (1.0 + 1e-6)
    assert both.upper >= min(places) * (1.0 - 1e-6)
    assert both.gap < 0.02
    assert standing.wheels.load.sum() == pytest.approx(600e3)
    # alpha_q 1: 9 kN/m2 on all of the span
    assert standing.spread.load.sum() == pytest.approx(9e3 * 18.0)
    write_collapse(tmp_path / "collapse.csv", found)
    with (tmp_path / "collapse.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert float(rows[0]["lower_bound"]) == pytest.approx(found.safe, rel=1e-5)
    assert rows[0]["load_model"] == LM1
    assert rows[0]["arrangement"].startswith("lane 1 at 0.00: EN 1991-2 LM1 TS forward")
    assert rows[0]["vehicle"] == ""
    page = html_of(collapse_page(found))
    assert "All of the load model is multiplied" in page
    assert "arrangements that govern the elastic slab" in page


def test_distributed_loads_lie_where_they_are_adverse(tmp_path: Path) -> None:
    """Of two spans one for its own sagging, both for hogging over the middle line."""
    deck = strip(tmp_path, "[0.0, 5.0, 10.0]")
    found: dict[str, list[tuple[float, float]]] = {}
    for one in standing_arrangements(deck, load_model_of(deck, LM1)):
        x = one.spread.corners[..., 0]
        found.setdefault(one.worst_of, []).append((x.min(), x.max()) if len(x) else (0.0, 0.0))
    assert (0.0, 5.0) in found["m_x greatest"]
    assert (5.0, 10.0) in found["m_x greatest"]
    assert (0.0, 10.0) in found["m_x least"]
    assert not any(one == (0.0, 10.0) for one in found["w greatest"])


def test_load_models_that_are_not_covered_are_told(tmp_path: Path) -> None:
    deck = strip(tmp_path)
    with pytest.raises(JobError, match="--load-model LM9: the deck file has EN 1991-2 LM1 under"):
        collapse_load(deck, Wanted(beams={}, load_model="LM9"))
    with pytest.raises(JobError, match="a collapse load needs a vehicle"):
        collapse_load(deck, Wanted(beams={}))
    with pytest.raises(CoverageError, match="along a carriageway_axis_m with arcs"):
        load_model_of(deck_of(tmp_path, starter("outline")), LM1)
    indian = GRADES.replace("EN 1992", "IRC:112").replace("C35/45", "M40")
    indian = indian.replace("B500B", "Fe 500").replace("XD1", "severe")
    with pytest.raises(JobError, match="LM1 does not count for bars that are checked to IRC:112"):
        collapse_load(strip(tmp_path, grades=indian), Wanted(beams={}, load_model=LM1))


def test_lanes_of_a_curved_deck_are_those_on_the_ground(tmp_path: Path) -> None:
    """9 kN/m2 on 3 m x 6 m about the axis, on the triangles but for what the chords of their edges
    cut off, s^2/8R of 3 m: 28 mm outside, and 28 mm more inside."""
    deck = strip(tmp_path, plan="radius_m = 40.0\n")
    basis = deck.required_reinforcement.bases[0]
    triangles = plastic_slab(deck, basis, {}).triangles
    on = 9e3 * 18.0
    found = standing_arrangements(deck, load_model_of(deck, LM1))
    one = max(found, key=lambda one: one.spread.load.sum())
    assert one.spread.load.sum() == pytest.approx(on, rel=1e-3)
    load = live_load(deck, triangles, one.wheels, one.spread)
    area = sum(p.pressure * shapely.Polygon(p.corners).area for p in load.spread)
    assert area == pytest.approx(on, rel=1e-3)
    [lane] = load.spread
    pressed = with_loads(plastic_slab(deck, basis, {}), load)
    inside = shapely.Polygon(lane.corners).intersection(pressed.region).area
    assert inside == pytest.approx(18.0, rel=0.015)


def test_a_place_is_that_of_a_vehicle(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = ["collapse", strip(tmp_path).path, "--load-model", LM1, "--at", "1", "0"]
    assert main([*words, "--out", str(tmp_path / "out")]) == 2
    assert "--at is for a vehicle" in capsys.readouterr().err
