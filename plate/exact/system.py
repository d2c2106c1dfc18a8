"""The interval equations of Lévy's method: loads cut into intervals, conditions at their ends."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from plate.arrays import Floats
from plate.exact.common import Patch, sine_coefficients
from plate.exact.lines import Line

Terms = Mapping[int, Floats | float]


@dataclass(frozen=True, kw_only=True)
class Intervals:
    """A plate cut across at its lines and at the sides of its loads.

    nodes : (s + 1,) ends of the intervals [m]; at : the line on a node, if any;
    pressure : (modes, s) sine coefficients of the load [N/m2]; force : (modes, s + 1) of line
    loads on the nodes [N/m]; loads : the patches over each interval with their force per metre
    of y [N/m].
    """

    nodes: Floats
    at: dict[int, Line]
    pressure: Floats
    force: Floats
    loads: tuple[tuple[tuple[Patch, float], ...], ...]

    def find(self, y: Floats) -> NDArray[np.intp]:
        """The interval of each y, the upper one on a node."""
        i = np.searchsorted(self.nodes, y, side="right") - 1
        return np.asarray(np.clip(i, 0, len(self.nodes) - 2))

    def node(self, line: Line) -> int:
        """The node on a line."""
        return int(np.argmin(np.abs(self.nodes - line.y)))


def cut(a: float, alpha: Floats, lines: Sequence[Line], patches: Sequence[Patch]) -> Intervals:
    """Cut a plate of length a at lines and loads; LoadError for a patch that reaches outside."""
    ends = [line.y for line in lines]
    low, high = ends[0], ends[-1]
    for patch in patches:
        patch.check((0.0, a), (low, high))
        for y in (patch.y - patch.b / 2.0, patch.y + patch.b / 2.0):
            if min(abs(y - end) for end in ends) > 1e-12 * (high - low):
                ends.append(y)
    nodes = np.array(sorted(ends))
    force = np.zeros((len(alpha), len(nodes)))
    pressure = np.zeros((len(alpha), len(nodes) - 1))
    loads: list[list[tuple[Patch, float]]] = [[] for _ in nodes[1:]]
    middle = (nodes[:-1] + nodes[1:]) / 2.0
    for patch in patches:
        term = patch.load * sine_coefficients(alpha, a, patch.x, patch.a)
        if patch.b == 0.0:
            force[:, np.argmin(np.abs(nodes - patch.y))] += term
            continue
        for i in np.flatnonzero(np.abs(middle - patch.y) < patch.b / 2.0):
            pressure[:, i] += term / patch.b
            loads[i].append((patch, patch.load / patch.b))
    at = {int(np.argmin(np.abs(nodes - line.y))): line for line in lines}
    return Intervals(
        nodes=nodes,
        at=at,
        pressure=pressure,
        force=force,
        loads=tuple(tuple(item) for item in loads),
    )


@dataclass(frozen=True)
class Condition:
    """Sum of jumps (upper minus lower side) and of values at a node, each times a factor, = right.

    Beyond an edge every quantity is zero. The keys are rows of the state.
    """

    jumps: Terms = field(default_factory=dict)
    values: Terms = field(default_factory=dict)
    right: Floats | float = 0.0


def solve(
    cuts: Intervals,
    states: Callable[[int, int], tuple[Floats, Floats]],
    conditions: Callable[[int, bool], list[Condition]],
) -> Floats:
    """Coefficients (modes, s, functions) of the solutions without load on each interval.

    states(node, interval) : states of its functions (rows, modes, functions) and of its load
    (rows, modes); conditions(node, inside) : as many as the node's sides have functions, by half.
    """
    last = len(cuts.nodes) - 1
    width = states(0, 0)[0].shape[-1]
    modes = len(cuts.force)
    matrix = np.zeros((modes, width * last, width * last))
    right = np.zeros((modes, width * last))
    row = 0
    for node in range(last + 1):
        around = [(sign, i) for sign, i in ((-1, node - 1), (1, node)) if 0 <= i < last]
        sides = [(sign, i, *states(node, i)) for sign, i in around]
        for condition in conditions(node, len(sides) == 2):
            right[:, row] = condition.right
            terms = [(side, side[0], condition.jumps) for side in sides]
            terms.append((sides[-1], 1, condition.values))
            for (_, i, functions, load), sign, factors in terms:
                columns = slice(width * i, width * (i + 1))
                for quantity, factor in factors.items():
                    scale = sign * np.broadcast_to(factor, modes)
                    matrix[:, row, columns] += scale[:, None] * functions[quantity]
                    right[:, row] -= scale * load[quantity]
            size = np.max(np.abs(matrix[:, row]), axis=1)
            matrix[:, row] /= size[:, None]
            right[:, row] /= size
            row += 1
    found = np.linalg.solve(matrix, right[..., None])[..., 0]
    return np.asarray(found.reshape(modes, last, width), np.float64)
