"""The strip library: each method's arithmetic and limits, and vehicles on a deck's strip."""

from dataclasses import replace

import numpy as np
import pytest

from pipelines.errors import MethodRangeError
from pipelines.standards.actions.loads import Axle, Vehicle
from pipelines.standards.resistance.shear import LEAST_SHARE_FIB, near_support_factor
from pipelines.standards.strip_widths.irc import effective_span, loaded_length
from pipelines.standards.strip_widths.method import FOOT, INCH, StripInput
from pipelines.standards.strip_widths.sets import FIRST_SET, METHODS
from pipelines.strips.axle_widths import SoughtSection, axle_width, strip_train
from pipelines.strips.beam import StripBeam, StripSupport, moment_lines, shear_lines
from pipelines.strips.deck_strip import StripDeck, strip_deck
from pipelines.strips.moments import SINGLE_VEHICLE, edge_hogging, edge_moments, strip_moments
from pipelines.strips.shears import strip_shears
from pipelines.strips.trains import (
    StripLoad,
    Train,
    WidthFunction,
    bay_sagging,
    response,
    support_hogging,
)
from tests.pipelines.small_decks import BEAMS, PLAN, SLAB, TRAFFIC, deck_of

KIP = 4448.2216152605  # [N]
ONE = StripInput(span=3.0, position=1.5, contact=(0.25, 0.5), depth=0.25)


def width_of(key: str, one: StripInput) -> float:
    method = METHODS[key]
    assert method.width is not None
    return float(method.width(one))


def moment_of(key: str, one: StripInput, load: float) -> float:
    method = METHODS[key]
    assert method.moment is not None
    return float(method.moment(one, load))


# AASHTO -----------------------------------------------------------------------------------------


# LRFD table 4.6.2.1.3-1 (from memory): +M 26.0 + 6.6 S and -M 48.0 + 3.0 S inches.
@pytest.mark.parametrize("bars", ["parallel", "across"])
@pytest.mark.parametrize(
    ("span_ft", "plus_in", "minus_in"),
    [
        (6.0, 65.6, 66.0),
        (8.0, 78.8, 72.0),
        (9.75, 90.35, 77.25),
        (10.0, 92.0, 78.0),
        (12.0, 105.2, 84.0),
    ],
)
def test_lrfd_strips(span_ft, plus_in, minus_in, bars):
    one = replace(ONE, span=span_ft * FOOT, ends="both ends", bars=bars)
    assert width_of("aashto-lrfd-sagging", one) == pytest.approx(plus_in * INCH, rel=1e-12)
    assert width_of("aashto-lrfd-hogging", one) == pytest.approx(minus_in * INCH, rel=1e-12)


def test_lrfd_overhang_and_edges():
    overhang = replace(ONE, span=1.2, position=3 * FOOT, ends="cantilever")
    assert width_of("aashto-lrfd-overhang", overhang) == pytest.approx(75 * INCH, rel=1e-12)
    one = replace(ONE, span=8 * FOOT, bars="across", edge_distance=12 * INCH)
    edge = width_of("aashto-lrfd-transverse-edge", one)
    assert edge == pytest.approx((39.4 + 12) * INCH, rel=1e-12)
    far = replace(one, edge_distance=50 * INCH)
    assert width_of("aashto-lrfd-transverse-edge", far) == pytest.approx(78.8 * INCH, rel=1e-12)
    along = replace(ONE, span=8 * FOOT, edge_distance=4 * INCH)
    edge = width_of("aashto-lrfd-longitudinal-edge", along)
    assert edge == pytest.approx((4 + 12 + 19.7) * INCH, rel=1e-12)
    wide = replace(along, edge_distance=30 * INCH)
    assert width_of("aashto-lrfd-longitudinal-edge", wide) == pytest.approx(39.4 * INCH, rel=1e-12)
    assert METHODS["aashto-lrfd-longitudinal-edge"].per == "wheel line"


def test_lrfd_along_traffic_stops_at_slab_bridges():
    long = replace(ONE, span=15.1 * FOOT, slab_width=30 * FOOT)
    with pytest.raises(MethodRangeError, match=r"15 ft"):
        width_of("aashto-lrfd-sagging", long)
    assert width_of("aashto-lrfd-sagging", replace(long, bars="across")) > 0
    found = width_of("aashto-lrfd-slab-bridge", long)
    assert found == pytest.approx((10 + 5 * np.sqrt(15.1 * 30)) * INCH, rel=1e-12)
    with pytest.raises(MethodRangeError, match="over 15 ft"):
        width_of("aashto-lrfd-slab-bridge", replace(long, span=14 * FOOT))


# Standard Specifications 3.24: M = (S + 2) P / 32, P = 16 kip, 0.8 of it where continuous.
@pytest.mark.parametrize(("span_ft", "moment"), [(6.0, 4.00), (8.0, 5.00), (10.0, 6.00)])
def test_standard_moment_across_traffic(span_ft, moment):
    one = replace(ONE, span=span_ft * FOOT, bars="across")
    found = moment_of("aashto-standard-across", one, 16 * KIP) / KIP  # kip ft/ft is kip
    assert found == pytest.approx(moment, rel=1e-12)
    found = moment_of("aashto-standard-across", replace(one, ends="both ends"), 16 * KIP) / KIP
    assert found == pytest.approx(0.8 * moment, rel=1e-12)


def test_standard_moment_agrees_with_its_metric_print():
    # (S + 0.61) P / 9.7 kN m/m: the printed constants are rounded, 0.6 % off at most.
    one = replace(ONE, span=3.0, bars="across")
    assert moment_of("aashto-standard-across", one, 71e3) == pytest.approx(
        (3.0 + 0.61) * 71e3 / 9.7, rel=6e-3
    )


def test_standard_width_along_traffic_and_cantilevers():
    one = replace(ONE, span=10 * FOOT, support_width=1.0 * FOOT)
    assert METHODS["aashto-standard-along"].span_of(one) == pytest.approx(9.5 * FOOT)
    found = width_of("aashto-standard-along", one)
    assert found == pytest.approx((4 + 0.06 * 9.5) * FOOT, rel=1e-12)
    assert width_of("aashto-standard-along", replace(one, span=60 * FOOT)) == 7 * FOOT
    hung = replace(ONE, span=1.5, position=2 * FOOT, ends="cantilever")
    across = replace(hung, bars="across")
    found = width_of("aashto-standard-cantilever-across", across)
    assert found == pytest.approx((0.8 * 2 + 3.75) * FOOT, rel=1e-12)
    found = width_of("aashto-standard-cantilever-along", hung)
    assert found == pytest.approx((0.35 * 2 + 3.2) * FOOT, rel=1e-12)


def test_wheel_and_axle_readings_differ_by_a_quarter():
    """At 3.1 m the older wheel-line width carries an axle on 19 % more than the LRFD strip."""
    axle = Axle(0.0, 1.0, (-0.9, 0.9), (0.25, 0.5))
    one = replace(ONE, span=3.1, ends="both ends")
    lrfd, older = METHODS["aashto-lrfd-sagging"], METHODS["aashto-standard-along"]
    wide = [
        float(axle_width(method, np.array(width_of(key, one)), axle.wheels, 8.0))
        for method, key in ((lrfd, "aashto-lrfd-sagging"), (older, "aashto-standard-along"))
    ]
    assert wide[0] == pytest.approx((26 + 6.6 * 3.1 / FOOT) * INCH, rel=1e-12)
    assert wide[1] == pytest.approx(2 * (4 + 0.06 * 3.1 / FOOT) * FOOT, rel=1e-12)


# DAfStb Heft 240 -------------------------------------------------------------------------------


def test_heft240_widths():
    # t_y = 0.5 + 2 * 0.08 + 0.25 = 0.91 m, l = 3 m, x = 1 m
    one = replace(ONE, surfacing=0.08, position=1.0)
    ty, x, span = 0.91, 1.0, 3.0
    fixed, both = replace(one, ends="one end"), replace(one, ends="both ends")
    assert width_of("heft240-sagging", one) == pytest.approx(ty + 2.5 * x * (1 - x / span))
    assert width_of("heft240-sagging", fixed) == pytest.approx(ty + 1.5 * x * (1 - x / span))
    assert width_of("heft240-sagging", both) == pytest.approx(ty + x * (1 - x / span))
    assert width_of("heft240-hogging", fixed) == pytest.approx(ty + 0.5 * x * (2 - x / span))
    assert width_of("heft240-hogging", both) == pytest.approx(ty + 0.5 * x * (2 - x / span))
    assert width_of("heft240-shear", one) == pytest.approx(ty + 0.5 * x)
    # t_x = 0.25 + 0.41 = 0.66 m is over 0.2 l at a fixed end; a longer span takes it
    with pytest.raises(MethodRangeError, match=r"t_x at most 0\.2 of the span"):
        width_of("heft240-shear", both)
    long = replace(both, span=4.0)
    assert width_of("heft240-shear", long) == pytest.approx(ty + 0.3 * x)
    pinned = replace(long, ends="one end")
    assert width_of("heft240-shear-pinned", pinned) == pytest.approx(ty + 0.4 * x)
    with pytest.raises(MethodRangeError, match=r"at least 0\.2"):
        width_of("heft240-shear", replace(long, position=0.7))


def test_heft240_cantilever_and_limits():
    one = replace(ONE, span=2.0, position=1.2, ends="cantilever")  # t_y = 0.75 > 0.2 l_k
    assert width_of("heft240-cantilever", one) == pytest.approx(0.75 + 1.5 * 1.2)
    long = replace(one, span=4.5, contact=(0.25, 0.3))  # t_y = 0.55 < 0.9
    assert width_of("heft240-cantilever", long) == pytest.approx(0.9 + 1.5 * 1.2)
    assert width_of("heft240-cantilever-shear", long) == pytest.approx(0.9 + 0.3 * 1.2)
    with pytest.raises(MethodRangeError, match=r"t_y at most 0\.8 of the span"):
        width_of("heft240-cantilever", replace(one, span=0.9, position=0.5))
    with pytest.raises(MethodRangeError, match=r"t_y at most 0\.4 of the span"):
        width_of("heft240-hogging", replace(ONE, span=1.8, position=0.5, ends="both ends"))
    with pytest.raises(MethodRangeError, match="fixed or continuous"):
        width_of("heft240-hogging", ONE)
    with pytest.raises(MethodRangeError, match="load on the span"):
        width_of("heft240-sagging", replace(ONE, position=3.2))


def test_a_free_edge_halves_the_width():
    one = replace(ONE, edge_distance=0.3)
    full = width_of("heft240-sagging", ONE)
    assert width_of("heft240-sagging", one) == pytest.approx(0.5 * full + 0.3)
    assert width_of("heft240-sagging", replace(one, edge_distance=5.0)) == pytest.approx(full)
    assert width_of("heft240-sagging", replace(ONE, slab_width=1.0)) == 1.0


# IRC -------------------------------------------------------------------------------------------


def test_irc_worked_arithmetic():
    # l0 = 6.0 m, slab 7.5 m wide: alpha at 1.25 is 2.68; 2.68 * 3 * 0.5 + 1.01 = 5.03 m
    one = StripInput(
        span=6.0, position=3.0, contact=(0.3, 0.85), depth=0.5, surfacing=0.08, slab_width=7.5
    )
    assert width_of("irc-sagging", one) == pytest.approx(5.03, abs=1e-9)
    assert width_of("irc-sagging", replace(one, position=1.0)) == pytest.approx(
        2.68 * 1.0 * (1 - 1 / 6) + 1.01, abs=1e-9
    )
    assert loaded_length(one) == pytest.approx(0.3 + 2 * 0.58)


# IRC:112 annex B-3, alpha for slab width / span of 0.1, 0.2 .. 2.0 (from memory).
IRC_SIMPLE = """0.40 0.80 1.16 1.48 1.72 1.96 2.12 2.24 2.36 2.48
2.60 2.64 2.72 2.80 2.84 2.88 2.92 2.96 3.00 3.00"""
IRC_CONTINUOUS = """0.40 0.80 1.16 1.44 1.68 1.84 1.96 2.08 2.16 2.24
2.28 2.36 2.40 2.48 2.48 2.52 2.56 2.60 2.60 2.60"""


def irc_width(ratio: float, ends: str) -> float:
    """Of a narrow wheel at mid-span of 4 m: alpha + 0.1 m, on the slab at most."""
    return width_of(
        "irc-sagging",
        StripInput(
            span=4.0,
            position=2.0,
            contact=(0.3, 0.1),
            depth=0.25,
            slab_width=4.0 * ratio,
            ends=ends,
        ),
    )


@pytest.mark.parametrize(("ends", "table"), [("simple", IRC_SIMPLE), ("both ends", IRC_CONTINUOUS)])
def test_irc_alpha(ends, table):
    alpha = np.array(table.split(), dtype=float)
    ratio = np.arange(1, 21) / 10
    found = [irc_width(r, ends) for r in ratio]
    np.testing.assert_allclose(found, np.minimum(alpha + 0.1, 4 * ratio), rtol=1e-12)
    between = irc_width(0.55, ends)
    assert between == pytest.approx(0.5 * (alpha[4] + alpha[5]) + 0.1, rel=1e-12)
    assert irc_width(7.0, ends) == pytest.approx(alpha[-1] + 0.1, rel=1e-12)


def test_irc_spans_cantilever_and_limits():
    one = StripInput(
        span=3.1, position=1.0, contact=(0.25, 0.5), depth=0.25, support_width=0.3, slab_width=9.0
    )
    through = replace(one, ends="both ends")
    assert effective_span(one) == 3.1
    assert effective_span(replace(one, d=0.2)) == pytest.approx(3.0)
    assert effective_span(through) == pytest.approx(2.8)
    expected = 2.6 * 0.85 * (1 - 0.85 / 2.8) + 0.5
    assert width_of("irc-sagging", through) == pytest.approx(expected)
    assert width_of("irc-sagging", replace(through, position=0.1)) == 0.5  # over the support
    hung = replace(one, span=1.5, ends="cantilever")
    assert width_of("irc-cantilever", hung) == pytest.approx(1.2 * 0.85 + 0.5)
    assert width_of("irc-cantilever", replace(hung, slab_width=3.0)) == pytest.approx(1.0)
    near = replace(hung, edge_distance=0.2)
    assert width_of("irc-cantilever", near) == pytest.approx(0.5 * 1.52 + 0.2)
    with pytest.raises(MethodRangeError, match=r"at least 0\.1"):
        width_of("irc-sagging", replace(one, slab_width=0.2))


# Others ----------------------------------------------------------------------------------------


def test_plain_family():
    # By hand: b = 0 at mid-span gives 2.4 L / 2 (1 - 1/2) = 0.6 L
    one = StripInput(span=3.0, position=1.5, contact=(0.0, 0.0), depth=0.25)
    assert width_of("as3600-sagging", one) == pytest.approx(0.6 * 3.0)
    assert width_of("bs8110-sagging", ONE) == pytest.approx(0.5 + 2.4 * 1.5 * 0.5)
    clear = replace(ONE, support_width=0.4, position=0.7)
    assert width_of("as3600-sagging", clear) == pytest.approx(0.5 + 2.4 * 0.5 * (1 - 0.5 / 2.6))


def test_westergaard_range_and_secondary_moment():
    first = moment_of("westergaard-moment", ONE, 100e3)
    second = moment_of("westergaard-secondary", ONE, 100e3)
    assert first - second == pytest.approx(0.0676 * 100e3, rel=1e-3)
    with pytest.raises(MethodRangeError, match="mid-span"):
        width_of("westergaard-working", replace(ONE, position=1.0))
    with pytest.raises(MethodRangeError, match="simply supported"):
        width_of("westergaard-working", replace(ONE, ends="both ends"))
    with pytest.raises(MethodRangeError, match=r"0\.4 of the span"):
        width_of("westergaard-working", replace(ONE, span=0.8, position=0.4))
    # c = 0.399 m: from a depth of c/3.45 down the slab counts as thin, without a jump
    thin = [moment_of("westergaard-moment", replace(ONE, depth=h), 1.0) for h in (0.05, 0.1156)]
    assert thin[0] == pytest.approx(thin[1], rel=1e-3)
    assert moment_of("westergaard-moment", replace(ONE, depth=0.2), 1.0) > 1.02 * thin[0]


def test_shear_widths():
    # face at 0.15, near side of the contact at 0.875: a_v = 0.725 m
    one = replace(ONE, span=4.0, position=1.0, support_width=0.3, d=0.2)
    assert width_of("shear-45-far-side", one) == pytest.approx(0.5 + 2 * (0.725 + 0.25))
    assert width_of("shear-45-centre", one) == pytest.approx(0.5 + 2 * (0.725 + 0.125))
    # control section at the lesser of d = 0.2 and a_v/2 = 0.3625
    clamped = width_of("shear-model-code-2010", replace(one, ends="both ends"))
    assert clamped == pytest.approx(0.5 + 2 * 0.525)
    simple = width_of("shear-model-code-2010", one)
    assert simple == pytest.approx(0.5 + 2 * 0.525 * np.sqrt(3))
    near = replace(one, position=0.4, ends="both ends")  # a_v/2 = 0.0625
    assert width_of("shear-model-code-2010", near) == pytest.approx(0.5 + 2 * 0.0625)
    assert width_of("shear-45-far-side", replace(one, d=0.8)) == pytest.approx(3.2)
    for position, match in ((0.25, "clear of"), (2.5, "nearer")):
        with pytest.raises(MethodRangeError, match=match):
            width_of("shear-45-centre", replace(one, position=position))
    with pytest.raises(MethodRangeError, match="effective depth"):
        width_of("shear-model-code-2010", replace(one, d=None))


@pytest.mark.parametrize(("a_v", "share"), [(0.1, 0.5), (0.3, 0.75), (0.4, 1.0), (2.0, 1.0)])
def test_share_of_loads_near_the_support(a_v, share):
    assert float(near_support_factor(a_v, 0.2, LEAST_SHARE_FIB)) == pytest.approx(share)


def test_every_method_states_where_it_comes_from():
    assert len(METHODS) >= 25
    for key, method in METHODS.items():
        assert method.edition or method.mark == "common practice", key
        assert method.span, key
        assert (method.width is None) != (method.moment is None), key
        assert method.mark in ("from memory", "common practice", "read"), key


# Wheels side by side ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("width", "wheels", "expected"),
    [
        (1.5, (-1.0, 1.0), 3.0),  # apart: each wheel on its own
        (2.0, (-1.0, 1.0), 4.0),  # just touching
        (2.8, (-1.0, 1.0), 4.8),  # joined: gauge and one width
        (9.0, (-1.0, 1.0), 7.0),  # never more than the slab
        # twin tyres 0.33 apart, 1.24 between the pairs: a pair of half the load on 1.33 governs
        (1.0, (-0.95, -0.62, 0.62, 0.95), 2.66),
        (2.0, (-0.95, -0.62, 0.62, 0.95), 3.9),
    ],
)
def test_overlapping_widths_are_joined(width, wheels, expected):
    method = METHODS["irc-sagging"]
    found = axle_width(method, np.array([width]), wheels, 7.0)
    assert found[0] == pytest.approx(expected, rel=1e-12)


def test_a_wheel_line_is_half_an_axle_whatever_its_tyres():
    twins = (-0.95, -0.62, 0.62, 0.95)
    found = axle_width(METHODS["aashto-standard-along"], np.array([1.4]), twins, 7.0)
    assert found[0] == pytest.approx(2.8)
    assert axle_width(METHODS["aashto-lrfd-sagging"], np.array([1.4]), twins, 7.0)[0] == 1.4


def test_widths_that_may_not_be_joined_stand_alone():
    found = axle_width(METHODS["as3600-sagging"], np.array([2.8]), (-1.0, 1.0), 7.0)
    assert found[0] == pytest.approx(5.6)


# A vehicle on the strip of a deck --------------------------------------------------------------


def deck_strip(bays: int = 5, span: float = 3.1, overhang: float = 0.0) -> StripDeck:
    supports = tuple(
        StripSupport(at=span * i, width=0.3, name=f"C{i + 1}") for i in range(bays + 1)
    )
    beam = StripBeam(supports, -overhang, bays * span + overhang)
    return StripDeck(beam=beam, depth=0.27, surfacing=0.08, slab_width=7.7)


TANDEM = Vehicle(
    name="tandem",
    axles=(
        Axle(0.0, 300e3, (-1.0, 1.0), (0.4, 0.4)),
        Axle(1.2, 300e3, (-1.0, 1.0), (0.4, 0.4)),
    ),
)


def one_of(found, strips, lines, at="bay"):
    (only,) = [m for m in found if (m.strips, m.lines, m.at) == (strips, lines, at)]
    return only


def test_lrfd_is_the_beam_over_the_strip():
    deck = deck_strip()
    found = strip_moments(deck, TANDEM)
    train = Train((StripLoad(0.0, 300e3, 0.67), StripLoad(1.2, 300e3, 0.67)))
    sagging = one_of(found, "AASHTO LRFD", ("C2", "C3"))
    width = (26 + 6.6 * 3.1 / FOOT) * INCH
    assert sagging.value == pytest.approx(bay_sagging(deck.beam, 1, train).value / width, rel=1e-8)
    assert sagging.width == pytest.approx(width, rel=1e-6)
    assert sagging.span == pytest.approx(3.1)
    hogging = one_of(found, "AASHTO LRFD", ("C3",), "centre line")
    width = (48 + 3.0 * 3.1 / FOOT) * INCH
    expected = support_hogging(deck.beam, 2, train).value / width
    assert hogging.value == pytest.approx(expected, rel=1e-8)
    face = one_of(found, "AASHTO LRFD", ("C3",), "face")
    expected = support_hogging(deck.beam, 2, train, offset=0.15).value / width
    assert face.value == pytest.approx(expected, rel=1e-8)
    assert {m.caution for m in found} == {SINGLE_VEHICLE}


def by_hand(deck, section, centres, load, length, width):
    """Moment per metre of axles at given centres, each shared over width(position in its bay)."""
    line = moment_lines(deck.beam, [section], "left")
    total = 0.0
    for centre in centres:
        u = centre + length * ((np.arange(4000) + 0.5) / 4000 - 0.5)
        bay = min(int(centre // 3.1), 4)
        total += load * float(line.at(u).mean()) / width(centre - 3.1 * bay, bay)
    return total


def test_heft240_sagging_is_the_sum_of_axles_over_their_own_widths():
    deck = deck_strip()
    found = one_of(strip_moments(deck, TANDEM), "DAfStb Heft 240", ("C2", "C3"))
    ty = 0.4 + 0.16 + 0.27

    def width(x, bay):
        k = 1.5 if bay in (0, 4) else 1.0
        wheel = ty + k * x * (1 - x / 3.1)
        return wheel + min(wheel, 2.0) if wheel > 2.0 else 2 * wheel

    centres = (found.station, found.station - 1.2)
    assert found.direction == "forward"
    at_station = by_hand(deck, found.section, centres, 300e3, ty, width)
    assert found.value == pytest.approx(at_station, rel=1e-5)  # stated for width laws
    moved = [
        by_hand(deck, found.section, (found.station + d, found.station + d - 1.2), 300e3, ty, width)
        for d in (-0.05, 0.05)
    ]
    assert max(moved) < found.value


def test_irc_hogging_uses_each_loads_own_place():
    deck = deck_strip()
    found = one_of(strip_moments(deck, TANDEM), "IRC:112 annex B-3", ("C3",), "centre line")

    def width(x, bay):
        a = min(max(min(x, 3.1 - x) - 0.15, 0.0), 1.4)
        wheel = 2.6 * a * (1 - a / 2.8) + 0.56
        return wheel + 2.0 if wheel > 2.0 else 2 * wheel

    step = -1.2 if found.direction == "forward" else 1.2
    centres = (found.station, found.station + step)
    at_station = by_hand(deck, 6.2, centres, 300e3, 0.4 + 2 * 0.35, width)
    assert found.value == pytest.approx(at_station, rel=1e-5)
    assert found.span == pytest.approx(2.8)


def test_hogging_law_counts_from_the_support_considered():
    deck = deck_strip()
    train = strip_train(deck, TANDEM, FIRST_SET[1], SoughtSection((1, 2), 2))
    law = train.loads[0].width
    assert isinstance(law, WidthFunction)
    ty, away = 0.83, np.array([0.4, 1.0, 2.9])
    wheel = ty + 0.5 * away * (2 - away / 3.1)
    np.testing.assert_allclose(law.at(6.2 + away), np.minimum(2 * wheel, wheel + 2.0), rtol=1e-12)
    np.testing.assert_allclose(law.at(6.2 - away), np.minimum(2 * wheel, wheel + 2.0), rtol=1e-12)


def test_out_of_range_gives_a_reason_and_no_number():
    wide = replace(TANDEM, axles=tuple(replace(a, patch=(0.4, 0.9)) for a in TANDEM.axles))
    found = one_of(strip_moments(deck_strip(), wide), "DAfStb Heft 240", ("C3",), "centre line")
    assert found.value is None
    assert "t_y at most 0.4 of the span, here 1.33 m on 3.1 m" in found.reason
    long = strip_moments(deck_strip(3, 5.0), TANDEM)
    assert all("15 ft" in m.reason for m in long if m.strips == "AASHTO LRFD")
    assert all(m.value is not None for m in long if m.strips != "AASHTO LRFD")


def test_overhangs_hog_by_the_overhang_rule():
    deck = deck_strip(overhang=1.4)
    single = replace(TANDEM, axles=TANDEM.axles[:1])
    found = strip_moments(deck, single)
    tip = 1.4 - 0.5 * 0.83
    expected = -300e3 * tip / (0.83 + 1.5 * tip + min(2.0, 0.83 + 1.5 * tip))
    heft = one_of(found, "DAfStb Heft 240", ("C1",), "centre line")
    assert heft.method.effect == "overhang"
    assert heft.span == pytest.approx(1.4)
    # Further out the patch leaves the slab, yet the arm still grows: no less than all of it on.
    assert heft.value <= expected * (1 - 1e-6)
    assert one_of(found, "DAfStb Heft 240", ("C6",), "centre line").value == pytest.approx(
        heft.value, rel=1e-4
    )
    assert not [m for m in strip_moments(deck_strip(), single) if m.lines in (("C1",), ("C6",))]


def test_impact_multiplies_and_direction_is_kept():
    deck = deck_strip(3)
    lorry = Vehicle(
        name="lorry",
        axles=(
            Axle(0.0, 60e3, (-0.9, 0.9), (0.25, 0.35)),
            Axle(1.8, 120e3, (-0.9, 0.9), (0.25, 0.4)),
        ),
    )
    plain = strip_moments(deck, lorry, FIRST_SET[:1], ("forward",))
    factored = strip_moments(deck, replace(lorry, impact=1.3), FIRST_SET[:1], ("forward",))
    both = strip_moments(deck, lorry, FIRST_SET[:1])
    for one, two, three in zip(plain, factored, both, strict=True):
        assert two.value == pytest.approx(1.3 * one.value, rel=1e-8)
        assert one.direction == "forward"
        assert abs(three.value) >= abs(one.value) * (1 - 1e-12)
    assert "reverse" in {m.direction for m in both}


def test_strip_of_a_deck_file(tmp_path):
    deck = strip_deck(deck_of(tmp_path, SLAB, PLAN, BEAMS, TRAFFIC))
    assert [(s.name, s.at, s.k, s.width) for s in deck.beam.supports] == [
        ("C1", 0.0, np.inf, 0.25),
        ("C2", 3.0, np.inf, 0.25),
        ("C3", 6.0, np.inf, 0.25),
    ]
    assert (deck.beam.start, deck.beam.end) == (-0.4, 6.4)
    assert (deck.depth, deck.surfacing, deck.slab_width) == (0.25, 0.08, 4.0)
    assert pytest.approx(30e9 * 0.25**3 / 12 / 0.96) == deck.beam.EI
    lone = BEAMS.replace('"C*"', '"C2"')
    with pytest.raises(MethodRangeError, match="two cross lines that carry it, here 1"):
        strip_deck(deck_of(tmp_path, SLAB, PLAN, lone, TRAFFIC))


def test_strip_of_a_deck_on_springs_and_clamps(tmp_path):
    lines = """
[[line]]
on = "C1"
support = "clamped"
[[line]]
on = "C2"
support = "spring"
k_kN_m2 = 0
[[line]]
on = "C3"
support = "spring"
k_kN_m2 = 5000
k_rot_kNm_rad_m = 70
"""
    deck = strip_deck(deck_of(tmp_path, SLAB, PLAN, lines, TRAFFIC))
    assert [(s.name, s.k, s.k_rot) for s in deck.beam.supports] == [
        ("C1", np.inf, np.inf),
        ("C3", 5e6, 7e4),
    ]
    assert deck.ends(0) == "both ends"


def test_unequal_bays_take_the_narrower_strip_and_short_ones_give_reasons():
    stations = (0.0, 3.5, 6.0, 6.8, 10.0)
    supports = tuple(StripSupport(at=at, name=f"C{i + 1}") for i, at in enumerate(stations))
    deck = StripDeck(
        beam=StripBeam(supports, 0.0, 10.0), depth=0.27, surfacing=0.08, slab_width=7.7
    )
    found = strip_moments(deck, TANDEM)
    hogging = one_of(found, "AASHTO LRFD", ("C2",), "centre line")
    assert hogging.width == pytest.approx((48 + 3.0 * 2.5 / FOOT) * INCH, rel=1e-6)
    assert hogging.span == pytest.approx(2.5)
    # t_y = 0.83 m is more than 0.8 of the bay of 0.8 m, which only its own sections suffer from.
    heft = "DAfStb Heft 240"
    assert "here 0.83 m on 0.8 m" in one_of(found, heft, ("C3", "C4")).reason
    assert "here 0.83 m on 0.8 m" in one_of(found, heft, ("C3",), "centre line").reason
    first = one_of(found, heft, ("C1", "C2"))
    assert first.value is not None
    far = strip_train(deck, TANDEM, FIRST_SET[1], SoughtSection((0,))).loads[0].width
    assert isinstance(far, WidthFunction)
    assert far.at(np.array([6.4]))[0] == pytest.approx(2 * 0.83)


# Mirrors, strips across traffic, edges, shear ---------------------------------------------------


def test_mirrored_bays_and_lines_are_what_a_search_finds():
    deck = deck_strip(4)
    lorry = replace(TANDEM, axles=(replace(TANDEM.axles[0], load=90e3), TANDEM.axles[1]))
    assert deck.is_mirrored
    # A hair of difference at one end: nothing is taken from the mirror.
    supports = (replace(deck.beam.supports[0], width=0.3 + 1e-7), *deck.beam.supports[1:])
    other = replace(deck, beam=replace(deck.beam, supports=supports))
    assert not other.is_mirrored
    for vehicle in (TANDEM, lorry):
        found, sought = strip_moments(deck, vehicle), strip_moments(other, vehicle)
        assert [(m.lines, m.at, m.strips) for m in found] == [
            (m.lines, m.at, m.strips) for m in sought
        ]
        for one, two in zip(found, sought, strict=True):
            assert one.value == pytest.approx(two.value, rel=1e-5)
            lines = moment_lines(deck.beam, [one.section], "left")
            whole = strip_train(
                deck, vehicle, next(s for s in FIRST_SET if s.name == one.strips),
                SoughtSection(
                    tuple(i for i in deck.bays if deck.beam.supports[i].name in one.lines)[:1]
                    if one.at == "bay"
                    else tuple(
                        i for i in deck.bays
                        if one.lines[0] in (s.name for s in deck.beam.supports[i : i + 2])
                    ),
                    None
                    if one.at == "bay"
                    else [s.name for s in deck.beam.supports].index(one.lines[0]),
                ),
            )  # fmt: skip
            # The station and direction that it names do give its value.
            value = response(lines, whole, one.direction).at(one.station)[0, 0]
            assert value == pytest.approx(one.value, rel=1e-4)


def across_strip(bays: int = 4, span: float = 2.75) -> StripDeck:
    supports = tuple(
        StripSupport(at=span * i, width=0.3, name=f"L{i + 1}") for i in range(bays + 1)
    )
    return StripDeck(
        beam=StripBeam(supports, -1.0, bays * span + 1.0),
        depth=0.215,
        surfacing=0.06,
        slab_width=12.6,
        bars="across",
    )


def test_a_strip_across_carries_one_axle_or_those_that_overlap():
    deck = across_strip()
    limits = {"forward": (0.5, 10.5), "reverse": (0.5, 10.5)}
    width = (26 + 6.6 * 2.75 / FOOT) * INCH
    contact = TANDEM.axles[0].patch[1] + deck.depth  # along the strip lies the tyre's breadth
    wheels = tuple(StripLoad(y, 150e3, contact) for y in (-1.0, 1.0))
    alone = bay_sagging(deck.beam, 1, Train(wheels), within=(0.5, 10.5)).value
    one = replace(TANDEM, axles=TANDEM.axles[:1])
    found = one_of(strip_moments(deck, one, limits=limits), "AASHTO LRFD", ("L2", "L3"))
    assert found.value == pytest.approx(alone / width, rel=1e-7)
    assert (found.axles, found.width) == (1, pytest.approx(width, rel=1e-6))
    both = one_of(strip_moments(deck, TANDEM, limits=limits), "AASHTO LRFD", ("L2", "L3"))
    assert both.value == pytest.approx(2 * alone / (width + 1.2), rel=1e-7)
    assert (both.axles, both.width) == (2, pytest.approx(width + 1.2, rel=1e-6))
    # Axles too far apart to overlap with profit stand alone.
    far = replace(TANDEM, axles=(TANDEM.axles[0], replace(TANDEM.axles[1], at=9.0)))
    apart = one_of(strip_moments(deck, far, limits=limits), "AASHTO LRFD", ("L2", "L3"))
    assert apart.value == pytest.approx(found.value, rel=1e-7)
    assert apart.axles == 1


def test_a_strip_across_stays_on_the_carriageway():
    deck = across_strip()
    free = one_of(strip_moments(deck, TANDEM, FIRST_SET[:1]), "AASHTO LRFD", ("L1",), "centre line")
    held = {"forward": (1.6, 9.4), "reverse": (1.6, 9.4)}
    bound = one_of(
        strip_moments(deck, TANDEM, FIRST_SET[:1], limits=held),
        "AASHTO LRFD", ("L1",), "centre line",
    )  # fmt: skip
    assert free.value < -1e3
    assert bound.value == pytest.approx(0.0, abs=1e-6)  # no wheel reaches the overhang
    assert all(
        1.6 - 1e-9 <= m.station <= 9.4 + 1e-9
        for m in strip_moments(deck, TANDEM, limits=held)
        if m.station is not None
    )


def test_edges_use_the_edge_rules():
    deck = deck_strip()
    distances = {"wheel": 0.4, "rail": 0.3}
    found = edge_moments(deck, TANDEM, "left", distances, (1,))
    lrfd, heft, irc = found
    assert {one.edge for one in found} == {"left"}
    full = (26 + 6.6 * 3.1 / FOOT) * INCH
    half_axle = min(0.3 + 12 * INCH + 0.25 * full, 0.5 * full, 72 * INCH)
    interior = one_of(strip_moments(deck, TANDEM), "AASHTO LRFD", ("C2", "C3"))
    assert lrfd.value == pytest.approx(interior.value * full / (2 * half_axle), rel=1e-7)
    for one, name in ((heft, "DAfStb Heft 240"), (irc, "IRC:112 annex B-3")):
        inside = one_of(strip_moments(deck, TANDEM), name, ("C2", "C3"))
        assert one.value > 1.02 * inside.value
    far = edge_moments(deck, TANDEM, "left", {"wheel": 5.0, "rail": 5.0}, (1,))
    # Far from the edge one wheel alone works no harder than the run of both does inside.
    assert far[1].value == pytest.approx(
        one_of(strip_moments(deck, TANDEM), "DAfStb Heft 240", ("C2", "C3")).value, rel=1e-5
    )


def test_hogging_at_an_edge_is_the_beams_over_the_edge_rules_width():
    """LRFD: the same beam over the edge's width, a wheel line each; the others: the hogging width
    of one wheel, cut at the edge, so no less than inside; far from the edge as inside."""
    deck = deck_strip()
    interior = {
        one.strips: one
        for one in strip_moments(deck, TANDEM)
        if (one.lines, one.at, one.effect) == (("C3",), "centre line", "hogging")
    }
    both = edge_hogging(deck, TANDEM, "left", {"wheel": 0.4, "rail": 0.3}, 2)
    assert [one.at for one in both] == ["centre line", "face"] * len(interior)
    near, faces = both[::2], both[1::2]
    # At the face the strip has less; LRFD's constant width leaves the beam's own share, 0.15 m off.
    assert all(0.5 < f.value / c.value < 1.0 for c, f in zip(near, faces, strict=True))
    train = Train((StripLoad(0.0, 300e3, 0.67), StripLoad(1.2, 300e3, 0.67)))
    over, beside = (support_hogging(deck.beam, 2, train, offset=at).value for at in (0.0, 0.15))
    assert faces[0].value / near[0].value == pytest.approx(beside / over, rel=1e-7)
    assert {one.strips for one in near} == set(interior)
    assert {(one.edge, one.effect, one.lines) for one in near} == {("left", "hogging", ("C3",))}
    for one in near:
        assert one.value < 0.0
        if one.strips == "AASHTO LRFD":
            full = (26 + 6.6 * 3.1 / FOOT) * INCH
            inside = (48 + 3.0 * 3.1 / FOOT) * INCH
            half_axle = min(0.3 + 12 * INCH + 0.25 * full, 0.5 * full, 72 * INCH)
            expected = interior[one.strips].value * inside / (2 * half_axle)
            assert one.value == pytest.approx(expected, rel=1e-7)
        else:
            assert one.value < 1.02 * interior[one.strips].value
    far = edge_hogging(deck, TANDEM, "left", {"wheel": 5.0, "rail": 5.0}, 2)
    heft = {one.at: one.value for one in far if one.strips == "DAfStb Heft 240"}
    assert heft["centre line"] == pytest.approx(interior["DAfStb Heft 240"].value, rel=1e-5)
    # A pinned end line without overhang has no moment.
    assert edge_hogging(deck, TANDEM, "left", {"wheel": 0.4, "rail": 0.3}, 0) == ()


def test_an_overhangs_width_is_cut_at_its_corner():
    """Heft 240 from its own words: max(t_y, 0.2 l) + 1.5 x, here for one wheel at the tip of an
    overhang of 1.5 m, half of it on the edge's side and 0.4 m to the edge."""
    deck = deck_strip(overhang=1.5)
    wheel = Vehicle(name="wheel", axles=(Axle(0.0, 100e3, (0.0,), (0.4, 0.4)),))
    spread = 0.4 + 2 * 0.08 + 0.27
    inside = one_of(strip_moments(deck, wheel), "DAfStb Heft 240", ("C1",), "centre line")
    [edge] = [
        one
        for one in edge_hogging(deck, wheel, "left", {"wheel": 0.4, "rail": 0.3}, 0)
        if (one.strips, one.at) == ("DAfStb Heft 240", "centre line")
    ]
    x = abs(edge.station)
    whole = spread + 1.5 * x
    assert edge.station == pytest.approx(inside.station)
    # The beam's loads are over widths resolved in pieces.
    assert edge.value / inside.value == pytest.approx(whole / (0.5 * whole + 0.4), rel=1e-5)


def test_shear_is_the_beams_over_the_rules_width():
    deck, d = deck_strip(), 0.21
    single = replace(TANDEM, axles=TANDEM.axles[:1])
    found = [
        one
        for one in strip_shears(deck, single, d, [METHODS["shear-45-far-side"]])
        if (one.line, one.bay) == ("C3", 2)
    ]
    [one] = found
    assert one.section == pytest.approx(6.2 + 0.15 + d)
    # The near side of the tyre stands at the section: a_v = d, centre d + 0.2 from the face.
    assert one.station == pytest.approx(6.2 + 0.15 + d + 0.2, abs=1e-6)
    wheel = 0.4 + 2 * (d + 0.4)
    width = 2 * wheel if wheel < 2.0 else wheel + 2.0
    lines = shear_lines(deck.beam, [one.section], "right")
    beam = Train((StripLoad(0.0, 300e3, 0.4),))
    resultant = response(lines, beam, "forward").at(one.station)[0, 0]
    assert one.value == pytest.approx(resultant / width, rel=1e-5)
    # By the Model Code a load nearer than 2 d counts with a_v / 2 d: it governs further out.
    [code] = [
        two
        for two in strip_shears(deck, single, d, [METHODS["shear-model-code-2010"]])
        if (two.line, two.bay) == ("C3", 2)
    ]
    assert code.station > one.station + 0.5 * d
    [heft] = [
        two
        for two in strip_shears(deck, single, d, [METHODS["heft240-shear"]])
        if (two.line, two.bay) == ("C3", 2)
    ]
    assert heft.value is None
    assert "t_x at most 0.2" in heft.reason


def test_sagging_over_a_rigid_line_is_small():
    deck = deck_strip()
    over = one_of(strip_moments(deck, TANDEM), "AASHTO LRFD", ("C3",), "over line")
    bay = one_of(strip_moments(deck, TANDEM), "AASHTO LRFD", ("C2", "C3"))
    assert 0 < over.value < 0.3 * bay.value


def test_a_patch_that_reaches_over_the_line_has_the_width_of_the_root():
    deck = across_strip()
    held = {"forward": (0.8, 9.2), "reverse": (0.8, 9.2)}  # wheel centres 0.2 m inside the line
    one = replace(TANDEM, axles=(replace(TANDEM.axles[0], wheels=(-0.6, 0.6)),))
    found = one_of(
        strip_moments(deck, one, FIRST_SET[:1], limits=held), "AASHTO LRFD", ("L1",), "centre line"
    )
    half = 0.5 * (0.4 + 0.215) - 0.2  # of the patch beyond the line
    beyond = 150e3 * half / (0.4 + 0.215) * 0.5 * half
    assert found.value == pytest.approx(-beyond / (45 * INCH), rel=1e-5)
