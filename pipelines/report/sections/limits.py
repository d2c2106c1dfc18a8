"""What the report does not cover, derived from the deck."""

from collections.abc import Iterator, Sequence

from pipelines.deck.deck import Deck
from pipelines.deck.reinforcement import Reinforcement
from pipelines.deck.words import line_title
from pipelines.numbers import length
from pipelines.report.sections.assumptions import lifting
from pipelines.standards.actions.load_models import for_bars
from pipelines.traffic.reach import reach

# Names in a sentence; of more only the first and the last.
MOST_NAMED = 4


def not_covered(deck: Deck, *, singular: bool) -> tuple[str, ...]:
    """What the report leaves out; singular : whether the model has singular places."""
    return tuple(
        (
            *_loads(deck),
            *_model(deck),
            *_places(deck, singular=singular),
            *(_bars(deck, deck.reinforcement) if deck.reinforcement else _without_bars()),
        )
    )


def _loads(deck: Deck) -> Iterator[str]:
    traffic, bars = deck.traffic, deck.reinforcement
    if traffic is None:
        yield "Traffic: the deck file has no [traffic]."
    elif not traffic.load_models:
        yield (
            "Several lanes, distributed traffic load and presence factors: the deck file names no "
            "load model."
        )
    else:
        yield "Groups of traffic: load models with each other, with footways, with braking."
    if bars is None:
        yield "Partial and combination factors."
    forces = [*_imposed(deck), "wind", "braking", "wheels on the kerb", "footways"]
    if bars is None or bars.collision is None:
        forces.append("collision with parapets (the deck file has no [collision])")
    elif not bars.collision.vertical:
        forces.append("the vertical force that acts with a collision (the deck file states none)")
    yield _sentence(forces)


def _imposed(deck: Deck) -> Iterator[str]:
    """Settlement and temperature as far as no case has them, or the bars are not judged by it."""
    judged = deck.reinforcement is not None
    settling = [case for case in deck.cases if case.settlements]
    if judged and all(case.action == "none" for case in settling):
        yield "settlement in the combinations of the bars" if settling else "settlement"
    elif not settling:
        yield "settlement"
    warm = [case for case in deck.cases if case.temperature is not None]
    if judged and all(case.action == "none" for case in warm):
        yield "temperature in the combinations of the bars" if warm else "temperature"
    elif not warm:
        yield "temperature"
    elif judged:
        yield "temperature as the leading action"


def _model(deck: Deck) -> Iterator[str]:
    given = deck.slab.rigidity is not None or deck.slab.stiffness != (1.0, 1.0, 1.0)
    beyond = " beyond the stiffness given" if given else ""
    yield f"Cracking and its redistribution{beyond}; arching (membrane) action."
    beams = [line for line in deck.lines if line.beam is not None]
    joined = [line for line in beams if line.beam is not None and line.beam.connection > 0.0]
    imposed = deck.reinforcement is not None and deck.reinforcement.imposed
    if joined:
        yield "Forces in the plane of the slab but those of its composite beams" + (
            " and those imposed." if imposed else "."
        )
    elif imposed:
        yield "Forces in the plane of the slab but those imposed by [[membrane]]."
    else:
        yield "Forces in the plane of the slab."
    apart = [line for line in beams if line not in joined]
    if apart:
        of = "" if not joined else f" of {_listed([line_title(deck, b.name) for b in apart])}"
        yield f"Composite action of slab and beam{of}."
    if deck.stages is None:
        yield (
            "Stages: every case acts on the same model, whatever stage it names; creep and "
            "shrinkage."
        )
    else:
        yield (
            "Creep but by the modular ratios stated, and that of beams; cracking of the slab where "
            "a stage puts it in tension; the sequence in which parts of the slab are cast."
        )
    if any(case.temperature is not None for case in deck.cases):
        yield "The part of a temperature that is not linear through the slab, and that of beams."
    free = lifting(deck)
    if free:
        yield (
            f"Supports that lift off, but for {_listed(free)}: everywhere else, and in every "
            "envelope, supports hold in both directions."
        )
    else:
        yield (
            "Supports that lift off: every support holds in both directions, so uplift shows as a "
            "negative reaction and is not released."
        )
    details = ["precast joints", "camber", "parapet posts", "wear of the slab under rolling wheels"]
    if joined:
        details.insert(0, "shear connectors")
    yield _sentence(details)


def _listed(names: Sequence[str]) -> str:
    """Names one after the other; of many the first and the last."""
    if len(names) <= MOST_NAMED:
        return ", ".join(names)
    return f"{names[0]}, … {names[-1]} ({len(names)} in all)"


def _sentence(words: Sequence[str]) -> str:
    listed = ", ".join(words)
    return f"{listed[0].upper()}{listed[1:]}."


def _places(deck: Deck, *, singular: bool) -> Iterator[str]:
    if singular:
        yield (
            "Peaks at the singular places listed under the model: they grow with a finer mesh and "
            "are not to be read as values."
        )
    if not deck.plan.is_grid and deck.traffic is not None:
        yield "Envelopes along lines: the plan has no C and L lines."
        yield _unreached(deck)


def _unreached(deck: Deck) -> str:
    """Where no wheel stands."""
    found = reach(deck)
    low, high = found.offsets
    along = "its axis" if deck.required_traffic.axis is not None else "y = 0"
    return (
        f"Wheels on the slab beyond the edges of the carriageway, {found.beyond:.3g} m2 of it; "
        f"between them wheels reach from {length(low)} to {length(high)} m off {along}, which "
        f"leaves {found.bare:.2g} of {found.between:.3g} m2 without a wheel."
    )


def _without_bars() -> Iterator[str]:
    yield (
        "Resistance: reinforcement, shear without links, punching, crack widths, stresses, "
        "fatigue: the deck file names no bars."
    )


def _bars(deck: Deck, bars: Reinforcement) -> Iterator[str]:
    models = () if deck.traffic is None else deck.traffic.load_models
    standards = [basis.materials.standard for basis in bars.bases]
    if deck.traffic is not None:
        without = [s for s in standards if not any(for_bars(model, s) for model in models)]
        if without and models:
            yield (
                f"Bars to {' and '.join(without)} under several lanes and distributed loads: the "
                "deck file names no load model of that family."
            )
        if len(without) < len(standards):
            yield (
                "Shear under a load model beyond the arrangements that are worst for its parts in "
                "four directions."
            )
    fatigue = "Fatigue of concrete, of links, of bent or welded bars"
    if "IRC:112" in standards:
        fatigue += "; by IRC:112 beyond the stress that needs no verification"
    yield f"{fatigue}."
    if any(curve.sweep for line in deck.lines for curve in deck.plan.lines[line.name].curves):
        yield "Shear beside supporting lines that are curved."
    beams = [line for line in deck.lines if line.beam is not None]
    stated = {name for beam in bars.beams for name in beam.lines}
    unstated = [line_title(deck, line.name) for line in beams if line.name not in stated]
    if unstated:
        yield f"Resistance of {_listed(unstated)}: the deck file states no [[beam_bars]] there."
    joint = "The joint of beam and slab. " if beams else ""
    yield f"{joint}Anchorage at openings, of bars of beams, stress in bends. Links in the slab."
    if bars.survey is not None:
        yield (
            "Of panels as built: weight and stiffness of the plate by the readings; bond, "
            "anchorage, ductility and fatigue strength of corroded bars; distribution steel, "
            "collision and bars of beams."
        )
    composite = any(line.beam is not None and line.beam.connection > 0.0 for line in beams)
    if bars.imposed or composite:
        yield (
            "Membrane forces in the utilisation of the findings table, in punching and in the "
            "as-built panels' own lever arms; the compression of the slab's outer layers and the "
            "core's shear in the layered method."
        )
    yield "What national annexes change beside the factors of the table."
