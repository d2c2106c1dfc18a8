"""The hand strips in formulas: the beam that every strip is, and the rule of every method."""

from dataclasses import dataclass

from pipelines.findings.finding import Verdict
from pipelines.report.sections.theory.formulas import Chapter, Item
from pipelines.standards.resistance.shear import LEAST_SHARE, LEAST_SHARE_FIB
from pipelines.standards.strip_widths.aashto_table import WHEEL
from pipelines.standards.strip_widths.heft240 import LINE_LOAD
from pipelines.standards.strip_widths.method import Effect, StripMethod
from pipelines.standards.strip_widths.sets import FIRST_SET, METHODS
from pipelines.standards.strip_widths.westergaard import POISSON


@dataclass(frozen=True)
class Rule:
    """The rule of a method: a formula that can also be computed, and what its letters mean.

    unit : of the width in the formula [m], 1 for a moment.
    """

    formula: str
    where: str
    unit: str = "m"


EFFECTS: dict[Effect, str] = {
    "sagging": "sagging",
    "hogging": "hogging",
    "overhang": "overhangs",
    "edge": "free edges",
    "shear": "shear near supports",
}
UNITS = {"in": "inches", "ft": "feet"}
_S = "S: span in ft"
_X = "X: load to the support in ft"
_T = "t_y: contact across the strip + 2 surfacing + thickness; x: load to the support, l: span"
_CANTILEVER = "t_y as there; x: load to the root, l_k: length of the cantilever"
_LINE = "c: the table's share of the span, linear in t_y/l from 0.05 to 0.10: "
_B0 = "b_0: contact across the strip"
_AV = f"{_B0}, a_0 along it; a_v: from the support's face to the contact's near side"
_IRC = (
    "a: load to the nearer support's face, l_0: effective span; b_1: contact across the strip + 2 "
    "surfacing; α by slab width over l_0, table B-3.1: 0.40 at 0.1 to 2.60 (continuous) or 3.00 "
    "(simple) at 2"
)
_WESTERGAARD = "c: diameter of the circle of the contact's area, S: span, h: thickness"


def _shares(quantity: str) -> str:
    found = {e: LINE_LOAD[e, q] for e, q in LINE_LOAD if q == quantity}
    words = ", ".join(f"{ends} {a:g} to {b:g}" for ends, (a, b) in found.items())
    return f"{_LINE}{words}"


RULES: dict[str, Rule] = {
    "aashto-lrfd-sagging": Rule("b = 26.0 + 6.6 * S", _S, "in"),
    "aashto-lrfd-hogging": Rule("b = 48.0 + 3.0 * S", _S, "in"),
    "aashto-lrfd-overhang": Rule("b = 45.0 + 10.0 * X", _X, "in"),
    "aashto-lrfd-transverse-edge": Rule(
        "b = min(b_p, b_p / 2 + e)", "b_p: the strip for +M; e: edge to the first line, in", "in"
    ),
    "aashto-lrfd-longitudinal-edge": Rule(
        "b = min(e + 12 + b_p / 4, b_p / 2, 72)",
        "b_p: the strip for +M; e: edge to the barrier's inner face, in",
        "in",
    ),
    "aashto-lrfd-slab-bridge": Rule(
        "b = 10.0 + 5.0 * sqrt(L_1 * W_1)",
        "L_1: span up to 60 ft, W_1: width up to 30 ft; the slab's width at most",
        "in",
    ),
    "aashto-standard-across": Rule(
        "m = c * P * (S + 2) / 32",
        "c = 1 for simple spans, 0.8 for continuous ones; S: span in ft, between flange edges plus "
        "half a flange",
        "",
    ),
    "aashto-standard-along": Rule("b = min(4 + 0.06 * S, 7)", "S: span in ft as above", "ft"),
    "aashto-standard-cantilever-across": Rule("b = 0.8 * X + 3.75", _X, "ft"),
    "aashto-standard-cantilever-along": Rule("b = min(0.35 * X + 3.2, 7)", _X, "ft"),
    "aashto-lrfd-deck-table": Rule(
        "m = m_A4 * P / P_16",
        f"m_A4: the table's moment for the girders' spacing, linear between its rows; P_16: 16 kip "
        f"= {WHEEL / 1e3:.1f} kN",
        "",
    ),
    "heft240-sagging": Rule(
        "b = t_y + k * x * (1 - x / l)",
        f"{_T}; k = 2.5 simple, 1.5 one end fixed, 1.0 both ends fixed",
    ),
    "heft240-hogging": Rule("b = t_y + 0.5 * x * (2 - x / l)", "x: load to the fixed end"),
    "heft240-cantilever": Rule("b = max(t_y, 0.2 * l_k) + 1.5 * x", _CANTILEVER),
    "heft240-shear": Rule("b = t_y + k * x", "k = 0.5 simple, 0.3 at a fixed end"),
    "heft240-shear-pinned": Rule("b = t_y + 0.4 * x", "x: load to the pinned end"),
    "heft240-cantilever-shear": Rule("b = max(t_y, 0.2 * l_k) + 0.3 * x", _CANTILEVER),
    "heft240-line-sagging": Rule("b = c * l", _shares("m_F")),
    "heft240-line-hogging": Rule("b = c * l", _shares("m_S")),
    "heft240-line-shear": Rule("b = c * l", _shares("v_S")),
    "heft240-line-shear-pinned": Rule("b = c * l", _shares("v_S pinned")),
    "irc-sagging": Rule("b = alpha * a * (1 - a / l_0) + b_1", _IRC),
    "irc-hogging": Rule("b = alpha * a * (1 - a / l_0) + b_1", "as for sagging"),
    "irc-cantilever": Rule(
        "b = min(1.2 * a + b_1, W / 3)", "a: load to the root's face; W: cantilever along its root"
    ),
    "westergaard-working": Rule("b = 0.58 * S + 2 * c", _WESTERGAARD),
    "westergaard-moment": Rule(
        "m = k * P * (log10(S / c_1) + 0.4825)",
        f"k = (1 + ν) ln 10/(4π), ν = {POISSON:g}; c_1 = 2 (√(0.4 c^2 + h^2) − 0.675 h) where c < "
        "3.45 h, else c",
        "",
    ),
    "westergaard-secondary": Rule(
        "m = k * P * (log10(S / c_1) + 0.4825) - (1 - ν) * P / (4 * π)", "as along the span", ""
    ),
    "as3600-sagging": Rule(
        "b = b_0 + 2.4 * a * (1 - a / l)",
        f"{_B0}; a: load to the nearer support's face, l: clear span",
    ),
    "bs8110-sagging": Rule("b = b_0 + 2.4 * a * (1 - a / l)", "as of AS 3600"),
    "shear-45-far-side": Rule(
        "b = max(b_0 + 2 * (a_v + a_0), 4 * d)", f"{_AV}; d: effective depth, where it is known"
    ),
    "shear-45-centre": Rule("b = b_0 + 2 * (a_v + a_0 / 2)", _AV),
    "shear-model-code-2010": Rule(
        "b = b_0 + 2 * k * (a_v - min(d, a_v / 2))",
        "k = √3 for simple supports, 1 for clamped and continuous ones",
    ),
}


def strips() -> Chapter:
    """The beam, how loads go on it, what is compared, and every method of the library."""
    sets = ", ".join(one.name for one in FIRST_SET)
    general = (
        Item(
            title="The strip as a beam",
            words="A strip is a continuous Euler-Bernoulli beam over the deck's lines. Influence "
            "lines come from the theorem of Müller-Breslau: the deflection under a unit jump of "
            "the force. The vehicle, or every lane of a load model, is moved to its worst place "
            "exactly.",
            formulas=("m = Σ P_i η(x_i) / b_i",),
            source="Müller-Breslau's theorem, in any book on statics (from memory)",
        ),
        Item(
            title="Widths",
            words="P_i: wheel, line of wheels, axle or lane, as the method says; η: influence "
            "line, averaged over the loaded length along the strip; b_i: width of the section, or "
            f"of the load's own place. Sets for moving loads: {sets}. Near a free edge, "
            "e from the load, b_e counts where the method has no rule of its own.",
            formulas=("b_e = min(b, b / 2 + e)",),
        ),
        Item(
            title="Comparison",
            words="The strip's value over the plate's peak at the same section, under the same "
            "traffic. "
            f"“{Verdict.SHORT.value}” 1 − ρ where it is less by more than the stated error; "
            f"“{Verdict.EVEN.value}” the error; “{Verdict.COVERS.value}” under a whole load model "
            f"alone, else “{Verdict.NO_LESS.value}”; “{Verdict.OUTSIDE.value}” and "
            f"“{Verdict.NOT_COMPARABLE.value}” say that there is no such ratio.",
            formulas=("ρ = m_{strip} / m_{plate}", "b_{back-figured} = M_{strip} / m_{plate}"),
        ),
        Item(
            title="Shear near a line",
            words="At the effective depth from the line's face. Where the rule allows it a load at "
            "a_v from the face counts in part; least share by EN 1992-1-1 6.2.2(6) and IRC:112 "
            f"{LEAST_SHARE:g} (from memory), by fib Model Code 2010 (7.3-13) {LEAST_SHARE_FIB:g} "
            "(read).",
            formulas=("β = a_v / (2 * d)", f"{LEAST_SHARE:g} <= β <= 1"),
        ),
    )
    methods = []
    first: dict[str, str] = {}
    for key, method in METHODS.items():
        note = method.note
        if note and first.setdefault(note, method.name) != method.name:
            note = f"Note as of {first[note]}."
        methods.append(_item(RULES[key], method, note))
    return Chapter("strips", "Hand strips", (*general, *methods))


def _item(rule: Rule, method: StripMethod, note: str) -> Item:
    carries = "gives the moment" if method.width is None else f"b carries one {method.per}"
    parts = [
        f"For {EFFECTS[method.effect]}, bars {_bars(method)}; {carries}; span: {method.span}.",
        f"{rule.where}.",
        f"b in {UNITS[rule.unit]}." if rule.unit in UNITS else "",
        note,
    ]
    return Item(
        title=method.name,
        words=" ".join(part for part in parts if part),
        formulas=(rule.formula,),
        source=", ".join(filter(None, (method.standard, method.edition, method.clause)))
        + f" ({method.mark})",
    )


def _bars(method: StripMethod) -> str:
    if method.bars == "either":
        return "parallel to traffic or across it"
    return "parallel to traffic" if method.bars == "parallel" else "across traffic"
