"""What a run found of each effect, in a line each: for the terminal and the first page."""

from collections.abc import Iterator, Sequence

from pipelines.analysis.result import Result
from pipelines.deck.deck import Deck
from pipelines.deck.words import at_text, line_title, place
from pipelines.envelopes.peaks import Peak
from pipelines.findings.effects import NOTHING, EffectFinding, State
from pipelines.findings.finding import CAUTION as ALONE
from pipelines.findings.finding import Finding
from pipelines.numbers import length, number
from pipelines.report.document import Link, Short, Strong, Table, Words, lines, table
from pipelines.report.sections.tables import over_width_words, tolerance
from pipelines.report.sections.words import SYMBOLS
from pipelines.standards.actions.load_models import family_of
from pipelines.strips.chosen import chosen_strip
from pipelines.traffic.arrangements import Arrangement

# In the order in which they are told.
STATES = list(State)


def finding_sentence(result: Result) -> str:
    """The finding of a run in a sentence."""
    if not result.findings:
        return f"no hand strip compared; {result.no_findings or 'there is none'}."
    found = result.effects
    judged = [one for one in found if one.state is not State.NOT_COMPARABLE]
    short = [one for one in judged if one.state is State.SHORT]
    names = _all(one.row.hand.strip for one in found if one.row.section.kind != "shear")
    loads = _all(_marked(one.row.load, one.row.load_mark) for one in found)
    whole = all(one.row.whole_model for one in found)
    if short:
        words = f"the strip by {names} is short in {len(short)} of {len(judged)} effects"
    elif whole:
        words = f"the strip by {names} holds in {len(judged)} of {len(judged)} effects"
    else:
        words = f"the strip by {names} is no less than the plate in {len(judged)} effects"
    if not judged:
        words = f"the strip by {names} can be compared in no effect"
    rest = len(found) - len(judged)
    if rest:
        words += f", {rest} not comparable"
    return f"{words}, under {loads}" + ("" if whole else f" ({ALONE})")


def strip_words(result: Result) -> str:
    """Which strip the findings are about, and why; "" without strips."""
    if not result.effects:
        return ""
    rows = [one.row for one in result.effects]
    row = next((row for row in rows if family_of(row.load) is not None), rows[0])
    chosen = chosen_strip(result.deck, row.load)
    marked = _marked(chosen.name, row.hand.mark)
    if chosen.stated is not None:
        return f"Strip: {marked}, {chosen.why}."
    along = "along the traffic" if row.bars == "parallel" else "across the traffic"
    return (
        f"Strip: {marked}, {along}{_from_line_to_line(result.deck, row)}; taken because "
        f"{chosen.why}. If the design stands on another, state it in [strip]."
    )


def _from_line_to_line(deck: Deck, row: Finding) -> str:
    """What a strip spans between, of a grid of lines of one kind; "" of others."""
    letter = "C" if row.bars == "parallel" else "L"
    kinds = {
        line_title(deck, line.name).removesuffix(f" {line.name}")
        for line in deck.lines
        if line.name[0] == letter and line.name[1:].isdigit()
    }
    return f" from {kind} to {kind}" if len(kinds) == 1 and (kind := kinds.pop()) else ""


def _marked(name: str, mark: str) -> str:
    return f"{name} ({mark})" if mark else name


def _all(words: Iterator[str]) -> str:
    return " and ".join(dict.fromkeys(word for word in words if word != "none"))


def effect_lines(result: Result) -> Iterator[str]:
    """Of each effect a line, then one for all that no strip is compared with."""
    alone = []
    for one in result.effects:
        if one.state is State.NOT_COMPARABLE:
            most = number(1e-3 * one.row.plate.peak)
            alone.append(f"{one.effect} {most} {one.row.unit} at {one.row.place}")
            continue
        yield f"{one.effect}: {verdict(one)} at {one.row.place} ({_values(one.row)})" + "".join(
            f"; {words}" for words in besides(one)
        )
    if alone:
        yield f"not comparable, the plate has: {'; '.join(alone)}"
    if not result.effects:
        yield from largest_moments(result)
    yield from not_judged(result)


def _values(row: Finding) -> str:
    assert row.hand.value is not None
    strip = number(1e-3 * row.hand.value)
    return f"plate {number(1e-3 * row.plate.peak)}, strip {strip} {row.unit}"


def verdict(one: EffectFinding) -> str:
    """The finding of an effect in few words."""
    match one.state:
        case State.SHORT:
            return one.row.words.removeprefix("strip ")
        case State.EVEN:
            return "no difference beyond the numerical tolerance"
        case State.HOLDS:
            return f"holds, least strip / plate {number(one.row.ratio or 0.0)},"
        case State.NO_LESS:
            return f"no less than the plate, least strip / plate {number(one.row.ratio or 0.0)},"
        case State.NOT_COMPARABLE:
            return "not comparable"


def besides(one: EffectFinding) -> Iterator[str]:
    """Why an effect is short or not comparable, and what else has to be known of it."""
    if one.reason:
        yield one.reason
    if one.largest is not None:
        most = one.largest
        said = most.words.removeprefix("strip ") if most.is_short else "not short"
        yield f"the largest, {number(1e-3 * most.plate.peak)} at {most.place}, is {said}"
    if one.small is not None:
        little = one.small
        yield (
            f"{little.words.removeprefix('strip ')} at {little.place}, where the plate has "
            f"{number(1e-3 * little.plate.peak)}"
        )
    match one.beyond:
        case Finding() as row:
            yield f"the plate has {number(1e-3 * row.plate.peak)} at {row.place}"
        case None:
            pass
        case other:
            yield f"the plate has {number(other.peak.value)} at {other.zone}, without a strip"


def position_words(at: Arrangement | None, name: str = "") -> str:
    """A load position, or the lanes of a load model from left to right, in one line; name : of the
    load, where it is to stand before it."""
    if at is None:
        return "empty deck"
    lanes = []
    for lane in at.lanes:
        where = "" if at.single is not None else f"{lane.kind} at {length(lane.offset)}"
        if lane.position is None:
            lanes.append(f"{where}, no vehicle")
            continue
        axle = f"first axle at {length(lane.position.station)}"
        if at.single is not None:
            axle += f", {length(lane.position.offset)}"
        factor = "" if abs(lane.factor - 1.0) < 1e-9 else f" (× {lane.factor:.3g})"
        lanes.append(", ".join(p for p in (where + factor, lane.position.direction, axle) if p))
    return (f"{name}: " if name else "") + "; ".join(lanes)


def in_order(result: Result) -> list[EffectFinding]:
    """The effects as the first page tells them: what is short first."""
    return sorted(result.effects, key=lambda one: STATES.index(one.state))


def without_strip(result: Result) -> list[tuple[Peak, str]]:
    """The largest governing moment of each component and sign that no strip is compared with, and
    where it lies, of those that are not next to nothing beside the deck's largest."""
    alone = [(one.peak, one.zone) for one in result.left_out]
    if not result.effects:
        alone = [(peak, place(result.deck, peak.at)) for peak in result.governing if peak.position]
    largest: dict[tuple[str, str], tuple[Peak, str]] = {}
    for peak, zone in alone:
        key = (peak.result, peak.extreme)
        if peak.result.startswith("m_") and (
            key not in largest or abs(peak.value) > abs(largest[key][0].value)
        ):
            largest[key] = (peak, zone)
    moments = [abs(peak.value) for peak in result.governing if peak.result.startswith("m_")]
    least = NOTHING * max(moments, default=0.0)
    return [one for one in largest.values() if abs(one[0].value) >= least]


def effects_table(result: Result) -> Table | None:
    """Each effect where it decides, for the first page, then what no strip stands beside; None
    where there is neither."""
    heads = ["Effect", "Finding", "Plate", "Strip", "Place; load position [m]", "Why; what else"]
    several = len({one.row.load for one in result.effects}) > 1
    rows: list[list[Words]] = []
    for one in in_order(result):
        row = one.row
        words = verdict(one).rstrip(",").replace(" %", "\u00a0%")
        error = None if row.plate.error is None else 1e-3 * row.plate.error
        strip = "–" if row.ratio is None or row.hand.value is None else None
        effect = (one.effect, " (", Link(f"finding-{row.reference}", row.reference), ")")
        rows.append(
            [
                (_count(rows), effect),
                Short(words) if one.state is State.SHORT else Strong(words),
                f"{number(1e-3 * row.plate.peak)}{tolerance(error)}",
                strip or number(1e-3 * (row.hand.value or 0.0)),
                lines((row.place, position_words(row.plate.position, row.load if several else ""))),
                "; ".join(besides(one)),
            ]
        )
    for peak, zone in without_strip(result):
        rows.append(
            [
                (_count(rows), SYMBOLS[peak.result], f" {peak.extreme}"),
                "no strip beside it",
                f"{number(peak.value)}{tolerance(peak.error)}",
                "–",
                lines((f"{zone}, at {at_text(peak.at)}", position_words(peak.position))),
                over_width_words(peak).lstrip("; "),
            ]
        )
    caption = "Each effect where it decides; moments in kNm/m, shears in kN/m"
    if not result.effects and result.leading is not None:
        caption = f"Largest moments under {result.leading.name}, in kNm/m"
    return table(caption, heads, rows, numeric=(2, 3), wide=(4, 5)) if rows else None


def _count(rows: Sequence[object]) -> Words:
    """The number of the next row, which is that of its mark on the plan."""
    return (Strong(f"{len(rows) + 1}"), "\u2002")


def largest_moments(result: Result) -> Iterator[str]:
    """Of a deck without strips, the largest moments of the leading traffic."""
    peaks = [peak for peak in result.governing if peak.result in ("m_x", "m_y") and peak.position]
    if peaks and result.leading is not None:
        listed = [
            f"{peak.result} {number(peak.value)}{tolerance(peak.error)} {peak.unit} at "
            f"{at_text(peak.at)} m{over_width_words(peak)}"
            for peak in peaks
        ]
        yield f"largest moments under {result.leading.name}: {'; '.join(listed)}"


def not_judged(result: Result) -> Iterator[str]:
    """How much of the plate no strip is beside, and what is too uncertain to be told."""
    said = []
    if result.left_out:
        said.append(f"governing values with no strip beside them: {len(result.left_out)}")
    uncertain = sum(len(case.uncertain) for case in result.traffic)
    if uncertain:
        said.append(f"values uncertain by more than themselves: {uncertain}")
    if said:
        yield f"not judged: {', '.join(said)}"
