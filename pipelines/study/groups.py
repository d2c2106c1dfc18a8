"""Dimensionless groups of a reference geometry, and the keys of the deck file that they set.

The reference is one loaded bay of the deck, the patches of some static cases in it, the beams that
carry it and one free edge (`Reference`). With L the span of the loaded bay, S the distance between
the outermost L lines, h the slab's thickness and D = E h^3 / 12 (1 - nu^2), times the factor on
D_x, or D_x itself where the deck gives rigidities:

| group            | what it sets                                                                 |
|------------------|------------------------------------------------------------------------------|
| bay              | which bay is loaded, from 1: the patches go to the same place in it          |
| L                | stations: every bay times one factor, so that the loaded bay spans L [m]      |
| span ratio       | stations: every other bay = the ratio times L                                |
| S/L              | offsets: stretched about their middle                                         |
| h/L              | slab.thickness_mm                                                             |
| EI_b/(D L)       | beam.I_cm4 of the reference beams                                             |
| GJ_b/(D L)       | beam.J_cm4 of the reference beams                                             |
| skew             | plan.skew_deg [degrees]                                                       |
| a/L, b/L         | patch side along, across; all patches of the reference cases                  |
| patch/L          | b/L, the side along in the base's proportion                                  |
| edge distance/L  | centre of the patch nearest to the reference edge, from the slab's edge       |
| edge distance/S  | the same as a share of S: 0.5 is mid-width where the slab has no overhangs    |
| place in bay     | station of that patch's centre as a share of the bay, 0.5 is its middle       |

They are set in this order. Whatever moves, the patches keep the place in the bay, the edge
distance in metres and the distances between them that the base gives them, unless a group says
otherwise.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from math import radians, tan
from typing import Any

from pipelines.deck.reading.keys import get_key, set_key
from pipelines.errors import JobError
from pipelines.standards.concrete import secant_modulus

Deck = dict[str, Any]


class ReferenceMistake(JobError):
    """A reference geometry that the base deck does not have."""


@dataclass(frozen=True, kw_only=True)
class Reference:
    """bay : the loaded one, from 1; cases : whose patches are meant; beams : `on` of their line
    table, None without beams; edge : "left" or "right"; surfacing [m] under the contacts that the
    patches are the spread of (45 degrees, down to the slab's mid-depth)."""

    bay: int
    cases: tuple[str, ...]
    beams: str | None = None
    edge: str = "left"
    surfacing: float = 0.0


VARIABLES = {
    "bay": "",
    "L": "m",
    "S": "m",
    "h": "m",
    "D": "kNm",
    "EI": "kNm2",
    "GJ": "kNm2",
    "a": "m",
    "b": "m",
    "x": "m",
    "y": "m",
    "u": "m",
    "e": "m",
    "skew": "degrees",
}
"""Lengths and stiffnesses of the reference that formulas may name, with their units: besides those
above the loaded bay's number, the sides a along and b across of the patch nearest to the edge, its
centre's station x and offset y, its station u on the bay's own (unskewed) scale, its distance e
from the slab's edge."""


def geometry(deck: Deck, reference: Reference) -> dict[str, float]:
    """The variables of a deck's tables; what the deck does not have is not a number."""
    plan = deck["plan"]
    if "stations_m" not in plan or "offsets_m" not in plan:
        raise ReferenceMistake("a reference needs stations_m and offsets_m in the base's [plan]")
    stations, offsets = plan["stations_m"], plan["offsets_m"]
    if reference.bay >= len(stations):
        raise ReferenceMistake(f"bay {reference.bay}: the deck has {len(stations) - 1} bays")
    skew = float(plan.get("skew_deg", 0.0))
    found = {
        "bay": reference.bay,
        "L": stations[reference.bay] - stations[reference.bay - 1],
        "S": offsets[-1] - offsets[0],
        "h": deck["slab"]["thickness_mm"] / 1e3,
        "D": _rigidity(deck["slab"]),
        "EI": float("nan"),
        "GJ": float("nan"),
        "skew": skew,
    }
    if reference.beams is not None:
        beam = get_key(deck, f'line."{reference.beams}".beam')
        found["EI"] = beam["E_GPa"] * 1e6 * beam["I_cm4"] / 1e8
        found["GJ"] = beam["G_GPa"] * 1e6 * beam["J_cm4"] / 1e8
    patches = _patches(deck, reference)
    if patches:
        patch = min(patches, key=lambda p: _edge_distance(deck, reference, p["at_m"][1]))
        x, y = patch["at_m"]
        found |= {
            "a": patch["size_m"][0],
            "b": patch["size_m"][1],
            "x": x,
            "y": y,
            "u": x - y * tan(radians(skew)),
            "e": _edge_distance(deck, reference, y),
        }
    return {name: float(found.get(name, float("nan"))) for name in VARIABLES}


def set_groups(deck: Deck, reference: Reference, values: Mapping[str, float]) -> Reference:
    """Set the keys of the deck that the groups stand for; returns the reference with its bay.

    Raises ReferenceMistake for a bay, or beams, that the deck does not have.
    """
    before = geometry(deck, reference)
    share = (before["u"] - _bay_start(deck, reference)) / before["L"]
    reference = in_bay(reference, values)
    for name, setter in _SETTERS.items():
        if name in values:
            setter(deck, reference, float(values[name]))
    now = geometry(deck, reference)
    share, e = float(values.get("place in bay", share)), before["e"]
    for name, length in EDGE_DISTANCES.items():
        if name in values:
            e = float(values[name]) * now[length]
    _place(deck, reference, before, share, e)
    return reference


def in_bay(reference: Reference, values: Mapping[str, Any]) -> Reference:
    """The reference in the loaded bay that the values name, if they name one.

    Raises ReferenceMistake where that is no whole number from 1.
    """
    bay = values.get("bay", reference.bay)
    if not isinstance(bay, int | float) or bay != int(bay) or bay < 1:
        raise ReferenceMistake(f"bay {bay}: must be a whole number from 1")
    return replace(reference, bay=int(bay))


def _rigidity(slab: Deck) -> float:
    """D along the deck [kNm]."""
    if "rigidity_kNm" in slab:
        return float(slab["rigidity_kNm"]["Dx"])
    modulus = slab["E_GPa"] if "E_GPa" in slab else secant_modulus(slab["concrete"]) / 1e9
    poisson = slab.get("poisson", 0.2)
    factor = slab.get("stiffness", {}).get("x", 1.0)
    h = slab["thickness_mm"] / 1e3
    return float(factor * modulus * 1e6 * h**3 / (12.0 * (1.0 - poisson**2)))


def _patches(deck: Deck, reference: Reference) -> list[Deck]:
    found: list[Deck] = []
    for name in reference.cases:
        found += get_key(deck, f'case."{name}"').get("patches", [])
    return found


def _edge_distance(deck: Deck, reference: Reference, y: float) -> float:
    plan = deck["plan"]
    over = plan.get("overhang_m", {}).get(reference.edge, 0.0)
    if reference.edge == "left":
        return float(y - plan["offsets_m"][0] + over)
    return float(plan["offsets_m"][-1] + over - y)


def _bay_start(deck: Deck, reference: Reference) -> float:
    return float(deck["plan"]["stations_m"][reference.bay - 1])


def _place(
    deck: Deck, reference: Reference, before: Mapping[str, float], share: float, e: float
) -> None:
    """Put the patches with the one nearest to the edge at its place, the others as far from it as
    in the base."""
    patches = _patches(deck, reference)
    if not patches:
        return
    now = geometry(deck, reference)
    edge = -1.0 if reference.edge == "left" else 1.0
    side = now["y"] + edge * now["e"]  # offset of the edge
    y = side - edge * e
    u = _bay_start(deck, reference) + share * now["L"]
    x = u + y * tan(radians(now["skew"]))
    for patch in patches:
        old_x, old_y = patch["at_m"]
        patch["at_m"] = [x + old_x - before["x"], y + old_y - before["y"]]


def _span(deck: Deck, reference: Reference, value: float) -> None:
    stations = deck["plan"]["stations_m"]
    factor = value / (stations[reference.bay] - stations[reference.bay - 1])
    deck["plan"]["stations_m"] = [stations[0] + factor * (s - stations[0]) for s in stations]


def _span_ratio(deck: Deck, reference: Reference, value: float) -> None:
    stations = deck["plan"]["stations_m"]
    L = stations[reference.bay] - stations[reference.bay - 1]
    found = [stations[0]]
    for bay in range(1, len(stations)):
        found.append(found[-1] + (L if bay == reference.bay else value * L))
    deck["plan"]["stations_m"] = found


def _beam_span(deck: Deck, reference: Reference, value: float) -> None:
    offsets = deck["plan"]["offsets_m"]
    middle = 0.5 * (offsets[0] + offsets[-1])
    factor = value * geometry(deck, reference)["L"] / (offsets[-1] - offsets[0])
    deck["plan"]["offsets_m"] = [middle + factor * (y - middle) for y in offsets]


def _thickness(deck: Deck, reference: Reference, value: float) -> None:
    deck["slab"]["thickness_mm"] = 1e3 * value * geometry(deck, reference)["L"]


def _beam(key: str, modulus: str) -> Callable[[Deck, Reference, float], None]:
    def setter(deck: Deck, reference: Reference, value: float) -> None:
        if reference.beams is None:
            raise ReferenceMistake("a group of the beams needs [reference] beams")
        now = geometry(deck, reference)
        beam = f'line."{reference.beams}".beam'
        stiffness = value * now["D"] * now["L"]
        set_key(deck, f"{beam}.{key}", 1e8 * stiffness / (1e6 * get_key(deck, f"{beam}.{modulus}")))

    return setter


def _skew(deck: Deck, reference: Reference, value: float) -> None:
    deck["plan"]["skew_deg"] = value


def _sides(along: bool, across: bool) -> Callable[[Deck, Reference, float], None]:
    def setter(deck: Deck, reference: Reference, value: float) -> None:
        L = geometry(deck, reference)["L"]
        for patch in _patches(deck, reference):
            a, b = patch["size_m"]
            if along and across:
                patch["size_m"] = [a / b * value * L, value * L]
            else:
                patch["size_m"] = [value * L, b] if along else [a, value * L]

    return setter


def _nothing(deck: Deck, reference: Reference, value: float) -> None:
    """Set where the bay is chosen, or the patches are placed."""


_SETTERS: dict[str, Callable[[Deck, Reference, float], None]] = {
    "bay": _nothing,
    "L": _span,
    "span ratio": _span_ratio,
    "S/L": _beam_span,
    "h/L": _thickness,
    "EI_b/(D L)": _beam("I_cm4", "E_GPa"),
    "GJ_b/(D L)": _beam("J_cm4", "G_GPa"),
    "skew": _skew,
    "a/L": _sides(True, False),
    "b/L": _sides(False, True),
    "patch/L": _sides(True, True),
    "edge distance/L": _nothing,
    "edge distance/S": _nothing,
    "place in bay": _nothing,
}
GROUPS = tuple(_SETTERS)
# Groups that set the same distance, with the variable that it is a share of.
EDGE_DISTANCES = {"edge distance/L": "L", "edge distance/S": "S"}
