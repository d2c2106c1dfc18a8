"""The search for worst places against their proof, on a deck where both can be had."""

import numpy as np
import pytest

from pipelines.accuracy.free_vehicle import free_vehicles
from pipelines.accuracy.searched_position import searched_places
from pipelines.accuracy.worst_position import worst_places
from pipelines.deck.examples import EXAMPLES
from pipelines.deck.reading.deck_file import read_deck
from pipelines.model.influence import surfaces
from tests.pipelines.small_decks import solver_of

MEAN = "mid-bay 4, mean over the middle 1.2 m"
RIGHT = "over cross beam C5, near the right truss"


def test_search_and_proof_agree_within_the_tolerance_of_the_search() -> None:
    """Shears among them whose worst place lies where a patch's edge passes the shear's own: the
    surface jumps there and its interpolation is a sixth too low. Scanned by the exact surface about
    station 11.25 m, offset -0.98 m, the mean q_x reaches 52.1 kN/m under a single axle; the
    tandems' own peaks, which the interpolation has right, end at 51.7 kN/m."""
    deck = read_deck(EXAMPLES["estuary"])
    solved = solver_of(deck)
    names = solved.probes.names
    rows = [6 * names.index(name) + k for name in (MEAN, RIGHT) for k in range(6)]
    found = surfaces(solved.stiffness, solved.probes.rows[rows])
    wanted = [(row, sign) for row in range(len(rows)) for sign in (1, -1)]
    proven = worst_places(deck, found, wanted)
    assert all(place.proven for place in proven)
    fleet = list(free_vehicles(deck, deck.required_traffic.vehicles))
    of, signs = np.array(wanted).T
    searched = searched_places(deck, found, fleet, of, signs.astype(float), None)
    for proof, search in zip(proven, searched, strict=True):
        assert not search.proven
        assert abs(search.value) <= abs(proof.value) + proof.tolerance
        assert abs(search.value) + search.tolerance >= abs(proof.value)
    q_x = wanted.index((4, 1))
    assert proven[q_x].value == pytest.approx(52.1e3, rel=2e-3)
    assert proven[q_x].position is not None
    assert proven[q_x].position.vehicle == "EN 1991-2 LM2"
    assert searched[q_x].value > 52.0e3
