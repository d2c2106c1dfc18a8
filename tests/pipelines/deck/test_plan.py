"""Plans in deck files: outlines with arcs, openings, lines anywhere; and mistakes in them."""

import math
from pathlib import Path

import numpy as np
import pytest

from pipelines.deck.deck import Deck
from pipelines.deck.reading.deck_file import read_deck
from pipelines.errors import DeckError
from pipelines.model.build import build_model
from pipelines.model.static_cases import case_load
from pipelines.traffic.positions import load_positions
from plate.geometry.curves import distance
from plate.geometry.outline import plan_area
from plate.solver.stiffness import Stiffness
from tests.helpers import results
from tests.pipelines.outline_decks import BEAM, RAMP
from tests.pipelines.small_decks import SLAB

CASES = """
[[case]]
name = "weight"
self_weight = true
[[case]]
name = "parapet"
lines = [{ on = "E1", load_kN_m = 7 }]
"""


def deck_of(folder: Path, *parts: str) -> Deck:
    path = folder / "deck.toml"
    path.write_text("".join(parts), encoding="utf-8")
    return read_deck(path)


def ramp(*more: str) -> str:
    return "".join((SLAB, RAMP, BEAM, CASES, *more))


def test_an_outline_with_arcs_and_openings(tmp_path: Path) -> None:
    deck = deck_of(tmp_path, ramp())
    plan = deck.plan
    assert plan.edges == ("E1", "E2", "E3", "E4")
    assert deck.stations == ()
    assert [abs(curve.sweep) > 0.0 for curve in plan.ring] == [True, False, True, False]
    assert len(plan.openings) == 2
    rib = deck.line("rib")
    assert rib is not None
    assert rib.label == "beam rib"
    assert [held.on for held in rib.held_at] == ["E1"]
    edge = deck.line("E2")
    assert edge is not None
    assert edge.label == "edge E2"
    hand = plan_area(plan) + 1.0 + math.pi * 0.09  # openings put back
    chords = np.array([[0, -2], [8, -1], [8, 2], [0, 3]], dtype=float)
    x, y = chords.T
    straight = 0.5 * abs(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))
    caps = sum(0.5 * c.radius**2 * (c.sweep - math.sin(c.sweep)) for c in plan.ring if c.sweep)
    assert hand == pytest.approx(straight + caps, rel=1e-9)


def test_a_ramp_stands(tmp_path: Path) -> None:
    """Weight and parapet balance the reactions; the parapet follows the arc."""
    deck = deck_of(tmp_path, ramp("[mesh]\nsize_m = 1.0\n"))
    built = build_model(deck)
    assert built.notes[0].startswith("the plan is no grid")
    stiffness = Stiffness(built.model)
    F = np.stack([case_load(deck, case, built.model) for case in deck.cases], axis=1)
    U = stiffness.solve(F, refine=True)
    reactions = stiffness.reactions(U, F)
    assert set(reactions) == {"E2", "E4", "rib@E1"}
    # 25 kN/m3 on 250 mm; sides of order 3 leave the arcs by micrometres
    expected = [6250.0 * plan_area(deck.plan), 7000.0 * deck.plan.ring[0].length]
    np.testing.assert_allclose(F[::3].sum(axis=0), expected, rtol=1e-6)
    np.testing.assert_allclose(sum(reactions.values()), expected, rtol=1e-6)
    np.testing.assert_allclose(sum(reactions.values()), F[::3].sum(axis=0), rtol=1e-8)


def test_vehicles_cross_what_slab_there_is(tmp_path: Path) -> None:
    traffic = """
[traffic]
carriageway_m = [-3, 4]
offsets_m = [2.6]
step_m = 0.5
dispersal = "none"
directions = "forward"
[[vehicle]]
name = "wheel"
axles = [{ at_m = 0, load_kN = 10, wheels_m = [0], patch_mm = [200, 200] }]
"""
    deck = deck_of(tmp_path, ramp(traffic))
    # At offset 2.5 the slab ends where its edge E3 comes down to it: on the circle through
    # (8, 2), (4, 2.2) and (0, 3) that is solved here by bisection along the arc.
    arc = deck.plan.ring[2]
    share = np.linspace(0.0, 1.0, 200001)
    points = arc.at(share)
    end = points[np.argmin(np.abs(points[:, 1] - 2.5)), 0]
    (run,) = load_positions(deck)
    last = 0.5 * math.floor((end + 0.1) / 0.5)
    np.testing.assert_allclose(run.stations, np.arange(0.0, last + 0.25, 0.5), atol=1e-12)


def test_openings_and_lines_on_a_grid(tmp_path: Path) -> None:
    text = """
[plan]
stations_m = [0, 3, 6]
offsets_m = [-2, 2]
[[opening]]
corners_m = [[4, -0.5], [5, -0.5], [5, 0.5], [4, 0.5]]
[[line]]
on = "C*"
support = "rigid"
[[line]]
name = "W1"
path_m = [[0.5, -2], [2.5, 2]]
support = "spring"
k_kN_m2 = 100
"""
    deck = deck_of(tmp_path, SLAB, text, "[mesh]\nsize_m = 1.0\n")
    assert [line.name for line in deck.lines] == ["C1", "C2", "C3", "W1"]
    mesh = build_model(deck).model.mesh
    assert mesh.area() == pytest.approx(23.0, rel=1e-12)
    along = mesh.plan[mesh.lines["W1"]] - [0.5, -2.0]
    np.testing.assert_allclose(along[..., 0] * 2.0, along[..., 1], atol=1e-9)


def test_a_rectangle_by_its_outline_is_the_grid_of_it(tmp_path: Path) -> None:
    """The same slab through both meshers."""
    load = '[[case]]\nname = "p"\npressure_kN_m2 = 10\n[mesh]\nsize_m = 0.6\norder = 4\n'
    grid = "[plan]\nstations_m = [0, 4]\noffsets_m = [0, 3]\n"
    line = '[[line]]\non = ["{}", "{}"]\nsupport = "rigid"\n'
    outline = "[plan]\noutline_m = [[0, 0], [4, 0], [4, 3], [0, 3]]\n"
    found = []
    for plan, names in ((grid, ("start", "end")), (outline, ("E4", "E2"))):
        deck = deck_of(tmp_path, SLAB, plan, line.format(*names), load)
        model = build_model(deck).model
        F = case_load(deck, deck.cases[0], model)[:, None]
        U = Stiffness(model).solve(F)
        found.append(results(model, U[:, 0], [(2.0, 1.1)])[0])
    # w, m_x, m_y, m_xy, q_x, q_y; cells of 0.6 m of order 4 in a smooth field
    scale = np.abs(found[0]).max()
    np.testing.assert_allclose(found[0][:1], found[1][:1], rtol=1e-5)
    np.testing.assert_allclose(found[0][1:], found[1][1:], atol=1e-3 * scale)


PLAIN = """
[plan]
outline_m = [[0, 0], [6, 0], [6, 3], [0, 3]]
[[line]]
on = "E2"
support = "clamped"
"""

MISTAKES = {
    "no way": (
        "[plan] stations_m: is missing; a plan has",
        "outline_m = [[0, 0], [6, 0], [6, 3], [0, 3]]",
        "",
    ),
    "two ways": (
        "[plan] outline_m: give stations_m or outline_m",
        "[plan]",
        "[plan]\nstations_m = [0, 1]",
    ),
    "skew": ("[plan] skew_deg: belongs to a plan of stations_m", "[plan]", "[plan]\nskew_deg = 10"),
    "three numbers": (
        "[plan] outline_m 2, corner_m = [6, 0, 0]: must be a list of 2",
        "[6, 0]",
        "[6, 0, 0]",
    ),
    "misspelt arc": (
        "[plan] outline_m 2, arc_to: unknown key",
        "[6, 0]",
        "{ arc_to = [6, 0], through_m = [3, -1] }",
    ),
    "half an arc": (
        "[plan] outline_m 2: give [x, y], or { arc_to_m",
        "[6, 0]",
        "{ arc_to_m = [6, 0] }",
    ),
    "arc first": (
        "[plan] outline_m 1: an arc needs a corner before it",
        "[0, 0]",
        "{ arc_to_m = [0, 0], through_m = [3, -1] }",
    ),
    "no arc": (
        "[plan] outline_m 2, through_m = [9, 0]: the point on the arc",
        "[6, 0]",
        "{ arc_to_m = [6, 0], through_m = [9, 0] }",
    ),
    "corner twice": ("[plan] outline_m 3 = [6, 0]: must be 0.01 m or more", "[6, 3]", "[6, 0]"),
    "bow tie": (
        "[plan] outline_m: the outline crosses or touches itself",
        "[6, 3], [0, 3]",
        "[0, 3], [6, 3]",
    ),
    "unknown edge": ('[[line]] 1, on = "E9": matches no line of the plan', '"E2"', '"E9"'),
    "opening off": (
        "[[opening]] 1: opening 1 is not wholly within",
        "[[line]]",
        "[[opening]]\ncentre_m = [6, 1]\ndiameter_m = 1\n[[line]]",
    ),
    "half an opening": (
        "[[opening]] 1: give corners_m, or centre_m",
        "[[line]]",
        "[[opening]]\ncentre_m = [3, 1]\n[[line]]",
    ),
    "path and on": (
        "[[line]] 1: give `on` for lines of the plan",
        "support",
        "path_m = [[0, 1], [6, 1]]\nsupport",
    ),
    "path without name": ("[[line]] 1: give `on`", 'on = "E2"', "path_m = [[0, 1], [6, 1]]"),
    "name like a line": (
        '[[line]] 1, name = "C1": means another line',
        'on = "E2"',
        'name = "C1"\npath_m = [[0, 1], [6, 1]]',
    ),
    "name with a sign": (
        '[[line]] 1, name = "a@b": means another line',
        'on = "E2"',
        'name = "a@b"\npath_m = [[0, 1], [6, 1]]',
    ),
    "path off": (
        "[[line]] 1, path_m: line W leaves the slab",
        'on = "E2"',
        'name = "W"\npath_m = [[0, 1], [7, 1]]',
    ),
    "to edges": (
        "[[line]] 1, to_edges = true: line W ends where",
        'on = "E2"',
        'name = "W"\nto_edges = true\npath_m = [[0, 1], [6, 1]]',
    ),
    "layer without drawing": (
        "[[line]] 1, dxf_layer: there is no drawing",
        'on = "E2"',
        'name = "W"\ndxf_layer = "W"',
    ),
    "drawing elsewhere": (
        '[plan] dxf = "../x.dxf": allowed is a file in',
        "outline_m = [[0, 0], [6, 0], [6, 3], [0, 3]]",
        'dxf = "../x.dxf"\ndxf_layer = "A"',
    ),
    "load on no line": (
        '[[case]] 1, lines 1, on = "E7": no line of the plan',
        "[[line]]",
        '[[case]]\nname = "p"\nlines = [{ on = "E7", load_kN_m = 1 }]\n[[line]]',
    ),
    "load nowhere": (
        "[[case]] 1, lines 1: give path_m, or `on`",
        "[[line]]",
        '[[case]]\nname = "p"\nlines = [{ load_kN_m = 1 }]\n[[line]]',
    ),
}


@pytest.mark.parametrize("name", MISTAKES)
def test_mistakes(tmp_path: Path, name: str) -> None:
    message, old, new = MISTAKES[name]
    assert old in PLAIN
    with pytest.raises(DeckError) as caught:
        deck_of(tmp_path, SLAB, PLAIN.replace(old, new, 1))
    assert any(line.startswith(message) for line in caught.value.mistakes), caught.value.mistakes


L_SHAPE = """
[plan]
outline_m = [[0, 0], [6, 0], [6, 2], [2, 2], [2, 6], [0, 6]]
[[line]]
on = "E1"
support = "clamped"
"""


@pytest.mark.parametrize(
    ("more", "message"),
    [
        (
            '[[probe]]\nname = "p"\nfrom_m = [1, 5]\nto_m = [5, 1]\n',
            "[[probe]] 1, to_m = [5, 1]: the segment leaves the slab on its way",
        ),
        (
            '[[case]]\nname = "c"\nlines = [{ path_m = [[1, 5], [5, 1]], load_kN_m = 1 }]\n',
            "[[case]] 1, lines 1, path_m = a list of 2: leaves the slab between its points",
        ),
        (
            '[[case]]\nname = "c"\npatches = [{ at_m = [4, 4], size_m = [1, 1], load_kN = 1 }]\n',
            "[[case]] 1, patches 1, at_m = [4, 4]: the patch is wholly off the slab",
        ),
    ],
)
def test_what_a_re_entrant_corner_cuts_off(tmp_path: Path, more: str, message: str) -> None:
    with pytest.raises(DeckError) as caught:
        deck_of(tmp_path, SLAB, L_SHAPE, more)
    assert message in caught.value.mistakes


def test_a_patch_over_a_re_entrant_corner(tmp_path: Path) -> None:
    case = '[[case]]\nname = "c"\npatches = [{ at_m = [2, 2], size_m = [1, 1], load_kN = 100 }]\n'
    deck = deck_of(tmp_path, SLAB, L_SHAPE, case)
    assert len(deck.warnings) == 1
    assert "25 % of it is off the slab; 25 kN of its 100 kN do not act" in deck.warnings[0]


def test_a_collision_needs_the_edges_of_a_grid(tmp_path: Path) -> None:
    collision = "[collision]\nforce_kN = 100\nheight_m = 1.0\ninner_face_mm = 300\n"
    with pytest.raises(DeckError, match=r"\[collision\]: needs the edges of a plan with C and L"):
        deck_of(tmp_path, SLAB, L_SHAPE, collision)


def test_a_patch_over_an_opening(tmp_path: Path) -> None:
    case = '[[case]]\nname = "c"\npatches = [{ at_m = [6, 0.5], size_m = [1, 1], load_kN = 100 }]\n'
    deck = deck_of(tmp_path, SLAB, RAMP, BEAM, "\n", case)
    lost = 100.0 * math.pi * 0.3**2  # of a round opening of 0.6 m within 1 m2
    assert len(deck.warnings) == 1
    assert f"{lost:.3g} % of it is off the slab" in deck.warnings[0]
    model = build_model(deck).model
    total = case_load(deck, deck.cases[0], model)[::3].sum()
    assert total == pytest.approx(1e3 * (100.0 - lost), rel=1e-6)


def test_free_edges_openings_and_beams_get_a_thin_row(tmp_path: Path) -> None:
    """Half of 250 mm, and its diagonal at corners; not along supported edges."""
    deck = deck_of(tmp_path, ramp("[mesh]\nsize_m = 1.0\n"))
    mesh = build_model(deck).model.mesh
    _, owner = mesh.edges
    deepest = {}
    for name in ("E1", "E3", "opening 1", "opening 2", "rib"):
        ring = {"opening 1": deck.plan.openings[0], "opening 2": deck.plan.openings[1]}
        curves = ring.get(name) or deck.plan.lines[name].course()
        cells = owner[mesh.edge_index(mesh.lines[name][:, [0, -1]])][:, :, 0].ravel()
        depth = distance(curves, mesh.corners[cells[cells >= 0]]).max(axis=1)
        deepest[name] = float(np.median(depth))
    assert max(deepest.values()) < 0.125 * 1.02, deepest


def test_a_beam_over_an_opening_is_told(tmp_path: Path) -> None:
    text = """
[plan]
outline_m = [[0, 0], [6, 0], [6, 3], [0, 3]]
[[opening]]
centre_m = [3, 1.5]
diameter_m = 0.5
[[line]]
name = "W"
path_m = [[0, 1.5], [6, 1.5]]
support = "beam"
"""
    with pytest.raises(DeckError, match="beam W would run over opening 1"):
        deck_of(tmp_path, SLAB, text, BEAM)


def test_arcs_are_refused_on_a_curved_deck(tmp_path: Path) -> None:
    text = """
[plan]
stations_m = [0, 6]
offsets_m = [-2, 2]
radius_m = 40
[[opening]]
centre_m = [3, 0]
diameter_m = 0.5
"""
    with pytest.raises(DeckError, match=r"\[\[opening\]\] 1: has arcs, which a curved deck"):
        deck_of(tmp_path, SLAB, text)
