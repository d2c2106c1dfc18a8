"""The library's tables against totals and lengths that each standard prints in another place, from
memory."""

import numpy as np
import pytest

from pipelines.standards.actions.load_models import of_a_standard
from pipelines.standards.actions.loads import Vehicle
from pipelines.standards.actions.vehicles import library

# name: total [kN], first to last axle [m], outer width over tyres [m]
TOTALS = {
    "EN 1991-2 LM1 TS": (600.0, 1.2, 2.4),
    "EN 1991-2 LM2": (400.0, 0.0, 2.6),
    "EN 1991-2 LM2 wheel": (200.0, 0.0, 0.6),
    "EN 1991-2 FLM3": (480.0, 8.4, 2.4),
    "EN 1991-2 LM3 600/150": (600.0, 4.5, 2.7),
    "EN 1991-2 LM3 900/150": (900.0, 7.5, 2.7),
    "EN 1991-2 LM3 1200/150": (1200.0, 10.5, 2.7),
    "EN 1991-2 LM3 1200/200": (1200.0, 7.5, 2.7),
    "EN 1991-2 LM3 1500/150": (1500.0, 13.5, 2.7),
    "EN 1991-2 LM3 1500/200": (1500.0, 10.5, 2.7),
    "EN 1991-2 LM3 1800/150": (1800.0, 16.5, 2.7),
    "EN 1991-2 LM3 1800/200": (1800.0, 12.0, 2.7),
    "EN 1991-2 LM3 2400/200": (2400.0, 16.5, 2.7),
    "EN 1991-2 LM3 2400/240": (2400.0, 13.5, 4.2),
    "EN 1991-2 LM3 3000/200": (3000.0, 21.0, 2.7),
    "EN 1991-2 LM3 3000/240": (3000.0, 18.0, 4.2),
    "EN 1991-2 LM3 3600/200": (3600.0, 25.5, 2.7),
    "EN 1991-2 LM3 3600/240": (3600.0, 21.0, 4.2),
    "AASHTO HL-93 truck": (325.0, 8.6, 2.31),
    "AASHTO HL-93 tandem": (220.0, 1.2, 2.31),
    "AASHTO fatigue truck": (325.0, 13.3, 2.31),
    "IRC:6 Class A": (554.0, 18.8, 2.3),
    "IRC:6 Class AA tracked": (700.0, 0.0, 2.9),
    "IRC:6 Class AA wheeled": (400.0, 1.2, 2.5),
    "IRC:6 70R wheeled": (1000.0, 13.4, 2.79),
    "IRC:6 70R tracked": (700.0, 0.0, 2.9),
    "IRC:6 70R bogie": (400.0, 1.22, 2.79),
    "IRC:6 70R axle": (200.0, 0.0, 2.79),
}


def test_library_holds_exactly_the_promised_names() -> None:
    assert list(library) == list(TOTALS)
    with pytest.raises(TypeError, match="does not support item assignment"):
        library["EN 1991-2 LM2"] = library["IRC:6 Class A"]  # type: ignore[index]


@pytest.mark.parametrize("name", TOTALS)
def test_total_load_length_and_width(name: str) -> None:
    vehicle = library[name]
    load, length, width = TOTALS[name]
    tyre_edges = [y + 0.5 * a.patch[1] for a in vehicle.axles for y in a.wheels]
    # sums of a few decimal numbers: rounding only
    assert sum(axle.load for axle in vehicle.axles) == pytest.approx(1e3 * load, rel=1e-12)
    assert vehicle.axles[-1].at - vehicle.axles[0].at == pytest.approx(length, abs=1e-12)
    assert 2.0 * max(tyre_edges) == pytest.approx(width, abs=1e-12)


@pytest.mark.parametrize("vehicle", library.values(), ids=lambda v: v.name)
def test_vehicle_is_well_formed(vehicle: Vehicle) -> None:
    assert library[vehicle.name] is vehicle
    assert vehicle.impact == 1.0
    assert vehicle.axles[0].at == 0.0
    # two axles at one place where wheels of one line carry different loads
    assert np.all(np.diff([axle.at for axle in vehicle.axles]) >= 0.0)
    assert all(sum(axle.wheels) == 0.0 for axle in vehicle.axles)
    standard = vehicle.name.split()[0].split(":")[0]
    assert vehicle.source.startswith(standard)


@pytest.mark.parametrize("name", TOTALS)
def test_source_admits_memory(name: str) -> None:
    assert library[name].cited == f"{library[name].source} (from memory)"
    assert of_a_standard(name, whole=False) is library[name]
    assert of_a_standard("lorry", whole=False) is None


def test_axle_spacings_of_the_long_vehicles() -> None:
    spacings = {
        "IRC:6 Class A": [1.1, 3.2, 1.2, 4.3, 3.0, 3.0, 3.0],
        "IRC:6 70R wheeled": [3.96, 1.52, 2.13, 1.37, 3.05, 1.37],
        "AASHTO HL-93 truck": [4.3, 4.3],
        "AASHTO fatigue truck": [4.3, 9.0],
    }
    for name, expected in spacings.items():
        found = np.diff([axle.at for axle in library[name].axles])
        np.testing.assert_allclose(found, expected, rtol=0.0, atol=1e-12)  # rounding


def test_wheels_of_class_aa_by_hand() -> None:
    wheels = {
        (axle.at, y): axle.load / len(axle.wheels)
        for axle in library["IRC:6 Class AA wheeled"].axles
        for y in axle.wheels
    }
    loads = [37.5e3, 62.5e3, 62.5e3, 37.5e3]
    assert wheels == {
        (at, y): load
        for at in (0.0, 1.2)
        for y, load in zip((-1.1, -0.5, 0.5, 1.1), loads, strict=True)
    }


def test_70r_tyres_press_at_the_standards_pressure() -> None:
    for axle in library["IRC:6 70R wheeled"].axles:
        pressure = axle.load / (2.0 * axle.patch[0] * axle.patch[1])
        # 5.273 kg/cm2 is 0.5171 MPa; the table uses three figures
        assert pressure == pytest.approx(5.273 * 9.80665e4, rel=3e-4)
