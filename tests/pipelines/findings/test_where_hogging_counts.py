"""Hogging over lines with a width, wherever it is told: within the slab, beside free edges, as a
governing value, in back-figured widths and in the walk, against a beam of two spans by hand.

A row of wheels loads the whole width of a slab without Poisson's ratio, which bends as a beam does:
with P per metre at 1/sqrt(3) of one span the moment over the middle line is P l/(6 sqrt(3)), and
towards the empty span it falls to nothing over its length.
"""

import numpy as np
import pytest

from pipelines.analysis.analyse import analyse
from pipelines.analysis.result import Result
from pipelines.findings.finding import Finding
from pipelines.findings.reconciliation.walk import governing_findings, reconcile
from pipelines.report.sections.findings import finding_words
from pipelines.report.sections.tables import governing_table
from tests.pipelines.report_page import page_of
from tests.pipelines.small_decks import MESH, SLAB, deck_of

SPAN, AXLE, ACROSS = 4.0, 600e3, 6.0
PLAN = """
[plan]
stations_m = [0.0, 4.0, 8.0]
offsets_m = [-3.0, 3.0]
[[line]]
on = "C*"
support = "rigid"
width_mm = 400
rests = {rests}
[traffic]
carriageway_m = [-3.0, 3.0]
offsets_m = [0.0]
step_m = 0.1
dispersal = "none"
edge_clearance_m = 0.5
[[vehicle]]
name = "row"
axles = [{ at_m = 0.0, load_kN = 600, patch_mm = [200, 1000], wheels_m = {wheels} }]
""".replace("{wheels}", "[-2.5, -1.5, -0.5, 0.5, 1.5, 2.5]")
OVER_LINE = AXLE / ACROSS * SPAN / (6.0 * np.sqrt(3.0))
# The wheel's length of 0.2 m takes 0.1 %, the slab's shear strain over the line moves as much.
BEAM = 0.01


@pytest.fixture(scope="module", params=[False, True], ids=["face", "resting"])
def result(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Result:
    deck = deck_of(
        tmp_path_factory.mktemp("deck"),
        SLAB.replace("poisson = 0.2", "poisson = 0.0"),
        PLAN,
        MESH,
        rests=str(request.param).lower(),
    )
    return analyse(deck, tolerances_wanted=False)


def off(result: Result) -> float:
    """Distance from the line by hand: half of 0.4 m, or a quarter."""
    return 0.1 if result.deck.lines[0].rests else 0.2


def over_middle(result: Result, kind: str) -> list[Finding]:
    found = [
        one for one in result.findings if (one.section.kind, one.section.lines) == (kind, ("C2",))
    ]
    assert found
    return found


@pytest.mark.parametrize(("centre", "beside"), [("hogging", "face"), ("edge hogging", "edge face")])
def test_plate_and_strip_are_read_beside_the_line_and_at_it(
    result: Result, centre: str, beside: str
) -> None:
    falls = 1.0 - off(result) / SPAN
    for kind, share in ((centre, 1.0), (beside, falls)):
        for one in over_middle(result, kind):
            assert one.plate.peak == pytest.approx(-share * OVER_LINE, rel=BEAM)
            away = abs(one.plate.at[0] - SPAN)
            assert away == pytest.approx(0.0 if kind == centre else off(result), abs=1e-9)
    at_line = {one.hand.strip: one.hand.value for one in over_middle(result, centre)}
    for one in over_middle(result, beside):
        if one.hand.value is not None:
            assert one.hand.value == pytest.approx(falls * at_line[one.hand.strip], rel=1e-6)


def test_the_first_page_tells_both_beside_free_edges_too(result: Result) -> None:
    place = "100 mm off its centre line" if off(result) < 0.2 else "at its face"
    for start in ("Largest hogging over a line:", "Largest hogging over a line, beside a free"):
        [sentence] = [s for s in finding_words(result.findings, "") if s.startswith(start)]
        assert place in sentence
        assert "; at the centre line the plate has" in sentence


def test_the_governing_value_is_beside_the_line_with_that_over_it_told(result: Result) -> None:
    [peak] = [p for p in result.governing if (p.result, p.extreme) == ("m_x", "min")]
    assert 1e3 * peak.value == pytest.approx(-(1.0 - off(result) / SPAN) * OVER_LINE, rel=BEAM)
    assert abs(peak.at[0] - SPAN) == pytest.approx(off(result), abs=1e-9)
    assert peak.over_width is not None
    assert 1e3 * peak.over_width.value == pytest.approx(-OVER_LINE, rel=BEAM)
    assert peak.over_width.at[0] == pytest.approx(SPAN)
    assert peak.entry()["over_width"]["value"] == peak.over_width.value
    [sagging] = [p for p in result.governing if (p.result, p.extreme) == ("m_x", "max")]
    assert sagging.over_width is None
    assert "; over the width −38.4" in page_of((governing_table(result, result.traffic[0]),))


def test_widths_are_those_of_the_same_place(result: Result) -> None:
    """The row of wheels is carried by all of the slab's width, wherever it is read."""
    rows = [one for one in result.widths if (one.kind, one.place) == ("face", "line C2")]
    assert rows
    for one in rows:
        falls = 1.0 - off(result) / SPAN
        assert one.strip_resultant == pytest.approx(falls * ACROSS * OVER_LINE, rel=0.002)
        assert one.by_peak == pytest.approx(ACROSS, rel=BEAM)
        assert one.at_centre == pytest.approx(OVER_LINE, rel=BEAM)
    assert not [one for one in result.widths if one.kind == "hogging"]


def test_the_walk_leads_to_the_value_beside_the_line(result: Result) -> None:
    envelopes = [case.envelope for case in result.traffic]
    hogs = [one for one in governing_findings(result.findings) if one.section.sign < 0]
    assert [one.section.kind for one in hogs] == ["face"]
    [walk] = reconcile(result.built.asked_for(result.deck), envelopes, hogs)
    peak = walk.finding.plate.peak
    assert walk.forward[-1].searched == peak
    assert walk.forward[0].searched == walk.finding.hand.value
    # read at another place its models would miss by the fall of a few per cent
    assert walk.closing < 0.005 * abs(peak)
