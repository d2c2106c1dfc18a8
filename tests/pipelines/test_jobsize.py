"""Estimates of a job's size against what it becomes, and refusals."""

from dataclasses import replace
from pathlib import Path

import pytest

from pipelines.build import build_model
from pipelines.deck import Deck, MeshOptions
from pipelines.errors import JobError
from pipelines.jobsize import check_job_size, free_memory, job_size
from pipelines.traffic import position_count
from tests.pipelines.small_decks import small_deck


@pytest.fixture
def deck(tmp_path: Path) -> Deck:
    return small_deck(tmp_path)


@pytest.mark.parametrize("size", [0.8, 0.4, 0.2])
def test_estimate_is_near_what_the_model_becomes(deck: Deck, size: float) -> None:
    given = replace(deck, mesh=MeshOptions(3, size))
    found = job_size(given)
    model = build_model(given).model
    # an estimate from size and lines alone: within a factor of 2.5, and not below by a third
    assert 0.67 < found.cells / model.mesh.n_cells < 2.5
    assert 0.67 < found.degrees_of_freedom / model.n_dof < 2.5
    assert 0.9 < found.load_positions / position_count(given) < 2.5


def test_a_billion_positions_are_refused_at_once(deck: Deck) -> None:
    assert deck.traffic is not None
    fine = replace(deck, traffic=replace(deck.traffic, step=1e-5, lateral_step=1e-4))
    with pytest.raises(JobError, match=r"load positions.*\[traffic\] step_m or lateral_step_m"):
        check_job_size(fine)


def test_ten_million_cells_are_refused_at_once(deck: Deck) -> None:
    fine = replace(deck, mesh=MeshOptions(3, 0.0016))
    assert job_size(fine).cells > 1e7
    with pytest.raises(JobError, match=r"cells .* need .* GB; .* make \[mesh\] size_m coarser"):
        check_job_size(fine)


def test_what_fits_is_let_through(deck: Deck) -> None:
    size = check_job_size(deck)
    assert size == job_size(deck)
    assert f"{size.load_positions:,} load positions" in size.words
    with pytest.raises(JobError, match="may be taken"):
        check_job_size(deck, free=lambda: size.memory)  # only a share of what is free is taken
    assert check_job_size(deck, free=lambda: 2.0 * size.memory) == size


def test_memory_grows_with_cells_vehicles_and_threads(deck: Deck) -> None:
    assert deck.traffic is not None
    base = job_size(deck, workers=1)
    assert job_size(deck, workers=4).memory > base.memory
    assert job_size(deck, workers=4).seconds == pytest.approx(0.25 * base.seconds)
    finer = replace(deck, mesh=MeshOptions(3, 0.1))
    assert job_size(finer, workers=1).memory > 4.0 * base.memory
    [lorry] = deck.traffic.vehicles
    two = replace(deck.traffic, vehicles=(lorry, replace(lorry, name="second")))
    more = job_size(replace(deck, traffic=two), workers=1)
    assert more.load_positions == 2 * base.load_positions
    assert more.memory > base.memory


def test_free_memory_is_a_plausible_number() -> None:
    assert 1e7 < free_memory() < 1e14
