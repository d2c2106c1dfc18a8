"""Rates a load model: all its lanes and distributed loads multiplied by one factor.

The forms that design moments are made of are enveloped over all arrangements of its lanes once,
with the share of the distributed loads of every combination; a multiplier is found of them as of a
vehicle. Shear is judged at the arrangements that a run holds for it.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from pipelines.bars.adequacy import Check
from pipelines.bars.demand.governing_index import FixedArrangement
from pipelines.bars.demand.load_models import forms_of
from pipelines.bars.rating.moments import Moments, moment_multiplier
from pipelines.bars.rating.multipliers import Multiplier, Rated
from pipelines.bars.rating.rater import Rater
from pipelines.bars.rating.shear import ShearOfVehicle
from pipelines.envelopes.traffic import watched_envelopes
from pipelines.model.fixed_loads import FixedLoads
from pipelines.model.position_blocks import stream
from pipelines.standards.actions.load_models import for_bars
from pipelines.standards.actions.loads import LoadModel
from pipelines.traffic.arrangements import Arrangement
from plate.arrays import Floats


def rated_model(rater: Rater, model: LoadModel) -> list[Rated]:
    """A load model by every standard whose bars are checked under it."""
    watch = rater.watch
    bases = enumerate(rater.bases)
    counting = [k for k, basis in bases if for_bars(model, basis.materials.standard)]
    if not counting:
        return []
    traffic = replace(watch.deck.required_traffic, vehicles=(), load_models=(model,))
    alone = replace(watch.deck, traffic=traffic)
    watched = watch.of_model(model)
    assert watched is not None
    [envelope] = watched_envelopes(rater.solved.of_deck(alone), model, watched)
    every = np.arange(len(rater.plan))
    of_share = {
        share: Moments.of(every, [watch.moments.model_blocks(0, fields)])
        for share, fields in forms_of(envelope).items()
    }
    found = []
    for k in counting:
        multipliers = []
        for limit in rater.limits[k]:
            moments = of_share[limit.tracker.combination.share]
            one = moment_multiplier(limit, moments, limit.at)
            multipliers.append(rater.of_moment(limit, one, envelope.position))
            if limit.check is Check.BENDING:
                rater.take_short(limit, moments)
        guess = min((m.value for m in multipliers if m.ultimate), default=1.0)
        multipliers += _of_shear(rater, k, watch.held(envelope, k), guess)
        multipliers += rater.punching(k, alone, (), (envelope,))
        n = envelope.n_positions
        found.append(rater.of_standard(k, model, multipliers, n))
    return found


def _of_shear(
    rater: Rater, k: int, held: Sequence[FixedArrangement], guess: float
) -> list[Multiplier]:
    trackers = {key: one for key, one in rater.trackers.items() if key[0] == k}
    if not held or not trackers:
        return []
    loads = FixedLoads("arrangements held for shear", [one.loads for one in held])
    blocks: dict[tuple[int, int], list[Floats]] = {key: [] for key in trackers}
    for _, response, _ in stream(rater.solved, [loads], lambda _, response: response.fields):
        for key, (tracker, _) in trackers.items():
            blocks[key].append(tracker.factored(response))

    def standing(number: int) -> Arrangement | None:
        return None if number < 0 else held[number].position

    found = []
    for key, (tracker, width) in trackers.items():
        one = ShearOfVehicle.of(tracker, np.concatenate(blocks[key], axis=2), width).multiplier(
            guess
        )
        if one is not None:
            found.append(rater.of_shear(tracker, one, standing))
    return found
