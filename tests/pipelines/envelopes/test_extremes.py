"""Running extremes: what is left unformed changes none of them."""

import numpy as np

from pipelines.envelopes.extremes import FieldTracker, Tracker
from pipelines.traffic.lanes import TIE
from plate.solver.solution import Combined

POINTS, LOADS, FEW, BLOCKS = 40, 24, 5, 6


def test_extremes_of_what_is_put_together_from_few_are_those_of_all_that_is_formed() -> None:
    """Blocks that rise and fall, so that most of the later ones lie within earlier extremes: the
    same extremes, numbers and coexisting values, with a part of the rows formed."""
    rng = np.random.default_rng(2)
    points = np.arange(POINTS)
    few, all_formed = FieldTracker(POINTS), FieldTracker(POINTS)
    for k in range(BLOCKS):
        size = 1.0 + np.sin(1.3 * k)
        weights = np.vstack([np.ones(LOADS), 0.2 * rng.standard_normal((FEW - 1, LOADS))])
        found = Combined(size * rng.standard_normal((6, POINTS, FEW)), weights)
        formed = Combined(found.of_loads, None)
        few.take(few.seen(points, found, found, LOADS * k))
        all_formed.take(all_formed.seen(points, formed, formed, LOADS * k))
    one, other = few.envelope(), all_formed.envelope()
    np.testing.assert_array_equal(one.extremes.at_maximum, other.extremes.at_maximum)
    np.testing.assert_array_equal(one.extremes.at_minimum, other.extremes.at_minimum)
    for a, b in (
        (one.extremes.maximum, other.extremes.maximum),
        (one.extremes.minimum, other.extremes.minimum),
        (one.with_maximum, other.with_maximum),
        (one.with_minimum, other.with_minimum),
    ):
        np.testing.assert_allclose(a, b, rtol=0, atol=1e-13)
    # Had a bound been too low, the extremes would differ: each row is beaten somewhere.
    assert len(np.unique(one.extremes.at_maximum // LOADS)) > 2


def test_what_positions_to_come_reach_leaves_more_out_and_changes_nothing() -> None:
    """A rising sequence, of which none of the first lies within what came before: looked at
    beforehand by every third position, the same extremes are found from a part of the values. A
    value that comes twice, and one larger by half a tie, keep the number of the first."""
    rng = np.random.default_rng(3)
    points, weights = np.arange(POINTS), np.vstack([np.ones(LOADS), 0.1 * np.eye(4, LOADS)])
    blocks = [
        Combined((1.0 + k) * np.abs(rng.standard_normal((6, POINTS, FEW))), weights)
        for k in range(BLOCKS)
    ]
    blocks[-1] = Combined(blocks[-2].values * (1.0 + 0.5 * TIE), weights)
    informed, plain = FieldTracker(POINTS), FieldTracker(POINTS)
    for block in blocks:
        some = Combined(block.values, weights[:, ::3])
        informed.know(informed.reached(points, some))
    for k, block in enumerate(blocks):
        for tracker in (informed, plain):
            tracker.take(tracker.seen(points, block, block, LOADS * k))
    one, other = informed.envelope(), plain.envelope()
    for a, b in (
        (one.extremes.at_maximum, other.extremes.at_maximum),
        (one.extremes.at_minimum, other.extremes.at_minimum),
    ):
        np.testing.assert_array_equal(a, b)
    # Rows are put together with others or by themselves: rounding.
    np.testing.assert_allclose(one.extremes.maximum, other.extremes.maximum, rtol=1e-14)
    np.testing.assert_allclose(one.with_maximum, other.with_maximum, rtol=1e-13, atol=1e-13)
    every = 6 * POINTS * LOADS * BLOCKS
    assert informed.formed + informed.left_out == plain.formed + plain.left_out == every
    assert informed.formed < 0.6 * plain.formed
    assert (one.extremes.at_maximum < LOADS * (BLOCKS - 1)).all()


def test_rivals_share_limits_and_the_worse_of_both_is_as_by_themselves() -> None:
    """What a vehicle makes within another's extremes, in whose place it may stand, is not found:
    the larger of both, its number and what coexists stay, and more is left out."""
    rng = np.random.default_rng(4)
    points, weights = np.arange(POINTS), np.vstack([np.ones(LOADS), 0.1 * np.eye(4, LOADS)])
    blocks = [
        [Combined(size * rng.standard_normal((6, POINTS, FEW)), weights) for _ in range(BLOCKS)]
        for size in (1.0, 0.8)
    ]
    first, plain = FieldTracker(POINTS), FieldTracker(POINTS)
    rival = FieldTracker(POINTS, limits=first.limits)
    for trackers, own in (((first,), blocks[0]), ((rival, plain), blocks[1])):
        for k, block in enumerate(own):
            for tracker in trackers:
                tracker.take(tracker.seen(points, block, block, LOADS * k))
    assert rival.left_out > plain.left_out
    for sign in (1, -1):
        beyond = sign * plain.best[sign] > sign * first.best[sign] + TIE * np.abs(first.best[sign])
        assert 0.1 < beyond.mean() < 0.9
        for name in ("best", "at"):
            found, alone = getattr(rival, name)[sign], getattr(plain, name)[sign]
            np.testing.assert_allclose(found[beyond], alone[beyond], rtol=1e-14)
        assert (sign * rival.best[sign] <= sign * plain.best[sign] * (1.0 + TIE)).all()
        kept = np.broadcast_to(beyond[:, None], rival.coexisting[sign].shape)
        np.testing.assert_allclose(
            rival.coexisting[sign][kept], plain.coexisting[sign][kept], rtol=1e-12, atol=1e-12
        )


def test_every_lane_has_extremes_of_its_own() -> None:
    """Positions abreast of each other, at some of the points in another order: of each lane the
    extremes, numbers and coexisting values are those of its own positions, and so are those of
    results that are no fields, some after the other."""
    rng = np.random.default_rng(5)
    lanes, stations = 3, 4
    points = rng.permutation(POINTS)
    tracker, plain = FieldTracker(POINTS, 2, 3, lanes), Tracker(2 * POINTS, lanes)
    fields = rng.standard_normal((2, POINTS, BLOCKS, lanes, stations))
    beside = rng.standard_normal((3, POINTS, BLOCKS, lanes, stations))
    for k in range(BLOCKS):
        mine, other = (of[:, points, k].reshape(len(of), POINTS, -1) for of in (fields, beside))
        first = lanes * stations * k
        seen = tracker.seen(points, Combined(mine, None), Combined(other, None), first)
        tracker.take(seen)
        block = fields[:, :, k].reshape(2 * POINTS, -1)
        plain.take(plain.seen([block[:7], block[:0], block[7:]], first))
    # (field, point, lane, position in the order of its number)
    every = fields.transpose(0, 1, 3, 2, 4).reshape(2, POINTS, lanes, -1)
    others = beside.transpose(0, 1, 3, 2, 4).reshape(3, POINTS, lanes, -1)
    for sign in (1, -1):
        best = (sign * every).argmax(axis=-1)
        number = lanes * best + np.arange(lanes)
        top = np.maximum(sign * np.take_along_axis(every, best[..., None], axis=-1)[..., 0], 0.0)
        assert (top > 0.0).all()
        np.testing.assert_array_equal(tracker.best[sign], sign * top)
        np.testing.assert_array_equal(tracker.at[sign], number)
        there = np.take_along_axis(others[None], best[:, None, ..., None], axis=-1)[..., 0]
        np.testing.assert_array_equal(tracker.coexisting[sign], there)
        np.testing.assert_array_equal(plain.best[sign], sign * top.reshape(-1, lanes))
        np.testing.assert_array_equal(plain.at[sign], number.reshape(-1, lanes))
