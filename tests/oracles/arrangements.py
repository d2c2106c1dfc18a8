"""Every arrangement of a load model, one after the other."""

from itertools import product

import numpy as np
from scipy import sparse

from pipelines.deck.deck import Deck
from pipelines.model.position_blocks import position_load
from pipelines.model.responses import SolvedDeck
from pipelines.traffic.lanes import strip_shares
from pipelines.traffic.positions import Loads
from pipelines.traffic.pressure_cells import pressure_cells
from pipelines.traffic.trains import model_trains


def every_arrangement(deck: Deck, solved: SolvedDeck) -> tuple[np.ndarray, np.ndarray]:
    """Extremes of the probes over every arrangement, each tried: all pairs of single positions."""
    assert deck.traffic is not None
    [model] = deck.traffic.load_models
    n = solved.probes.rows.shape[0]
    trains = model_trains(deck, model)
    edges, cells = pressure_cells(deck)
    # By reciprocity: the program solves for the loads, here the rows are the loads.
    influence = solved.stiffness.solve(sparse.csc_array(solved.probes.rows.T))

    def under(loads: Loads) -> np.ndarray:
        """Values (n_load, n)."""
        F = position_load(solved.model, loads, slice(None))
        return np.asarray(F.T @ influence[: F.shape[0]])

    pressed = [under(strip) for strip in cells]
    # every single position with its offset and lane kind
    singles: list[list[tuple[float, np.ndarray]]] = []
    for kind in model.kinds:
        train = trains[kind.vehicles]
        mine = []
        for offset in train.offsets:
            for run in train.runs:
                # where nothing stands beside a vehicle its middle stands for all offsets
                there = run if model.one_lane else run.at_offset(offset)
                mine += [(float(offset), kind.factor * v) for v in under(there)]
            mine.append((float(offset), np.zeros(n)))  # no vehicle in the lane
        singles.append(mine)
    best = {1: np.zeros(n), -1: np.zeros(n)}
    for sign in (1, -1):
        adverse = np.array([sign * np.maximum(sign * u, 0.0).sum(axis=0) for u in pressed])
        base = model.pressure * adverse.sum(axis=0)
        lanes: list[list[tuple[float, np.ndarray]]] = []
        for kind, mine in zip(model.kinds, singles, strict=True):
            pressures = {at: np.zeros(n) for at, _ in mine}
            if kind.pressure:
                offsets = np.array([*pressures])
                shares = strip_shares(edges, offsets, kind.width, deck.traffic.carriageway)
                pressures = dict(zip(pressures, kind.pressure * (shares @ adverse), strict=True))
            lanes.append([(at, value + pressures[at]) for at, value in mine])
        for one in model.sets:
            for pick in product(*(lanes[k] for k in one.kinds)):
                order = np.argsort([y for y, _ in pick])
                y = [pick[i][0] for i in order]
                room = [model.kinds[one.kinds[i]].room for i in order]
                if any(y[i + 1] - y[i] < room[i] + room[i + 1] - 1e-6 for i in range(len(y) - 1)):
                    continue
                total = one.factor * sum((value for _, value in pick), np.zeros(n)) + base
                best[sign] = sign * np.maximum(sign * best[sign], sign * total)
    return best[1], best[-1]
