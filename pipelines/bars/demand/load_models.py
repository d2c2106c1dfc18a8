"""What bars and shear need of the load models.

The forms that design moments are made of add up, so each takes the worst arrangement of lanes at
every point, as the results do (`modelenvelopes`). The principal shear does not add up. Its
components in a few directions do: the arrangements that are worst for those, beside every line,
are held, solved as one load each, and judged like load positions.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from pipelines.bars.demand.control_sections import Sections
from pipelines.bars.demand.edge_layer import MOMENTS
from pipelines.bars.demand.governing_index import FixedArrangement
from pipelines.bars.demand.moments import MomentEnvelopes
from pipelines.bars.demand.shear import ShearTracker
from pipelines.deck.reinforcement import Reinforcement
from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.envelopes.extremes import Extremes, FieldEnvelope
from pipelines.envelopes.governing_loads import governing_loads
from pipelines.envelopes.lane_extremes import Fields, Read, Reader
from pipelines.model.responses import Response, SolvedDeck
from pipelines.standards.actions.combinations import combinations
from pipelines.standards.actions.load_models import for_bars
from pipelines.standards.actions.loads import LoadModel
from pipelines.traffic.joints import model_joint_factors
from plate.arrays import Floats, Ints
from plate.conventions import RESULTS
from plate.results.functionals import component_rows
from plate.results.places import deepest
from plate.solver.solution import Combined, LocalRows

# Name of the set of fields of `MomentEnvelopes.forms`.
FORMS = "forms"
# Directions in which shears are enveloped, from x towards y [rad].
DIRECTIONS = np.radians([0.0, 45.0, 90.0, 135.0])
# Beside a line every stretch of the judged width has a candidate of its own, where its shear is at
# least this share of the largest; the worst of each side of each line always has.
WORTH = 0.6


@dataclass(frozen=True, eq=False)
class ShearForms:
    """Means of the shear in each of `DIRECTIONS` over some widths, at the sections' samples.

    rows : (2 n, n_dof) q_x, then q_y at the samples; means : for each width (n, n).
    Forms are numbered by width, direction and sample.
    """

    sections: Sections
    widths: tuple[float, ...]
    rows: sparse.csr_array
    means: tuple[sparse.csr_array, ...]

    @classmethod
    def of(cls, solved: SolvedDeck, sections: Sections, widths: Sequence[float]) -> "ShearForms":
        """Forms of a deck's sections."""
        places, n = deepest(solved.model.mesh, sections.points), len(sections.points)
        shears = [
            component_rows(solved.model, places, [RESULTS.index(name)] * n)
            for name in ("q_x", "q_y")
        ]
        rows = sparse.csr_array(sparse.vstack(shears, format="csr"))
        return cls(sections, tuple(widths), rows, tuple(sections.means(w) for w in widths))

    def of_shears(self, q_x: Floats, q_y: Floats) -> Iterator[Floats]:
        """Forms (n, k) of shears (n, k), of one width and direction after the other."""
        for mean in self.means:
            x, y = mean @ q_x, mean @ q_y
            for angle in DIRECTIONS:
                yield np.cos(angle) * x + np.sin(angle) * y

    def form_rows(self, forms: Ints) -> sparse.csr_array:
        """Rows (k, n_dof) of some forms."""
        n, shape = len(self.sections.points), (len(self.widths), len(DIRECTIONS))
        w, d, sample = np.unravel_index(forms, (*shape, n))
        means = sparse.csr_array(sparse.vstack(self.means))[w * n + sample]
        turned = [sparse.diags_array(f(DIRECTIONS)[d]) @ means for f in (np.cos, np.sin)]
        return sparse.csr_array(sparse.csr_array(sparse.hstack(turned)) @ self.rows)


def forms_of(envelope: TrafficEnvelope) -> dict[float, FieldEnvelope]:
    """Share of the distributed loads -> envelope of `MomentEnvelopes.forms` with it."""
    return {share: fields for (name, share), fields in envelope.more.items() if name == FORMS}


class ModelWatch:
    """What is enveloped for bars and shear under one load model.

    beams : rows (n, n_dof) of the beams' forms, whose values come before those of the shear.
    shares : of the distributed loads beside the axles, None = those of the combinations.
    """

    def __init__(
        self,
        one: Reinforcement,
        model: LoadModel,
        moments: MomentEnvelopes,
        shear: ShearForms | None,
        beams: sparse.csr_array | None,
        shares: Sequence[float] | None = None,
    ) -> None:
        self.moments, self.shear = moments, shear
        self._n_beams = 0 if beams is None else beams.shape[0]
        rows = [*([] if beams is None else [beams]), *([] if shear is None else [shear.rows])]
        self._read = LocalRows(sparse.csr_array(sparse.vstack(rows))) if rows else None
        factors = [basis.materials.factors for basis in one.bases]
        mine = [f for f in factors if for_bars(model, f.standard)]
        used = [c for f in mine for c in combinations(f) if c.traffic]
        self.shares: Sequence[float] = sorted({c.share for c in used}) if shares is None else shares
        membrane = moments.membrane
        joined = membrane is not None and membrane.rows is not None
        self.fields: Mapping[str, Fields] = {
            FORMS: Fields(moments.n_forms, 6 if joined else 3, self._reader)
        }

    def _reader(self, response: Response) -> Reader:
        membrane, layer = self.moments.membrane, self.moments.layer
        own = None if membrane is None else membrane.own(response)
        further_in = None if layer is None else layer.further_in(response)

        def of_loads(points: Ints, moments: Floats) -> Read:
            """With what is the loads' own besides."""
            if layer is not None and further_in is not None:
                moments = layer.without(points, moments, further_in)
            if own is None:
                fields, beside = self.moments.forms(moments, None), moments
            else:
                here = own[:, points]
                fields, beside = self.moments.forms(moments, here), np.concatenate([moments, here])
            return points, Combined(fields, None), Combined(beside, None)

        def read(points: Ints, results: Combined) -> Iterator[Read]:
            moments = results.of(results.values[MOMENTS])
            adds = np.full(len(points), own is not None)
            if own is None and layer is not None:
                adds = layer.holds(points)
            if adds.any():
                some = moments.of(moments.values[:, adds])
                yield of_loads(points[adds], some.of_loads)
                points, moments = points[~adds], moments.of(moments.values[:, ~adds])
            if len(points):
                yield points, moments.of(self.moments.forms(moments.values, None)), moments

        return read

    def values(self, response: Response) -> Iterator[Floats]:
        """Forms of the beams, then those of the shear, (n, k) after (n, k)."""
        if self._read is None:
            return
        found = self._read.of(response.solution)
        beams, q_x, q_y = np.split(found, [self._n_beams, (self._n_beams + len(found)) // 2])
        yield beams
        if self.shear is not None:
            yield from self.shear.of_shears(q_x, q_y)


def held_for_shear(
    solved: SolvedDeck,
    envelope: TrafficEnvelope,
    extremes: Extremes,
    shear: ShearForms,
    tracker: ShearTracker,
    always: NDArray[np.bool_],
) -> list[FixedArrangement]:
    """Arrangements of a load model that may govern shear, each as one load.

    extremes : of the forms of the shear. always : (n,) samples whose stretches have a candidate of
    their own however small their shear is, as they are judged by bars of their own.
    """
    forms, signs, numbers = _candidates(extremes, shear, tracker, always)
    if not len(forms):
        return []
    samples = forms % len(shear.sections.points)
    joint = model_joint_factors(solved.deck, envelope.model, shear.sections.points[samples])
    rows = shear.form_rows(forms)
    loads = governing_loads(solved, envelope, rows, signs, numbers, joint)
    contacts = envelope.wheels_of(numbers.tolist(), contacts=True)
    found = []
    for number, load, own in zip(numbers.tolist(), loads, contacts, strict=True):
        position = envelope.position(number)
        assert position is not None
        found.append(FixedArrangement(position, load, own))
    return found


def _candidates(
    extremes: Extremes, shear: ShearForms, tracker: ShearTracker, always: NDArray[np.bool_]
) -> tuple[Ints, Ints, Ints]:
    """Forms, signs and numbers of the arrangements that are worth a solution, each once."""
    n = len(shear.sections.points)
    shape = (len(shear.widths), len(DIRECTIONS), n)
    _, _, _, q_x, q_y = tracker.permanent[0][:5, :, None]
    steady = np.stack([*shear.of_shears(q_x, q_y)]).reshape(shape)
    factor = tracker.combination.traffic
    high = steady + factor * extremes.maximum.reshape(shape)
    low = -steady - factor * extremes.minimum.reshape(shape)
    value = np.maximum(high, low)
    sign = np.where(high >= low, 1, -1)
    number = np.where(
        sign > 0, extremes.at_maximum.reshape(shape), extremes.at_minimum.reshape(shape)
    )
    worth = np.where(number >= 0, value, 0.0)
    found: dict[int, tuple[int, int]] = {}
    for w, worths in enumerate(worth):
        least = WORTH * worths.max()
        for group, stretches in _groups(shear.sections, max(shear.widths)):
            for d, mine in enumerate(worths):
                worthy = (s for s in stretches if mine[s].max() >= least or always[s].any())
                tops = [s[mine[s].argmax()] for s in worthy]
                tops.append(group[mine[group].argmax()])
                for k in tops:
                    if mine[k] > 0:
                        form = int(np.ravel_multi_index((w, d, k), shape))
                        found.setdefault(int(number[w, d, k]), (form, int(sign[w, d, k])))
    forms, signs = (np.array([pair[i] for pair in found.values()], dtype=np.int64) for i in (0, 1))
    return forms, signs, np.array([*found], dtype=np.int64)


def _groups(sections: Sections, length: float) -> list[tuple[Ints, list[Ints]]]:
    """Samples beside each side of each line, and those of its stretches of a length [m]."""
    found = []
    for line in range(len(sections.names)):
        for side in (-1, 1):
            group = np.flatnonzero((sections.line == line) & (sections.side == side))
            if not len(group):
                continue
            stretches = []
            for piece in np.unique(sections.piece[group]):
                mine = group[sections.piece[group] == piece]
                extent = np.linalg.norm(sections.points[mine[-1]] - sections.points[mine[0]])
                count = max(int(np.ceil(extent / max(length, 1e-9))), 1)
                stretches += np.array_split(mine, min(count, len(mine)))
            found.append((group, stretches))
    return found
