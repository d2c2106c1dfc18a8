"""Hand strips under whole load models against trying positions one by one on a simple beam."""

from dataclasses import replace
from itertools import product
from pathlib import Path

import numpy as np
import pytest

from pipelines.deck.deck import Deck
from pipelines.standards.actions.loads import LaneKind, LaneSet, LoadModel
from pipelines.standards.actions.vehicles import library
from pipelines.standards.strip_widths.aashto import LRFD
from pipelines.standards.strip_widths.sets import FIRST_SET
from pipelines.strips.axle_widths import in_pieces
from pipelines.strips.clearances import centre_limits
from pipelines.strips.deck_strip import StripDeck, strip_deck
from pipelines.strips.lanes import LaneStrips
from pipelines.strips.load_models import model_moments, model_shears
from pipelines.strips.moments import StripMoment, strip_moments
from pipelines.strips.shears import strip_shears
from tests.pipelines.small_decks import SLAB, deck_of

SPAN = 3.0
ALONG = f"[plan]\nstations_m = [0.0, {SPAN}]\noffsets_m = [-4.0, 4.0]\n"
ACROSS = f"[plan]\nstations_m = [0.0, 20.0]\noffsets_m = [0.0, {SPAN}, 6.0]\n"
RIGID = '[[line]]\non = "{lines}"\nsupport = "rigid"\n'
TRAFFIC = "[traffic]\nsurfacing_mm = 0\nstep_m = 0.5\nlateral_step_m = 0.5\n"


def along(folder: Path, model: str, width: float) -> tuple[Deck, StripDeck, LoadModel]:
    """One span along traffic on rigid lines."""
    half = 0.5 * width
    more = f'carriageway_m = [{-half}, {half}]\nload_models = ["{model}"]\n'
    deck = deck_of(folder, SLAB, ALONG, RIGID, TRAFFIC + more, lines="C*")
    assert deck.traffic is not None
    return deck, strip_deck(deck), deck.traffic.load_models[0]


def bay(found: tuple[StripMoment, ...], strips: str) -> StripMoment:
    return next(one for one in found if one.strips == strips and one.at == "bay")


def ordinate(x: np.ndarray, section: float) -> np.ndarray:
    """Moment of a simple beam of SPAN at a section under a unit load at x."""
    inside = (x > 0.0) & (x < SPAN)
    value = np.minimum(x, section) * (SPAN - np.maximum(x, section)) / SPAN
    return np.where(inside, value, 0.0)


def under_patch(centre: np.ndarray, length: float, section: float) -> np.ndarray:
    """The same under a unit load spread over a length, by many points of it."""
    at = (np.arange(60) + 0.5) / 60 - 0.5
    return ordinate(centre[..., None] + length * at, section).mean(axis=-1)


STATIONS = np.arange(-1.0, 5.0, 0.02)
SECTIONS = np.linspace(0.9, 2.1, 25)


def test_one_lane_is_its_tandem_and_its_uniform_load(tmp_path: Path) -> None:
    deck, strip, model = along(tmp_path, "EN 1991-2 LM1", 5.0)
    found = bay(model_moments(LaneStrips(deck, strip, model)), LRFD)
    width = (26.0 + 6.6 * SPAN / 0.3048) * 0.0254
    worst = max(
        float(
            sum(300e3 * under_patch(STATIONS - a, 0.40 + 0.25, s) for a in (0.0, 1.2)).max() / width
        )
        + 9e3 * s * (SPAN - s) / 2.0
        for s in SECTIONS
    )
    assert found.value == pytest.approx(worst, rel=5e-4)
    assert found.value >= worst * (1.0 - 1e-6)
    assert found.width == pytest.approx(width, rel=1e-9)


def test_lanes_whose_widths_meet_share_a_strip(tmp_path: Path) -> None:
    deck, strip, model = along(tmp_path, "EN 1991-2 LM1", 7.0)
    found = bay(model_moments(LaneStrips(deck, strip, model)), "DAfStb Heft 240")
    # wheels from left to right as near as lanes may stand, their lanes and loads
    wheels = [(0.0, 0, 150e3), (2.0, 0, 150e3), (2.5, 1, 100e3), (4.5, 1, 100e3)]
    spread = 0.40 + 0.25
    worst = 0.0
    for section in SECTIONS:
        for first in range(4):
            for last in range(first, 4):
                extent = wheels[last][0] - wheels[first][0]
                lanes = []
                for lane in (0, 1):
                    load = sum(q for _, k, q in wheels[first : last + 1] if k == lane)
                    total = np.zeros(len(STATIONS))
                    for a in (0.0, 1.2):
                        x = np.clip(STATIONS - a, 0.0, SPAN)
                        cover = np.minimum(spread + 2.5 * x * (1 - x / SPAN) + extent, 8.0)
                        total += load * under_patch(STATIONS - a, spread, section) / cover
                    lanes.append(float(total.max()))
                pressure = 9e3 if first < 2 else 2.5e3
                worst = max(worst, sum(lanes) + pressure * section * (SPAN - section) / 2.0)
    assert found.value == pytest.approx(worst, rel=0.01)
    alone = bay(strip_moments(strip, model.kinds[0].vehicles[0]), "DAfStb Heft 240")
    assert found.value > 1.05 * (alone.value or 0.0)


def test_one_lane_without_pressure_is_the_vehicle_alone(tmp_path: Path) -> None:
    deck, strip, _ = along(tmp_path, "EN 1991-2 LM1", 7.0)
    tandem = library["EN 1991-2 LM2"]
    model = LoadModel(
        name="one",
        kinds=(LaneKind(name="lane", vehicles=(tandem,), factor=1.0, room=1.3),),
        sets=(LaneSet((0,)),),
    )
    lanes = LaneStrips(deck, strip, model)
    for one, alone in zip(model_moments(lanes), strip_moments(strip, tandem), strict=True):
        assert (one.strips, one.at, one.lines) == (alone.strips, alone.at, alone.lines)
        assert one.value == pytest.approx(alone.value, rel=1e-3)
    for two, single in zip(model_shears(lanes, 0.2), strip_shears(strip, tandem, 0.2), strict=True):
        assert two.value == pytest.approx(single.value, rel=1e-6)


def test_presence_and_impact_are_in_the_strip(tmp_path: Path) -> None:
    deck, strip, model = along(tmp_path, "AASHTO HL-93 axles", 5.0)
    found = bay(model_moments(LaneStrips(deck, strip, model)), LRFD)
    tandem = library["AASHTO HL-93 tandem"]
    truck = library["AASHTO HL-93 truck"]
    alone = max(bay(strip_moments(strip, v), LRFD).value or 0.0 for v in (tandem, truck))
    assert found.value == pytest.approx(1.2 * 1.33 * alone, rel=1e-3)


def test_all_lanes_stand_on_a_strip_across_traffic(tmp_path: Path) -> None:
    more = 'carriageway_m = [-1.6, 7.6]\nload_models = ["AASHTO HL-93 axles"]\n'
    deck = deck_of(tmp_path, SLAB, ACROSS, RIGID, TRAFFIC + more, lines="L*")
    assert deck.traffic is not None
    [model] = deck.traffic.load_models
    [kind] = model.kinds
    # the tandem alone, at most two lanes
    kind = replace(kind, vehicles=(replace(kind.vehicles[1], variable=None),))
    model = replace(model, kinds=(kind,))
    strip = strip_deck(deck, "across")
    found = model_moments(LaneStrips(deck, strip, model), FIRST_SET[:1])
    tandem = kind.vehicles[0]
    limits = centre_limits(deck, tandem)
    low, high = limits["forward"]
    offsets = np.arange(low, high, 0.2)
    # each position by itself through the strip of one vehicle whose offset is held there
    held = {}
    for y in offsets:
        only = {"forward": (float(y), float(y)), "reverse": (float(y), float(y))}
        held[float(y)] = strip_moments(strip, tandem, FIRST_SET[:1], limits=only)
    of_line = [k for k, one in enumerate(found) if one.lines == ("L2",)]
    for k in of_line:
        value = {y: one[k].value or 0.0 for y, one in held.items()}
        best = max(abs(v) for v in value.values()) * 1.2
        for a, b in product(value, repeat=2):
            if b - a >= 3.0 - 1e-9 and found[k].effect == "hogging":
                best = max(best, abs(value[a] + value[b]))
        assert abs(found[k].value or 0.0) >= best * (1.0 - 1e-3)
        if found[k].effect == "hogging":
            assert abs(found[k].value or 0.0) <= best * 1.03


def test_a_track_has_the_width_of_each_of_its_pieces(tmp_path: Path) -> None:
    """A track of 4.57 m on 3 m of span: half of it hanging over the line is not one load that
    stands on the line."""
    deck, strip, _ = along(tmp_path, "EN 1991-2 LM1", 7.0)
    track = library["IRC:6 70R tracked"]
    pieces = in_pieces(track)
    assert sum(axle.load for axle in pieces) == pytest.approx(sum(a.load for a in track.axles))
    assert max(axle.patch[0] for axle in pieces) <= 1.0
    low = min(axle.at - 0.5 * axle.patch[0] for axle in pieces)
    high = max(axle.at + 0.5 * axle.patch[0] for axle in pieces)
    assert high - low == pytest.approx(track.axles[0].patch[0])
    found = bay(strip_moments(strip, track), "IRC:112 annex B-3")
    # no worse than all of its load on the span, on the least width of a load at mid-span
    total = sum(axle.load for axle in track.axles)
    share = SPAN / track.axles[0].patch[0]
    at_middle = 2.8 * 1.5 * 0.5 + track.axles[0].patch[1]
    assert found.value is not None
    assert found.value < share * total * SPAN / 8.0 / at_middle
    assert deck.traffic is not None
