"""Envelopes against independently built static cases, mirrored decks and numbers of threads."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from threadpoolctl import threadpool_limits

from pipelines.deck.cases import Case, Patch
from pipelines.deck.deck import Deck
from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.envelopes.traffic import traffic_envelopes
from pipelines.errors import JobError
from pipelines.model import position_blocks
from pipelines.model.case_responses import case_responses
from pipelines.model.position_blocks import stream
from pipelines.model.responses import SolvedDeck
from pipelines.model.static_cases import case_load
from pipelines.traffic.positions import find_position, load_positions
from tests.helpers import blas_threads
from tests.pipelines.small_decks import (
    BEAMS,
    MESH,
    PLAN,
    PROBES,
    SLAB,
    TRAFFIC,
    deck_of,
    small_deck,
    solver_of,
)


@pytest.fixture(scope="module")
def deck(tmp_path_factory: pytest.TempPathFactory) -> Deck:
    return small_deck(tmp_path_factory.mktemp("deck"))


@pytest.fixture(scope="module")
def solved(deck: Deck) -> SolvedDeck:
    return solver_of(deck)


@pytest.fixture(scope="module")
def envelopes(deck: Deck, solved: SolvedDeck) -> TrafficEnvelope:
    [found] = traffic_envelopes(solved)
    assert found is not None
    return found


def static_case(envelopes: TrafficEnvelope, number: int) -> Case:
    """The load position as patches of a static case, placed by hand from the vehicle's data."""
    run, index = find_position(envelopes.runs, number)
    turn = 1.0 if run.direction == "reverse" else -1.0
    patches = []
    for axle, size in zip(run.vehicle.axles, run.patches, strict=True):
        for wheel in axle.wheels:
            x = run.stations[index] + turn * axle.at
            y = run.offsets[index] - turn * wheel
            patches.append(Patch((float(x), float(y)), size, axle.load / len(axle.wheels)))
    return Case(name="position", patches=tuple(patches))


def test_envelope_is_the_static_case_at_each_governing_position(
    deck: Deck, solved: SolvedDeck, envelopes: TrafficEnvelope
) -> None:
    fields = envelopes.fields.extremes
    for k in range(6):
        scale = np.abs([fields.maximum[k], fields.minimum[k]]).max()
        for values, at, point in (
            (fields.maximum, fields.at_maximum, int(fields.maximum[k].argmax())),
            (fields.minimum, fields.at_minimum, int(fields.minimum[k].argmin())),
        ):
            case = static_case(envelopes, int(at[k, point]))
            F = case_load(deck, case, solved.model)[:, None]
            response = solved.respond(F, refine=True)
            assert response.fields[k, point, 0] == pytest.approx(values[k, point], abs=1e-9 * scale)


def test_coexisting_results_belong_to_the_governing_position(
    deck: Deck, solved: SolvedDeck, envelopes: TrafficEnvelope
) -> None:
    fields = envelopes.fields
    point = int(fields.extremes.maximum[1].argmax())
    case = static_case(envelopes, int(fields.extremes.at_maximum[1, point]))
    F = case_load(deck, case, solved.model)[:, None]
    response = solved.respond(F, refine=True)
    expected = response.fields[:, point, 0]
    np.testing.assert_allclose(fields.with_maximum[1, :, point], expected, rtol=1e-7, atol=1e-9)


def test_probes_beams_and_reactions_follow_their_positions(
    deck: Deck, solved: SolvedDeck, envelopes: TrafficEnvelope
) -> None:
    e = envelopes.probes
    row = int(e.maximum.argmax())
    case = static_case(envelopes, int(e.at_maximum[row]))
    response = solved.respond(case_load(deck, case, solved.model)[:, None], refine=True)
    assert response.probes[row, 0] == pytest.approx(e.maximum[row], rel=1e-9)
    name = envelopes.reaction_names.index("C2@L1")
    case = static_case(envelopes, int(envelopes.reactions.at_maximum[name]))
    response = solved.respond(case_load(deck, case, solved.model)[:, None], refine=True)
    assert response.reactions["C2@L1"][0] == pytest.approx(
        envelopes.reactions.maximum[name], rel=1e-9
    )


def test_the_empty_deck_is_a_member(envelopes: TrafficEnvelope) -> None:
    fields = envelopes.fields.extremes
    assert (fields.maximum >= 0.0).all()
    assert (fields.minimum <= 0.0).all()
    assert (fields.maximum[fields.at_maximum < 0] == 0.0).all()
    assert (fields.maximum[fields.at_maximum >= 0] > 0.0).all()


def test_the_number_of_threads_changes_nothing(
    deck: Deck, solved: SolvedDeck, envelopes: TrafficEnvelope
) -> None:
    [alone] = traffic_envelopes(solved, workers=1)
    assert alone is not None
    np.testing.assert_array_equal(alone.fields.extremes.maximum, envelopes.fields.extremes.maximum)
    np.testing.assert_array_equal(
        alone.fields.extremes.at_minimum, envelopes.fields.extremes.at_minimum
    )


def test_looking_ahead_changes_nothing(
    solved: SolvedDeck, envelopes: TrafficEnvelope, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Runs taken as long: the same governing positions, values to the rounding of the few that they
    are put together from (`plate.solver.solution.REMAINDER`), more left out."""
    monkeypatch.setattr(position_blocks, "LONG", 2)
    monkeypatch.setattr(position_blocks, "STRIDE", 5)
    [found] = traffic_envelopes(solved)
    one, other = found.fields, envelopes.fields
    np.testing.assert_array_equal(one.extremes.at_maximum, other.extremes.at_maximum)
    np.testing.assert_array_equal(one.extremes.at_minimum, other.extremes.at_minimum)
    for a, b in (
        (one.extremes.maximum, other.extremes.maximum),
        (one.extremes.minimum, other.extremes.minimum),
        (one.with_maximum.swapaxes(0, 1), other.with_maximum.swapaxes(0, 1)),
        (one.with_minimum.swapaxes(0, 1), other.with_minimum.swapaxes(0, 1)),
    ):
        for mine, its in zip(a, b, strict=True):
            np.testing.assert_allclose(mine, its, rtol=0, atol=1e-8 * np.abs(its).max())
    assert found.left_out >= envelopes.left_out


def test_a_symmetric_deck_has_a_symmetric_envelope(
    deck: Deck, solved: SolvedDeck, envelopes: TrafficEnvelope
) -> None:
    # The deck, the carriageway and the lorry are symmetric about offset 0.
    fields = envelopes.fields.extremes
    mesh = solved.model.mesh
    points = solved.recovery.points
    centre = mesh.corners.mean(axis=1)
    n = points.order + 1
    mirrored = [int(np.argmin(np.linalg.norm(centre - c * [1, -1], axis=1))) for c in centre]
    local = np.arange(n * n).reshape(n, n)[:, ::-1].ravel()
    mine = points.cells
    theirs = points.cells[mirrored][:, local]
    for k, sign in enumerate([1, 1, 1, -1, 1, -1]):
        a, b = fields.maximum[k], fields.minimum[k]
        expected = a[theirs] if sign > 0 else -b[theirs]
        np.testing.assert_allclose(a[mine], expected, atol=1e-8 * np.abs(a).max(), rtol=0)


def test_envelope_of_a_mirrored_vehicle_is_mirrored(tmp_path: Path) -> None:
    lopsided = TRAFFIC.replace("gauge_m = 1.8", "wheels_m = [-0.9, 0.5]", 1)
    mirrored = TRAFFIC.replace("gauge_m = 1.8", "wheels_m = [-0.5, 0.9]", 1)
    parts = (SLAB, PLAN, BEAMS, PROBES, MESH)
    values = []
    for traffic in (lopsided, mirrored):
        deck = deck_of(
            tmp_path, *parts, traffic.replace("carriageway", "edge_clearance_m = 0.3\ncarriageway")
        )
        # Offsets placed symmetrically about zero, so that both runs visit mirrored places.
        assert deck.traffic is not None
        given = replace(deck.traffic, lateral_step=None, offsets=(-0.6, 0.0, 0.6))
        deck = replace(deck, traffic=given)
        [found] = traffic_envelopes(solver_of(deck))
        assert found is not None
        values.append(found.fields.extremes.maximum[1].max())
    assert values[0] == pytest.approx(values[1], rel=1e-9)


def test_stiff_beams_tend_to_rigid_lines(tmp_path: Path) -> None:
    rigid = '[[line]]\non = "C*"\nsupport = "rigid"\nto_edges = true\n'
    beam = (
        '[[line]]\non = "C*"\nsupport = "beam"\nto_edges = true\n'
        "beam = { E_GPa = 210, G_GPa = 81, I_cm4 = 1e9, J_cm4 = 0, A_cm2 = 1e6 }\n"
        'held_at = ["L1", "L2"]\n'
    )
    results = []
    for lines in (rigid, beam):
        deck = deck_of(tmp_path, SLAB, PLAN, lines, PROBES, MESH)
        response = case_responses(solver_of(deck))["weight"]
        results.append(response.probes[:, 0])
    a, b = (r.reshape(-1, 6) for r in results)
    # I = 1e9 cm4 leaves about 1e-4 of the flexibility of this slab.
    np.testing.assert_allclose(b[:, 1], a[:, 1], rtol=2e-3)


def test_self_weight_reaches_the_holds(deck: Deck, solved: SolvedDeck) -> None:
    response = case_responses(solved)["weight"]
    weight = 25e3 * 0.25 * 6.8 * 4.0
    assert response.total[0] == pytest.approx(weight, rel=1e-12)
    assert sum(v[0] for v in response.reactions.values()) == pytest.approx(weight, rel=1e-9)


def test_blocks_are_solved_with_one_thread_in_each_product(deck: Deck, solved: SolvedDeck) -> None:
    with threadpool_limits(2, user_api="blas"):
        runs = load_positions(deck)
        found = [seen for *_, seen in stream(solved, runs, lambda *_: blas_threads(), workers=2)]
        assert set(found) == {1}
        assert blas_threads() == 2


@pytest.mark.parametrize(("clearance", "fits"), [(0.5, False), (0.3, True)])
def test_a_load_model_whose_lanes_do_not_fit_is_refused(
    tmp_path: Path, clearance: float, fits: bool
) -> None:
    """Two tandems with wheels 2.0 m and middles at least 2.5 m apart take 4.5 m and twice the
    clearance: 5.5 m with 0.5 m, 5.1 m with 0.3 m; the carriageway is 5.4 m wide."""
    traffic = f"""
[traffic]
carriageway_m = [-2.7, 2.7]
edge_clearance_m = {clearance}
step_m = 1.5
lateral_step_m = 0.5
load_models = ["EN 1991-2 LM1"]
"""
    plan = PLAN.replace("[-2.0, 2.0]", "[-3.0, 3.0]")
    one = deck_of(tmp_path, SLAB, plan, BEAMS, traffic, MESH)
    if fits:
        [envelope] = traffic_envelopes(solver_of(one))
        assert len(envelope.arrangements)
    else:
        with pytest.raises(JobError, match="no arrangement of the lanes of EN 1991-2 LM1"):
            traffic_envelopes(solver_of(one))
