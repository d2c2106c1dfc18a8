"""What the model says of readings, by other routes; its derivatives by differences."""

from pathlib import Path

import numpy as np
import pytest

from pipelines.deck.reading.deck_file import read_deck
from pipelines.errors import DeckError, JobError
from pipelines.model.case_responses import case_responses
from pipelines.model.case_sums import beam_axial
from pipelines.model.responses import SolvedDeck
from plate.conventions import SHEAR_FACTOR
from tests.pipelines.load_test_decks import (
    HEADS,
    LORRY,
    MESH,
    POSITIONS,
    blank_readings,
    deck_with,
    load_test,
    loaded,
)
from tests.pipelines.small_decks import BEAMS, PLAN, SLAB, deck_of

# The wheels of the lorry's first axle at station 1.4 and offset 0.3, on the slab.
ONE_AXLE = "axles = [{ at_m = 0.0, load_kN = 60, gauge_m = 1.8, patch_mm = [250, 350] }]"
STANDS = 'positions = [{ name = "P1", station_m = 1.4, offset_m = 0.3 }]'
CASE = """
[[case]]
name = "wheels"
patches = [
  { at_m = [1.4, -0.6], size_m = [0.25, 0.35], load_kN = 30 },
  { at_m = [1.4, 1.2], size_m = [0.25, 0.35], load_kN = 30 } ]
"""
READ = f"""{HEADS},lever_mm
P1,G,4.3,0.5,1,,,,,,
P1,G,,,,1,,bottom,x,,
P1,G,,,,1,,top,x,,
P1,G,,,,1,,bottom,y,,
P1,G,,,,1,,bottom,y,,100
P1,G,,,,,1,,x,,
P1,G,,,,,1,,y,,
"""


def test_readings_are_those_of_a_static_case(tmp_path: Path) -> None:
    """The wheels as patches of a static case and probes about the gauge: curvatures by the
    isotropic plate's own formula, kappa_x = 12 (m_x - nu m_y) / (E t^3), slopes of the normal as
    those of w less the shear's, gamma = q / (kappa_s G t). Differences of w over 2 mm."""
    h = 1e-3
    probes = "".join(
        f'[[probe]]\nname = "{name}"\nat_m = [{4.3 + dx}, {0.5 + dy}]\n'
        for name, dx, dy in (
            ("at", 0.0, 0.0),
            ("ahead", h, 0.0),
            ("behind", -h, 0.0),
            ("right", 0.0, h),
            ("left", 0.0, -h),
        )
    )
    table = load_test(positions=STANDS, fit="", lorry=ONE_AXLE)
    fine = "[mesh]\norder = 4\nsize_m = 0.6\n"
    deck = deck_with(tmp_path, table, CASE, probes, readings=READ, mesh=fine)
    test = loaded(deck)
    solved = SolvedDeck.of(deck, test.model(test.start))
    values = solved.probes.values(case_responses(solved)["wheels"].probes)
    w, mx, my, _, qx, qy = values["at"][:, 0]
    E, t, nu = 30e9, 0.25, 0.2
    kx, ky = 12.0 * (mx - nu * my) / (E * t**3), 12.0 * (my - nu * mx) / (E * t**3)
    soft = SHEAR_FACTOR * E / (2.0 * (1.0 + nu)) * t
    slope_x = (values["ahead"][0, 0] - values["behind"][0, 0]) / (2.0 * h) - qx / soft
    slope_y = (values["right"][0, 0] - values["left"][0, 0]) / (2.0 * h) - qy / soft
    expected = [w, kx * t / 2, -kx * t / 2, ky * t / 2, ky * 0.1, slope_x, slope_y]
    np.testing.assert_allclose(test.values(test.start)[5:], expected[5:], rtol=3e-4)
    np.testing.assert_allclose(test.values(test.start)[:5], expected[:5], rtol=1e-9)


SPRINGS = """
[[line]]
on = "C1"
support = "spring"
k_kN_m2 = 90000
k_rot_kNm_rad_m = 9000
[[line]]
on = "C2"
support = "beam"
beam = { E_GPa = 210, G_GPa = 81, I_cm4 = 60000, J_cm4 = 200, A_cm2 = 160, Av_cm2 = 60, \
eccentricity_mm = 500, connection = { k_kN_m2 = 200000 } }
held_at = [{ on = "L1", k_kN_m = 90000, k_rot_kNm_rad = 30000 }, { on = "L2", stub_m = 0.3 }]
[[point]]
at_m = [6.0, -1.5]
support = "spring"
name = "B1"
k_kN_m = 80000
[[point]]
at_m = [6.0, 1.5]
support = "rigid"
"""
EVERY_KIND = """
fit = [ { of = "slab E" }, { of = "slab thickness" }, { of = "beam EI", on = "C2" },
  { of = "beam E", on = "C2" }, { of = "connection k", on = "C2" }, { of = "spring k", on = "C1" },
  { of = "spring k_rot", on = "C*" }, { of = "hold k", on = "C2" },
  { of = "hold k_rot", on = "C2" },
  { of = "point k", on = "B*" } ]
"""


def test_derivatives_are_differences_of_the_values(tmp_path: Path) -> None:
    """By every kind of stiffness, against central differences of whole solutions a ten thousandth
    of the logarithm to either side: these are wrong by 1e-8 of the curvature and by rounding, 1e-12
    over 1e-4."""
    (tmp_path / "readings.csv").write_text(blank_readings(), encoding="utf-8")
    path = tmp_path / "deck.toml"
    table = load_test(fit=EVERY_KIND)
    path.write_text(SLAB + PLAN + SPRINGS + MESH + table, encoding="utf-8")
    test = loaded(read_deck(path))
    x, h = test.start + 0.1, 1e-4
    J = test.jacobian(x)
    differences = np.column_stack(
        [(test.values(x + h * e) - test.values(x - h * e)) / (2.0 * h) for e in np.eye(len(x))]
    )
    assert J.shape == (27, 10)
    # Strains are some 1e-5, deflections some 1e-4 m: each against the largest of its kind.
    for quantity in ("deflection", "strain", "rotation"):
        mine = [i for i, one in enumerate(test.test.readings) if one.quantity == quantity]
        for k in range(len(x)):
            size = np.abs(differences[mine, k]).max()
            np.testing.assert_allclose(J[mine, k], differences[mine, k], atol=1e-5 * size, rtol=0)
            assert size > 0.0


def test_vehicles_at_one_position_add_up(tmp_path: Path) -> None:
    """Two lorries stand at P1: as much as each alone."""
    together = """
positions = [ { name = "P1", station_m = 2.5, offset_m = -0.5 },
  { name = "P1", station_m = 5.5, offset_m = 0.5, direction = "reverse" },
  { name = "P2", station_m = 2.5, offset_m = -0.5 },
  { name = "P3", station_m = 5.5, offset_m = 0.5, direction = "reverse" } ]
"""
    deck = deck_with(tmp_path, load_test(positions=together, fit=""))
    test = loaded(deck)
    values = dict(zip(test.test.readings, test.values(test.start), strict=True))
    by = {(one.position, one.place): value for one, value in values.items()}
    for place in ("G1", "G3", "S1", "R1"):
        both = by["P2", place] + by["P3", place]
        assert by["P1", place] == pytest.approx(both, rel=1e-9)


def test_a_vehicle_off_the_slab_is_refused(tmp_path: Path) -> None:
    off = POSITIONS.replace("station_m = 2.5", "station_m = 250")
    deck = deck_with(tmp_path, load_test(positions=off))
    with pytest.raises(JobError, match="May, position P1: no wheel of it is on the slab"):
        loaded(deck)


def test_impact_of_a_standard_vehicle_does_not_count(tmp_path: Path) -> None:
    lorry = (
        """
[traffic]
carriageway_m = [-1.9, 1.9]
dispersal = "none"
[[vehicle]]
name = "lorry"
impact = 1.5
"""
        + LORRY
    )
    named = load_test(lorry='vehicle = "lorry"\n', fit="")
    with_impact = loaded(deck_with(tmp_path, named, lorry))
    own = loaded(deck_with(tmp_path, load_test(fit="")))
    x = own.start
    np.testing.assert_allclose(with_impact.values(x), own.values(x), rtol=1e-6)


ON_BEAMS = f"""{HEADS},lever_mm,beam
P1,B1,3.0,0.0,,1,,bottom,,,400,C2
P1,B1,,,,1,,top,,,350,C2
P1,B2,3.0,0.73,,1,,bottom,,,400,C2
"""


@pytest.mark.parametrize("joined", ["", 'eccentricity_mm = 525, connection = "full",'])
def test_strains_of_beams_are_those_of_their_forces(tmp_path: Path, joined: str) -> None:
    """M y/EI + N/EA of the beam's own forces under the wheels as a static case, read at the samples
    beside the gauges: moments are linear between these."""
    table = load_test(positions=STANDS, fit="", lorry=ONE_AXLE)
    fine = "[mesh]\norder = 3\nsize_m = 0.8\n"
    (tmp_path / "readings.csv").write_text(ON_BEAMS, encoding="utf-8")
    beams = BEAMS.replace("{ E_GPa", "{ " + joined + " E_GPa")
    deck = deck_of(tmp_path, SLAB, PLAN, beams, fine, table, CASE)
    test = loaded(deck)
    solved = SolvedDeck.of(deck, test.model(test.start))
    response = case_responses(solved)["wheels"]
    moments = solved.beams.split(response.beam_moments[:, 0])["C2"]
    axial = solved.beams.split(beam_axial(solved, response))["C2"]
    at = dict(zip(solved.beams.names, solved.beams.at, strict=True))["C2"]
    expected = []
    for offset, lever in ((0.0, 0.4), (0.0, -0.35), (0.73, 0.4)):
        place = offset + 2.0
        M, N = (np.interp(place, at, values) for values in (moments, axial))
        expected.append(M * lever / (210e9 * 60000e-8) + N / (210e9 * 160e-4))
    np.testing.assert_allclose(test.values(test.start), expected, rtol=5e-3)
    assert bool(joined) == bool(np.abs(axial).max() > 1.0)


def test_strains_of_beams_change_with_stiffnesses_as_they_differ(tmp_path: Path) -> None:
    """Derivatives against differences, as of all other readings."""
    fit = 'fit = [{ of = "slab E" }, { of = "beam EI", on = "C2" }]\n'
    table = load_test(positions=STANDS, fit=fit, lorry=ONE_AXLE)
    test = loaded(deck_with(tmp_path, table, readings=ON_BEAMS))
    x, h = test.start + 0.1, 1e-4
    J = test.jacobian(x)
    differences = np.column_stack(
        [(test.values(x + h * e) - test.values(x - h * e)) / (2.0 * h) for e in np.eye(2)]
    )
    np.testing.assert_allclose(J, differences, atol=1e-5 * np.abs(differences).max(), rtol=0)


@pytest.mark.parametrize(
    ("row", "told"),
    [
        ("P1,B,3.0,0.0,,1,,bottom,,,400,C9", 'beam = "C9": no line with a beam'),
        ("P1,B,3.1,0.0,,1,,bottom,,,400,C2", "x_m, y_m = .*: 100 mm off the line of C2"),
        ("P1,B,3.0,0.0,,1,,bottom,,,,C2", "strain_um_m = 1: needs lever_mm"),
        ("P1,B,3.0,0.0,,1,,bottom,x,,400,C2", 'direction = "x": a strain along a beam has none'),
        ("P1,B,3.0,0.0,1,,,,,,,C2", 'beam = "C2": a deflection has none'),
    ],
)
def test_mistakes_of_gauges_on_beams_are_told(tmp_path: Path, row: str, told: str) -> None:
    with pytest.raises(DeckError, match=told):
        deck_with(tmp_path, load_test(positions=STANDS, fit=""), readings=ON_BEAMS + row + "\n")
