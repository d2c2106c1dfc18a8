"""The table of what was assumed, its value and where it comes from, derived from the deck."""

from collections.abc import Iterator, Sequence

from pipelines.deck.deck import Deck, Line
from pipelines.deck.traffic import Traffic
from pipelines.deck.words import line_title
from pipelines.numbers import as_given, length, number
from pipelines.report.document import Table, Words, joined, table
from pipelines.report.sections.words import D_1, D_X, D_XY, D_Y, hogging_words
from pipelines.standards.own.code import MARK
from pipelines.standards.supports import SOURCES
from plate.geometry.outline import crossings

Row = tuple[Words, str, str]

FILE, MODEL = "deck file", "assumption of the model"
ONE_DEGREE = 57.29577951308232


def assumptions(deck: Deck, notes: Sequence[str]) -> Table:
    """The table; notes : of the mesh."""
    rows: list[Row] = [
        *_slab(deck),
        *_beams(deck),
        ("Supports", _supports(deck), "common practice"),
        *_hogging(deck),
        *(_traffic(deck.traffic) if deck.traffic is not None else ()),
        ("Load factors", *_factors(deck)),
        *_own(deck),
        *(("Mesh", note, "program") for note in notes),
    ]
    return table("Assumptions and their sources", ["What", "Value", "Source"], rows)


def _slab(deck: Deck) -> Iterator[Row]:
    slab = deck.slab
    if slab.theory == "mindlin":
        theory = "Mindlin plate (shear deformation), shear factor 5/6"
        yield "Theory of the slab", theory, "deck file; factor: Reissner 1945"
        layer = (
            "decays by e every t/3.2 beside edges and lines: no twisting moment or shear within "
            "one thickness of them is a governing value"
        )
        if deck.reinforcement is not None:
            layer += (
                "; bars are designed for the field's own bending moments and, nearer than that to "
                "an edge that does not hold the slope along it, for the twisting moment about the "
                "edge one thickness off it"
            )
        yield "Edge layer of the theory", layer, "Arnold and Falk 1990, from memory"
    else:
        theory = "Kirchhoff plate (no shear deformation), shears as the divergence of moments"
        yield "Theory of the slab", theory, FILE
    if slab.rigidity is None:
        source = FILE
        if slab.concrete:
            source = f"{slab.concrete}, mean modulus by the standard named in the deck file"
        yield "E of the slab", f"{number(1e-9 * slab.E)} GPa", source
        whole = slab.stiffness == (1.0, 1.0, 1.0)
        state = "1, 1, 1 (uncracked)" if whole else ", ".join(map(as_given, slab.stiffness))
        yield ("Factors on ", *joined(", ", (D_X, D_Y, D_XY))), state, FILE
    else:
        values = ", ".join(number(1e-3 * v) for v in slab.rigidity)
        yield joined(", ", (D_X, D_Y, D_1, D_XY)), f"{values} kNm", FILE
    yield "Poisson's ratio", as_given(slab.poisson), FILE
    if slab.zones:
        yield "Steps of thickness", "about one mid-plane; no offset forces", MODEL


def _beams(deck: Deck) -> Iterator[Row]:
    beams = [line for line in deck.lines if line.beam is not None]
    if not beams:
        return
    webs = sum(line.beam is not None and line.beam.Av is not None for line in beams)
    bending = (
        "without shear deformation (no shear area is given)"
        if not webs
        else "with shear deformation and a bending rotation of their own"
    )
    if 0 < webs < len(beams):
        bending += " where a shear area is given, without elsewhere"
    yield (
        "Beams",
        f"bending {bending}; St Venant torsion; deflection and slope along the line are the slab's",
        "assumption of the model; sections: deck file",
    )
    groups: dict[str, list[str]] = {}
    for line in beams:
        groups.setdefault(_together(line), []).append(line_title(deck, line.name))
    for words, names in groups.items():
        of = "" if len(groups) == 1 else f"{', '.join(names)}: "
        yield "Beams and slab together", of + words, FILE
    own = {line.name for line in beams}
    if any(own & {*crossings(deck.plan, b.name, full=b.to_edges)} - {b.name} for b in beams):
        yield "Beams that cross", "rigidly joined", MODEL
    yield "Ends of beams", "free to twist; held as drawn", MODEL


def _together(line: Line) -> str:
    """How a beam acts with the slab, in words."""
    beam = line.beam
    assert beam is not None
    if beam.connection == 0.0:
        return "no composite action: membrane forces of the slab are not joined to the beam"
    off = as_given(abs(1e3 * beam.eccentricity))
    side = "below" if beam.eccentricity >= 0.0 else "above"
    joint = (
        "in full"
        if beam.connection == float("inf")
        else f"by {as_given(1e-3 * beam.connection)} kN/m² along it"
    )
    return (
        f"composite: centroid {off} mm {side} the slab's mid-plane, "
        f"connected to its membrane {joint}"
    )


def lifting(deck: Deck) -> list[str]:
    """Names of what may lift off, as the deck file says."""
    lines = [line_title(deck, line.name) for line in deck.lines if line.lifts]
    holds = [
        f"{line_title(deck, line.name)} at {line_title(deck, held.on)}"
        for line in deck.lines
        for held in line.held_at
        if held.lifts
    ]
    return [*lines, *holds, *(point.name for point in deck.points if point.lifts)]


def _supports(deck: Deck) -> str:
    words = "act at the line of the plan, in both directions"
    if lifting(deck):
        words += "; what lifts off is also solved without tension at governing load positions"
    return words


def _hogging(deck: Deck) -> Iterator[Row]:
    if any(line.width > 0.0 for line in deck.lines):
        words = (
            f"read {hogging_words(deck)}; the value at the centre line, that of a knife edge, "
            "stands beside"
        )
        yield "Hogging over supports", words, SOURCES


def _traffic(traffic: Traffic) -> Iterator[Row]:
    spread = {
        "none": "none: the contact itself",
        "surfacing": "through the surfacing",
        "mid-depth": "through surfacing and slab to mid-depth",
    }[traffic.dispersal]
    if traffic.dispersal != "none":
        spread += f" at {as_given(float(traffic.dispersal_angle) * ONE_DEGREE)}°"
    across = (
        f"every {length(traffic.lateral_step)} m at most"
        if traffic.lateral_step is not None
        else "at the offsets given"
    )
    yield "Dispersal of wheels", spread, "deck file; the standard's rule is part of a method"
    if traffic.axis is not None:
        yield (
            "Course of traffic",
            "along the carriageway's axis, on straight beyond its ends; vehicles, lanes and their "
            "distributed loads keep their offset from it, every wheel turned with it",
            FILE,
        )
    yield "Load positions along", f"every {length(traffic.step)} m", FILE
    yield "Load positions across", across, FILE
    yield "Directions", traffic.directions, FILE
    at_once = []
    if traffic.load_models:
        at_once.append("a load model with all its lanes")
    if traffic.vehicles:
        at_once.append("a vehicle listed by itself alone, the rest of the deck empty")
    yield "Traffic at one time", "; or ".join(at_once), FILE
    for vehicle in traffic.vehicles:
        low, high = traffic.offset_range(vehicle)
        clear = " and ".join(length(c) for c in dict.fromkeys(traffic.clearances(vehicle)))
        to = vehicle.clearance_to if traffic.edge_clearance is None else "wheel centre"
        words = f"{clear} m from the carriageway's edge to the {to}"
        if traffic.offsets is None:
            words += f": centre line from {length(low)} to {length(high)} m"
        source = FILE if traffic.edge_clearance is not None else vehicle.cited
        yield f"Clearance of {vehicle.name}", words, source
        yield f"Impact on {vehicle.name}", f"× {as_given(vehicle.impact)}", FILE


def _own(deck: Deck) -> Iterator[Row]:
    """Code of the user's own, which nobody but the user has verified."""
    for code in dict.fromkeys(code for _, code in deck.own.codes):
        kinds = " and ".join(kind for kind, one in deck.own.codes if one == code)
        names = ", ".join(deck.own.of(*(k for k, one in deck.own.codes if one == code)).names)
        words = f"{code.name} gives {kinds}{f': {names}' if names else ''}"
        yield "Code of the user's own", f"{words}; SHA-256 {code.digest[:16]}…", MARK


def _factors(deck: Deck) -> tuple[str, str]:
    own = ""
    if deck.traffic is not None and deck.traffic.load_models:
        own = "; load models have their own for lanes, presence, impact and joints"
    if deck.reinforcement is None:
        return f"no partial and no combination factor: characteristic values{own}", MODEL
    return (
        "bars and shear: those of the table of combinations; all else characteristic, without "
        f"partial and combination factors{own}",
        "the standards; table of factors",
    )
