"""What the bars come to by standard and check: adequate, not adequate, not judged.

Every check takes the largest utilisation that any search of the program found for it and says which
one that was. Left aside are values of something else than the bars as they are and the rule that is
judged: shear as a mean over other widths than 4 d, remedies, the moments of hand strips. Where a
rule compares two amounts the utilisation is the required over the provided one, or the reverse.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

import numpy as np

from pipelines.bars.adequacy import (
    Check,
    Found,
    Judgement,
    PanelVerdict,
    StandardVerdict,
    check_of,
)
from pipelines.bars.checks.as_built import PanelCheck
from pipelines.bars.checks.part import PartChecks
from pipelines.bars.design import AddedChecks, Design, StandardDesign
from pipelines.bars.schedule.marks import Schedule
from pipelines.deck.deck import Deck
from pipelines.deck.words import at_text, line_title, place
from pipelines.findings.finding import CAUTION, Finding
from pipelines.numbers import length
from pipelines.standards.detailing.rules import Row
from pipelines.standards.resistance.bars import FACES, Layer, place_of
from pipelines.standards.resistance.bending import BENDING
from pipelines.standards.resistance.cracking import CRACKING
from pipelines.standards.resistance.shear import ONE_WAY
from plate.conventions import RESULTS

# Checks of what traffic does to the bars: without traffic there is nothing to judge.
UNDER_TRAFFIC = {
    Check.BENDING,
    Check.SHEAR,
    Check.PUNCHING,
    Check.STRESSES,
    Check.CRACKS,
    Check.FATIGUE,
}
# What a check leaves out where it is judged.
LEFT_OUT = {
    Check.BENDING: "what mesh and steps miss: the numerical tolerances of the governing values",
    Check.SHEAR: "sections beside curved lines",
    Check.PUNCHING: "permanent shear, wheels on supporting lines",
    Check.STRESSES: "stages that change the stiffness",
    Check.CRACKS: "stages that change the stiffness",
    Check.FATIGUE: "concrete, links, bent and welded bars",
    Check.STEEL: "places where bars stop",
    Check.SPACING: "laps",
    Check.COVER: "abrasion and fire",
    Check.ANCHORAGE: "bars at openings, stress in bends, bars of beams, bars as built",
    Check.COLLISION: "the barrier's own resistance",
    Check.BEAMS: "the joint of beam and slab, beams whose bars are not stated",
    Check.DEPTH: "deflections",
    Check.ADVICE: "deflections",
}
AS_BUILT = "as-built readings"
SCHEDULED = "bar schedule: {}"


def verdicts(
    deck: Deck, design: Design, findings: Sequence[Finding], schedule: Schedule
) -> tuple[StandardVerdict, ...]:
    """What the bars come to by every standard.

    findings : those of the same run, read off places of infinite moments, whose utilisations by
    the plate count too. schedule : of the same bars, which says where they end and lap.
    """
    return tuple(
        _verdict(deck, design, standard, findings, schedule) for standard in design.standards
    )


def _verdict(
    deck: Deck,
    design: Design,
    by_standard: StandardDesign,
    findings: Sequence[Finding],
    schedule: Schedule,
) -> StandardVerdict:
    panels = tuple(
        PanelVerdict(panel=panel.panel, judgements=tuple(_judgements(deck, panel)))
        for panel in by_standard.panels
    )
    drawn = [
        replace(
            judged,
            found=(
                *judged.found,
                *(found for panel in panels for found in _as_built(panel, judged)),
                *_at_sections(deck, design, by_standard, judged, findings),
            ),
        )
        for judged in _drawn(deck, by_standard)
    ]
    drawn.append(_anchorage(by_standard, schedule))
    order = list(Check)
    return StandardVerdict(
        standard=by_standard.basis.materials.standard,
        traffic=by_standard.traffic,
        judgements=tuple(sorted(drawn, key=lambda judged: order.index(judged.check))),
        panels=panels,
    )


def _anchorage(by_standard: StandardDesign, schedule: Schedule) -> Judgement:
    """Ends at edges and laps, as the schedule has them; bars that are added count from where they
    are anchored."""
    whole = [laps.layer for laps in schedule.laps if laps.too_long]
    told = [f"couplers of bars longer than the stock, {place_of(layer)}" for layer in whole]
    rows = schedule.anchorage[by_standard.basis.materials.standard]
    judged = _of_rules(by_standard, Check.ANCHORAGE, rows)
    by = tuple(replace(one, by=SCHEDULED.format(one.by)) for one in judged.found)
    return replace(judged, found=by, left_out="; ".join((judged.left_out, *told)))


def _drawn(deck: Deck, by_standard: StandardDesign) -> Iterator[Judgement]:
    """The judgements of the slab as drawn: of the mats and of every part with added bars."""
    found: dict[tuple[Check, Layer | None], Judgement] = {}
    for part in by_standard.drawn:
        name = f" ({part.name})" if isinstance(part, AddedChecks) else ""
        for judged in _judgements(deck, part):
            told = tuple(replace(one, place=f"{one.place}{name}") for one in judged.found)
            judged = replace(judged, found=told)
            known = found.get((judged.check, judged.layer))
            found[judged.check, judged.layer] = judged if known is None else _joined(known, judged)
    layered = any(check is Check.BENDING and layer is not None for check, layer in found)
    for (check, layer), judged in found.items():
        if check is not Check.BENDING or layer is not None or not layered:
            yield judged


def _joined(one: Judgement, other: Judgement) -> Judgement:
    """The same check of two parts: it is judged where either is."""
    return replace(
        one,
        found=(*one.found, *other.found),
        why=one.why if other.why else "",
        asked=one.asked or other.asked,
        left_out=one.left_out or other.left_out,
    )


def _judgements(deck: Deck, part: PartChecks) -> Iterator[Judgement]:
    """The judgements of a part as drawn, or of a panel as built, in the order of `Check`."""
    source = BENDING[part.basis.materials.standard]
    for drawn in part.layers:
        found = Found(
            utilisation=drawn.utilisation,
            by="every load position" + ("" if isinstance(part, PanelCheck) else ", as drawn"),
            place=f"{place(deck, drawn.at)}, ({at_text(drawn.at)}) m",
            source=source,
        )
        yield _judged(part, Check.BENDING, [found], layer=drawn.layer)
    if not part.layers:
        yield _judged(part, Check.BENDING, [], why="no result point lies in it")
    yield _shear(deck, part)
    why = "" if part.punching is not None else "no wheel stands clear of the supporting lines"
    yield _judged(part, Check.PUNCHING, _punching(part), why=why)
    rows: dict[Check, list[Row]] = {}
    for row in part.rows:
        rows.setdefault(check_of(row), []).append(row)
    always = (Check.STRESSES, Check.CRACKS, Check.FATIGUE, Check.STEEL, Check.SPACING, Check.COVER)
    for check in always:
        yield _of_rules(part, check, rows.pop(check, []))
    for check in Check:
        if check in rows:
            yield _of_rules(part, check, rows[check])


def _as_built(panel: PanelVerdict, drawn: Judgement) -> Iterator[Found]:
    """The worst of a panel for the same check: of what is refused above 1, and of the rest."""
    mine = [
        found
        for judged in panel.judgements
        if (judged.check, judged.layer) == (drawn.check, drawn.layer)
        for found in judged.found
    ]
    for refused in (True, False):
        kind = [found for found in mine if (found.otherwise == "") == refused]
        if kind:
            worst = max(kind, key=lambda found: found.utilisation)
            yield replace(worst, by=AS_BUILT, place=f"panel {panel.panel}: {worst.place}")


def _judged(
    part: PartChecks,
    check: Check,
    found: Iterable[Found],
    *,
    layer: Layer | None = None,
    why: str = "",
    more: Sequence[str] = (),
) -> Judgement:
    """more : what is left out beside what the check always leaves out."""
    under, left = part.under, [LEFT_OUT.get(check, ""), *more]
    if check in UNDER_TRAFFIC:
        if not under.models and not under.vehicles:
            why = "no traffic counts under the standard"
        elif not under.models:
            left.insert(0, CAUTION)
    words = "; ".join(part for part in left if part)
    return Judgement(check=check, layer=layer, found=tuple(found), why=why, left_out=words)


def _at_sections(
    deck: Deck,
    design: Design,
    by_standard: StandardDesign,
    drawn: Judgement,
    findings: Sequence[Finding],
) -> Iterator[Found]:
    """Bending of a layer at the sections of the findings."""
    if drawn.check is not Check.BENDING or drawn.layer is None:
        return
    face, direction = drawn.layer
    top = face == "top"
    # Findings have no membrane forces.
    if design.membrane is not None:
        return
    if top and design.reinforcement.hogging_at_face:
        findings = [row for row in findings if not _over_width(deck, row)]
    read = [
        (row.used.by_plate, row)
        for row in findings
        if row.used is not None
        and row.used.standard == by_standard.basis.materials.standard
        and RESULTS[row.section.component] == f"m_{direction}"
        and (row.used.resistance < 0.0) == top
    ]
    if read:
        value, row = max(read, key=lambda pair: pair[0])
        yield Found(
            utilisation=value,
            by="design sections of the findings",
            place=f"{row.place} ({row.reference})",
            source=BENDING[by_standard.basis.materials.standard],
        )


def _over_width(deck: Deck, row: Finding) -> bool:
    """Whether a finding is read at the centre line of a line whose width is stated."""
    line = deck.line(row.section.lines[0]) if row.section.lines else None
    return row.section.where == "centre line" and line is not None and line.width > 0.0


def _shear(deck: Deck, part: PartChecks) -> Judgement:
    """Mean over 4 d at the load positions as stepped and, closer, about those that govern."""

    def beside(line: str, side: int) -> str:
        return f"{'before' if side < 0 else 'after'} {line_title(deck, line)}"

    found, peak, near = [], part.design_shear, part.reduced
    source = ONE_WAY[part.basis.materials.standard]
    words = f"mean over {length(part.design_width)} m (4 d)"
    if peak is not None:
        at = beside(peak.line, peak.side)
        by = f"every load position, {words}"
        found.append(Found(utilisation=peak.utilisation, by=by, place=at, source=source))
    if near is not None:
        whole, reduced = beside(near.whole_line, near.whole_side), beside(near.line, near.side)
        found += [
            Found(utilisation=value, by=by, place=at, source=clause)
            for value, by, at, clause in (
                (near.whole, f"load positions closer together, {words}", whole, source),
                (near.utilisation, "loads near the line reduced", reduced, near.source),
                (near.strut, "struts, unreduced", "peak of all sections", near.source),
            )
        ]
    more = ["shear between the steps of the load positions"] if near is None else []
    if part.under.models:
        more.append("arrangements that are worst for none of four directions")
    nowhere = "the plan has no straight supporting lines"
    if not isinstance(part, StandardDesign) or part.added:
        nowhere = "no control section lies in it"
    why = "" if found else nowhere
    judged = _judged(part, Check.SHEAR, found, why=why, more=more)
    if part.shear_not_asked is None:
        return judged
    words = f"not asked by {part.shear_not_asked} for decks designed by the strip method"
    return Judgement(check=Check.SHEAR, found=judged.found, why=words, asked=False)


def _punching(part: PartChecks) -> tuple[Found, ...]:
    p = part.punching
    if p is None:
        return ()
    inside, at = "whole perimeter in the slab", f"{p.shape}, ({at_text(p.at)}) m"
    by = f"{p.n} wheel places, wheels alone and together"
    return (
        Found(utilisation=p.utilisation, by=by, place=at, source=p.source),
        Found(utilisation=p.interior, by=by, place=inside, source=p.source),
    )


def _of_rules(part: PartChecks, check: Check, rows: Sequence[Row]) -> Judgement:
    """A check that the standard's rules make up."""
    free = next((row for row in rows if np.isinf(row.required)), None)
    if check is Check.FATIGUE and free is not None:
        return Judgement(check=check, found=(), why=str(free.source), asked=False)
    basis = part.basis
    silent = [face for face, class_ in zip(FACES, basis.exposure, strict=True) if class_ is None]
    if check is Check.CRACKS and (
        basis.crack_width is not None or basis.materials.standard not in CRACKING
    ):
        silent = []
    more = []
    if check in (Check.CRACKS, Check.COVER):
        more = [f"{face} face, whose exposure is not stated" for face in silent]
    if check is Check.CRACKS and basis.crack_combination == "quasi-permanent":
        more.append("traffic, which is not in the quasi-permanent combination")
    why = ""
    if not rows:
        why = "no tension in service" if check in UNDER_TRAFFIC else "no rule applies"
        why = "no exposure is stated" if more and silent else why
    found = [
        Found(
            utilisation=row.utilisation,
            by=row.check,
            place=row.place,
            source=row.source,
            otherwise=row.otherwise,
        )
        for row in rows
    ]
    return _judged(part, check, found, why=why, more=more)
