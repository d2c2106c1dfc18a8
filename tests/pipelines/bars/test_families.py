"""A vehicle of a standard counts under that standard alone, a deck's own under every one."""

from pathlib import Path

import pytest

from pipelines.analysis.analyse import analyse
from pipelines.bars.design import StandardDesign
from pipelines.standards.actions.load_models import counts_under, family_of
from pipelines.standards.actions.vehicles import library
from tests.pipelines.small_decks import BEAMS, PLAN, SLAB, WEIGHT, deck_of, grades, mat

BARS = (
    WEIGHT
    + grades(
        {"EN 1992": "C35/45", "IRC:112": "M45", "AASHTO LRFD": "4 ksi"},
        {"EN 1992": "B500B", "IRC:112": "Fe 500D", "AASHTO LRFD": "Grade 60"},
    )
    + mat("bottom", "16@150", "12@150")
    + mat("top", "16@150", "12@150")
    + "[mesh]\nsize_m = 1.5\norder = 2\n"
)
TRAFFIC = """
[traffic]
carriageway_m = [-1.9, 1.9]
step_m = 1.0
lateral_step_m = 2.0
vehicles = {vehicles}
"""
CRANE = """
[[vehicle]]
name = "crane"
axles = [{ at_m = 0.0, load_kN = 20, gauge_m = 1.8, patch_mm = [250, 350] }]
"""


def designs(folder: Path, vehicles: str, *more: str) -> dict[str, StandardDesign]:
    parts = (SLAB, PLAN, BEAMS, TRAFFIC, *more, BARS)
    found = analyse(
        deck_of(folder, *parts, vehicles=vehicles), tolerances_wanted=False, strips_wanted=False
    ).design
    assert found is not None
    return {one.basis.materials.standard: one for one in found.standards}


def vehicles_of(one: StandardDesign) -> set[str]:
    """The vehicles that stand alone where the layers' demands are largest."""
    at = [layer.position.single for layer in one.layers if layer.position is not None]
    return {position.vehicle for position in at if position is not None}


def test_families_by_name() -> None:
    assert family_of("EN 1991-2 LM2") == family_of("EN 1991-2 LM1") == "EN 1992"
    assert family_of("AASHTO HL-93 truck") == "AASHTO LRFD"
    assert family_of("IRC:6 Class A") == "IRC:112"
    assert family_of("crane") is None
    assert all(family_of(name) is not None for name in library)
    assert counts_under("crane", "IRC:112")
    assert not counts_under("EN 1991-2 LM2", "IRC:112")


def test_a_listed_vehicle_is_not_multiplied_by_the_factors_of_another_standard(
    tmp_path: Path,
) -> None:
    found = designs(tmp_path, '["EN 1991-2 LM2"]')
    en, irc, us = (found[s] for s in ("EN 1992", "IRC:112", "AASHTO LRFD"))
    assert en.punching is not None
    assert en.punching.load <= 1.35 * 200e3 * (1 + 1e-12)
    for one in (irc, us):
        assert one.punching is None
        assert one.traffic == "none (not EN 1991-2 LM2, of another family)"
        assert all(layer.position is None for layer in one.layers)
        assert (one.demands["ULS"].at == -1).all()
    assert (en.demands["ULS"].at >= 0).any()


def test_the_decks_own_vehicle_counts_under_every_standard(tmp_path: Path) -> None:
    found = designs(tmp_path, '["EN 1991-2 LM2", "crane"]', CRANE)
    for standard, factor in (("IRC:112", 1.5), ("AASHTO LRFD", 1.75)):
        punching = found[standard].punching
        assert punching is not None
        assert punching.vehicle == "crane"
        assert punching.load == pytest.approx(factor * 10e3)
        assert vehicles_of(found[standard]) == {"crane"}
    assert "EN 1991-2 LM2" in vehicles_of(found["EN 1992"])
