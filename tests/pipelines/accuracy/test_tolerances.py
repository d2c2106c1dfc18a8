"""The stated error of headline values: its parts, what they cover, and the other theory beside."""

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from pipelines.accuracy.mesh_parts import SAFETY
from pipelines.accuracy.stated_values import read_on, stated_under
from pipelines.accuracy.tolerances import Yardsticks, traffic_tolerances
from pipelines.accuracy.worst_envelope import stepped, with_worst_loads
from pipelines.analysis.analyse import analyse
from pipelines.analysis.result import Result
from pipelines.envelopes.peaks import SHEARS, governing_values
from pipelines.envelopes.traffic import traffic_envelopes
from pipelines.report.data.summary import summary
from pipelines.report.sections.tables import case_table, singular_table
from plate.conventions import RESULTS
from tests.pipelines.report_page import page_of
from tests.pipelines.small_decks import BEAMS, MESH, SLAB, deck_of

PLAN = "[plan]\nstations_m = [0.0, 3.0, 6.0]\noffsets_m = [-1.6, 1.6]\n"
TRAFFIC = (
    "[traffic]\ncarriageway_m = [-1.6, 1.6]\nstep_m = 0.7\nlateral_step_m = 0.6\n"
    'surfacing_mm = 80\ndispersal = "mid-depth"\ndirections = "forward"\n'
    '[[vehicle]]\nname = "lorry"\naxles = [{ at_m = 0.0, load_kN = 60, gauge_m = 1.6, '
    "patch_mm = [250, 350] }, { at_m = 1.9, load_kN = 90, gauge_m = 1.6, patch_mm = [250, 350] }]\n"
)
PROBES = '[[probe]]\nname = "mid"\nat_m = [1.4, 0.2]\n[[probe]]\nname = "C2"\nat_m = [3.0, 0.3]\n'
CASE = '[[case]]\nname = "weight"\nself_weight = true\n'


@pytest.fixture(scope="module")
def result(tmp_path_factory: pytest.TempPathFactory) -> Result:
    folder = tmp_path_factory.mktemp("deck")
    return analyse(deck_of(folder, SLAB, PLAN, BEAMS, TRAFFIC, PROBES, CASE, MESH))


def entries(result: Result) -> list[dict[str, float]]:
    """All headline values of the summary that a load position makes."""
    found = [*summary(result)["governing"]]
    for probe in summary(result)["probes"].values():
        for ends in probe["envelope"].values():
            sides = [ends, *ends.get("sides", {}).values()]
            found += [one[extreme] for one in sides for extreme in ("max", "min")]
    for beam in summary(result)["beam_envelopes"].values():
        found += [ends[extreme] for ends in beam.values() for extreme in ("max", "min")]
    return [one for one in found if one["vehicle"] is not None]


def test_errors_are_the_sums_of_their_parts(result: Result) -> None:
    every = entries(result)
    assert len(every) > 50
    for one in every:
        assert one["error"] == pytest.approx(one["error_mesh"] + one["error_step"])
        assert one["error_mesh"] >= 0.0
        assert one["error_step"] > 0.0
        assert np.isfinite(one["theory_difference"])


def test_mesh_parts_cover_what_the_richer_mesh_says_at_the_steps_too(result: Result) -> None:
    """The worst load position and the one that governs of the steps: at either one the two meshes
    may agree by chance. Values and load positions of both from the envelope before the search."""
    solved, built = result.solved, result.built
    [envelope] = traffic_envelopes(solved)
    worst = with_worst_loads(solved, envelope)
    measured = Yardsticks.of(built, solved)
    [tolerances] = traffic_tolerances(solved, [worst], measured)
    mesh = tolerances.probes["max"][:, 0]
    n = len(mesh)
    larger = 0
    for stated in (worst.stated, stepped(solved, envelope).stated):
        finer = stated_under(measured.richer, read_on(measured.richer, solved, stated).rows, stated)
        missed = SAFETY * np.abs(finer - stated.value)[:n]
        # of shears the richer mesh is not taken as it is read
        others = np.arange(n) % len(RESULTS) < min(SHEARS)
        assert np.all((mesh >= missed * (1.0 - 1e-6) - 1e-9 * mesh.max())[others])
        larger += int((mesh > 1.01 * missed)[others].sum())
    assert larger > 0


def test_reactions_have_a_proven_step_part_alone(result: Result) -> None:
    entries = summary(result)["reaction_envelopes"]
    largest = max(abs(ends[x]["value"]) for ends in entries.values() for x in ("max", "min"))
    for ends in entries.values():
        for extreme in (ends["max"], ends["min"]):
            assert extreme["error"] is None
            assert extreme["error_step_is"] == "proven"
            assert 0.0 <= extreme["error_step"] <= 3e-4 * largest


def test_finer_steps_stay_within_the_step_part(result: Result) -> None:
    """Of governing values, with steps of a seventh; those of the deck miss some per cent."""
    deck = result.deck
    assert deck.traffic is not None
    fine = replace(deck.traffic, step=0.1, lateral_step=0.1)
    finely = replace(deck, traffic=fine)
    [finer] = traffic_envelopes(replace(result.solved, deck=finely))
    [coarse] = traffic_envelopes(result.solved)
    missed = []
    # the largest of the whole deck at the steps, which another point may have
    at_steps = {
        (p.component, p.extreme, p.knife_edge): abs(p.value)
        for p in governing_values(result.solved, coarse)
    }
    for peak in result.governing:
        unit = 1e3 if peak.result == "w" else 1e-3
        ends = (finer.fields.extremes, coarse.fields.extremes)
        extreme = [e.maximum if peak.extreme == "max" else e.minimum for e in ends]
        near, far = (abs(e[peak.component, peak.point]) * unit for e in extreme)
        assert peak.coexisting[peak.component] == pytest.approx(peak.value)
        assert peak.tolerance is not None
        # of shears at wheels nothing is proven
        assert peak.tolerance.proven or peak.component in SHEARS
        assert near <= abs(peak.value) + peak.tolerance.step + 1e-9
        stepped = at_steps[peak.component, peak.extreme, peak.knife_edge]
        assert peak.tolerance.raised == pytest.approx(abs(peak.value) - stepped, abs=1e-9)
        missed.append(1.0 - far / abs(peak.value))
    assert max(missed) > 0.01
    assert min(missed) > -1e-9
    assert result.alone is not None
    own = result.alone.envelope
    # the worst places are load positions of the envelope, numbered on
    assert own.n_positions > coarse.n_positions
    np.testing.assert_array_equal(own.arrangements[:, 1], np.arange(own.n_positions))
    probes = result.alone.probes
    assert [name for one in probes for name in one.names] == list(result.solved.probes.names)
    for extreme, sign in (("max", 1.0), ("min", -1.0)):
        e = [one.envelope.probes for one in probes]
        values = np.concatenate([one.maximum if sign > 0.0 else one.minimum for one in e])
        steps = np.concatenate([one.tolerances.probes[extreme][:, 1] for one in probes])
        found = finer.probes.maximum if sign > 0.0 else finer.probes.minimum
        assert np.all(sign * (found - values) <= steps + 1e-9)
    for name in result.solved.beams.names:
        moments = [result.solved.beams.split(e.beam_moments.maximum)[name] for e in (finer, own)]
        at = int(moments[1].argmax())
        gain = moments[0][at] - moments[1][at]
        assert gain <= result.alone.tolerances.beams[name, "moment", "max"].step + 1e-9


def test_what_kirchhoffs_theory_adds(tmp_path: Path) -> None:
    """A strip between two lines, Poisson's ratio 0: moments stay and the shear deflection
    q l^2 / (8 kappa G t) goes; the other way round too."""
    q, span, t, E = 10.0, 4.0, 0.4, 30e6
    shear = q * span**2 / (8.0 * 5.0 / 6.0 * E / 2.0 * t) * 1e3
    for theory, change in (("mindlin", -shear), ("kirchhoff", shear)):
        slab = f'[slab]\nthickness_mm = 400\nE_GPa = 30.0\npoisson = 0.0\ntheory = "{theory}"\n'
        deck = deck_of(
            tmp_path,
            slab,
            "[plan]\nstations_m = [0.0, 4.0]\noffsets_m = [-1.0, 1.0]\n",
            '[[line]]\non = "C*"\nsupport = "rigid"\n',
            '[[case]]\nname = "q"\npressure_kN_m2 = 10.0\n',
            '[[probe]]\nname = "p"\nat_m = [2.0, 0.1]\n',
        )
        found = summary(analyse(deck))["probes"]["p"]["cases"]["q"]
        assert found["theory_difference"]["w_mm"] == pytest.approx(change, rel=2e-3)
        assert found["m_x"] == pytest.approx(q * span**2 / 8.0)
        assert found["theory_difference"]["m_x"] == pytest.approx(0.0, abs=1e-4)


def test_singular_places_are_told_and_not_read(tmp_path: Path) -> None:
    """The obtuse corners of a skew slab, 130 degrees between a simple and a free edge."""
    deck = deck_of(
        tmp_path,
        SLAB,
        "[plan]\nstations_m = [0.0, 4.0]\noffsets_m = [-2.0, 2.0]\nskew_deg = 40.0\n",
        '[[line]]\non = "C*"\nsupport = "rigid"\n',
        CASE,
        "[mesh]\norder = 3\nsize_m = 0.7\n",
    )
    result = analyse(deck)
    singular = singular_table(summary(result))
    assert singular is not None
    told = page_of((singular,))
    assert told.count("<tr>") == 3  # heads and two corners
    assert told.count('<td class="n">130</td>') == 2
    places = np.array([one["at_m"] for one in summary(result)["singular_places"]])
    found = re.findall(
        r"(-?[\d.]+), (-?[\d.]+)</td>", page_of((case_table(deck, result),)).replace("−", "-")
    )
    assert len(found) == 12  # largest and smallest of six results
    gaps = np.linalg.norm(np.array(found, dtype=float)[:, None] - places, axis=2)
    assert gaps.min() > 0.24  # a thickness of 0.25 m, printed to the centimetre
