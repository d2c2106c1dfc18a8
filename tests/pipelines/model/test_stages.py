"""Stages of a composite deck, strains and settlements of a deck file, against hand sums.

A slab on one girder, simply supported: a beam of two parts joined without slip, so narrow that the
slab works along with its whole width (the hand sum's plane section).
"""

from pathlib import Path

import numpy as np
import pytest

from pipelines.accuracy.tolerances import case_values
from pipelines.model.case_responses import case_responses
from pipelines.model.case_sums import beam_axial, stage_sums, stated_sums
from pipelines.model.responses import Response, SolvedDeck
from pipelines.model.static_cases import case_solutions
from plate.solver.solution import LocalRows
from tests.pipelines.composite_decks import (
    CASES,
    COMPOSITE,
    E_C,
    E_S,
    INERTIA,
    N_LONG,
    N_SHRINKAGE,
    B,
    L,
    T,
    by_hand,
    strained,
)
from tests.pipelines.small_decks import deck_of, solver_of


@pytest.fixture(scope="module")
def composite(tmp_path_factory: pytest.TempPathFactory) -> tuple[SolvedDeck, dict[str, Response]]:
    folder: Path = tmp_path_factory.mktemp("composite")
    solved = solver_of(deck_of(folder, COMPOSITE, CASES))
    return solved, case_responses(solved)


def found(solved: SolvedDeck, response: Response) -> dict[str, float]:
    """The same read from the plate."""
    middle = np.isclose(solved.beams.at[0], L / 2)
    axial = beam_axial(solved, response)
    return {
        "M": float(response.beam_moments[middle, 0].mean()),
        "N": float(axial[middle].mean()),
        "m_x": float(response.probes[1, 0]),
        "w": float(response.probes[0, 0]),
    }


Composite = tuple[SolvedDeck, dict[str, Response]]


def test_fresh_concrete_is_carried_by_the_girder_alone(composite: Composite) -> None:
    solved, cases = composite
    load = 25e3 * B * T
    values = found(solved, cases["fresh"])
    assert values["M"] == pytest.approx(load * L**2 / 8, rel=0.01)
    assert values["w"] == pytest.approx(5 * load * L**4 / (384 * E_S * INERTIA), rel=0.01)
    assert abs(values["N"]) < 1e-3 * load * L**2 / 8
    assert abs(values["m_x"]) < 1.0
    assert sum(cases["fresh"].reactions.values())[0] == pytest.approx(load * L, rel=1e-5)


@pytest.mark.parametrize(
    ("case", "n", "load"),
    [("surfacing", N_LONG, 2e3 * B), ("crowd", E_S / E_C, 5e3 * B)],
)
def test_loads_find_the_slab_of_their_stage(
    composite: Composite, case: str, n: float, load: float
) -> None:
    solved, cases = composite
    assert found(solved, cases[case]) == pytest.approx(by_hand(n, load), rel=0.01)


@pytest.mark.parametrize(
    ("case", "n", "strain"),
    [("shrinkage", N_SHRINKAGE, -3e-4), ("warm slab", E_S / E_C, 1e-4)],
)
def test_strains_act_through_the_connection(
    composite: Composite, case: str, n: float, strain: float
) -> None:
    solved, cases = composite
    expected = strained(n, strain)
    values = found(solved, cases[case])
    assert values == pytest.approx(expected, rel=0.01)
    # the slab's force is the beam's, spread over its width
    assert cases[case].membrane[0, 0] * B == pytest.approx(-values["N"], rel=0.02)


def test_sums_add_up_what_each_stage_adds(composite: Composite) -> None:
    solved, cases = composite
    by_name = {one.name: one for one in stage_sums(solved, cases, solved.deck)}
    assert list(by_name) == ["wet concrete", "long-term", "shrinkage", "short-term", "all stages"]
    parts = [found(solved, response) for response in cases.values()]
    middle = np.isclose(solved.beams.at[0], L / 2)
    whole = by_name["all stages"]
    assert whole.moments[middle].mean() == pytest.approx(sum(part["M"] for part in parts))
    assert whole.axial[middle].mean() == pytest.approx(sum(part["N"] for part in parts))
    assert whole.probes[0] == pytest.approx(sum(part["w"] for part in parts))
    [design] = stated_sums(solved, cases, solved.deck)
    factors = dict(solved.deck.sums[0].factors)
    expected = sum(f * cases[name].probes[1, 0] for name, f in factors.items())
    assert design.probes[1] == pytest.approx(expected)
    assert design.reactions["C1"][0] == pytest.approx(
        (1.35 * 25e3 * B * T + 1.35 * 2e3 * B + 1.5 * 5e3 * B) * L / 2, rel=1e-4
    )


def test_slab_rows_read_a_stage_as_its_own_fields(composite: Composite) -> None:
    """Rows of the deck in the end, times the slab's share of its modulus."""
    solved, cases = composite
    rows = LocalRows(solved.probes.rows[1:3])
    for name in ("surfacing", "crowd"):
        assert cases[name].of_slab(rows) == pytest.approx(cases[name].probes[1:3], rel=1e-9)
    assert not cases["fresh"].of_slab(rows).any()


def test_without_the_table_a_stage_changes_nothing(tmp_path: Path) -> None:
    text = COMPOSITE + '[[case]]\nname = "a"\npressure_kN_m2 = 2.0\n[[probe]]\n'
    text += 'name = "mid"\nat_m = [10.0, 0.4]\n[mesh]\nsize_m = 2.0\n'
    late = text.replace("pressure_kN_m2", 'stage = "wet concrete"\npressure_kN_m2')
    now, then = (case_responses(solver_of(deck_of(tmp_path, one)))["a"] for one in (text, late))
    assert (now.probes == then.probes).all()
    assert then.of_stage is None


def test_a_line_settles_as_by_hand_in_a_deck_file(tmp_path: Path) -> None:
    """Two spans of 4 m, the middle line 10 mm down: m = 3 EI s/L^2 over it, reaction -6 EI s/L^3 a
    metre (three moments); nu = 0 and a slab so thin that it does not shear."""
    text = """
[slab]
thickness_mm = 100
E_GPa = 30.0
poisson = 0.0
density_kN_m3 = 25.0
[plan]
stations_m = [0.0, 4.0, 8.0]
offsets_m = [-1.0, 1.0]
[[line]]
on = "C*"
support = "rigid"
[[case]]
name = "settled"
settlements_mm = { C2 = 10.0 }
[[probe]]
name = "over C2"
at_m = [4.0, 0.0]
"""
    solved = solver_of(deck_of(tmp_path, text))
    response = case_responses(solved)["settled"]
    EI, span, s = 30e9 * 0.1**3 / 12, 4.0, 0.01
    w, m_x = response.probes[:2, 0]
    assert w == pytest.approx(s, rel=1e-9)
    assert m_x == pytest.approx(3 * EI * s / span**2, rel=5e-3)
    assert response.reactions["C2"][0] == pytest.approx(-6 * EI * s / span**3 * 2.0, rel=5e-3)


def test_the_field_of_a_clamped_slab_is_its_restrained_moment(tmp_path: Path) -> None:
    """The deck file's temperature: D (1 + nu) alpha dT/h at every point, tension below under a
    warmer top; and no moment where the slab rests on three springs."""
    slab = """
[slab]
thickness_mm = 200
E_GPa = 30.0
poisson = 0.2
density_kN_m3 = 25.0
[plan]
stations_m = [0.0, 4.0]
offsets_m = [-2.0, 2.0]
[[case]]
name = "warm top"
temperature = { difference_K = 10.0, alpha_per_K = 1.2e-5 }
[[probe]]
name = "p"
at_m = [1.7, 0.3]
[mesh]
size_m = 1.0
"""
    D = 30e9 * 0.2**3 / (12 * (1 - 0.2**2))
    m = D * 1.2 * 1.2e-5 * 10.0 / 0.2
    clamped = '[[line]]\non = ["C1", "C2", "L1", "L2"]\nsupport = "clamped"\n'
    solved = solver_of(deck_of(tmp_path, slab + clamped))
    response = case_responses(solved)["warm top"]
    assert response.probes[1:3, 0] == pytest.approx(m, rel=1e-9)
    solutions = case_solutions(solved.deck, solved.stiffness, solved.models)
    by_tolerances = case_values(solved.deck, solutions)["warm top"]
    assert by_tolerances == pytest.approx(response.probes[:, 0], rel=1e-9)
    assert response.fields[1:3, :, 0] == pytest.approx(m, rel=1e-9)
    parts = [fields[1:3, :, 0] for _, fields in response.parts]
    assert np.concatenate(parts, axis=1) == pytest.approx(m, rel=1e-9)
    springs = "".join(
        f'[[point]]\nat_m = [{x}, {y}]\nsupport = "spring"\nk_kN_m = 1e4\n'
        for x, y in ((0.5, -1.5), (3.5, -1.5), (2.0, 1.5))
    )
    free = case_responses(solver_of(deck_of(tmp_path, slab + springs)))["warm top"]
    assert np.abs(free.fields[1:4]).max() < 1e-7 * m
