"""Design sections of a deck in the direction of its strip, and the plate's points on them.

`s` and `t` are coordinates along the strip and across it (`frame`).
"""

import itertools
from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from pipelines.deck.words import line_title
from pipelines.strips.beam import StripBeam, StripSupport
from pipelines.strips.frame import M_X, M_Y, ON, Q_X, Q_Y, Frame, around, beside
from plate.arrays import Ints

# "edge hogging": over a line, nearer to an edge than strips within the slab reach; "joint": over
# an end line on which the strip has no moment. These and "hogging" are read at the centre line,
# "face", "edge face" and "joint face" where the hogging of the same lines counts by
# `standards.supports`, for lines whose width is stated.
Kind = Literal[
    "sagging",
    "hogging",
    "edge hogging",
    "joint",
    "face",
    "edge face",
    "joint face",
    "over line",
    "transverse",
    "edge",
    "end edge",
    "shear",
    "corner",
]

BARS = {M_X: "bars along", M_Y: "bars across", Q_X: "along", Q_Y: "across"}
# Where lines have a width, the kind of section at which their hogging counts.
AT_FACES: Mapping[Kind, Kind] = MappingProxyType(
    {"hogging": "face", "edge hogging": "edge face", "joint": "joint face"}
)
# What counts as an obtuse corner, as a share of the span of its bay.
CORNER = 0.5


@dataclass(frozen=True, kw_only=True)
class Section:
    """Where a finding is read.

    place : the bay or line in words; where : what of it, "" for all of a bay.
    component : index in RESULTS; sign : 1 for the largest value, -1 for the smallest.
    points : field points (n,) among which the plate's peak is sought.
    s : where the section is not on mesh points: it runs along this s [m] beside them.
    lines : names of the bay's two lines or of the line; edge : name of an edge. row : of several
        rows of points beside one section, which all are asked.
    """

    kind: Kind
    place: str
    where: str
    effect: str
    component: int
    sign: int
    points: Ints
    lines: tuple[str, ...]
    s: float | None = None
    edge: str = ""
    row: int = 0


def sections(at: Frame, depth: float) -> list[Section]:
    """All design sections of a strip's direction.

    depth : effective depth for the shear sections [m].
    """
    found = [*_bays(at), *_lines(at, depth), *_edges(at), *_corners(at)]

    def read(one: Section) -> Section:
        mask = at.hogs if one.kind in AT_FACES.values() else at.readable
        return replace(one, points=one.points[mask[one.points]])

    return [read(one) for one in found]


def _bays(at: Frame) -> list[Section]:
    supports = at.strip.beam.supports
    found = []
    for one, two in itertools.pairwise(supports):
        within = (at.s > one.at + ON) & (at.s < two.at - ON) & at.inside
        points = np.flatnonzero(within)
        place, lines = f"bay {one.name}\u2013{two.name}", (one.name, two.name)
        for kind, component, words in (
            ("sagging", at.moment, "sagging"),
            ("transverse", at.transverse, "sagging under wheels"),
        ):
            effect = f"{words}, {BARS[component]}, soffit"
            found.append(
                Section(
                    kind=kind,  # type: ignore[arg-type]
                    place=place,
                    where="",
                    effect=effect,
                    component=component,
                    sign=1,
                    points=points,
                    lines=lines,
                )
            )
    return found


def _lines(at: Frame, depth: float) -> list[Section]:
    beam = at.strip.beam
    supports = beam.supports
    found = []
    bars = BARS[at.moment]
    for k, line in enumerate(supports):
        place = line_title(at.deck, line.name)
        ends = k in (0, len(supports) - 1)
        on = np.flatnonzero((np.abs(at.s - line.at) < ON) & at.inside)
        hangs = at.strip.overhang(k) > 0.0

        def add(
            kind: Kind,
            where: str,
            effect: str,
            sign: int,
            points: Ints,
            s: float | None = None,
            component: int = at.moment,
            edge: str = "",
            row: int = 0,
            place: str = place,
            name: str = line.name,
        ) -> None:
            if edge:
                place = f"{place}, {edge} edge"
            if len(points):
                found.append(
                    Section(
                        kind=kind,
                        place=place,
                        where=where,
                        effect=effect,
                        component=component,
                        sign=sign,
                        points=points,
                        lines=(name,),
                        s=s,
                        edge=edge,
                        row=row,
                    )
                )

        simple = ends and not hangs and line.k_rot == 0.0
        hogs: list[tuple[Kind, NDArray[np.bool_], str]] = [
            *(("edge hogging", at.beside(edge) & ~at.inside, edge) for edge in at.edges),
            ("joint" if simple else "hogging", at.inside, ""),
        ]
        for kind, within, edge in hogs:
            effect = f"hogging, {bars}, top"
            there = np.flatnonzero((np.abs(at.s - line.at) < ON) & within)
            add(kind, "centre line", effect, -1, there, edge=edge)
            for s in _beside_line(line, beam):
                near = beside(at, line.at, s, within)
                where = f"{1e3 * line.hogging_at:.0f} mm off" if line.rests else "face"
                # None where it runs over the field points themselves
                aside = None if np.all(np.abs(at.s[near] - s) < ON) else s
                add(AT_FACES[kind], where, effect, -1, near, aside, edge=edge)
        if not ends:
            add("over line", "centre line", f"sagging over the line, {bars}, soffit", 1, on)
        reach = max(0.5 * line.width + depth, at.strip.depth)
        for sign, other in ((-1, k - 1), (1, k + 1)):
            if 0 <= other < len(supports) and reach < abs(supports[other].at - line.at):
                s = line.at + sign * reach
                # Shears are not read within one thickness of an edge.
                clear = np.minimum(at.to_low, at.to_high) > at.strip.depth
                where = f"{1e3 * (reach - 0.5 * line.width):.0f} mm from the face"
                # A load that governs nearer to the line may pass the section by: ask both rows.
                for row, near in enumerate(around(at, line.at, s, at.inside & clear)):
                    add("shear", where, f"shear {BARS[at.shear]}", sign, near, s, at.shear, row=row)
    return found


def _beside_line(line: StripSupport, beam: StripBeam) -> list[float]:
    """s beside a line at which its hogging counts, as far as the strip reaches; none of a line
    without a width."""
    off = line.hogging_at
    sides = (line.at - off, line.at + off) if off > 0.0 else ()
    return [s for s in sides if beam.start <= s <= beam.end]


def _edges(at: Frame) -> list[Section]:
    supports = at.strip.beam.supports
    found = []
    # Along the strip: the strips there lack half their width.
    for edge in at.edges:
        on = at.beside(edge) & (at.s > supports[0].at + ON) & (at.s < supports[-1].at - ON)
        words = f"sagging along the edge, {BARS[at.moment]}, soffit"
        found.append(
            Section(
                kind="edge",
                place=f"{edge} edge",
                where="",
                effect=words,
                component=at.moment,
                sign=1,
                points=np.flatnonzero(on),
                lines=(),
                edge=edge,
            )
        )
    # Across the strip, at its own ends: the slab and its end beam bend the other way.
    for edge, away in zip(at.ends, at.to_ends, strict=True):
        points = np.flatnonzero(away < ON)
        words = f"sagging along the edge, {BARS[at.transverse]}, soffit"
        found.append(
            Section(
                kind="end edge",
                place=f"{edge} edge",
                where="",
                effect=words,
                component=at.transverse,
                sign=1,
                points=points,
                lines=(),
                edge=edge,
            )
        )
    return found


def _corners(at: Frame) -> list[Section]:
    """Obtuse corners of a skew deck over end lines on which the strip has no moment: the plate is
    held down there and hogs. Nothing is read within one thickness of the corner itself."""
    skew, supports = at.deck.plan.skew, at.strip.beam.supports
    if not at.along or skew == 0.0:
        return []
    found = []
    for k, bay in ((0, 0), (len(supports) - 1, len(supports) - 2)):
        line = supports[k]
        if at.strip.overhang(k) > 0.0 or line.k_rot > 0.0:
            continue
        edge = at.edges[1] if (k == 0) == (skew > 0.0) else at.edges[0]
        low, high = at.t_range(line.at)
        corner = at.points(line.at, low if edge == at.edges[0] else high)
        away = np.linalg.norm(at.points(at.s, at.t) - corner, axis=1)
        one, two = at.strip.beam.bay(bay)
        points = np.flatnonzero(
            (away <= CORNER * (two - one))
            & (away >= at.strip.depth)
            & (at.s > one - ON)
            & (at.s < two + ON)
        )
        place = f"obtuse corner of {line_title(at.deck, line.name)}, {edge} edge"
        effect = f"hogging, {BARS[at.moment]}, top"
        lines = (supports[bay].name, supports[bay + 1].name)
        found.append(
            Section(
                kind="corner",
                place=place,
                where="",
                effect=effect,
                component=at.moment,
                sign=-1,
                points=points,
                lines=lines,
                edge=edge,
            )
        )
    return found
