"""Every arrangement of a load model, one after the other."""

from itertools import product

import numpy as np

from pipelines.deck.deck import Deck
from pipelines.model.position_blocks import position_load
from pipelines.model.responses import SolvedDeck
from pipelines.traffic.lanes import strip_shares
from pipelines.traffic.pressure_cells import pressure_cells
from pipelines.traffic.trains import model_trains


def every_arrangement(deck: Deck, solved: SolvedDeck) -> tuple[np.ndarray, np.ndarray]:
    """Extremes of the probes over every arrangement, each tried: all pairs of single positions."""
    assert deck.traffic is not None
    [model] = deck.traffic.load_models
    rows = solved.probes.rows
    trains = model_trains(deck, model)
    edges, cells = pressure_cells(deck)
    under = [
        rows @ solved.stiffness.solve(position_load(solved.model, strip, slice(None)))
        for strip in cells
    ]
    best = {1: np.zeros(rows.shape[0]), -1: np.zeros(rows.shape[0])}
    # every single position with its offset and lane kind
    singles: list[list[tuple[float, np.ndarray]]] = []
    for kind in model.kinds:
        train = trains[kind.vehicles]
        mine = []
        for offset in train.offsets:
            for run in train.runs:
                # where nothing stands beside a vehicle its middle stands for all offsets
                there = run if model.one_lane else run.at_offset(offset)
                F = position_load(solved.model, there, slice(None))
                U = solved.stiffness.solve(F)
                mine += [(float(offset), kind.factor * v) for v in (rows @ U).T]
            mine.append((float(offset), np.zeros(rows.shape[0])))  # no vehicle in the lane
        singles.append(mine)
    for sign in (1, -1):
        adverse = np.array([sign * np.maximum(sign * u, 0.0).sum(axis=1) for u in under])
        base = model.pressure * adverse.sum(axis=0)
        for one in model.sets:
            for pick in product(*(singles[k] for k in one.kinds)):
                order = np.argsort([y for y, _ in pick])
                y = [pick[i][0] for i in order]
                room = [model.kinds[one.kinds[i]].room for i in order]
                if any(y[i + 1] - y[i] < room[i] + room[i + 1] - 1e-6 for i in range(len(y) - 1)):
                    continue
                total = np.zeros(rows.shape[0])
                for (at, value), k in zip(pick, one.kinds, strict=True):
                    kind = model.kinds[k]
                    total = total + value
                    if kind.pressure:
                        share = strip_shares(
                            edges, np.array([at]), kind.width, deck.traffic.carriageway
                        )[0]
                        total = total + kind.pressure * (share @ adverse)
                total = one.factor * total + base
                best[sign] = sign * np.maximum(sign * best[sign], sign * total)
    return best[1], best[-1]
