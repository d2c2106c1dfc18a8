"""Slabs that carry wheels by arching between beams that hold them in their plane: the conditions
under which standards count on it, and the load of a wheel at which such a slab punches.

Neither is in any verdict. A condition is judged from the deck file where the deck file tells, and
else left to the user. Units of functions SI; the papers' own in comments.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from pipelines.standards.sources import Source

MM, FOOT, INCH, KSI, MPA = 1e-3, 0.3048, 0.0254, 6.894757e6, 1e6

EMPIRICAL_SOURCE = Source("AASHTO LRFD", "9.7.2.3, 9.7.2.4")
EMPIRICAL_STEEL_SOURCE = Source("AASHTO LRFD", "9.7.2.5")
ARCHING_CONDITIONS_SOURCE = Source(None, "BD 81/02, conditions of use")
ARCHING_SOURCE = Source(
    None,
    "Kirkpatrick, Rankin and Long 1984, Strength evaluation of M-beam bridge deck slabs, "
    "The Structural Engineer 62B",
)

# Least steel of each layer of the empirical method [m2/m], and its widest spacing [m].
EMPIRICAL_STEEL = {"bottom": 0.27 * INCH**2 / FOOT, "top": 0.18 * INCH**2 / FOOT}
EMPIRICAL_SPACING = 18 * INCH
# From this skew on the steel of the end zones is doubled [degrees].
EMPIRICAL_SKEW = 25.0
# The arching parameter beyond which the slab snaps through.
MOST_R = 0.26


@dataclass(frozen=True)
class Condition:
    """A condition of use. found : what the deck has, in print; holds : None where the deck file
    does not tell."""

    words: str
    found: str
    holds: bool | None


@dataclass(frozen=True, kw_only=True)
class SlabOnBeams:
    """What conditions ask of a slab and its parallel beams, in m, Pa, degrees.

    spans : distances of the beams' centre lines, bay by bay; widths : of the beams at the slab;
    overhangs : beyond the outermost ones; free_ends : names of edges that no line carries; joined :
    whether every beam is joined to the slab's membrane; uniform : one thickness; cylinder, cube :
    characteristic strengths of the concrete; covers : sum of both faces'.
    """

    spans: tuple[float, ...]
    widths: tuple[float, ...]
    overhangs: tuple[float, float]
    free_ends: tuple[str, ...]
    joined: bool
    uniform: bool
    thickness: float
    covers: float
    cylinder: float
    cube: float
    skew: float

    @property
    def effective_length(self) -> float:
        """The longest [m]: between the beams' tips, and from a tip to the web, which is taken as
        thin (AASHTO LRFD 9.7.2.3)."""
        return max(
            span - 0.25 * (a + b)
            for span, a, b in zip(self.spans, self.widths, self.widths[1:], strict=False)
        )


def _mm(value: float) -> str:
    return f"{1e3 * value:.0f} mm"


def empirical_conditions(slab: SlabOnBeams) -> Iterator[Condition]:
    """Those of the empirical method of AASHTO LRFD 9.7.2.4."""
    length, h = slab.effective_length, slab.thickness
    ratio = length / h
    core = h - slab.covers
    over = min(slab.overhangs)
    return iter(
        (
            Condition("beams of steel or concrete with cross frames or diaphragms", "", None),
            Condition("cast in place throughout and water-cured", "", None),
            Condition("shear connectors where beams hog", "", None),
            Condition(
                "made composite with the beams",
                "every beam has a connection" if slab.joined else "not every beam has a connection",
                slab.joined,
            ),
            Condition(
                "one thickness but for haunches",
                "one thickness" if slab.uniform else "zones of other thickness",
                slab.uniform,
            ),
            Condition("effective length / thickness, 6 to 18", f"{ratio:.1f}", 6 <= ratio <= 18),
            Condition("effective length at most 13.5 ft", _mm(length), length <= 13.5 * FOOT),
            Condition(
                "depth between the outer faces of the mats at least 4 in",
                _mm(core),
                core >= 4 * INCH,
            ),
            Condition("thickness at least 7 in", _mm(h), h >= 7 * INCH),
            Condition(
                "overhang at least 5 times the thickness (3 with a composite parapet)",
                _mm(over),
                True if over >= 5 * h else None if over >= 3 * h else False,
            ),
            Condition(
                "f'c at least 4 ksi", f"{slab.cylinder / MPA:.1f} MPa", slab.cylinder >= 4 * KSI
            ),
        )
    )


def arching_conditions(slab: SlabOnBeams) -> Iterator[Condition]:
    """Those under which BD 81/02 counts on arching between beams."""
    span, h, over = max(slab.spans), slab.thickness, min(slab.overhangs)
    free = ", ".join(slab.free_ends)
    return iter(
        (
            Condition("cross frames or diaphragms, and beams that are held apart", "", None),
            Condition("span at most 3.7 m", _mm(span), span <= 3.7),
            Condition("span / thickness at most 15", f"{span / h:.1f}", span <= 15 * h),
            Condition("thickness at least 160 mm", _mm(h), h >= 0.160),
            Condition(
                "cube strength at least 40 MPa", f"{slab.cube / MPA:.0f} MPa", slab.cube >= 40 * MPA
            ),
            Condition("overhang at least 1.0 m", _mm(over), over >= 1.0),
            Condition(
                "edges across the beams carried",
                f"free: {free}" if free else "carried",
                not free,
            ),
        )
    )


@dataclass(frozen=True)
class Arching:
    """A slab that arches: R : its parameter; k : of the arching moment; rho : the ratio of steel
    that it is worth; load : of a wheel at which it punches [N]."""

    R: float
    k: float
    rho: float
    load: float


def arching(
    *, half_span: float, thickness: float, depth: float, strength: float, area: float
) -> Arching | None:
    """The punching load of a wheel on a slab that arches, None where it snaps through first.

    half_span, thickness, depth : half the clear span, overall and effective depth [m]; strength :
    of cylinders, the design value [Pa]; area : loaded [m2], taken as the circle of that area, the
    smaller of the usual ones.

    The strain at which concrete is plastic, the arching moment of a strip between rigid supports
    and the punching of Long's two-phase approach (Kirkpatrick, Rankin and Long 1984).
    """
    f = strength / MPA
    strain = (-400.0 + 60.0 * f - 0.33 * f**2) * 1e-6
    R = strain * (half_span / thickness) ** 2
    if not 0.0 < R <= MOST_R:
        return None
    k = 0.0525 * (4.3 - 16.1 * np.sqrt(3.3e-4 + 0.1243 * R))
    rho = k * f / 240.0 * (thickness / depth) ** 2
    d, across = depth / MM, np.sqrt(4.0 * area / np.pi) / MM
    load = 1.52 * (across + d) * d * np.sqrt(f) * (100.0 * rho) ** 0.25  # N, mm, MPa
    return Arching(float(R), float(k), float(rho), float(load))
