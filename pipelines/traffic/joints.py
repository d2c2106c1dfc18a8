"""Where expansion joints raise the results under load models."""

import numpy as np

from pipelines.deck.deck import Deck
from pipelines.standards.actions.load_models import joint_factor
from pipelines.standards.actions.loads import LoadModel
from plate.arrays import Floats


def joint_factors(deck: Deck, plan: Floats) -> Floats:
    """Factors (n,) on results at plan points (n, 2) [m]: 1 away from the expansion joints that the
    traffic names."""
    joints = () if deck.traffic is None else deck.traffic.joints
    u, (low, high) = deck.plan.logical_station(plan), deck.plan.u_range
    gaps = [u - low if edge == "start" else high - u for edge in joints]
    nearest = np.min(gaps, axis=0) if gaps else np.full(len(plan), np.inf)
    return np.array([joint_factor(float(gap)) for gap in nearest])


def model_joint_factors(deck: Deck, model: LoadModel, plan: Floats) -> Floats:
    """The same under a load model, 1 everywhere for one that joints do not raise."""
    return joint_factors(deck, plan) if model.near_joint else np.ones(len(plan))
