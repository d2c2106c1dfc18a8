"""What the report says in sentences: cautions, assumptions with their sources, what is not
covered."""

from collections.abc import Sequence

from pipelines.deck.deck import Deck
from pipelines.numbers import given, length, number
from pipelines.report.page import SYMBOLS, table, text

CAUTIONS = (
    "Results are for a qualified engineer to verify. Local codes and licensed practice govern; "
    "factors, national annexes and editions are the user's to confirm.",
    "All values are linear elastic; outside the sections on bars and shear they are "
    "characteristic, without load factors.",
    "A numerical tolerance (±) says what the mesh may leave out and, for governing values, probes "
    "and beams, what the steps of the load positions miss; in the comparison with strips it is of "
    "the mesh alone, and reactions have none. It does not cover the model or the stiffness assumed "
    "(cracking, beams, fixity), which usually matters more.",
)

ALONE = (
    "Each vehicle runs alone. A single vehicle is not a standard's load model: no other lane, no "
    "distributed traffic load, no combination. No strip is said to cover a load model here."
)
WHOLE = (
    "Load models act as a whole, with their lanes and distributed loads, each by itself and "
    "without partial and combination factors; envelopes in plan and the reconciliation are of the "
    "vehicles listed by themselves, which act alone. Bars are judged, with factors, under the load "
    "models of their own standard and under those vehicles."
)

NOT_COVERED = (
    "Load groups, combination and partial factors of whole load models; without load models in the "
    "deck file also several lanes, distributed traffic load and presence factors.",
    "Cracking and its redistribution, except through stiffness factors given in the deck file; "
    "arching (membrane) action; forces in the plane of the slab.",
    "Stages: wet concrete on the beams alone, creep, shrinkage, composite action of slab and beam.",
    "Supports that lift off: every support holds in both directions, so uplift shows as a "
    "negative reaction and is not released.",
    "Settlement, temperature, horizontal and barrier forces, wheels on the kerb, footways.",
    "Braking, wind, precast joints, shear connectors, camber, rolling-wheel fatigue, parapet "
    "posts.",
    "Peaks at singular places (obtuse corners of skew supports, ends of line supports inside the "
    "slab, point supports): they grow with a finer mesh and are not to be read as values.",
)

PROBE_RULE = (
    "Shears of probes are given where they were asked for: within one thickness of an edge or a "
    "supporting line they are not to be read as the slab's own."
)

SHEAR_RULE = (
    "Shear peaks are taken further than one thickness from edges and supporting lines. Nearer, "
    "the edge layer of Mindlin's theory and the shear strain of beams joined to the slab are in "
    "them; the complete field is in fields.vtu."
)


def caution_words(deck: Deck) -> tuple[str, ...]:
    """What stands before every result."""
    models = deck.traffic is not None and deck.traffic.load_models
    return (CAUTIONS[0], WHOLE if models else ALONE, *CAUTIONS[1:])


def slab_note(deck: Deck) -> str:
    """The slab's section in one sentence."""
    slab = deck.slab
    words = f"Slab {given(1e3 * slab.thickness)} mm"
    for zone in slab.zones:
        parts = []
        if zone.stations:
            parts.append(f"stations {length(zone.stations[0])} to {length(zone.stations[1])} m")
        if zone.offsets:
            parts.append(f"offsets {length(zone.offsets[0])} to {length(zone.offsets[1])} m")
        words += f"; {given(1e3 * zone.thickness)} mm at {', '.join(parts) or 'full extent'}"
    if deck.traffic is not None:
        words += (
            f". Surfacing {given(1e3 * deck.traffic.surfacing)} mm (spreads wheels; no stiffness)"
        )
    return words + "."


def assumptions(deck: Deck, notes: Sequence[str]) -> str:
    """Table of what was assumed, its value and where it comes from."""
    slab = deck.slab
    rows: list[tuple[str, str, str]] = []
    if slab.theory == "mindlin":
        theory = "Mindlin plate (shear deformation), shear factor 5/6"
        rows.append(("Theory of the slab", theory, "deck file; factor: Reissner 1945"))
    else:
        theory = "Kirchhoff plate (no shear deformation), shears as the divergence of moments"
        rows.append(("Theory of the slab", theory, "deck file"))
    if slab.rigidity is None:
        source = "deck file"
        if slab.concrete:
            source = f"{slab.concrete}, mean modulus by the standard named in the deck file"
        rows.append(("E of the slab", f"{number(1e-9 * slab.E)} GPa", source))
        fx, fy, fxy = slab.stiffness
        whole = slab.stiffness == (1.0, 1.0, 1.0)
        state = "1, 1, 1 (uncracked)" if whole else ", ".join(given(f) for f in (fx, fy, fxy))
        rows.append(("Factors on D_x, D_y, D_xy", state, "deck file"))
    else:
        values = ", ".join(number(1e-3 * v) for v in slab.rigidity)
        rows.append(("D_x, D_y, D_1, D_xy", f"{values} kNm", "deck file"))
    rows.append(("Poisson's ratio", given(slab.poisson), "deck file"))
    rows.append(
        ("Steps of thickness", "about one mid-plane; no offset forces", "assumption of the model")
    )
    if any(line.beam for line in deck.lines):
        rows += [
            (
                "Beams",
                "Euler–Bernoulli with St Venant torsion (shear deformation where a shear area is "
                "given); share deflection and slopes with the slab; centroid at mid-plane, so no "
                "composite action; rigidly joined where they cross",
                "assumption of the model; sections: deck file",
            ),
            ("Ends of beams", "free to twist; held as drawn", "assumption of the model"),
        ]
    rows.append(("Supports", "act at the line of the plan, in both directions", "common practice"))
    if deck.traffic is not None:
        traffic = deck.traffic
        spread = {
            "none": "none: the contact itself",
            "surfacing": "through the surfacing",
            "mid-depth": "through surfacing and slab to mid-depth",
        }[traffic.dispersal]
        if traffic.dispersal != "none":
            spread += f" at {given(float(traffic.dispersal_angle) * 57.29577951308232)}°"
        across = (
            f"every {length(traffic.lateral_step)} m at most"
            if traffic.lateral_step is not None
            else "at the offsets given"
        )
        rows += [
            ("Dispersal of wheels", spread, "deck file; the standard's rule is part of a method"),
            ("Load positions along", f"every {length(traffic.step)} m", "deck file"),
            ("Load positions across", across, "deck file"),
            ("Directions", traffic.directions, "deck file"),
            (
                "Traffic at one time",
                "vehicles listed by themselves alone, the rest of the deck empty; a load model "
                "with all its lanes",
                "deck file",
            ),
        ]
        for vehicle in traffic.vehicles:
            low, high = traffic.offset_range(vehicle)
            clear = vehicle.clearance if traffic.edge_clearance is None else traffic.edge_clearance
            to = vehicle.clearance_to if traffic.edge_clearance is None else "wheel centre"
            words = f"{length(clear)} m from the carriageway's edge to the {to}"
            if traffic.offsets is None:
                words += f": centre line from {length(low)} to {length(high)} m"
            source = "deck file" if traffic.edge_clearance is not None else vehicle.source
            rows.append((f"Clearance of {vehicle.name}", words, source))
            rows.append((f"Impact on {vehicle.name}", f"× {given(vehicle.impact)}", "deck file"))
    rows.append(("Load factors", "none: characteristic values", "this version"))
    rows += [("Mesh", note, "program") for note in notes]
    cells = [[_symbols(a), text(b), text(c)] for a, b, c in rows]
    return table("Assumptions and their sources", ["What", "Value", "Source"], cells)


def _symbols(words: str) -> str:
    """D_x and the like with their index set low."""
    safe = text(words)
    for index in ("xy", "x", "y", "1"):
        safe = safe.replace(f"D_{index}", f"<i>D</i><sub>{index}</sub>")
    return safe


def conventions() -> str:
    """Signs and directions in one paragraph (HTML)."""
    s = SYMBOLS
    return (
        "<p>Signs: sagging moments positive (tension at the soffit); "
        f"{s['m_x']} is carried by bars along the deck (x), {s['m_y']} by bars across it (y), "
        f"{s['m_xy']} is the twisting moment; deflection {s['w']} positive down; shears "
        f"{s['q_x']} = ∂{s['m_x']}/∂x + ∂{s['m_xy']}/∂y, {s['q_y']} = ∂{s['m_xy']}/∂x + "
        f"∂{s['m_y']}/∂y. Stations run along the deck in the direction of traffic, offsets across "
        "it, positive to the right. Plans are seen from above, offsets down the page. All values "
        "to three figures.</p>"
    )
