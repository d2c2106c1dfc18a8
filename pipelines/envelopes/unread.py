"""Larger moments beside places of infinite moments, which are not read.

Nearer than one thickness to such a place a moment is what the mesh makes of it, and more on a finer
one. The value a thickness off stands for it. Where moments grow like ln r, as at a beam's hold,
a - b ln r has there the mean of the e thicknesses around; on a slab, where they fall off faster
further on, that is the mean of some two.
"""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.envelopes.peaks import Peak
from pipelines.model.responses import SolvedDeck
from pipelines.units import RESULT_SCALE
from plate.conventions import RESULTS

MOMENTS = [RESULTS.index(name) for name in ("m_x", "m_y", "m_xy")]
# Values nearer to each other are one and the same.
TIE = 1e-9


@dataclass(frozen=True, kw_only=True)
class Unread:
    """A moment beyond the governing one, within one thickness of a place of infinite moments.

    value : on this mesh, in `unit`; at_m : plan point.
    """

    result: str
    extreme: str
    unit: str
    value: float
    at_m: tuple[float, float]

    def entry(self) -> dict[str, Any]:
        """The value as an entry of summary.json."""
        return asdict(self)


def unread_moments(
    solved: SolvedDeck, envelope: TrafficEnvelope, peaks: Sequence[Peak]
) -> tuple[Unread, ...]:
    """What lies beyond the governing values of a case of traffic and is not read."""
    near = np.flatnonzero(~solved.readable)
    if not len(near):
        return ()
    extremes, plan = envelope.fields.extremes, solved.recovery.points.plan
    found = []
    for peak in peaks:
        if peak.component not in MOMENTS:
            continue
        values = (extremes.maximum if peak.sign > 0 else extremes.minimum)[peak.component, near]
        most = int(np.argmax(peak.sign * values))
        value = float(values[most]) * RESULT_SCALE[peak.component]
        if peak.sign * (value - peak.value) > TIE * abs(peak.value):
            x, y = plan[near[most]].tolist()
            found.append(
                Unread(
                    result=peak.result,
                    extreme=peak.extreme,
                    unit=peak.unit,
                    value=value,
                    at_m=(x, y),
                )
            )
    return tuple(found)
