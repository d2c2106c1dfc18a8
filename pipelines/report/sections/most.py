"""Of several cases of traffic the one that makes most of a value: what is drawn and listed.

The rest is in values.csv and fields.vtu.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from pipelines.analysis.result import Result, TrafficResult
from pipelines.envelopes.peaks import Peak
from pipelines.report.data.values_csv import traffic_entries
from pipelines.report.document import Strong, Words, lines
from pipelines.report.sections.positions import entry_text
from pipelines.report.sections.words import case_title


@dataclass(frozen=True, kw_only=True)
class Most:
    """A governing value under the case of traffic that makes most of it.

    number : of the case, from 1; order : of the value among those of its case, from 1.
    """

    case: TrafficResult
    number: int
    peak: Peak
    order: int


@dataclass(frozen=True)
class MostEntry:
    """An entry of the summary under the case of traffic that makes most of it; words : its load
    position, named where there are several cases."""

    entry: Mapping[str, Any]
    words: Words


def most_governing(result: Result) -> list[Most]:
    """Of each governing maximum and minimum the largest and smallest, in the report's order."""
    found: dict[tuple[str, str], Most] = {}
    for number, case in enumerate(result.traffic, start=1):
        for order, peak in enumerate(case.governing, start=1):
            key = (peak.result, peak.extreme)
            if key not in found or peak.sign * (peak.value - found[key].peak.value) > 0.0:
                found[key] = Most(case=case, number=number, peak=peak, order=order)
    return list(found.values())


def most_entries(
    result: Result, summary: Mapping[str, Any], kind: str
) -> Iterator[tuple[tuple[str, ...], tuple[MostEntry, MostEntry]]]:
    """Name, and result where there are several, of each of the summary's "probes", "reactions" or
    "beams", with its largest and its smallest value."""
    cases = [(case, traffic_entries(summary, case)[kind]) for case in result.traffic]
    keys: dict[tuple[str, ...], None] = {}
    for _, entries in cases:
        for name, one in entries.items():
            keys.update({(name,): None} if kind == "reactions" else {(name, k): None for k in one})

    def of(key: tuple[str, ...], extreme: str, sign: float) -> MostEntry:
        told = []
        for case, entries in cases:
            found = entries.get(key[0])
            if found is not None:
                told.append((case, (found if len(key) == 1 else found[key[1]])[extreme]))
        case, entry = max(told, key=lambda one: sign * one[1]["value"])
        words = entry_text(entry)
        named = len(result.traffic) > 1 and case.envelope.whole
        return MostEntry(entry, lines((Strong(case_title(case)), words)) if named else words)

    for key in keys:
        yield key, (of(key, "max", 1.0), of(key, "min", -1.0))


def most_title(result: Result) -> str:
    """The traffic of a table of `most_entries`."""
    if len(result.traffic) == 1:
        return case_title(result.traffic[0])
    return "under the traffic that makes most, under all traffic in values.csv"


def load_head(result: Result) -> str:
    """Heads a column of load positions."""
    if any(case.envelope.whole for case in result.traffic):
        return "Lanes from left to right, middle and first axle [m]"
    return "Load position [m]"
