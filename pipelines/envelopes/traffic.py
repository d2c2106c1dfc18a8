"""Envelopes of the cases of traffic: whole load models, several lanes at once with their
distributed loads, and vehicles that drive alone, which are load models of one lane.

Lanes act independently of each other: each takes its own worst station, and a distributed load
acts on the cells whose response has the sign sought. So every train is run once along every
offset, every cell is loaded once, and the worst arrangement of lanes is put together for each
result at each place from these (`lanes`). What coexists is the sum of what coexists in each part.
"""

from collections.abc import Callable, Sequence

from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.envelopes.extremes import HOST
from pipelines.envelopes.lane_extremes import Watched
from pipelines.envelopes.traffic_case import Arrangements, Observer, Strip, TrafficCase
from pipelines.errors import JobError
from pipelines.model.position_blocks import ahead, in_blocks, position_load, read_blocks
from pipelines.model.responses import SolvedDeck
from pipelines.standards.actions.loads import LoadModel
from pipelines.traffic.trains import load_count
from plate.solver.stiffness import BLOCK
from plate.threads import one_thread


def traffic_envelopes(
    solved: SolvedDeck,
    *,
    workers: int | None = None,
    progress: Callable[[str, int, int], None] | None = None,
    observers: Sequence[Observer] = (),
    watched: Callable[[LoadModel], Watched | None] = lambda _: None,
) -> tuple[TrafficEnvelope, ...]:
    """Envelopes of every case of the deck's traffic: load models first, then vehicles alone.

    Raises JobError for a load model of which no arrangement stands on the carriageway.

    progress : called with the name of a case, the number of its loads done and of all of them.
    observers : called with each block's first load position and its response, in order, where
    vehicles drive alone; watched : what else is enveloped under a load model.
    """
    deck = solved.deck
    if deck.traffic is None:
        return ()
    found = []
    for model in deck.traffic.cases:
        there = load_count(deck, model) if progress is not None else 0
        beside = watched(model) if model.whole else None
        mine = () if model.whole else observers
        # What bars read of every load position they read on the host.
        card = solved.on_card if beside is None and not mine else None
        like, size = (HOST, BLOCK) if card is None else (card.like, card.block)
        job = TrafficCase(solved, model, beside, like=like)
        early = ahead(job.runs, job.abreast[: len(job.runs)], size)
        for first, reached in read_blocks(solved, early, job.reached, workers, card):
            job.know(first, reached)
        blocks = in_blocks(job.loads, job.abreast, size)
        for first, (part, response) in read_blocks(solved, blocks, job.reader(mine), workers, card):
            job.take(first, part)
            if response is not None:
                for observe in mine:
                    observe(first, response)
            if progress is not None:
                progress(model.name, first + part.n_loads, there)
        if job.loads:
            if card is not None:
                job.fetched(card.fetch)
            envelope = job.envelope()
            if model.whole and not len(envelope.arrangements):
                low, high = deck.traffic.carriageway
                raise JobError(
                    f"no arrangement of the lanes of {model.name} that loads the slab stands on a "
                    f"carriageway of {high - low:g} m with these clearances: widen [traffic] "
                    "carriageway_m, or leave edge_clearance_m and offsets_m to the load model"
                )
            found.append(envelope)
    return tuple(found)


def watched_envelopes(
    solved: SolvedDeck,
    model: LoadModel,
    watched: Watched,
    closed: Sequence[Strip | None] = (None,),
) -> list[TrafficEnvelope]:
    """Envelopes of what is watched under a load model, without the results, from one run of its
    loads: for each strip of the carriageway that of the arrangements of which no vehicle's room
    reaches into the strip, None = of all.

    Raises ValueError if nothing ever stands beside the model's vehicles: their offsets are not told
    apart then.
    """
    if model.one_lane and any(strip is not None for strip in closed):
        raise ValueError(f"{model.name} has one lane")
    apart = any(strip is not None for strip in closed)
    job = TrafficCase(solved, model, watched, results=False, apart=apart)
    early = ahead(job.runs, job.abreast[: len(job.runs)])
    for first, reached in read_blocks(solved, early, job.reached, 1):
        job.know(first, reached)
    for first, part in read_blocks(solved, in_blocks(job.loads, job.abreast), job.read, 1):
        job.take(first, part)
    found = []
    for strip in closed:
        job.closed, job.table = strip, Arrangements(None)
        found.append(job.envelope())
    return found


def probe_envelopes(ones: Sequence[SolvedDeck], model: LoadModel) -> list[TrafficEnvelope]:
    """Envelopes of a case of traffic of plates of which a probe alone is read each
    (`SolvedDeck.of_probe`), without fields, beams and reactions.

    A solution for every result of a probe tells it under all load positions. Each probe is solved
    and read by itself, so that its values do not depend on the others.
    """
    if not ones:
        return []
    with one_thread:
        jobs = [TrafficCase(one, model, None, fields=False) for one in ones]
        for first, run, part in in_blocks(jobs[0].loads, jobs[0].abreast):
            F = position_load(ones[0].model, run, part)
            for job in jobs:
                job.take(first, job.read(first, job.probes_under(F)))
        return [job.envelope() for job in jobs]
