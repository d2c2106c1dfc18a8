"""Input within its bounds that cannot be meant: told with its key, value and what is allowed; and
what lies just on the other side of each limit, which is not told."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from ezdxf import units

from pipelines.deck.deck import Deck
from pipelines.deck.examples import FOLDER
from pipelines.deck.reading.deck_file import read_deck
from pipelines.errors import DeckError
from tests.pipelines.dxf_drawings import drawing, on
from tests.pipelines.small_decks import BEAMS, PLAN, SLAB, TRAFFIC, deck_of

WHOLE = SLAB + PLAN + BEAMS + TRAFFIC
LORRY = "{ at_m = 2.3, load_kN = 100, gauge_m = 1.8, patch_mm = [250, 400] }"

# What is changed in the small deck (beams of 250 mm at 3 m, 250 mm thick, 4 m wide), how the one
# mistake starts, and the change that is just allowed.
CASES: dict[str, tuple[str, str, str, str]] = {
    # I of 60 000 cm4 is 6e8 mm4; radius sqrt(6 m4 / 0.016 m2) = 19.4 m.
    "mm4 as cm4": (
        "I_cm4 = 60000",
        "I_cm4 = 6e8",
        "[[line]] 1, beam.I_cm4 = 600000000: the root of I/A is 19.4 m with A_cm2 = 160; allowed "
        "is 0.005 to 10 m; 6e+08 mm4 would be 60000 cm4",
        "I_cm4 = 1.5e8",  # sqrt(1.5 / 0.016) = 9.68 m
    ),
    # sqrt(6e-4 m4 / 160 m2) = 1.94 mm
    "no section is as small": (
        "A_cm2 = 160",
        "A_cm2 = 1600000",
        "[[line]] 1, beam.I_cm4 = 60000: the root of I/A is 0.00194 m with A_cm2 = 1.6e+06",
        "A_cm2 = 220000",  # sqrt(6e-4 / 22) = 5.2 mm
    ),
    "surfacing in m": (
        "surfacing_mm = 80",
        "surfacing_mm = 0.08",
        "[traffic] surfacing_mm = 0.08: allowed is 0, or 1 to 1000 mm (0.08 m would be 80 mm)",
        "surfacing_mm = 0",
    ),
    # Bays of 60 m on 250 mm: half a bay is 120 thicknesses; of 48 m 96, a warning alone.
    "a plan ten times too large": (
        "[0.0, 3.0, 6.0]",
        "[0.0, 60.0, 120.0]",
        "[plan]: the slab of 120.8 m by 4 m and 250 mm has a place about 29.",
        "[0.0, 48.0, 96.0]",
    ),
    # Flanges of 3.2 m at 3 m: half of both is 3.2 m; of 3 m they touch.
    "flanges": (
        "width_mm = 250",
        "width_mm = 3200",
        "[[line]] width_mm = 3200: C1 and C2 overlap: they are 3 m apart and half their widths are "
        "3.2 m together",
        "width_mm = 3000",
    ),
    "wheels of an axle": (
        "gauge_m = 1.8, patch_mm = [250, 400]",
        "wheels_m = [-0.9, 0.6, 0.9], patch_mm = [250, 400]",
        "[[vehicle]] 1, axles 2, patch_mm = [250, 400]: its wheels overlap each other: they are "
        "0.3 m apart and 0.4 m wide",
        "wheels_m = [-0.9, 0.5, 0.9], patch_mm = [250, 400]",
    ),
    "wheels of two axles": (
        LORRY,
        LORRY.replace("2.3", "0.2"),
        "[[vehicle]] 1, axles 2, patch_mm = [250, 400]: its wheels overlap those of axle 1: they "
        "are 0 m apart and 0.375 m wide",
        LORRY.replace("2.3", "0.25"),
    ),
    "wheels of two axles beside each other": (
        LORRY,
        LORRY.replace("2.3", "0.2").replace("gauge_m = 1.8", "gauge_m = 2.4"),
        "[[vehicle]] 1, axles 2, patch_mm = [250, 400]: its wheels overlap those of axle 1",
        LORRY.replace("2.3", "0.2").replace("gauge_m = 1.8", "gauge_m = 2.6"),  # 0.4 m apart
    ),
    "carriageway": (
        "[-1.9, 1.9]",
        "[-19, 19]",
        "[traffic] carriageway_m = [-19, 19]: 38 m wide on a slab of 4 m; allowed is 3 times the "
        "slab at most",
        "[-6, 6]",
    ),
    "a load model as a vehicle": (
        "step_m = 0.5",
        'step_m = 0.5\nvehicles = ["EN 1991-2 LM1"]',
        '[traffic] vehicles 1 = "EN 1991-2 LM1": is a load model, with all its lanes: name it in '
        "load_models",
        'step_m = 0.5\nload_models = ["EN 1991-2 LM1"]',
    ),
    "a vehicle as a load model": (
        "step_m = 0.5",
        'step_m = 0.5\nload_models = ["AASHTO HL-93 tandem"]',
        '[traffic] load_models 1 = "AASHTO HL-93 tandem": is a vehicle, which drives alone: name '
        "it in vehicles",
        'step_m = 0.5\nvehicles = ["AASHTO HL-93 tandem"]',
    ),
    "the file's own vehicle as a load model": (
        "step_m = 0.5",
        'step_m = 0.5\nload_models = ["lorry"]',
        '[traffic] load_models 1 = "lorry": is a vehicle, which drives alone: name it in vehicles',
        'step_m = 0.5\nvehicles = ["lorry"]',
    ),
    "impact on what is not there": (
        "step_m = 0.5",
        'step_m = 0.5\nload_models = ["EN 1991-2 LM2"]\nimpact = { "EN 1991-2 LM1" = 1.2 }',
        '[traffic] impact."EN 1991-2 LM1" = 1.2: no such vehicle in this traffic, the nearest '
        'known one is "EN 1991-2 LM2"',
        'step_m = 0.5\nload_models = ["EN 1991-2 LM2"]\nimpact = { "EN 1991-2 LM2" = 1.2 }',
    ),
}


@pytest.mark.parametrize("name", CASES)
def test_what_cannot_be_meant_is_told(tmp_path: Path, name: str) -> None:
    old, wrong, start, _ = CASES[name]
    assert WHOLE.count(old) == 1, old
    with pytest.raises(DeckError) as caught:
        deck_of(tmp_path, WHOLE.replace(old, wrong))
    assert [line[: len(start)] for line in caught.value.mistakes] == [start], caught.value


@pytest.mark.parametrize("name", CASES)
def test_what_is_just_allowed_is_read(tmp_path: Path, name: str) -> None:
    old, _, _, right = CASES[name]
    deck_of(tmp_path, WHOLE.replace(old, right))


SPANS: dict[str, tuple[str, str]] = {
    "usual": ("[0.0, 3.0, 6.0]", ""),  # half a span is 6 thicknesses
    "slender": ("[0.0, 19.0, 38.0]", ""),  # 38
    "too slender": ("[0.0, 24.0, 48.0]", "Check the unit of the plan, m, and the supports"),
    # 10.7 m, between the points of a wide lattice, which are 9.5 m off at most.
    "in one bay": ("[0.0, 6.0, 12.0, 18.0, 24.0, 30.0, 51.4, 57.4]", "more than slabs have"),
    # Overhangs of 0.2 m, bays of 0.3 m: nowhere 250 mm from a support.
    "a block": ("[0.0, 0.3, 0.6]", "and none farther: no plate"),
}


@pytest.mark.parametrize("name", SPANS)
def test_a_slab_unlike_others_is_a_warning(tmp_path: Path, name: str) -> None:
    stations, told = SPANS[name]
    plan = PLAN.replace("0.4", "0.2").replace("[0.0, 3.0, 6.0]", stations)
    narrow = BEAMS.replace("width_mm = 250", "width_mm = 50")
    warnings = deck_of(tmp_path, SLAB, plan, narrow).warnings
    assert [told in warning for warning in warnings] == ([True] if told else [])


DRAWN = """
[plan]
dxf = "plan.dxf"
dxf_layer = "SLAB"
dxf_unit = "{unit}"
[[line]]
on = ["E2", "E4"]
support = "rigid"
"""


@pytest.mark.parametrize(
    ("unit", "told"),
    [
        ("mm", ""),
        # 10 m by 5 m drawn in mm, supported along the short sides: 10 km by 5 km, or 100 m by 50 m
        ("m", "the slab of 1e+04 m by 5000 m and 250 mm has a place about 5000 m away"),
        ("cm", "the slab of 100 m by 50 m and 250 mm has a place about 50.0 m away"),
    ],
)
def test_a_drawing_in_the_wrong_unit(tmp_path: Path, unit: str, told: str) -> None:
    def rectangle(space: Any) -> None:
        corners = [(0, 0), (10e3, 0), (10e3, 5e3), (0, 5e3)]
        space.add_lwpolyline(corners, close=True, dxfattribs=on("SLAB"))

    drawing(tmp_path, rectangle, units.MM)
    read: Callable[[], Deck] = lambda: deck_of(tmp_path, SLAB, DRAWN, unit=unit)  # noqa: E731
    if not told:
        assert read().warnings == ()
        return
    with pytest.raises(DeckError) as caught:
        read()
    [line] = caught.value.mistakes
    assert told in line
    assert "dxf_unit of a drawing" in line


@pytest.mark.parametrize("path", sorted(FOLDER.glob("*.toml")), ids=lambda path: path.stem)
def test_the_packaged_decks_raise_no_eyebrow(path: Path) -> None:
    assert read_deck(path).warnings == ()
