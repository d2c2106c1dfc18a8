"""Beams along lines: resistances by hand, and what acts against the beam's own rows."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import sparse

from pipelines.beamforces import BeamExtremes, BeamForces
from pipelines.build import build_model
from pipelines.clauses import Source
from pipelines.combinations import Combination
from pipelines.deck import Action
from pipelines.edgebeams import (
    beam_checks,
    bending_resistance,
    least_links,
    link_resistance,
    torsion_rows,
    tube,
)
from pipelines.grades import materials
from pipelines.probes import BeamRows, beam_rows, beam_torsion_rows
from pipelines.reinforcement import EdgeBeam
from tests.pipelines.small_decks import BEAMS, PLAN, SLAB, deck_of

EN = materials("C35/45", "B500B", "EN 1992")
AREA = np.pi / 4 * 0.020**2
BEAM = EdgeBeam(
    ("C2",), 0.350, 0.620, 3 * AREA, 4 * AREA, 0.072, 0.072, 2 * np.pi / 4 * 0.012**2 / 0.150, 2
)
ULS = Combination("EN 1992", "ULS", {"self-weight": (1.35, 1.0)}, 1.35, Source("EN 1992", "test"))


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
    rows = BeamRows(("C1", "C2"), (np.zeros(1), np.zeros(1)), empty, empty)
    weight: dict[Action, np.ndarray] = {
        "self-weight": np.array([[0.0, 10e3], [0.0, -20e3], [0.0, 1e3]])
    }
    high, low = [[900e3, 40e3], [0, 50e3], [0, 2e3]], [[0, -30e3], [0, -80e3], [0, -6e3]]
    forces = BeamForces(rows, weight, np.array(high), np.array(low))
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
    american = materials("4 ksi", "Grade 60", "AASHTO LRFD")
    assert torsion_rows(BEAM, american, acting, "beam") == ()


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
