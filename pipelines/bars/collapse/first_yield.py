"""The multiplier at which bars first yield by the elastic slab, at one load position."""

from dataclasses import dataclass

import numpy as np

from pipelines.deck.deck import Deck
from pipelines.model.case_responses import case_responses
from pipelines.model.responses import SolvedDeck
from pipelines.standards.actions.combinations import Combination
from pipelines.standards.resistance.bars import Face
from pipelines.traffic.positions import WheelPatches
from plate.arrays import Floats
from plate.loads.loads import patch_loads
from plate.plastic.slab import Resistances


@dataclass(frozen=True)
class FirstYield:
    """multiplier : of the traffic, 0 where permanent loads alone reach the bars' resistance. at :
    in plan [m]. face : whose bars yield."""

    multiplier: float
    at: tuple[float, float]
    face: Face


def yield_multipliers(permanent: Floats, live: Floats, resistance: Floats) -> Floats:
    """The least multipliers (n,) at which permanent + multiplier live reaches a resistance, all
    (n, 2, 2) tensors: infinite where it never does, 0 where permanent alone does."""
    left = resistance - permanent
    values, vectors = np.linalg.eigh(left)
    holds = values.min(axis=1) > 0.0
    root = np.where(holds[:, None], values, 1.0) ** -0.5
    white = vectors * root[:, None, :]
    most = np.linalg.eigvalsh(np.einsum("nik,nij,njl->nkl", white, live, white)).max(axis=1)
    found = np.where(most > 0.0, 1.0 / np.where(most > 0.0, most, 1.0), np.inf)
    return np.where(holds, found, 0.0)


def first_yield(
    deck: Deck, factors: Combination, patches: WheelPatches, resistances: Resistances
) -> FirstYield:
    """Under patches of traffic in plan, by the moments of the elastic deck where they are to be
    read: not within a thickness of places of infinite moments, hogging where it counts over
    supports."""
    solved = SolvedDeck.of(deck)
    model = solved.model
    fields = np.zeros((3, solved.recovery.points.n_points, 2))
    for name, response in case_responses(solved).items():
        action = deck.combined_cases.get(name)
        if action is not None:
            fields[..., 0] += factors.permanent[action][0] * response.fields[1:4, :, 0]
    live = patch_loads(model.mesh, patches.corners, patches.load, patches.position, 1)
    fields[..., 1] = solved.respond(live).fields[1:4, :, 0]
    both = np.stack([fields[[0, 2]], fields[[2, 1]]])
    permanent, once = both.transpose(3, 2, 0, 1)
    points = solved.recovery.points.plan
    below, above = resistances(np.repeat(points[:, None], 3, axis=1))
    found: list[FirstYield] = []
    faces: tuple[tuple[Face, Floats, float], ...] = (("bottom", below, 1.0), ("top", above, -1.0))
    for face, resistance, sign in faces:
        read = solved.readable if face == "bottom" else solved.hogging_readable
        multipliers = yield_multipliers(sign * permanent, sign * once, resistance)
        k = int(np.argmin(np.where(read, multipliers, np.inf)))
        at = (float(points[k, 0]), float(points[k, 1]))
        found.append(FirstYield(float(multipliers[k]), at, face))
    return min(found, key=lambda one: one.multiplier)
