"""Rigidities of the slab."""

from dataclasses import replace

import numpy as np
import pytest

from plate.elements.section import THIN, Section, Zone, curvature_rotation, moment_rotation
from plate.geometry.alignment import Alignment
from plate.geometry.elementary import rectangle_corners

E, NU, T = 34e9, 0.2, 0.27
D = E * T**3 / (12.0 * (1.0 - NU**2))
AT = np.array([[1.0, 0.5]])


def test_isotropic() -> None:
    section = Section(thickness=T, E=E, poisson=NU)
    exact = D * np.array([[1.0, NU, 0.0], [NU, 1.0, 0.0], [0.0, 0.0, 0.5 * (1.0 - NU)]])
    np.testing.assert_allclose(section.bending(AT, Alignment())[0], exact, rtol=1e-14)
    assert section.shear(AT)[0] == pytest.approx(5.0 / 6.0 * E / 2.4 * T)


def test_factors_leave_the_shear_alone() -> None:
    """D_1 takes the geometric mean of the factors on D_x and D_y."""
    section = Section(thickness=T, E=E, poisson=NU, factors=(0.5, 0.8, 0.6))
    bending = section.bending(AT, Alignment())[0]
    np.testing.assert_allclose(np.diag(bending), [0.5 * D, 0.8 * D, 0.6 * 0.4 * D])
    assert bending[0, 1] == pytest.approx(NU * D * 0.4**0.5)
    assert section.shear(AT)[0] == Section(thickness=T, E=E, poisson=NU).shear(AT)[0]


def test_given_rigidities() -> None:
    """m_xy = -2 D_xy w,xy and kappa_xy = 2 w,xy."""
    bending = Section(thickness=T, E=E, poisson=NU, rigidity=(4.0, 3.0, 1.0, 0.5)).bending(
        AT, Alignment()
    )[0]
    np.testing.assert_allclose(bending, [[4, 1, 0], [1, 3, 0], [0, 0, 0.5]])


def test_zones() -> None:
    zone = Zone(rectangle_corners((1.0, 0.0), (1.0, 2.0)), 0.5)
    section = Section(thickness=T, E=E, poisson=NU, zones=(zone,))
    inside, outside = np.array([[1.2, 0.9]]), np.array([[1.6, 0.9]])
    assert section.thickness_at(inside)[0] == 0.5
    assert section.thickness_at(outside)[0] == T
    ratio = section.bending(inside, Alignment())[0] / section.bending(outside, Alignment())[0].clip(
        1.0
    )
    assert ratio[0, 0] == pytest.approx((0.5 / T) ** 3)
    assert section.shear(inside)[0] / section.shear(outside)[0] == pytest.approx(0.5 / T)
    turned = Zone(zone.polygon[::-1], 0.5)
    np.testing.assert_array_equal(turned.contains(np.vstack([inside, outside])), [True, False])


def test_thin_theory_is_a_plate_of_a_thousandth_of_the_span() -> None:
    span = 3.1
    section = Section(thickness=T, E=E, poisson=NU, thin_span=span)
    assert section.thin
    assert not Section(thickness=T, E=E, poisson=NU).thin
    virtual = THIN * span
    exact = 5.0 / 6.0 * 6.0 * (1.0 - NU) * D / virtual**2
    assert section.shear(AT)[0] == pytest.approx(exact)


def test_rotations_keep_the_work_and_the_tensor() -> None:
    tangent = np.array([0.6, 0.8])
    kappa, m = np.array([1.0, -2.0, 0.7]), np.array([0.3, 0.5, -0.2])
    local_kappa, local_m = curvature_rotation(tangent) @ kappa, moment_rotation(tangent) @ m
    assert local_kappa @ local_m == pytest.approx(kappa @ m, rel=1e-14)
    R = np.array([tangent, [-0.8, 0.6]])
    tensor = R @ np.array([[0.3, -0.2], [-0.2, 0.5]]) @ R.T
    np.testing.assert_allclose(
        local_m, [tensor[0, 0], tensor[1, 1], tensor[0, 1]], rtol=0, atol=1e-15
    )


def test_an_orthotropic_slab_turns_with_a_curved_deck() -> None:
    """A quarter of a circle round, x along the deck is y of the drawing."""
    section = Section(thickness=T, E=E, poisson=NU, rigidity=(4.0, 3.0, 1.0, 0.5))
    quarter = np.array([[10.0 * np.pi / 2, 0.0]])
    bending = section.bending(quarter, Alignment(10.0))[0]
    np.testing.assert_allclose(bending, [[3, 1, 0], [1, 4, 0], [0, 0, 0.5]], rtol=0, atol=1e-12)


def test_softened_cells_are_a_section_with_factors() -> None:
    """Factors on D_x and D_y, their geometric mean on D_1 and D_xy, as `factors` has them; about
    the local axes of a curved deck."""
    factors = (0.5, 0.8, 0.4**0.5)
    section = Section(thickness=0.2, E=30e9, poisson=0.2)
    softer = replace(section, factors=factors)
    for alignment in (Alignment(), Alignment(10.0)):
        plan = np.array([[3.0, -1.0], [7.0, 2.0]])
        found = section.bending(plan, alignment, np.array([0.5, 0.8]))
        np.testing.assert_allclose(found, softer.bending(plan, alignment), rtol=1e-13, atol=1e-3)
