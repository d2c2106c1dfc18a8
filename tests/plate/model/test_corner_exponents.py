"""Exponents of thin plates in corners.

Printed values (from memory): Williams (1952) for clamped corners, 1.5445 at 270 degrees and 1.5 at
a crack's tip; Grisvard, Singularities in Boundary Value Problems (1992) for 3.7396 at 90 degrees;
1.25 is the tip of a slit with one face clamped and one free.
"""

import math
from itertools import pairwise

import numpy as np
import pytest

from plate.errors import GeometryError
from plate.model.corner_exponents import leading_exponent


@pytest.mark.parametrize(
    ("degrees", "edges", "exponent"),
    [
        (270, ("clamped", "clamped"), 1.5445),
        (360, ("clamped", "clamped"), 1.5),
        (90, ("clamped", "clamped"), 3.7396),
        (360, ("free", "free"), 1.5),
        (360, ("clamped", "free"), 1.25),
        (180, ("clamped", "simple"), 1.5),
        (180, ("clamped", "free"), 1.5),
        (180, ("free", "free"), 2.0),
        (120, ("simple", "simple"), 1.5),  # pi / angle
        (150, ("simple", "simple"), 1.2),
        (270, ("simple", "simple"), 4 / 3),  # 2 - pi / angle
        (90, ("simple", "simple"), 2.0),
        (90, ("simple", "free"), 2.0),
        (90, ("clamped", "simple"), 3.0),
    ],
)
def test_known_exponents(degrees, edges, exponent):
    got = leading_exponent(math.radians(degrees), *edges, 0.3)
    assert got == pytest.approx(exponent, abs=5e-5)


@pytest.mark.parametrize("degrees", [40.0, 75.0, 105.0, 135.0, 200.0, 300.0])
@pytest.mark.parametrize("edges", [("simple", "free"), ("clamped", "simple"), ("clamped", "free")])
def test_the_order_of_the_edges_does_not_matter(degrees, edges):
    angle = math.radians(degrees)
    there, back = (leading_exponent(angle, *pair, 0.2) for pair in (edges, edges[::-1]))
    assert there == pytest.approx(back, abs=1e-9)


@pytest.mark.parametrize("degrees", [60.0, 120.0, 135.0])
def test_the_exponent_solves_the_edge_conditions(degrees):
    """Simple-free corner: the written-out characteristic equation, apart from the package.

    With w = r^s f, f = A sin s phi + B sin (s-2) phi vanishes with its moment on phi = 0.
    """
    nu, angle = 0.3, math.radians(degrees)
    s = leading_exponent(angle, "simple", "free", nu)
    columns = []
    for k in (s, s - 2):
        f, f1 = math.sin(k * angle), k * math.cos(k * angle)
        moment = -k * k * f + (s + nu * s * (s - 1)) * f
        shear = -k * k * f1 + (s * s + (1 - nu) * (s - 1) * (s - 2)) * f1
        columns.append([moment, shear])
    assert np.linalg.det(np.array(columns)) == pytest.approx(0.0, abs=1e-7)
    assert s > 1


def test_obtuse_corners_are_worse():
    angles = np.radians([95, 110, 125, 140, 155, 170])
    for edges in (("simple", "simple"), ("simple", "free"), ("clamped", "free")):
        exponents = [leading_exponent(angle, *edges, 0.2) for angle in angles]
        assert all(b < a for a, b in pairwise(exponents))


def test_an_impossible_angle_is_refused():
    with pytest.raises(GeometryError, match="400 degrees"):
        leading_exponent(math.radians(400), "free", "free", 0.2)
