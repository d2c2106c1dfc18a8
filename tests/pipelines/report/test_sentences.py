"""Every sentence of cautions, assumptions and limits, read for a deck that has each feature and for
one that has not: what is said of a deck is true of it."""

from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import cast

import pytest

from pipelines.analysis.result import TrafficResult
from pipelines.bars.checks.free_edges import free_edges
from pipelines.deck.deck import Deck
from pipelines.report.document import Block, Table, plain
from pipelines.report.sections.assumptions import assumptions
from pipelines.report.sections.findings import intro
from pipelines.report.sections.limits import not_covered
from pipelines.report.sections.load_models import intro as models_intro
from pipelines.report.sections.words import caution_words, shear_rule, values_title
from tests.pipelines.outline_decks import BEAM, RAMP
from tests.pipelines.small_decks import BEAMS, PLAN, SLAB, TRAFFIC, WEIGHT, deck_of, grades, mat

EN, IRC = {"EN 1992": "C35/45"}, {"IRC:112": "M45"}
STEEL = {"EN 1992": "B500B", "IRC:112": "Fe 500D"}
MATS = mat("bottom", "16@150", "16@150", outer="y") + mat("top", "12@150", "12@150")
BARS = grades(EN, {"EN 1992": "B500B"}) + MATS
BOTH = grades(EN | IRC, STEEL) + MATS
RIGID = '[[line]]\non = "C*"\nsupport = "rigid"\n'
COMPOSITE = "Av_cm2 = 60, eccentricity_mm = 400, connection = "
EDGE = """
[[line]]
on = "L1"
support = "beam"
label = "edge beam"
to_edges = true
beam = { E_GPa = 30, G_GPa = 12, I_cm4 = 300000, J_cm4 = 9000, A_cm2 = 1500 }
"""
COLLISION = """
[collision]
force_kN = 100
height_m = 1.0
length_m = 0.5
inner_face_mm = 350
"""
MEMBRANE = "[[membrane]]\nn_x_kN_m = 150\n"
SURVEY = '[survey]\nfile = "readings.csv"\n'
BEAM_BARS = """
[[beam_bars]]
on = ["L1"]
width_mm = 350
depth_mm = 620
cover_mm = 50
top = { count = 4, diameter_mm = 20 }
bottom = { count = 4, diameter_mm = 20 }
links = { diameter_mm = 12, spacing_mm = 120, legs = 2 }
"""
WITH_AXIS = TRAFFIC.replace("step_m", "carriageway_axis_m = [[0, 0.5], [8, 0.5]]\nstep_m", 1)
LM1 = TRAFFIC.replace("step_m = 0.5", 'load_models = ["EN 1991-2 LM1"]\nstep_m = 0.5')
MODELS = LM1[: LM1.index("[[vehicle]]")]
TWO_LANES = MODELS.replace("[-1.9, 1.9]", "[-3.2, 3.2]")
ONLY_LM2 = MODELS.replace("LM1", "LM2")
WHOLE = SLAB + PLAN + BEAMS
CURVED_WALL = """
[plan]
outline_m = [[0, -3], [8, -3], [8, 3], [0, 3]]
[[line]]
on = ["E2", "E4"]
support = "rigid"
[[line]]
name = "wall"
path_m = [[4, -3], { arc_to_m = [4, 3], through_m = [4.5, 0] }]
support = "rigid"
"""

# A piece of a sentence; a deck of which it is true, one of which it is not.
SENTENCES: dict[str, tuple[str, str]] = {
    # Cautions.
    "Each vehicle runs alone": (WHOLE + TRAFFIC, WHOLE + LM1),
    "A single vehicle is not a standard's load model": (WHOLE + TRAFFIC, WHOLE + WEIGHT),
    "Load models act as a whole": (WHOLE + LM1, WHOLE + TRAFFIC),
    "The vehicles listed by themselves act alone": (WHOLE + LM1, WHOLE + MODELS),
    "Bars are judged, with factors, under the load models": (WHOLE + LM1 + BARS, WHOLE + LM1),
    "and under those vehicles": (WHOLE + LM1 + BARS, WHOLE + MODELS + BARS),
    "All values are linear elastic and characteristic": (WHOLE + TRAFFIC, WHOLE + TRAFFIC + BARS),
    "outside the sections on bars and shear": (WHOLE + BARS, WHOLE),
    "how much more a load position may make than the worst one found": (
        WHOLE + TRAFFIC,
        WHOLE + WEIGHT,
    ),
    "(cracking, beams, fixity)": (WHOLE, SLAB + PLAN + RIGID),
    # Rules of reading.
    "at the faces of supports that the slab is one with": (
        WHOLE,
        WHOLE.replace("width_mm = 250", "width_mm = 250\nrests = true"),
    ),
    "a quarter of the width off the centre lines of supports that it only rests on": (
        WHOLE.replace("width_mm = 250", "width_mm = 250\nrests = true"),
        WHOLE,
    ),
    "at the centre lines of lines without a width": (WHOLE + EDGE, WHOLE),
    "that of a knife edge": (WHOLE, WHOLE.replace("width_mm = 250", "")),
    "edge layer of Mindlin's theory": (
        WHOLE,
        WHOLE.replace("[plan]", 'theory = "kirchhoff"\n[plan]'),
    ),
    "the shear strain of beams joined": (WHOLE, SLAB + PLAN + RIGID),
    "for the twisting moment about the edge one thickness off it": (
        WHOLE + BARS,
        WHOLE.replace("[plan]", 'theory = "kirchhoff"\n[plan]') + BARS,
    ),
    "under a load model the strip has all lanes": (WHOLE + LM1, WHOLE + TRAFFIC),
    "with all beams half and twice as stiff": (WHOLE, SLAB + PLAN + RIGID),
    "but for resistance and utilisations": (WHOLE + BARS, WHOLE),
    "its lanes stand anywhere on the carriageway": (WHOLE + TWO_LANES, WHOLE + ONLY_LM2),
    "its vehicle stands anywhere": (WHOLE + ONLY_LM2, WHOLE + TWO_LANES),
    "distributed loads act on adverse parts only": (WHOLE + MODELS, WHOLE + ONLY_LM2),
    # Assumptions.
    "Steps of thickness": (
        WHOLE.replace("[plan]", "zone = [{ offsets_m = [1, 2], thickness_mm = 300 }]\n[plan]"),
        WHOLE,
    ),
    "(uncracked)": (WHOLE, WHOLE.replace("[plan]", "stiffness = { x = 0.5 }\n[plan]")),
    "no shear area is given": (WHOLE.replace(", Av_cm2 = 60", ""), WHOLE),
    "a bending rotation of their own": (WHOLE, WHOLE.replace(", Av_cm2 = 60", "")),
    "where a shear area is given, without elsewhere": (WHOLE + EDGE, WHOLE),
    "no composite action": (WHOLE, WHOLE.replace("Av_cm2 = 60", COMPOSITE + '"full"')),
    "composite: centroid 400 mm below the slab's mid-plane, connected to its membrane in full": (
        WHOLE.replace("Av_cm2 = 60", COMPOSITE + '"full"'),
        WHOLE.replace("Av_cm2 = 60", COMPOSITE + '"none"'),
    ),
    "connected to its membrane by 100000 kN/m² along it": (
        WHOLE.replace("Av_cm2 = 60", COMPOSITE + "{ k_kN_m2 = 1e5 }"),
        WHOLE.replace("Av_cm2 = 60", COMPOSITE + '"full"'),
    ),
    "Beams that cross: rigidly joined": (WHOLE + EDGE, WHOLE),
    "Ends of beams": (WHOLE, SLAB + PLAN + RIGID),
    "what lifts off is also solved without tension": (
        SLAB + PLAN + RIGID + "lifts = true\n",
        SLAB + PLAN + RIGID,
    ),
    "Dispersal of wheels": (WHOLE + TRAFFIC, WHOLE),
    "a load model with all its lanes": (WHOLE + LM1, WHOLE + TRAFFIC),
    "a vehicle listed by itself alone": (WHOLE + LM1, WHOLE + MODELS),
    "Clearance of lorry": (WHOLE + TRAFFIC, WHOLE + MODELS),
    "no partial and no combination factor": (WHOLE + TRAFFIC, WHOLE + TRAFFIC + BARS),
    "bars and shear: those of the table of combinations": (WHOLE + BARS, WHOLE),
    "load models have their own for lanes": (WHOLE + LM1, WHOLE + TRAFFIC),
    # Limits.
    "Traffic: the deck file has no [traffic]": (WHOLE + WEIGHT, WHOLE + TRAFFIC),
    "Several lanes, distributed traffic load": (WHOLE + TRAFFIC, WHOLE + LM1),
    "load models with each other": (WHOLE + LM1, WHOLE + TRAFFIC),
    "Partial and combination factors.": (WHOLE, WHOLE + BARS),
    "collision with parapets (the deck file has no [collision])": (
        WHOLE + BARS,
        WHOLE + BARS + COLLISION,
    ),
    "the vertical force that acts with a collision": (
        WHOLE + BARS + COLLISION,
        WHOLE + BARS + COLLISION + "vertical_kN = 225\n",
    ),
    "redistribution beyond the stiffness given": (
        WHOLE.replace("[plan]", "stiffness = { x = 0.5 }\n[plan]"),
        WHOLE,
    ),
    "Forces in the plane of the slab.": (
        WHOLE,
        WHOLE.replace("Av_cm2 = 60", COMPOSITE + '"full"'),
    ),
    "but those imposed by [[membrane]]": (WHOLE + BARS + MEMBRANE, WHOLE + BARS),
    "but those of its composite beams and those imposed": (
        WHOLE.replace("Av_cm2 = 60", COMPOSITE + '"full"') + BARS + MEMBRANE,
        WHOLE.replace("Av_cm2 = 60", COMPOSITE + '"full"') + BARS,
    ),
    "Composite action of slab and beam.": (
        WHOLE,
        WHOLE.replace("Av_cm2 = 60", COMPOSITE + '"full"'),
    ),
    "Composite action of slab and beam of edge beam L1": (
        WHOLE.replace("Av_cm2 = 60", COMPOSITE + '"full"')
        + EDGE.replace("edge beam", "edge beam L1"),
        WHOLE.replace("Av_cm2 = 60", COMPOSITE + '"full"'),
    ),
    "every support holds in both directions": (
        SLAB + PLAN + RIGID,
        SLAB + PLAN + RIGID + "lifts = true\n",
    ),
    "Supports that lift off, but for line C1, line C2, line C3": (
        SLAB + PLAN + RIGID + "lifts = true\n",
        SLAB + PLAN + RIGID,
    ),
    "Shear connectors": (WHOLE.replace("Av_cm2 = 60", COMPOSITE + '"full"'), WHOLE),
    "Envelopes along lines: the plan has no": (SLAB + RAMP + BEAM + TRAFFIC, WHOLE + TRAFFIC),
    "between them wheels reach": (SLAB + RAMP + BEAM + TRAFFIC, WHOLE + TRAFFIC),
    "m off its axis, which leaves": (
        SLAB + RAMP + BEAM + WITH_AXIS,
        SLAB + RAMP + BEAM + TRAFFIC,
    ),
    "Course of traffic: along the carriageway's axis": (
        SLAB + RAMP + BEAM + WITH_AXIS,
        SLAB + RAMP + BEAM + TRAFFIC,
    ),
    "the deck file names no bars": (WHOLE, WHOLE + BARS),
    "Bars to IRC:112 under several lanes": (WHOLE + LM1 + BOTH, WHOLE + LM1 + BARS),
    "Bars to EN 1992 under several lanes": (
        WHOLE + LM1.replace("EN 1991-2 LM1", "IRC:6 Class A lanes") + BARS,
        WHOLE + LM1 + BARS,
    ),
    "Shear under a load model": (WHOLE + ONLY_LM2 + BARS, WHOLE + TRAFFIC + BARS),
    "by IRC:112 beyond the stress": (WHOLE + BOTH, WHOLE + BARS),
    "Shear beside supporting lines that are curved": (
        SLAB + CURVED_WALL + BARS,
        SLAB + RAMP + BEAM + "\n" + BARS,  # its edges are curved, its supports are not
    ),
    "C2, cross beam C3, edge beam: the deck file states no [[beam_bars]]": (
        WHOLE + EDGE + BARS,
        WHOLE.replace(BEAMS, RIGID) + BARS,
    ),
    "The joint of beam and slab": (WHOLE + BARS, WHOLE.replace(BEAMS, RIGID) + BARS),
    "Membrane forces in the utilisation": (WHOLE + BARS + MEMBRANE, WHOLE + BARS),
    "Of panels as built: weight and stiffness": (WHOLE + BARS + SURVEY, WHOLE + BARS),
}


SETTLES = '[[case]]\nname = "down"\nsettlements_mm = { "C1@L1" = 4.0 }\n'
WARM = '[[case]]\nname = "warm"\ntemperature = { difference_K = 8.0 }\n'


@pytest.mark.parametrize(
    ("text", "there", "absent"),
    [
        (WHOLE, ("Settlement, temperature, wind",), ()),
        (WHOLE + SETTLES + WARM, ("Wind",), ("ettlement, ", "emperature, ")),
        (
            WHOLE + BARS + SETTLES + WARM,
            ("Settlement in the combinations of the bars, temperature in the combinations",),
            (),
        ),
        (
            WHOLE + BARS + SETTLES + 'action = "settlement"\n',
            ("Temperature, wind",),
            ("ettlement, ", "ettlement in the combinations"),
        ),
        (
            WHOLE + BARS + WARM + 'action = "warming"\n',
            ("Settlement, temperature as the leading action, wind",),
            ("emperature in the combinations",),
        ),
    ],
)
def test_what_no_case_imposes_is_not_covered(
    tmp_path: Path, text: str, there: tuple[str, ...], absent: tuple[str, ...]
) -> None:
    told = "\n".join(not_covered(deck_of(tmp_path, text), singular=False))
    assert all(words in told for words in there), told
    assert not any(words in told for words in absent), told


def sentences(deck: Deck) -> str:
    """All that is said of a deck, a line each; a row of a table is "what: value"."""
    blocks: list[Block] = [assumptions(deck, ())]
    lines = [*caution_words(deck), shear_rule(deck), intro(deck)]
    if deck.traffic is not None and deck.traffic.load_models:
        lines.append(models_intro(deck.traffic.load_models))
    lines += not_covered(deck, singular=False)
    return "\n".join((*lines, *(row for block in blocks for row in rows(block))))


def rows(block: Block) -> Iterator[str]:
    assert isinstance(block, Table)
    for row in block.rows:
        yield ": ".join(plain(cell) for cell in row)


@pytest.mark.parametrize("words", SENTENCES)
def test_a_sentence_is_said_of_decks_of_which_it_is_true(tmp_path: Path, words: str) -> None:
    (tmp_path / "readings.csv").write_text("panel,thickness_mm\nC1-C2,250\n", encoding="utf-8")
    true_of, not_of = (sentences(deck_of(tmp_path, text)) for text in SENTENCES[words])
    assert words in true_of
    assert words not in not_of


def test_beams_whose_bars_are_stated_are_not_left_out(tmp_path: Path) -> None:
    told = sentences(deck_of(tmp_path, WHOLE, EDGE, BARS, BEAM_BARS))
    [line] = [line for line in told.splitlines() if line.startswith("Resistance of")]
    assert "C1" in line
    assert "edge beam" not in line


def test_singular_places_are_named_where_there_are_some(tmp_path: Path) -> None:
    deck = deck_of(tmp_path, WHOLE)
    more = set(not_covered(deck, singular=True)) - set(not_covered(deck, singular=False))
    assert [words.split(":")[0] for words in more] == [
        "Peaks at the singular places listed under the model"
    ]


@pytest.mark.parametrize(
    ("name", "whole", "cases", "title"),
    [
        ("EN 1991-2 LM1", True, 1, "EN 1991-2 LM1: governing values"),
        ("EN 1991-2 LM1", True, 2, "EN 1991-2 LM1: governing values"),
        ("lorry", False, 1, "lorry alone: governing values"),
        ("lorry", False, 2, "lorry alone, beside the load models: largest and smallest values"),
        (
            "vehicles alone",
            False,
            3,
            "vehicles alone, beside the load models: largest and smallest",
        ),
    ],
)
def test_only_a_load_model_governs_beside_load_models(
    name: str, whole: bool, cases: int, title: str
) -> None:
    one = SimpleNamespace(name=name, envelope=SimpleNamespace(whole=whole))
    assert values_title(cast(TrafficResult, one), cases).startswith(title)


EDGES: dict[str, tuple[str, dict[str, str]]] = {
    # The side edges are lines without support, the slab reaches beyond C1 and C3.
    "cross beams": (WHOLE, {"start": "x", "end": "x", "left": "y", "right": "y"}),
    "an edge beam to the edges": (WHOLE + EDGE, {"start": "x", "end": "x", "right": "y"}),
    "ends on lines": (
        SLAB + PLAN.replace("overhang_m = { start = 0.4, end = 0.4 }", "") + RIGID,
        {"left": "y", "right": "y"},
    ),
    "an opening": (
        WHOLE + "[[opening]]\ncorners_m = [[1, -1], [2, -1], [2, 0], [1, 0]]\n",
        {"start": "x", "end": "x", "left": "y", "right": "y", "opening 1": "xy"},
    ),
    # Chords at 7.1 degrees; arcs of 8 m that rise 0.2 and 0.3 m turn 5.7 and 8.5 degrees to either
    # side of them: 12.8 is less, 15.6 more than the 14.5 degrees at which bars end at an edge.
    "a ramp": (SLAB + RAMP + BEAM, {"E1": "y", "E3": "xy", "opening 1": "xy", "opening 2": "xy"}),
    # Skew ends of 30 degrees are crossed by bars of both directions.
    "skew": (
        SLAB + PLAN.replace("overhang_m", "skew_deg = 30\noverhang_m") + BEAMS,
        {"start": "xy", "end": "xy", "left": "y", "right": "y"},
    ),
    "all on lines": (
        SLAB
        + "[plan]\noutline_m = [[0, 0], [4, 0], [4, 4], [0, 4]]\n"
        + '[[line]]\non = "E*"\nsupport = "rigid"\n',
        {},
    ),
}


@pytest.mark.parametrize("name", EDGES)
def test_free_edges_of_every_plan(tmp_path: Path, name: str) -> None:
    text, expected = EDGES[name]
    found = {edge: "".join(ends) for edge, ends in free_edges(deck_of(tmp_path, text))}
    assert found == expected
