"""The reconciliation, step by step: from a hand strip's value to the plate's peak.

One assumption is changed at a time and the deck analysed again, with all wheels and with the patch
that the strip's rule implies until the last change. Each step is read twice: with the load position
and the place of the plate's peak held, and with the worst position and place searched again among
the same load positions. The mean over a width is a side branch, not a step. Traffic only,
characteristic.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any

import numpy as np

from pipelines.deck.deck import Deck
from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.findings.finding import Finding, without_centre_lines
from pipelines.findings.plate_values import MEAN_DEPTHS
from pipelines.findings.reconciliation.changes import Change, changes
from pipelines.findings.reconciliation.plates import ChangedDecks, Plate
from pipelines.findings.reconciliation.search import OVER_LINES, Place, Walk, start_walk
from pipelines.model.cache import ModelCache
from pipelines.strips.axle_widths import SoughtSection, strip_trains
from pipelines.strips.beam import moment_lines
from pipelines.strips.clearances import edge_distances
from pipelines.strips.deck_strip import strip_decks
from pipelines.strips.hand_strip import OWN_VALUE
from pipelines.strips.spring_supports import on_springs
from pipelines.strips.trains import (
    StripLoad,
    Train,
    bay_sagging,
    response,
    support_hogging,
)
from pipelines.traffic.arrangements import LoadPosition

# Kinds of findings that are reconciled, of each the largest; hogging where it counts.
KINDS = (("sagging",), ("edge",), ("face", "hogging"), ("transverse",), ("corner",))

# What each change is called, for strips along traffic and across it.
TITLES: Mapping[Change, tuple[str, str]] = MappingProxyType(
    {
        "width": ("finite width, side edges free", "finite length, joint edges free"),
        "plan": ("plan as built: skew, curve, taper", "plan as built: skew, curve, taper"),
        "zones": ("zones of other thickness", "zones of other thickness"),
        "others": ("edge beams and other lines along", "end lines and other lines across"),
        "bending": ("cross lines yield: their beams bend", "lines yield: the girders bend"),
        "shear": ("beams deform in shear", "beams deform in shear"),
        "torsion": ("beams resist twisting", "beams resist twisting"),
        "composite": ("beams act with the slab", "beams act with the slab"),
        "slab": ("slab cracked or orthotropic", "slab cracked or orthotropic"),
        "spread": ("wheels spread as in the deck file", "wheels spread as in the deck file"),
    }
)
EXACT = (
    "exact plate of infinite width on rigid lines",
    "exact plate of infinite length on rigid lines",
)


@dataclass(frozen=True, kw_only=True)
class Step:
    """One value of the walk, in N m/m with the sign of the finding.

    title : what changed; held, searched : the value with position and place held, not a number
    where there is none, and searched again. error : numerical tolerance of both. position, at :
    load position of the leading vehicle and plan point of the searched value; None for the hand
    strip's.
    """

    title: str
    held: float
    searched: float
    error: float
    position: LoadPosition | None = None
    at: tuple[float, float] | None = None


@dataclass(frozen=True, kw_only=True)
class Reconciliation:
    """Walk of one finding, forward and with the changes in the other order.

    mean, mean_width : the plate's mean over the strip's width, or over three thicknesses where no
        strip has one, a side branch of the last step.
    patch : loaded sides of the heaviest wheel along and across traffic in every step before the
        wheels are spread as in the deck file [m].
    closing : what the models of the walk, with wider cells far away, differ by from the main
        analysis at the last step; part of each step's tolerance.
    springs : the hand strip's vehicle over the strip's mean width, on lines that yield as the
        beams under that width do; None where they do not, or where no beam says how.
    """

    finding: Finding
    forward: tuple[Step, ...]
    reverse: tuple[Step, ...]
    mean: float
    mean_width: float
    springs: float | None
    patch: tuple[float, float]
    closing: float

    def of(self, finding: Finding) -> "Reconciliation":
        """The same walk for its finding with the tolerance that is stated of it."""
        tolerance = finding.plate.error or 0.0
        share = tolerance / abs(finding.plate.peak)

        def stated(steps: tuple[Step, ...]) -> tuple[Step, ...]:
            first, *between, last = steps
            wider = (
                replace(one, error=max(share * max(abs(one.held), abs(one.searched)), self.closing))
                for one in between
            )
            # the walk stops at the plate's peak itself
            return (first, *wider, replace(last, error=tolerance))

        forward, reverse = stated(self.forward), stated(self.reverse)
        return replace(self, finding=finding, forward=forward, reverse=reverse)

    def entry(self) -> dict[str, Any]:
        """The walk in the units of summary.json (m, kNm/m)."""

        def step(one: Step) -> dict[str, Any]:
            position = one.position
            return {
                "title": one.title,
                "held_kNm_m": 1e-3 * one.held,
                "searched_kNm_m": 1e-3 * one.searched,
                "error_kNm_m": 1e-3 * one.error,
                "station_m": None if position is None else position.station,
                "offset_m": None if position is None else position.offset,
                "direction": None if position is None else position.direction,
                "at_m": None if one.at is None else list(one.at),
            }

        return {
            "reference": self.finding.reference,
            "place": self.finding.section.place,
            "effect": self.finding.section.effect,
            "load": self.finding.load,
            "strip": self.finding.hand.strip,
            "clause": self.finding.hand.clause,
            "steps": [step(one) for one in self.forward],
            "reverse_order": [step(one) for one in self.reverse],
            "mean_kNm_m": 1e-3 * self.mean,
            "mean_width_m": self.mean_width,
            "patch_m": list(self.patch),
            "closing_difference_kNm_m": 1e-3 * self.closing,
            "strip_on_springs_kNm_m": None if self.springs is None else 1e-3 * self.springs,
        }


def governing_findings(findings: Sequence[Finding]) -> list[Finding]:
    """The governing place of each kind that is walked and each direction of the strip, by the
    plate's peak, with the strip that the run is about; worst first. Under load models where there
    are any, else under the vehicles that drive alone. At an obtuse corner the walk starts from a
    strip without a moment."""
    whole = any(finding.whole_model for finding in findings)
    counted = without_centre_lines(findings)
    found = []
    for bars in ("parallel", "across"):
        for kinds in KINDS:
            rows = [
                finding
                for finding in counted
                if finding.section.kind in kinds
                and finding.bars == bars
                and finding.hand.chosen
                and (
                    finding.ratio is not None
                    or (finding.section.kind == "corner" and finding.hand.value is not None)
                )
                and not finding.overhangs
                and finding.whole_model == whole
            ]
            if rows:
                most = max(abs(row.plate.peak) for row in rows)
                found.append(next(row for row in rows if abs(row.plate.peak) == most))
    return sorted(found, key=lambda one: one.ratio or 0.0)


def reconcile(
    deck: Deck,
    traffic: Sequence[TrafficEnvelope],
    findings: Sequence[Finding],
    models: ModelCache | None = None,
) -> tuple[Reconciliation, ...]:
    """Walks of the given findings, one each, or none on a plan that cannot be straightened.

    deck : asks for the mesh that the findings are of (`BuiltModel.asked_for`), so that the plate's
    numerical tolerance can be taken from the findings: cells beside the section are those of the
    main analysis. models : where equal models are found.
    """
    if not findings or not deck.plan.is_mapped:
        return ()  # openings and lines anywhere cannot be straightened with the plan
    models = ModelCache() if models is None else models
    found = []
    for strip in strip_decks(deck):
        mine = [finding for finding in findings if finding.bars == strip.bars]
        walks = [start_walk(deck, strip, envelope_of(traffic, one), one) for one in mine]
        decks = ChangedDecks(walks, models)
        found += [_walked(walk, decks).of(walk.finding) for walk in walks]
    return tuple(sorted(found, key=lambda walk: findings.index(walk.finding)))


def envelope_of(traffic: Sequence[TrafficEnvelope], finding: Finding) -> TrafficEnvelope:
    """The envelope of the case of traffic that a finding is under."""
    for envelope in traffic:
        if finding.load in (envelope.of_vehicles if not envelope.whole else (envelope.name,)):
            return envelope
    raise LookupError(f"no case of traffic is called {finding.load}")


def _walked(walk: Walk, decks: ChangedDecks) -> Reconciliation:
    """All steps in both orders, without what the tolerance of the finding adds."""
    found = changes(walk.deck, walk.strip, walk.spreads)
    peak = walk.finding.plate.peak
    last = frozenset(found.forward)
    states: dict[frozenset[Change], tuple[float, float, Place, tuple[float, float]]] = {}
    plates: dict[frozenset[Change], Plate] = {}
    for order in (found.forward, found.reverse):
        for k in range(len(order) + 1):
            done = frozenset(order[:k])
            if done in states:
                continue
            shape = done - {"spread"}
            if shape not in plates:
                plates[shape] = Plate(walk, decks, shape)
            plate, spread = plates[shape], "spread" in done
            value, place, at = plate.searched(spread)
            held = plate.held(spread)
            states[done] = (held, value, place, at)
    closing = max(abs(value - peak) for value in states[last][:2])

    def steps(order: Sequence[Change]) -> tuple[Step, ...]:
        words = [EXACT[not walk.along], *(TITLES[c][not walk.along] for c in order)]
        walked = [_strip_step(walk)]
        for k, title in enumerate(words):
            done = frozenset(order[:k])
            held, value, place, at = states[done]
            if done == last:
                held = value = peak
                at = walk.finding.plate.at
            position = _position(walk, place, "width" in done)
            walked.append(
                Step(
                    title=title, held=held, searched=value, error=closing, position=position, at=at
                )
            )
        return tuple(walked)

    width = walk.finding.plate.mean_width
    heaviest = max(range(len(walk.patches)), key=lambda k: walk.vehicle.axles[k].load)
    return Reconciliation(
        finding=walk.finding,
        forward=steps(found.forward),
        reverse=steps(found.reverse),
        mean=walk.finding.plate.mean if width else walk.finding.plate.depth_mean,
        mean_width=width or MEAN_DEPTHS * walk.strip.depth,
        springs=_on_springs(walk) if "bending" in found.forward else None,
        patch=walk.patches[heaviest],
        closing=closing,
    )


def _position(walk: Walk, place: Place, finite: bool) -> LoadPosition:
    """The load position as printed; on an infinite plate the place across the strip means
    nothing."""
    station, offset = place.station, place.offset
    if not finite and walk.along:
        offset = np.nan
    elif not finite:
        station = np.nan
    return LoadPosition(
        vehicle=walk.vehicle.name, direction=place.direction, station=station, offset=offset
    )


def _strip_step(walk: Walk) -> Step:
    """The hand strip, at the plate's place and load position and at its own worst; under a load
    model, whose lanes share the strip in another way than they stand on the plate, and of a user's
    own value only the last.
    """
    finding = walk.finding
    assert finding.hand.value is not None
    title = f"hand strip: {finding.hand.strip}, {finding.hand.clause}"
    if finding.whole_model or finding.hand.clause == OWN_VALUE:
        return Step(title=title, held=float("nan"), searched=finding.hand.value, error=0.0)
    edge = None
    if finding.section.kind == "edge":
        name = finding.section.place.split()[0]
        distances = edge_distances(walk.deck, walk.strip, walk.vehicle, name)
        edge = distances[walk.strips.edge_from]
    bays: tuple[int, ...] = (walk.bay,)
    s = walk.s
    if walk.support is not None:
        bays = tuple(i for i in (walk.support - 1, walk.support) if i in walk.strip.bays)
        s = walk.s if walk.off else walk.strip.beam.supports[walk.support].at
    trains = strip_trains(
        walk.strip, walk.vehicle, walk.strips, SoughtSection(bays, walk.support, edge)
    )
    lines = moment_lines(walk.strip.beam, [s], "right")
    place = walk.place
    station = place.station - walk.lean(place.offset) if walk.along else place.offset
    values = [float(response(lines, train, place.direction).at(station)[0, 0]) for train in trains]
    held = walk.share * max(values, key=lambda v: walk.sign * v)
    return Step(title=title, held=held, searched=finding.hand.value, error=0.0)


def _on_springs(walk: Walk) -> float | None:
    """The beam's moment over the strip's own width, on lines that yield as their beams do."""
    finding = walk.finding
    if finding.whole_model or finding.hand.width is None or not walk.along:
        return None
    if finding.section.kind not in ("sagging", *OVER_LINES):
        return None
    strip = on_springs(walk.deck, walk.strip, walk.t, finding.hand.width)
    if strip is None:
        return None
    beam = strip.beam
    train = Train(
        tuple(
            StripLoad(axle.at, axle.load * walk.vehicle.impact, patch[0], finding.hand.width)
            for axle, patch in zip(walk.vehicle.axles, walk.patches, strict=True)
        )
    )
    if walk.support is None:
        return bay_sagging(beam, walk.bay, train).value
    return support_hogging(beam, walk.support, train, walk.off).value
