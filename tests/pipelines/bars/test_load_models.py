"""Bars and shear under whole load models, against every arrangement of lanes tried one by one."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import sparse

from pipelines.analysis.analyse import analyse
from pipelines.analysis.result import Result
from pipelines.bars.checks.near_supports import wheel_shares
from pipelines.bars.demand.load_models import ShearForms
from pipelines.bars.demand.moments import LAYER_ROWS
from pipelines.bars.demand.shear import first_highest
from pipelines.bars.design import Design, StandardDesign
from pipelines.deck.deck import Deck
from pipelines.envelopes.peaks import nearest
from pipelines.model.influence import field_rows
from pipelines.model.position_blocks import position_load
from pipelines.model.responses import SolvedDeck
from pipelines.report.sections.bars import bars_section
from pipelines.report.sections.shear import shear_section
from pipelines.traffic.lanes import strip_shares
from pipelines.traffic.pressure_cells import pressure_cells
from pipelines.traffic.trains import model_trains
from plate.loads.loads import patch_loads
from tests.oracles.arrangements import every_arrangement
from tests.oracles.edge_twist import twist_row
from tests.pipelines.report_page import page_of
from tests.pipelines.small_decks import SLAB, WEIGHT, deck_of, grades, mat

PLAN = """
[plan]
stations_m = [0.0, 3.0, 6.0]
offsets_m = [-3.1, 3.1]
overhang_m = { start = 0.4, end = 0.4 }
[[line]]
on = "C*"
support = "beam"
width_mm = 250
beam = { E_GPa = 210, G_GPa = 81, I_cm4 = 150000, J_cm4 = 200, A_cm2 = 160, Av_cm2 = 60 }
held_at = [{ on = "L1" }, { on = "L2" }]
[traffic]
carriageway_m = [-3.1, 3.1]
step_m = 0.6
lateral_step_m = 0.55
load_models = ["EN 1991-2 LM1"]
[mesh]
size_m = 1.0
"""
BARS = (
    WEIGHT
    + grades({"EN 1992": "C35/45", "IRC:112": "M45"}, {"EN 1992": "B500B", "IRC:112": "Fe 500D"})
    + mat("bottom", "16@150", "16@150")
    + mat("top", "16@150", "16@150", cover=45)
    + """
[[beam_bars]]
on = ["C2"]
width_mm = 300
depth_mm = 600
cover_mm = 40
top = { count = 3, diameter_mm = 20 }
bottom = { count = 3, diameter_mm = 20 }
links = { diameter_mm = 10, spacing_mm = 150 }
"""
)


@pytest.fixture(scope="module")
def deck(tmp_path_factory: pytest.TempPathFactory) -> Deck:
    return deck_of(tmp_path_factory.mktemp("deck"), SLAB, PLAN, BARS)


@pytest.fixture(scope="module")
def result(deck: Deck) -> Result:
    return analyse(deck, tolerances_wanted=False, strips_wanted=False)


@pytest.fixture(scope="module")
def design(result: Result) -> Design:
    assert result.design is not None
    return result.design


@pytest.fixture(scope="module")
def european(design: Design) -> StandardDesign:
    return design.standards[0]


def tried(deck: Deck, solved: SolvedDeck, rows: sparse.csr_array) -> tuple[np.ndarray, np.ndarray]:
    """Extremes of rows on the displacements over every arrangement of the load model."""
    names = tuple(f"row {k}" for k in range(rows.shape[0]))
    return every_arrangement(
        deck, replace(solved, probes=replace(solved.probes, names=names, rows=rows))
    )


def with_share(deck: Deck, share: float) -> Deck:
    """The deck with that share of its load model's distributed loads."""
    assert deck.traffic is not None
    [model] = deck.traffic.load_models
    kinds = tuple(replace(kind, pressure=share * kind.pressure) for kind in model.kinds)
    less = replace(model, kinds=kinds, pressure=share * model.pressure)
    return replace(deck, traffic=replace(deck.traffic, load_models=(less,)))


def test_each_standard_has_its_own_traffic(design: Design) -> None:
    european, indian = design.standards
    assert european.traffic == "EN 1991-2 LM1"
    # no single vehicle in this deck, and no load model of the other standard
    assert indian.traffic == "none"
    assert all(check.position is None for check in indian.layers)
    assert all(check.position.whole for check in european.layers)


@pytest.mark.parametrize(
    ("state", "factor", "share"),
    [
        ("ULS", 1.35, 1.0),
        # psi_1 of LM1: 0.75 on tandems, 0.40 on distributed loads (EN 1990 table A2.1)
        ("frequent", 0.75, 0.40 / 0.75),
    ],
)
def test_demand_is_that_of_the_worst_arrangement(
    deck: Deck, result: Result, european: StandardDesign, state: str, factor: float, share: float
) -> None:
    """m_x + |m_xy| and so on of every arrangement, with factors, at each layer's worst point."""
    demand = european.demands[state]  # type: ignore[index]
    weight = result.cases["weight"].fields[:, :, 0]
    read_at = nearest(result.solved, result.solved.readable)
    for k, _ in enumerate(LAYER_ROWS):
        point = int(read_at[demand.values[k].argmax()])
        component = 1 + k % 2
        m = field_rows(result.solved, [point], [component])
        m_xy = twist_row(result.solved, point, (-0.4, -3.1), (6.4, 3.1))
        rows = sparse.csr_array(sparse.vstack([m + m_xy, m - m_xy]))
        high, low = tried(with_share(deck, share), result.solved, rows)
        twist = np.array([1.0, -1.0]) * float((m_xy @ result.cases["weight"].displacements)[0, 0])
        sums = weight[component, point] + twist
        gammas = {s["self-weight"] for s in demand.states}
        traffic = high if k < 2 else -low
        sign = 1.0 if k < 2 else -1.0
        worst = max(float((sign * g * sums + factor * traffic).max()) for g in gammas)
        # never above the linear rule; below it only where no second bars are needed
        assert demand.values[k, point] <= worst * (1 + 1e-9)
        assert demand.values[k, point] >= demand.least[k, point] - 1e-6 * worst
        if demand.least[k, point] >= worst * (1 - 1e-9):
            assert demand.values[k, point] == pytest.approx(worst, rel=1e-9)
    assert np.isclose(
        demand.values.max(axis=1),
        demand.least[np.arange(4), demand.values.argmax(axis=1)],
        rtol=1e-9,
    ).any()


def test_shear_is_no_less_than_that_of_any_arrangement(
    deck: Deck, result: Result, design: Design, european: StandardDesign
) -> None:
    """Mean over the judged width of the shear across the line, at the worst sample."""
    peak, demand = european.design_shear, european.shear_demand
    assert peak is not None
    assert demand is not None
    w = demand.widths.index(peak.width)
    sample = first_highest(demand.utilisation[w])
    sections = design.sections
    weights = sections.means(peak.width)[[sample]] @ sections.rows
    points, values = weights.indices, weights.data
    rows = field_rows(result.solved, points.tolist(), [4] * len(points))
    row = sparse.csr_array(sparse.csr_array(values[None, :]) @ rows)
    high, low = tried(deck, result.solved, row)
    weight = result.cases["weight"].fields[4, :, 0]
    steady = float(values @ weight[points])
    worst = max(g * abs(steady) + 1.35 * max(high[0], -low[0]) for g in (1.0, 1.35))
    assert peak.v >= worst * (1 - 1e-3)
    # the principal shear is a little more than its part across the line
    assert peak.v == pytest.approx(worst, rel=0.1)


def test_shear_near_the_line_is_reduced_wheel_by_wheel(
    result: Result, design: Design, european: StandardDesign
) -> None:
    reduced, peak = european.reduced, european.design_shear
    assert reduced is not None
    assert peak is not None
    # between steps of 0.6 m the shear may rise by some per cent
    assert peak.utilisation <= reduced.whole <= 1.1 * peak.utilisation
    assert 0.0 < reduced.utilisation <= reduced.whole * (1 + 1e-9)
    assert reduced.position.whole
    assert reduced.n > 1


def test_a_held_arrangement_entered_again_gives_its_shear(
    deck: Deck, result: Result, european: StandardDesign, design: Design
) -> None:
    """Wheels from the printed lanes, distributed loads from the sign of the shear's influence."""
    peak, demand = european.design_shear, european.shear_demand
    assert peak is not None
    assert demand is not None
    assert deck.traffic is not None
    [model] = deck.traffic.load_models
    trains = model_trains(deck, model)
    kinds = {kind.name: kind for kind in model.kinds}
    total = np.zeros(result.solved.model.n_plate_dof)
    position = peak.position
    assert position is not None
    assert position.whole
    for lane in position.lanes:
        kind = kinds[lane.kind]
        train = trains[kind.vehicles]
        at = lane.position
        assert at is not None
        run = next(
            r.at_offset(y)
            for r in train.runs
            for y in train.offsets
            if r.direction == at.direction and abs(y - at.offset) < 1e-6
        )
        index = int(np.abs(run.stations - at.station).argmin())
        wheels = run.wheels(np.array([index]))
        F = patch_loads(result.solved.model.mesh, wheels.corners, wheels.load, wheels.position, 1)
        total += kind.factor * F.toarray()[:, 0]
    w = demand.widths.index(peak.width)
    sample = first_highest(demand.utilisation[w])
    sections = design.sections
    rows, mean = sections.rows, sections.means(peak.width)[[sample]]

    def shears(F: np.ndarray) -> np.ndarray:
        """q_x, q_y at the samples (2, n, k)."""
        fields = result.solved.respond(F).fields
        return np.stack([np.asarray(rows @ fields[4 + k]) for k in (0, 1)])

    tandems = shears(total[:, None])[..., 0]
    weight = np.stack([rows @ result.cases["weight"].fields[4 + k, :, 0] for k in (0, 1)])
    edges, strips = pressure_cells(deck)
    pressure = np.full(len(strips), model.pressure)
    for lane in position.lanes:
        kind = kinds[lane.kind]
        pressure += (
            kind.pressure
            * strip_shares(edges, np.array([lane.offset]), kind.width, deck.traffic.carriageway)[0]
        )
    forms = ShearForms.of(result.solved, sections, demand.widths)
    every, parts = [], []
    for strip, q in zip(strips, pressure, strict=True):
        F = position_load(result.solved.model, strip, slice(0, len(strip)))
        every.append(q * shears(F.toarray()))
        q_x, q_y = np.split(forms.rows @ result.solved.respond(F).displacements, 2)
        parts.append(np.concatenate([*forms.of_shears(q_x, q_y)]))
    cells = np.concatenate(every, axis=2)
    values = []
    for form in np.concatenate(parts, axis=1):
        for sign in (1.0, -1.0):
            q = tandems + cells[:, :, sign * form > 0.0].sum(axis=2)
            values += [
                float((mean @ np.hypot(*(1.35 * q + gamma * weight)))[0]) for gamma in (1.0, 1.35)
            ]
    # the distributed loads on the cells that are adverse for a part of the shear, here or at the
    # sample for which the arrangement was first held
    assert min(abs(v / peak.v - 1.0) for v in values) < 1e-6
    assert max(values) <= peak.v * (1 + 1e-3)
    assert np.ptp(values) > 0.05 * peak.v


def test_beams_under_the_load_model(result: Result, european: StandardDesign) -> None:
    """Sagging of cross beam C2: 1.35 weight + 1.35 of the load model's envelope."""
    [row] = [r for r in european.rows if r.check == "beam, sagging"]
    [envelope] = [one.envelope for one in result.traffic if one.envelope.whole]
    beams = result.solved.beams
    high = beams.split(envelope.beam_moments.maximum)["C2"]
    weight = beams.split(result.cases["weight"].beam_moments[:, 0])["C2"]
    assert row.required == pytest.approx(1.35 * float((high + weight).max()), rel=1e-9)


def test_punching_takes_each_lanes_vehicle(result: Result, european: StandardDesign) -> None:
    punching = european.punching
    assert punching is not None
    assert punching.vehicle == "EN 1991-2 LM1: EN 1991-2 LM1 TS"
    # lane 1: 150 kN a wheel, times 1.35, whole on the slab or less
    assert punching.load <= 1.35 * 150e3 * (1 + 1e-9)


def test_sections_of_the_report_name_lanes(result: Result) -> None:
    for section in map(page_of, (bars_section(result), shear_section(result))):
        assert "EN 1991-2 LM1" in section
        assert "lane 1 at" in section


def test_contacts_over_the_section_count_in_full(deck: Deck, result: Result) -> None:
    """An arrangement's wheels are reduced as a single vehicle's: by their contacts."""
    [envelope] = [one.envelope for one in result.traffic if one.envelope.whole]
    number = int(envelope.fields.extremes.at_maximum[4].max())
    (contacts,), spread = envelope.wheels_of([number], contacts=True), envelope.wheels(number)
    assert len(contacts.load) == len(spread.load)
    np.testing.assert_allclose(contacts.load, spread.load)
    np.testing.assert_allclose(contacts.corners.mean(axis=1), spread.corners.mean(axis=1))
    line = deck.line("C2")
    assert line is not None
    shares = wheel_shares(deck, line, 1, 0.2, contacts)
    assert ((shares >= 0.25) & (shares <= 1.0)).all()


def test_the_worse_of_single_vehicles_and_load_models_counts(tmp_path: Path) -> None:
    crane = """
[[vehicle]]
name = "crane"
axles = [{ at_m = 0.0, load_kN = 1500, gauge_m = 1.8, patch_mm = [250, 350] }]
"""
    deck = deck_of(tmp_path, SLAB, PLAN.replace("[mesh]", crane + "[mesh]"), BARS)
    found = analyse(deck, tolerances_wanted=False, strips_wanted=False).design
    assert found is not None
    position = found.standards[0].layers[0].position
    assert position is not None
    assert position.single is not None
    assert position.single.vehicle == "crane"


@pytest.mark.parametrize(
    "beam", ["beam = { ", 'beam = { eccentricity_mm = 400, connection = "full", ']
)
def test_a_model_of_one_vehicle_asks_for_what_the_vehicle_asks(tmp_path: Path, beam: str) -> None:
    """Load model 2 is one axle or one wheel: the same demands either way, also with the membrane
    forces of a composite deck."""
    text = PLAN.replace("beam = { ", beam).replace(
        "lateral_step_m = 0.55", "offsets_m = [0.3, 1.4]"
    )
    bars = BARS[: BARS.index("[[beam_bars]]")]
    one = 'load_models = ["EN 1991-2 LM1"]'
    designs = []
    for traffic in (
        'load_models = ["EN 1991-2 LM2"]',
        'vehicles = ["EN 1991-2 LM2", "EN 1991-2 LM2 wheel"]',
    ):
        found = analyse(
            deck_of(tmp_path, SLAB, text.replace(one, traffic), bars),
            tolerances_wanted=False,
            strips_wanted=False,
        )
        assert found.design is not None
        designs.append(found.design.standards[0])
    model, alone = designs
    assert model.traffic == "EN 1991-2 LM2"
    for state, demand in model.demands.items():
        other = alone.demands[state]
        # never less; where one set of bars is enough, a bound over all positions is a little wider
        # than one over each block of them
        assert (demand.values >= other.values * (1 - 1e-9) - 1e-3).all()
        assert np.isclose(demand.values, other.values, rtol=1e-7, atol=1e-3).mean() > 0.98
        np.testing.assert_allclose(demand.values.max(axis=1), other.values.max(axis=1), rtol=1e-7)
        np.testing.assert_allclose(demand.relieved.min(axis=1), other.relieved.min(axis=1))
    assert model.punching is not None
    assert alone.punching is not None
    assert model.punching.utilisation == pytest.approx(alone.punching.utilisation)
    for one_peak, other in zip(model.shear, alone.shear, strict=True):
        assert one_peak.utilisation == pytest.approx(other.utilisation, rel=0.02)
        assert one_peak.utilisation <= other.utilisation * (1 + 1e-9)


def test_fields_as_named_columns(result: Result) -> None:
    """What a table is made of: one value a result point, names with units, as in fields.vtu."""
    columns = result.columns
    points = result.solved.recovery.points.plan
    assert {len(values) for values in columns.values()} == {len(points)}
    np.testing.assert_array_equal(columns["offset_m"], points[:, 1])
    [peak] = [p for p in result.governing if (p.component, p.extreme) == (1, "max")]
    assert columns["EN 1991-2 LM1 m_x_max_kNm_m"][peak.point] == pytest.approx(peak.value)
    assert columns["EN 1991-2 LM1 m_x_min_kNm_m"].max() <= 0.0
    shown = result._repr_html_()
    assert "EN 1991-2 LM1: lane" in shown
    assert f"{peak.value:.3g}" in shown
