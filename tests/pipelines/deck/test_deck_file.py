"""The deck file: SI values of the example, every mistake told in one line, never a traceback."""

import copy
import json
import math
import os
import re
import tomllib
from collections.abc import Callable
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipelines.deck.cases import Patch
from pipelines.deck.deck import Beam, Deck, Held, Zone
from pipelines.deck.examples import EXAMPLES
from pipelines.deck.reading.deck_file import read_deck
from pipelines.deck.reading.schema import described_keys
from pipelines.deck.reading.tables import MOST_TABLES, TABLES
from pipelines.errors import DeckError
from pipelines.standards.actions.loads import Axle
from pipelines.standards.concrete import CYLINDER_STRENGTH_MPA, secant_modulus

EXAMPLE = (resources.files("pipelines.deck") / "examples" / "estuary.toml").read_text("utf-8")
# Changed texts are read elsewhere than beside the survey's file.
EXAMPLE = re.sub(r"^\[survey\].*?\n\n", "", EXAMPLE, flags=re.DOTALL | re.MULTILINE)

SMALL = """
title = "two bays"
[slab]
thickness_mm = 250
E_GPa = 30
[plan]
stations_m = [0.0, 3.0, 6.0]
offsets_m = [-4.0, 4.0]
overhang_m = { start = 0.5 }
skew_deg = 0
[[line]]
on = "C*"
support = "beam"
beam = { E_GPa = 210, G_GPa = 81, I_cm4 = 4e5, J_cm4 = 300, A_cm2 = 250 }
held_at = ["L1", "L2"]
[[line]]
on = "L1"
support = "rigid"
[[case]]
name = "P"
patches = [{ at_m = [1.5, 0.0], size_m = [0.3, 0.5], load_kN = 100 }]
[[case]]
name = "p"
pressure_kN_m2 = 5
[traffic]
carriageway_m = [-3.5, 3.5]
vehicles = ["EN 1991-2 LM2"]
[[vehicle]]
name = "lorry"
axles = [{ at_m = 0, load_kN = 70, gauge_m = 1.9, patch_mm = [220, 320] }]
[[probe]]
name = "mid"
at_m = [1.5, 0.0]
"""


Read = Callable[[str | bytes], Deck]


@pytest.fixture
def read(tmp_path: Path) -> Read:
    def read_text(text: str | bytes) -> Deck:
        path = tmp_path / "deck.toml"
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return read_deck(path)

    return read_text


def changed(*changes: tuple[str, str], base: str = SMALL) -> str:
    for old, new in changes:
        assert base.count(old) >= 1, old
        base = base.replace(old, new, 1)
    return base


def mistakes_of(read: Read, text: str | bytes) -> list[str]:
    with pytest.raises(DeckError, match=r"deck\.toml: \d+ mistakes?\n  - ") as caught:
        read(text)
    assert all(line.isprintable() for line in caught.value.mistakes)
    return caught.value.mistakes


def test_example_in_si() -> None:
    path = EXAMPLES["estuary"]  # its survey lies beside it
    deck = read_deck(path)
    assert deck.title == "Estuary crossing, north span (demo)"
    assert deck.slab.thickness == 0.27
    assert deck.slab.density == 25e3
    assert deck.slab.concrete == "C35/45 (EN 1992-1-1)"
    # 22 (43/10)^0.3 GPa worked by hand: exp(0.3 ln 4.3) = exp(0.437585) = 1.548962
    np.testing.assert_allclose(deck.slab.E, 22e9 * 1.548962, rtol=1e-6)  # digits worked
    assert deck.stations == (0.0, 3.1, 6.2, 9.3, 12.4, 15.5, 18.6, 21.7, 24.8)
    assert deck.offsets == (-3.85, 3.85)
    assert dict(deck.plan.overhang) == {"start": 0.31, "end": 0.31, "left": 0.0, "right": 0.0}
    assert [line.name for line in deck.lines] == [f"C{i}" for i in range(1, 10)] + ["L1", "L2"]
    beam = deck.line("C3")
    assert beam is not None
    assert beam.label == "cross beam C3"
    assert beam.beam == Beam(E=210e9, G=81e9, I=4.292e-3, J=3.31e-6, A=0.0258, Av=0.0114)
    assert beam.held_at == (
        Held(on="L1", k=math.inf, k_rot=0.0, stub=0.45),
        Held(on="L2", k=math.inf, k_rot=0.0, stub=0.45),
    )
    assert (beam.width, beam.to_edges) == (0.3, False)
    edge_beam = deck.line("L2")
    assert edge_beam is not None
    assert edge_beam.to_edges
    assert edge_beam.held_at == ()
    assert [case.name for case in deck.cases] == [
        "self-weight",
        "surfacing",
        "upstands and parapets",
        "one wheel",
    ]
    assert deck.cases[0].self_weight
    assert deck.cases[1].pressure == 1920.0
    np.testing.assert_allclose([line.load for line in deck.cases[2].lines], 4060.0, rtol=1e-15)
    assert deck.cases[3].patches == (Patch((10.85, 0.0), (0.4, 0.4), 100e3),)
    traffic = deck.traffic
    assert traffic is not None
    assert [v.name for v in traffic.vehicles] == [
        "EN 1991-2 LM1 TS",
        "EN 1991-2 LM2",
        "maintenance lorry",
    ]
    assert traffic.vehicles[2].axles[1] == Axle(3.7, 95e3, (-1.08, -0.75, 0.75, 1.08), (0.22, 0.28))
    assert (traffic.surfacing, traffic.step, traffic.lateral_step) == (0.08, 0.2, 0.5)
    assert (traffic.dispersal_angle, traffic.offsets) == (math.pi / 4, None)
    assert deck.probes[-1].start == (10.85, -0.6)
    assert deck.probes[-1].at is None
    assert deck.warnings == ()


def test_defaults(read: Read) -> None:
    deck = read(SMALL)
    assert (deck.slab.poisson, deck.slab.density, deck.slab.theory) == (0.2, 25e3, "mindlin")
    assert (deck.slab.stiffness, deck.slab.rigidity, deck.slab.concrete) == ((1, 1, 1), None, None)
    assert deck.plan.alignment.straight
    assert deck.traffic.vehicles[1].name == "lorry"
    assert deck.traffic.vehicles[1].axles[0].wheels == (-0.95, 0.95)
    traffic = deck.traffic
    assert (traffic.step, traffic.lateral_step, traffic.edge_clearance) == (0.1, 0.25, None)
    assert (traffic.surfacing, traffic.dispersal, traffic.directions) == (0.0, "mid-depth", "both")
    assert traffic.dispersal_angle == math.pi / 4
    assert (deck.mesh.order, deck.mesh.size) == (None, None)
    assert deck.line("L1").label == "line L1"
    assert deck.line("C2").label == "cross beam C2"
    assert deck.line("C2").beam.Av is None


BROKEN: dict[str, tuple[str, *tuple[tuple[str, str], ...]]] = {
    "unknown key": (
        '[slab] E_Gpa: unknown key, the nearest known one is "E_GPa"',
        ("E_GPa = 30", "E_Gpa = 30"),
    ),
    "unknown table": (
        '[[prob]]: unknown key, the nearest known one is "probe"',
        ("[[probe]]", "[[prob]]"),
    ),
    "unknown key in a list": (
        '[[vehicle]] 1, axles 1, gage_m: unknown key, the nearest known one is "gauge_m"',
        ("gauge_m", "gage_m"),
    ),
    "missing": (
        "[slab] thickness_mm: is missing; allowed is 20 to 5000 mm",
        ("thickness_mm = 250", ""),
    ),
    "thickness in m": (
        "[slab] thickness_mm = 0.27: allowed is 20 to 5000 mm (0.27 m would be 270 mm)",
        ("= 250", "= 0.27"),
    ),
    "modulus in MPa": (
        "[slab] E_GPa = 34000: allowed is 0.1 to 1000 GPa (34000 MPa would be 34 GPa)",
        ("E_GPa = 30", "E_GPa = 34000"),
    ),
    "modulus too low": (
        "[slab] E_GPa = 0.034: allowed is 0.1 to 1000 GPa",
        ("E_GPa = 30", "E_GPa = 0.034"),
    ),
    "nested bound": (
        "[[line]] 1, beam.I_cm4 = 0.5: allowed is 1 to 1e+13 cm4",
        ("I_cm4 = 4e5", "I_cm4 = 0.5"),
    ),
    "nan": (
        "[[probe]] 1, at_m 1 = nan: allowed is -10000 to 10000 m",
        ("[1.5, 0.0]\n", "[nan, 0.0]\n"),
    ),
    "inf": ("[slab] E_GPa = inf", ("E_GPa = 30", "E_GPa = inf")),
    "minus inf radius": (
        "[plan] radius_m = -inf: allowed is inf, or 1 to",
        ("skew_deg = 0", "radius_m = -inf"),
    ),
    "bool for number": ("[slab] E_GPa = true: must be a number", ("E_GPa = 30", "E_GPa = true")),
    "text for number": ('[slab] E_GPa = "30": must be a number', ("E_GPa = 30", 'E_GPa = "30"')),
    "date for number": (
        "[slab] E_GPa = 2020-01-01 (a date or time): must be a number",
        ("E_GPa = 30", "E_GPa = 2020-01-01"),
    ),
    "huge number": (
        "[slab] E_GPa = a whole number of about 401 digits",
        ("E_GPa = 30", "E_GPa = 1" + 400 * "0"),
    ),
    "number for bool": (
        "[[line]] 2, hard = 1: allowed is true or false",
        ('support = "rigid"', 'support = "rigid"\nhard = 1'),
    ),
    "choice": (
        '[[line]] 2, support = "rigd": allowed is "free", "rigid", "clamped", "spring" or "beam"',
        ('"rigid"', '"rigd"'),
    ),
    "control characters": (
        'title = "a\\x07\\u202eb": must be text',
        ('title = "two bays"', 'title = "a\\u0007\\u202eb"'),
    ),
    "blank name": ('[[probe]] 1, name = " ": must be text', ('name = "mid"', 'name = " "')),
    "empty list": (
        "[plan] stations_m = a list of 0: must be a list of 2 to 500",
        ("[0.0, 3.0, 6.0]", "[]"),
    ),
    "too many": (
        "[plan] stations_m = a list of 1000: must be a list of 2 to 500",
        ("[0.0, 3.0, 6.0]", f"{list(range(1000))}"),
    ),
    "three coordinates": (
        "[[probe]] 1, at_m = [1.5, 0, 0]: must be a list of 2",
        ("at_m = [1.5, 0.0]\n", "at_m = [1.5, 0.0, 0.0]\n"),
    ),
    "table for list": (
        "[[line]] 1, held_at = a table: must be a list",
        ('held_at = ["L1", "L2"]', 'held_at = { on = "L1" }'),
    ),
    "number for table": (
        "[[line]] 1, beam = 3: must be a table",
        ("beam = { E_GPa = 210, G_GPa = 81, I_cm4 = 4e5, J_cm4 = 300, A_cm2 = 250 }", "beam = 3"),
    ),
    "single brackets": (
        "probe = a table: must be a table, written [[probe]]",
        ("[[probe]]", "[probe]"),
    ),
    "double brackets": (
        "plan = a list of 1: must be a table, written [plan]",
        ("[plan]", "[[plan]]"),
    ),
    "order of elements": (
        "[mesh] order = 3: must be a whole number, 1 to 8",
        ("[[probe]]", "[mesh]\norder = 3.0\n[[probe]]"),
    ),
    "no modulus": ("[slab] E_GPa: is missing; give E_GPa in GPa, or concrete", ("E_GPa = 30", "")),
    "two moduli": (
        "[slab] E_GPa = 30: give E_GPa or concrete, not both",
        ("E_GPa = 30", 'E_GPa = 30\nconcrete = "C35/45"'),
    ),
    "class": ('[slab] concrete = "M35": allowed is "C12/15", ', ("E_GPa = 30", 'concrete = "M35"')),
    "standard": (
        '[slab] standard = "other": allowed is "EN 1992-1-1"',
        ("E_GPa = 30", 'concrete = "C35/45"\nstandard = "other"'),
    ),
    "standard alone": (
        '[slab] standard = "EN 1992-1-1"',
        ("E_GPa = 30", 'E_GPa = 30\nstandard = "EN 1992-1-1"'),
    ),
    "rigidity": (
        "[slab] rigidity_kNm.D1 = 6: must be less than the root of Dx Dy, 6 kNm",
        ("E_GPa = 30", "E_GPa = 30\nrigidity_kNm = { Dx = 4, Dy = 9, D1 = 6, Dxy = 1 }"),
    ),
    "stiffness twice": (
        "[slab] rigidity_kNm: give stiffness or rigidity_kNm",
        (
            "E_GPa = 30",
            "E_GPa = 30\nstiffness = { x = 0.5 }\n"
            "rigidity_kNm = { Dx = 4, Dy = 9, D1 = 1, Dxy = 1 }",
        ),
    ),
    "zones overlap": (
        "[slab] zone 2: overlaps zone 1",
        (
            "[plan]",
            "zone = [{ stations_m = [0, 2], thickness_mm = 300 },"
            " { offsets_m = [3, 4], thickness_mm = 400 }]\n[plan]",
        ),
    ),
    "zone off the slab": (
        "[slab] zone 1, stations_m = [7, 8]: off the slab, which reaches from -0.5 to 6 m",
        ("[plan]", "zone = [{ stations_m = [7, 8], thickness_mm = 300 }]\n[plan]"),
    ),
    "zone backwards": (
        "[slab] zone 1, offsets_m = [2, 1]: the second must be",
        ("[plan]", "zone = [{ offsets_m = [2, 1], thickness_mm = 300 }]\n[plan]"),
    ),
    "station twice": (
        "[plan] stations_m 3 = 3: given twice; must be 0.01 m or more beyond",
        ("3.0, 6.0", "3.0, 3.0, 6.0"),
    ),
    "unsorted": (
        "[plan] offsets_m 2 = -4: must be 0.01 m or more beyond the one before it, 4",
        ("[-4.0, 4.0]", "[4.0, -4.0]"),
    ),
    "taper length": (
        "[plan] end_offsets_m = [-3, 0, 3]: must have 2 entries",
        ("skew_deg = 0", "end_offsets_m = [-3, 0, 3]"),
    ),
    "taper unsorted": ("[plan] end_offsets_m 2 = -3", ("skew_deg = 0", "end_offsets_m = [3, -3]")),
    "sliver": (
        "[plan] overhang_m.start = 0.001: must be 0, or 0.01 m or more",
        ("start = 0.5", "start = 0.001"),
    ),
    "skew on a curve": (
        "[plan] skew_deg = 20: must be 0 where radius_m is not inf",
        ("skew_deg = 0", "skew_deg = 20\nradius_m = 100"),
    ),
    "centre of curvature": (
        "[plan]: the slab reaches the centre of curvature (radius_m is 3.5)",
        ("skew_deg = 0", "radius_m = 3.5"),
    ),
    "round and round": (
        "[plan] radius_m = 8: a slab of 60.5 m length would meet itself",
        ("[0.0, 3.0, 6.0]", "[0.0, 30.0, 60.0]\nradius_m = 8"),
    ),
    "outline": (
        "[plan] outline_m: give stations_m or outline_m, not both",
        ("skew_deg = 0", "outline_m = [[0, 0], [1, 0], [1, 1]]"),
    ),
    "dxf": (
        '[plan] dxf = "plan.dxf": there is no such file',
        ("skew_deg = 0", 'dxf = "plan.dxf"'),
    ),
    "opening": (
        "[[opening]] 1, corners_m = a list of 0: must be a list of 2 to 1000",
        ("[[probe]]", "[[opening]]\ncorners_m = []\n[[probe]]"),
    ),
    "no plan": (
        "[plan]: is missing",
        (
            SMALL[SMALL.index("[plan]") : SMALL.index("[[line]]")],
            "",
        ),
    ),
    "pattern": (
        '[[line]] 1, on = "K*": matches no line of the plan',
        ('on = "C*"', 'on = ["C*", "K*"]'),
    ),
    "line twice": (
        '[[line]] 2, on = "C2": a line has one support, and [[line]] 1 names this one already',
        ('on = "L1"', 'on = "C2"'),
    ),
    "edge is a line": (
        '[[line]] 2, on = "end": a line has one support, and [[line]] 1 names this one already'
        ' (there as "C3", the same line)',
        ('on = "L1"', 'on = "end"'),
    ),
    "free counts": (
        '[[line]] 3, on = "left": a line has one support, and [[line]] 2',
        ('support = "rigid"', 'support = "rigid"\n[[line]]\non = "left"\nsupport = "free"'),
    ),
    "beam on rigid": (
        '[[line]] 2, held_at: support "rigid" has no such key; it has hard, lifts, to_edges',
        ('support = "rigid"', 'support = "rigid"\nheld_at = ["C1"]'),
    ),
    "spring on clamped": (
        '[[line]] 2, k_kN_m2 = 0: support "clamped" has no such key',
        ('support = "rigid"', 'support = "clamped"\nk_kN_m2 = 0'),
    ),
    "hard beam": (
        '[[line]] 1, hard = true: support "beam" has no such key',
        ('support = "beam"', 'support = "beam"\nhard = true'),
    ),
    "label on free": (
        '[[line]] 2, label = "x": support "free" has no such key',
        ('support = "rigid"', 'support = "free"\nlabel = "x"'),
    ),
    "no beam": ('[[line]] 1, beam: is missing: support "beam" needs it', ("beam = {", "#")),
    "no spring": (
        '[[line]] 2, k_kN_m2: is missing: support "spring" needs it',
        ('"rigid"', '"spring"'),
    ),
    "eccentric": (
        "[[line]] 1, beam.connection: is missing: a beam off the slab's mid-plane needs",
        ("A_cm2 = 250", "A_cm2 = 250, eccentricity_mm = 500"),
    ),
    "connection": (
        '[[line]] 1, beam.connection.kind = "half"',
        ("A_cm2 = 250", 'A_cm2 = 250, connection = "half"'),
    ),
    "path": (
        "[[line]] 2, path_m: line W1 leaves the slab",
        ('on = "L1"', 'name = "W1"\npath_m = [[0, 0], [1, 9]]'),
    ),
    "held off the beam": (
        '[[line]] 1, held_at 2, on = "L3": beam C1 crosses no such line within its '
        "length; it crosses L1, L2",
        ('held_at = ["L1", "L2"]', 'held_at = ["L1", "L3"]'),
    ),
    "held along": (
        '[[line]] 1, held_at 1, on = "C1": beam C1 crosses no such line',
        ('held_at = ["L1", "L2"]', 'held_at = ["C1"]'),
    ),
    "held twice": (
        '[[line]] 1, held_at 2, on = "left": beam C1 is held at left already (by L1)',
        ('["L1", "L2"]', '["L*", "left"]'),
    ),
    "holds nothing": (
        "[[line]] 1, held_at 1, k_kN_m = 0: holds nothing",
        ('["L1", "L2"]', '[{ on = "L1", k_kN_m = 0 }]'),
    ),
    "stub inside": (
        "[[line]] 1, held_at 1, stub_m = 0.4: beam C1 does not end at L2: a stub runs on",
        ("[-4.0, 4.0]", "[-4.0, 0.0, 4.0]"),
        ('["L1", "L2"]', '[{ on = "L2", stub_m = 0.4 }]'),
    ),
    "held beyond the end": (
        '[[line]] 1, held_at 1, on = "left": beam C1 crosses no such line within its length',
        ("start = 0.5", "start = 0.5, left = 0.3"),
        ('["L1", "L2"]', '["left"]'),
    ),
    "inner stub": (
        "[[line]] 1, held_at 2, stub_m = -1: allowed is 0 to 20 m",
        ('held_at = ["L1", "L2"]', 'held_at = ["L1", { on = "right", stub_m = -1 }]'),
    ),
    "point off": (
        "[[point]] 1, at_m = [9, 0]: not on the slab",
        ("[traffic]", '[[point]]\nat_m = [9, 0]\nsupport = "rigid"\n[traffic]'),
    ),
    "point spring": (
        "[[point]] 1, k_kN_m: needed by support",
        ("[traffic]", '[[point]]\nat_m = [1, 0]\nsupport = "spring"\n[traffic]'),
    ),
    "point name": (
        '[[point]] 1, name = "C1": already the name',
        ("[traffic]", '[[point]]\nname = "C1"\nat_m = [1, 0]\nsupport = "rigid"\n[traffic]'),
    ),
    "points alike": (
        '[[point]] 2, at_m = [1, 0]: "point 1" stands there already',
        (
            "[traffic]",
            2 * '[[point]]\nat_m = [1, 0]\nsupport = "rigid"\n' + "[traffic]",
        ),
    ),
    "case twice": (
        '[[case]] 2, name = "P": [[case]] 1 has this name already',
        ('name = "p"', 'name = "P"'),
    ),
    "no load": ("[[case]] 2: has no load", ("pressure_kN_m2 = 5", "")),
    "patch off": (
        "[[case]] 1, patches 1, at_m = [9, 0]: the patch is wholly off the slab",
        ("at_m = [1.5, 0.0], size", "at_m = [9, 0], size"),
    ),
    "patch beyond the centre": (
        "[[case]] 1, patches 1, at_m = [1, 25]: the patch is wholly off the slab",
        ("skew_deg = 0", "radius_m = 20"),
        ("at_m = [1.5, 0.0], size_m = [0.3, 0.5]", "at_m = [1, 25], size_m = [50, 50]"),
    ),
    "line load off": (
        "[[case]] 2, lines 1, path_m 2 = [1, 5]: not on the slab",
        ("pressure_kN_m2 = 5", "lines = [{ path_m = [[0, 0], [1, 5]], load_kN_m = 3 }]"),
    ),
    "line load without length": (
        "[[case]] 2, lines 1, path_m 2 = [0, 0]: repeats the point before it",
        ("pressure_kN_m2 = 5", "lines = [{ path_m = [[0, 0], [0, 0]], load_kN_m = 3 }]"),
    ),
    "narrow": (
        '[traffic] carriageway_m = [-1, 1]: 0.6 m too narrow for "EN 1991-2 LM2" with',
        ("[-3.5, 3.5]", "[-1.0, 1.0]"),
    ),
    "carriageway backwards": (
        "[traffic] carriageway_m = [3.5, -3.5]: the left edge first",
        ("[-3.5, 3.5]", "[3.5, -3.5]"),
    ),
    "carriageway beside": (
        "[traffic] carriageway_m = [5, 12]: beside the slab, which reaches from -4 to 4 m",
        ("[-3.5, 3.5]", "[5, 12]"),
    ),
    "vehicle": (
        '[traffic] vehicles 1 = "EN 1991-2 LM9": unknown vehicle, '
        'the nearest known one is "EN 1991-2 LM2"',
        ('"EN 1991-2 LM2"', '"EN 1991-2 LM9"'),
    ),
    "vehicle listed twice": (
        '[traffic] vehicles 2 = "lorry": listed twice',
        ('"EN 1991-2 LM2"', '"lorry", "lorry"'),
    ),
    "vehicle's name": (
        '[[vehicle]] 1, name = "EN 1991-2 LM2": a standard\'s vehicle has this name',
        ('name = "lorry"', 'name = "EN 1991-2 LM2"'),
    ),
    "impact": (
        '[traffic] impact."lory" = 1.3: no such vehicle in this traffic, '
        'the nearest known one is "lorry"',
        ("[[vehicle]]", 'impact = { "lory" = 1.3 }\n[[vehicle]]'),
    ),
    "impact factor": (
        "[traffic] impact.lorry = 33: allowed is 0.1 to 10",
        ("[[vehicle]]", 'impact = { "lorry" = 33 }\n[[vehicle]]'),
    ),
    "steps and offsets": (
        "[traffic] lateral_step_m = 0.25: give lateral_step_m or offsets_m, not both",
        ("[[vehicle]]", "lateral_step_m = 0.25\noffsets_m = [0.0]\n[[vehicle]]"),
    ),
    "offset twice": (
        "[traffic] offsets_m = [0, 0]: has an offset twice",
        ("[[vehicle]]", "offsets_m = [0.0, 0.0]\n[[vehicle]]"),
    ),
    "no traffic": (
        "[[vehicle]]: there is no [traffic]",
        ('[traffic]\ncarriageway_m = [-3.5, 3.5]\nvehicles = ["EN 1991-2 LM2"]', ""),
    ),
    "no vehicle": (
        "[traffic] vehicles: no vehicle; list some of EN 1991-2 LM1 TS",
        (
            SMALL[SMALL.index("vehicles =") : SMALL.index("[[probe]]")],
            "",
        ),
    ),
    "wheels twice": (
        "[[vehicle]] 1, axles 1, gauge_m = 1.9: give gauge_m or wheels_m",
        ("gauge_m = 1.9", "gauge_m = 1.9, wheels_m = [0.0]"),
    ),
    "no wheels": ("[[vehicle]] 1, axles 1: has no wheels", ("gauge_m = 1.9,", "")),
    "wheel twice": (
        "[[vehicle]] 1, axles 1, wheels_m = [0, 0]: two wheels at 0 m",
        ("gauge_m = 1.9", "wheels_m = [0.0, 0.0]"),
    ),
    "axles out of order": (
        "[[vehicle]] 1, axles 3, at_m = 1: axles stand from the front to the rear",
        (
            "[220, 320] }]",
            "[220, 320] }, { at_m = 2, load_kN = 1, gauge_m = 2, patch_mm = [200, 200] },"
            " { at_m = 1, load_kN = 1, gauge_m = 2, patch_mm = [200, 200] }]",
        ),
    ),
    "first axle": (
        "[[vehicle]] 1, axles 1, at_m = 1: the first axle is at 0",
        ("{ at_m = 0,", "{ at_m = 1,"),
    ),
    "probe off": (
        "[[probe]] 1, at_m = [1.5, 4.1]: not on the slab",
        ("at_m = [1.5, 0.0]\n", "at_m = [1.5, 4.1]\n"),
    ),
    "segment off": (
        "[[probe]] 1, to_m = [0, 5]: not on the slab",
        ("at_m = [1.5, 0.0]\n", "from_m = [0, 0]\nto_m = [0, 5]\n"),
    ),
    "half a segment": (
        "[[probe]] 1: give at_m for a point, or from_m and to_m",
        ("at_m = [1.5, 0.0]\n", "from_m = [0, 0]\n"),
    ),
    "point and segment": (
        "[[probe]] 1: give at_m for a point",
        ("at_m = [1.5, 0.0]\n", "at_m = [0, 0]\nfrom_m = [0, 0]\nto_m = [1, 0]\n"),
    ),
    "no length": (
        "[[probe]] 1, to_m = [1, 0]: the segment has no length",
        ("at_m = [1.5, 0.0]\n", "from_m = [1, 0]\nto_m = [1, 0]\n"),
    ),
}
"""By what is wrong: the start of the message, and the changes to SMALL that bring it."""


@pytest.mark.parametrize("name", BROKEN)
def test_broken_deck(read: Read, name: str) -> None:
    message, *changes = BROKEN[name]
    told = mistakes_of(read, changed(*changes))
    assert any(line.startswith(message) for line in told), told


def test_all_mistakes_are_told_together(read: Read) -> None:
    text = changed(
        ("E_GPa = 30", "E_GPa = 30000\nskew = 1"),
        ("start = 0.5", "start = -1"),
        ('support = "rigid"', 'support = "rigid"\nk_kN_m2 = 2'),
        ("load_kN = 100", "load_kN = nan"),
        ("gauge_m = 1.9,", ""),
        ("at_m = [1.5, 0.0]\n", "at_m = [1.5]\n"),
    )
    assert [line.split(":")[0].split(" = ")[0] for line in mistakes_of(read, text)] == [
        "[plan] overhang_m.start",
        "[slab] E_GPa",
        "[slab] skew",
        "[[case]] 1, patches 1, load_kN",
        "[[vehicle]] 1, axles 1",
        "[[probe]] 1, at_m",
    ]  # what needs the plan waits until the plan is right
    text = changed(
        ("E_GPa = 30", "E_GPa = 30000"),
        ('on = "L1"', 'on = "L7"'),
        ("load_kN = 100", "load_kN = nan"),
        ('name = "p"', 'name = "p"\nlines = [{ path_m = [[0, 0], [0, 9]], load_kN_m = 1 }]'),
        ("at_m = [1.5, 0.0]\n", "at_m = [1.5, 9]\n"),
        ("[-3.5, 3.5]", "[-0.5, 0.5]"),
    )
    assert [line.split(":")[0].split(" = ")[0] for line in mistakes_of(read, text)] == [
        "[slab] E_GPa",
        "[[case]] 1, patches 1, load_kN",
        "[[line]] 2, on",
        "[[case]] 2, lines 1, path_m 2",
        "[[probe]] 1, at_m",
        "[traffic] carriageway_m",
        "[traffic] carriageway_m",
    ]


def test_one_mistake_is_told_once(read: Read) -> None:
    """Not again for each line of a pattern, nor for a name that refers to the mistaken table."""
    assert len(mistakes_of(read, changed(('["L1", "L2"]', '["L3"]')))) == 1
    lorry = ('["EN 1991-2 LM2"]', '["lorry"]\nimpact = { lorry = 1.2 }')
    for change in (("load_kN = 70", "load_kN = 0"), ("gauge_m = 1.9,", "")):
        assert len(mistakes_of(read, changed(lorry, change))) == 1


def test_a_flood_of_mistakes_stops(read: Read) -> None:
    told = mistakes_of(read, "".join(f"key{i} = 1\n" for i in range(100_000)))
    assert len(told) == 51
    assert told[-1] == "and perhaps more: reading stopped here"


HOSTILE: dict[str, tuple[str, str | bytes]] = {
    "not UTF-8": ("line 2: not UTF-8", b"a = 1\nb = '\xff'"),
    "broken": ("line 3: not valid TOML", "a = 1\n\nb = = 2"),
    "not ended": ("end of the file: not valid TOML", "a = [1"),
    "key twice": ("line 3: not valid TOML: a key or table is given twice", "a = 1\n\na = 2\n"),
    "too large": ("has 5.0 MB; allowed is 5 MB at most", b"#" * 5_000_001),
    "nested": ("not valid: lists or tables nested too deeply", "a = " + "[" * 100_000),
    "dotted": ("line 2: a key of more than 20 parts", "b = 1\n" + "a . " * 500_000 + "a = 1"),
    "dotted table": ("line 1: a key of more than 20 parts", "[" + "'a'." * 500_000 + "a]"),
    "digits": ("not valid: a whole number of thousands of digits", "a = " + "1" * 100_000),
    "one word": ("line 1: not valid TOML", "a" * 4_000_000 + "\n"),
    "hexadecimal": (
        "[slab] thickness_mm = a whole number of about 481648 digits",
        "[slab]\nthickness_mm = 0x" + "f" * 400_000,
    ),
    "line tables": ("[[line]] = a list of 400000: allowed are 1 to 700", "[[line]]\n" * 400_000),
    "escapes": ("\\x1b[2J: unknown key", '"\\u001b[2J" = 1'),
    "long key": ("k" * 59 + "…: unknown key", "k" * 1_000_000 + " = 1"),
    "long text": ('title = "' + "t" * 59 + '…": must be text', 'title = "' + "t" * 1_000_000 + '"'),
}


# What is written, and what is told of it.
SLIPS = {
    "thickness_mm = 250,5": "a decimal mark is a point, not a comma",
    "beam = { E_GPa = 34,0, I_cm4 = 1 }": "a decimal mark is a point, not a comma",
    "thickness_mm = 300mm": "a number stands without its unit, which the key's name has",
    "thickness_mm = 300 mm": "a number stands without its unit, which the key's name has",
    "stations_m = [0, 3 m]": "a number stands without its unit, which the key's name has",
    "title = \u201cmine\u201d": "quotation marks are straight",
    "title = \u00abmine\u00bb": "quotation marks are straight",
    "thickness_mm = 300;": "take the semicolon away",
    "thickness_mm = 300,": "take the comma away",
    "beam = { E_GPa = 34, }": "no comma stands before a closing brace",
    "thickness_mm: 300": "between a key and its value stands =",
    "self_weight = True": "yes and no are written true and false",
    "title = mine": "text stands in quotation marks",
    "vehicles = [lorry]": "text stands in quotation marks",
}


@pytest.mark.parametrize("slip", SLIPS)
def test_a_slip_is_told_with_its_line_and_what_is_meant(read: Read, slip: str) -> None:
    [told] = mistakes_of(read, f"\n{slip}\n")
    assert told.startswith("line 2: not valid TOML: ")
    assert SLIPS[slip] in told
    assert told.endswith(f": {slip}")


def test_of_a_long_line_what_stands_about_the_mistake_is_shown(read: Read) -> None:
    [told] = mistakes_of(read, "a = [" + "1, " * 1000 + "2 mm]")
    assert "without its unit" in told
    assert told.endswith(", 1, 2 mm]")
    assert len(told) < 200


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_file(read: Read, name: str) -> None:
    message, text = HOSTILE[name]
    told = mistakes_of(read, text)
    assert any(message in line for line in told), told


def test_files_that_are_none(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    for path, message in (
        (tmp_path / "none.toml", "there is no such file"),
        (tmp_path, "is a directory"),
        (tmp_path / "pipe", "is not a plain file"),
        ("a\0b", "cannot be read"),
        (tmp_path / ("a" * 300), "cannot be read"),
    ):
        with pytest.raises(DeckError, match=message):
            read_deck(path)


def test_byte_order_mark_and_line_ends_of_other_editors(read: Read) -> None:
    deck = read(b"\xef\xbb\xbf" + SMALL.replace("\n", "\r\n").encode())
    assert deck.title == "two bays"


def test_title_is_optional(read: Read) -> None:
    assert read(changed(('title = "two bays"', ""))).title == "deck"


@pytest.mark.parametrize(
    ("old", "key", "low", "high"),
    [
        ("thickness_mm = 250", "thickness_mm", 20, 5000),
        ("E_GPa = 30", "E_GPa", 0.1, 1000),
        ("J_cm4 = 300", "J_cm4", 0, 1e13),
        ("load_kN = 70", "load_kN", 0.01, 1e4),
        ("pressure_kN_m2 = 5", "pressure_kN_m2", -1e4, 1e4),
        ("skew_deg = 0", "skew_deg", -75, 75),
    ],
)
def test_bounds_are_included(read: Read, old: str, key: str, low: float, high: float) -> None:
    deck = changed(("at_m = [1.5, 0.0], size", "at_m = [3, 0], size"), ("[1.5, 0.0]", "[3, 0]"))
    for value in (low, high):
        read(changed((old, f"{key} = {value}"), base=deck))
    for value in (np.nextafter(low, -np.inf), np.nextafter(high, np.inf)):
        told = mistakes_of(read, changed((old, f"{key} = {float(value)!r}"), base=deck))
        assert len(told) == 1
        assert re.search(f"{key} = .*: allowed is {re.escape(f'{low:g} to {high:g}')}", told[0])


def test_every_key_says_what_it_may_hold() -> None:
    for table in TABLES.values():
        described = described_keys(table)
        assert {path[0] for path in described} == set(table.model_fields)
        assert all(described.values()), described
    assert (
        described_keys(TABLES["case"])[("patches", "size_m")] == "a list of 2, each 0.005 to 1000 m"
    )
    assert set(MOST_TABLES) < set(TABLES)


@pytest.mark.parametrize(
    ("strength_class", "printed"),
    list(
        zip(
            CYLINDER_STRENGTH_MPA,
            [27, 29, 30, 31, 33, 34, 35, 36, 37, 38, 39, 41, 42, 44],
            strict=True,
        )
    ),
)
def test_secant_modulus_as_printed(strength_class: str, printed: float) -> None:
    """E_cm [GPa] of EN 1992-1-1:2004, table 3.1 (from memory), printed to whole GPa."""
    np.testing.assert_allclose(secant_modulus(strength_class) / 1e9, printed, atol=0.5, rtol=0)


def test_concrete_without_standard_says_what_is_taken(read: Read) -> None:
    deck = read(changed(("E_GPa = 30", 'concrete = "C30/37"')))
    assert deck.slab.concrete == "C30/37 (EN 1992-1-1)"
    assert secant_modulus("C30/37") == deck.slab.E
    assert "C30/37 is taken as a class of EN 1992-1-1" in deck.warnings[0]
    named = read(changed(("E_GPa = 30", 'concrete = "C30/37"\nstandard = "EN 1992-1-1"')))
    assert named.warnings == ()


def test_rigidity_and_zones(read: Read) -> None:
    deck = read(
        changed(
            ("E_GPa = 30", "E_GPa = 30\nrigidity_kNm = { Dx = 4, Dy = 9, D1 = 5, Dxy = 2 }"),
            (
                "[plan]",
                "[[slab.zone]]\nstations_m = [-9, 1]\nthickness_mm = 300\n"
                "[[slab.zone]]\nstations_m = [1, 2]\noffsets_m = [2, 9]\nthickness_mm = 400\n"
                "[plan]",
            ),
        )
    )
    assert deck.slab.rigidity == (4e3, 9e3, 5e3, 2e3)
    assert deck.slab.zones == (Zone((-0.5, 1.0), None, 0.3), Zone((1.0, 2.0), (2.0, 4.0), 0.4))


def test_curved_and_tapered_plans(read: Read) -> None:
    curved = read(changed(("skew_deg = 0", "radius_m = -60\nend_offsets_m = [-5, 5]")))
    assert curved.plan.alignment.radius == -60.0
    assert curved.plan.end_offsets == (-5.0, 5.0)
    skew = read(
        changed(("skew_deg = 0", "skew_deg = -20"), ("at_m = [1.5, 0.0]\n", "at_m = [-0.5, 2]\n"))
    )
    assert skew.plan.skew == math.radians(-20)
    assert mistakes_of(
        read,
        changed(("skew_deg = 0", "skew_deg = 20"), ("at_m = [1.5, 0.0]\n", "at_m = [-0.5, 2]\n")),
    ) == ["[[probe]] 1, at_m = [-0.5, 2]: not on the slab"]


def test_an_edge_is_the_line_it_coincides_with(read: Read) -> None:
    deck = read(changed(('on = "L1"', 'on = ["right", "start"]')))
    assert [line.name for line in deck.lines] == ["C1", "C2", "C3", "start", "right"]
    assert deck.line("right").label == "edge right"
    held = read(
        changed(
            (
                '["L1", "L2"]',
                '["left", { on = "right", k_kN_m = 5, k_rot_kNm_rad = 7, stub_m = 0.3 }]',
            )
        )
    )
    assert held.line("C2").held_at == (
        Held(on="left", k=math.inf, k_rot=0.0, stub=0.0),
        Held(on="right", k=5e3, k_rot=7e3, stub=0.3),
    )


def test_a_beam_reaches_the_edges_it_is_carried_to(read: Read) -> None:
    overhang = ("start = 0.5", "start = 0.5, left = 0.3")
    held = ('["L1", "L2"]', '[{ on = "left", stub_m = 0.2 }, "L2"]')
    assert mistakes_of(read, changed(overhang, held))[0].startswith("[[line]] 1, held_at 1, on")
    deck = read(changed(overhang, held, ("held_at", "to_edges = true\nheld_at")))
    assert deck.line("C1").held_at[0] == Held(on="left", k=math.inf, k_rot=0.0, stub=0.2)
    edge_beam = read(changed(overhang, held, ('on = "C*"', 'on = "start"')))
    assert edge_beam.line("start").held_at[0].on == "left"
    along = read(changed(('on = "C*"', 'on = "L2"'), ('["L1", "L2"]', '["C2", "end"]')))
    assert [h.on for h in along.line("L2").held_at] == ["C2", "end"]


def test_supports_in_si(read: Read) -> None:
    deck = read(
        changed(
            (
                'support = "rigid"',
                'support = "spring"\nk_kN_m2 = 3\nk_rot_kNm_rad_m = 2\nlabel = "kerb"',
            ),
            (
                "[traffic]",
                '[[point]]\nat_m = [1, 0]\nsupport = "rigid"\n'
                '[[point]]\nname = "column"\nat_m = [2, 0]\nsupport = "spring"\nk_kN_m = 4\n'
                "size_mm = 500\n[traffic]",
            ),
        )
    )
    line = deck.line("L1")
    assert (line.k, line.k_rot, line.label) == (3e3, 2e3, "kerb")
    assert [(p.name, p.k, p.size) for p in deck.points] == [
        ("point 1", math.inf, 0.25),
        ("column", 4e3, 0.5),
    ]
    hard = read(changed(('support = "rigid"', 'support = "rigid"\nhard = true\nto_edges = false')))
    assert hard.line("L1").hard
    guided = read(changed(('support = "rigid"', 'support = "spring"\nk_kN_m2 = 0')))
    assert guided.line("L1").k == 0.0
    free = read(changed(('support = "rigid"', 'support = "free"\nhard = false')))
    assert free.line("L1") is None


@pytest.mark.parametrize(
    "plan", ["skew_deg = 0", "radius_m = 20", "radius_m = -20", "skew_deg = 30"]
)
def test_patch_partly_off_the_slab_warns(read: Read, plan: str) -> None:
    """Half of it is over the edge; on an arc it is 1 m long at every offset, as on the ground."""
    text = changed(
        ("skew_deg = 0", plan),
        ("at_m = [1.5, 0.0], size_m = [0.3, 0.5]", "at_m = [4.5, 4.0], size_m = [1.0, 1.0]"),
    )
    assert read(text).warnings == (
        'case "P", patch 1 at [4.5, 4]: 50 % of it is off the slab; 50 kN of its 100 kN do not act',
    )


def test_a_patch_along_the_edge_is_whole(read: Read) -> None:
    text = changed(
        ("at_m = [1.5, 0.0], size_m = [0.3, 0.5]", "at_m = [5.85, 3.75], size_m = [0.3, 0.5]")
    )
    assert read(text).warnings == ()


def test_traffic_of_listed_and_own_vehicles(read: Read) -> None:
    deck = read(
        changed(
            ('vehicles = ["EN 1991-2 LM2"]', "impact = { lorry = 1.5 }\noffsets_m = [1.0, -1.0]"),
            ('name = "lorry"', 'name = "lorry"\nimpact = 1.2'),
        )
    )
    traffic = deck.traffic
    assert [v.name for v in traffic.vehicles] == ["lorry"]
    np.testing.assert_allclose(traffic.vehicles[0].impact, 1.8, rtol=1e-15)
    assert (traffic.lateral_step, traffic.offsets) == (None, (-1.0, 1.0))
    assert deck.warnings == ()
    listed = read(changed(('["EN 1991-2 LM2"]', '["lorry", "EN 1991-2 LM2"]')))
    assert [v.name for v in listed.traffic.vehicles] == ["lorry", "EN 1991-2 LM2"]


def test_traffic_that_leaves_its_bounds_warns(read: Read) -> None:
    wide = read(changed(("[-3.5, 3.5]", "[-4.5, 3.5]")))
    assert wide.warnings[0].startswith("the carriageway [-4.5, 3.5] m is wider than the slab")
    near = read(changed(("[[vehicle]]", "offsets_m = [0.0, 2.5]\n[[vehicle]]")))
    # 3.5 m to the kerb less 1.0 m to the wheel less 0.3 m to the tyre's edge = 2.2 m; the lorry's
    # wheel at 0.95 m keeps 0.5 m to its centre: 2.05 m
    assert [warning.split(" stands")[0] for warning in near.warnings] == [
        'vehicle "EN 1991-2 LM2"',
        'vehicle "lorry"',
    ]
    assert "at the offsets 2.5 m given by offsets_m" in near.warnings[0]


def toml(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return json.dumps(value)
    if isinstance(value, list):
        return f"[{', '.join(map(toml, value))}]"
    if isinstance(value, dict):
        return f"{{{', '.join(f'{json.dumps(k)} = {toml(v)}' for k, v in value.items())}}}"
    return str(value)


def places(value: Any) -> list[tuple[Any, Any]]:
    """Every (container, key or index) of a parsed file."""
    if not isinstance(value, dict | list):
        return []
    keys = list(value) if isinstance(value, dict) else list(range(len(value)))
    return [(value, key) for key in keys] + [x for key in keys for x in places(value[key])]


NUMBERS = st.sampled_from(
    [0, -1, 1, 7, 0.27, -0.0, 1e-300, 1e300, 10**30, 10**400, math.nan, math.inf, -math.inf]
)
VALUES = st.one_of(
    NUMBERS,
    st.booleans(),
    st.sampled_from(["", " ", "C1", "left", "*", "[", "\x00", "\u202e", "beam", "P" * 300]),
    st.text(max_size=5),
    st.sampled_from([[], {}, [[]], [{}], {"a": {"b": []}}, [1], [1, 2], [0, 0, 0], [True, 1]]),
    st.lists(NUMBERS, max_size=3),
    st.floats(),
)
READ_LIMITS = settings(
    max_examples=200,
    deadline=10_000,  # ms for one file, also on a busy machine
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)


def reads_or_tells(read: Read, text: str) -> None:
    deck, mistakes = None, []
    try:
        deck = read(text)
    except DeckError as error:
        mistakes = error.mistakes
    assert (deck is None) == bool(mistakes)
    assert all(line.isprintable() for line in mistakes)
    assert re.search(r"\bnan\b", repr(deck)) is None


@READ_LIMITS
@given(data=st.data())
def test_mutated_values_and_keys_never_escape(read: Read, data: st.DataObject) -> None:
    tree = tomllib.loads(EXAMPLE)
    for _ in range(data.draw(st.integers(1, 3))):
        container, key = data.draw(st.sampled_from(places(tree)))
        match data.draw(st.sampled_from(["value", "remove", "rename", "repeat", "other"])):
            case "value":
                container[key] = copy.deepcopy(data.draw(VALUES))
            case "remove":
                del container[key]
            case "rename" if isinstance(container, dict):
                container[data.draw(st.sampled_from([f"{key}s", str(key)[1:]]))] = container.pop(
                    key
                )
            case "repeat" if isinstance(container, list):
                container.insert(key, copy.deepcopy(container[key]))
            case _:
                source, at = data.draw(st.sampled_from(places(tree)))
                container[key] = copy.deepcopy(source[at])
    reads_or_tells(read, "".join(f"{json.dumps(k)} = {toml(v)}\n" for k, v in tree.items()))


@READ_LIMITS
@given(
    at=st.integers(0, len(EXAMPLE)),
    length=st.integers(0, 40),
    piece=st.one_of(
        st.text(max_size=8), st.sampled_from(["[", "]", "{", "=", "\n", '"', "[[", "."])
    ),
)
def test_mutated_text_never_escapes(read: Read, at: int, length: int, piece: str) -> None:
    text = EXAMPLE[:at] + piece + EXAMPLE[at + length :]
    reads_or_tells(read, text.encode("utf-8", "ignore").decode())


def test_lines_that_share_a_label_are_told_apart_by_their_names(tmp_path: Path) -> None:
    """Girders drawn one by one have one label; tables name each line as no other."""
    girders = "".join(
        f'[[line]]\nname = "{name}"\npath_m = [[0, {y}], [8, {y}]]\nsupport = "rigid"\n'
        f'label = "{label}"\n'
        for name, y, label in (
            ("G1", -2, "girder"),
            ("G2", 0, "girder"),
            ("G3", 2, "girder G1"),  # what the first one becomes
            ("W", 3, "wall"),
        )
    )
    path = tmp_path / "deck.toml"
    path.write_text(
        "[slab]\nthickness_mm = 300\nE_GPa = 30\n"
        "[plan]\noutline_m = [[0, -3], [8, -3], [8, 3], [0, 3]]\n" + girders,
        encoding="utf-8",
    )
    titles = [line.label for line in read_deck(path).lines]
    assert titles == ["girder G1 G1", "girder G2", "girder G1 G3", "wall"]
