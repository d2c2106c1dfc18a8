"""The vehicles of the standards, under the standards' own names.

Loads are characteristic and as each standard prints them: those of EN 1991-2 include dynamics,
those of AASHTO and IRC do not; no impact, presence or lane factors, no load factors. Tables are in
m, kN and mm, all from memory. National annexes, later editions and local rules may differ: for a
qualified engineer to verify.
"""

from collections.abc import Mapping, Sequence
from types import MappingProxyType

from pipelines.standards.actions.loads import Axle, Vehicle
from pipelines.standards.sources import Mark

# distance behind the first axle [m], axle load [kN], contact (along, across) [mm]
AxleRow = tuple[float, float, tuple[float, float]]


# Of every source here: no clause was read again for this tool.
MARK: Mark = "from memory"


def _axles(gauge: float, rows: Sequence[AxleRow]) -> tuple[Axle, ...]:
    """Axles of two wheels, `gauge` [m] apart between centres."""
    half = 0.5 * gauge
    return tuple(
        Axle(at, 1e3 * load, (-half, half), (1e-3 * along, 1e-3 * across))
        for at, load, (along, across) in rows
    )


_LM1_TS = Vehicle(
    name="EN 1991-2 LM1 TS",
    axles=_axles(
        gauge=2.0,
        rows=[
            (0.0, 300.0, (400.0, 400.0)),
            (1.2, 300.0, (400.0, 400.0)),
        ],
    ),
    clearance=0.0,  # anywhere in its lane, which may lie at the kerb
    clearance_to="tyre edge",
    mark=MARK,
    source=(
        "EN 1991-2:2003, 4.3.2, load model 1, tandem system of lane 1 alone (no uniform load, no "
        "other lane), alpha_Q = 1, dynamics included; where it is worst within its lane (4.3.2(5), "
        "for local checks), not in mid-lane"
    ),
)

_LM2 = Vehicle(
    name="EN 1991-2 LM2",
    axles=_axles(
        gauge=2.0,
        rows=[
            (0.0, 400.0, (350.0, 600.0)),
        ],
    ),
    clearance=0.0,  # anywhere on the carriageway
    clearance_to="tyre edge",
    mark=MARK,
    source=(
        "EN 1991-2:2003, 4.3.3, load model 2, beta_Q = 1, dynamics included (the further factor "
        "near expansion joints is not)"
    ),
)

_HL93_TRUCK = Vehicle(
    name="AASHTO HL-93 truck",
    axles=_axles(
        gauge=1.8,
        rows=[
            (0.0, 35.0, (250.0, 510.0)),
            (4.3, 145.0, (250.0, 510.0)),
            (8.6, 145.0, (250.0, 510.0)),  # the standard varies this spacing from 4.3 to 9.0 m
        ],
    ),
    clearance=0.60,
    clearance_to="wheel centre",
    overhang_clearance=0.30,
    mark=MARK,
    source=(
        "AASHTO LRFD Bridge Design Specifications, SI edition 2005, art. 3.6.1.2.2 (axles, rear "
        "spacing 4.3 m), 3.6.1.2.5 (tyre contact), 3.6.1.3.1 (clearances)"
        "; without dynamic load allowance, presence factor or lane load"
    ),
)

_HL93_TANDEM = Vehicle(
    name="AASHTO HL-93 tandem",
    axles=_axles(
        gauge=1.8,
        rows=[
            (0.0, 110.0, (250.0, 510.0)),
            (1.2, 110.0, (250.0, 510.0)),
        ],
    ),
    clearance=0.60,
    clearance_to="wheel centre",
    overhang_clearance=0.30,
    mark=MARK,
    source=(
        "AASHTO LRFD Bridge Design Specifications, SI edition 2005, art. 3.6.1.2.3 (axles), "
        "3.6.1.2.5 (tyre contact), 3.6.1.3.1 (clearances); without "
        "dynamic load allowance, presence factor or lane load"
    ),
)

_FATIGUE_TRUCK = Vehicle(
    name="AASHTO fatigue truck",
    axles=_axles(
        gauge=1.8,
        rows=[
            (0.0, 35.0, (250.0, 510.0)),
            (4.3, 145.0, (250.0, 510.0)),
            (13.3, 145.0, (250.0, 510.0)),
        ],
    ),
    clearance=0.60,
    clearance_to="wheel centre",
    mark=MARK,
    source=(
        "AASHTO LRFD Bridge Design Specifications, SI edition 2005, art. 3.6.1.2.2 (axles), "
        "3.6.1.2.5 (tyre contact); rear spacing fixed at 9.0 m (art. 3.6.1.4.1); "
        "without dynamic load allowance (15 % for fatigue)"
    ),
)

# spacings 1.1, 3.2, 1.2, 4.3, 3.0, 3.0, 3.0 m
_CLASS_A = Vehicle(
    name="IRC:6 Class A",
    axles=_axles(
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
    mark=MARK,
    source=("IRC:6-2017, cl. 204.1, Class A train; without impact, one train"),
)

# Contact length of a tyre at the standard's greatest pressure, 5.273 kg/cm2 = 0.517 MPa.
_TYRE_PRESSURE = 0.517  # N/mm2
_TYRE_WIDTH = 860.0  # mm


def _type_l(axle_load: float) -> tuple[float, float]:
    """Contact (along, across) [mm] of one of the two tyres of an axle [kN]."""
    return 500.0 * axle_load / (_TYRE_WIDTH * _TYRE_PRESSURE), _TYRE_WIDTH


# spacings 3.96, 1.52, 2.13, 1.37, 3.05, 1.37 m
_CLASS_70R = Vehicle(
    name="IRC:6 70R wheeled",
    axles=_axles(
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
    mark=MARK,
    source=(
        "IRC:6-2017, cl. 204.1, Class 70R wheeled, tyre arrangement l (two tyres 0.86 m wide, "
        "contact length from the tyre pressure 0.517 MPa; the arrangement with less certainty); "
        "without impact, one vehicle"
    ),
)

_LM2_WHEEL = Vehicle(
    name="EN 1991-2 LM2 wheel",
    axles=(Axle(0.0, 200e3, (0.0,), (0.35, 0.60)),),
    clearance=0.0,
    clearance_to="tyre edge",
    mark=MARK,
    source=(
        "EN 1991-2:2003, 4.3.3, load model 2, one wheel alone where that is worse, beta_Q = 1, "
        "dynamics included"
    ),
)

_FLM3 = Vehicle(
    name="EN 1991-2 FLM3",
    axles=_axles(
        gauge=2.0,
        rows=[
            (0.0, 120.0, (400.0, 400.0)),
            (1.2, 120.0, (400.0, 400.0)),
            (7.2, 120.0, (400.0, 400.0)),
            (8.4, 120.0, (400.0, 400.0)),
        ],
    ),
    clearance=0.5,
    clearance_to="wheel centre",
    mark=MARK,
    source=(
        "EN 1991-2:2003, 4.6.4, fatigue load model 3, one vehicle, dynamics of a good road "
        "surface included (the further factor near expansion joints is not)"
    ),
)

# total [kN]: axle lines of the special vehicles of EN 1991-2, annex A, table A.1
_SPECIAL_LINES: dict[str, list[float]] = {
    "600/150": [150.0] * 4,
    "900/150": [150.0] * 6,
    "1200/150": [150.0] * 8,
    "1200/200": [200.0] * 6,
    "1500/150": [150.0] * 10,
    "1500/200": [100.0] + [200.0] * 7,
    "1800/150": [150.0] * 12,
    "1800/200": [200.0] * 9,
    "2400/200": [200.0] * 12,
    "2400/240": [240.0] * 10,
    "3000/200": [200.0] * 15,
    "3000/240": [120.0] + [240.0] * 12,
    "3600/200": [200.0] * 18,
    "3600/240": [240.0] * 15,
}
_SPECIAL_PITCH = 1.5  # m between contacts 1.20 m wide, 0.30 m apart


def _special(name: str, lines: list[float]) -> Vehicle:
    wheels: tuple[float, ...] = (-0.5 * _SPECIAL_PITCH, 0.5 * _SPECIAL_PITCH)
    if max(lines) == 240.0:
        wheels = (-_SPECIAL_PITCH, 0.0, _SPECIAL_PITCH)
    return Vehicle(
        name=f"EN 1991-2 LM3 {name}",
        axles=tuple(
            Axle(1.5 * k, 1e3 * load, wheels, (0.15, 1.20)) for k, load in enumerate(lines)
        ),
        clearance=0.15,
        clearance_to="tyre edge",
        mark=MARK,
        source=(
            "EN 1991-2:2003, annex A, load model 3, table A.1 and figure A.1, axle lines 1.5 m "
            "apart, contacts 1.20 m by 0.15 m (two of a line of 150 or 200 kN, three of 240 kN); "
            "the vehicle alone at low speed: the frequent traffic of A.3 beside it and the factor "
            "at normal speed are not included; the gap of 12 m that longer ones may have is left "
            "out; the gap of 0.30 m between contacts and the clearance with less certainty"
        ),
    )


def _tracked(name: str, length: float, width: float, spacing: float, source: str) -> Vehicle:
    """Two tracks of 350 kN, sides and distance between centres in m."""
    half = 0.5 * spacing
    return Vehicle(
        name=name,
        axles=(Axle(0.0, 700e3, (-half, half), (length, width)),),
        clearance=1.20,
        clearance_to="tyre edge",
        mark=MARK,
        source=source,
    )


_AA_TRACKED = _tracked(
    "IRC:6 Class AA tracked",
    3.60,
    0.85,
    2.05,
    "IRC:6-2017, annex A, Class AA tracked, 700 kN; clearance 1.2 m for carriageways of 5.5 m or "
    "more, less below; without impact, one vehicle (the next one 90 m behind)",
)

_AA_WHEELED = Vehicle(
    name="IRC:6 Class AA wheeled",
    axles=tuple(
        Axle(at, load, wheels, (0.15, 0.30))
        for at in (0.0, 1.2)
        for load, wheels in ((75e3, (-1.1, 1.1)), (125e3, (-0.5, 0.5)))
    ),
    clearance=1.20,
    clearance_to="tyre edge",
    mark=MARK,
    source=(
        "IRC:6-2017, annex A, Class AA wheeled, two axles of 200 kN with wheels of 37.5, 62.5, "
        "62.5, 37.5 kN; without impact, one vehicle"
    ),
)

_70R_TRACKED = _tracked(
    "IRC:6 70R tracked",
    4.57,
    0.84,
    2.06,
    "IRC:6-2017, cl. 204.1, Class 70R tracked, 700 kN; without impact, one vehicle (the next one "
    "90 m behind)",
)


def _70r_axles(name: str, spacings: list[float], words: str) -> Vehicle:
    return Vehicle(
        name=name,
        axles=_axles(gauge=1.93, rows=[(at, 200.0, _type_l(200.0)) for at in spacings]),
        clearance=1.20,
        clearance_to="tyre edge",
        mark=MARK,
        source=(
            f"IRC:6-2017, cl. 204.1, Class 70R wheeled, {words}, tyre arrangement l as of the "
            "vehicle of seven axles, with less certainty; without impact"
        ),
    )


_70R_BOGIE = _70r_axles("IRC:6 70R bogie", [0.0, 1.22], "greatest bogie, 2 x 200 kN at 1.22 m")
_70R_AXLE = _70r_axles("IRC:6 70R axle", [0.0], "greatest single axle, 200 kN")

library: Mapping[str, Vehicle] = MappingProxyType(
    {
        vehicle.name: vehicle
        for vehicle in (
            _LM1_TS,
            _LM2,
            _LM2_WHEEL,
            _FLM3,
            *(_special(name, lines) for name, lines in _SPECIAL_LINES.items()),
            _HL93_TRUCK,
            _HL93_TANDEM,
            _FATIGUE_TRUCK,
            _CLASS_A,
            _AA_TRACKED,
            _AA_WHEELED,
            _CLASS_70R,
            _70R_TRACKED,
            _70R_BOGIE,
            _70R_AXLE,
        )
    }
)
