"""Cracked stiffness against beams by hand: a strip of the slab is a beam (Poisson's ratio 0), whose
curvature follows from the moment by EN 1992-1-1 7.4.3 (3), integrated here along the strip."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import trapezoid
from scipy.optimize import brentq

from pipelines.bars.cracked import MOST_STEPS, SECANT, SETTLED, CrackedSum, Secant, cracked_sums
from pipelines.errors import DeckError
from pipelines.standards.resistance.bars import Layer
from plate.arrays import Floats
from tests.pipelines.cracked_strips import CRACKED_BARS, cracked_strip
from tests.pipelines.small_decks import deck_of, solver_of

H, E, L = 0.25, 34e9, 6.0
M_CR = 3.21e6 * H**2 / 6  # C35/45


def strip(folder: Path, stations: list[float], load: float) -> CrackedSum:
    deck = deck_of(folder, cracked_strip(stations, load), CRACKED_BARS)
    [found] = cracked_sums(solver_of(deck), deck)
    return found


def elastic_cracked(d: float, area: float) -> float:
    """EI of a cracked metre: x from its first moments, by hand."""
    n = 200e9 / E
    x = np.sqrt((n * area) ** 2 + 2 * n * area * d) - n * area
    return float(E * x**3 / 3 + 200e9 * area * (d - x) ** 2)


def curvatures(d_bottom: float, d_top: float) -> Callable[[Floats], Floats]:
    """Curvature of moments, sagging positive, between plain and cracked."""
    plain = E * H**3 / 12
    below = elastic_cracked(d_bottom, np.pi * 0.012**2 / 4 / 0.15)
    above = elastic_cracked(d_top, np.pi * 0.016**2 / 4 / 0.15)

    def of(m: Floats) -> Floats:
        zeta = 1 - (M_CR / np.maximum(np.abs(m), M_CR)) ** 2
        cracked = np.where(m >= 0, below, above)
        return np.asarray(m * (zeta / cracked + (1 - zeta) / plain))

    return of


KAPPA = curvatures(H - 0.04 - 0.006, H - 0.04 - 0.008)
X = np.linspace(0.0, L, 2001)


@pytest.mark.parametrize("layer", [("bottom", "x"), ("top", "x")])
def test_the_secant_by_hand(tmp_path: Path, layer: Layer) -> None:
    deck = deck_of(tmp_path, cracked_strip([0.0, 6.0], 10.0), CRACKED_BARS)
    bars = deck.required_reinforcement
    law = Secant.of(bars.bars, layer, bars.bases[0].materials, E)
    sign = 1.0 if layer[0] == "bottom" else -1.0
    assert law.m_cr == pytest.approx(M_CR, rel=1e-3)
    m = np.array([0.5, 1.0, 1.2, 2.0]) * M_CR
    by_hand = m / (E * H**3 / 12) / np.abs(KAPPA(sign * m))
    assert law.share(m) == pytest.approx(by_hand, rel=2e-3)


def test_a_span_sags_by_the_integral_of_its_curvature(tmp_path: Path) -> None:
    """Statically determinate: moments stay, w is the integral of curvature times unit moment."""
    q = 13.0
    found = strip(tmp_path, [0.0, L], q)
    assert found.settled
    m = 1e3 * q * X * (L - X) / 2
    unit = np.minimum(X, L - X) / 2
    w = trapezoid(KAPPA(m) * unit, X)
    assert found.cracked.probes[1, 0] == pytest.approx(1e3 * q * L**2 / 8, rel=1e-3)
    # constant over cells of 0.3 m
    assert found.cracked.probes[0, 0] == pytest.approx(w, rel=0.01)
    plain = 5 * 1e3 * q * L**4 / (384 * E * H**3 / 12)
    assert found.gross.probes[0, 0] == pytest.approx(plain, rel=0.01)
    # one factor of a half on all of it: shear deflection is not halved
    assert found.filed.probes[0, 0] == pytest.approx(2 * plain, rel=0.01)
    assert found.cracked.probes[0, 0] > 2.5 * plain


@pytest.fixture(scope="module")
def two_spans(tmp_path_factory: pytest.TempPathFactory) -> CrackedSum:
    """Under 16 kN/m2."""
    return strip(tmp_path_factory.mktemp("two"), [0.0, L, 2 * L], 16.0)


def test_two_spans_hand_moments_from_where_they_are_softer(two_spans: CrackedSum) -> None:
    """The moment over the middle by compatibility of the cracked beam, by its own root-finding."""
    q, found = 16.0, two_spans

    def moments(over: float) -> Floats:
        return 1e3 * q * X * (L - X) / 2 + over * X / L

    over = brentq(lambda over: trapezoid(KAPPA(moments(over)) * X / L, X), -1e5, 0.0)
    elastic = -1e3 * q * L**2 / 8
    assert abs(over - elastic) > 0.04 * abs(elastic)  # or this would show nothing
    assert found.settled
    mid = moments(over)[1000]
    assert found.cracked.probes[1, 0] == pytest.approx(mid, rel=0.01)
    assert found.gross.probes[1, 0] == pytest.approx(moments(elastic)[1000], rel=0.005)
    carried = float(found.cracked.reactions["C2"][0]) / 2.0
    assert carried == pytest.approx(1e3 * q * L - 2 * over / L, rel=0.005)


def test_below_cracking_nothing_changes(tmp_path: Path) -> None:
    found = strip(tmp_path, [0.0, L], 5.0)
    assert found.settled
    assert len(found.steps) == 2
    assert (found.shares == 1.0).all()
    # twist and shears are rounding of the moments: 1.3e-12 with other processors
    rounding = 1e-11 * found.gross.probes.max()
    assert found.cracked.probes == pytest.approx(found.gross.probes, abs=rounding)


def test_steps_tell_how_it_settles(two_spans: CrackedSum) -> None:
    found = two_spans
    changes = [step.change for step in found.steps[1:]]
    assert changes[-1] < SETTLED < changes[0]
    off = [step.off for step in found.steps]
    assert off[-1] < SECANT < off[0]
    assert len(found.steps) < MOST_STEPS
    least = [step.least for step in found.steps]
    assert least[0] == 1.0
    assert least[-1] == found.shares.min()


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        (lambda s: s + '[[sum]]\nname = "t"\nfactors = { w = 1.0 }\ncracked = true\n[[case]]\n'
         'name = "w"\ntemperature = { difference_K = 5 }\n',
         r'\[\[sum\]\] 2, factors."w": is of loads of the stage short-term alone'),
        (lambda s: s.replace("stiffness = { x = 0.5, y = 0.5, xy = 0.5 }",
                             "rigidity_kNm = { Dx = 4e4, Dy = 4e4, D1 = 0.0, Dxy = 2e4 }"),
         r"\[\[sum\]\] 1, cracked = true: needs a slab of one thickness"),
    ],
)  # fmt: skip
def test_mistakes_are_told(tmp_path: Path, changed: Callable[[str], str], told: str) -> None:
    with pytest.raises(DeckError, match=told):
        deck_of(tmp_path, changed(cracked_strip([0.0, 6.0], 5.0)), CRACKED_BARS)


def test_without_bars_there_is_nothing_to_crack(tmp_path: Path) -> None:
    with pytest.raises(DeckError, match=r"\[\[sum\]\] 1, cracked = true: needs \[\[bars\]\]"):
        deck_of(tmp_path, cracked_strip([0.0, 6.0], 5.0))
