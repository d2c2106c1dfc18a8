"""The front door: what a program of one's own imports from `pipelines`."""

import csv
import doctest
import pickle
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

import meshio
import numpy as np
import pytest

import pipelines
from pipelines import Analysis, DeckError, DeckFile, JobError, Kept
from pipelines.analysis.result import Result
from pipelines.deck.reading.keys import KeyMistake
from pipelines.report.html import html_of
from pipelines.run import report_of
from plate.errors import MechanismError
from tests.pipelines.decks_with_bars import BARS
from tests.pipelines.small_decks import BEAMS, MESH, PLAN, PROBES, SLAB, TRAFFIC

SMALL = SLAB + PLAN + BEAMS + TRAFFIC + PROBES + MESH


@pytest.fixture(scope="module")
def deck(tmp_path_factory: pytest.TempPathFactory) -> DeckFile:
    path = tmp_path_factory.mktemp("api") / "deck.toml"
    path.write_text(SMALL, encoding="utf-8")
    return DeckFile.read(path)


@pytest.fixture(scope="module")
def analysis(deck: DeckFile, small_result: Result) -> Analysis:
    """What `deck.analyse()` gives, of the run that other tests look at, too."""
    return Analysis(deck, small_result)


def test_every_name_is_there_and_tells_what_it_is() -> None:
    for name in pipelines.__all__:
        assert getattr(pipelines, name)
        if name != "__version__":
            assert ">>>" in getattr(pipelines, name).__doc__
    with pytest.raises(AttributeError, match="nothing_such"):
        pipelines.nothing_such  # noqa: B018 - asked for on purpose


def test_the_package_alone_computes_and_imports_nothing() -> None:
    """`deckslab -h` imports it: the rooms come when a name is asked for."""
    program = "import sys, pipelines; print([m for m in sys.modules if m.split('.')[0] == 'numpy'])"
    told = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True)
    assert told.stdout.strip() == "[]", told.stderr


# Their examples analyse whole decks or write files.
DEAR = {"Analysis", "Influence", "Picture", "Kept", "run_study", "run_fit", "__version__"}


@pytest.mark.parametrize("name", [name for name in pipelines.__all__ if name not in DEAR])
def test_examples_are_what_they_print(name: str) -> None:
    names = {one: getattr(pipelines, one) for one in pipelines.__all__}
    names["MechanismError"] = MechanismError
    [test] = doctest.DocTestFinder(recurse=False).find(names[name], globs=names)
    found = doctest.DocTestRunner().run(test)
    assert found.attempted > 0
    assert found.failed == 0


def test_a_deck_changes_by_the_keys_of_its_file(deck: DeckFile) -> None:
    thinner = deck.with_({"slab.thickness_mm": 200, "line.C*.beam.I_cm4": 30000})
    assert thinner["slab.thickness_mm"] == 200
    assert deck["slab.thickness_mm"] == 250
    assert thinner.deck.slab.thickness == 0.2
    beam = thinner.deck.lines[0].beam
    assert beam is not None
    assert pytest.approx(3e-4) == beam.I
    assert "small" in repr(thinner)
    assert len(repr(thinner)) < 120


def test_what_comes_out_of_a_deck_changes_nothing_in_it(deck: DeckFile) -> None:
    deck["plan.stations_m"].append(99.0)
    assert deck["plan.stations_m"] == [0.0, 3.0, 6.0]


def test_mistakes_have_key_value_and_what_is_allowed(deck: DeckFile) -> None:
    with pytest.raises(DeckError) as told:
        deck.with_({"slab.thickness_mm": -3})
    error = pickle.loads(pickle.dumps(told.value))
    [mistake] = error.mistakes
    assert (mistake.key, mistake.value) == ("[slab] thickness_mm", -3)
    assert mistake.allowed == "allowed is 20 to 5000 mm"
    assert str(error) == str(told.value)
    with pytest.raises(KeyMistake, match="no table for") as told:
        deck.with_({"line.C9.beam.I_cm4": 1.0})
    error = pickle.loads(pickle.dumps(told.value))
    [mistake] = error.mistakes
    assert mistake.key == "line.C9.beam.I_cm4"
    assert mistake.allowed == 'there is no table for "C9"; there are "C*"'
    assert str(error) == str(told.value) == f"{mistake.key}: {mistake.allowed}"
    with pytest.raises(KeyMistake, match="no line"):
        DeckFile({k: v for k, v in deck.tables.items() if k != "line"}).with_({"line.C*.k": 1.0})


def test_a_written_deck_reads_back(deck: DeckFile, tmp_path: Path) -> None:
    deck.with_({"slab.poisson": 0.15}).write(tmp_path / "again.toml")
    again = DeckFile.read(tmp_path / "again.toml")
    assert again["slab.poisson"] == 0.15
    assert {k: v for k, v in again.tables.items() if k != "slab"} == {
        k: v for k, v in deck.tables.items() if k != "slab"
    }


def test_tables_have_the_names_and_values_of_the_files(analysis: Analysis, tmp_path: Path) -> None:
    analysis.write(tmp_path)
    for name, frame in (("values", analysis.values), ("findings", analysis.findings)):
        with (tmp_path / f"{name}.csv").open(encoding="utf-8", newline="") as file:
            rows = list(csv.DictReader(file))
        assert len(rows) == len(frame) > 0
        assert list(rows[0]) == list(frame.columns)
        assert [row["caution"] for row in rows] == list(frame["caution"])
        number = "value" if name == "values" else "plate_peak"
        # printed to six digits
        assert [float(r[number]) for r in rows] == pytest.approx(list(frame[number]), rel=1e-5)
    vtu = meshio.read(tmp_path / "fields.vtu").point_data
    assert set(vtu) <= set(analysis.columns)
    np.testing.assert_allclose(vtu["m_x_max_kNm_m"], analysis.columns["m_x_max_kNm_m"], rtol=1e-6)


def test_a_result_is_told_in_a_line(analysis: Analysis) -> None:
    assert repr(analysis.result) == "<Result of small in N, m: weight, lorry>"
    assert repr(analysis).startswith("<Analysis of small: w max ")
    assert len(repr(analysis)) < 200


def test_fields_are_labelled_with_their_units(analysis: Analysis) -> None:
    pytest.importorskip("xarray")
    fields = analysis.fields
    assert fields["m_x_max_kNm_m"].attrs == {"units": "kNm/m"}
    assert fields["q_y_min_with_m_x_kNm_m"].attrs == {"units": "kNm/m"}
    assert fields["w_mm_max"].attrs == {"units": "mm"}
    assert fields["m_x_max_position"].attrs == {}
    assert fields["station_m"].attrs == {"units": "m"}
    near = fields.where((abs(fields.offset_m) < 0.5) & (fields.station_m < 3.0), drop=True)
    solved = analysis.result.solved.recovery.points.plan
    assert len(near.point) == np.sum((abs(solved[:, 1]) < 0.5) & (solved[:, 0] < 3.0))


def test_a_number_of_a_field_is_a_load_position(analysis: Analysis) -> None:
    number = analysis.columns["m_x_max_position"].max()
    assert analysis.position(number).startswith("lorry at ")
    assert analysis.position(-1) == "the empty deck"
    with pytest.raises(JobError, match=r'load = "tank": allowed is one of lorry'):
        analysis.position(number, "tank")


def test_pictures_are_drawings_with_the_caution(analysis: Analysis, tmp_path: Path) -> None:
    picture = analysis.picture("m_x", "min")
    picture.save(tmp_path / "m_x.svg")
    text = (tmp_path / "m_x.svg").read_text(encoding="utf-8")
    assert ElementTree.fromstring(text).tag.endswith("svg")
    assert "qualified engineer" in text
    assert "m_x min" in repr(picture)
    with pytest.raises(JobError, match='component = "M": allowed is one of w, m_x') as told:
        analysis.picture("M")
    [mistake] = told.value.mistakes
    assert (mistake.key, mistake.value) == ("component", "M")


def test_there_is_a_picture_of_whatever_the_report_draws(analysis: Analysis) -> None:
    page = html_of(report_of(analysis.result, analysis.summary))
    assert len(analysis.pictures) > 5
    assert page.count("<figure") == len(analysis.pictures)
    for name, picture in analysis.pictures.items():
        assert f'id="{name}"' in page
        assert ElementTree.fromstring(picture._repr_svg_()).tag.endswith("svg")


def test_a_deck_of_static_cases_says_that_it_has_no_traffic(deck: DeckFile) -> None:
    tables = {k: v for k, v in deck.tables.items() if k not in ("traffic", "vehicle")}
    tables["case"] = [{"name": "weight", "self_weight": True}]
    found = DeckFile(tables).analyse()
    assert "weight" in found.picture("m_y", load="weight").drawing.words
    assert "cut_length_mm" in found.bars.columns
    assert found.bars.empty
    assert found.checks.empty
    with pytest.raises(JobError, match="no \\[traffic\\]"):
        found.picture("m_y")


def test_influence_is_a_table_and_a_picture(deck: DeckFile) -> None:
    found = deck.influence("w", (1.5, 0.2))
    assert found.unit == "mm"
    # Betti: the ordinate at the place is the deflection there under a unit load there, positive;
    # far away on the next span the slab lifts.
    surface = found.surface
    there = surface.loc[((surface.station_m - 1.5) ** 2 + (surface.offset_m - 0.2) ** 2).idxmin()]
    assert there.ordinate > 0.9 * surface.ordinate.max() > 0.0
    assert list(found.worst.extreme) == ["max", "min"]
    assert found.worst.value[0] > 0.0
    assert "influence" in found._repr_svg_()


@pytest.mark.slow
def test_what_was_kept_serves_a_changed_deck(deck: DeckFile) -> None:
    kept = Kept()
    deck.analyse(kept=kept)
    moved = deck.with_({"probe": [{"name": "here", "at_m": [1.0, 0.0]}]})
    fresh, again = moved.analyse(), moved.analyse(kept=kept)
    assert again.values.equals(fresh.values)


@pytest.mark.slow
def test_bars_and_checks_are_tables(tmp_path: Path) -> None:
    path = tmp_path / "bars.toml"
    path.write_text(SLAB + PLAN + BEAMS + TRAFFIC + BARS, encoding="utf-8")
    found = DeckFile.read(path).analyse()
    assert found.bars.mass_kg.sum() == pytest.approx(
        sum(mark.mass for mark in found.result.schedule.marks)  # type: ignore[union-attr]
    )
    bending = found.checks.query("check == 'bending' and panel == 'as drawn'")
    assert set(bending.standard) == {"EN 1992", "IRC:112", "AASHTO LRFD"}
    assert bending.utilisation.max() > 0.0
