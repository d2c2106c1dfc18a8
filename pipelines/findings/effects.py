"""What a run found of each effect of the strip that it is about: where it decides, and why.

An effect is short where the strip is short at any of its places: the place with the largest share
is told, and beside it the largest value of the plate. Places where the plate has little are told
apart, because shares of little say little. Nothing is told to hold without what the plate has in
other places, or without a strip.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from typing import Any

from pipelines.findings.back_figured_widths import BackWidth
from pipelines.findings.finding import Finding, Verdict, chosen, without_centre_lines
from pipelines.findings.left_out import LeftOut, beyond
from pipelines.findings.reconciliation.walk import EXACT, TITLES, Reconciliation
from pipelines.standards.strip_widths.method import Bars
from pipelines.strips.sections import AT_FACES

# Of the largest plate value of an effect: below it a value is small.
SMALL = 0.2
# Of the largest of a component: below it a value that no strip is compared with is not told.
NOTHING = 0.02
# Of the plate's peak: a range over the stiffness of the beams from which they are a reason.
BEND = 0.1
# Of the plate's peak: steps of a walk below it carry nothing.
STEP = 0.02
JOINTS, SIDES = ("start", "end"), ("left", "right")


class State(Enum):
    """What is told of an effect, in the words that are printed."""

    SHORT = "short"
    EVEN = "no difference"
    HOLDS = "holds"
    NO_LESS = "no less, single vehicle"
    NOT_COMPARABLE = "not comparable"


@dataclass(frozen=True, eq=False, kw_only=True)
class EffectFinding:
    """One effect of the strip.

    effect : its name. row : the finding that decides it: the largest shortfall, else the place
    nearest to one, else the plate's largest value that no strip is compared with.
    largest : the finding at the plate's largest value, None where that is `row`. small : the worst
    shortfall among small values, where only those are short. beyond : what the plate has of the
    same kind in another place above the strip's value. reason : why it is short or not comparable.
    """

    effect: str
    state: State
    row: Finding
    largest: Finding | None = None
    small: Finding | None = None
    beyond: Finding | LeftOut | None = None
    reason: str = ""

    def entry(self) -> dict[str, Any]:
        """The effect in the units of summary.json; `findings` and `left_out` have the rest by
        reference and zone."""
        beyond = self.beyond
        return {
            "effect": self.effect,
            "finding": self.state.value,
            "reference": self.row.reference,
            "strip": self.row.hand.strip,
            "strip_over_plate": self.row.ratio,
            "largest": None if self.largest is None else self.largest.reference,
            "small_short": None if self.small is None else self.small.reference,
            "more_elsewhere": beyond.reference if isinstance(beyond, Finding) else None,
            "more_without_a_strip": beyond.zone if isinstance(beyond, LeftOut) else None,
            "reason": self.reason,
        }


def effect_of(finding: Finding) -> str:
    """The effect that a finding belongs to."""
    along, edge = finding.bars == "parallel", finding.section.edge
    side, joint = "side edges", "joint edges"
    of_edge = joint if edge in JOINTS else side if edge in SIDES else "edges"
    match finding.section.kind:
        case "sagging":
            return "sagging in bays"
        case "hogging" | "face":
            if finding.overhangs:
                return f"hogging at {joint if along else side}"
            return "hogging over lines"
        case "joint" | "joint face":
            return f"hogging at {joint if along else side}"
        case "edge" | "end edge":
            return f"sagging along {of_edge}"
        case "edge hogging" | "edge face":
            return f"hogging beside {of_edge}"
        case "transverse":
            return "across, under wheels"
        case "over line":
            return "sagging over lines"
        case "corner":
            return "hogging at obtuse corners"
        case "shear":
            return "shear beside lines"


ORDER = (
    *("sagging in bays", "sagging over lines", "hogging over lines", "hogging at obtuse corners"),
    *("sagging along joint edges", "hogging at joint edges", "hogging beside joint edges"),
    *("sagging along side edges", "hogging at side edges", "hogging beside side edges"),
    *("sagging along edges", "hogging beside edges"),
    *("across, under wheels", "shear beside lines"),
)


def effect_findings(
    findings: Sequence[Finding],
    left_out: Sequence[LeftOut],
    walks: Sequence[Reconciliation],
    widths: Sequence[BackWidth],
) -> tuple[EffectFinding, ...]:
    """Every effect of the strip that a run is about, under load models where there are any, else
    under the vehicles that drive alone; findings : worst first."""
    counted = without_centre_lines(chosen(findings))
    whole = any(finding.whole_model for finding in counted)
    groups: dict[tuple[str, Bars], list[Finding]] = {}
    for finding in governing_at_places([one for one in counted if one.whole_model == whole]):
        groups.setdefault((effect_of(finding), finding.bars), []).append(finding)
    both = len({bars for _, bars in groups}) > 1
    found = []
    for (effect, bars), rows in sorted(groups.items(), key=lambda one: ORDER.index(one[0][0])):
        named = f"{effect}, bars {_ways(bars)}" if both else effect
        one = _judged(named, rows, counted, left_out, walks, widths)
        if one.state is not State.NOT_COMPARABLE or _is_something(one.row, counted):
            found.append(one)
    return tuple(found)


def governing_at_places(findings: Sequence[Finding]) -> list[Finding]:
    """Of every place the finding under the load that makes most there: what a section is designed
    for, a lighter load that a strip is short for governs nothing."""
    most: dict[tuple[object, ...], float] = {}

    def key(finding: Finding) -> tuple[object, ...]:
        section = finding.section
        return section.kind, section.place, section.component, section.sign, finding.bars

    for one in findings:
        most[key(one)] = max(most.get(key(one), 0.0), _size(one))
    return [one for one in findings if _size(one) == most[key(one)]]


def _is_something(finding: Finding, findings: Sequence[Finding]) -> bool:
    """Whether the plate's value is more than next to nothing beside others of its component."""
    same = [one for one in findings if one.section.component == finding.section.component]
    return _size(finding) >= NOTHING * max(map(_size, same))


def _ways(bars: Bars) -> str:
    return "along" if bars == "parallel" else "across"


def _judged(
    effect: str,
    rows: Sequence[Finding],
    findings: Sequence[Finding],
    left_out: Sequence[LeftOut],
    walks: Sequence[Reconciliation],
    widths: Sequence[BackWidth],
) -> EffectFinding:
    compared = [row for row in rows if row.ratio is not None]
    if not compared:
        row = max(rows, key=_size)
        return EffectFinding(
            effect=effect, state=State.NOT_COMPARABLE, row=row, reason=row.hand.reason
        )
    most = max(compared, key=_size)
    counted = [row for row in compared if _size(row) >= SMALL * _size(most)]
    short = [row for row in counted if row.is_short]
    small = min((row for row in compared if row.is_short), key=_ratio, default=None)
    more = beyond(most, findings, left_out)
    if isinstance(more, Finding) and more in rows:
        more = None
    if short:
        row = min(short, key=_ratio)
        largest = None if row is most or _same(row, most) else most
        reason = why_short(row, walks, widths)
        return EffectFinding(
            effect=effect, state=State.SHORT, row=row, largest=largest, beyond=more, reason=reason
        )
    row = min(counted, key=_ratio)
    even = any(one.verdict is Verdict.EVEN for one in counted)
    state = State.EVEN if even else State.HOLDS if row.whole_model else State.NO_LESS
    return EffectFinding(effect=effect, state=state, row=row, small=small, beyond=more)


def _size(finding: Finding) -> float:
    return abs(finding.plate.peak)


def _ratio(finding: Finding) -> float:
    return 0.0 if finding.ratio is None else finding.ratio


def _same(one: Finding, other: Finding) -> bool:
    """Whether two findings say the same: by mirrored places."""
    return abs(_ratio(one) - _ratio(other)) < 1e-3 and abs(
        _size(one) - _size(other)
    ) < 1e-3 * _size(other)


def why_short(
    finding: Finding, walks: Sequence[Reconciliation], widths: Sequence[BackWidth]
) -> str:
    """Why a strip is short at a finding, from what the run found about it: the step from strip to
    plate that carries most, else what the place says."""
    match finding.section.kind:
        case "edge" | "edge hogging" | "edge face" | "end edge":
            return "free edge: nothing beyond it shares the load" + _width(finding, widths)
        case "corner":
            return "obtuse corner: the skew plate is held down there"
    return (
        carrying_step(finding, walks)
        or _beams_bend(finding)
        or f"distribution{_width(finding, widths)}"
    )


def _beams_bend(finding: Finding) -> str:
    """How much of the plate's value hangs on the beams' stiffness, where that is much."""
    span = finding.plate.beam_range
    if span is None or max(span) - min(span) < BEND * _size(finding):
        return ""
    low, high = (1e-3 * v for v in span)
    return f"beams bend: {low:.3g} to {high:.3g} {finding.unit} with them twice and half as stiff"


def _width(finding: Finding, widths: Sequence[BackWidth]) -> str:
    """The width that the plate has beside that of the strip, where both are known."""
    for one in widths:
        mine = (one.place, one.vehicle, one.kind)
        if mine == (finding.section.place, finding.load, finding.section.kind):
            used = [width for name, width in one.codes if name.startswith(finding.hand.strip)]
            if used:
                return f"; {one.by_peak:.3g} m of slab carry it, the strip takes {used[0]:.3g} m"
    return ""


def steps(walk: Reconciliation) -> list[tuple[str, float]]:
    """What every step of a walk changes, [N m/m], those that carry nothing together last."""
    found, rest = [], 0.0
    least = STEP * abs(walk.finding.plate.peak)
    for before, step in zip(walk.forward, walk.forward[1:], strict=False):
        change = step.searched - before.searched
        if abs(change) >= least:
            found.append((step.title, change))
        else:
            rest += change
    return [*found, ("all others", rest)] if rest else found


def same_walk(walk: Reconciliation, finding: Finding) -> bool:
    """Whether a walk is of the kind of a finding: over lines at their faces or centre lines."""
    mine, its = (
        AT_FACES.get(one.section.kind, one.section.kind) for one in (finding, walk.finding)
    )
    return (mine, finding.bars) == (its, walk.finding.bars)


def carrying_step(finding: Finding, walks: Sequence[Reconciliation]) -> str:
    """The step of the walk of that kind that brings most of the difference, in words."""
    for walk in walks:
        if same_walk(walk, finding):
            sign = 1.0 if walk.finding.plate.peak > 0.0 else -1.0
            carried = _edges_as_they_are(steps(walk))
            title, change = max(carried, key=lambda one: sign * one[1], default=("", 0.0))
            if sign * change > 0.0:
                title = title if title not in EXACT else "distribution, on rigid lines already"
                signed = f"{1e-3 * change:+.3g}".replace("-", "−")
                return f"{title} ({signed} {finding.unit} of {walk.finding.section.place})"
    return ""


def _edges_as_they_are(walked: list[tuple[str, float]]) -> list[tuple[str, float]]:
    """Steps with the one to free edges and the one that gives these their lines as one: edges that
    the deck does not have explain nothing."""
    changed = dict(walked)
    for free, lines in zip(TITLES["width"], TITLES["others"], strict=True):
        if free in changed and lines in changed:
            both = f"{free.partition(',')[0]}, with {lines}"
            rest = [(title, change) for title, change in walked if title not in (free, lines)]
            return [(both, changed[free] + changed[lines]), *rest]
    return walked
