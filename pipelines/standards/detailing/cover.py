"""Cover by exposure and design life, and the grade of concrete that the exposure asks for (SI).

EN 1992-1-1 goes from the design life to a structural class and from that to a cover. The tables of
IRC:112 and AASHTO LRFD are made for the lives of their own standards and hold one cover each.
"""

from dataclasses import dataclass

from pipelines.errors import CoverageError
from pipelines.standards.detailing.rules import Row
from pipelines.standards.detailing.tables import (
    AASHTO_COVER,
    EN_COVER,
    EN_DURABILITY_GRADE,
    EN_STRONG,
    IRC_COVER,
    LIST_EXPOSURES,
)
from pipelines.standards.materials import MPA, Materials
from pipelines.standards.resistance.bars import Face, SlabBars, place_of
from pipelines.standards.sources import Source

# of EN 1992-1-1 4.4.1.2(5): that of 50 years, before the changes of its table 4.3N
BASIC_CLASS, BASIC_LIFE = 4, 50.0
CLASSES = (1, 6)


@dataclass(frozen=True)
class StructuralClass:
    """A structural class of EN 1992-1-1, S1 .. S6, and how it was come to, in words."""

    number: int
    words: str


def structural_class(exposure: str, f_ck: float, life: float) -> StructuralClass:
    """Class of a slab by EN 1992-1-1 table 4.3N (recommended values, from memory).

    exposure : XC1 .. XS3; f_ck : cylinder strength [Pa]; life : design life in years.

    S4 for 50 years; two classes more for a longer life, which the table has as 100 years; one less
    for strong concrete and one less for a slab, whose bars the work on site does not move. The
    class less for special quality control is the user's to state.
    """
    changes = [("slab", -1)]
    if life > BASIC_LIFE:
        changes.insert(0, (f"{life:g} years", 2))
    if f_ck >= EN_STRONG[exposure] * MPA * (1 - 1e-9):
        changes.append((f"f_ck of {EN_STRONG[exposure]:g} MPa or more", -1))
    number = BASIC_CLASS + sum(change for _, change in changes)
    words = ", ".join(f"{change:+d} {name}" for name, change in changes).replace("-", "\u2212")
    number = min(max(number, CLASSES[0]), CLASSES[1])
    return StructuralClass(number, f"table 4.3N: S{BASIC_CLASS}, {words}")


def cover_rows(
    bars: SlabBars,
    face: Face,
    mat: Materials,
    exposure: str,
    stated_class: int | None = None,
    measured: float | None = None,
) -> tuple[Row, ...]:
    """Nominal cover of the outer layer by exposure [m], or the least one where it was measured, and
    the grade that the exposure asks for.

    Parameters
    ----------
    exposure : of the standard: XC1 .. XS3 (EN), moderate .. extreme (IRC), or the words of
        AASHTO_COVER
    stated_class : 1 .. 6 for S1 .. S6 of EN 1992-1-1 4.4.1.2(5); None = by `structural_class`
        and the design life of the factors (the tables of IRC:112 and AASHTO are for one life)
    measured : the least cover on site [m], for which the allowance on c_min is not asked (EN
        4.4.1.3); the tables of the others hold least covers

    Raises
    ------
    CoverageError
        If the standard does not know the exposure.
    """
    layer_mat = bars.mat(face)
    known = LIST_EXPOSURES[mat.standard]
    if exposure not in known:
        raise CoverageError(
            f"exposure {exposure!r} is not of {mat.standard}: write {', '.join(known)}"
        )
    grade: tuple[float, str] | None = None
    if mat.standard == "EN 1992":
        years = mat.factors["design_life_years"]
        by_life = structural_class(exposure, mat.concrete.f_ck, years)
        if stated_class is not None:
            by_life = StructuralClass(stated_class, "class stated by the user")
        durable = EN_COVER[exposure][by_life.number - 1]
        bond = layer_mat.bars(layer_mat.outer).largest
        more = 1e-3 * mat.factors["cover_deviation_mm"] if measured is None else 0.0
        required = max(durable, bond, 0.010) + more
        words = "c_min of " if measured is not None else ""
        clause = f"{words}4.4.1, table 4.4N, class S{by_life.number} ({by_life.words})"
        grade = EN_DURABILITY_GRADE[exposure] * MPA, "annex E, table E.1N (informative)"
    elif mat.standard == "IRC:112":
        required, grade_fck = IRC_COVER[exposure]
        clause = "14.3.2, table 14.2 (service life of 100 years)"
        grade = (grade_fck * MPA, "14.3.2, table 14.2")
    else:
        required = AASHTO_COVER[exposure]
        clause = "5.10.1, table 5.10.1-1 (design life of 75 years, 1.2)"
    place = place_of((face, layer_mat.outer))
    rows = [
        Row(
            check=f"cover, {exposure}" + ("" if measured is None else ", measured"),
            place=place,
            required=required,
            provided=layer_mat.cover if measured is None else measured,
            sense="at least",
            unit="m",
            source=Source(mat.standard, clause),
        ),
    ]
    if grade is not None:
        rows.append(
            Row(
                check=f"concrete grade, {exposure}",
                place=place,
                required=grade[0],
                provided=mat.concrete.f_ck,
                sense="at least",
                unit="Pa",
                source=Source(mat.standard, grade[1]),
            )
        )
    return tuple(rows)
