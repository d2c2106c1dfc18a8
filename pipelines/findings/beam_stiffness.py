"""The finding against the stiffness of what carries the slab: from rigid lines to soft beams.

The governing sagging and hogging are sought again at every stiffness, among the load positions of
the deck file, with the slab uncracked and cracked. Hand strips stand on rigid lines and do not
change, so each has a stiffness at which its finding flips, or none.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from pipelines.accuracy.worst_envelope import with_worst_loads
from pipelines.caution import CAUTION
from pipelines.deck.deck import Deck, Line
from pipelines.deck.variants import with_bending_factor, with_slab_factors
from pipelines.envelopes.traffic import traffic_envelopes
from pipelines.errors import JobError
from pipelines.findings.compare import strip_findings
from pipelines.findings.finding import Finding
from pipelines.findings.reconciliation.changes import Change, changes
from pipelines.findings.reconciliation.plates import ChangedDecks, Plate
from pipelines.findings.reconciliation.search import OVER_LINES, Walk, start_walk
from pipelines.findings.reconciliation.walk import envelope_of, governing_findings
from pipelines.model.build import build_model
from pipelines.model.cache import ModelCache
from pipelines.model.job_size import check_job_size
from pipelines.model.responses import SolvedDeck
from pipelines.strips.deck_strip import StripDeck, strip_decks
from plate.arrays import Floats

# Values of EI_b / (D L) that are tried.
RATIOS = tuple(float(v) for v in np.geomspace(0.3, 1000.0, 12))


@dataclass(frozen=True)
class Curve:
    """The plate's value over the beams' stiffness, for one state of the slab [N m/m].

    share : of the slab's stiffness in the deck file. values : (n,) at the ratios; rigid : on rigid
    lines; own : with the beams as they are.
    """

    share: float
    values: Floats
    rigid: float
    own: float


@dataclass(frozen=True, kw_only=True)
class Sweep:
    """A governing value over EI_b / (D L), D of the slab as in the deck file, L the strip's span.

    finding : the row that is swept, of the run's strip. ratios : (n,) in rising order; own : of
    the deck. strips : name and value [N m/m] of every hand strip at the place; marks : of each.
    """

    finding: Finding
    ratios: Floats
    own: float
    curves: tuple[Curve, ...]
    strips: tuple[tuple[str, float], ...]
    marks: Mapping[str, str]

    @property
    def load(self) -> str:
        """The load in words."""
        return self.finding.load if self.finding.whole_model else f"{self.finding.load} alone"

    def flip(self, strip: float, curve: Curve) -> float | None:
        """EI_b / (D L) at which plate and strip are equal; None where they never are."""
        excess = np.abs(np.append(curve.values, curve.rigid)) - abs(strip)
        at = np.append(np.log(self.ratios), np.log(self.ratios[-1]) + 1.0)
        change = np.flatnonzero(np.sign(excess[:-1]) != np.sign(excess[1:]))
        if not len(change):
            return None
        k = int(change[-1])
        share = excess[k] / (excess[k] - excess[k + 1])
        return float(np.exp(at[k] + share * (at[k + 1] - at[k])))

    def words(self, strip: float, curve: Curve) -> str:
        """Where the strip is short, in words."""
        short = abs(strip) < np.abs(curve.values)
        flip = self.flip(strip, curve)
        if flip is None:
            return "short at every stiffness" if short.all() else "not short at any stiffness"
        side = "below" if short[0] else "above"
        beyond = " (between the stiffest tried and rigid)" if flip > self.ratios[-1] else ""
        return f"short where EI/(D L) is {side} {flip:.3g}{beyond}"

    def entry(self) -> dict[str, Any]:
        """The sweep in kNm/m."""
        finding = self.finding
        return {
            "place": finding.section.place,
            "effect": finding.section.effect,
            "load": finding.load,
            "caution": CAUTION,
            "EI_over_DL": self.ratios.tolist(),
            "own_EI_over_DL": self.own,
            "marks": dict(self.marks),
            "strips_kNm_m": {name: 1e-3 * value for name, value in self.strips},
            "states": [
                {
                    "slab_stiffness_share": curve.share,
                    "plate_kNm_m": (1e-3 * curve.values).tolist(),
                    "rigid_kNm_m": 1e-3 * curve.rigid,
                    "own_kNm_m": 1e-3 * curve.own,
                    "flip_EI_over_DL": {n: self.flip(v, curve) for n, v in self.strips},
                }
                for curve in self.curves
            ],
        }


def sweep(deck: Deck, cracked: float, ratios: Sequence[float] = RATIOS) -> tuple[Sweep, ...]:
    """Sweeps of the governing sagging and hogging of every direction of the strip.

    cracked : stiffness of the cracked slab as a share of the uncracked.

    Raises JobError for a deck without traffic, strips, or beams below its strip, and for too large
    a job.
    """
    check_job_size(deck)
    solved = SolvedDeck.of(replace(deck, cases=(), probes=()))
    # With the worst load positions of a run, so that it is the bay of the run that is swept.
    traffic = [with_worst_loads(solved, one).envelope for one in traffic_envelopes(solved)]
    if not traffic:
        raise JobError("a sweep needs vehicles or load models in [traffic]")
    findings, reason = strip_findings(solved, traffic)
    if not findings:
        raise JobError(f"a sweep needs a hand strip: {reason}")
    wanted = [
        finding
        for finding in governing_findings(findings)
        if finding.section.kind in ("sagging", *OVER_LINES)
    ]
    built = build_model(deck)
    strips = {strip.bars: strip for strip in strip_decks(deck)}
    found = []
    for one in wanted:
        strip = strips[one.bars]
        own = stiffness_ratio(deck, strip, one)
        if own is None:
            continue
        walk = start_walk(built.asked_for(deck), strip, envelope_of(traffic, one), one)
        curves = tuple(_curve(walk, solved.models, share, own, ratios) for share in (1.0, cracked))
        rows = [
            row
            for row in findings
            if (row.section.kind, row.section.place, row.load, row.bars)
            == (one.section.kind, one.section.place, one.load, one.bars)
        ]
        values = tuple((row.hand.strip, row.hand.value) for row in rows if row.hand.value)
        marks = {row.hand.strip: row.hand.mark for row in rows}
        found.append(
            Sweep(
                finding=one,
                ratios=np.array(ratios),
                own=own,
                curves=curves,
                strips=values,
                marks=marks,
            )
        )
    if not found:
        raise JobError("no beam carries the strip: there is no stiffness to sweep")
    return tuple(found)


def stiffness_ratio(deck: Deck, strip: StripDeck, finding: Finding) -> float | None:
    """EI_b / (D L) of the deck: mean of the beams that carry the strip, D of the slab along it, L
    the span at the finding's place; None without beams."""
    beams = [line.beam for line in _carrying(deck, strip) if line.beam is not None]
    if not beams:
        return None
    EI = float(np.mean([beam.E * beam.I for beam in beams]))
    names = [support.name for support in strip.beam.supports]
    low, high = strip.beam.bay(min(names.index(finding.section.lines[0]), len(names) - 2))
    return EI / (float(np.max(strip.beam.EI)) * (high - low))


def _carrying(deck: Deck, strip: StripDeck) -> list[Line]:
    names = {support.name for support in strip.beam.supports}
    return [line for line in deck.lines if line.name in names and line.beam is not None]


def _curve(
    walk: Walk, models: ModelCache, share: float, own: float, ratios: Sequence[float]
) -> Curve:
    """The plate's worst value at every stiffness of the beams that carry the strip."""
    # "slab" keeps the share even where the deck file's own slab is uncracked.
    whole = frozenset({*changes(walk.deck, walk.strip, walk.spreads).forward, "slab"})
    deck = with_slab_factors(walk.deck, (share, share, share))
    names = tuple(line.name for line in _carrying(walk.deck, walk.strip))

    def value(done: frozenset[Change], factor: float) -> float:
        one = replace(walk, deck=with_bending_factor(deck, factor, names))
        plate = Plate(one, ChangedDecks([one], models), done - {"spread"})
        return plate.searched(True)[0]

    values = np.array([value(whole, ratio / own) for ratio in ratios])
    rigid = value(whole - {"bending", "shear", "composite"}, 1.0)
    return Curve(share, values, rigid, value(whole, 1.0))
