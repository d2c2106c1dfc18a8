"""The part of the report that is looked at by hand, used in a real browser."""

import json
import re
import zlib
from base64 import b64decode
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from pipelines.analysis.analyse import analyse
from pipelines.analysis.result import Result
from pipelines.envelopes.peaks import SHEARS
from pipelines.envelopes.picked_surfaces import picked_surfaces
from pipelines.report.explorer.arrays import pack
from pipelines.report.explorer.page import STEPS, axis_pieces, explorer
from pipelines.units import RESULT_SCALE
from plate.loads.loads import patch_loads
from tests.browser import Browser, browser_program
from tests.pipelines.report_page import report_page
from tests.pipelines.small_decks import BEAMS, MESH, PLAN, PROBES, SLAB, TRAFFIC, deck_of

SECOND = """
[[vehicle]]
name = "cart"
axles = [{ at_m = 0.0, load_kN = 90, gauge_m = 1.2, patch_mm = [200, 200] }]
"""
PLANS = {
    "straight": PLAN,
    "skew": PLAN.replace("overhang_m", "skew_deg = 25\noverhang_m"),
    "curved": PLAN.replace("overhang_m", "radius_m = -20\noverhang_m"),
}


def part(result: Result) -> str:
    """The part of the page with its data."""
    envelope = None if result.leading is None else result.leading.envelope
    surfaces = picked_surfaces(result.solved, envelope, result.governing)
    [one] = explorer(result, surfaces)
    return one.html


def result_of(folder: Path, plan: str, *, tolerances_wanted: bool = True) -> Result:
    deck = deck_of(folder, SLAB, PLANS[plan], BEAMS, TRAFFIC, SECOND, PROBES, MESH)
    return analyse(deck, tolerances_wanted=tolerances_wanted)


@pytest.fixture(scope="module")
def result(tmp_path_factory: pytest.TempPathFactory) -> Result:
    return result_of(tmp_path_factory.mktemp("deck"), "straight", tolerances_wanted=False)


def unpack(text: str, kind: type[np.integer[Any]]) -> np.ndarray[Any, Any]:
    planes = np.frombuffer(zlib.decompress(b64decode(text), -15), dtype=np.uint8)
    size = np.dtype(kind).itemsize
    steps = np.ascontiguousarray(planes.reshape(size, -1).T).view(kind).ravel()
    return np.cumsum(steps, dtype=kind)


@pytest.mark.parametrize("kind", [np.uint8, np.int16, np.uint16, np.uint32, np.int32])
def test_arrays_come_back_exactly(kind: type[np.integer[Any]]) -> None:
    about = np.iinfo(kind)
    values = np.random.default_rng(3).integers(about.min, about.max, 500, kind, endpoint=True)
    np.testing.assert_array_equal(unpack(pack(values), kind), values)


def test_fields_are_those_of_the_envelope(result: Result) -> None:
    found = re.search(r'id="explorer-data">(.*?)</script>', part(result), re.DOTALL)
    assert found is not None
    data = json.loads(found.group(1))
    names = [load["name"] for load in data["loads"]]
    assert names == ["lorry", "cart", "weight"]
    assert result.alone is not None
    xy = result.solved.recovery.points.xy
    order = np.lexsort((xy[:, 1], np.round(xy[:, 0], 3)))
    x = data["low"][0] + data["step"] * unpack(data["x"], np.uint16)
    np.testing.assert_allclose(x, xy[order, 0], atol=data["step"])
    clear = unpack(data["clear"], np.uint8)
    for load in data["loads"][:2]:
        e = result.alone.envelope.of_vehicles[load["name"]].extremes
        for k, field in enumerate(load["fields"]):
            one = field["max"]
            shown = unpack(one["v"], np.int16) * (one["top"] / STEPS)
            true = e.maximum[k, order] * RESULT_SCALE[k]
            # Half a step of the packing; what is not to be read may be cut off.
            read = clear >= (2 if k > 3 else 1 if k > 0 else 0)
            np.testing.assert_allclose(shown[read], true[read], atol=0.51 * one["top"] / STEPS)
    stations = np.concatenate([unpack(r["stations"], np.int32) for r in data["loads"][1]["runs"]])
    at = unpack(data["loads"][1]["fields"][1]["max"]["at"], np.uint32)
    k = int(result.alone.envelope.of_vehicles["cart"].extremes.maximum[1, order].argmax())
    number = int(result.alone.envelope.of_vehicles["cart"].extremes.at_maximum[1, order][k])
    position = result.alone.envelope.position(number).single
    assert position is not None
    # packed to a tenth of a millimetre
    assert stations[at[k] - 1] * 1e-4 == pytest.approx(position.station, abs=0.51e-4)


def test_pieces_of_an_axis_lead_along_it(tmp_path: Path) -> None:
    """What the page draws wheels by, redone here: on each piece the chord of its turn so far, at
    half of that from its heading at its start."""
    deck = deck_of(
        tmp_path,
        SLAB,
        "[plan]\noutline_m = [[0, -8], [12, -8], [12, 4], [0, 4]]\n",
        '[[line]]\non = ["E2", "E4"]\nsupport = "rigid"\n',
        '[traffic]\ncarriageway_m = [-3, 3]\nvehicles = ["EN 1991-2 LM2"]\n'
        "carriageway_axis_m = [[-2, 0], [3, 0], "
        "{ arc_to_m = [8.5, -1.47372056], through_m = [5.8470095, -0.37481591] }]\n",
    )
    axis = deck.required_traffic.axis
    assert axis is not None
    pieces = axis_pieces(deck)
    assert pieces is not None
    for s in (-3.0, 0.0, 4.2, 6.0, 8.5, 11.4, 20.0):
        s0, x, y, heading, bend, turned = [p for p in pieces if p[0] <= s or p is pieces[0]][-1]
        turn = bend * (s - s0)
        chord = (s - s0) * (np.sinc(turn / (2.0 * np.pi)))
        place = [x + chord * np.cos(heading + turn / 2), y + chord * np.sin(heading + turn / 2)]
        at, along = axis.points(np.array(s))
        np.testing.assert_allclose(place, at, atol=1e-9)
        now = [np.cos(heading + turn), np.sin(heading + turn)]
        np.testing.assert_allclose(now, along, atol=1e-9)
        # what the axis has turned up to there, by which lengths beside it differ
        assert turned + turn == pytest.approx(np.interp(s, axis.knots, [0.0, 0.0, pieces[-1][5]]))


def test_influence_surfaces_are_what_a_load_there_makes(result: Result) -> None:
    """A square of 1 kN put on and solved, against what reciprocity tells."""
    found = re.search(r'id="explorer-data">(.*?)</script>', part(result), re.DOTALL)
    assert found is not None
    influence = json.loads(found.group(1))["influence"]
    solved = result.solved
    points, model = solved.recovery.points, solved.model
    order = np.lexsort((points.xy[:, 1], np.round(points.xy[:, 0], 3)))
    shares = unpack(influence["ordinates"], np.int16).reshape(-1, len(order)) / influence["steps"]
    assert len(shares) == len(influence["surfaces"])
    assert {one["component"] for one in influence["surfaces"]} == set(range(6))
    rng = np.random.default_rng(2)
    interior = np.flatnonzero(np.all(np.abs(points.plan[order] - [3.0, 0.0]) < [3.0, 1.8], axis=1))
    loaded = rng.choice(interior, 4, replace=False)
    half = 0.5 * result.deck.slab.thickness
    square = half * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    corners = points.plan[order[loaded]][:, None] + square
    F = patch_loads(model.mesh, corners, np.full(4, 1e3), np.arange(4), 4)
    fields = solved.recovery.fields(solved.stiffness.solve(F))
    for share, one in zip(shares, influence["surfaces"], strict=True):
        pick = order[influence["picks"][one["pick"]]["point"]]
        true = fields[one["component"], pick] * RESULT_SCALE[one["component"]]
        # Half a step of the packing, and two solutions' rounding.
        atol = one["top"] * (0.501 / influence["steps"]) + 1e-9
        np.testing.assert_allclose(one["top"] * share[loaded], true, rtol=0, atol=atol)
    governing = [one for one in influence["surfaces"] if "wheels" in one]
    assert len(governing) == sum(row.position is not None for row in result.governing)
    for one in governing:
        wheels = one["wheels"]
        total = np.dot(wheels["loads"], wheels["ordinates"])
        if one["component"] in SHEARS:
            # those at the edges of wheels are larger than at their field points
            assert 0.75 < total / wheels["value"] < 1.0 + 1e-6
        else:
            assert total == pytest.approx(wheels["value"], rel=1e-6, abs=1e-6)


PROGRAM = browser_program()


@pytest.fixture(scope="module", params=[*PLANS])
def page(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[tuple[Browser, Result]]:
    if PROGRAM is None:
        pytest.skip("no browser on this machine")
    folder = tmp_path_factory.mktemp("page")
    result = result_of(folder, request.param)
    (folder / "report.html").write_text(report_page(result), encoding="utf-8")
    with Browser(PROGRAM) as browser:
        browser.open(folder / "report.html")
        browser.wait("document.getElementById('explorer').dataset.ready")
        yield browser, result
        assert browser.errors == []
        assert [url for url in browser.requests if not url.startswith("file:///")] == []
        assert len(browser.requests) == 1


def said(browser: Browser) -> str:
    return str(browser.run("document.getElementById('x-say').textContent"))


def choose(browser: Browser, name: str, value: object) -> None:
    browser.run(
        f"(() => {{ const e = document.getElementById('{name}'); e.value = '{value}'; "
        "for (const kind of ['input', 'change']) e.dispatchEvent(new Event(kind)); })()"
    )


def value_of(browser: Browser, name: str) -> float:
    return float(browser.run(f"document.getElementById('{name}').value"))


def middle(browser: Browser, query: str) -> tuple[float, float]:
    """Middle of an element in the window, once it is scrolled there."""
    box = browser.run(
        f"(() => {{ const e = document.querySelector('{query}'); "
        "e.scrollIntoView({block: 'center'}); const b = e.getBoundingClientRect(); "
        "return [b.left + b.width / 2, b.top + b.height / 2]; })()"
    )
    return float(box[0]), float(box[1])


@pytest.mark.soak
def test_every_control_does_its_work(page: tuple[Browser, Result], tmp_path: Path) -> None:
    browser, result = page
    peaks = [p for p in result.governing if p.position is not None]
    # It opens at the largest m_x, and tells what the tables tell.
    first = next(p for p in peaks if (p.result, p.extreme) == ("m_x", "max"))
    assert f"m_x max = {first.value:.3g} kNm/m" in said(browser)
    assert first.position is not None
    assert first.position.single is not None
    assert first.position.single.vehicle in said(browser)
    # Every governing value can be gone to; its value, place and vehicle are told.
    for k, peak in enumerate(peaks):
        choose(browser, "x-peak", k)
        words = said(browser)
        assert words.startswith(f"{peak.result} {peak.extreme} = "), words
        shown = float(words.split(" = ")[1].split()[0].replace("\u2212", "-"))
        # Three figures, and the packing.
        assert shown == pytest.approx(peak.value, rel=6e-3, abs=2e-3)
        assert browser.run("document.querySelectorAll('#x-wheels path').length") > 2
    gone_to = "document.getElementById('x-peak').value"
    assert browser.run(gone_to) == str(len(peaks) - 1)
    # Load, result and extreme change the picture and the words.
    pictures = set()
    look = "document.getElementById('x-canvas').toDataURL()"
    for k in range(browser.run("document.getElementById('x-load').options.length")):
        choose(browser, "x-load", k)
        pictures.add(browser.run(look))
    assert len(pictures) == 5
    choose(browser, "x-load", 3)
    assert browser.run("document.getElementById('x-extremes').disabled")
    choose(browser, "x-load", 0)
    browser.run("document.querySelector('input[name=x-extreme][value=max]').click()")
    pictures.clear()
    for k, key in enumerate(("w", "m_x", "m_y", "m_xy", "q_x", "q_y")):
        choose(browser, "x-component", k)
        assert said(browser).startswith(f"{key} ")
        pictures.add(browser.run(look))
        browser.run("document.querySelector('input[name=x-extreme][value=min]').click()")
        assert said(browser).startswith(f"{key} min")
        pictures.add(browser.run(look))
        browser.run("document.querySelector('input[name=x-extreme][value=max]').click()")
    assert len(pictures) == 12
    # The point follows the pointer unless it is held; a click holds it.
    choose(browser, "x-component", 1)
    x, y = middle(browser, "#x-over")
    pressed = "document.getElementById('x-hold').getAttribute('aria-pressed')"
    if browser.run(pressed) == "true":
        browser.run("document.getElementById('x-hold').click()")
    before = said(browser)
    browser.mouse("mouseMoved", x - 60, y + 25)
    moved = said(browser)
    assert moved != before
    browser.click(x - 60, y + 25)
    assert browser.run(pressed) == "true"
    browser.mouse("mouseMoved", x + 30, y)
    assert said(browser) == moved
    # "Go to" names a governing value only while it is shown.
    assert browser.run(gone_to) == ""
    # Keys.
    browser.run("document.getElementById('x-over').focus({preventScroll: true})")
    start = value_of(browser, "x-station")
    browser.key("ArrowRight")
    assert value_of(browser, "x-station") == pytest.approx(start + 0.1, abs=0.011)
    browser.key("ArrowLeft", shift=True)
    assert value_of(browser, "x-station") == pytest.approx(start - 0.9, abs=0.011)
    browser.key("Enter")
    assert browser.run(pressed) == "false"
    # Numbers.
    choose(browser, "x-station", 1.5)
    choose(browser, "x-offset", 0.2)
    assert " at 1." in said(browser)
    choose(browser, "x-offset", 50)
    assert "outside the slab" in said(browser)
    choose(browser, "x-offset", 0.2)
    browser.run("document.getElementById('x-station').focus()")
    choose(browser, "x-station", "")
    browser.run("document.getElementById('x-station').blur()")
    assert value_of(browser, "x-station") == 1.5
    # Sections: through the point, by numbers, by key and by pointer.
    curve = "document.querySelector('#x-profile .curve').getAttribute('d')"
    seen = [browser.run(curve)]
    for step in (
        lambda: browser.run("document.getElementById('x-across').click()"),
        lambda: browser.run("document.getElementById('x-along').click()"),
        lambda: choose(browser, "x-a1", -0.6),
    ):
        step()
        seen.append(browser.run(curve))
    browser.run("document.querySelectorAll('.handle')[1].focus({preventScroll: true})")
    old = value_of(browser, "x-b1")
    browser.key("ArrowDown", shift=True)
    assert value_of(browser, "x-b1") == pytest.approx(old + 1.0, abs=0.011)
    seen.append(browser.run(curve))
    x, y = middle(browser, ".handle")
    browser.mouse("mouseMoved", x, y)
    browser.mouse("mousePressed", x, y, pressed=True)
    browser.mouse("mouseMoved", x + 40, y + 15, pressed=True)
    browser.mouse("mouseReleased", x + 40, y + 15)
    seen.append(browser.run(curve))
    assert len(set(seen)) == len(seen) - (seen[0] == seen[2])
    assert browser.run("document.querySelectorAll('#x-samples tr').length") == 21
    browser.picture(tmp_path / "page.png")
    assert (tmp_path / "page.png").stat().st_size > 10_000


def overlaps(browser: Browser) -> int:
    """Numbers below the bar of colours that touch the next one."""
    return int(
        browser.run(
            "(() => { const boxes = [...document.querySelectorAll('#x-bar span')]"
            ".filter(s => s.textContent).map(s => { const r = document.createRange(); "
            "r.selectNodeContents(s); return r.getBoundingClientRect(); }); "
            "return boxes.filter((b, k) => k && b.left < boxes[k - 1].right + 1).length; })()"
        )
    )


@pytest.mark.soak
def test_numbers_of_the_bar_stand_beside_each_other(page: tuple[Browser, Result]) -> None:
    browser, _ = page
    last = browser.run("document.getElementById('x-load').options.length") - 1
    for load in (0, last):
        choose(browser, "x-load", load)
        for component in range(6):
            choose(browser, "x-component", component)
            numbers = "[...document.querySelectorAll('#x-bar span')].filter(s => s.textContent)"
            assert browser.run(f"{numbers}.length") > 3
            assert overlaps(browser) == 0


def test_without_scripts_no_empty_controls_are_shown(result: Result) -> None:
    html = part(result)
    used = html.index('<div id="x-used" hidden>')
    controls = [found.start() for found in re.finditer("<(form|select|input|button|svg)", html)]
    assert controls
    assert used < min(controls)
    assert html.index("</noscript>") < used


@pytest.mark.soak
def test_an_influence_surface_of_a_picked_point(page: tuple[Browser, Result]) -> None:
    browser, result = page
    peaks = [p for p in result.governing if p.position is not None]
    last = browser.run("document.getElementById('x-load').options.length") - 1
    choose(browser, "x-load", last)
    k = next(k for k, p in enumerate(peaks) if (p.result, p.extreme) == ("m_y", "max"))
    choose(browser, "x-peak", k)
    words = said(browser)
    assert words.startswith("Influence of 1 kN on m_y at ")
    assert "kNm/m per kN: largest" in words
    # Wheel by wheel the ordinates make the governing value.
    rows = browser.run(
        "[...document.querySelectorAll('#x-table tr')].map(r => [...r.children].map(c => "
        "c.textContent))"
    )
    assert [row[0] for row in rows[-2:]] == ["sum", "envelope"]
    assert rows[-1][-1] == rows[-2][-1] == f"{peaks[k].value:.3g}"
    parts = [float(row[-1].replace("\u2212", "-")) for row in rows[:-2]]
    assert sum(parts) == pytest.approx(peaks[k].value, rel=0.01)
    # Every dot can be reached by keys, and another point has another surface and section.
    look = "document.getElementById('x-canvas').toDataURL()"
    curve = "document.querySelector('#x-profile .curve').getAttribute('d')"
    assert browser.run("document.querySelectorAll('#x-dots circle').length") > 20
    browser.run("document.getElementById('x-over').focus({preventScroll: true})")
    seen = {(browser.run(look), browser.run(curve))}
    for key in ("ArrowLeft", "ArrowUp", "ArrowLeft", "ArrowDown", "ArrowRight"):
        browser.key(key)
        assert said(browser).startswith("Influence of 1 kN on m_y at ")
        seen.add((browser.run(look), browser.run(curve)))
    assert len(seen) >= 3
    # Pointing and clicking.
    browser.run("document.getElementById('x-hold').click()")
    x, y = middle(browser, "#x-over")
    before = said(browser)
    browser.mouse("mouseMoved", x - 150, y + 20)
    browser.click(x + 120, y - 10)
    assert said(browser) != before
    browser.run("document.getElementById('x-across').click()")
    label = str(browser.run("document.getElementById('x-profile').getAttribute('aria-label')"))
    assert "kNm/m per kN" in label
    assert "influence" in browser.run("document.getElementById('x-profile').textContent")
    for component, unit in ((0, "mm per kN"), (4, "kN/m per kN")):
        choose(browser, "x-component", component)
        assert unit in said(browser)
    choose(browser, "x-load", 0)
    assert browser.run("document.getElementById('x-influence').hidden")
    assert browser.run("document.querySelectorAll('#x-dots circle').length") == 0


@pytest.mark.soak
def test_a_section_shows_the_peak_that_it_passes_through(page: tuple[Browser, Result]) -> None:
    browser, result = page
    peaks = [p for p in result.governing if p.position is not None]
    k = next(k for k, p in enumerate(peaks) if (p.result, p.extreme) == ("w", "max"))
    choose(browser, "x-peak", k)
    browser.run("document.getElementById('x-along').click()")
    words = str(browser.run("document.getElementById('x-profile').getAttribute('aria-label')"))
    shown = float(words.split(" to ")[-1].split()[0])
    # The section is read at 401 points between which the peak may lie.
    assert shown == pytest.approx(peaks[k].value, rel=0.01)


@pytest.mark.soak
@pytest.mark.parametrize("width", [360, 420, 768])
def test_a_narrow_page_is_not_scrolled_sideways(page: tuple[Browser, Result], width: int) -> None:
    browser, _ = page
    browser.call(
        "Emulation.setDeviceMetricsOverride",
        width=width,
        height=900,
        deviceScaleFactor=1,
        mobile=True,
    )
    try:
        browser.run("dispatchEvent(new Event('resize'))")
        assert browser.run("document.documentElement.scrollWidth") <= width
    finally:
        browser.call("Emulation.clearDeviceMetricsOverride")


ACCESS = """(() => {
  const all = (query) => [...document.querySelectorAll(query)];
  const light = (c) => c.map((v) => v / 255).map((v) => (v <= 0.04045 ? v / 12.92
    : ((v + 0.055) / 1.055) ** 2.4)).reduce((t, v, k) => t + v * [0.2126, 0.7152, 0.0722][k], 0);
  const rgb = (text) => text.match(/[\\d.]+/g).map(Number);
  const ground = (e) => {
    for (; e; e = e.parentElement) {
      const c = rgb(getComputedStyle(e).backgroundColor);
      if (c.length < 4 || c[3] > 0) return c.slice(0, 3);
    }
    return [255, 255, 255];
  };
  const words = all("body *").filter((e) => e.offsetParent && !e.closest("svg") &&
    [...e.childNodes].some((n) => n.nodeType === 3 && n.textContent.trim()));
  const contrast = words.map((e) => [light(rgb(getComputedStyle(e).color).slice(0, 3)),
    light(ground(e))]).map(([a, b]) => (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05));
  const levels = all("h1, h2, h3, h4").map((h) => Number(h.tagName[1]));
  const ids = all("[id]").map((e) => e.id);
  return {
    "first headings": levels.filter((v) => v === 1).length - 1,
    "levels left out": levels.filter((v, k) => k && v > levels[k - 1] + 1).length,
    "drawings without words": all("svg").filter((e) => !e.getAttribute("aria-label")).length,
    "controls without a label": all("input, select, button").filter((e) =>
      !e.textContent.trim() && !(e.labels && e.labels.length)).length,
    "tables without a caption": all("table").filter((e) => !e.caption).length,
    "heads without a scope": all("th:not([scope])").length,
    "names used twice": ids.length - new Set(ids).size,
    "links to nowhere": all('a[href^="#"]').filter((e) =>
      !document.getElementById(e.hash.slice(1))).length,
    "orders of their own": all("[tabindex]").filter((e) => e.tabIndex > 0).length,
    "words too pale": contrast.filter((v) => v < 4.5).length,
  };
})()"""


@pytest.mark.soak
def test_the_page_can_be_read_without_seeing_it(page: tuple[Browser, Result]) -> None:
    browser, _ = page
    found = browser.run(ACCESS)
    assert {key: count for key, count in found.items() if count} == {}


@pytest.mark.soak
def test_load_models_can_be_looked_at(tmp_path: Path) -> None:
    """A deck with a load model alone opens at it; governing values tell and draw the lanes."""
    if PROGRAM is None:
        pytest.skip("no browser on this machine")
    traffic = """
[traffic]
carriageway_m = [-1.9, 1.9]
step_m = 0.8
lateral_step_m = 0.6
load_models = ["EN 1991-2 LM1", "EN 1991-2 LM2"]
"""
    result = analyse(deck_of(tmp_path, SLAB, PLAN, BEAMS, traffic, PROBES, MESH))
    (tmp_path / "report.html").write_text(report_page(result), encoding="utf-8")
    with Browser(PROGRAM) as browser:
        browser.open(tmp_path / "report.html")
        browser.wait("document.getElementById('explorer').dataset.ready")
        peaks = [(one.envelope, p) for one in result.traffic for p in one.governing]
        opened = next(p for _, p in peaks if (p.component, p.extreme) == (1, "max"))
        assert f"m_x max = {opened.value:.3g} kNm/m" in said(browser)
        for k, (envelope, peak) in enumerate(peaks):
            choose(browser, "x-peak", k)
            words = said(browser)
            shown = float(words.split(" = ")[1].split()[0].replace("\u2212", "-"))
            assert shown == pytest.approx(peak.value, rel=6e-3, abs=2e-3)
            assert envelope.model.name in words
            assert peak.position.lanes[0].kind + " at" in words
            drawn = browser.run("document.querySelectorAll('#x-wheels path').length")
            # each wheel outlined twice, and an arrow for each vehicle
            vehicles = sum(lane.position is not None for lane in peak.position.lanes)
            assert drawn == 2 * len(envelope.wheels(peak.number).load) + vehicles
        names = browser.run(
            "[...document.getElementById('x-load').options].map((o) => o.textContent)"
        )
        assert names[:2] == ["EN 1991-2 LM1, all lanes", "EN 1991-2 LM2, all lanes"]
        # Elsewhere the arrangement is told too, and both extremes can be chosen.
        choose(browser, "x-load", 1)
        browser.run("document.querySelector('input[name=x-extreme][value=min]').click()")
        choose(browser, "x-component", 1)
        choose(browser, "x-station", 1.3)
        choose(browser, "x-offset", 0.35)
        assert said(browser).startswith("m_x min = ")
        assert "EN 1991-2 LM2" in said(browser)
        assert browser.run("document.querySelectorAll('#x-wheels path').length") > 0
        assert browser.errors == []
