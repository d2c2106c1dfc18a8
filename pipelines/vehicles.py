"""The vehicles of the standards, under the standards' own names.

Loads are characteristic and as each standard prints them: those of EN 1991-2 include dynamics,
those of AASHTO and IRC do not; no impact, presence or lane factors, no load factors. Tables are in
m, kN and mm. National annexes, later editions and local rules may differ: each source says what
was read and what is from memory, for a qualified engineer to verify.
"""

from collections.abc import Mapping, Sequence
from types import MappingProxyType

from pipelines.deck import Axle, Vehicle

# distance behind the first axle [m], axle load [kN], contact (along, across) [mm]
AxleRow = tuple[float, float, tuple[float, float]]


def _axles(gauge: float, rows: Sequence[AxleRow]) -> tuple[Axle, ...]:
    """Axles of two wheels, `gauge` [m] apart between centres."""
    half = 0.5 * gauge
    return tuple(
        Axle(at, 1e3 * load, (-half, half), (1e-3 * along, 1e-3 * across))
        for at, load, (along, across) in rows
    )


_LM1_TS = Vehicle(
    "EN 1991-2 LM1 TS",
    _axles(
        gauge=2.0,
        rows=[
            (0.0, 300.0, (400.0, 400.0)),
            (1.2, 300.0, (400.0, 400.0)),
        ],
    ),
    clearance=0.5,  # wheels centred in a lane 3.0 m wide
    clearance_to="wheel centre",
    source=(
        "EN 1991-2:2003, 4.3.2, load model 1, tandem system of lane 1 alone (no uniform load, no "
        "other lane), alpha_Q = 1, dynamics included; from memory"
    ),
)

_LM2 = Vehicle(
    "EN 1991-2 LM2",
    _axles(
        gauge=2.0,
        rows=[
            (0.0, 400.0, (350.0, 600.0)),
        ],
    ),
    clearance=0.0,  # anywhere on the carriageway
    clearance_to="tyre edge",
    source=(
        "EN 1991-2:2003, 4.3.3, load model 2, beta_Q = 1, dynamics included (the further factor "
        "near expansion joints is not); axle load as in the text of the ENV, "
        "contact, gauge and clearance from memory"
    ),
)

_HL93_TRUCK = Vehicle(
    "AASHTO HL-93 truck",
    _axles(
        gauge=1.8,
        rows=[
            (0.0, 35.0, (250.0, 510.0)),
            (4.3, 145.0, (250.0, 510.0)),
            (8.6, 145.0, (250.0, 510.0)),  # the standard varies this spacing from 4.3 to 9.0 m
        ],
    ),
    clearance=0.60,  # 0.30 m from the kerb for the design of an overhang
    clearance_to="wheel centre",
    source=(
        "AASHTO LRFD Bridge Design Specifications, SI edition 2005, art. 3.6.1.2.2 (axles, rear "
        "spacing 4.3 m), 3.6.1.2.5 (tyre contact), 3.6.1.3.1 (clearance; article number from "
        "memory); without dynamic load allowance, presence factor or lane load"
    ),
)

_HL93_TANDEM = Vehicle(
    "AASHTO HL-93 tandem",
    _axles(
        gauge=1.8,
        rows=[
            (0.0, 110.0, (250.0, 510.0)),
            (1.2, 110.0, (250.0, 510.0)),
        ],
    ),
    clearance=0.60,
    clearance_to="wheel centre",
    source=(
        "AASHTO LRFD Bridge Design Specifications, SI edition 2005, art. 3.6.1.2.3 (axles), "
        "3.6.1.2.5 (tyre contact), 3.6.1.3.1 (clearance; article number from memory); without "
        "dynamic load allowance, presence factor or lane load"
    ),
)

# spacings 1.1, 3.2, 1.2, 4.3, 3.0, 3.0, 3.0 m
_CLASS_A = Vehicle(
    "IRC:6 Class A",
    _axles(
        gauge=1.8,
        rows=[
            (0.0, 27.0, (150.0, 200.0)),
            (1.1, 27.0, (150.0, 200.0)),
            (4.3, 114.0, (250.0, 500.0)),
            (5.5, 114.0, (250.0, 500.0)),
            (9.8, 68.0, (200.0, 380.0)),
            (12.8, 68.0, (200.0, 380.0)),
            (15.8, 68.0, (200.0, 380.0)),
            (18.8, 68.0, (200.0, 380.0)),
        ],
    ),
    clearance=0.15,
    clearance_to="tyre edge",
    source=(
        "IRC:6-2017, cl. 204.1, Class A train; axle loads as in a public summary of that edition; "
        "clause, spacings, gauge, contact and clearance from memory; without impact, one train"
    ),
)

# Contact length of a tyre at the standard's greatest pressure, 5.273 kg/cm2 = 0.517 MPa.
_TYRE_PRESSURE = 0.517  # N/mm2
_TYRE_WIDTH = 860.0  # mm


def _type_l(axle_load: float) -> tuple[float, float]:
    """Contact (along, across) [mm] of one of the two tyres of an axle [kN]."""
    return 500.0 * axle_load / (_TYRE_WIDTH * _TYRE_PRESSURE), _TYRE_WIDTH


# spacings 3.96, 1.52, 2.13, 1.37, 3.05, 1.37 m
_CLASS_70R = Vehicle(
    "IRC:6 70R wheeled",
    _axles(
        gauge=1.93,
        rows=[
            (0.0, 80.0, _type_l(80.0)),
            (3.96, 120.0, _type_l(120.0)),
            (5.48, 120.0, _type_l(120.0)),
            (7.61, 170.0, _type_l(170.0)),
            (8.98, 170.0, _type_l(170.0)),
            (12.03, 170.0, _type_l(170.0)),
            (13.40, 170.0, _type_l(170.0)),
        ],
    ),
    clearance=1.20,
    clearance_to="tyre edge",
    source=(
        "IRC:6-2017, cl. 204.1, Class 70R wheeled, tyre arrangement l (two tyres 0.86 m wide, "
        "contact length from the tyre pressure 0.517 MPa); number of axles and total load as in a "
        "public summary of that edition; clause, single loads, spacings, tyres and clearance from "
        "memory, the tyre arrangement with less certainty; without impact, one vehicle"
    ),
)

library: Mapping[str, Vehicle] = MappingProxyType(
    {
        vehicle.name: vehicle
        for vehicle in (_LM1_TS, _LM2, _HL93_TRUCK, _HL93_TANDEM, _CLASS_A, _CLASS_70R)
    }
)
