"""Plans: every row a deck of its own, keyed by all that it depends on; rows that share a mesh."""

import gc
from pathlib import Path

import pytest

from pipelines.model.build import build_model
from pipelines.model.cache import ModelCache, fingerprint
from pipelines.study.file import read_study
from pipelines.study.plan import MESH_CASE, MOST_ROWS, Plan, deck_of, plan_study
from pipelines.study.spec import StudyError
from tests.pipelines.studies import DECK, HEAD, PARAMETERS, RESPONSES, write_study

CSV = HEAD.replace('kind = "grid"', 'kind = "rows"\nfile = "rows.csv"')


def plan(folder: Path, *parts: str, deck: str = DECK) -> Plan:
    return plan_study(read_study(write_study(folder, *parts, deck=deck)))


def keys(found: Plan) -> list[str]:
    return [row.key for row in found.rows]


def test_rows_are_decks_with_their_values(tmp_path: Path) -> None:
    row = plan(tmp_path).rows[3]
    assert row.values == {"k": 1, "load": 100, "edge_L": 0.6}
    deck = deck_of(row)
    [patch, *_] = deck.cases[0].patches
    assert patch.load == 100e3
    assert patch.at == pytest.approx((1.5, -0.2))
    assert deck.probes[0].at == pytest.approx((1.5, -0.2))
    beam = deck.lines[0].beam
    assert beam is not None
    bending = 30e9 * 0.25**3 / 12 / 0.96
    assert beam.E * beam.I / (bending * 3.0) == pytest.approx(1.0, rel=1e-9)


def test_rows_of_one_structure_have_one_mesh(tmp_path: Path) -> None:
    rows = plan(tmp_path).rows
    assert len({row.structure for row in rows}) == 2
    models = [fingerprint(build_model(deck_of(row)).model) for row in rows]
    assert len(set(models)) == 2
    case = deck_of(rows[0]).cases[-1]
    assert case.name == MESH_CASE
    assert [patch.load for patch in case.patches] == [0.0, 0.0]


def test_a_cache_hands_out_what_it_made_for_an_equal_model(tmp_path: Path) -> None:
    first, second, other = (build_model(deck_of(plan(tmp_path).rows[k])).model for k in (0, 1, 4))
    models = ModelCache(1)
    kept = models.stiffness(first)
    assert models.stiffness(second) is kept
    assert models.recovery(second) is models.recovery(first)
    assert models.beams(second) is models.beams(first)
    assert models.stiffness(other) is not kept
    assert models.stiffness(first) is kept  # the other took its place, but it is in use here
    models.stiffness(other)
    del kept
    gc.collect()
    assert models.stiffness(second).model is second  # made anew


def test_loads_alone_share_without_another_case(tmp_path: Path) -> None:
    parameters = PARAMETERS[: PARAMETERS.rindex("[[parameter]]")]
    rows = plan(tmp_path, HEAD, parameters, RESPONSES).rows
    assert [len(deck_of(row).cases) for row in rows] == [1] * 4
    assert len({fingerprint(build_model(deck_of(row)).model) for row in rows}) == 2


def test_keys_depend_on_what_the_row_depends_on(tmp_path: Path) -> None:
    before = keys(plan(tmp_path))
    assert len(set(before)) == 8
    same = DECK.replace('title = "tiny"', '# a comment\ntitle = "other"')
    assert keys(plan(tmp_path, deck=same)) == before
    set_anyway = DECK.replace("load_kN = 100.0", "load_kN = 70.0")
    assert keys(plan(tmp_path, deck=set_anyway)) == before
    thicker = DECK.replace("thickness_mm = 250", "thickness_mm = 251")
    assert not set(keys(plan(tmp_path, deck=thicker))) & set(before)
    wished = RESPONSES.replace("cases.wheel.m_x", "cases.wheel.m_y")
    # Responses are read from what is kept of a deck; only a target for them changes the deck.
    assert keys(plan(tmp_path, HEAD, PARAMETERS, wished)) == before
    head = HEAD.replace("tolerance_every = 0", "tolerance_every = 1\nerror_target_percent = 3")
    aimed = [keys(plan(tmp_path, head, PARAMETERS, one)) for one in (RESPONSES, wished)]
    assert not set(aimed[0]) & set(aimed[1])


def test_a_changed_level_changes_only_its_rows(tmp_path: Path) -> None:
    before = plan(tmp_path)
    after = plan(tmp_path, HEAD, PARAMETERS.replace("1, 100]", "1, 2000]"), RESPONSES)
    changed = {row.values["k"] for row in after.rows if row.key not in set(keys(before))}
    assert changed == {2000}


def test_the_program_is_part_of_the_key(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = keys(plan(tmp_path))
    monkeypatch.setattr("pipelines.study.plan.program_version", lambda: "another")
    assert not set(keys(plan(tmp_path))) & set(before)


def test_tolerances_for_one_structure_in_so_many(tmp_path: Path) -> None:
    def flags(every: int) -> list[bool]:
        head = HEAD.replace("tolerance_every = 0", f"tolerance_every = {every}")
        return [row.tolerances for row in plan(tmp_path, head, PARAMETERS, RESPONSES).rows]

    assert not any(flags(0))
    assert all(flags(1))
    half = flags(2)
    assert half == [flag for flag in half[::4] for _ in range(4)]  # whole structures


def test_equal_rows_are_one_task(tmp_path: Path) -> None:
    (tmp_path / "rows.csv").write_text(
        "k,load,edge_L\n" + "1,50,0.2\n" * 3 + "1,60,0.2\n", encoding="utf-8"
    )
    parameters = "\n".join(s for s in PARAMETERS.split("\n") if not s.startswith("values"))
    found = plan(tmp_path, CSV, parameters, RESPONSES)
    assert len(found.rows) == 4
    [task] = found.tasks(lambda key: False)
    assert [row.number for row in task.rows] == [1, 4]
    assert found.tasks(lambda key: True) == ()


def test_tasks_are_small(tmp_path: Path) -> None:
    lines = "".join(f"1,{load},0.2\n" for load in range(10, 10 + 3 * MOST_ROWS // 2))
    (tmp_path / "rows.csv").write_text("k,load,edge_L\n" + lines, encoding="utf-8")
    parameters = "\n".join(s for s in PARAMETERS.split("\n") if not s.startswith("values"))
    tasks = plan(tmp_path, CSV, parameters, RESPONSES).tasks(lambda key: False)
    assert [len(task.rows) for task in tasks] == [MOST_ROWS, MOST_ROWS // 2]


def test_a_deck_with_mistakes_is_a_row_with_its_reason(tmp_path: Path) -> None:
    parameters = PARAMETERS.replace("[0.2, 0.6]", "[0.2, -0.5]")
    rows = plan(tmp_path, HEAD, parameters, RESPONSES).rows
    assert [bool(row.reason) for row in rows] == [False, True] * 4
    assert "off the slab" in rows[1].reason or "not on the slab" in rows[1].reason
    assert "\n" not in rows[1].reason


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('key = "case.wheel.patches.1.load_kN"', 'key = "slab.thicknes_mm"', "thickness_mm"),
        ('key = "case.wheel.patches.1.load_kN"', 'key = "line.C7.width_mm"', 'no table for "C7"'),
    ],
)
def test_no_valid_row_at_all_is_a_mistake(tmp_path: Path, old: str, new: str, words: str) -> None:
    with pytest.raises(StudyError, match=words):
        plan(tmp_path, HEAD, PARAMETERS.replace(old, new), RESPONSES)


CORNERS = ((0.0, 0.0), (6.0, 0.0), (6.0, 4.0), (0.0, 4.0))
VERTICES = "".join(f"0\nVERTEX\n8\nSLAB\n10\n{x}\n20\n{y}\n" for x, y in CORNERS)
DRAWING = (
    "0\nSECTION\n2\nENTITIES\n0\nPOLYLINE\n8\nSLAB\n66\n1\n70\n1\n"
    f"{VERTICES}0\nSEQEND\n8\nSLAB\n0\nENDSEC\n0\nEOF\n"
)
DRAWN = """
[slab]
thickness_mm = 250
E_GPa = 30.0
[plan]
dxf = "drawings/plan.dxf"
dxf_layer = "SLAB"
dxf_unit = "m"
[[line]]
on = "E*"
support = "rigid"
"""
OF_DRAWN = """
title = "drawn"
base = "deck.toml"
[design]
kind = "grid"
[[parameter]]
name = "t"
key = "slab.thickness_mm"
values = [200, 300]
[[response]]
name = "points"
path = "model.result_points"
"""


def test_a_file_that_the_deck_names_goes_with_it_and_counts(tmp_path: Path) -> None:
    drawing = tmp_path / "drawings" / "plan.dxf"
    drawing.parent.mkdir()
    drawing.write_text(DRAWING, encoding="utf-8")
    first = plan(tmp_path, OF_DRAWN, deck=DRAWN)
    [(name, data)] = first.rows[0].files
    assert data.decode() == DRAWING
    assert name in first.rows[0].deck
    assert deck_of(first.rows[0]).plan.outline[:, 0].max() == pytest.approx(6.0)
    drawing.write_text(DRAWING.replace("6.0", "7.0"), encoding="utf-8")
    again = plan(tmp_path, OF_DRAWN, deck=DRAWN)
    assert not set(keys(again)) & set(keys(first))
    assert deck_of(again.rows[0]).plan.outline[:, 0].max() == pytest.approx(7.0)
    drawing.unlink()
    told = r"\[plan\] dxf = \"drawings/plan.dxf\": there is no such file"
    with pytest.raises(StudyError, match=told):
        plan(tmp_path, OF_DRAWN, deck=DRAWN)


def test_factors_that_the_deck_names_go_with_it(tmp_path: Path) -> None:
    owner = tmp_path / "owner.toml"
    owner.write_text("[EN]\ngamma_c = 1.4\n", encoding="utf-8")
    parameters = PARAMETERS.replace("[1, 100]", "[1]").replace("[50, 100]", "[50]")
    asked = (HEAD, parameters, RESPONSES)
    deck = 'factors = "owner.toml"\n' + DECK
    [first, *_] = plan(tmp_path, *asked, deck=deck).rows
    assert [data for _, data in first.files] == [owner.read_bytes()]
    known = {one.standard: one for one in deck_of(first).factors}
    assert known["EN 1992"]["gamma_c"] == 1.4
    owner.write_text("[EN]\ngamma_c = 1.3\n", encoding="utf-8")
    [again, *_] = plan(tmp_path, *asked, deck=deck).rows
    assert again.key != first.key
