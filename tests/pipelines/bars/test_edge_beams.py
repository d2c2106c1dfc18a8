"""Beams along lines: resistances by hand, and what acts against the beam's own rows."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import sparse

from pipelines.bars.checks.edge_beams import (
    beam_checks,
    bending_resistance,
    cracking_torque,
    least_links,
    link_resistance,
    torsion_rows,
    tube,
)
from pipelines.bars.demand.beam_forces import BeamExtremes, BeamForces, BeamWatch
from pipelines.deck.reinforcement import EdgeBeam
from pipelines.model.beam_rows import BeamRows, beam_axial_rows, beam_rows, beam_torsion_rows
from pipelines.model.build import build_model
from pipelines.model.case_responses import case_responses
from pipelines.model.responses import SolvedDeck
from pipelines.standards.actions.combinations import Combination
from pipelines.standards.actions.loads import Action
from pipelines.standards.materials import materials
from pipelines.standards.sources import Source
from plate.results.functionals import mean_rows
from tests.pipelines.small_decks import BEAMS, PLAN, SLAB, deck_of, grades, mat

EN = materials("C35/45", "B500B", "EN 1992")
AREA = np.pi / 4 * 0.020**2
LINKS = 2 * np.pi / 4 * 0.012**2 / 0.150
BEAM = EdgeBeam(
    lines=("C2",),
    width=0.350,
    depth=0.620,
    top=3 * AREA,
    bottom=4 * AREA,
    axis_top=0.072,
    axis_bottom=0.072,
    links=LINKS,
    legs=2,
    axis_links=0.050 + 0.006,
)
ULS = Combination(
    standard="EN 1992",
    limit_state="ULS",
    permanent={"self-weight": (1.35, 1.0)},
    traffic=1.35,
    source=Source("EN 1992", "test"),
)


def test_bending_by_hand() -> None:
    """4 bars of 20: T = 1256.6 x 434.78 = 546.4 kN, block 546.4/(19.83 x 350) = 78.7 mm,
    M_Rd = 546.4 x (548 - 39.4) = 277.9 kNm."""
    assert bending_resistance(BEAM, EN, sagging=True) == pytest.approx(277.9e3, rel=1e-3)
    hogging = bending_resistance(BEAM, EN, sagging=False)
    assert hogging == pytest.approx(409.8e3 * (0.548 - 409.8 / 19.833 / 350 / 2), rel=1e-3)


def test_links_by_hand() -> None:
    """EN (6.8): A_sw/s 1.508 mm2/mm x 493.2 mm x 434.78 MPa = 323.4 kN; (6.9) with nu = 0.516:
    350 x 493.2 x 0.516 x 19.83 / 2 = 883 kN; (9.5N): 0.08 sqrt(35)/500 x 350 = 0.331 mm2/mm."""
    assert link_resistance(BEAM, EN) == pytest.approx(323.4e3, rel=1e-3)
    heavy = replace(BEAM, links=1.0)
    assert link_resistance(heavy, EN) == pytest.approx(883e3, rel=1e-3)
    assert least_links(BEAM, EN) == pytest.approx(0.331e-3, rel=2e-3)
    # AASHTO 5.7.2.5: 0.0316 sqrt(4) b/f_y in ksi and inches
    american = materials("4 ksi", "Grade 60", "AASHTO LRFD")
    assert least_links(BEAM, american) == pytest.approx(0.0316 * 2 * 0.350 / 60, rel=1e-9)


def test_what_acts(tmp_path: Path) -> None:
    """Permanent 10 sagging and -20 of shear, traffic 40 to -30 and 50 to -80: 1.35 of the worst,
    the weight with 1.0 where it relieves."""
    deck = deck_of(tmp_path, SLAB, PLAN, BEAMS)
    empty = sparse.csr_array((2, 1))
    at, none = (np.zeros(1), np.zeros(1)), empty
    rows = BeamRows(
        names=("C1", "C2"), at=at, sides=at, moments=none, shears=none, web=none, tie=none
    )
    # four forms of the moment, shear, torsion; no axial force
    four = [0, 0, 0, 0, 1, 2]
    weight: dict[Action, np.ndarray] = {
        "self-weight": np.array([[0.0, 10e3], [0.0, -20e3], [0.0, 1e3]])[four]
    }
    high = np.array([[900e3, 40e3], [0, 50e3], [0, 2e3]])[four]
    low = np.array([[0, -30e3], [0, -80e3], [0, -6e3]])[four]
    forces = BeamForces(rows, weight, high, low)
    acting = forces.extremes(ULS, "C2")
    assert acting.sagging == pytest.approx(1.35 * 50e3)
    assert acting.hogging == pytest.approx(1.35 * 30e3 - 10e3)
    assert acting.shear == pytest.approx(1.35 * 100e3)
    assert acting.torsion == pytest.approx(1.35 * 6e3 - 1e3)
    found = beam_checks(deck, (BEAM,), EN, ULS, forces)
    assert [row.check for row in found[:4]] == [
        "beam, sagging",
        "beam, hogging",
        "beam, shear with links",
        "beam, least links",
    ]
    assert len(found) == 7
    assert found[2].required == pytest.approx(1.35 * 100e3)
    assert all(row.passes for row in found)
    assert all("C2" in row.place for row in found)


def test_torsion_by_hand() -> None:
    """A/u = 217000/1940 = 111.9 mm, twice the axis 144 mm governs: A_k = 206 x 476 = 98056 mm2,
    u_k = 1364 mm. T = 20 kNm, V = 150 kN, f_yd 434.78, nu f_cd 0.516 x 19.833 = 10.234 MPa:
    T_Rd,max = 10.234 x 98056 x 144 = 144.5 kNm, V_Rd,max = 883.3 kN;
    a leg 20e6/(2 x 98056 x 434.78) = 0.2346 and 150e3/(493.2 x 434.78 x 2) = 0.3498 mm2/mm."""
    t, A_k, u_k = tube(BEAM)
    assert (t, A_k, u_k) == pytest.approx((0.144, 0.098056, 1.364))
    acting = BeamExtremes(0.0, 0.0, 150e3, 20e3)
    struts, leg, along = torsion_rows(BEAM, EN, acting, "beam")
    assert struts.provided == pytest.approx(20 / 144.5 + 150 / 883.3, rel=1e-3)
    assert leg.required == pytest.approx(0.5844e-3, rel=1e-3)
    assert leg.provided == pytest.approx(np.pi / 4 * 0.012**2 / 0.150)
    assert along.required == pytest.approx(0.2346e-3 * 1.364, rel=1e-3)
    assert along.provided == pytest.approx(7 * AREA)
    too_much = BeamExtremes(2e6, 0.0, 0.0, 0.0)
    assert not torsion_rows(BEAM, EN, too_much, "beam")[2].passes


def test_torsion_of_aashto_by_hand() -> None:
    """Inches and kips: b 14, h 24, links' centre line 2.25 from the faces, bars' axis 3; f'c 4 ksi,
    f_y 60 ksi. A_cp = 336, p_c = 76: T_cr = 0.126 x 2 x 336^2/76 = 374.34 kip in, 0.25 phi of it
    84.23. T = 150 kip in, V = 40 kip: A_oh = 9.5 x 19.5 = 185.25, A_o = 157.46, p_h = 58; d_v =
    0.9 x 21 = 18.9. V_eq = sqrt(40^2 + (0.9 x 58 x 150/314.93)^2) = 47.10 kip under
    0.9 x 0.25 x 4 x 14 x 18.9 = 238.1 kip. A leg: 40/(0.9 x 18.9 x 60 x 2) + 150/(0.9 x 314.93 x
    60) = 0.019596 + 0.008820 = 0.028416 in2/in against 0.20/6 = 0.033333. V_s = 0.40/6 x 18.9 x 60
    = 75.6 > 44.44: half of V/phi is left, 22.22; 0.45 x 58 x 150/(314.93 x 0.9) = 13.81; together
    26.17 kip. Bottom, 1200 kip in: 1200/(0.9 x 18.9) + 26.17 = 96.71 kip = 1.612 in2."""
    inch, kip = 0.0254, 4448.2216
    mat = materials("4 ksi", "Grade 60", "AASHTO LRFD")
    beam = EdgeBeam(
        lines=("C2",),
        width=14 * inch,
        depth=24 * inch,
        top=1.2 * inch**2,
        bottom=1.8 * inch**2,
        axis_top=3 * inch,
        axis_bottom=3 * inch,
        links=0.40 / 6 * inch,
        legs=2,
        axis_links=2.25 * inch,
    )
    assert cracking_torque(beam, mat) == pytest.approx(374.34 * kip * inch, rel=1e-4)
    acting = BeamExtremes(1200 * kip * inch, 0.0, 40 * kip, 150 * kip * inch)
    struts, leg, bottom, top = torsion_rows(beam, mat, acting, "beam")
    assert struts.required == pytest.approx(47.097 * kip, rel=1e-4)
    assert struts.provided == pytest.approx(238.14 * kip, rel=1e-4)
    assert leg.required == pytest.approx(0.028416 * inch, rel=1e-4)
    assert leg.provided == pytest.approx(0.20 / 6 * inch, rel=1e-6)
    assert bottom.required == pytest.approx(1.612 * inch**2, rel=1e-3)
    assert bottom.provided == pytest.approx(1.8 * inch**2)
    assert top.required == pytest.approx(26.17 / 60 * inch**2, rel=1e-3)
    assert all(row.passes for row in (struts, leg, bottom, top))
    (small,) = torsion_rows(beam, mat, replace(acting, torsion=80 * kip * inch), "beam")
    assert (small.check, small.passes) == ("beam, torsion that may be left out", True)
    assert small.required == pytest.approx(84.23 * kip * inch, rel=1e-4)
    heavy = replace(acting, shear=60 * kip, torsion=300 * kip * inch)
    assert not torsion_rows(beam, mat, heavy, "beam")[1].passes


def test_torsion_of_a_twisted_plate(tmp_path: Path) -> None:
    """w = x y twists every line across by 1 rad/m^2: T = GJ = 81 GPa x 200 cm4 = 162 kNm."""
    model = build_model(deck_of(tmp_path, SLAB, PLAN, BEAMS)).model
    x, y = model.mesh.xy.T
    fields = np.stack([x * y, y, x], axis=1)
    U = np.zeros(model.n_dof)
    U[: fields.size] = fields.ravel()
    np.testing.assert_allclose(np.abs(beam_torsion_rows(model) @ U), 162e3, rtol=1e-9)
    # and no bending: the slope along the line is constant
    np.testing.assert_allclose(beam_rows(model).moments @ U, 0.0, atol=1e-6 * 162e3)


T_BEAMS = """
[[line]]
on = ["L1", "L2"]
support = "beam"
beam = { E_GPa = 30, G_GPa = 12, I_cm4 = 625000, J_cm4 = 200000, A_cm2 = 1800, eccentricity_mm = 425, connection = CONNECTION }
held_at = ["C1", "C2"]
"""  # noqa: E501
T_PLAN = """
[plan]
stations_m = [0.0, 6.0]
offsets_m = [-2.0, 2.0]
[mesh]
size_m = 0.5
[[case]]
name = "weight"
pressure_kN_m2 = 10.0
action = "self-weight"
"""
T_BARS = (
    """
"""
    + grades({"EN 1992": "C35/45"}, {"EN 1992": "B500B"})
    + mat("bottom", "16@150", "12@150")
    + mat("top", "16@150", "12@150")
    + """
[[beam_bars]]
on = ["L1", "L2"]
width_mm = 300
depth_mm = 600
cover_mm = 40
top = { count = 2, diameter_mm = 20 }
bottom = { count = 4, diameter_mm = 25 }
links = { diameter_mm = 10, spacing_mm = 150 }
"""
)


@pytest.mark.parametrize("connection", ['"full"', "{ k_kN_m2 = 500000 }"])
def test_a_joined_beam_carries_its_axial_force(tmp_path: Path, connection: str) -> None:
    """At mid-span beams, their axial forces below the slab and the slab's own moments carry
    10 kN/m2 x 4 m x (6 m)^2 / 8 = 180 kNm; and by hand t = (600 - lambda x)/2 with 1963.5 x 434.8 =
    853.7 kN over 19.833 x 300: 143.5 mm, t = 228.3 mm for tension, 3 t - 600 = 84.8 mm else."""
    beams = T_BEAMS.replace("CONNECTION", connection)
    deck = deck_of(tmp_path, SLAB, T_PLAN, beams, T_BARS)
    model = build_model(deck).model
    solved = SolvedDeck.of(deck, model)
    cases = case_responses(solved)
    U = cases["weight"].displacements
    axial = beam_axial_rows(model)
    n = np.asarray(axial @ U)[:, 0]
    rows = solved.beams
    middle = {
        name: int(np.abs(at - 3.0).argmin()) for name, at in zip(rows.names, rows.at, strict=True)
    }
    N = [rows.split(n)[name][k] for name, k in middle.items()]
    M = [rows.split(cases["weight"].beam_moments[:, 0])[name][k] for name, k in middle.items()]
    assert min(N) > 50e3  # tension below the slab
    across = mean_rows(model, np.array([[3.0, -2.0], [3.0, 2.0]]))
    m_x = float((across @ U)[1, 0])
    total = sum(M) + 0.425 * sum(N) + 4.0 * m_x
    assert total == pytest.approx(180e3, rel=2e-3)  # of the mesh

    watch = BeamWatch(solved, cases)
    weight = watch.permanent["self-weight"]
    per_metre = 4 * np.pi / 4 * 0.025**2 * EN.f_yd / (EN.f_cd * 0.300)
    t = (0.600 - per_metre) / 2
    assert t == pytest.approx(0.2283, abs=1e-4)
    for k, arm in ((0, t), (1, 3 * t - 0.600)):
        np.testing.assert_allclose(
            weight[k], cases["weight"].beam_moments[:, 0] + arm * n, rtol=1e-6, atol=1e-3
        )
    acting = watch.forces("EN 1992").extremes(ULS, "L1")
    assert acting.sagging == pytest.approx(1.35 * (M[0] + t * N[0]), rel=2e-3)
    # the top bars: tension lowers nothing there
    assert acting.hogging >= 0
    one = deck.reinforcement
    assert one is not None
    row = beam_checks(deck, one.beams, EN, ULS, watch.forces("EN 1992"))[0]
    assert row.required == pytest.approx(acting.sagging)
