"""Control sections beside lines, means along them, and the tracker against single positions."""

from pathlib import Path
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest
from scipy import sparse

from pipelines.bars.demand.control_sections import (
    SPACING,
    Sections,
    field_interpolation,
    shear_sections,
)
from pipelines.bars.demand.sample_forces import force_reader
from pipelines.bars.demand.shear import ShearTracker, resistance
from pipelines.deck.deck import Deck
from pipelines.model.build import build_model
from pipelines.model.responses import Response, SolvedDeck
from pipelines.standards.actions.combinations import Combination
from pipelines.standards.actions.loads import Action
from pipelines.standards.materials import materials
from pipelines.standards.resistance.bars import Bars, Mat, SlabBars
from pipelines.standards.sources import Source
from tests.oracles.means import means_over_widths
from tests.pipelines.small_decks import BEAMS, PLAN, SLAB, deck_of

MESH = "\n[mesh]\nsize_m = 1.0\norder = 2\n"
BARS = SlabBars(
    0.25,
    Mat(cover=0.040, x=Bars(0.012, 0.15), y=Bars(0.012, 0.15), outer="x"),
    Mat(cover=0.040, x=Bars(0.016, 0.125), y=Bars(0.012, 0.125), outer="x"),
)
MATERIALS = materials("C35/45", "B500B", "EN 1992")
COMBINATION = Combination(
    standard="EN 1992",
    limit_state="ULS",
    permanent={"self-weight": (1.35, 1.0)},
    traffic=1.35,
    source=Source("EN 1992", "test"),
)


@pytest.fixture(scope="module")
def deck(tmp_path_factory: pytest.TempPathFactory) -> Deck:
    return deck_of(tmp_path_factory.mktemp("deck"), SLAB, PLAN, BEAMS, MESH)


@pytest.fixture(scope="module")
def solved(deck: Deck) -> SolvedDeck:
    model = build_model(deck).model
    return SolvedDeck.of(deck, model)


@pytest.fixture(scope="module")
def sections(deck: Deck, solved: SolvedDeck) -> Sections:
    return shear_sections(solved, 0.20)


def test_sections_keep_their_distances(deck: Deck, sections: Sections) -> None:
    assert sections.names == ("C1", "C2", "C3")
    for k, station in enumerate(deck.stations):
        x = sections.points[sections.line == k, 0]
        # flange 0.25: face at 0.125, depth 0.20
        np.testing.assert_allclose(np.abs(x - station), 0.325, rtol=1e-12)
    # free side edges and the joints are one thickness away or more
    assert np.abs(sections.points[:, 1]).max() <= 2.0 - 0.25 + 1e-9
    assert sections.points[:, 0].min() >= -0.4 + 0.25 - 1e-9
    # the overhang of 0.4 leaves no room at its joint
    outer = (sections.line == 0) & (sections.side == -1)
    assert not outer.any()


def test_interpolation_is_exact_for_fields_of_the_element(solved: SolvedDeck) -> None:
    points = np.array([[0.5, 0.3], [2.1, -1.2], [4.4, 1.9]])
    rows = field_interpolation(solved, points)
    x, y = solved.recovery.points.plan.T
    field = 2.0 + x * y - 0.5 * x**2
    expected = 2.0 + points[:, 0] * points[:, 1] - 0.5 * points[:, 0] ** 2
    np.testing.assert_allclose(rows @ field, expected, rtol=1e-9)


@pytest.mark.parametrize("width", [0.3, 0.8, 1.5])
def test_means_agree_with_the_mean_over_a_width(sections: Sections, width: float) -> None:
    piece = np.flatnonzero(sections.piece == 0)
    s = SPACING * np.arange(len(piece))
    v = np.zeros(len(sections.points))
    v[piece] = 3.0 + np.sin(2.0 * s)
    middle = len(piece) // 2
    expected = means_over_widths(s, v[piece], float(s[middle]), [width])[0]
    assert (sections.means(width) @ v)[piece[middle]] == pytest.approx(expected, rel=1e-9)


def test_means_stay_within_their_piece(sections: Sections) -> None:
    v = sections.piece.astype(float)
    for width in (0.0, 0.5, 100.0):
        np.testing.assert_allclose(sections.means(width) @ v, v, atol=1e-12)


def test_wider_means_never_pass_the_peak(sections: Sections) -> None:
    v = np.abs(np.sin(7.0 * sections.points[:, 1]))
    for width in (0.4, 1.0):
        assert (sections.means(width) @ v).max() <= v.max() + 1e-12


def test_resistance_is_that_of_the_face_in_tension() -> None:
    v = np.array([100e3, 100e3])
    forces = np.array([[30e3, -30e3], [0, 0], [0, 0], [100e3, 100e3], [0, 0]])
    sagging, hogging = resistance(BARS, MATERIALS, 0.02, v, forces)
    # by hand, EN 1992-1-1 (6.2a): d 202 and 204, k 1.995 and 1.990, rho .00796 and .00370;
    # (6.2b) .035 k^1.5 sqrt(35) governs at the top
    assert sagging == pytest.approx(
        0.12 * 1.9950 * (100 * 0.0079626 * 35) ** (1 / 3) * 0.202e6, 1e-3
    )
    assert hogging == pytest.approx(0.035 * 1.9901**1.5 * 35**0.5 * 0.204e6, rel=1e-3)
    assert sagging > hogging


def test_tracker_finds_the_worst_position(sections: Sections, solved: SolvedDeck) -> None:
    n_point, n = solved.recovery.points.n_points, 7
    rng = np.random.default_rng(4)
    fields = np.zeros((6, n_point, n))
    fields[1] = 40e3
    fields[4] = 30e3 * rng.uniform(0.2, 1.0, n)
    permanent: dict[Action, np.ndarray] = {"self-weight": np.zeros((5, n_point))}
    permanent["self-weight"][3] = 10e3
    tracker = ShearTracker(sections, (0.0, 0.8), COMBINATION, permanent, BARS, MATERIALS, 0.02)
    for first, part in ((0, slice(0, 4)), (4, slice(4, n))):
        response = cast(Response, SimpleNamespace(fields=fields[:, :, part]))
        tracker.take(first, tracker.factored(response))
    found = tracker.demand()
    worst = int(fields[4, 0].argmax())
    v = 1.35 * 10e3 + 1.35 * fields[4, 0, worst]
    # uniform fields: every sample and width alike
    np.testing.assert_allclose(found.v, v, rtol=1e-9)
    assert (found.at == worst).all()
    np.testing.assert_allclose(found.utilisation, found.v / found.v_Rd, rtol=1e-12)


def test_forces_read_at_samples_are_those_of_the_fields(
    sections: Sections, solved: SolvedDeck
) -> None:
    """Of all samples and of some, by two trackers at once; rounding differs alone."""
    rng = np.random.default_rng(5)
    permanent: dict[Action, np.ndarray] = {
        "self-weight": np.zeros((5, solved.recovery.points.n_points))
    }
    tracker = ShearTracker(sections, (0.0,), COMBINATION, permanent, BARS, MATERIALS, 0.02)
    response = solved.respond(sparse.csc_array(rng.normal(size=(solved.model.n_plate_dof, 3))))
    every, some = np.arange(len(sections.points)), np.array([7, 3, 40])
    read = force_reader(solved, [(tracker, every), (tracker, some)])
    fields = tracker.factored(response)
    size = np.abs(fields).max(axis=(1, 2), keepdims=True)
    for found, part in zip(read(response.solution), (every, some), strict=True):
        np.testing.assert_allclose(found / size, fields[:, part] / size, rtol=0, atol=1e-12)


def test_path_is_used(tmp_path: Path) -> None:
    """A deck without supports beside lines has no sections."""
    bare = deck_of(
        tmp_path, SLAB, PLAN, MESH, '\n[[line]]\non = ["C1"]\nsupport = "clamped"\nwidth_mm = 300\n'
    )
    solved = SolvedDeck.of(bare)
    found = shear_sections(solved, 0.2)
    assert found.names == ("C1",)
    assert set(found.side.tolist()) == {1}
