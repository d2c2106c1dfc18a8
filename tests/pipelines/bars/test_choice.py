"""Bars to choose from: bands, least areas of layers, and a choice that is monotone."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from pipelines.analysis.analyse import analyse
from pipelines.bar_design.known import Known
from pipelines.bars.choice.bands import Added, bands, bond, shift
from pipelines.bars.choice.candidates import RUNS_ON, Candidate, Needs, Trial
from pipelines.bars.choice.floors import Floor
from pipelines.bars.choice.least_steel import (
    Chosen,
    least_of,
    least_steel,
    options,
    room,
    shears_used,
)
from pipelines.bars.choice.shears import Shears, shears_of
from pipelines.bars.drawn_parts import DrawnBars
from pipelines.deck.reinforcement import Prices
from pipelines.standards.resistance.bars import FACES, LAYERS, Bars, Layer, SlabBars
from tests.pipelines.decks_with_bars import bars as sound_bars
from tests.pipelines.small_decks import BEAMS, PLAN, SLAB, TRAFFIC, deck_of, solver_of

CHOICE = """
[bar_choice]
diameters_mm = [12, 16, 20]
spacings_mm = [100, 125, 150, 200]
price_kg_m2 = { diameter = 0.0, spacing = 0.0, zone = 0.0 }
"""
BOTTOM_X: Layer = ("bottom", "x")


@pytest.fixture(scope="module")
def needs(tmp_path_factory: pytest.TempPathFactory) -> Needs:
    """Of an analysis of two bays on cross beams."""
    slab = SLAB.replace("thickness_mm = 250", "thickness_mm = 300")
    traffic = TRAFFIC.replace("load_kN = 100", "load_kN = 300")
    deck = deck_of(
        tmp_path_factory.mktemp("choice"), slab, PLAN, BEAMS, traffic, sound_bars(), CHOICE
    )
    result = analyse(deck, tolerances_wanted=False, strips_wanted=False)
    choice = deck.required_reinforcement.choice
    assert result.design is not None
    assert choice is not None
    return Needs(result.solved, result.design, choice)


@pytest.fixture(scope="module")
def mats(needs: Needs) -> SlabBars:
    return needs.deck.required_reinforcement.bars


def test_lines_along_and_clear_of_which_bars_may_be_added(needs: Needs) -> None:
    """Bars along x cross C1 to C3 and the ends, run beside the sides; L lines carry nothing."""
    beams, ends = ("C1", "C2", "C3"), ("end", "start")
    found = [(band.along, band.clear) for band in bands(needs.solved, BOTTOM_X)]
    assert found == [
        (beams, False),
        (("left", "right"), False),
        ((*beams, *ends), True),
        (("left", "right"), True),
        ((*beams, "end", "left", "right", "start"), True),
    ]
    top = [(band.along, band.clear) for band in bands(needs.solved, ("top", "y"))]
    assert top == [(ends, False)]


@pytest.mark.parametrize("along", [0.0, 0.37, 0.9])
@pytest.mark.parametrize("number", range(5))
def test_lengthened_bars_count_wherever_they_are_needed(
    needs: Needs, number: int, along: float
) -> None:
    """A reach is rounded to more bars, by less than its step."""
    band = list(bands(needs.solved, BOTTOM_X))[number]
    for reach in (1.03, 1.2, 2.11):
        drawn = band.lengthened(reach, along)
        if drawn <= 0.0:
            continue
        counted = band.counted(drawn, along - 1e-9, band.gap)
        assert (counted | band.alone(reach)).all()
        off = along * band.sines.max()
        assert abs(drawn - (reach - off if band.clear else reach + off)) < 0.1


def added_everywhere(needs: Needs, mats: SlabBars) -> Iterator[Added]:
    for band in bands(needs.solved, BOTTOM_X):
        both = mats.with_added(BOTTOM_X, Bars(0.012, 0.125))
        ends = sum(of(both, BOTTOM_X, needs.materials) for of in (bond, shift))
        reach = band.lengthened(1.4 if band.clear else 0.6, ends)
        if reach > 0.0:
            bars = Bars(0.012, 0.125)
            yield Added(bars=bars, along=band.along, reach=reach, clear=band.clear)


def test_a_run_counts_added_bars_wherever_the_choice_does(
    needs: Needs, mats: SlabBars, tmp_path: Path
) -> None:
    """By the parts of the slab as drawn, read from a deck file: no fewer places."""
    mats = mats.with_mat("bottom", mats.bottom.with_bars("x", Bars(0.016, 0.125)))
    trial = Trial(needs, mats, BOTTOM_X)
    seen = 0
    for added in added_everywhere(needs, mats):
        key, reach = ("clear_of", "clear_m") if added.clear else ("along", "reach_m")
        where = f"{key} = {list(added.along)}\n{reach} = {added.reach}\n".replace("'", '"')
        table = f'[[bars.added]]\ndirection = "x"\ndiameter_mm = 12\nspacing_mm = 125\n{where}'
        slab = SLAB.replace("thickness_mm = 250", "thickness_mm = 300")
        text = sound_bars(bottom=("16@125", "20@125")).replace(
            '[[bars]]\nface = "top"', f'{table}[[bars]]\nface = "top"'
        )
        deck = deck_of(tmp_path, slab, PLAN, BEAMS, TRAFFIC, text)
        basis = deck.required_reinforcement.bases[0]
        drawn = DrawnBars.of(solver_of(deck), basis.materials).counted(
            needs.solved.recovery.points.plan
        )[0]
        mine = trial.counts(mats, added)
        assert 0 < mine.sum() < len(mine)
        assert (drawn | ~mine).all()
        seen += 1
    assert seen >= 3


def test_half_of_the_bottom_steel_runs_to_the_supports(needs: Needs, mats: SlabBars) -> None:
    """EN 1992-1-1 9.3.1.2(1), of every candidate whose bars stop short of lines."""
    short = [
        one.candidate
        for one in options(needs, mats)
        if one.candidate.added is not None and one.candidate.added.clear
    ]
    assert short
    for one in short:
        assert one.added is not None
        assert one.bars.area >= RUNS_ON * (one.bars.area + one.added.bars.area) * (1.0 - 1e-9)


def test_steel_of_a_candidate_where_shear_is_judged(needs: Needs, mats: SlabBars) -> None:
    """16@200 with 12@200 within 2 m of C2 at x = 3: there the bars between count besides, but not
    where they end."""
    added = Added(bars=Bars(0.012, 0.200), along=("C2",), reach=2.0)
    own = Candidate(bars=Bars(0.016, 0.200), added=added, mass=0.0)
    trial = Trial(needs, mats, BOTTOM_X)
    points = np.array([[3.0, 0.0], [3.2, 1.0], [3.0 + 1.9, 0.0], [0.0, 0.0]])
    expected = np.array([1570.8, 1570.8, 1005.3, 1005.3]) * 1e-6
    np.testing.assert_allclose(trial.steel_at(own, points), expected, rtol=1e-4)
    for area, short in ((1500e-6, False), (1600e-6, True)):
        floor = Floor(at=points[:1], areas=np.array([area]))
        one = Trial(replace(needs, floors={BOTTOM_X: floor}), mats, BOTTOM_X)
        assert one.is_short(own) == short
    everywhere = replace(needs, floors={BOTTOM_X: Floor(everywhere=1100e-6)})
    assert Trial(everywhere, mats, BOTTOM_X).is_short(own)


def test_a_least_area_above_the_fullest_bars_is_theirs(needs: Needs, mats: SlabBars) -> None:
    """Whatever it asks for: bars are chosen, and an analysis tells whether they suffice."""
    for asked in (
        Floor(everywhere=1.0),
        Floor(at=np.array([[2.0, 0.0]]), areas=np.array([np.inf])),
    ):
        chosen = least_steel(replace(needs, floors={BOTTOM_X: asked}), mats)
        assert chosen is not None
        own = chosen.layers[BOTTOM_X]
        assert sum(bars.area for bars in own.sets) >= Bars(0.020, 0.125).area


def sheared(needs: Needs, mats: SlabBars, times: float) -> Shears:
    """The shears of the deck, larger so that the worst is so many times what the mats take."""
    (standard,) = needs.standards
    (found,) = shears_of(standard)
    steel = {layer: np.full(len(found.v), mats.bars(layer).area) for layer in LAYERS}
    return replace(found, v=times / found.used(mats, steel).max() * found.v)


def test_steel_that_shear_asks_for_by_hand(needs: Needs, mats: SlabBars) -> None:
    """EN 1992-1-1 6.2.2(1) at every sample with more than its least value: with the steel in the
    direction of the shear v_Rd,c is v."""
    shears = sheared(needs, mats, 1.6)
    (standard,) = needs.standards
    f_ck, seen = standard.basis.materials.concrete.f_ck / 1e6, 0
    for face in FACES:
        areas = shears.needed(mats, face)
        share = np.cos(shears.angle) ** 2
        d_x, d_y = (mats.effective_depth((face, direction)) for direction in ("x", "y"))
        d = share * d_x + (1 - share) * d_y
        scale = np.minimum(1 + (0.2 / d) ** 0.5, 2.0)
        steel = 0.18 / 1.5 * scale * (100 * np.minimum(areas / d, 0.02) * f_ck) ** (1 / 3)
        least = 0.035 * scale**1.5 * f_ck**0.5
        resists = np.maximum(steel, least) * d * 1e6
        assert ((resists >= shears.v * (1 - 1e-6)) | (areas / d >= 0.02 * (1 - 1e-6))).all()
        governed = (steel > least) & (areas / d < 0.0199)
        np.testing.assert_allclose(resists[governed], shears.v[governed], rtol=1e-5)
        seen += governed.sum()
    assert seen > 10


@pytest.mark.slow
def test_bars_that_are_chosen_resist_all_shears_that_are_known(
    needs: Needs, mats: SlabBars
) -> None:
    """Also where shear runs askew, so that the layer asked first lacks what lies across it: what is
    asked only grows until they do. Told twice it is the same."""
    shears = sheared(needs, mats, 1.05)
    askew = replace(shears, angle=np.full(len(shears.v), 0.25 * np.pi))
    askew = askew.where(askew.m > 0.0)
    for more in (shears, askew):
        known = Known(shears=(more,))
        chosen = settled(known, needs, mats)
        (used,) = shears_used(replace(needs, shears=known.shears), mats, chosen)
        assert 0.9 < used.max() <= 1.0 + 1e-9
        assert len(known.shears[0].joined(more).v) == len(more.v)
        bare = least_steel(needs, mats)
        assert bare is not None
        assert shears_used(replace(needs, shears=known.shears), mats, bare)[0].max() > 1.0
        assert bare.mass < chosen.mass
    assert known.shears[0].asks.any()
    assert settled(known, needs, mats) == chosen


def settled(known: Known, needs: Needs, mats: SlabBars) -> Chosen:
    """The bars chosen by what is known."""
    before = known.shears
    _, chosen = known.least_of(needs, mats)
    assert chosen is not None
    for old, new in zip(before, known.shears, strict=True):
        assert (new.asks >= old.asks).all()
    return chosen


def test_bars_of_both_faces_fit_in_the_slab(needs: Needs, mats: SlabBars) -> None:
    """The four diameters and both covers take no more than the thickness; with less room smaller
    bars are chosen, and none where the smallest of the set do not fit."""
    known, prices = options(needs, mats), needs.choice.prices
    every = room(needs, mats)
    assert every == pytest.approx(0.300 - 0.055 - 0.050)
    chosen = least_of(known, prices, needs.area, every)
    assert chosen is not None
    wanted = sum(one.largest for one in chosen.layers.values())
    narrow = least_of(known, prices, needs.area, wanted - 0.001)
    assert narrow is None or sum(o.largest for o in narrow.layers.values()) < wanted
    assert least_of(known, prices, needs.area, 4 * 0.012) is None


def test_shear_asks_nothing_of_bars_that_do_not_fit(needs: Needs, mats: SlabBars) -> None:
    """In a slab so thin that the largest bars of the set do not lie beside each other depths are
    those beside the largest that do, and bars that fit beside none are asked for nothing."""
    shears = sheared(needs, mats, 1.05)
    twelve = Bars(0.012, 0.1)
    small = {face: replace(mats.mat(face), x=twelve, y=twelve) for face in FACES}
    taken = sum(mat.cover for mat in small.values()) + 2 * 0.012 + 0.020
    for inner, seen in ((0.017, True), (0.011, False)):
        slab = SlabBars(taken + inner, small["top"], small["bottom"])
        trial = Trial(replace(needs, shears=(shears,)), slab, BOTTOM_X)
        assert (trial._asked(0.020).most > 0.0) is seen


def mass(needs: Needs, mats: SlabBars) -> float:
    chosen = least_steel(needs, mats)
    assert chosen is not None
    again = least_steel(needs, mats)
    assert again == chosen
    return chosen.mass


@pytest.mark.slow
def test_more_is_never_had_for_less(needs: Needs, mats: SlabBars) -> None:
    """Larger least areas, fewer diameters or spacings and more cover under the same moments never
    lower the steel, priced by mass alone; the same is chosen each time."""
    least = mass(needs, mats)
    for layer in LAYERS:
        before = least
        for area in (800e-6, 1200e-6, 1800e-6):
            at = np.array([[2.4, 0.0], [3.6, 0.5]])
            floor = Floor(at=at, areas=np.full(2, area))
            beside = mass(replace(needs, floors={layer: floor}), mats)
            everywhere = mass(replace(needs, floors={layer: Floor(everywhere=area)}), mats)
            assert before <= beside * (1 + 1e-9)
            assert beside <= everywhere * (1 + 1e-9)
            before = beside
    for diameters, spacings in (((0.012, 0.016), needs.choice.spacings), ((0.016,), (0.1, 0.2))):
        fewer = replace(needs.choice, diameters=diameters, spacings=spacings)
        assert least <= mass(replace(needs, choice=fewer), mats) * (1 + 1e-9)
    for face in ("top", "bottom"):
        mat = mats.mat(face)
        thicker = mats.with_mat(face, replace(mat, cover=mat.cover + 0.010))
        assert least <= mass(needs, thicker) * (1 + 1e-9)


@pytest.mark.slow
def test_prices_are_honoured(needs: Needs, mats: SlabBars) -> None:
    """The larger the price of a kind of variety, the less of it; none at prices above all steel."""
    kinds = {"diameter": [], "spacing": [], "zone": []}
    for price in (0.0, 0.5, 100.0):
        for kind, numbers in kinds.items():
            prices = replace(Prices(0.0, 0.0, 0.0), **{kind: price})
            chosen = least_steel(replace(needs, choice=replace(needs.choice, prices=prices)), mats)
            assert chosen is not None
            sets = [bars for one in chosen.layers.values() for bars in one.sets]
            count = {
                "diameter": len({bars.diameter for bars in sets}),
                "spacing": len({bars.spacing for bars in sets}),
                "zone": sum(one.added is not None for one in chosen.layers.values()),
            }
            numbers.append(count[kind])
    for numbers in kinds.values():
        assert numbers == sorted(numbers, reverse=True)
    assert kinds["diameter"][-1] == kinds["spacing"][-1] == 1
    assert kinds["zone"][-1] == 0
