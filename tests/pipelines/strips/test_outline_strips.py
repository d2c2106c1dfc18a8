"""Strips on plans of any outline: over the lines that cross the carriageway and across girders, as
on the deck with C and L lines that the outline is."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from pipelines.analysis.analyse import analyse
from pipelines.deck.deck import Deck
from pipelines.errors import MethodRangeError
from pipelines.strips.deck_strip import StripDeck, strip_deck, strip_decks
from plate.arrays import Floats
from plate.geometry.axis import Axis
from tests.pipelines.small_decks import deck_of

SLAB = "[slab]\nthickness_mm = 250\nE_GPa = 30\n"
TRAFFIC = """
[traffic]
carriageway_m = [-2.5, 2.5]
load_models = ["EN 1991-2 LM2"]
step_m = 0.5
lateral_step_m = 0.5
surfacing_mm = 80
"""
BEAM = "beam = { E_GPa = 34, G_GPa = 14, I_cm4 = 900000, J_cm4 = 90000, A_cm2 = 2000 }\n"
RECTANGLE = "[plan]\noutline_m = [[0, -3], [9, -3], [9, 3], [0, 3]]\n"


def line(name: str, path: str, support: str = "rigid", more: str = "") -> str:
    where = f'[[line]]\nname = "{name}"\npath_m = {path}\n'
    return f'{where}support = "{support}"\nwidth_mm = 300\n{more}'


def on(names: str, support: str = "rigid", more: str = "") -> str:
    return f'[[line]]\non = {names}\nsupport = "{support}"\nwidth_mm = 300\n{more}'


ENDS = on('["E4", "E2"]')
WALL = line("W", "[[4, -3], [4, 3]]")


def same_findings(one: Deck, two: Deck, names: dict[str, str], rel: float) -> None:
    """Every row of the one in the other under its own names, strips equal, plates by a share of the
    largest value of the same result."""
    found = []
    for deck in (one, two):
        rows = {}
        for row in analyse(deck, tolerances_wanted=False).findings:
            place = row.section.place
            for old, new in names.items():
                place = place.replace(old, new)
            rows[row.section.kind, place, row.load, row.hand.strip, row.bars] = row
        found.append(rows)
    assert found[0].keys() == found[1].keys()
    largest: dict[int, float] = {}
    for row in found[0].values():
        k = row.section.component
        largest[k] = max(largest.get(k, 0.0), abs(row.plate.peak))
    for key, row in found[0].items():
        other = found[1][key]
        # which side of a line has the larger shear may differ where they are all but equal
        s, t = row.section.s, other.section.s
        if key[0] != "shear" or s is None or t is None or abs(s - t) < 0.1:
            assert row.hand.reason == other.hand.reason
            if row.hand.value is not None:
                assert other.hand.value == pytest.approx(row.hand.value, rel=1e-6, abs=1e-6)
        apart = rel * largest[row.section.component]
        assert other.plate.peak == pytest.approx(row.plate.peak, abs=apart)


def test_over_lines_as_on_c_lines(tmp_path: Path) -> None:
    """A slab of two spans over walls, as C lines and as an outline with a named wall.

    Strips are the same; the plate's peaks are those of two meshes and agree to 4 % of the largest:
    at the face the peak is sought within 0.6 m of a field point, which is not the same one.
    """
    grid = deck_of(
        tmp_path, SLAB, "[plan]\nstations_m = [0, 4, 9]\noffsets_m = [-3, 3]\n", on('"C*"'), TRAFFIC
    )
    outline = deck_of(tmp_path, SLAB, RECTANGLE, ENDS, WALL, TRAFFIC)
    names = {
        "line C1": "edge E4", "line C2": "line W", "line C3": "edge E2",
        "cross ": "", "C1": "E4", "C2": "W", "C3": "E2",
    }  # fmt: skip
    same_findings(grid, outline, names, 0.04)


@pytest.mark.slow
def test_across_girders_as_on_l_lines(tmp_path: Path) -> None:
    """Three girders along traffic between abutments that hold them, the slab hanging over.

    Hogging over girders and shear beside them grow fast towards their ends; the outermost field
    points that are read there are 0.07 m apart on the two meshes: 12 % of the largest.
    """
    held = 'held_at = ["{}", "{}"]\n'
    grid = deck_of(
        tmp_path,
        SLAB,
        "[plan]\nstations_m = [0, 9]\noffsets_m = [-2, 0.3, 2]\n"
        "overhang_m = { left = 1.0, right = 1.0 }\n",
        on('"L*"', "beam", 'label = "girder"\n' + BEAM + held.format("C1", "C2")),
        TRAFFIC,
    )
    more = 'label = "girder"\n' + BEAM + held.format("E4", "E2")
    girders = "".join(
        line(f"G{k}", f"[[0, {y}], [9, {y}]]", "beam", more) for k, y in ((1, -2), (2, 0.3), (3, 2))
    )
    outline = deck_of(tmp_path, SLAB, RECTANGLE, girders, TRAFFIC)
    assert [one.bars for one in strip_decks(outline)] == ["across"]
    names = {"L1": "G1", "L2": "G2", "L3": "G3"}
    same_findings(grid, outline, names, 0.12)


def turned(angle: float) -> tuple[str, str, str]:
    """A rectangle of two spans, its wall askew, turned with its axis about its middle."""
    c, s = np.cos(angle), np.sin(angle)
    matrix = np.array([[c, s], [-s, c]])

    def points(rows: list[list[float]]) -> str:
        return str((np.array(rows) @ matrix).round(9).tolist())

    return (
        f"[plan]\noutline_m = {points([[-5, -3], [5, -3], [5, 3], [-5, 3]])}\n",
        line("W", points([[-0.8, -3], [0.4, 3]])),
        TRAFFIC + f"carriageway_axis_m = {points([[-5, 0], [5, 0]])}\n",
    )


@pytest.mark.parametrize("degrees", [0.0, 8.0, -9.0, 176.0])
def test_a_turned_strip(tmp_path: Path, degrees: float) -> None:
    plan, wall, traffic = turned(np.radians(degrees))
    strip = strip_deck(deck_of(tmp_path, SLAB, plan, ENDS, wall, traffic))
    at = [one.at for one in strip.beam.supports]
    assert_allclose(at, [0.0, 4.8, 10.0], atol=1e-6)  # from the axis's own start
    assert (strip.beam.start, strip.beam.end) == pytest.approx((0.0, 10.0), abs=1e-6)
    assert strip.slab_width == pytest.approx(6.0, abs=1e-4)
    assert strip.skew_deg == pytest.approx(np.degrees(np.arctan(0.2)), abs=1e-6)
    layout = strip.on_deck
    assert [layout.stiffening(edge) for edge in layout.edges] == [np.inf, np.inf]
    assert_allclose([layout.edge_offset(e) for e in layout.edges], [-3.0, 3.0], atol=1e-6)
    wide = [layout.t_range(s) for s in (0.0, 2.0, 4.8, 10.0)]
    assert_allclose(wide, [[-3.0, 3.0]] * 4, atol=1e-4)


@pytest.mark.parametrize(
    ("parts", "told"),
    [
        (("0.3", ENDS, 1), "a strip along the deck runs at 17.2° to x"),
        (("0.0", on('["E2"]'), 0), "needs two lines across it that carry it, here 1"),
        (
            (
                "0.0",
                ENDS + line("B", "[[0, -3], { arc_to_m = [0, 3], through_m = [2, 0] }]"),
                False,
            ),
            "line B is not straight",
        ),
        (("0.0", ENDS + line("B", "[[1, -2], [1, 2]]"), 0), "line B ends on the slab at 1.00,"),
        (
            ("0.0", line("A", "[[-2, -3], [2, 3]]") + line("B", "[[2, -3], [-1.9, 3]]"), 0),
            "line A and line B meet",
        ),
    ],
)
def test_what_is_no_strip(tmp_path: Path, parts: tuple[str, str, int], told: str) -> None:
    angle, lines, with_wall = parts
    plan, wall, traffic = turned(float(angle))
    deck = deck_of(tmp_path, SLAB, plan, lines, wall if with_wall else "", traffic)
    with pytest.raises(MethodRangeError, match=told):
        strip_deck(deck)


BENT = """
[plan]
outline_m = [[0, -4], { arc_to_m = [12, -6], through_m = [6, -4.6] }, [12, 2.6],
             { arc_to_m = [0, 4], through_m = [6, 3.6] }]
"""
AXIS = "carriageway_axis_m = [[0, 0], { arc_to_m = [12, -1.6], through_m = [6, -0.4] }]\n"


@pytest.fixture(scope="module")
def bent(tmp_path_factory: pytest.TempPathFactory) -> tuple[Deck, StripDeck]:
    """A slab along an arc with an oblique wall and an edge beam on its right."""
    deck = deck_of(
        tmp_path_factory.mktemp("bent"),
        SLAB,
        BENT,
        ENDS,
        line("W", "[[6, -4.6], [6.38462816, 3.55411698]]"),
        on('"E3"', "beam", BEAM),
        TRAFFIC,
        AXIS,
    )
    return deck, strip_deck(deck)


def test_along_an_arc(bent: tuple[Deck, StripDeck]) -> None:
    deck, strip = bent
    axis = deck.required_traffic.axis
    assert isinstance(axis, Axis)
    # Stations where the axis meets the lines, found on the circle's own chord form.
    for support, name in zip(strip.beam.supports, ("E4", "W", "E2"), strict=True):
        assert support.name == name
        a, b = deck.plan.lines[name].path[[0, -1]]
        x, y = axis.points(np.array(support.at))[0]
        gap = (b[0] - a[0]) * (y - a[1]) - (b[1] - a[1]) * (x - a[0])
        assert gap == pytest.approx(0.0, abs=1e-5)
    layout = strip.on_deck
    assert [layout.stiffening(edge) for edge in layout.edges] == [np.inf, 0.0]
    ends = np.array([[6.0, -4.6], [6.38462816, 3.55411698]])
    s, t = layout.coordinates(ends)
    assert_allclose(s, strip.beam.supports[1].at, atol=1e-9)
    assert_allclose(t, layout.t_range(strip.beam.supports[1].at), atol=1e-9)
    low, high = layout.to_edges(ends)
    assert_allclose([low[0], high[1]], 0.0, atol=1e-4)


@given(st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_coordinates_lead_back(bent: tuple[Deck, StripDeck], x: float, y: float) -> None:
    _, strip = bent
    plan = np.array([[12.0 * x, -6.0 + 10.0 * y]])
    layout = strip.on_deck
    s, t = layout.coordinates(plan)
    back: Floats = layout.points(s, t)
    assert_allclose(back, plan, atol=1e-9)


def test_t_is_the_offset_at_the_guide(bent: tuple[Deck, StripDeck]) -> None:
    """Close to the axis t is the offset from it, whatever the lines' skew: to the second order of
    the offset, by the curvature and the turn of the rulings."""
    deck, strip = bent
    axis = deck.required_traffic.axis
    assert axis is not None
    for s in (0.0, strip.beam.supports[1].at, strip.beam.supports[2].at):
        at, along = axis.points(np.array(s))
        place = at + 0.01 * np.array([-along[1], along[0]])
        _, t = strip.on_deck.coordinates(place[None])
        assert t[0] == pytest.approx(0.01, rel=0.02)
