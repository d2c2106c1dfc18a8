"""The theory names every method and check, and its formulas give what the code gives."""

import ast
import math
import re
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any
from unicodedata import normalize

import numpy as np
import pytest
from numpy.testing import assert_allclose

import pipelines
from pipelines.bars.adequacy import Check
from pipelines.bars.checks import edge_beams
from pipelines.bars.checks.collision import edge_forces
from pipelines.bars.checks.edge_beams import cracking_torque, least_links
from pipelines.bars.demand.wood_armer import needed
from pipelines.cli.main import main
from pipelines.cli.words import CAUTION
from pipelines.deck.reinforcement import Collision, EdgeBeam
from pipelines.report.document import Raised, Symbol, plain
from pipelines.report.pdf import typst_of
from pipelines.report.sections.theory.checks import ITEMS, actions
from pipelines.report.sections.theory.formulas import formula, on_terminal, running
from pipelines.report.sections.theory.mechanics import errors, mechanics
from pipelines.report.sections.theory.memory import memory
from pipelines.report.sections.theory.page import chapters, theory_page
from pipelines.report.sections.theory.strips import RULES, strips
from pipelines.standards.actions.combinations import combinations
from pipelines.standards.actions.load_models import joint_factor
from pipelines.standards.actions.vehicles import library
from pipelines.standards.detailing.rules import least_moment_row, least_steel_rows
from pipelines.standards.factors import FACTORS
from pipelines.standards.materials import KSI, MPA, Materials, materials
from pipelines.standards.resistance.bars import Bars, Mat, SlabBars
from pipelines.standards.resistance.bending import Section as BarSection
from pipelines.standards.resistance.cracking import crack_width, cracked_state
from pipelines.standards.resistance.fatigue_damage import VOLUME, by_parts
from pipelines.standards.resistance.punching import MatAtPunching, punching
from pipelines.standards.resistance.shear import (
    INCH,
    beta_resistance,
    concrete_shear_stress,
    strut_factor,
)
from pipelines.standards.strip_widths.aashto_table import WHEEL
from pipelines.standards.strip_widths.heft240 import LINE_LOAD, loaded
from pipelines.standards.strip_widths.irc import alpha
from pipelines.standards.strip_widths.method import FOOT, KIP, StripInput
from pipelines.standards.strip_widths.sets import METHODS
from pipelines.standards.strip_widths.westergaard import POISSON, circle
from pipelines.standards.supports import hogging_at
from plate.elements.section import Section
from tests.pipelines.report_page import Reader

EN = materials("C35/45", "B500B", "EN 1992")
IRC = materials("M45", "Fe 500D", "IRC:112")
AASHTO = materials("5 ksi", "Grade 60", "AASHTO LRFD")
MATS = {"EN": EN, "IRC": IRC, "AASHTO": AASHTO}
FUNCTIONS = {"sqrt": math.sqrt, "max": max, "min": min, "tan": math.tan, "log10": math.log10}
NAME = r"[A-Za-zα-ωϕ_][\wα-ωϕ]*"


def value(text: str, names: Mapping[str, float]) -> float:
    """What the right side of a formula comes to, up to a comma or word that ends it; products are
    written without a sign."""
    text = re.split(r" (?:where|with|in) ", re.split(r"(?:=|<=|>=) ", text, maxsplit=1)[1])[0]
    text = re.sub(r"_\{([^}]*)\}", lambda m: "_" + re.sub(r"\W", "", m[1]), text)
    text = re.sub(r"\^\{([^}]*)\}", r"**(\1)", text)
    text = text.replace("√(", "sqrt(").replace("−", "-").replace("·", "*").replace("'", "p")
    text = re.sub(rf"tan ({NAME})", r"tan(\1)", text.replace("^", "**"))
    found, depth, before = "", 0, ""
    for token in re.findall(rf"{NAME}|\d+\.?\d*|\*\*|[-+*/(),]", text):
        depth += {"(": 1, ")": -1}.get(token, 0)
        if token == "," and depth == 0:
            break
        ends = before == ")" or (before[-1:].isalnum() and before not in FUNCTIONS)
        if ends and (token == "(" or token[0].isalnum()):
            found += "*"
        found += token
        before = token
    # Python takes ϕ and φ for one letter
    known = {normalize("NFKC", name): number for name, number in names.items()}
    return float(eval(found, {"__builtins__": {}}, {**FUNCTIONS, **known}))


def line(check: Check, start: str) -> str:
    """The formula of a check that starts so, without the standard before it."""
    lines = [text for item in ITEMS[check] for text in item.formulas if text.startswith(start)]
    assert len(lines) == 1, start
    return re.sub(r"^[A-Z, a]+N?: ", "", lines[0])


# ------------------------------------------------------------------------------ strips

ONE = StripInput(
    span=4.5,
    position=1.3,
    contact=(0.3, 0.5),
    depth=0.25,
    surfacing=0.08,
    support_width=0.3,
    slab_width=9.0,
    d=0.21,
)
LOAD = 100e3


def asked(key: str) -> StripInput:
    """A load within the range of a method."""
    values = dict(ONE.__dict__)
    method = METHODS[key]
    if method.bars != "either":
        values["bars"] = method.bars
    if method.effect == "overhang":
        values["ends"] = "cantilever"
    elif "hogging" in key or "irc" in key:
        values["ends"] = "both ends"
    elif "pinned" in key:
        values["ends"] = "one end"
    if key == "heft240-cantilever-shear":
        values["ends"] = "cantilever"
    if "edge" in key:
        values["edge_distance"] = 0.4
    if "-line-" in key:
        values |= {"contact": (0.3, 0.05), "surfacing": 0.0}
    if key.startswith("westergaard"):
        values["position"] = 0.5 * ONE.span
    if key == "aashto-lrfd-slab-bridge":
        values["span"] = 12.0
    if key == "aashto-lrfd-deck-table":
        values["span"] = 10 * FOOT
    return StripInput(**values)


def letters(key: str, one: StripInput) -> dict[str, float]:
    """What the letters of a rule stand for, read off its words."""
    x, (a_0, b_0), c = float(np.asarray(one.position)), one.contact, circle(one)
    ends = "simple" if key.startswith("as3600") or key.startswith("bs8110") else one.ends
    face, clear = x - 0.5 * one.support_width, one.span - one.support_width
    half_flange = 0.5 * one.support_width if "standard" in key else 0.0
    found = {
        "S": one.span if key.startswith("westergaard") else (one.span - half_flange) / FOOT,
        "X": x / FOOT,
        "P": LOAD,
        "x": x,
        "l": one.span if key.startswith("heft") else clear,
        "l_k": one.span,
        "t_y": loaded(one)[1],
        "e": (one.edge_distance or 0.0) / (FOOT / 12),
        "b_p": 26.0 + 6.6 * one.span / FOOT,
        "L_1": one.span / FOOT,
        "W_1": one.slab_width / FOOT,
        "W": one.slab_width,
        "a": face,
        "l_0": clear,
        "b_1": b_0 + 2 * one.surfacing,
        "b_0": b_0,
        "a_0": a_0,
        "a_v": face - 0.5 * a_0,
        "d": one.d or 0.0,
        "c": c,
        "c_1": 2 * (math.sqrt(0.4 * c**2 + one.depth**2) - 0.675 * one.depth),
        "k": (1 + POISSON) * math.log(10) / (4 * math.pi),
        "ν": POISSON,
        "π": math.pi,
        "m_A4": 6.89 * KIP,  # at girders 10 ft apart
        "P_16": WHEEL,
    }
    if key == "aashto-standard-across":
        found["c"] = 1.0
    if key.startswith("irc"):
        found["alpha"] = alpha(one) if ends != "cantilever" else 0.0
    if key.startswith("heft240"):
        found["k"] = {"heft240-sagging": 2.5, "heft240-shear": 0.5}.get(key, 0.0)
    if key == "shear-model-code-2010":
        found["k"] = math.sqrt(3)
    if "-line-" in key:
        quantity = {"sagging": "m_F", "hogging": "m_S", "shear": "v_S"}.get(
            key.rpartition("-")[2], "v_S pinned"
        )
        table = LINE_LOAD[one.ends, quantity]  # type: ignore[index]
        found["c"] = float(np.interp(found["t_y"] / one.span, (0.05, 0.10), table))
    return found


@pytest.mark.parametrize("key", METHODS)
def test_the_rule_of_every_method_gives_its_width(key: str) -> None:
    """The formula printed, computed with numbers for its letters; the constants printed are those
    computed with, so nothing but rounding is between them."""
    one, method, rule = asked(key), METHODS[key], RULES[key]
    printed = value(rule.formula, letters(key, one))
    if method.width is None:
        assert method.moment is not None
        assert_allclose(printed, method.moment(one, LOAD), rtol=1e-9)
    else:
        unit = {"m": 1.0, "ft": FOOT, "in": FOOT / 12}[rule.unit]
        assert_allclose(printed * unit, method.width(one), rtol=1e-9)


def test_every_method_is_told_with_its_source_and_mark() -> None:
    assert set(RULES) == set(METHODS)
    told = {item.title: item for item in strips().items}
    for method in METHODS.values():
        item = told[method.name]
        assert item.source.endswith(f"{method.clause} ({method.mark})")
        assert method.edition in item.source
        assert method.note in " ".join(item.words for item in told.values())


# ------------------------------------------------------------------------------ checks


def test_every_check_is_told_with_formulas_and_a_source() -> None:
    assert set(ITEMS) == set(Check)
    for check, items in ITEMS.items():
        for item in items:
            assert item.title.lower() == check.value.lower()
            if check not in (Check.OWN, Check.OTHER):
                assert item.formulas
                assert "from memory" in item.source


def test_every_combination_is_told() -> None:
    titles = [item.title for chapter in chapters() for item in chapter.items]
    for standard, every in ((s, combinations(f)) for s, f in FACTORS.items()):
        for one in every:
            assert f"{standard}: {one.limit_state}" in titles


@pytest.mark.parametrize("name", ["EN", "IRC"])
def test_shear_stress_as_printed(name: str) -> None:
    mat, d, rho = MATS[name], 0.21, 0.0087
    f = {"f_ck": mat.concrete.f_ck / MPA, "ρ": rho, "γ_c": mat.factors["gamma_c"]}
    [k_line] = [part for part in line(Check.SHEAR, "EN, IRC").split(", k") if "√" in part]
    f["k"] = value("k" + k_line, {"d": d})
    steel, least = concrete_shear_stress(mat, np.array(d), np.array(rho))
    printed = value(line(Check.SHEAR, f"{name}: τ"), f)
    assert_allclose(printed * MPA, max(steel, least), rtol=1e-9)
    assert_allclose(value(line(Check.PUNCHING, "EN: ν").split("; ")[0], f) if name == "EN" else
                    value(line(Check.PUNCHING, "EN: ν").split("; IRC: ")[1], f),
                    strut_factor(mat), rtol=1e-9)  # fmt: skip


def test_aashto_shear_as_printed() -> None:
    h, d, A_s, v, m, n = 0.25, 0.2, 1.5e-3, 90e3, 60e3, 20e3
    names = {"h": h, "d": d, "m": m, "n": n, "v": v, "E_s": AASHTO.steel.E_s, "A_s": A_s}
    names["d_v"] = value("d_v = " + line(Check.SHEAR, "AASHTO: v_Rd").split("d_v = ")[1], names)
    names["ε_s"] = value(line(Check.SHEAR, "ε_s"), names)
    names["s_xe"] = max(names["d_v"] / INCH * 1.38 / (0.019 / INCH + 0.63), 12.0)
    names |= {"ϕ": AASHTO.factors["phi_shear"], "f_pc": 0.0, "fp_c": AASHTO.concrete.f_ck / KSI}
    names["β"] = value(line(Check.SHEAR, "β"), names)
    printed = value(line(Check.SHEAR, "AASHTO: v_Rd"), names) * KSI
    found = beta_resistance(BarSection(h=h, d=d, A_s=A_s), AASHTO, v, m, n)
    assert_allclose(printed, found.v_Rd, rtol=1e-9)


def test_aashto_punching_as_printed() -> None:
    bars = MatAtPunching(0.2, 0.2, 1e-3, 1e-3)
    names = {"ϕ": AASHTO.factors["phi_shear"], "β_c": 2.5, "fp_c": AASHTO.concrete.f_ck / KSI}
    text = line(Check.PUNCHING, "AASHTO").split("v_Rd ")[1]
    assert_allclose(value(f"v {text}", names) * KSI, punching(1e5, 0.2, 0.5, AASHTO, bars).v_Rd)


def slab_bars() -> SlabBars:
    mat = Mat(cover=0.04, x=Bars(0.016, 0.125), y=Bars(0.012, 0.15), outer="x")
    return SlabBars(0.25, mat, mat)


@pytest.mark.parametrize("mat", MATS.values(), ids=MATS)
def test_least_steel_as_printed(mat: Materials) -> None:
    bars = slab_bars()
    [row] = least_steel_rows(bars, ("bottom", "x"), mat)
    names = {"f_ct": mat.concrete.f_ct, "f_yk": mat.steel.f_yk, "d": 0.25 - 0.048}
    names |= {"h": 0.25 / INCH, "f_y": mat.steel.f_yk / KSI, "f_r": mat.concrete.f_ct}
    if mat is not AASHTO:
        assert_allclose(value(line(Check.STEEL, "EN, IRC: A_s"), names), row.required, rtol=1e-9)
        return
    printed = value(line(Check.STEEL, "AASHTO: A_s"), names)
    assert_allclose(max(printed, 0.11) * INCH**2 / FOOT, row.required, rtol=1e-9)
    [moment] = least_moment_row(bars, ("bottom", "x"), mat, 1.0, 1e9)
    names |= {"h": 0.25, "m_Ed": 1e9}
    assert_allclose(value(line(Check.STEEL, "AASHTO: m_Rd"), names), moment.required, rtol=1e-9)


def test_crack_width_as_printed() -> None:
    h, d, A_s, phi, c = 0.25, 0.202, 1.6e-3, 0.016, 0.04
    section = BarSection(h=h, d=d, A_s=A_s)
    E_c, E_s, f_ct = EN.concrete.E_c, EN.steel.E_s, EN.concrete.f_ct
    state = cracked_state(section, 60e3, E_c / 3, E_s)
    names = {"h": h, "d": d, "x": float(state.x), "c": c, "φ": phi, "k_2": float(state.k_2)}
    names |= {"σ_s": float(state.sigma_s), "k_t": 0.4, "f_ct": f_ct, "E_s": E_s, "E_c": E_c}
    names["ρ"] = A_s / value(line(Check.CRACKS, "h_e"), names)
    names["ε"] = value(line(Check.CRACKS, "ε"), names)
    names["s_r"] = value(line(Check.CRACKS, "s_r = 3.4"), names)
    found = crack_width(section, state, phi, 0.125, c, f_ct, E_c, E_s)
    assert_allclose(value(line(Check.CRACKS, "w"), names), found.w, rtol=1e-9)


def test_damage_factor_as_printed() -> None:
    kind, lorries, years = "medium distance", (0.5, 0.3), 80.0
    names = {"c": VOLUME["medium distance"], "N_1": lorries[0], "T": years}
    parts = [value(line(Check.FATIGUE, f"λ_{{s,{k}}}"), names) for k in (2, 3)]
    parts.append(value(line(Check.FATIGUE, "λ_{s,4}").replace("Σ N_i", str(sum(lorries))), names))
    found = by_parts(0.9, lorries, kind, years, "good")  # type: ignore[arg-type]
    assert_allclose(1.2 * 0.9 * math.prod(parts), found.value, rtol=1e-9)


def test_collision_as_printed() -> None:
    collision = Collision(force=100e3, height=1.0, length=0.5, spread=math.radians(40),
                          inner_face=0.35, edges=("left",))  # fmt: skip
    [L, n, m] = line(Check.COLLISION, "L").split(", ")
    names = {"L_0": 0.5, "H": 1.0, "x": 0.2, "δ": math.radians(40), "F": 100e3, "h": 0.25}
    names["L"] = value(L, names)
    names["n"] = value(n, names)
    found = edge_forces(collision, 0.25, 0.2)
    assert_allclose([value(m, names), names["n"]], found, rtol=1e-9)


@pytest.mark.parametrize("name", MATS)
def test_beams_as_printed(name: str) -> None:
    mat = MATS[name]
    beam = EdgeBeam(lines=("L1",), width=0.35, depth=0.62, top=1e-3, bottom=1e-3, axis_top=0.06,
                    axis_bottom=0.06, links=1e-3, legs=2, axis_links=0.05)  # fmt: skip
    unit = KSI if mat is AASHTO else MPA
    strength = {"f_ck": mat.concrete.f_ck / unit, "fp_c": mat.concrete.f_ck / unit}
    names = {**strength, "f_yk": mat.steel.f_yk / unit, "f_y": mat.steel.f_yk / unit, "b": 0.35}
    text = line(Check.BEAMS, f"{name}: A_sw / s")
    assert_allclose(value(text, names), least_links(beam, mat), rtol=1e-9)
    if mat is AASHTO:
        names |= {"A_cp": 0.35 * 0.62, "p_c": 2 * (0.35 + 0.62)}
        text = line(Check.BEAMS, "AASHTO: T").split("T_cr ")[-1]
        assert_allclose(value(text, names) * KSI, cracking_torque(beam, mat), rtol=1e-9)


# ------------------------------------------------------------------------------ mechanics


def of(title: str, start: str) -> str:
    items = [*mechanics().items, *errors().items, *(i for c in chapters() for i in c.items)]
    [item, *_] = [one for one in items if one.title == title]
    [text] = [text for text in item.formulas if text.startswith(start)]
    return text


def test_rigidity_as_printed() -> None:
    section = Section(thickness=0.25, E=34e9, poisson=0.2)
    names = {"E": 34e9, "t": 0.25, "ν": 0.2}
    parts = of("Plate with shear deformation", "D_x").replace("D_x = D_y = ", "").split(", ")
    names["D"] = value(parts[0], names)
    D = [names["D"], names["D"], *(value(part, names) for part in parts[1:])]
    assert_allclose(D, section.rigidities, rtol=1e-12)


def test_joint_factor_as_printed() -> None:
    text = of("Load models", "Δφ")
    for x in (0.0, 2.0, 6.0):
        assert_allclose(value(text, {"x": x}), joint_factor(x), rtol=1e-12)


def test_moments_of_bars_as_printed() -> None:
    for m_x, m_y, m_xy in ((30.0, 12.0, -9.0), (30.0, -40.0, 9.0), (-3.0, -4.0, 1.0)):
        alone = m_y + abs(m_xy) < 0
        text = of(
            "Moments of the bars", "m_{x,bars} = max(m_x + " + ("m_xy^2" if alone else "|m_xy|")
        )
        text = text.replace("|m_xy|", str(abs(m_xy))).replace("|m_y|", str(abs(m_y)))
        printed = value(text, {"m_x": m_x, "m_y": m_y, "m_xy": m_xy})
        found = needed(*(np.array([m]) for m in (m_x, m_y, m_xy)))
        assert_allclose(printed, found[0], rtol=1e-12)


# ------------------------------------------------------------------------------ page and terminal


def test_hogging_beside_a_support_by_its_formulas() -> None:
    """Two spans l under p: M = p l^2/8 over the middle, V = 5/8 p l, by hand beside it."""
    [item] = [item for item in actions().items if item.title == "Hogging over supports"]
    p, span, t = 25.0, 4.0, 0.4
    names = {"M": p * span**2 / 8, "V": 5 / 8 * p * span, "p": p, "t": t}
    for text, rests in zip(item.formulas, (False, True), strict=False):
        x = hogging_at(t, rests=rests)
        by_hand = p * span**2 / 8 - 5 / 8 * p * span * x + p * x**2 / 2
        assert value(text, names) == pytest.approx(by_hand, rel=1e-12)
        assert p * span**2 / 8 - 2 * names["V"] * t / 8 <= by_hand or not rests


def test_formulas_in_words_and_on_a_terminal() -> None:
    assert formula("m_x = D^{1/3} w_{,xx}") == (
        Symbol("m", "x"), " = ", Symbol("D"), Raised(("1/3",)), " ", Symbol("w", ",xx"),
    )  # fmt: skip
    assert on_terminal("b = min(t_y, 2 * sqrt(a)) - x^{1/3} / 2") == (
        "b = min(t_y, 2 √(a)) − x^(1/3) / 2"
    )
    assert plain(running("a slab of m_x and `deckslab run`")) == "a slab of mx and deckslab run"


def test_no_formula_is_left_unread() -> None:
    for chapter in chapters():
        for item in chapter.items:
            for text in item.formulas:
                words = plain(formula(text))
                assert not re.search(r"[_{}*^]", words), text
            assert not re.search(r"[_{}^]", plain(running(item.words + item.source))), item.title


def test_the_page_has_everything_and_stands_alone(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "theory.html"
    assert main(["theory", "--out", str(path)]) == 0
    assert CAUTION in " ".join(capsys.readouterr().out.split())
    text = path.read_text(encoding="utf-8")
    page = Reader(text)
    titles = [item.title for chapter in chapters() for item in chapter.items]
    assert page.words("h3") == titles
    assert "http" not in text
    assert "<script" not in text
    assert page.words("footer") == [CAUTION]
    assert CAUTION in page.words("p")
    formulas: list[Any] = re.findall(r'<p class="formula">', text)
    assert len(formulas) == sum(len(item.formulas) for c in chapters() for item in c.items)


def test_the_page_can_be_printed() -> None:
    source, _ = typst_of(theory_page(CAUTION))
    assert "#formula[" in source
    assert "#super[" in source


def test_the_command_tells_a_chapter(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["theory", "strips"]) == 0
    out = capsys.readouterr().out
    assert "b = 26.0 + 6.6 S" in out
    assert "Crack width" not in out
    assert CAUTION in " ".join(out.split())
    assert max(map(len, out.splitlines())) <= 80
    assert main(["theory", "strip"]) == 2
    assert "no chapter strip; there are mechanics, errors, strips" in capsys.readouterr().err


def clauses_from_memory() -> set[str]:
    """Clauses of every `Source` that is written out in the code without another mark."""
    found = set()
    root = Path(pipelines.__file__).parent
    for path in sorted(root.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Source":
                given = [getattr(one, "value", None) for one in node.args]
                if len(given) == 2 and all(isinstance(one, str) for one in given):
                    found.add(str(given[1]))
    return found


def test_whatever_is_from_memory_is_in_the_list_of_prints_to_read() -> None:
    words = on_terminal(" ".join(item.words for item in chapters()[-1].items))
    clauses = clauses_from_memory()
    assert len(clauses) > 40
    # Where a rule adds words to its clause, the clause is what is looked for.
    numbers = {re.split(r"[:,;(] ?|, ", clause)[0].strip() for clause in clauses}
    assert not [one for one in numbers if on_terminal(one) not in words]
    for method in METHODS.values():
        if method.mark == "from memory":
            assert on_terminal(method.clause) in words
    for source in {one.source for one in library.values() if one.mark == "from memory"}:
        assert on_terminal(source.partition("; ")[0].rpartition(", ")[2]) in words


def test_what_was_read_leaves_the_list(monkeypatch: pytest.MonkeyPatch) -> None:
    def places() -> str:
        return " ".join(item.title for item in memory(()).items)

    before = places()
    assert "EN 1992-1-1:2004" in before
    monkeypatch.setattr(edge_beams, "ALONG", replace(edge_beams.ALONG, mark="read"))
    after = places()
    counts = [list(map(int, re.findall(r"places to open, (\d+)", one))) for one in (before, after)]
    assert sum(counts[0]) - sum(counts[1]) == 1
