"""The load models of the standards: lanes, distributed loads, presence and impact.

Values are characteristic; those of EN 1991-2 include dynamics. A model is made for a carriageway:
number and width of its lanes follow from that width. Every number carries its clause, all are from
memory. Editions, national annexes and local rules may differ: a qualified engineer
verifies which apply.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from math import floor
from types import MappingProxyType

from pipelines.standards.actions.loads import LaneKind, LaneSet, LoadModel, Vehicle
from pipelines.standards.actions.vehicles import MARK, library
from pipelines.standards.factors import FACTORS, Factors
from pipelines.standards.sources import Standard


@dataclass(frozen=True, kw_only=True)
class Conditions:
    """What a load model depends on.

    width : of the carriageway [m]; span : of the slab, for impact [m].
    factors : of every standard; load models take alpha_Q, alpha_q and beta_Q of EN 1991-2 (the
    national annex's to set), dynamic load allowance and presence of AASHTO from them.
    """

    width: float
    span: float
    factors: Mapping[Standard, Factors] = field(default_factory=lambda: FACTORS)


# ------------------------------------------------------------------------------ EN 1991-2


def notional_lanes(width: float) -> tuple[int, float]:
    """Number and width [m] of notional lanes (EN 1991-2:2003, table 4.1; from memory)."""
    if width < 5.4:
        return 1, min(3.0, width)
    if width < 6.0:
        return 2, 0.5 * width
    return floor(width / 3.0 + 1e-9), 3.0


def joint_factor(distance: float) -> float:
    """Additional dynamic factor at a distance [m] from an expansion joint (EN 1991-2:2003,
    4.6.1(6): 1.30 (1 - D / 26), not below 1, D up to 6 m; from memory)."""
    return max(1.0, 1.30 * (1.0 - distance / 26.0)) if distance <= 6.0 else 1.0


def _lm1(given: Conditions) -> LoadModel:
    lanes, width = notional_lanes(given.width)
    tandem = library["EN 1991-2 LM1 TS"]
    factors = given.factors["EN 1992"]
    rest = 2.5e3 * factors["alpha_qr"]
    kinds = tuple(
        LaneKind(
            name=f"lane {k + 1}",
            vehicles=(tandem,),
            factor=share * factors[f"alpha_Q{k + 1}"],
            room=1.25,
            pressure=uniform * factors[f"alpha_q{k + 1}"] - rest,
            width=width,
        )
        for k, (share, uniform) in enumerate(
            [(1.0, 9.0e3), (200.0 / 300.0, 2.5e3), (100.0 / 300.0, 2.5e3)][:lanes]
        )
    )
    return LoadModel(
        name="EN 1991-2 LM1",
        kinds=kinds,
        sets=(LaneSet(tuple(range(len(kinds)))),),
        pressure=rest,
        mark=MARK,
        source=(
            "EN 1991-2:2003, 4.2.3 and table 4.1 (lanes), 4.3.2 and table 4.2 (tandems of 600, 400 "
            "and 200 kN; 9.0 and 2.5 kN/m2; adverse areas only), dynamics included"
        ),
        notes=(
            f"{lanes} notional lanes of {width:.3g} m; lanes stand anywhere on the carriageway, in "
            "any order; tandems where they are worst within their lane, up to the tyre's edge on "
            "the kerb, those of neighbouring lanes no nearer than 0.5 m between wheel centres "
            "(4.3.2(5), for local checks).",
            "Every lane's tandem takes its own worst station: one tandem in each lane, each placed "
            "on its own.",
        ),
    )


def _lm2(given: Conditions) -> LoadModel:
    axle, wheel = (library[f"EN 1991-2 LM2{part}"] for part in ("", " wheel"))
    beta = given.factors["EN 1992"]["beta_Q"]
    return LoadModel(
        name="EN 1991-2 LM2",
        kinds=(
            LaneKind(name="axle", vehicles=(axle,), factor=beta, room=1.3),
            LaneKind(name="wheel", vehicles=(wheel,), factor=beta, room=0.3),
        ),
        sets=(LaneSet((0,)), LaneSet((1,))),
        near_joint=True,
        mark=MARK,
        source=(
            "EN 1991-2:2003, 4.3.3 (400 kN axle or one wheel of it, dynamics included), 4.6.1(6) "
            "(near joints)"
        ),
    )


def _flm3(_given: Conditions) -> LoadModel:
    return LoadModel(
        name="EN 1991-2 FLM3",
        kinds=(
            LaneKind(name="vehicle", vehicles=(library["EN 1991-2 FLM3"],), factor=1.0, room=1.5),
        ),
        sets=(LaneSet((0,)),),
        near_joint=True,
        fatigue=True,
        mark=MARK,
        source="EN 1991-2:2003, 4.6.4 (four axles of 120 kN), 4.6.1(6) (near joints)",
        notes=("For fatigue ranges only; a second vehicle in the lane is not included.",),
    )


# ---------------------------------------------------------------------------------- AASHTO

_HL93_SOURCE = (
    "AASHTO LRFD Bridge Design Specifications, SI edition 2005, art. 3.6.1.2.2 (truck, rear "
    "spacing 4.3 to 9.0 m), 3.6.1.2.3 (tandem), 3.6.1.2.4 (9.3 N/mm over 3.0 m); "
    "3.6.1.1.1 (lanes), 3.6.1.1.2 (presence 1.20, 1.00, 0.85, 0.65), "
    "3.6.2.1 (dynamic load allowance 33 %)"
)


def _design_lanes(width: float) -> int:
    """Lanes of 3.6 m; two from 6.0 m on (art. 3.6.1.1.1; from memory)."""
    return 2 if 6.0 <= width < 7.2 else max(1, floor(width / 3.6 + 1e-9))


def _hl93_truck() -> Vehicle:
    return replace(
        library["AASHTO HL-93 truck"],
        name="AASHTO HL-93 truck, rear spacing free",
        variable=(2, 4.7),
    )


def _hl93(name: str, vehicles: tuple[Vehicle, ...], given: Conditions, **lane: float) -> LoadModel:
    factors = given.factors["AASHTO LRFD"]
    impact = 1.0 + factors["IM"]
    kind = LaneKind(
        name="lane", vehicles=tuple(replace(v, impact=impact) for v in vehicles), room=1.5, **lane
    )
    lanes = _design_lanes(given.width)
    sets = tuple(LaneSet((0,) * n, factors[f"presence_{min(n, 4)}"]) for n in range(1, lanes + 1))
    return LoadModel(
        name=name,
        kinds=(kind,),
        sets=sets,
        mark=MARK,
        source=_HL93_SOURCE,
        notes=(
            f"{lanes} design lanes; axles with {100 * factors['IM']:g} % dynamic load allowance, "
            "lane "
            "load without; wheels 0.60 m from the kerb, 0.30 m from one on an overhang (3.6.1.3.1; "
            "there for all "
            "results, on the safe side for those off the overhang), and 1.20 m from those of the "
            "next lane; every lane's "
            "vehicle takes its own worst station. Deck joints themselves take 75 %.",
        ),
    )


def _hl93_axles(given: Conditions) -> LoadModel:
    vehicles = (_hl93_truck(), library["AASHTO HL-93 tandem"])
    return _hl93("AASHTO HL-93 axles", vehicles, given, factor=1.0)


def _hl93_lane(given: Conditions) -> LoadModel:
    vehicles = (_hl93_truck(), library["AASHTO HL-93 tandem"])
    model = _hl93("AASHTO HL-93", vehicles, given, factor=1.0, pressure=3.1e3, width=3.0)
    note = (
        "With lane load: not for transverse strips, nor slabs that span 4.6 m or less, which take "
        "the axles alone (art. 3.6.1.3.3): use AASHTO HL-93 axles there."
    )
    return replace(model, notes=(*model.notes, note))


def _hl93_two_trucks(given: Conditions) -> LoadModel:
    truck = library["AASHTO HL-93 truck"]
    behind = tuple(replace(a, at=a.at + truck.axles[-1].at + 15.0) for a in truck.axles)
    two = replace(
        truck, name="two AASHTO HL-93 trucks", axles=truck.axles + behind, variable=(3, 15.0)
    )
    model = _hl93(
        "AASHTO HL-93 two trucks", (two,), given, factor=0.9, pressure=0.9 * 3.1e3, width=3.0
    )
    note = (
        "90 % of two trucks with 4.3 m between axles, 15 to 30 m apart, and of the lane load: only "
        "for negative moments and reactions at interior piers (art. 3.6.1.3.1), not "
        "a load of slabs."
    )
    return replace(model, notes=(*model.notes, note))


# ------------------------------------------------------------------------------------- IRC


def irc_lanes(width: float) -> int:
    """Design lanes by carriageway width [m] (IRC:6-2017, table 6; from memory)."""
    limits = (5.3, 9.6, 13.1, 16.6, 20.1, 23.6)
    return 1 + sum(width >= limit for limit in limits)


def irc_reduction(lanes: int) -> float:
    """Factor for lanes loaded together (IRC:6-2017, cl. 205: 10 % less for three, 20 % less for
    four and more; from memory)."""
    return {1: 1.0, 2: 1.0, 3: 0.9}.get(lanes, 0.8)


def irc_impact(train: str, span: float) -> float:
    """1 + impact of a train on concrete bridges (IRC:6-2017, cl. 208; from memory).

    train : "A", "tracked" or "wheeled" (AA and 70R); span : loaded [m].
    """
    class_a = 0.5 if span < 3.0 else 4.5 / (6.0 + span) if span <= 45.0 else 0.088
    if train == "A":
        return 1.0 + class_a
    if train == "wheeled":
        return 1.0 + (0.25 if span <= 12.0 else class_a)
    if span < 9.0:
        return 1.0 + 0.25 - 0.15 * min(max(span - 5.0, 0.0) / 4.0, 1.0)
    return 1.0 + (0.10 if span <= 40.0 else class_a)


def _irc_gap(width: float) -> float:
    """Clear distance between passing vehicles [m] (IRC:6-2017, cl. 204.1; from memory)."""
    return 0.4 + 0.8 * min(max((width - 5.3) / 0.8, 0.0), 1.0)


def _room(vehicle: Vehicle, gap: float) -> float:
    reach = max(y + 0.5 * axle.patch[1] for axle in vehicle.axles for y in axle.wheels)
    return reach + 0.5 * gap


def _irc(name: str, heavy: tuple[tuple[str, str], ...], given: Conditions) -> LoadModel:
    """Class A trains, and heavy vehicles (name, sort for impact) that take two lanes each."""
    lanes, gap = irc_lanes(given.width), _irc_gap(given.width)

    def kind(vehicle: str, sort: str) -> LaneKind:
        one = replace(library[vehicle], impact=irc_impact(sort, given.span))
        return LaneKind(name=vehicle, vehicles=(one,), factor=1.0, room=_room(one, gap))

    kinds = [kind("IRC:6 Class A", "A")]
    sets = [LaneSet((0,) * n, irc_reduction(n)) for n in range(1, lanes + 1)]
    pressure = 0.0
    if lanes == 1:
        # one train on 2.3 m, the rest of the carriageway under 5 kN/m2
        pressure = 5.0e3
        kinds[0] = replace(kinds[0], pressure=-pressure, width=2.3)
    else:
        for vehicle, sort in heavy:
            kinds.append(kind(vehicle, sort))
            mine = len(kinds) - 1
            sets += [
                LaneSet((mine,) * k + (0,) * (n - 2 * k), irc_reduction(n))
                for n in range(2, lanes + 1)
                for k in range(1, n // 2 + 1)
            ]
    return LoadModel(
        name=name,
        kinds=tuple(kinds),
        sets=tuple(sets),
        pressure=pressure,
        mark=MARK,
        source=(
            "IRC:6-2017, cl. 204 and table 6 (lanes: Class A in each, or one 70R or AA for every "
            "two), cl. 205 (reduction), cl. 208 (impact, concrete bridges)"
        ),
        notes=(
            f"{lanes} design lanes; clear distance between vehicles {gap:.3g} m; impact for a span "
            f"of {given.span:.3g} m; every lane's train takes its own worst station; one in a "
            "lane.",
            "The congestion factor is for main members of long spans and is not applied.",
        ),
    )


def _irc_a(given: Conditions) -> LoadModel:
    return _irc("IRC:6 Class A lanes", (), given)


def _irc_70r(given: Conditions) -> LoadModel:
    heavy = (
        ("IRC:6 70R wheeled", "wheeled"),
        ("IRC:6 70R bogie", "wheeled"),
        ("IRC:6 70R axle", "wheeled"),
        ("IRC:6 70R tracked", "tracked"),
    )
    return _irc("IRC:6 Class 70R lanes", heavy, given)


def _irc_aa(given: Conditions) -> LoadModel:
    heavy = (("IRC:6 Class AA tracked", "tracked"), ("IRC:6 Class AA wheeled", "wheeled"))
    return _irc("IRC:6 Class AA lanes", heavy, given)


_FAMILIES: tuple[tuple[str, Standard], ...] = (
    ("EN 1991-2", "EN 1992"),
    ("AASHTO", "AASHTO LRFD"),
    ("IRC:6", "IRC:112"),
)


def family_of(name: str) -> Standard | None:
    """Standard whose bars are checked under the vehicle or load model of that name: that of its
    own family; None for a deck's own vehicle, which counts under every standard."""
    if name not in library and name not in load_models:
        return None
    return next(of for prefix, of in _FAMILIES if name.startswith(prefix))


def of_a_standard(name: str, *, whole: bool) -> LoadModel | Vehicle | None:
    """The load model of that name (whole), or the vehicle, with its source and mark; None for what
    no standard has, such as a deck's own vehicle."""
    if whole and name in load_models:
        return load_models[name](Conditions(width=7.0, span=3.0))
    return library.get(name)


def counts_under(name: str, standard: Standard) -> bool:
    """Whether a vehicle counts for bars that are checked to a standard: factors of one family are
    not made for the loads of another."""
    return family_of(name) in (None, standard)


def for_bars(model: LoadModel, standard: Standard) -> bool:
    """Whether bars are checked under a load model by a standard: one of its own family, and not
    for fatigue alone."""
    return counts_under(model.name, standard) and not model.fatigue


load_models: Mapping[str, Callable[[Conditions], LoadModel]] = MappingProxyType(
    {
        "EN 1991-2 LM1": _lm1,
        "EN 1991-2 LM2": _lm2,
        "EN 1991-2 FLM3": _flm3,
        "AASHTO HL-93 axles": _hl93_axles,
        "AASHTO HL-93": _hl93_lane,
        "AASHTO HL-93 two trucks": _hl93_two_trucks,
        "IRC:6 Class A lanes": _irc_a,
        "IRC:6 Class 70R lanes": _irc_70r,
        "IRC:6 Class AA lanes": _irc_aa,
    }
)
