"""What is stated of every probe under a case of traffic, each probe by itself.

A probe is read from its own influence surfaces, under all load positions and under its worst load
(`envelopes.traffic.probe_envelopes`, `worst_envelope`): what is stated of it depends on the plate
and the traffic, and on no other probe.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from pipelines.accuracy.tolerances import Tolerances, Yardsticks, probe_tolerances
from pipelines.accuracy.worst_envelope import (
    WorstEnvelope,
    probes_with_worst_loads,
    stepped,
)
from pipelines.deck.deck import Probe
from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.envelopes.traffic import probe_envelopes
from pipelines.model.responses import SolvedDeck


@dataclass(frozen=True, eq=False, kw_only=True)
class StatedProbe:
    """A probe under a case of traffic.

    names : of the probe, and of it on both sides where the slab is divided there. envelope : of its
    results alone; tolerances : of its results alone.
    """

    names: tuple[str, ...]
    envelope: TrafficEnvelope
    tolerances: Tolerances


def stated_probes(
    solved: SolvedDeck,
    worst: Sequence[WorstEnvelope],
    probes: Sequence[Probe],
    measured: Yardsticks | None,
) -> list[tuple[StatedProbe, ...]]:
    """Of every probe what is stated under each case of traffic, whose envelopes `worst` are.

    measured : None leaves every stated error empty, and values as the steps of the load positions
    give them.
    """
    if not worst:
        return [() for _ in probes]
    ones = [solved.of_probe(probe) for probe in probes]
    found = []
    for case in worst:
        envelopes = probe_envelopes(ones, case.envelope.model)
        if measured is None:
            found.append(list(map(stepped, ones, envelopes)))
        else:
            found.append(probes_with_worst_loads(ones, envelopes, case.of_steps.largest))
    every = solved.of_deck(replace(solved.deck, probes=tuple(probes)))
    there = None if measured is None else measured.reading(every)
    tolerances = probe_tolerances(every, found, there)
    return [
        tuple(
            StatedProbe(names=one.probes.names, envelope=case.envelope, tolerances=stated)
            for case, stated in zip(own, of_probe, strict=True)
        )
        for one, own, of_probe in zip(
            ones, zip(*found, strict=True), zip(*tolerances, strict=True), strict=True
        )
    ]
