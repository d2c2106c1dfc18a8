"""The packaged study of effective widths: its decks are sound, its probes find the peaks, its fits
name columns that it has."""

from dataclasses import replace

import numpy as np
import pytest

from pipelines.analysis import analyse
from pipelines.deck.examples import FITS, STUDIES
from pipelines.report.data.summary import summary
from pipelines.study.design import design_rows
from pipelines.study.file import read_study
from pipelines.study.fit.file import read_fit
from pipelines.study.groups import VARIABLES
from pipelines.study.plan import Plan, deck_of, plan_study
from pipelines.study.responses import read_responses
from pipelines.study.spec import ERROR, Study


@pytest.fixture(scope="module")
def study() -> Study:
    return read_study(STUDIES["width-study"])


def planned(study: Study, **values: tuple[float, ...]) -> Plan:
    """The plan of the study with the given levels of the named parameters, the ends of others."""
    few = (
        replace(p, values=values.get(p.name, ((p.values or ())[0], (p.values or ())[-1])))
        for p in study.parameters
    )
    return plan_study(replace(study, parameters=tuple(few), tolerance_every=0))


def test_corners_of_the_design_are_decks_with_their_groups(study: Study) -> None:
    assert len(design_rows(study)) >= 500
    plan = planned(study)
    assert [row.reason for row in plan.rows if row.reason] == []
    for row in plan.rows:
        known = row.variables
        assert known["EI"] / (known["D"] * known["L"]) == pytest.approx(row.values["EI_DL"])
        assert known["e"] / known["S"] == pytest.approx(row.values["edge_S"])
        assert known["u"] / known["L"] == pytest.approx(2.5)  # midspan of the third bay of five


@pytest.mark.parametrize("edge", [0.25, 0.5])
def test_the_probes_find_the_peak_under_the_wheels(study: Study, edge: float) -> None:
    # Straight: on a skew deck the held corners are singular and have the largest moment of all.
    # 0.7 %: the study file says that the five or three probes across a tyre are within 0.6 %.
    one = {"EI_DL": (10,), "span": (2.5,), "S_L": (2,), "contact": (0.6,), "skew_deg": (0,)}
    [row] = planned(study, **one, edge_S=(edge,)).rows
    deck = deck_of(row)
    result = analyse(deck, threads=1, tolerances_wanted=False)
    known = {**row.variables, **row.values}
    reads = read_responses(study.responses, summary(result), deck, study.reference, known)
    for case in ("wheel", "axle"):
        peak = float(np.max(result.cases[case].fields[1])) / 1e3
        found = reads[f"m_{case}"].value
        assert found == pytest.approx(peak, rel=7e-3)


@pytest.mark.parametrize("name", FITS)
def test_fits_name_columns_of_the_study(study: Study, name: str) -> None:
    fit = read_fit(FITS[name])
    responses = [r.name for r in study.responses]
    columns = {*(p.name for p in study.parameters), *VARIABLES, *responses}
    columns |= {r + ERROR for r in responses}
    formulas = [one.formula for one in fit.inputs] + ([fit.where] if fit.where else [])
    used = {fit.response, *fit.families, *fit.hold_out, *(column for _, column in fit.compare)}
    used |= {one for formula in formulas for one in formula.names}
    assert used <= columns
