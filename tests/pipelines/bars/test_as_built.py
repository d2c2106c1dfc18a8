"""Panels as built: depths from readings, what falls back to the drawing, what may still pass."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from pipelines.bars.checks.deviations import deviated, largest_deviation, measured_keys
from pipelines.deck.as_built import AsBuilt, as_built
from pipelines.deck.panels import Panels
from pipelines.deck.reading.survey_file import parse_survey
from pipelines.deck.survey import Key, PanelReadings
from pipelines.errors import DeckError
from pipelines.standards.materials import materials
from pipelines.standards.resistance.bars import DIRECTIONS, LAYERS, Bars, Layer, Mat, SlabBars
from pipelines.standards.resistance.bending import capacity, layer_section
from plate.geometry.plan import grid_plan

EN = materials("C35/45", "B500B", "EN 1992")
PANELS = Panels(grid_plan([0.0, 3.0], [-2.0, 2.0]))
HEADER = "panel,face,direction,diameter_mm,spacing_mm,cover_mm,outer,thickness_mm\n"
DRAWING = SlabBars(
    0.270,
    Mat(cover=0.055, x=Bars(0.012, 0.150), y=Bars(0.012, 0.150), outer="x"),
    Mat(cover=0.045, x=Bars(0.016, 0.125), y=Bars(0.016, 0.125), outer="x"),
)


def readings(rows: str) -> PanelReadings:
    return parse_survey(HEADER + rows, PANELS)["C1-C2"]


def use_of(bars: SlabBars, m_x: float = 110e3, m_y: float = 90e3) -> float:
    """Utilisation of the soffit in both directions."""
    resists = (float(capacity(layer_section(bars, ("bottom", e)), EN).m_Rd) for e in DIRECTIONS)
    return max(m / m_Rd for m, m_Rd in zip((m_x, m_y), resists, strict=True))


def used_of(bars: SlabBars) -> list[float]:
    return [use_of(bars)]


def depth_change(panel: AsBuilt, layer: Layer) -> float:
    """Effective depth as built less that of the drawing [m]."""
    return panel.bars.effective_depth(layer) - DRAWING.effective_depth(layer)


def test_readings_replace_the_drawing_and_the_rest_is_named() -> None:
    panel = as_built(
        DRAWING, readings("C1-C2,bottom,x,,131,,,\nC1-C2,bottom,,,,50,x,\nC1-C2,,,,,,,266\n")
    )
    assert_allclose(panel.bars.effective_depth(("bottom", "x")), 0.266 - 0.050 - 0.008, rtol=1e-9)
    assert_allclose(panel.bars.bottom.x.spacing, 0.131)
    assert panel.bars.bottom.y == DRAWING.bottom.y
    assert panel.bars.top == DRAWING.top
    assert "spacing, bottom, bars along x" not in panel.from_drawing
    assert "cover, bottom" not in panel.from_drawing
    for named in ("diameter, bottom, bars along x", "cover, top", "layer order, top"):
        assert named in panel.from_drawing
    assert_allclose(depth_change(panel, ("top", "x")), -0.004, rtol=1e-9)


def test_nothing_read_is_the_drawing() -> None:
    panel = as_built(DRAWING, PanelReadings(panel="C1-C2", readings={}, outer={}))
    assert panel.bars == DRAWING
    told = [key for key in measured_keys(DRAWING) if key.quantity != "area loss"]
    assert len(panel.from_drawing) == len(told) + 2  # and the order at each face
    assert panel.cores is None
    assert panel.least_cover == {"top": 0.055, "bottom": 0.045}


def test_worst_reading_or_mean() -> None:
    rows = "C1-C2,bottom,x,,120,,,\nC1-C2,bottom,x,,140,,,\nC1-C2,,,,,,,264\nC1-C2,,,,,,,272\n"
    mean, worst = (as_built(DRAWING, readings(rows), w) for w in ("mean", "worst"))  # type: ignore[arg-type]
    assert_allclose([mean.bars.bottom.x.spacing, worst.bars.bottom.x.spacing], [0.130, 0.140])
    assert_allclose([mean.bars.thickness, worst.bars.thickness], [0.268, 0.264])


def test_swapped_layers_move_both_depths() -> None:
    panel = as_built(DRAWING, readings("C1-C2,bottom,,,,,y,\n"))
    changes = [depth_change(panel, ("bottom", e)) for e in DIRECTIONS]
    assert_allclose(changes, [-0.016, 0.016], rtol=1e-9)


def test_cover_read_to_each_direction_gives_order_and_gap() -> None:
    # to y 47, to x 68: y outermost, 5 mm between the layers beyond the bar of 16
    panel = as_built(DRAWING, readings("C1-C2,bottom,y,,,47,,\nC1-C2,bottom,x,,,68,,\n"))
    assert panel.bars.bottom.outer == "y"
    assert_allclose(panel.bars.bottom.gap, 0.005, rtol=1e-9)
    assert_allclose(panel.bars.effective_depth(("bottom", "x")), 0.270 - 0.068 - 0.008, rtol=1e-9)
    assert "layer order, bottom" not in panel.from_drawing
    # less than the bar between them is scatter: the bars touch
    touching = as_built(DRAWING, readings("C1-C2,bottom,y,,,47,,\nC1-C2,bottom,x,,,60,,\n"))
    assert touching.bars.bottom.gap == 0
    assert_allclose(
        touching.bars.effective_depth(("bottom", "x")), 0.270 - 0.047 - 0.016 - 0.008, rtol=1e-9
    )


def test_cover_read_to_the_inner_layer_only() -> None:
    panel = as_built(DRAWING, readings("C1-C2,bottom,y,,,63,,\n"))
    assert_allclose(panel.bars.bottom.cover, 0.063 - 0.016, rtol=1e-9)
    assert_allclose(panel.bars.effective_depth(("bottom", "y")), 0.270 - 0.063 - 0.008, rtol=1e-9)
    assert "cover, bottom" not in panel.from_drawing
    assert "layer order, bottom" in panel.from_drawing


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        ("C1-C2,bottom,y,,,47,x,\nC1-C2,bottom,x,,,68,,\n", "outer x contradicts the covers"),
        ("C1-C2,bottom,y,,,10,,\n", "must be positive and gap"),
        ("C1-C2,,,,,,,120\nC1-C2,bottom,,,,60,,\n", "more than the thickness 120 mm"),
        ("C1-C2,bottom,x,40,30,,,\n", "less than the spacing"),
    ],
)
def test_readings_that_contradict(rows: str, message: str) -> None:
    with pytest.raises(DeckError, match=message):
        as_built(DRAWING, readings(rows))


def test_two_panels_fail_for_different_reasons() -> None:
    """One by spacing, one by swapped layers; the drawing itself passes."""
    assert use_of(DRAWING) < 1
    wide = as_built(DRAWING, readings("C1-C2,bottom,x,,165,,,\n")).bars
    swapped = as_built(DRAWING, readings("C1-C2,bottom,,,,,y,\n")).bars
    m_x = 130e3
    assert use_of(DRAWING, m_x) < 1 < min(use_of(wide, m_x), use_of(swapped, m_x))


@pytest.mark.parametrize("key", measured_keys(DRAWING), ids=str)
def test_largest_deviation_passes_and_a_little_more_fails(key: Key) -> None:
    sign = {"thickness": -1, "diameter": -1}.get(key.quantity, 1)
    found, _ = largest_deviation(DRAWING, key, used_of, limit=0.09, tolerance=1e-6)
    assert found >= 0
    assert use_of(deviated(DRAWING, key, sign * found)) <= 1
    if key.quantity == "area loss" and key.face == "bottom":
        assert found == 0.09
        found, _ = largest_deviation(DRAWING, key, used_of, limit=1.0, tolerance=1e-6)
        assert 0.09 < found < 1.0
        assert use_of(deviated(DRAWING, key, found + 1e-4)) > 1
    elif key.face == "top":  # the soffit does not feel it
        # as far as asked, or until no bar is left
        assert_allclose(found, 0.012 if key.quantity == "diameter" else 0.09, atol=2e-6)
    else:
        assert 0 < found < 0.09
        assert use_of(deviated(DRAWING, key, sign * (found + 1e-4))) > 1


def test_largest_spacing_by_hand() -> None:
    """Utilisation 1 needs A_s = a f_cd/f_yd with a = d - sqrt(d^2 - 2 m/f_cd), d = 217 mm."""
    m = 110e3
    d, f_cd = 0.217, EN.f_cd
    area = (d - np.sqrt(d**2 - 2 * m / f_cd)) * f_cd / EN.f_yd
    spacing = np.pi * 0.016**2 / 4 / area
    found, _ = largest_deviation(
        DRAWING, Key("spacing", "bottom", "x"), lambda b: [use_of(b, m, 0.0)], 0.2, 1e-7
    )
    assert_allclose(found, spacing - 0.125, atol=1e-6)


def test_a_panel_that_fails_says_how_much_better_it_would_have_to_be() -> None:
    def use(bars: SlabBars) -> float:
        return use_of(bars, 145e3, 0.0)

    def used(bars: SlabBars) -> list[float]:
        return [use(bars)]

    assert use(DRAWING) > 1
    for key, sign in ((Key("spacing", "bottom", "x"), -1), (Key("thickness"), 1)):
        found, _ = largest_deviation(DRAWING, key, used, limit=0.1, tolerance=1e-6)
        assert -0.1 < found < 0
        assert use(deviated(DRAWING, key, sign * -found)) <= 1
        assert use(deviated(DRAWING, key, sign * (-found - 1e-4))) > 1
    # closer than the bars allow cannot be built: the search stops before that
    wide, _ = largest_deviation(DRAWING, Key("spacing", "bottom", "x"), used, 0.3, 1e-6)
    near, _ = largest_deviation(DRAWING, Key("spacing", "bottom", "x"), used, 0.1, 1e-6)
    assert_allclose(wide, near, atol=2e-6)
    # bars at the top do not help, and no cover that can be built is enough for far more moment
    assert largest_deviation(DRAWING, Key("spacing", "top", "x"), used, 0.1)[0] == -np.inf
    hopeless, _ = largest_deviation(
        DRAWING, Key("cover", "bottom"), lambda b: [use_of(b, 400e3)], limit=0.1
    )
    assert hopeless == -np.inf


@settings(max_examples=30, deadline=None)
@given(thickness=st.floats(250, 290), cover=st.floats(30, 70), spacing=st.floats(90, 200))
def test_depth_follows_the_readings(thickness: float, cover: float, spacing: float) -> None:
    rows = f"C1-C2,,,,,,,{thickness}\nC1-C2,bottom,,,,{cover},x,\nC1-C2,bottom,x,,{spacing},,,\n"
    bars = as_built(DRAWING, readings(rows)).bars
    layer: Layer = ("bottom", "x")
    assert_allclose(bars.effective_depth(layer) * 1e3, thickness - cover - 8, rtol=1e-9)
    assert_allclose(bars.bars(layer).area, np.pi * 0.016**2 / 4 / (spacing / 1e3), rtol=1e-9)


def test_readings_of_added_bars_belong_to_their_mark() -> None:
    """Between 16@125 at the bottom along x: A 12@125, B 10@250. Of the mat 130 mm is read, of A 11
    mm: the gaps of B are wider with the mat's, 260 mm; where only A lies B does not count."""
    sets = [Bars(0.012, 0.125, mark="A"), Bars(0.010, 0.250, place=0.25, mark="B")]
    layer: Layer = ("bottom", "x")
    text = "panel,face,direction,mark,diameter_mm,spacing_mm\n"
    text += "C1-C2,bottom,x,,,130\nC1-C2,,,A,11,\n"
    read = parse_survey(text, PANELS, added={"A": layer, "B": layer})["C1-C2"]
    panel = as_built(DRAWING, read, added=[(layer, one) for one in sets])
    steel = np.pi / 4 * np.array([16.0**2 / 130, 11.0**2 / 130, 10.0**2 / 260])
    for marks, counts in (((), [1, 0, 0]), (("A",), [1, 1, 0]), (("A", "B"), [1, 1, 1])):
        part = panel.where(marks, "part")
        assert 1e3 * part.bars.bars(layer).area == pytest.approx(steel @ counts, rel=1e-12)
        told = [words for words in part.from_drawing if "added" in words]
        assert any("added bars A" in words for words in told) == ("A" in marks)
    assert "diameter, bottom, bars along x, added bars A" not in told
    assert "spacing, bottom, bars along x, added bars A" in told
    # deviations of the mat's spacing take what is added along, its own leave the mat's alone
    whole = panel.where(("A", "B"), "part").bars
    wider = deviated(whole, Key("spacing", *layer), 0.013)
    assert wider.bars(layer).area == pytest.approx(whole.bars(layer).area / 1.1, rel=1e-12)
    thinner = deviated(whole, Key("diameter", *layer, "B"), -0.010 + 1e-6)
    assert 1e3 * thinner.bars(layer).area == pytest.approx(steel[:2].sum(), rel=1e-6)
    assert len(measured_keys(whole)) == 1 + 2 + 3 * (len(LAYERS) + 2)


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("C1-C2,,,C,12,,", "mark 'C' is of no .* A"),
        ("C1-C2,top,,A,12,,", "face 'top': A lies in bottom, bars along x"),
        ("C1-C2,,,A,,,40", "cover_mm is of no single bars"),
    ],
)
def test_mistakes_in_marks(row: str, words: str) -> None:
    text = f"panel,face,direction,mark,diameter_mm,spacing_mm,cover_mm\n{row}\n"
    with pytest.raises(DeckError, match=words):
        parse_survey(text, PANELS, added={"A": ("bottom", "x")})


def test_every_layer_has_its_keys() -> None:
    keys = measured_keys(DRAWING)
    assert len(keys) == len(set(keys)) == 1 + 2 + 3 * len(LAYERS)


def test_cover_between_two_checks() -> None:
    """Of two checks that want more and less cover, 20 mm and at most 40 mm: from 15 mm it is 5 mm
    to where both pass, and nothing where the second asks for less than the first."""
    thin = DRAWING.with_mat("bottom", replace(DRAWING.bottom, cover=0.015))

    def found(most: float) -> float:
        def used(bars: SlabBars) -> list[float]:
            return [0.020 / bars.bottom.cover, bars.bottom.cover / most]

        key = Key("cover", "bottom")
        return largest_deviation(thin, key, used, 0.135, 1e-6, more=False)[0]

    assert_allclose(found(0.040), -0.005, atol=2e-6)
    assert found(0.019) == -np.inf


def test_deviations_need_a_place() -> None:
    with pytest.raises(ValueError, match="cover needs a face"):
        deviated(DRAWING, Key("cover"), 0.01)
    with pytest.raises(ValueError, match="spacing needs a direction"):
        deviated(DRAWING, Key("spacing", "top"), 0.01)
